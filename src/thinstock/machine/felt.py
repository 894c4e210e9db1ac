"""The press felt with its conditioning, and a steam box ahead of the nips."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, NamedTuple

import numpy as np

from thinstock.formula.traced import constant, convention
from thinstock.machine.geometry import Circle
from thinstock.machine.outlines import press as drawn
from thinstock.machine.outlines.former import Stretch
from thinstock.machine.outlines.said import joined, plain, told
from thinstock.machine.outlines.shape import Outline
from thinstock.relations import felt, felt_state, mat, vacuum
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Fields, Num, Q


@dataclass(frozen=True, kw_only=True, eq=False)
class FeltBoxes(Fields):
    """The suction boxes that dry the felt."""

    slot_width: Annotated[Num, Q("slot_width", possible=(1e-3, 3), usual=(0.03, 0.2), unit="mm")] = 0.09
    vacuum: Annotated[Num, Q("vacuum", possible=(0, 9e4), usual=(3.5e4, 5e4), unit="kPa")] = 45e3
    face_velocity: Annotated[
        Num,
        Q(
            "face_velocity",
            possible=(0, 100),
            usual=(10.97, 14.63),
            unit="m/s",
            status="measured",
            source="TAPPI_VACUUM_QUOTED",
            optional=True,
        ),
    ] = None
    friction_coefficient: Annotated[Num, Q("friction_coefficient", possible=(0, 1), usual=(0.1, 0.2))] = 0.15
    efficiency: Annotated[Num, Q("efficiency", possible=(0.05, 1), usual=(0.4, 0.75), status="from memory")] = 0.50

    def outline(self, place: Stretch) -> Outline:
        """A box on the face of the felt."""
        shapes, anchor = drawn.box_beside(place, -0.26)
        text = joined(
            phrase("drawing.vacuum.below", vacuum=told(self, "vacuum")),
            phrase("drawing.vacuum.slots", width=told(self, "slot_width")),
        )
        name = phrase("drawing.part.felt_boxes")
        return Outline(part="felt boxes", name=name, label=name, anchor=anchor, text=text, shapes=shapes)


@dataclass(frozen=True, kw_only=True, eq=False)
class Felt(Fields):
    """The press felt and its conditioning."""

    felt_grammage: Annotated[Num, Q("felt_grammage", possible=(0.3, 4), unit="g/m2")] = 1.25
    solidity: Annotated[Num, Q("solidity", possible=(0.05, 0.95), usual=(0.55, 0.65))] = 0.60
    felt_fibre_density: Annotated[
        Num, Q("felt_fibre_density", possible=(800, 2000), unit="kg/m3", status="from memory")
    ] = 1140.0
    shower: Annotated[Num, Q("shower", possible=(0, 2), unit="g/m2")] = 0.06
    shower_temperature: Annotated[
        Num, Q("water_temperature", possible=(274.15, 368.15), usual=(283.15, 333.15), unit="degC")
    ] = 313.15
    air_permeability: Annotated[
        Num,
        Q(
            "air_permeability",
            possible=(0.01, 5),
            usual=(0.08, 0.3),
            unit="m/s",
            status="from memory",
            source="COMMON_PRACTICE",
        ),
    ] = 0.15
    test_pressure: Annotated[Num, Q("test_pressure", possible=(10, 1000), unit="Pa", status="common practice")] = 124.5
    viscous_share: Annotated[
        Num, Q("viscous_share", possible=(0.01, 1), usual=(0.9, 1), status="derived", source="DERIVED")
    ] = 0.99
    felt_openness: Annotated[Num, Q("felt_openness", possible=(0.003, 1.5), unit="%")] = 0.6
    free_solidity: Annotated[Num, Q("free_solidity", possible=(0.05, 0.6))] = 0.38
    felt_end_reference: Annotated[Num, Q("felt_end_reference", possible=(0.01, 3), unit="kg/kg")] = 0.42
    retention_exponent: Annotated[Num, Q("retention_exponent", possible=(0.01, 2))] = 0.3
    time_constant: Annotated[Num, Q("time_constant", possible=(1e-5, 1), usual=(8e-4, 3e-3), unit="ms")] = 1.3e-3
    felt_moisture_reference: Annotated[Num, Q("felt_moisture_reference", possible=(0.05, 3), unit="kg/kg")] = 0.50
    felt_exponent: Annotated[Num, Q("felt_exponent", possible=(0, 3))] = 1.0
    boxes: FeltBoxes = FeltBoxes()

    def running(self) -> RunningFelt:
        """As it runs: what its air test, age and squeezing make of it, worked out once a run."""
        viscous = mat.fabric_resistance_air(
            self.air_permeability, self.test_pressure, constant("air_viscosity_room"), self.viscous_share
        )
        inertia = mat.fabric_inertia_air(
            self.air_permeability, self.test_pressure, constant("air_density_room"), self.viscous_share
        )
        aged = felt_state.felt_resistance_aged(viscous, self.felt_openness)
        return RunningFelt(
            felt=self,
            resistance=aged,
            inertia=felt_state.felt_inertia_aged(inertia, self.felt_openness),
            usual=felt_state.felt_resistance_aged(
                viscous, convention(0.6, phrase("machine.felt.openness_felt_s_reference"))
            ),
            squeezed=felt_state.felt_resistance_squeezed(aged, self.free_solidity, self.solidity),
        )

    def outline(self, place: Stretch) -> Outline:
        """The shower on its return run; the felt itself is a loop over its rolls."""
        at, h = place.path.at(place.start)
        head = Circle(at.beside(h, 0, -0.2), 0.05)
        text = joined(
            phrase("drawing.press.shower", shower=told(self, "shower")),
            phrase("drawing.press.shower_at", temperature=told(self, "shower_temperature")),
        )
        name, shapes = phrase("drawing.part.felt_shower"), drawn.shower(head, at, h)
        return Outline(
            part="felt shower", name=name, label=name, anchor=head.at(h - np.pi / 2), text=text, shapes=shapes
        )

    def said(self, wetness: Num = None) -> str:
        """The felt and its state into the nip, in words."""
        wet = "" if wetness is None else phrase("drawing.press.felt_wet", ratio=plain(wetness, 2))
        return joined(told(self, "felt_grammage"), wet, phrase("drawing.schematic_run"))


class RunningFelt(NamedTuple):
    """A felt as it runs."""

    felt: Felt
    resistance: Num
    """Viscous, free of load, 1/m."""
    inertia: Num
    """Inertial, free of load, 1."""
    usual: Num
    """Viscous resistance with which the time constant of its boxes goes, 1/m."""
    squeezed: Num
    """Viscous resistance in the nip, 1/m."""

    def full(self, density: Num) -> Num:
        """Water ratio of the free felt with all voids full."""
        return felt.saturated_ratio_felt(self.felt.free_solidity, self.felt.felt_fibre_density, density)

    def full_in_nip(self, density: Num) -> Num:
        """Water ratio of the squeezed felt with all voids full."""
        return felt.saturated_ratio_felt(self.felt.solidity, self.felt.felt_fibre_density, density)

    def air_resistance(self, density: Num, moisture: Num = None) -> tuple[Num, Num]:
        """Resistances to air of the moist felt: as its boxes leave it, or at this water ratio."""
        moisture = self.felt.felt_end_reference if moisture is None else moisture
        saturation = felt_state.felt_saturation_free(moisture, self.full(density))
        opened = vacuum.relative_permeability_air_brooks(
            saturation, convention(2.0, phrase("machine.felt.pore_index_felt"))
        )
        viscous = vacuum.viscous_resistance_moist(self.resistance, opened)
        return viscous, vacuum.inertial_resistance_moist(self.inertia, opened)

    def drained_at(self, vacuum: Num, density: Num) -> tuple[Num, Num]:
        """Water ratio that this vacuum leaves, however long, and the time constant with which it gets there."""
        at, own = convention(45e3, phrase("machine.felt.vacuum_felt_s_reference")), self.felt
        end = felt_state.felt_end_ratio_vacuum(
            own.felt_end_reference, vacuum, at, own.retention_exponent, self.full(density)
        )
        rate = felt_state.felt_drain_rate(own.time_constant, vacuum, at, self.resistance, self.usual)
        return end, felt_state.felt_time_constant(rate)


@dataclass(frozen=True, kw_only=True, eq=False)
class SteamBox(Fields):
    """A steam box ahead of the nip: warmer water is thinner. Its heat fades into the felt unless it is close by."""

    steam_dose: Annotated[Num, Q("steam_dose", possible=(0, 0.2), unit="g/m2")] = 1.6e-3
    capture: Annotated[Num, Q("capture", possible=(0, 1), unit="%")] = 0.8
    steam_enthalpy: Annotated[
        Num, Q("steam_enthalpy", possible=(2.5e6, 3.2e6), unit="MJ/kg", status="from memory", source="COMMON_PRACTICE")
    ] = 2.676e6

    def outline(self, place: Stretch) -> Outline:
        """A box on the sheet side of the felt."""
        shapes, anchor = drawn.box_beside(place, -0.32, -0.05)
        text = joined(
            phrase("drawing.press.dose", dose=told(self, "steam_dose")),
            phrase("drawing.press.capture", capture=told(self, "capture")),
        )
        name = phrase("drawing.part.steam_box")
        return Outline(part="steam box", name=name, label=name, anchor=anchor, text=text, shapes=shapes)


class Steamed(NamedTuple):
    """What a steam box did to the sheet."""

    temperature: Num
    moisture_ratio: Num
    condensate: Num
    """Steam condensed in the sheet, kg/m²."""
