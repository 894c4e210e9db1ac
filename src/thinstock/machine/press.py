"""The press: nips on the Yankee (or, for heavier grades, before a dryer), the felt they share, and its loop.

Dryness comes from press impulse, furnish and rewet. The felt resists in series with the web, fills up, and gives water
back in proportion to what it holds: boxes, shower and age reach the sheet by its water. The line load allowed on a
Yankee stands in the vessel's certificate alone and is never computed here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, ClassVar

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.label import worksheet
from thinstock.formula.traced import constant, convention, found
from thinstock.machine.along import NipProfile, along_nips
from thinstock.machine.felt import Felt, RunningFelt, SteamBox, Steamed
from thinstock.machine.nipped import Nipped as Nipped
from thinstock.machine.nipped import PressWater, Pushed, Squeezed
from thinstock.machine.nips import Nip
from thinstock.machine.part import Done, Part
from thinstock.machine.press_law import DecreasingPermeability
from thinstock.machine.surfaces import SuctionDrilled
from thinstock.machine.told import OUTSIDE, Drawn, Station, Stream, Use, Wet, said
from thinstock.machine.web import Around, FeltState, Web
from thinstock.relations import (
    felt,
    felt_loop,
    felt_state,
    joints,
    mat,
    nip,
    nip_felt,
    pressing,
    pumping,
    vacuum,
)
from thinstock.relations.felt_loop import FeltLoop
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num, Q

if TYPE_CHECKING:
    from thinstock.machine.duty import Asked, Duty, Fixed
    from thinstock.machine.notes import Notes
    from thinstock.machine.parts import Parts


BOXES = ("box_air_flow", "box_vacuum", "box_power", "box_electricity", "box_drag", "box_drag_electricity")
PERMEABILITY = ("specific_permeability", "permeability_factor")
WEAK_BOXES = 30e3
"""Vacuum below which it is said what weaker felt boxes hang on, Pa."""
SWOLLEN = 1.45
"""Water retention value from which it is said that the fibre holds more water, kg/kg."""
FELT_BOXES = "felt boxes"
"""What a pump that draws on them calls the boxes of the press felt."""


@dataclass(frozen=True, kw_only=True, eq=False)
class PressSection(Part):
    """The nips in order, the felt and the press model."""

    WITHOUT: ClassVar[Mapping[str, str]] = {"outline": phrase("machine.press.its_nips_its_felt_show")}

    nip: tuple[Nip, ...]
    dewatering: DecreasingPermeability = DecreasingPermeability()
    felt: Felt = Felt()
    steam_box: SteamBox | None = None
    moisture_deviation: Annotated[Num, Q("moisture_deviation_in", possible=(0, 1), unit="kg/kg")] = 0.0
    felt_draw: Annotated[Num, Q("draw", possible=(-0.1, 0.1), usual=(-0.01, 0.01), unit="%")] = 0.0
    motor_efficiency: Annotated[Num, Q("efficiency", possible=(0.3, 1), usual=(0.88, 0.97))] = 0.93
    pump_flow_limit: Annotated[Num, Q("pump_flow_limit", possible=(1e-4, 1000), unit="m3/min", limit=True)] = None

    def rules(self) -> Iterable[Fault]:
        if not self.nip:
            yield fault_in("machine.press.nip", "nip", "none")
        names = [n.name for n in self.nip]
        for name in sorted({n for n in names if names.count(n) > 1}):
            yield fault_in("machine.press.each_nip_needs_name_its", "nip", repr(name))

    def places(self) -> Iterable[str]:
        """Its nips."""
        return (n.name for n in self.nip)

    def cautions(self) -> Iterable[str]:
        """Felt and nips."""
        return ("felt", "press")

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
            state = FeltState(convention(0.0, phrase("machine.press.only_first_felt_forms_sheet")))
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
        warm = web.temperature + rise
        condensate = joints.condensate_of_rise(rise, capacity, box.steam_enthalpy, water, warm)
        wetter = joints.moisture_ratio_with_rewet(web.moisture_ratio, condensate, web.fibre)
        return Steamed(warm, wetter, condensate)

    def _nip(self, one: Nip, web: Web, around: Around, water: PressWater, state: FeltState) -> Nipped:
        """One nip and its felt in their steady run: found muted, then worked once at the felt's water."""
        pushed = self._pushed(one, web, around)
        with worksheet(False):
            first = self._squeezed(one, web, around, water, state, pushed, self.felt.felt_end_reference)
        moisture = found(phrase("machine.press.water_felt_into_nip_steady"), first.loop.felt_moisture_ratio)
        done = self._squeezed(one, web, around, water, state, pushed, moisture)
        moisture_in, grammage, speed, driest = web.moisture_ratio, web.fibre, web.speed, done.driest
        in_felt = (self.felt.felt_grammage, done.loop.felt_moisture_ratio, grammage, moisture_in, driest, done.full)
        drainage = felt.nip_drainage_felt(*in_felt)
        out = pressing.moisture_ratio_rewetted(driest, done.rewet, grammage)
        shares = (driest, done.rewet, grammage, pushed.equilibrium)
        return Nipped(
            name=one.name,
            press_impulse=pushed.impulse,
            nip_width=pushed.width,
            dwell=nip.dwell_nip(pushed.width, speed),
            nip_pressure=pushed.mean,
            peak_pressure=one.peak_ratio(pushed.width) * pushed.mean,
            pressure_weighted=pushed.weighted,
            equilibrium_moisture=pushed.equilibrium,
            moisture_ratio_in=moisture_in,
            moisture_ratio_pressed=driest,
            contact_time=pushed.contact,
            rewet_at_contact=pushed.rewet,
            rewet=done.rewet,
            moisture_ratio_out=out,
            dryness=pressing.dryness_from_moisture_ratio(out),
            share_flow=pressing.moisture_share_flow(*shares),
            share_equilibrium=pressing.moisture_share_equilibrium(*shares),
            share_rewet=pressing.moisture_share_rewet(driest, done.rewet, grammage),
            water=pressing.water_pressed_out(speed, grammage, moisture_in, out),
            **self._spent(one, web, around, water, pushed, done),
            loop=done.loop,
            nip_saturation=felt.nip_saturation_felt(*in_felt),
            nip_drainage=drainage,
            **self._roll(one, drainage, water.density, speed, around),
            **self._boxes(one, done.loop, water.density, speed, around),
        )

    def _pushed(self, one: Nip, web: Web, around: Around) -> Pushed:
        """What the nip does to any sheet: impulse, pressure, contact."""
        width = one.width(around.press_partner)
        mean = nip.pressure_mean(one.line_load, width)
        weighted = one.pressure_weighted(mean, width)
        wall = around.pressing.equilibrium(around.furnish.water_retention_value, weighted)
        contact = one.contact_time(width, web.speed)
        return Pushed(
            impulse=nip.impulse(one.line_load, web.speed),
            width=width,
            mean=mean,
            weighted=weighted,
            equilibrium=around.pressing.held(wall),
            contact=contact,
            rewet=nip_felt.rewet_at_dwell(
                one.rewet, contact, one.contact_time_reference, self.dewatering.splitting_share
            ),
        )  # fmt: skip

    def _squeezed(
        self, one: Nip, web: Web, around: Around, water: PressWater, state: FeltState, pushed: Pushed, moisture: Num
    ) -> Squeezed:
        """Web and felt in series, the felt coming with so much water; what comes back; the felt's steady run."""
        press, own, grammage = around.pressing, self.felt, web.fibre
        full, resistance = around.press_felt.full_in_nip(water.density), around.press_felt.squeezed
        room = felt_state.felt_room_free(own.felt_grammage, full, moisture)
        driest = nip_felt.moisture_pressed_felt(
            web.moisture_ratio, pushed.impulse, grammage, water.viscosity, press.specific_permeability,
            press.permeability_exponent, pushed.equilibrium,
            convention(one.felted_sides, phrase("machine.press.felted_sides_nip_as_given")), resistance, room,
        )  # fmt: skip
        behind = felt.felt_moisture_ratio_after_nip(
            own.felt_grammage, moisture, grammage, web.moisture_ratio, driest, full,
            convention(0.0, phrase("machine.press.felt_s_water_before_any")),
        )  # fmt: skip
        rewet = nip_felt.rewet_of_felt(pushed.rewet, behind, own.felt_moisture_reference, own.felt_exponent)
        loop = self._loop(web, around.press_felt, driest, rewet, full, water.density, state)
        return Squeezed(driest, rewet, full, resistance, room, loop)

    def _loop(
        self, web: Web, running: RunningFelt, driest: Num, rewet: Num, full: Num, density: Num, state: FeltState
    ) -> FeltLoop:
        """The felt's steady run."""
        boxes = self.felt.boxes
        end, time_constant = running.drained_at(boxes.vacuum, density)
        if state.slot is None:
            vacuum_end = convention(10.0, phrase("machine.press.no_felt_vacuum"))
            dwell, vacuum_time = (
                convention(0.0, phrase("machine.press.no_felt_vacuum")),
                convention(1.0, phrase("machine.press.no_felt_vacuum")),
            )
        else:
            vacuum_end, vacuum_time = running.drained_at(state.slot.vacuum, density)
            dwell = vacuum.dwell_slot(state.slot.slot_width, web.speed)
        return felt_loop.felt_loop_steady(
            felt_grammage=self.felt.felt_grammage,
            grammage=web.fibre,
            moisture_ratio_in=web.moisture_ratio,
            moisture_ratio_pressed=driest,
            rewet=rewet,
            shower=self.felt.shower,
            felt_saturated_ratio=full,
            felt_end_ratio=end,
            dwell=felt.dwell_box(boxes.slot_width, web.speed),
            time_constant=time_constant,
            felt_uptake=state.uptake,
            vacuum_end_ratio=vacuum_end,
            vacuum_dwell=dwell,
            vacuum_time_constant=vacuum_time,
        )

    def _spent(
        self, one: Nip, web: Web, around: Around, water: PressWater, pushed: Pushed, done: Squeezed
    ) -> dict[str, Num]:
        """Where the impulse goes, and the weight this nip would leave driest."""
        press, sides = around.pressing, one.felted_sides
        pressed = web.fibre * (web.moisture_ratio - done.driest) / sides
        in_felt = nip_felt.impulse_spent_in_felt(pressed, water.viscosity, done.resistance, done.room)
        driest = None
        if int(sides) == 1:
            driest = nip_felt.grammage_driest(
                done.rewet, pushed.impulse, water.viscosity, press.specific_permeability, press.permeability_exponent
            )
        return {"impulse_felt": in_felt, "impulse_web": pushed.impulse - in_felt, "grammage_driest": driest}

    def _roll(self, one: Nip, drainage: Num, density: Num, speed: Num, around: Around) -> dict[str, Num]:
        """How full the roll's voids are, and the air it draws."""
        void = one.surface.void()
        drawn = one.surface.suction(void, speed, around.atmospheric_pressure, around.headers.get(one.name))
        zero = convention(0.0, phrase("machine.press.no_suction_in_this_roll"))
        power = zero if drawn is None else drawn.power
        return {
            "void_filling": np.float64(np.nan) if void is None else felt.roll_void_filling(drainage, void, density),
            "suction_flow": zero if drawn is None else drawn.flow,
            "suction_vacuum": zero if drawn is None else drawn.vacuum,
            "suction_power": power,
            "suction_electricity": pumping.motor_input_power(power, self.motor_efficiency),
        }

    def _boxes(self, one: Nip, loop: FeltLoop, density: Num, speed: Num, around: Around) -> dict[str, Num]:
        """Air, power and drag of the felt's suction boxes; none where the felt is that of the nip before."""
        if one.felt_shared:
            return dict.fromkeys(BOXES, convention(0.0, phrase("machine.press.boxes_felt_counted_at_nip")))
        boxes, pressure = self.felt.boxes, around.atmospheric_pressure
        header = around.headers.get(FELT_BOXES, boxes.vacuum)
        face = boxes.face_velocity
        if face is None:
            moist = around.press_felt.air_resistance(density, loop.felt_moisture_after_boxes)
            flux = vacuum.ambient_air_flux_series(
                pressure, boxes.vacuum, constant("air_viscosity_room"), constant("air_density_room"), *moist
            )
            face = vacuum.air_flow_at_vacuum(flux, pressure, header)
        air = felt.air_flow_box(boxes.slot_width, face)
        power = pumping.vacuum_power_isothermal(air, pressure, header, boxes.efficiency)
        drag = felt.drag_power_box(boxes.friction_coefficient, boxes.vacuum, boxes.slot_width, speed)
        return {
            "box_air_flow": air,
            "box_vacuum": header,
            "box_power": power,
            "box_electricity": pumping.motor_input_power(power, self.motor_efficiency),
            "box_drag": drag,
            "box_drag_electricity": pumping.motor_input_power(drag, self.motor_efficiency),
        }

    @property
    def felts(self) -> int:
        """Felts of its nips."""
        return sum(not one.felt_shared for one in self.nip)

    def limits(self, asked: Asked) -> Iterable[Duty | Fixed]:
        """The felt is not full in a nip; each line load within its certificate."""
        yield asked.duty(
            "felt", "nip_saturation", np.float64(1.0), value=_worst_saturation,
            margin=lambda p: 1 - _worst_saturation(p), status="computed",
        )  # fmt: skip
        yield asked.capacity(
            "felt_pumps", "pump_flow_limit", "volume_flow",
            lambda p: sum((n.suction_flow + n.box_air_flow for n in p.press.nips), 0.0) * asked.width,
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
        showers = Wet.at(felt_.shower_temperature, water=felt_.shower * web.speed * self.part.felts)
        yield showers.stream("felt_shower", OUTSIDE, "felt", temperature=felt_.shower_temperature)

    def air(self) -> Iterable[Drawn]:
        """Air of suction rolls and felt boxes."""
        for one, part in zip(self.nips, self.part.nip, strict=True):
            if isinstance(part.surface, SuctionDrilled):
                yield Drawn(
                    of=one.name, flow=one.suction_flow, vacuum=one.suction_vacuum, power=one.suction_power
                )  # fmt: skip
            if not part.felt_shared:
                yield Drawn(
                    of=said("stations", "felt_boxes", one.name), flow=one.box_air_flow, vacuum=one.box_vacuum,
                    power=one.box_power,
                )  # fmt: skip

    def consumers(self) -> Iterable[Use]:
        """Steam box, suction rolls, felt boxes and the drag on them."""
        box = self.part.steam_box
        if box is not None:
            flow = box.steam_dose * self.out.speed
            power = flow * box.steam_enthalpy
            yield Use(id="steam_box", stage="press", kind="steam", power=power)
        for one, part in zip(self.nips, self.part.nip, strict=True):
            users = {"felt_boxes": one.box_electricity, "felt_drag": one.box_drag_electricity}
            if part.felt_shared:
                users = {}
            if isinstance(part.surface, SuctionDrilled):
                users = {"roll_vacuum": one.suction_electricity, **users}
            for id, power in users.items():
                yield Use(id=id, of=one.name, stage="press", kind="electricity", power=power)

    def along(self) -> tuple[NipProfile, ...]:
        """Pressure through each nip."""
        return tuple(along_nips(self))

    def fresh_water(self) -> Iterable[tuple[Num, Num]]:
        """Showers on the felt."""
        for _ in range(self.part.felts):
            yield self.part.felt.shower * self.out.speed, self.part.felt.shower_temperature

    def notes(self, notes: Notes) -> None:
        """A felt that is full, rewet that counts, the model's blind spots."""
        for one, part in zip(self.nips, self.part.nip, strict=True):
            saturation, name = np.asarray(one.nip_saturation), one.name
            notes.when((saturation > 0.95) & (saturation <= 1), name, "unusual", "felt_nearly_full")
            notes.when(saturation > 1, name, "limit", "felt_full")
            notes.when(np.asarray(one.share_rewet) > 0.3, name, "unusual", "rewet_counts")
            notes.when(
                (np.asarray(self.around.pressing.equilibrium_share) == 0)
                & ((np.asarray(one.press_impulse) > 10e3) | (np.asarray(one.dryness) > 0.48)),
                name, "unusual", "press_model_beyond",
            )  # fmt: skip
            _wetted(notes, name, np.asarray(one.moisture_ratio_in), np.asarray(one.moisture_ratio_out))
            if part.on_yankee and part.line_load_limit is None:
                notes.when(True, name, "limit", "line_load_not_checked")
        notes.when(True, "press", "blind spot", "press_blind")
        notes.when(np.asarray(self.part.felt.boxes.vacuum) < WEAK_BOXES, "press", "assumed", "weaker_boxes")
        self._furnish_notes(notes)
        if not {notes.status(f"press.dewatering.{n}") for n in PERMEABILITY} & {"measured", "calibrated"}:
            notes.when(True, "press", "assumed", "press_not_calibrated")

    def _furnish_notes(self, notes: Notes) -> None:
        """Where the water retention comes from, and what it does."""
        stock, retention = self.around.stock, np.asarray(self.around.furnish.water_retention_value)
        if self.part.dewatering.specific_permeability is not None:
            notes.when(True, "press", "information", "furnish_of_press")
        if stock.water_retention_value is None:
            swollen = retention > SWOLLEN
            said = f"{float(np.max(retention)):.2f}"
            notes.when(swollen, "press", "assumed", "furnish_swollen", retention=said)
            notes.when(~swollen, "press", "assumed", "furnish_assumed", retention=said)


def _wetted(notes: Notes, nip: str, before: Num, after: Num) -> None:
    """A nip that the sheet leaves wetter than it came, with both ends of the worst case."""
    wetter = after > before
    if np.any(wetter):
        worst = int(np.argmax(np.where(wetter, after - before, 0.0)))
        came, left = (f"{100 / (1 + float(u.ravel()[min(worst, u.size - 1)])):.1f}" for u in (before, after))
        notes.when(wetter, nip, "limit", "rewet_exceeds", before=came, after=left)
