"""The press: nips on the Yankee (or, for heavier grades, before a dryer), the felt they share, and its loop.

Dryness comes from press impulse and rewet; the felt enters as a threshold (nip saturation 1), never as a linear
penalty. The line load allowed on a Yankee stands in the vessel's certificate alone and is never computed here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, NamedTuple

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.traced import constant, convention
from thinstock.machine.geometry import Circle
from thinstock.machine.outlines import press as drawn
from thinstock.machine.outlines.former import Stretch
from thinstock.machine.outlines.press import NipPlace, RollPlace
from thinstock.machine.outlines.said import joined, plain, told
from thinstock.machine.outlines.shape import Hazard, Outline, Shape, ring, roll
from thinstock.relations import felt, felt_loop, joints, mat, nip, pressing, pumping, vacuum
from thinstock.words.num import Array
from thinstock.words.phrase import phrase
from thinstock.words.quantity import ANY, Num, Part, Q, Words


@dataclass(frozen=True, kw_only=True, eq=False)
class Plain(Part):
    """A roll surface without voids."""

    def outline(self, place: RollPlace) -> tuple[Shape, ...]:
        """A smooth surface shows nothing but its roll."""
        return ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Grooved(Part):
    """Grooves that take water out of the felt in the nip."""

    groove_width: Annotated[Num, Q("groove_width", possible=(1e-5, 0.02), unit="mm")] = 0.5e-3
    groove_depth: Annotated[Num, Q("groove_depth", possible=(1e-5, 0.05), unit="mm")] = 2.5e-3
    groove_pitch: Annotated[Num, Q("groove_pitch", possible=(1e-4, 0.05), unit="mm")] = 3.2e-3

    def outline(self, place: RollPlace) -> tuple[Shape, ...]:
        """The ground of the grooves."""
        return drawn.voids(place, float(self.groove_depth))


@dataclass(frozen=True, kw_only=True, eq=False)
class BlindDrilled(Part):
    """Blind holes that take water out of the felt in the nip."""

    hole_depth: Annotated[Num, Q("hole_depth", possible=(1e-4, 0.1), usual=(8e-3, 14e-3), unit="mm")] = 11e-3
    roll_open_area: Annotated[Num, Q("roll_open_area", possible=(0, 0.9), usual=(0.2, 0.3), unit="%")] = 0.25

    def outline(self, place: RollPlace) -> tuple[Shape, ...]:
        """The ground of the holes."""
        return drawn.voids(place, float(self.hole_depth))


@dataclass(frozen=True, kw_only=True, eq=False)
class SuctionDrilled(Part):
    """A drilled shell over a suction box."""

    roll_open_area: Annotated[Num, Q("roll_open_area", possible=(0, 0.9), usual=(0.2, 0.27), unit="%")] = 0.23
    shell_thickness: Annotated[Num, Q("hole_depth", possible=(1e-3, 0.2), usual=(0.03, 0.09), unit="mm")] = 0.05
    vacuum: Annotated[
        Num,
        Q(
            "vacuum",
            possible=(0, 9e4),
            usual=(4e4, 6.5e4),
            unit="kPa",
            status="common practice",
            remedy="Vacuum is positive, below atmosphere.",
        ),
    ] = 50e3
    zone_start: Annotated[Num, Q("angle", possible=(-np.pi, np.pi), unit="deg", usual=ANY)] = float(np.radians(-25.0))
    zone_end: Annotated[Num, Q("angle", possible=(-np.pi, np.pi), unit="deg", usual=ANY)] = float(np.radians(10.0))
    leakage_share: Annotated[
        Num,
        Q(
            "leakage_share",
            possible=(0, 20),
            label="leakage air / air carried by the shell",
            spread=0.4,
        ),
    ] = 1.0
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

    def outline(self, place: RollPlace) -> tuple[Shape, ...]:
        """The inside of the shell and the suction box."""
        return drawn.suction_zone(place, float(self.shell_thickness), float(self.zone_start), float(self.zone_end))


Surface = Plain | Grooved | BlindDrilled | SuctionDrilled
SURFACES: dict[str, type[Surface]] = {
    "plain": Plain,
    "grooved": Grooved,
    "blind drilled": BlindDrilled,
    "suction drilled": SuctionDrilled,
}


@dataclass(frozen=True, kw_only=True, eq=False)
class DecreasingPermeability(Part):
    """The decreasing-permeability press model with its own parameters (uncalibrated: ±3 points)."""

    specific_permeability: Annotated[
        Num, Q("specific_permeability", possible=(1e-20, 1e-6), unit="kg/m", uncertainty=0.3, usual=ANY)
    ] = 9.5e-15
    permeability_exponent: Annotated[Num, Q("permeability_exponent", possible=(0.1, 12), spread=0.0)] = 3.0
    water_retention_value: Annotated[
        Num,
        Q(
            "water_retention_value",
            possible=(0, 4),
            unit="kg/kg",
            label="for the equilibrium moisture (0: none)",
            usual=ANY,
        ),
    ] = 0.0
    reference_pressure: Annotated[Num, Q("reference_pressure", possible=(1e3, 1e7), unit="kPa")] = 1e5
    pressure_exponent: Annotated[Num, Q("pressure_exponent", possible=(0, 1))] = 0.2


_LINE_LOAD = Q(
    "line_load",
    possible=(1e2, 5e6),
    unit="kN/m",
    status="required",
    uncertainty=0.03,
    remedy="Line load at the roll, not at the loading cylinders.",
)
_LINE_LOAD_LIMIT = Q(
    "line_load_limit",
    possible=(1e2, 5e6),
    unit="kN/m",
    limit=True,
    hurts=True,
    remedy="It stands in the vessel's certificate and nowhere else.",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class RollNip(Part):
    """A press roll. Its nip width is given, or comes from cover thickness and modulus; exactly one."""

    name: Annotated[str, Words()] = "pressure roll"
    line_load: Annotated[Num, _LINE_LOAD]
    line_load_limit: Annotated[Num, _LINE_LOAD_LIMIT] = None
    certificate: Annotated[str, Words("reference of the vessel's certificate for the limit")] = ""
    on_yankee: bool = True
    roll_diameter: Annotated[Num, Q("roll_diameter", possible=(0.2, 3), usual=(0.8, 1.5), unit="m")] = 1.1
    mating_diameter: Annotated[
        Num,
        Q(
            "mating_diameter",
            possible=(0.2, 10),
            unit="m",
            optional=True,
            label="roll it presses against (leave out on the Yankee)",
            usual=ANY,
        ),
    ] = None
    nip_width: Annotated[Num, Q("nip_width", possible=(1e-3, 0.5), usual=(0.02, 0.08), unit="mm", optional=True)] = None
    cover_thickness: Annotated[Num, Q("cover_thickness", possible=(1e-3, 0.1), unit="mm", optional=True)] = None
    cover_modulus: Annotated[Num, Q("cover_modulus", possible=(1e5, 1e10), unit="MPa", optional=True)] = None
    surface: Surface = SuctionDrilled()
    felted_sides: Annotated[Num, Q("felted_sides", possible=(1, 2), usual=ANY, integer=True)] = 1
    rewet: Annotated[Num, Q("rewet", possible=(0, 0.1), unit="g/m2", spread=1.5e-3)] = 5e-3
    nip_angle: Annotated[
        Num,
        Q(
            "angle",
            possible=(-np.pi, np.pi),
            usual=(0.2, 1.1),
            unit="deg",
            label="from straight down towards the wet end",
        ),
    ] = float(np.radians(35.0))

    def rules(self) -> Iterable[Fault]:
        by_cover = self.cover_thickness is not None and self.cover_modulus is not None
        half = (self.cover_thickness is None) != (self.cover_modulus is None)
        if half or by_cover == (self.nip_width is not None):
            yield Fault(
                field="nip_width",
                value="both ways or neither",
                bound="give nip_width, or cover_thickness and cover_modulus; exactly one of the two",
                remedy="An impression of the nip beats the computed width.",
            )
        if not self.on_yankee and self.mating_diameter is None:
            yield Fault(field="mating_diameter", value="nothing", bound="needed for a nip that is not on the Yankee")
        yield from _load_within(self)

    def width(self, yankee_diameter: Num) -> Num:
        """Nip width, m."""
        if self.nip_width is not None:
            return self.nip_width
        mate = self.mating_diameter if self.mating_diameter is not None else yankee_diameter
        radius = nip.equivalent_radius_cylinders(self.roll_diameter, mate)
        return nip.nip_width_covered_roll(self.line_load, self.cover_thickness, radius, self.cover_modulus)

    def peak_ratio(self, nip_width: Num) -> Num:
        """Peak over mean pressure."""
        if self.cover_thickness is None:
            return convention(1.5, "parabolic pressure in a nip of given width")
        return nip.peak_ratio_covered_roll(joints.half_of(nip_width), self.cover_thickness)

    rolls_above: ClassVar[bool] = True

    @property
    def mate_given(self) -> Num:
        """Diameter of the roll it presses against, where given, m."""
        return self.mating_diameter

    def pressure_profile(self, share: Array, peak_ratio: Num) -> Array:
        """Pressure over its mean at shares of the nip's width: a mix of parabola and quartic with this peak."""
        quartic = (peak_ratio - PARABOLA) / (QUARTIC - PARABOLA)
        return np.asarray((1 - quartic) * nip.profile_parabola(share) + quartic * nip.profile_quartic(share))

    def outline(self, place: NipPlace) -> Outline:
        """The roll with its cover and surface."""
        circle, cover = place.circle, float(self.cover_thickness or 0.0)
        covered = (ring(circle, circle.radius - cover, "cover"),) if 0 < cover < 0.5 * circle.radius else ()
        shapes = (*roll(circle), *covered, *self.surface.outline(RollPlace(circle, place.towards, cover)))
        across = phrase("drawing.press.roll_across", diameter=told(self, "roll_diameter"))
        return _nip_outline(self, place, shapes, across)

    def hazards(self, place: NipPlace) -> tuple[Hazard, ...]:
        """Where it draws in."""
        return place.hazards(phrase("drawing.press.roll_and_counter"), self.name)


@dataclass(frozen=True, kw_only=True, eq=False)
class ShoeNip(Part):
    """A shoe press: the shoe's length is the nip width."""

    name: Annotated[str, Words()] = "shoe press"
    line_load: Annotated[Num, _LINE_LOAD]
    line_load_limit: Annotated[Num, _LINE_LOAD_LIMIT] = None
    certificate: Annotated[str, Words("reference of the vessel's certificate for the limit")] = ""
    on_yankee: bool = True
    shoe_length: Annotated[Num, Q("shoe_length", possible=(0.01, 0.6), unit="mm")] = 0.08
    peak_position: Annotated[Num, Q("peak_position", possible=(0.01, 0.99), usual=(0.8, 0.9))] = 0.85
    shoe_peak_ratio: Annotated[Num, Q("peak_ratio", possible=(1, 10), usual=(1.5, 2.5))] = 2.0
    roll_diameter: Annotated[
        Num, Q("roll_diameter", possible=(0.3, 3), usual=(0.9, 1.5), unit="m", label="sleeve diameter")
    ] = 1.1
    surface: Surface = Plain()
    felted_sides: Annotated[Num, Q("felted_sides", possible=(1, 2), usual=ANY, integer=True)] = 1
    rewet: Annotated[Num, Q("rewet", possible=(0, 0.1), unit="g/m2", spread=1.5e-3)] = 3e-3
    nip_angle: Annotated[
        Num,
        Q(
            "angle",
            possible=(-np.pi, np.pi),
            usual=(0.2, 1.1),
            unit="deg",
            label="from straight down towards the wet end",
        ),
    ] = float(np.radians(35.0))

    def rules(self) -> Iterable[Fault]:
        place, ratio = np.asarray(self.peak_position), np.asarray(self.shoe_peak_ratio)
        low, high = 2 / (1 + place), 2 / (1 - place)
        if np.any(ratio < low) or np.any(ratio >= high):
            yield Fault(
                field="shoe_peak_ratio",
                value=f"{float(np.max(ratio)):.4g}",
                bound=f"must lie between {float(np.max(low)):.3f} and {float(np.min(high)):.3f} at this peak position",
                remedy="2 is a plain ramp for any peak position.",
            )
        yield from _load_within(self)

    def width(self, yankee_diameter: Num) -> Num:
        """Nip width, m."""
        return self.shoe_length

    def peak_ratio(self, nip_width: Num) -> Num:
        """Peak over mean pressure."""
        return self.shoe_peak_ratio

    rolls_above: ClassVar[bool] = False

    @property
    def mate_given(self) -> Num:
        """Diameter of the roll it presses against: not given."""
        return None

    def pressure_profile(self, share: Array, peak_ratio: Num) -> Array:
        """Pressure over its mean at shares of the nip's width: the shoe's own."""
        return np.asarray(nip.profile_shoe(share, self.peak_position, self.shoe_peak_ratio))

    def outline(self, place: NipPlace) -> Outline:
        """The sleeve with its shoe and beam."""
        shapes = (*roll(place.circle), *drawn.shoe(place, float(self.shoe_length)))
        across = phrase("drawing.press.sleeve_across", diameter=told(self, "roll_diameter"))
        return _nip_outline(self, place, shapes, across, phrase("drawing.press.shoe", length=told(self, "shoe_length")))

    def hazards(self, place: NipPlace) -> tuple[Hazard, ...]:
        """Where it draws in."""
        return place.hazards(phrase("drawing.press.sleeve_and_counter"), self.name)


Nip = RollNip | ShoeNip
NIPS: dict[str, type[Nip]] = {"roll": RollNip, "shoe": ShoeNip}


PARABOLA, QUARTIC = 1.5, 1.875
"""Peak over mean of the two closed profiles of a roll nip."""


def _nip_outline(part: Nip, place: NipPlace, shapes: tuple[Shape, ...], *said: str) -> Outline:
    """A nip with its line load beside its limit, and what it did."""
    load = phrase("drawing.press.line_load", load=told(part, "line_load"))
    limit = phrase("drawing.limit_unknown")
    known = part.line_load_limit is not None
    if known:
        limit = phrase("drawing.limit", limit=told(part, "line_load_limit"))
    full = phrase("drawing.press.certificate", limit=limit, certificate=part.certificate)
    anchor, also = place.anchors()
    return Outline(
        part=part.name, name=part.name, label=part.name, printed=joined(load, limit), shapes=shapes, anchor=anchor,
        also=also, text=joined(load, full if known and part.certificate else limit, *said, *place.did_said()),
    )  # fmt: skip


def _load_within(part: Nip) -> Iterable[Fault]:
    limit = part.line_load_limit
    if limit is not None and np.any(np.asarray(part.line_load) > np.asarray(limit)):
        yield Fault(
            field="line_load",
            value=f"{float(np.max(part.line_load)) / 1e3:.4g} kN/m",
            bound=f"above the limit of {float(np.min(limit)) / 1e3:.4g} kN/m entered from the certificate",
            remedy="The vessel's certificate rules; lower the load.",
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class FeltBoxes(Part):
    """The suction boxes that dry the felt."""

    slot_width: Annotated[
        Num, Q("slot_width", possible=(1e-3, 3), usual=(0.03, 0.2), unit="mm", label="sum of all slots")
    ] = 0.09
    vacuum: Annotated[
        Num,
        Q(
            "vacuum",
            possible=(0, 9e4),
            usual=(3.5e4, 5e4),
            unit="kPa",
            remedy="Vacuum is positive, below atmosphere.",
        ),
    ] = 45e3
    felt_end_ratio: Annotated[Num, Q("felt_end_ratio", possible=(0, 3), unit="kg/kg")] = 0.42
    time_constant: Annotated[Num, Q("time_constant", possible=(1e-5, 1), usual=(8e-4, 3e-3), unit="ms")] = 1.3e-3
    face_velocity: Annotated[
        Num,
        Q(
            "face_velocity",
            possible=(0, 100),
            usual=(10.97, 14.63),
            unit="m/s",
            status="assumed",
            source="TAPPI_VACUUM_QUOTED",
        ),
    ] = 12.8
    friction_coefficient: Annotated[Num, Q("friction_coefficient", possible=(0, 1), usual=(0.1, 0.2))] = 0.15
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
class Felt(Part):
    """The press felt and its conditioning."""

    felt_grammage: Annotated[Num, Q("felt_grammage", possible=(0.3, 4), unit="g/m2", uncertainty=0.05)] = 1.25
    solidity: Annotated[
        Num,
        Q(
            "solidity",
            possible=(0.05, 0.95),
            usual=(0.55, 0.65),
            label="fibre volume share in the nip",
            spread=0.03,
        ),
    ] = 0.60
    felt_fibre_density: Annotated[
        Num,
        Q("felt_fibre_density", possible=(800, 2000), unit="kg/m3", status="from memory"),
    ] = 1140.0
    shower: Annotated[Num, Q("shower", possible=(0, 2), unit="g/m2", uncertainty=0.05)] = 0.06
    shower_temperature: Annotated[
        Num, Q("water_temperature", possible=(274.15, 368.15), usual=(283.15, 333.15), unit="degC")
    ] = 313.15
    boxes: FeltBoxes = FeltBoxes()

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


@dataclass(frozen=True, kw_only=True, eq=False)
class SteamBox(Part):
    """A steam box ahead of the nip: warmer water is thinner. Its heat fades into the felt unless it is close by."""

    steam_dose: Annotated[Num, Q("steam_dose", possible=(0, 0.2), unit="g/m2", label="steam per sheet area")] = 1.6e-3
    capture: Annotated[Num, Q("capture", possible=(0, 1), unit="%", spread=0.1)] = 0.8
    steam_enthalpy: Annotated[
        Num,
        Q(
            "steam_enthalpy",
            possible=(2.5e6, 3.2e6),
            unit="MJ/kg",
            status="from memory",
            source="COMMON_PRACTICE",
        ),
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


class Pressed(NamedTuple):
    """What one nip did."""

    name: str
    press_impulse: Num
    nip_width: Num
    dwell: Num
    nip_pressure: Num
    peak_pressure: Num
    equilibrium_moisture: Num
    moisture_ratio_in: Num
    moisture_ratio_pressed: Num
    rewet: Num
    moisture_ratio_out: Num
    dryness: Num
    share_flow: Num
    share_equilibrium: Num
    share_rewet: Num
    water: Num
    """Out of the sheet, kg/(s m)."""
    loop: Any
    """The felt's steady run (`felt_loop.felt_loop_steady`)."""
    nip_saturation: Num
    nip_drainage: Num
    void_filling: Num
    suction_flow: Num
    suction_power: Num
    suction_electricity: Num
    box_air_flow: Num
    box_power: Num
    box_electricity: Num
    box_drag: Num
    box_drag_electricity: Num


@dataclass(frozen=True, kw_only=True, eq=False)
class PressSection(Part):
    """The nips in order, the felt and the press model."""

    nip: tuple[Nip, ...]
    dewatering: DecreasingPermeability = DecreasingPermeability()
    felt: Felt = Felt()
    steam_box: SteamBox | None = None
    felt_draw: Annotated[Num, Q("draw", possible=(-0.1, 0.1), usual=(-0.01, 0.01), unit="%")] = 0.0
    motor_efficiency: Annotated[Num, Q("efficiency", possible=(0.3, 1), usual=(0.88, 0.97))] = 0.93
    pump_flow_limit: Annotated[
        Num,
        Q(
            "pump_flow_limit",
            possible=(1e-4, 1000),
            unit="m3/min",
            limit=True,
            label="felt vacuum pumps, volume flow",
        ),
    ] = None

    def rules(self) -> Iterable[Fault]:
        if not self.nip:
            yield Fault(field="nip", value="none", bound="a press needs at least one nip")
        names = [n.name for n in self.nip]
        for name in sorted({n for n in names if names.count(n) > 1}):
            yield Fault(field="nip", value=repr(name), bound="each nip needs a name of its own")

    def run(
        self,
        *,
        moisture_ratio: Num,
        grammage: Num,
        speed: Num,
        temperature: Num,
        yankee_diameter: Num,
        atmospheric_pressure: Num,
        uptake: Num,
        felt_vacuum: Any,
    ) -> tuple[tuple[Pressed, ...], Steamed | None]:
        """Steam box if there is one, then nip after nip; each nip sees a felt of its own kind in its steady run."""
        steamed = self._steam(moisture_ratio, grammage, temperature)
        if steamed is not None:
            temperature, moisture_ratio = steamed.temperature, steamed.moisture_ratio
        viscosity = joints.kinematic_viscosity(
            mat.viscosity_water_iapws(temperature), mat.density_water_kell(temperature)
        )
        density = mat.density_water_kell(temperature)
        done = []
        for i, one in enumerate(self.nip):
            first = i == 0
            pressed = self._nip(
                one,
                moisture_ratio,
                grammage,
                speed,
                viscosity,
                density,
                yankee_diameter,
                atmospheric_pressure,
                uptake if first else convention(0.0, "only the first felt forms the sheet"),
                felt_vacuum if first else None,
            )
            done.append(pressed)
            moisture_ratio = pressed.moisture_ratio_out
        return tuple(done), steamed

    def _steam(self, moisture_ratio: Num, grammage: Num, temperature: Num) -> Steamed | None:
        """Sheet behind the steam box."""
        box = self.steam_box
        if box is None:
            return None
        fibre, water = constant("fibre_heat_capacity_dry"), constant("water_heat_capacity_sheet")
        capacity = felt.heat_capacity_wet(grammage, moisture_ratio, fibre, water)
        rise = felt.temperature_rise_steam_box(
            box.steam_dose, box.capture, box.steam_enthalpy, temperature, capacity, water
        )
        warm = joints.temperature_raised(temperature, rise)
        condensate = joints.condensate_of_rise(rise, capacity, box.steam_enthalpy, water, warm)
        return Steamed(warm, joints.moisture_ratio_with_rewet(moisture_ratio, condensate, grammage), condensate)

    def _nip(
        self,
        one: Nip,
        moisture_in: Num,
        grammage: Num,
        speed: Num,
        viscosity: Num,
        density: Num,
        yankee_diameter: Num,
        atmospheric_pressure: Num,
        uptake: Num,
        felt_vacuum: Any,
    ) -> Pressed:
        model = self.dewatering
        impulse = nip.impulse(one.line_load, speed)
        width = one.width(yankee_diameter)
        mean = nip.pressure_mean(one.line_load, width)
        equilibrium = pressing.equilibrium_moisture_power_law(
            model.water_retention_value, mean, model.reference_pressure, model.pressure_exponent
        )
        driest = pressing.moisture_pressed_decreasing_permeability(
            moisture_in,
            impulse,
            grammage,
            viscosity,
            model.specific_permeability,
            model.permeability_exponent,
            equilibrium,
            convention(one.felted_sides, "felted sides of the nip, as given"),
        )
        out = pressing.moisture_ratio_rewetted(driest, one.rewet, grammage)
        loop, full = self._felt(grammage, moisture_in, driest, one.rewet, speed, density, uptake, felt_vacuum)
        saturation = felt.nip_saturation_felt(
            self.felt.felt_grammage, loop.felt_moisture_ratio, grammage, moisture_in, driest, full
        )
        drainage = felt.nip_drainage_felt(
            self.felt.felt_grammage, loop.felt_moisture_ratio, grammage, moisture_in, driest, full
        )
        filling, suction = self._surface(one.surface, drainage, density, speed, atmospheric_pressure)
        boxes = self.felt.boxes
        air = felt.air_flow_box(boxes.slot_width, boxes.face_velocity)
        box_power = pumping.vacuum_power_isothermal(air, atmospheric_pressure, boxes.vacuum, boxes.efficiency)
        drag = felt.drag_power_box(boxes.friction_coefficient, boxes.vacuum, boxes.slot_width, speed)
        return Pressed(
            name=one.name,
            press_impulse=impulse,
            nip_width=width,
            dwell=nip.dwell_nip(width, speed),
            nip_pressure=mean,
            peak_pressure=joints.peak_of_mean(one.peak_ratio(width), mean),
            equilibrium_moisture=equilibrium,
            moisture_ratio_in=moisture_in,
            moisture_ratio_pressed=driest,
            rewet=one.rewet,
            moisture_ratio_out=out,
            dryness=pressing.dryness_from_moisture_ratio(out),
            share_flow=pressing.moisture_share_flow(driest, one.rewet, grammage, equilibrium),
            share_equilibrium=pressing.moisture_share_equilibrium(driest, one.rewet, grammage, equilibrium),
            share_rewet=pressing.moisture_share_rewet(driest, one.rewet, grammage),
            water=pressing.water_pressed_out(speed, grammage, moisture_in, out),
            loop=loop,
            nip_saturation=saturation,
            nip_drainage=drainage,
            void_filling=filling,
            suction_flow=suction[0],
            suction_power=suction[1],
            suction_electricity=pumping.motor_input_power(suction[1], self.motor_efficiency),
            box_air_flow=air,
            box_power=box_power,
            box_electricity=pumping.motor_input_power(box_power, self.motor_efficiency),
            box_drag=drag,
            box_drag_electricity=pumping.motor_input_power(drag, self.motor_efficiency),
        )

    def _felt(
        self,
        grammage: Num,
        moisture_in: Num,
        driest: Num,
        rewet: Num,
        speed: Num,
        density: Num,
        uptake: Num,
        felt_vacuum: Any,
    ) -> tuple[Any, Num]:
        """The felt's steady run and the water ratio at which it is full in the nip."""
        full = felt.saturated_ratio_felt(self.felt.solidity, self.felt.felt_fibre_density, density)
        boxes = self.felt.boxes
        if felt_vacuum is None:
            end = convention(10.0, "no felt vacuum")
            dwell, time_constant = convention(0.0, "no felt vacuum"), convention(1.0, "no felt vacuum")
        else:
            end, time_constant = felt_vacuum.felt_end_ratio, felt_vacuum.felt_time_constant
            dwell = vacuum.dwell_slot(felt_vacuum.slot_width, speed)
        loop = felt_loop.felt_loop_steady(
            felt_grammage=self.felt.felt_grammage,
            grammage=grammage,
            moisture_ratio_in=moisture_in,
            moisture_ratio_pressed=driest,
            rewet=rewet,
            shower=self.felt.shower,
            felt_saturated_ratio=full,
            felt_end_ratio=boxes.felt_end_ratio,
            dwell=felt.dwell_box(boxes.slot_width, speed),
            time_constant=boxes.time_constant,
            felt_uptake=uptake,
            vacuum_end_ratio=end,
            vacuum_dwell=dwell,
            vacuum_time_constant=time_constant,
        )
        return loop, full

    def _surface(
        self, surface: Surface, drainage: Num, density: Num, speed: Num, atmospheric_pressure: Num
    ) -> tuple[Num, tuple[Num, Num]]:
        """Void filling, and (air at suction conditions, shaft power) of a suction roll."""
        zero = convention(0.0, "no suction in this roll")
        if isinstance(surface, Plain):
            return np.float64(np.nan), (zero, zero)
        if isinstance(surface, Grooved):
            void = felt.roll_void_grooved(surface.groove_width, surface.groove_depth, surface.groove_pitch)
            return felt.roll_void_filling(drainage, void, density), (zero, zero)
        if isinstance(surface, BlindDrilled):
            void = felt.roll_void_drilled(surface.hole_depth, surface.roll_open_area)
            return felt.roll_void_filling(drainage, void, density), (zero, zero)
        void = felt.roll_void_drilled(surface.shell_thickness, surface.roll_open_area)
        shell = vacuum.ambient_air_flow_shell(void, speed, surface.vacuum, atmospheric_pressure)
        air = joints.air_flow_with_leakage(shell, surface.leakage_share)
        at_vacuum = vacuum.air_flow_at_vacuum(air, atmospheric_pressure, surface.vacuum)
        power = pumping.vacuum_power_isothermal(at_vacuum, atmospheric_pressure, surface.vacuum, surface.efficiency)
        return felt.roll_void_filling(drainage, void, density), (at_vacuum, power)
