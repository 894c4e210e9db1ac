"""Gathers a run: asks every part for its streams, users of energy, stations, numbers and notes, and adds up."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

import numpy as np

from thinstock.formula.label import ValueWatch
from thinstock.formula.traced import constant, convention, named
from thinstock.machine.notes import Notes, Watch
from thinstock.machine.numbers import existing
from thinstock.machine.parts import Parts
from thinstock.machine.told import OUTSIDE, Consumer, Drawn, Station, Stream, WaterPrice, Wet
from thinstock.relations import balance, circulation, joints
from thinstock.words.note import Note, in_order
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.line import Machine

ORDER = [
    "speed",
    "reel_grammage",
    "consistency",
    "flow_per_width",
    "headbox_flow",
    "water_per_fibre",
    "end_of_forming",
    "end_of_forming_wrap",
    "end_of_forming_slow",
    "formed",
    "retention",
    "retention_fines",
    "web_fines_share",
    "return_share",
    "grammage_on_wire",
    "dryness_formed",
    "drainage_impulse",
    "slice_opening",
    "jet_thickness",
    "headbox_head",
    "stock_depth",
    "jet_speed",
    "jet_power",
    "fan_power",
    "depth_not_drained",
    "production",
    "production_average",
    "reel_moisture",
    "reel_moisture_wanted",
    "reel_dryness_reached",
    "hold_status",
    "dryness_into_press",
    "dryness_press",
    "press_impulse",
    "nip_pressure",
    "nip_saturation",
    "share_flow",
    "share_rewet",
    "evaporation",
    "steam_per_product",
    "gas_per_product",
    "electricity_per_product",
    "fresh_water_per_product",
    "shower_heat_per_product",
    "air_temperature",
    "steam_pressure",
    "surface_temperature",
    "drying_rate",
    "jet_humidity",
    "exhaust_humidity",
    "exhaust",
    "make_up_temperature",
    "return_temperature",
    "drying_cv",
    "reel_moisture_area_above_10",
    "gas_power",
    "steam_flow",
    "thick_temperature",
]
"""The order in which a run lists its numbers, along the machine; one that is not named here comes last."""

KINDS = ("steam", "gas", "electricity")
NODES = frozenset({"mixing", "screens", "headbox", "forming", "silo"})
"""Nodes that work whether or not a sheet is formed."""


def whole(machine: Machine, parts: Parts) -> bool:
    """Whether the web came through the whole line."""
    return len(parts.line) == len(machine.line)


def stations_of(machine: Machine, parts: Parts) -> tuple[Station, ...]:
    """Headbox to reel; places that no sheet reached with their names alone."""
    found: list[Station] = []
    for place in machine.line:
        done = parts.line.get(place.name)
        found += done.stations() if done is not None else (Station(name=name) for name in place.part.places())
    return tuple(found)


def streams_of(machine: Machine, parts: Parts) -> tuple[Stream, ...]:
    """Every stream in the order of the line, nodes behind the part they stand behind."""
    formed = np.asarray(parts.forming.formed)
    found: list[Stream] = []
    drawn: list[Drawn] = []
    for place in machine.line:
        done = parts.line.get(place.name)
        if done is None:
            break
        found += done.streams()
        drawn += done.air()
        for node in place.nodes:
            found += node(tuple(found), tuple(drawn), done.around)
    return tuple(found) if np.all(formed) else tuple(_without_sheet(found, formed))


def _without_sheet(streams: list[Stream], formed: Num) -> Iterable[Stream]:
    """Behind a former that gave no sheet there is nothing (nan in a run over cases).

    A felt that was in the former has taken up water all the same: its boxes take that out again, and no more.
    """
    taken = Wet()
    for stream in streams:
        if stream.source == "forming" and stream.sink == "felt":
            taken = taken + stream
    fed = any(stream.source == "forming" and stream.sink == "felt" for stream in streams)
    if np.ndim(formed) == 0:
        yield from streams
        if fed:
            yield taken.stream("felt_water", "felt", OUTSIDE)
        return
    for stream in streams:
        if stream.source in NODES or stream.sink in NODES:
            yield stream
            continue
        of_felt = fed and "felt" in (stream.source, stream.sink)
        amounts: dict[str, Num] = {}
        for name in ("fibre", "fines", "water", "air", "heat"):
            without: Num = np.nan if not of_felt else getattr(taken, name, 0.0) if stream.source == "felt" else 0.0
            amounts[name] = np.where(formed, getattr(stream, name), without)
        yield dataclasses.replace(stream, **amounts)


def consumers_of(parts: Parts, production: Num) -> tuple[Consumer, ...]:
    """Every computed user of electricity, steam and gas."""
    return tuple(
        Consumer(
            id=use.id, of=use.of, stage=use.stage, kind=use.kind, power=use.power,
            per_mass=named("specific_energy", use.power / production),
        )
        for done in parts.line.values()
        for use in done.consumers()
    )  # fmt: skip


def total_of(energy: tuple[Consumer, ...], kind: str) -> Num:
    """Energy of one kind per mass of product, J/kg."""
    parts = [c.per_mass for c in energy if c.kind == kind]
    if not parts:
        return convention(0.0, phrase("machine.gather.no_used", kind=kind))
    return parts[0] if len(parts) == 1 else balance.sum_of(joints.stacked(*parts))


def values_of(machine: Machine, parts: Parts, energy: tuple[Consumer, ...], production: Num) -> dict[str, Num]:
    """Named numbers, SI, each the very object its relation returned; None where it needs a sheet and there is none."""
    grade = machine.grade
    found: dict[str, Num] = {
        "speed": machine.speed,
        "reel_grammage": grade.reel_grammage,
        "reel_moisture_wanted": 1.0 - grade.reel_dryness,
    }
    for done in parts.line.values():
        found |= done.values()
    if whole(machine, parts):
        found |= {f"{kind}_per_product": total_of(energy, kind) for kind in KINDS}
        if machine.circuit is None:
            found |= _shower_water(machine, parts, production)
        found |= _burnt(found, production)
    else:
        needs = existing("sheet") | (existing("yankee") if machine.yankee is not None else frozenset())
        needs = needs | (existing("circuit") if machine.circuit is not None else frozenset())
        found |= dict.fromkeys(needs)
    return {name: found[name] for name in ORDER if name in found} | found


def _shower_water(machine: Machine, parts: Parts, production: Num) -> dict[str, Num]:
    """Fresh water of a machine whose circuits are not given: that of the showers."""
    showers = [shower for done in parts.line.values() for shower in done.fresh_water()]
    first, *others = (water for water, _ in showers)
    fresh = named("shower_flow", sum(others, first))
    first, *others = (water * (warm - machine.site.fresh_water_temperature) for water, warm in showers)
    warmed = constant("water_heat_capacity_sheet") * sum(others, first)
    return {
        "fresh_water_per_product": circulation.specific_water(fresh, production),
        "shower_heat_per_product": warmed / production,
    }


def _burnt(found: Mapping[str, Num], production: Num) -> dict[str, Num]:
    """Fuel per mass of product while paper is made and with idle time, and the efficiency that counts both."""
    fuel, idle = named("specific_energy", found["fuel_heat"] / production), found["idle_factor"]
    made: dict[str, Num] = {
        "fuel_per_product": fuel,
        "fuel_with_idle_per_product": named("specific_energy", fuel * idle),
    }
    if "drying_efficiency_fuel" in found:
        made["drying_efficiency_idle"] = named("drying_efficiency", found["drying_efficiency_fuel"] / idle)
    return made


def masked(values: dict[str, Num], formed: Num) -> dict[str, Num]:
    """No sheet, no number: cases that did not form carry nan behind the former."""
    if np.all(formed):
        return values
    kept = existing("always")
    return {
        name: value
        if name in kept or value is None or np.asarray(value).dtype.kind != "f"
        else np.where(formed, value, np.nan)
        for name, value in values.items()
    }


def prices_of(machine: Machine, parts: Parts, energy: tuple[Consumer, ...]) -> tuple[WaterPrice, ...]:
    """What each stage takes, and its price: energy over water, money per product."""
    if not whole(machine, parts):
        return ()
    jet = parts.headbox.out
    fibre = parts.loop.into.fibre_flow
    prices = machine.prices
    money = {"electricity": prices.electricity, "steam": prices.steam, "gas": prices.gas}
    rows, before = [], jet.moisture_ratio
    for done in (one for name, one in parts.items() if one.STAGE):
        taken = balance.difference(before, done.out.moisture_ratio)
        before = done.out.moisture_ratio
        users = [c for c in energy if c.stage == done.STAGE]
        power: Num = sum(c.power for c in users) if users else 0.0
        flow = taken * fibre
        with np.errstate(invalid="ignore", divide="ignore"):
            per_water = np.where(np.asarray(flow) > 0, power / flow, np.nan)[()]
        known = bool(users) and all(money[c.kind] is not None for c in users)
        rows.append(
            WaterPrice(
                stage=done.STAGE, water_per_fibre=taken, share=taken / jet.moisture_ratio,
                energy_per_water=per_water,
                money_per_mass=sum(c.per_mass * money[c.kind] for c in users) if known else None,
            )
        )  # fmt: skip
    return tuple(rows)


FIELDS = ("site", "grade", "stock", "headbox", "reel", "loop", "press", "yankee", "hood", "vacuum", "circuit")
"""Parts of the machine file whose unusual values are told."""


def notes_of(machine: Machine, parts: Parts, values: Mapping[str, Num], watch: Watch) -> tuple[Note, ...]:
    """All notes of a run, the weightiest first; of what goes round after what goes along."""
    notes = Notes(isinstance(watch, ValueWatch), machine.given, machine.speed, values)
    with np.errstate(invalid="ignore"):
        for done in sorted(parts.values(), key=lambda one: bool(one.within())):
            done.notes(notes)
        notes.retired(machine)
        notes.bands(machine)
        for name in FIELDS:
            part = getattr(machine, name)
            if part is not None:
                notes.fields(part, name)
        notes.ranges(watch)
    return tuple(in_order(notes.kept))
