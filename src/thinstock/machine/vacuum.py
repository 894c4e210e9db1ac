"""Vacuum after the end of forming: slots under the wire and, once the sheet is on the felt, through the felt.

Compression first, then displacement; water comes back once, where the sheet leaves a fabric. The vacuum that a slot
holds inside the forming zone belongs to the march, not here.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, ClassVar, NamedTuple

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.remembering import where
from thinstock.formula.traced import constant, convention
from thinstock.kernels.drainage import Element, Law
from thinstock.machine.elements import Arriving
from thinstock.machine.outlines import former as drawn
from thinstock.machine.outlines import press as on_felt
from thinstock.machine.outlines.former import Stretch
from thinstock.machine.outlines.said import joined, told
from thinstock.machine.outlines.shape import Outline
from thinstock.machine.part import Done, Kind, Part
from thinstock.machine.pumps import Pump
from thinstock.machine.told import OUTSIDE, Drawn, Station, Stream, Use, Wet
from thinstock.machine.web import Around, Web
from thinstock.relations import joints, mat, pressing, pumping, vacuum
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Choice, Num, Q, Words

if TYPE_CHECKING:
    from thinstock.machine.duty import Asked, Duty, Fixed
    from thinstock.machine.notes import Notes


@dataclass(frozen=True, kw_only=True, eq=False)
class Slot(Kind):
    """One suction slot or box (all its slots together)."""

    WITHOUT: ClassVar[Mapping[str, str]] = {
        "limits": phrase("machine.vacuum.slots_share_pumps_duty_section"),
        "streams": phrase("machine.vacuum.its_water_air_told_by"),
    }

    name: Annotated[str, Words()]
    carrier: Annotated[str, Choice(("wire", "felt"))] = "felt"
    slot_width: Annotated[Num, Q("slot_width", possible=(1e-3, 3), unit="mm", status="common practice")] = 0.09
    vacuum: Annotated[
        Num,
        Q("vacuum", possible=(0, 9e4), usual=(5e3, 6e4), unit="kPa"),
    ] = 40e3
    rewet: Annotated[Num, Q("rewet", possible=(0, 0.1), usual=(5e-3, 20e-3), unit="g/m2")] = 0.010
    roll_void: Annotated[Num, Q("roll_void", possible=(0, 0.1), unit="mm")] = 0.0
    leakage_share: Annotated[Num, Q("leakage_share", possible=(0, 20))] = 1.0
    efficiency: Annotated[Num, Q("efficiency", possible=(0.05, 1), usual=(0.4, 0.75), status="from memory")] = 0.50

    def forming_box(self, arriving: Arriving) -> Element:
        """As a forming element, for stock that is not yet formed when it reaches this slot."""
        law = Law(
            load=self.vacuum,
            gravity=1.0,
            fabric_resistance=arriving.fabric_resistance,
            fabric_inertia=arriving.fabric_inertia,
        )
        return Element(name=self.name, length=self.slot_width, wire_side=law, back_side=None)

    def draw(self, web: Web, around: Around, arriving: Sheet, section: VacuumSection) -> SlotResult:
        """The sheet behind this slot, and the air it takes; water comes back where the sheet leaves the fabric."""
        pressure = around.atmospheric_pressure
        packed = self._packed(around, arriving.packing, section)
        dwell = vacuum.dwell_slot(self.slot_width, web.speed)
        impulse = self.vacuum * dwell
        half = self._pressed(web, around, arriving.moisture_ratio, packed, 0.5 * impulse)
        dry = self._pressed(web, around, arriving.moisture_ratio, packed, impulse)
        out = dry
        if arriving.last:
            wetter = joints.moisture_ratio_with_rewet(dry, self.rewet, web.fibre)
            out = np.minimum(arriving.moisture_ratio, wetter)
        opened = [self._opening(m, packed, section.pore_index) for m in (arriving.moisture_ratio, half, dry)]
        permeability = vacuum.relative_permeability_mean(*opened)
        air = self._air(web, around, packed, permeability)
        header = around.headers.get(self.name, self.vacuum)
        suction = vacuum.air_flow_at_vacuum(air, pressure, header)
        power = pumping.vacuum_power_isothermal(suction, pressure, header, self.efficiency)
        return SlotResult(
            name=self.name,
            carrier=self.carrier,
            moisture_ratio_in=arriving.moisture_ratio,
            moisture_ratio_before_rewet=dry,
            moisture_ratio_out=out,
            dwell=dwell,
            packing=packed.packing,
            entry_pressure=packed.entry,
            equilibrium_moisture=packed.floor,
            water=pressing.water_pressed_out(web.speed, web.fibre, arriving.moisture_ratio, out),
            ambient_air_flow=air,
            header_vacuum=header,
            suction_flow=suction,
            power=power,
            electricity=pumping.motor_input_power(power, section.motor_efficiency),
        )

    def _packed(self, around: Around, before: Num, section: VacuumSection) -> Packed:
        """The mat as packed by the largest vacuum it has met, and what this vacuum can leave in it."""
        stock, furnish, press = around.stock, around.furnish, around.pressing
        packing = vacuum.packing_vacuum_so_far(self.vacuum, before)
        consistency = mat.mat_consistency_power(
            packing, furnish.mat_coefficient, stock.mat_exponent, stock.mat_pressure_floor
        )
        resistance = mat.specific_filtration_resistance_power(
            packing, joints.resistance_on_machine(stock.resistance_factor, furnish.resistance),
            stock.resistance_exponent,
        )  # fmt: skip
        full = vacuum.moisture_ratio_saturated(consistency, around.water.density, stock.wall_density)
        entry = vacuum.capillary_entry_pressure(
            consistency, resistance, furnish.swollen_volume, constant("surface_tension_white_water"),
            section.entry_factor,
        )  # fmt: skip
        wall = press.equilibrium(furnish.water_retention_value, self.vacuum)
        floor = vacuum.equilibrium_moisture_vacuum(
            full, press.held(wall), self.vacuum, entry, section.pore_index
        )  # fmt: skip
        return Packed(packing, resistance, full, entry, wall, floor)

    def _pressed(self, web: Web, around: Around, moisture_ratio: Num, packed: Packed, impulse: Num) -> Num:
        """Moisture after a part of the dwell, by the press's own law."""
        press = around.pressing
        return pressing.moisture_pressed_decreasing_permeability(
            moisture_ratio,
            impulse,
            web.fibre,
            around.water.kinematic_viscosity,
            press.specific_permeability,
            press.permeability_exponent,
            packed.floor,
            convention(1.0, phrase("machine.vacuum.water_leaves_slot_by_one")),
        )

    def _opening(self, moisture_ratio: Num, packed: Packed, pore_index: Num) -> Num:
        """How open the sheet is to air; shut below the entry pressure."""
        saturation = vacuum.saturation_mobile(moisture_ratio, packed.full, packed.wall)
        opened = vacuum.relative_permeability_air_brooks(saturation, pore_index)
        return where(
            np.greater(self.vacuum, packed.entry),
            opened,
            convention(0.0, phrase("machine.vacuum.no_air_below_entry_pressure")),
        )

    def _air(self, web: Web, around: Around, packed: Packed, permeability: Num) -> Num:
        """Air through sheet and carrier in series, and what a drilled shell carries, at ambient pressure, m²/s."""
        pressure = around.atmospheric_pressure
        if self.carrier == "wire":
            viscous, inertial = web.fabric_resistance, web.fabric_inertia
        else:
            viscous, inertial = around.press_felt.air_resistance(around.water.density)
        through = vacuum.viscous_resistance_series(packed.resistance, web.fibre, permeability, viscous)
        flux = vacuum.ambient_air_flux_series(
            pressure, self.vacuum, constant("air_viscosity_room"), constant("air_density_room"), through, inertial
        )
        air = flux * self.slot_width
        if not np.any(np.asarray(self.roll_void) > 0):
            return air
        shell = vacuum.ambient_air_flow_shell(self.roll_void, web.speed, self.vacuum, pressure)
        return air + joints.air_flow_with_leakage(shell, self.leakage_share)

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


class Sheet(NamedTuple):
    """The sheet as it comes to a slot."""

    moisture_ratio: Num
    packing: Num
    """Largest vacuum it has met, Pa."""
    last: bool
    """The slot is the last of its fabric."""


class Packed(NamedTuple):
    """The mat in a slot."""

    packing: Num
    """Largest vacuum so far, Pa."""
    resistance: Num
    """Filtration resistance as packed, m/kg."""
    full: Num
    """Moisture ratio with all voids full."""
    entry: Num
    """Capillary entry pressure, Pa."""
    wall: Num
    """Moisture ratio of the fibre wall at this vacuum, all of it."""
    floor: Num
    """Moisture ratio that this vacuum leaves, however long."""


class SlotResult(NamedTuple):
    """What one slot did."""

    name: str
    carrier: str
    moisture_ratio_in: Num
    moisture_ratio_before_rewet: Num
    moisture_ratio_out: Num
    dwell: Num
    packing: Num
    """Largest vacuum the web has met so far, Pa."""
    entry_pressure: Num
    equilibrium_moisture: Num
    """Moisture ratio that this vacuum leaves, however long."""
    water: Num
    """Taken out of the sheet, less what comes back, kg/(s m)."""
    ambient_air_flow: Num
    header_vacuum: Num
    """At the pump, Pa: the slot's own unless it is throttled."""
    suction_flow: Num
    """At the pump, m²/s."""
    power: Num
    """Shaft power, W/m."""
    electricity: Num


@dataclass(frozen=True, kw_only=True, eq=False)
class VacuumSection(Part):
    """All suction on the formed sheet ahead of the press."""

    WITHOUT: ClassVar[Mapping[str, str]] = {"outline": phrase("machine.vacuum.its_slots_show_themselves")}

    slot: tuple[Slot, ...] = ()
    pump: tuple[Pump, ...] = ()
    """None: every vacuum is held as set, whatever air that takes."""
    dryness_wanted: Annotated[
        Num,
        Q(
            "dryness",
            possible=(0.02, 0.5),
            usual=(0.12, 0.2),
            unit="%",
            status="common practice",
            source="COMMON_PRACTICE",
        ),
    ] = 0.15
    pump_flow_limit: Annotated[Num, Q("pump_flow_limit", possible=(1e-4, 1000), unit="m3/min", limit=True)] = None
    pump_power_rated: Annotated[Num, Q("machine_power", possible=(1, 1e8), unit="kW", limit=True)] = None
    motor_efficiency: Annotated[Num, Q("efficiency", possible=(0.3, 1), usual=(0.88, 0.97))] = 0.93
    entry_factor: Annotated[Num, Q("entry_factor", possible=(0.02, 2))] = 0.2
    pore_index: Annotated[Num, Q("pore_index", possible=(0.3, 20))] = 2.0

    def rules(self) -> Iterable[Fault]:
        names = [s.name for s in self.slot]
        for name in sorted({n for n in names if names.count(n) > 1}):
            yield fault_in("machine.vacuum.slot", "slot", repr(name))
        pumps = [p.name for p in self.pump]
        for name in sorted({n for n in pumps if pumps.count(n) > 1}):
            yield fault_in("machine.vacuum.pump", "pump", repr(name))
        carriers = [s.carrier for s in self.slot]
        if "wire" in carriers and "felt" in carriers[: len(carriers) - 1 - carriers[::-1].index("wire")]:
            yield fault_in("machine.vacuum.slots_under_wire_come_before", "slot", " → ".join(carriers))

    def cautions(self) -> Iterable[str]:
        """Pumps and boxes under vacuum."""
        return ("vacuum",)

    def run(self, web: Web, around: Around) -> tuple[Web, Vacuumed]:
        """Slot after slot; water returns at the last slot of each fabric."""
        into = web.onto(around.demand.felt)
        last_of = {s.carrier: i for i, s in enumerate(self.slot)}
        done, moisture = [], into.moisture_ratio
        packing = around.stock.mat_pressure_floor
        for i, slot in enumerate(self.slot):
            did = slot.draw(into, around, Sheet(moisture, packing, last_of[slot.carrier] == i), self)
            done.append(did)
            moisture, packing = did.moisture_ratio_out, did.packing
        out = into.with_(moisture_ratio=moisture)
        return out, Vacuumed(into=into, out=out, around=around, part=self, slots=tuple(done))

    def places(self) -> Iterable[str]:
        """Its slots."""
        return (s.name for s in self.slot)

    def limits(self, asked: Asked) -> Iterable[Duty | Fixed]:
        """Dry enough for the press; pumps that draw the air."""
        wanted = self.dryness_wanted
        yield asked.duty(
            "vacuum_dryness", "dryness", wanted,
            value=lambda p: 1 / (1 + p.vacuum.out.moisture_ratio),
            margin=lambda p: 1 / (1 + p.vacuum.out.moisture_ratio) - wanted,
            status=asked.status("dryness_wanted", "common practice"),
        )  # fmt: skip
        pumps = asked.capacity(
            "vacuum_pumps", "pump_flow_limit", "volume_flow",
            lambda p: sum((s.suction_flow for s in p.vacuum.slots), 0.0) * asked.width,
        )  # fmt: skip
        yield pumps if self.pump else dataclasses.replace(pumps, remark="held_vacuum")


@dataclass(frozen=True, kw_only=True, eq=False)
class Vacuumed(Done):
    """The vacuum section at work."""

    STAGE = "vacuum"

    part: VacuumSection
    slots: tuple[SlotResult, ...]

    def onward(self, around: Around) -> Around:
        """The felt goes on from its last suction."""
        on_felt = [s for s in self.part.slot if s.carrier == "felt"]
        return around.with_(felt=around.felt._replace(slot=on_felt[-1])) if on_felt else around

    def values(self) -> Mapping[str, Num]:
        """Dryness into the press."""
        return {"dryness_into_press": pressing.dryness_from_moisture_ratio(self.out.moisture_ratio)}

    def stations(self) -> Iterable[Station]:
        """Behind every slot."""
        web = self.into
        for slot in self.slots:
            yield Station(
                name=slot.name, dryness=pressing.dryness_from_moisture_ratio(slot.moisture_ratio_out),
                moisture_ratio=slot.moisture_ratio_out, grammage=web.fibre, temperature=web.temperature,
                speed=web.speed,
            )  # fmt: skip

    def streams(self) -> Iterable[Stream]:
        """Water per slot, and the web to the press."""
        web, warm, before = self.into, self.into.temperature, self.into.moisture_ratio
        for slot in self.slots:
            water = before * web.fibre_flow - slot.moisture_ratio_out * web.fibre_flow
            yield Wet.at(warm, water=water).stream("vacuum_water", "vacuum", OUTSIDE, of=slot.name, temperature=warm)
            before = slot.moisture_ratio_out
        on = Wet.at(warm, fibre=web.fibre_flow, fines=web.fines_flow, water=before * web.fibre_flow)
        yield on.stream("web_vacuum", "vacuum", "press", temperature=warm)

    def air(self) -> Iterable[Drawn]:
        """Air through the sheet."""
        for slot in self.slots:
            yield Drawn(of=slot.name, flow=slot.suction_flow, vacuum=slot.header_vacuum, power=slot.power)

    def consumers(self) -> Iterable[Use]:
        """Vacuum pumps."""
        for slot in self.slots:
            yield Use(id="vacuum", of=slot.name, stage="vacuum", kind="electricity", power=slot.electricity)

    def notes(self, notes: Notes) -> None:
        """Too wet for the press."""
        into = np.asarray(notes.value("dryness_into_press"))
        notes.when(into < np.asarray(self.part.dryness_wanted), "vacuum", "limit", "press_entry_wet")
        if self.slots:
            notes.when(True, "vacuum", "blind spot", "air_uneven")
        for slot, part in zip(self.slots, self.part.slot, strict=True):
            if slot.name in self.around.headers:
                full = np.asarray(part.vacuum) >= np.asarray(slot.header_vacuum) * (1 - 1e-9)
                ends = dict.fromkeys(f"{end(slot.header_vacuum) / 1e3:.3g}" for end in (np.min, np.max))
                notes.when(full, slot.name, "information", "pump_open", vacuum=f"{' to '.join(ends)} kPa")
