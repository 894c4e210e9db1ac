"""Vacuum after the end of forming: slots under the wire and, once the sheet is on the felt, through the felt.

Compression first, then displacement; water comes back once, where the sheet leaves a fabric. The vacuum that a slot
holds inside the forming zone belongs to the march, not here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Any, NamedTuple

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.traced import constant, convention
from thinstock.kernels.drainage import Element, Law
from thinstock.machine.outlines import former as drawn
from thinstock.machine.outlines import press as on_felt
from thinstock.machine.outlines.former import Stretch
from thinstock.machine.outlines.said import joined, told
from thinstock.machine.outlines.shape import Outline
from thinstock.relations import joints, mat, pressing, pumping, vacuum
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Choice, Num, Part, Q, Words


@dataclass(frozen=True, kw_only=True, eq=False)
class Slot(Part):
    """One suction slot or box (all its slots together)."""

    name: Annotated[str, Words()]
    carrier: Annotated[str, Choice(("wire", "felt"), label="fabric between sheet and slot")] = "felt"
    slot_width: Annotated[Num, Q("slot_width", possible=(1e-3, 3), unit="mm", status="common practice")] = 0.09
    vacuum: Annotated[
        Num,
        Q(
            "vacuum",
            possible=(0, 9e4),
            usual=(5e3, 6e4),
            unit="kPa",
            uncertainty=0.05,
            remedy="Vacuum is positive, below atmosphere.",
        ),
    ] = 40e3
    residual_saturation: Annotated[Num, Q("residual_saturation", possible=(0, 1), spread=0.05)] = 0.85
    time_constant: Annotated[
        Num, Q("time_constant", possible=(1e-5, 1), usual=(2e-3, 5e-3), unit="ms", uncertainty=0.3)
    ] = 3e-3
    rewet: Annotated[Num, Q("rewet", possible=(0, 0.1), usual=(5e-3, 20e-3), unit="g/m2", uncertainty=0.3)] = 0.010
    felt_end_ratio: Annotated[
        Num,
        Q(
            "felt_end_ratio",
            possible=(0, 3),
            unit="kg/kg",
            label="felt water it cannot pass",
        ),
    ] = 0.40
    felt_time_constant: Annotated[
        Num,
        Q("time_constant", possible=(1e-5, 1), usual=(8e-4, 5e-3), unit="ms", label="felt: time constant"),
    ] = 1.3e-3
    efficiency: Annotated[
        Num,
        Q(
            "efficiency",
            possible=(0.05, 1),
            usual=(0.4, 0.75),
            status="from memory",
            label="vacuum pump, isothermal",
        ),
    ] = 0.50

    @property
    def in_roll(self) -> bool:
        """True where its name says that it is a roll, so that it may be drawn as one."""
        return "roll" in self.name

    def outline(self, place: Stretch) -> Outline:
        """A box under the wire or on the felt, or a suction roll where the felt turns round it."""
        if place.mouth is not None:
            turn = max(float(self.slot_width), 0.03) / place.mouth.radius
            shapes, anchor = on_felt.vacuum_roll(place.mouth, turn), place.mouth.at(0.6 * np.pi)
        elif self.carrier == "wire":
            shapes, anchor = drawn.box_below(place), drawn.box_anchor(place)
        else:
            shapes, anchor = on_felt.box_beside(place, 0.3)
        text = joined(
            phrase("drawing.vacuum.below", vacuum=told(self, "vacuum")),
            phrase("drawing.vacuum.slots", width=told(self, "slot_width")),
        )
        return Outline(part=self.name, name=self.name, label=self.name, text=text, anchor=anchor, shapes=shapes)


class SlotResult(NamedTuple):
    """What one slot did."""

    name: str
    carrier: str
    moisture_ratio_in: Num
    moisture_ratio_before_rewet: Num
    moisture_ratio_out: Num
    dwell: Num
    water: Num
    """Taken out of the sheet, less what comes back, kg/(s m)."""
    ambient_air_flow: Num
    suction_flow: Num
    power: Num
    """Shaft power, W/m."""
    electricity: Num


@dataclass(frozen=True, kw_only=True, eq=False)
class VacuumSection(Part):
    """All suction on the formed sheet ahead of the press."""

    slot: tuple[Slot, ...] = ()
    dryness_wanted: Annotated[
        Num,
        Q(
            "dryness",
            possible=(0.02, 0.5),
            usual=(0.12, 0.2),
            unit="%",
            status="common practice",
            source="COMMON_PRACTICE",
            label="dryness into the press that vacuum must give",
        ),
    ] = 0.15
    pump_flow_limit: Annotated[
        Num,
        Q(
            "pump_flow_limit",
            possible=(1e-4, 1000),
            unit="m3/min",
            limit=True,
            label="vacuum pumps, volume flow",
        ),
    ] = None
    pump_power_rated: Annotated[
        Num,
        Q(
            "machine_power",
            possible=(1, 1e8),
            unit="kW",
            limit=True,
            label="vacuum pumps, rated power of all",
        ),
    ] = None
    motor_efficiency: Annotated[Num, Q("efficiency", possible=(0.3, 1), usual=(0.88, 0.97))] = 0.93

    def rules(self) -> Iterable[Fault]:
        names = [s.name for s in self.slot]
        for name in sorted({n for n in names if names.count(n) > 1}):
            yield Fault(field="slot", value=repr(name), bound="each slot needs a name of its own")
        carriers = [s.carrier for s in self.slot]
        if "wire" in carriers and "felt" in carriers[: len(carriers) - 1 - carriers[::-1].index("wire")]:
            yield Fault(
                field="slot",
                value=" → ".join(carriers),
                bound="slots under the wire come before slots through the felt",
                remedy="Put them in the order of the sheet's path.",
            )

    def forming_boxes(self, around: Any) -> tuple[Element, ...]:
        """The slots under the wire as forming elements, for stock that is not yet formed when it reaches them."""
        return tuple(
            Element(
                name=s.name,
                length=s.slot_width,
                wire_side=Law(
                    load=s.vacuum,
                    gravity=1.0,
                    fabric_resistance=around.fabric_resistance,
                    fabric_inertia=around.fabric_inertia,
                ),
                back_side=None,
            )
            for s in self.slot
            if s.carrier == "wire"
        )

    def run(
        self,
        *,
        moisture_ratio: Num,
        grammage: Num,
        speed: Num,
        density: Num,
        stock: Any,
        resistance: Num,
        fabric_resistance: Num,
        atmospheric_pressure: Num,
    ) -> tuple[SlotResult, ...]:
        """Slot after slot; water returns at the last slot of each fabric."""
        last_of = {s.carrier: i for i, s in enumerate(self.slot)}
        none = convention(0.0, "rewet comes at the last slot of a fabric")
        air_viscosity = constant("air_viscosity_room")
        done = []
        for i, slot in enumerate(self.slot):
            load = slot.vacuum
            consistency = mat.mat_consistency_power(
                load, stock.mat_coefficient, stock.mat_exponent, stock.mat_pressure_floor
            )
            full = vacuum.moisture_ratio_saturated(consistency, density, stock.wall_density)
            dwell = vacuum.dwell_slot(slot.slot_width, speed)
            dry = vacuum.moisture_ratio_after_slot(
                moisture_ratio,
                full,
                slot.residual_saturation,
                stock.water_retention_value,
                dwell,
                slot.time_constant,
                none,
                grammage,
            )
            out = dry
            if last_of[slot.carrier] == i:
                out = vacuum.moisture_ratio_after_slot(
                    moisture_ratio,
                    full,
                    slot.residual_saturation,
                    stock.water_retention_value,
                    dwell,
                    slot.time_constant,
                    slot.rewet,
                    grammage,
                )
            saturation = vacuum.saturation(dry, full)
            permeability = vacuum.relative_permeability_air_corey(saturation, slot.residual_saturation)
            alpha = mat.specific_filtration_resistance_power(slot.vacuum, resistance, stock.resistance_exponent)
            flux = vacuum.ambient_air_flux_corey(
                atmospheric_pressure,
                slot.vacuum,
                air_viscosity,
                alpha,
                grammage,
                fabric_resistance,
                permeability,
            )
            air = joints.air_flow_slot(flux, slot.slot_width)
            suction = vacuum.air_flow_at_vacuum(air, atmospheric_pressure, slot.vacuum)
            power = pumping.vacuum_power_isothermal(suction, atmospheric_pressure, slot.vacuum, slot.efficiency)
            done.append(
                SlotResult(
                    name=slot.name,
                    carrier=slot.carrier,
                    moisture_ratio_in=moisture_ratio,
                    moisture_ratio_before_rewet=dry,
                    moisture_ratio_out=out,
                    dwell=dwell,
                    water=pressing.water_pressed_out(speed, grammage, moisture_ratio, out),
                    ambient_air_flow=air,
                    suction_flow=suction,
                    power=power,
                    electricity=pumping.motor_input_power(power, self.motor_efficiency),
                )
            )
            moisture_ratio = out
        return tuple(done)
