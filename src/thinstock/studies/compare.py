"""Machines side by side at equal reel dryness: the sheet from headbox to reel, speed limits, energy, and differences.

The first machine is the one the others are compared with. A difference carries its uncertainty, in which inputs that
two machines share move together and cancel. Where the press differs, its gain is split into what load and nip bring
and what only the assumed rewet brings.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.evidence.uncertain import Uncertain
from thinstock.formula.label import worksheet
from thinstock.machine.limits import Limits, limits
from thinstock.machine.line import Machine
from thinstock.machine.result import Result
from thinstock.studies.bands import difference, uncertainty
from thinstock.studies.change import ChangeCard, change_card
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

PLACES = (
    "headbox",
    phrase("studies.compare.end_former"),
    phrase("studies.compare.into_press"),
    phrase("studies.compare.after_press"),
    "reel",
)
"""Places every machine has, whatever stands between them."""
ENOUGH = 1e-4
"""Reel dryness counts as equal within this."""
SPLIT = ("dryness_press", "evaporation", "steam_per_product", "gas_per_product")
"""Numbers whose change by a press is split; the speed at which drying gives out comes beside them."""


@dataclass(frozen=True, kw_only=True)
class Difference:
    """What one machine has more than the first."""

    value: float
    standard_uncertainty: float
    low: float
    high: float
    """Ends of the central 90 % of the draws; both machines have the same draws."""

    @property
    def sure(self) -> bool:
        """True where the whole of the central 90 % lies on one side of nothing."""
        return self.value != 0 and (min(self.low, self.value) > 0 or max(self.high, self.value) < 0)


@dataclass(frozen=True, kw_only=True)
class Row:
    """One number of all machines; None where a machine has none."""

    name: str
    values: tuple[float | None, ...]
    spreads: tuple[float | None, ...]
    differences: tuple[Difference | None, ...]
    """Against the first machine; None for the first."""


@dataclass(frozen=True, kw_only=True)
class PressSplit:
    """Where the change of one number from the first machine to another comes from."""

    name: str
    total: float
    load: float
    """From load, nip and surface: the first machine with the other press but its own rewet."""
    rewet: float
    """From the other press's rewet alone, which is assumed."""
    rest: float
    """From everything else that differs."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """Two or more machines side by side."""

    machines: tuple[Machine, ...]
    results: tuple[Result, ...]
    limits: tuple[Limits, ...]
    stations: tuple[tuple[str, tuple[float | None, ...], tuple[float | None, ...]], ...]
    """Place, dryness of each machine, moisture ratio of each machine."""
    numbers: tuple[Row, ...]
    """Every named number of the runs that all are single numbers, in their order."""
    water: tuple[tuple[str, tuple[float | None, ...], tuple[float | None, ...]], ...]
    """Stage, kg water per kg fibre it takes, J per kg of that water, per machine."""
    parts: tuple[tuple[str, tuple[float | None, ...]], ...]
    """Part, highest speed of each machine; None where it does not limit, is not known or is not there."""
    consumers: tuple[tuple[str, str, tuple[float | None, ...]], ...]
    """Consumer, kind of energy, J per kg of product of each machine."""
    splits: tuple[tuple[PressSplit, ...], ...]
    """Per machine after the first; empty where the press is the same."""
    notes: tuple[str, ...]

    def __getitem__(self, name: str) -> Row:
        for row in self.numbers:
            if row.name == name:
                return row
        raise Refused(fault_in("studies.compare.no_number_this_name_in", name))

    def card(self, index: int = 1) -> ChangeCard:
        """The change card from the first machine to another."""
        return change_card(
            self.machines[0], self.machines[index], results=(self.results[0], self.results[index]),
            limits=self.limits[index],
        )  # fmt: skip

    def record(self) -> dict[str, Any]:
        """Plain data in base SI, None where there is no number."""
        return {
            "machines": [m.title for m in self.machines],
            "held_by": [m.hold_reel_dryness_by for m in self.machines],
            "stations": [
                {"place": place, "dryness": list(dryness), "moisture_ratio": list(ratio)}
                for place, dryness, ratio in self.stations
            ],
            "numbers": [
                {
                    "name": row.name,
                    "values": list(row.values),
                    "standard_uncertainties": list(row.spreads),
                    "differences": [None if d is None else dataclasses.asdict(d) for d in row.differences],
                }
                for row in self.numbers
            ],
            "water": [
                {"stage": stage, "water_per_fibre": list(taken), "energy_per_water": list(energy)}
                for stage, taken, energy in self.water
            ],
            "speed_limits": [{"part": part, "speeds": list(speeds)} for part, speeds in self.parts],
            "gives_out_first": [None if lim.binding is None else lim.binding.part for lim in self.limits],
            "consumers": [{"name": n, "kind": k, "per_mass": list(v)} for n, k, v in self.consumers],
            "press_splits": [[dataclasses.asdict(one) for one in split] for split in self.splits],
            "change_cards": [self.card(i).record() for i in range(1, len(self.machines))],
            "notes": list(self.notes),
        }


def compare(*machines: Machine) -> Comparison:
    """Two to four machines side by side, each with the reel dryness held by its own variable.

    Parameters
    ----------
    *machines : Machine
        Two to four machines of one case each.

    Returns
    -------
    Comparison
        Results, limits and the rows of both in base SI; energy per tonne in J/kg of product.

    Raises
    ------
    Refused
        Another number of machines, or one with arrays.

    Source: the formulas of the runs.
    """
    if not 2 <= len(machines) <= 4:
        raise Refused(fault_in("studies.compare.machines", "machines", str(len(machines))))
    for machine in machines:
        if machine.cases() is not None:
            raise Refused(fault_in("studies.compare.holds_arrays_one_case_compared", "machines", machine.title))
    results = tuple(machine.run() for machine in machines)
    found = tuple(limits(machine) for machine in machines)
    return Comparison(
        machines=machines,
        results=results,
        limits=found,
        stations=_stations(results),
        numbers=_numbers(machines, results),
        water=_water(results),
        parts=_parts(found),
        consumers=_consumers(results),
        splits=tuple(_split(machines[0], one, results[0], other) for one, other in zip(machines[1:], results[1:])),
        notes=tuple(_notes(machines, results)),
    )


# -- numbers -------------------------------------------------------------------------------------------------------


def _single(value: Any) -> float | None:
    """A plain finite number, or None."""
    if value is None or isinstance(value, str | bool) or np.ndim(value) or np.asarray(value).dtype.kind not in "fiu":
        return None
    number = float(value)
    return number if np.isfinite(number) else None


def _numbers(machines: tuple[Machine, ...], results: tuple[Result, ...]) -> tuple[Row, ...]:
    names = [name for name in results[0].values if name != "hold_status"]
    names += [n for r in results[1:] for n in r.values if n not in names and n != "hold_status"]
    with worksheet(False):
        sure = [uncertainty(m, result=r) if bool(r["formed"]) else {} for m, r in zip(machines, results, strict=True)]
        apart: list[Mapping[str, Uncertain]] = [{}]
        for machine, result in zip(machines[1:], results[1:], strict=True):
            both = bool(results[0]["formed"]) and bool(result["formed"])
            apart.append(difference(machines[0], machine) if both else {})
    rows = []
    for name in dict.fromkeys(names):
        values = tuple(_single(r.values.get(name)) for r in results)
        if all(v is None for v in values):
            continue
        rows.append(
            Row(
                name=name,
                values=values,
                spreads=tuple(_spread(s.get(name), v) for s, v in zip(sure, values, strict=True)),
                differences=tuple(
                    _difference(values[0], values[i], apart[i].get(name)) if i else None for i in range(len(values))
                ),
            )
        )
    return tuple(rows)


def _spread(one: Uncertain | None, value: float | None) -> float | None:
    if one is None or value is None or not np.isfinite(one.standard_uncertainty):
        return None
    return one.standard_uncertainty


def _difference(first: float | None, other: float | None, one: Uncertain | None) -> Difference | None:
    if first is None or other is None:
        return None
    moved = other - first
    if one is None or not np.isfinite(one.standard_uncertainty):
        return Difference(value=moved, standard_uncertainty=0.0, low=moved, high=moved)
    return Difference(value=moved, standard_uncertainty=one.standard_uncertainty, low=one.low, high=one.high)


def _stations(
    results: tuple[Result, ...],
) -> tuple[tuple[str, tuple[float | None, ...], tuple[float | None, ...]], ...]:
    columns = [_places(result) for result in results]
    return tuple((place, tuple(c[place][0] for c in columns), tuple(c[place][1] for c in columns)) for place in PLACES)


def _places(result: Result) -> dict[str, tuple[float | None, float | None]]:
    """Dryness and moisture ratio at the places every machine has."""
    first, formed, *_, last = result.stations
    parts, values = result.parts, result.values
    into = parts.vacuum.out.moisture_ratio if "vacuum" in parts else None
    pressed = parts.press.out.moisture_ratio if "press" in parts else None
    found = {
        "headbox": (first.dryness, first.moisture_ratio),
        "end of the former": (formed.dryness, formed.moisture_ratio),
        "into the press": (values.get("dryness_into_press"), into),
        "after the press": (values.get("dryness_press"), pressed),
        "reel": (last.dryness, last.moisture_ratio),
    }
    return {place: (_single(dryness), _single(ratio)) for place, (dryness, ratio) in found.items()}


def _water(
    results: tuple[Result, ...],
) -> tuple[tuple[str, tuple[float | None, ...], tuple[float | None, ...]], ...]:
    by_stage = [{row.stage: row for row in result.water_prices} for result in results]
    stages = list(dict.fromkeys(stage for rows in by_stage for stage in rows))
    return tuple(
        (
            stage,
            tuple(_single(rows[stage].water_per_fibre) if stage in rows else None for rows in by_stage),
            tuple(_single(rows[stage].energy_per_water) if stage in rows else None for rows in by_stage),
        )
        for stage in stages
    )


def _parts(found: tuple[Limits, ...]) -> tuple[tuple[str, tuple[float | None, ...]], ...]:
    names = list(dict.fromkeys(row.part for lim in found for row in lim.rows))
    speeds = [{row.part: row.speed for row in lim.rows if row.scope in ("highest", "window")} for lim in found]
    rows = [(name, tuple(one.get(name) for one in speeds)) for name in names]
    return tuple(row for row in rows if any(v is not None for v in row[1]))


def _consumers(results: tuple[Result, ...]) -> tuple[tuple[str, str, tuple[float | None, ...]], ...]:
    """Consumers of one kind taken together, so that machines with other slots and nips stand side by side."""
    tables: list[dict[tuple[str, str], float]] = []
    for result in results:
        table: dict[tuple[str, str], float] = {}
        for one in result.energy:
            per_mass = _single(one.per_mass)
            if per_mass is not None:
                name = phrase(f"consumers.kind.{one.id}") if one.of else one.name
                key = name, one.kind
                table[key] = table.get(key, 0.0) + per_mass
        tables.append(table)
    return tuple(
        (name, kind, tuple(table.get((name, kind)) for table in tables))
        for name, kind in dict.fromkeys(key for table in tables for key in table)
    )


def _notes(machines: tuple[Machine, ...], results: tuple[Result, ...]) -> list[str]:
    """What keeps the comparison from being one of equals."""
    notes = []
    for machine, result in zip(machines, results, strict=True):
        if not bool(result["formed"]):
            notes.append(phrase("studies.compare.no_sheet_formed_so_nothing", title=machine.title))
            continue
        reached, wanted = float(result["reel_dryness_reached"]), float(machine.grade.reel_dryness)
        if abs(reached - wanted) > ENOUGH:
            notes.append(
                phrase(
                    "studies.compare.reaches_reel_at_instead_what",
                    title=machine.title,
                    reached=f"{reached * 100:.1f}",
                    wanted=f"{wanted * 100:.1f}",
                )
            )
    first = float(machines[0].grade.reel_dryness)
    if any(abs(float(m.grade.reel_dryness) - first) > ENOUGH for m in machines[1:]):
        notes.append(phrase("studies.compare.machines_asked_for_different_reel"))
    held = [m.hold_reel_dryness_by for m in machines]
    if len(set(held)) > 1:
        notes.append(phrase("studies.compare.reel_dryness_held_by_different", held=", ".join(held)))
    return notes


# -- the press -----------------------------------------------------------------------------------------------------


def with_press_of(machine: Machine, other: Machine, *, own_rewet: bool) -> Machine:
    """The machine with another one's press; with `own_rewet` every nip gives back as much as the machine's own did.

    Where the other press has more nips than the machine, the last of its own rewets stands for the rest.
    """
    press = other.press
    if own_rewet:
        mine = [nip.rewet for nip in machine.press.nip]
        nips = tuple(nip.changed(rewet=mine[min(k, len(mine) - 1)]) for k, nip in enumerate(press.nip))
        press = dataclasses.replace(press, nip=nips)
    return dataclasses.replace(machine, press=press)


def _split(first: Machine, other: Machine, at_first: Result, at_other: Result) -> tuple[PressSplit, ...]:
    """How much of each change comes from load, from the assumed rewet, and from the rest."""
    if _same_press(first, other) or not (bool(at_first["formed"]) and bool(at_other["formed"])):
        return ()
    try:
        loaded, pressed = (with_press_of(first, other, own_rewet=own) for own in (True, False))
    except Refused:
        return ()
    with worksheet(False):
        steps = [at_first, loaded.run(), pressed.run(), at_other]
    rows = []
    for name in SPLIT:
        values = [_single(step.values.get(name)) for step in steps]
        if all(v is not None for v in values) and any(values):
            rows.append(_shares(name, [float(v) for v in values if v is not None]))
    speeds = [_drying_speed(m) for m in (first, loaded, pressed, other)]
    if all(v is not None for v in speeds):
        rows.append(_shares("drying_speed", [float(v) for v in speeds if v is not None]))
    return tuple(rows)


def _shares(name: str, values: list[float]) -> PressSplit:
    a, b, c, d = values
    return PressSplit(name=name, total=d - a, load=b - a, rewet=c - b, rest=d - c)


def _drying_speed(machine: Machine) -> float | None:
    """Speed at which drying gives out, m/s."""
    row = next((r for r in limits(machine).rows if r.id == "drying"), None)
    return None if row is None else row.speed


def _same_press(a: Machine, b: Machine) -> bool:
    from thinstock.words import address

    left, right = address.listing(a.press), address.listing(b.press)
    return [n for n, _ in left] == [n for n, _ in right] and all(
        bool(np.all(x == y)) for (_, x), (_, y) in zip(left, right, strict=True)
    )
