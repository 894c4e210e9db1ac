"""The press: nips on the Yankee (or, for heavier grades, before a dryer), the felt they share, and its loop.

Dryness comes from press impulse and rewet; the felt enters as a threshold (nip saturation 1), never as a linear
penalty. The line load allowed on a Yankee stands in the vessel's certificate alone and is never computed here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, ClassVar, NamedTuple

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.traced import constant, convention
from thinstock.machine.along import NipProfile, along_nips
from thinstock.machine.felt import Felt, SteamBox, Steamed
from thinstock.machine.nips import Nip
from thinstock.machine.part import Done, Part
from thinstock.machine.surfaces import SuctionDrilled, Surface
from thinstock.machine.told import OUTSIDE, Drawn, Station, Stream, Use, Wet, said
from thinstock.machine.web import Around, FeltState, Web
from thinstock.relations import balance, felt, felt_loop, joints, mat, nip, pressing, pumping, vacuum
from thinstock.relations.felt_loop import FeltLoop
from thinstock.words.quantity import ANY, Fields, Num, Q

if TYPE_CHECKING:
    from thinstock.machine.duty import Asked, Duty, Fixed
    from thinstock.machine.notes import Notes
    from thinstock.machine.parts import Parts


@dataclass(frozen=True, kw_only=True, eq=False)
class DecreasingPermeability(Fields):
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


class Nipped(NamedTuple):
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
    loop: FeltLoop
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


class PressWater(NamedTuple):
    """Water as warm as the sheet in the nips."""

    viscosity: Num
    """Kinematic, m²/s."""
    density: Num


@dataclass(frozen=True, kw_only=True, eq=False)
class PressSection(Part):
    """The nips in order, the felt and the press model."""

    WITHOUT: ClassVar[Mapping[str, str]] = {"outline": "its nips and its felt show themselves"}

    nip: tuple[Nip, ...]
    dewatering: DecreasingPermeability = DecreasingPermeability()
    felt: Felt = Felt()
    steam_box: SteamBox | None = None
    moisture_deviation: Annotated[Num, Q("moisture_deviation_in", possible=(0, 1), unit="kg/kg")] = 0.0
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

    def places(self) -> Iterable[str]:
        """Its nips."""
        return (n.name for n in self.nip)

    def run(self, web: Web, around: Around) -> tuple[Web, Pressed]:
        """Steam box if there is one, then nip after nip; each nip sees a felt of its own kind in its steady run."""
        into = web.onto(around.demand.felt)
        steamed, at_nip, state = self._steam(into), into, around.felt
        if steamed is not None:
            at_nip = into.with_(temperature=steamed.temperature, moisture_ratio=steamed.moisture_ratio)
        viscosity = joints.kinematic_viscosity(
            mat.viscosity_water_iapws(at_nip.temperature), mat.density_water_kell(at_nip.temperature)
        )
        density = mat.density_water_kell(at_nip.temperature)
        done: list[Nipped] = []
        for one in self.nip:
            did = self._nip(one, at_nip, around, PressWater(viscosity, density), state)
            done.append(did)
            at_nip = at_nip.with_(moisture_ratio=did.moisture_ratio_out)
            state = FeltState(convention(0.0, "only the first felt forms the sheet"))
        return at_nip, Pressed(into=into, out=at_nip, around=around, part=self, nips=tuple(done), steamed=steamed)

    def _steam(self, web: Web) -> Steamed | None:
        """Sheet behind the steam box."""
        box = self.steam_box
        if box is None:
            return None
        fibre, water = constant("fibre_heat_capacity_dry"), constant("water_heat_capacity_sheet")
        capacity = felt.heat_capacity_wet(web.fibre, web.moisture_ratio, fibre, water)
        rise = felt.temperature_rise_steam_box(
            box.steam_dose, box.capture, box.steam_enthalpy, web.temperature, capacity, water
        )
        warm = joints.temperature_raised(web.temperature, rise)
        condensate = joints.condensate_of_rise(rise, capacity, box.steam_enthalpy, water, warm)
        wetter = joints.moisture_ratio_with_rewet(web.moisture_ratio, condensate, web.fibre)
        return Steamed(warm, wetter, condensate)

    def _nip(self, one: Nip, web: Web, around: Around, water: PressWater, state: FeltState) -> Nipped:
        model, moisture_in, grammage, speed = self.dewatering, web.moisture_ratio, web.fibre, web.speed
        impulse = nip.impulse(one.line_load, speed)
        width = one.width(around.press_partner)
        mean = nip.pressure_mean(one.line_load, width)
        equilibrium = pressing.equilibrium_moisture_power_law(
            model.water_retention_value, mean, model.reference_pressure, model.pressure_exponent
        )
        driest = pressing.moisture_pressed_decreasing_permeability(
            moisture_in,
            impulse,
            grammage,
            water.viscosity,
            model.specific_permeability,
            model.permeability_exponent,
            equilibrium,
            convention(one.felted_sides, "felted sides of the nip, as given"),
        )
        out = pressing.moisture_ratio_rewetted(driest, one.rewet, grammage)
        loop, full = self._felt(one, web, driest, water.density, state)
        in_felt = (self.felt.felt_grammage, loop.felt_moisture_ratio, grammage, moisture_in, driest, full)
        drainage = felt.nip_drainage_felt(*in_felt)
        return Nipped(
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
            nip_saturation=felt.nip_saturation_felt(*in_felt),
            nip_drainage=drainage,
            **self._roll(one.surface, drainage, water.density, speed, around.atmospheric_pressure),
            **self._boxes(speed, around.atmospheric_pressure),
        )

    def _felt(self, one: Nip, web: Web, driest: Num, density: Num, state: FeltState) -> tuple[FeltLoop, Num]:
        """The felt's steady run and the water ratio at which it is full in the nip."""
        full = felt.saturated_ratio_felt(self.felt.solidity, self.felt.felt_fibre_density, density)
        boxes = self.felt.boxes
        if state.slot is None:
            end = convention(10.0, "no felt vacuum")
            dwell, time_constant = convention(0.0, "no felt vacuum"), convention(1.0, "no felt vacuum")
        else:
            end, time_constant = state.slot.felt_end_ratio, state.slot.felt_time_constant
            dwell = vacuum.dwell_slot(state.slot.slot_width, web.speed)
        loop = felt_loop.felt_loop_steady(
            felt_grammage=self.felt.felt_grammage,
            grammage=web.fibre,
            moisture_ratio_in=web.moisture_ratio,
            moisture_ratio_pressed=driest,
            rewet=one.rewet,
            shower=self.felt.shower,
            felt_saturated_ratio=full,
            felt_end_ratio=boxes.felt_end_ratio,
            dwell=felt.dwell_box(boxes.slot_width, web.speed),
            time_constant=boxes.time_constant,
            felt_uptake=state.uptake,
            vacuum_end_ratio=end,
            vacuum_dwell=dwell,
            vacuum_time_constant=time_constant,
        )
        return loop, full

    def _roll(self, surface: Surface, drainage: Num, density: Num, speed: Num, pressure: Num) -> dict[str, Num]:
        """How full the roll's voids are, and the air it draws."""
        void = surface.void()
        drawn = surface.suction(void, speed, pressure)
        zero = convention(0.0, "no suction in this roll")
        power = zero if drawn is None else drawn.power
        return {
            "void_filling": np.float64(np.nan) if void is None else felt.roll_void_filling(drainage, void, density),
            "suction_flow": zero if drawn is None else drawn.flow,
            "suction_power": power,
            "suction_electricity": pumping.motor_input_power(power, self.motor_efficiency),
        }

    def _boxes(self, speed: Num, pressure: Num) -> dict[str, Num]:
        """Air, power and drag of the felt's suction boxes."""
        boxes = self.felt.boxes
        air = felt.air_flow_box(boxes.slot_width, boxes.face_velocity)
        power = pumping.vacuum_power_isothermal(air, pressure, boxes.vacuum, boxes.efficiency)
        drag = felt.drag_power_box(boxes.friction_coefficient, boxes.vacuum, boxes.slot_width, speed)
        return {
            "box_air_flow": air,
            "box_power": power,
            "box_electricity": pumping.motor_input_power(power, self.motor_efficiency),
            "box_drag": drag,
            "box_drag_electricity": pumping.motor_input_power(drag, self.motor_efficiency),
        }

    def limits(self, asked: Asked) -> Iterable[Duty | Fixed]:
        """The felt is not full in a nip; each line load within its certificate."""
        yield asked.duty(
            "felt", "nip_saturation", np.float64(1.0), value=_worst_saturation,
            margin=lambda p: 1 - _worst_saturation(p), status="computed",
        )  # fmt: skip
        for one in self.nip:
            yield from one.limits(asked)


def _worst_saturation(parts: Parts) -> Num:
    return np.max(np.stack([np.asarray(n.nip_saturation) for n in parts.press.nips]), axis=0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Pressed(Done):
    """The press at work."""

    STAGE = "press"

    part: PressSection
    nips: tuple[Nipped, ...]
    steamed: Steamed | None
    """What a steam box did, or None."""

    def values(self) -> Mapping[str, Num]:
        """Those of the last nip."""
        last = self.nips[-1]
        return {
            "dryness_press": last.dryness,
            "press_impulse": last.press_impulse,
            "nip_pressure": last.nip_pressure,
            "nip_saturation": last.nip_saturation,
            "share_flow": last.share_flow,
            "share_rewet": last.share_rewet,
        }

    def stations(self) -> Iterable[Station]:
        """Behind every nip."""
        web = self.out
        for one in self.nips:
            yield Station(
                name=one.name, dryness=one.dryness, moisture_ratio=one.moisture_ratio_out, grammage=web.fibre,
                temperature=web.temperature, speed=web.speed,
            )  # fmt: skip

    def streams(self) -> Iterable[Stream]:
        """Steam in, water per nip into the felt, the web to the dryer, showers on the felt."""
        web, before, felt_ = self.out, self.into.moisture_ratio, self.part.felt
        if self.steamed is not None:
            assert self.part.steam_box is not None
            steam = self.steamed.condensate * web.speed
            enthalpy = self.part.steam_box.steam_enthalpy
            yield Stream(id="steam_box", source=OUTSIDE, sink="press", water=steam, heat=steam * enthalpy)
            before = self.steamed.moisture_ratio
        for one in self.nips:
            out = Wet.at(web.temperature, water=before * web.fibre_flow - one.moisture_ratio_out * web.fibre_flow)
            yield out.stream("nip_water", "press", "felt", of=one.name, temperature=web.temperature)
            before = one.moisture_ratio_out
        on = Wet.at(web.temperature, fibre=web.fibre_flow, fines=web.fines_flow, water=before * web.fibre_flow)
        yield on.stream("web_pressed", "press", "yankee", temperature=web.temperature)
        showers = Wet.at(felt_.shower_temperature, water=felt_.shower * web.speed * len(self.nips))
        yield showers.stream("felt_shower", OUTSIDE, "felt", temperature=felt_.shower_temperature)

    def air(self) -> Iterable[Drawn]:
        """Air of suction rolls and felt boxes."""
        for one, part in zip(self.nips, self.part.nip, strict=True):
            if isinstance(part.surface, SuctionDrilled):
                yield Drawn(
                    of=one.name, flow=one.suction_flow, vacuum=part.surface.vacuum, power=one.suction_power
                )  # fmt: skip
            yield Drawn(
                of=said("stations", "felt_boxes", one.name), flow=one.box_air_flow, vacuum=self.part.felt.boxes.vacuum,
                power=one.box_power,
            )  # fmt: skip

    def consumers(self) -> Iterable[Use]:
        """Steam box, suction rolls, felt boxes and the drag on them."""
        box = self.part.steam_box
        if box is not None:
            flow = balance.water_flow_from_area(box.steam_dose, self.out.speed)
            power = joints.power_of_steam(flow, box.steam_enthalpy)
            yield Use(id="steam_box", stage="press", kind="steam", power=power)
        for one, part in zip(self.nips, self.part.nip, strict=True):
            users = {"felt_boxes": one.box_electricity, "felt_drag": one.box_drag_electricity}
            if isinstance(part.surface, SuctionDrilled):
                users = {"roll_vacuum": one.suction_electricity, **users}
            for id, power in users.items():
                yield Use(id=id, of=one.name, stage="press", kind="electricity", power=power)

    def along(self) -> tuple[NipProfile, ...]:
        """Pressure through each nip."""
        return tuple(along_nips(self))

    def fresh_water(self) -> Iterable[Num]:
        """Showers on the felt."""
        yield balance.water_flow_from_area(self.part.felt.shower, self.out.speed)

    def notes(self, notes: Notes) -> None:
        """A felt that is full, rewet that counts, the model's blind spots."""
        for one, part in zip(self.nips, self.part.nip, strict=True):
            saturation, name = np.asarray(one.nip_saturation), one.name
            notes.when((saturation > 0.95) & (saturation <= 1), name, "unusual", "felt_nearly_full")
            notes.when(saturation > 1, name, "limit", "felt_full")
            notes.when(np.asarray(one.share_rewet) > 0.3, name, "information", "rewet_counts")
            notes.when(
                (np.asarray(self.part.dewatering.water_retention_value) == 0)
                & ((np.asarray(one.press_impulse) > 10e3) | (np.asarray(one.dryness) > 0.48)),
                name, "unusual", "press_model_beyond",
            )  # fmt: skip
            wetter = np.asarray(one.moisture_ratio_out) > np.asarray(one.moisture_ratio_in)
            notes.when(wetter, name, "limit", "rewet_exceeds")
            if part.on_yankee and part.line_load_limit is None:
                notes.when(True, name, "limit", "line_load_not_checked")
        notes.when(True, "press", "blind spot", "press_blind")
        if notes.status("press.dewatering.specific_permeability") != "measured":
            notes.when(True, "press", "assumed", "press_not_calibrated")
