"""A run as data for others: one JSON object in base SI, and CSV tables in the units of the mill.

Everything a stranger needs to close every balance is in the JSON: streams per metre of width with fibre, fines, water
(vapour counted), dry air and heat. Nothing is worked out here and no number is rounded; what does not exist is null.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from thinstock.errors import Refused
from thinstock.formula.writing import sources
from thinstock.machine.circuit_closed import streams_told
from thinstock.machine.limits import Limits
from thinstock.machine.numbers import PLACES, headline, number
from thinstock.machine.provenance import assumed
from thinstock.machine.result import Result
from thinstock.tell.record import FORMAT, plain
from thinstock.tell.tables import csv_text
from thinstock.words import nomenclature, units
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num

NO_SHEET = "no sheet"
"""What stands at a station that no sheet reaches."""


# -- tables --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """A column of numbers: its key in the record, its head in a spreadsheet, its word."""

    key: str
    word: str
    head: str = ""
    times: float = 1.0
    """So many times it stands in the record."""
    unit: str = ""
    """Unit in the record, where that is not the word's."""


@dataclass(frozen=True, kw_only=True)
class Part:
    """A table of a run: for each thing its words, its numbers in base SI, and a note where they need one."""

    words: Mapping[str, str]
    """Keys in the record, and heads in a spreadsheet."""
    numbers: tuple[Quantity, ...]
    rows: tuple[tuple[tuple[str, ...], tuple[Num, ...]], ...]
    notes: tuple[str, ...] = ()

    def record(self) -> list[dict[str, Any]]:
        """One object for each thing."""
        made = []
        for k, (texts, values) in enumerate(self.rows):
            numbers = {q.key: None if v is None else plain(v * q.times)
                       for q, v in zip(self.numbers, values, strict=True)}  # fmt: skip
            note = {"note": self.notes[k]} if self.notes else {}
            made.append({**dict(zip(self.words, texts, strict=True)), **numbers, **note})
        return made

    def in_units(self) -> dict[str, str]:
        """Unit of each number of the record."""
        return {q.key: q.unit or nomenclature.word(q.word).unit for q in self.numbers}

    def lines(self, unit_set: units.UnitSet, air: float) -> list[list[Any]]:
        """Head and rows in the units of a set."""
        heads = [_head(q.head or q.key.replace("_", " "), q.word, unit_set) for q in self.numbers]
        made: list[list[Any]] = [[*self.words.values(), *heads, *(["note"] if self.notes else [])]]
        for k, (texts, values) in enumerate(self.rows):
            numbers = [_at_edge(q.word, v, unit_set, air) for q, v in zip(self.numbers, values, strict=True)]
            made.append([*texts, *numbers, *self.notes[k : k + 1]])
        return made


def parts(result: Result) -> dict[str, Part]:
    """The tables of a run by name."""
    width, formed = float(result.machine.width), bool(result.values.get("formed", True))
    stations, streams = (tuple(Quantity(key=k, word=w) for k, w in PLACES[p].items()) for p in ("stations", "streams"))
    energy = (
        Quantity(key="power", word="machine_power", head=phrase("tell.export.power_machine")),
        Quantity(key="per_tonne", word="specific_energy", head="per product", times=1000.0, unit="J/t"),
    )
    water = (
        Quantity(key="water_per_fibre", word="water_per_fibre"),
        Quantity(key="share", word="share", head=phrase("tell.export.share_all")),
        Quantity(key="energy_per_water", word="heat_per_water"),
        Quantity(
            key="money_per_tonne",
            word="money_per_mass",
            head=phrase("tell.export.money_per_product"),
            times=1000.0,
            unit="money/t",
        ),
    )
    circuits = {"circuits": _circuits(result)} if "circuit" in result.parts else {}
    return {
        "stations": Part(
            words={"name": "station"}, numbers=stations,
            rows=tuple(((s.name,), tuple(getattr(s, q.key) for q in stations)) for s in result.stations),
            notes=tuple(NO_SHEET if s.dryness is None else "" for s in result.stations),
        ),
        "streams": Part(
            words={"name": "stream", "from": "from", "to": "to"}, numbers=streams,
            rows=tuple(((s.name, s.source, s.sink), tuple(getattr(s, q.key) for q in streams)) for s in result.streams),
        ),
        "energy": Part(
            words={"name": "consumer", "stage": "stage", "kind": "kind"}, numbers=energy,
            rows=tuple(((c.name, c.stage, c.kind), (c.power * width, c.per_mass if formed else None))
                       for c in result.energy),
        ),
        "water": Part(
            words={"stage": "stage"}, numbers=water,
            rows=tuple(((w.stage,), (w.water_per_fibre, w.share, w.energy_per_water, w.money_per_mass))
                       for w in result.water_prices),
        ),
        **circuits,
    }  # fmt: skip


def _circuits(result: Result) -> Part:
    """The streams of the water circuits, per metre of width."""
    names = ("flow", "water", "long", "fines", "ash", "dissolved")
    rows = [
        ((s.name, s.source, s.sink), (s.flow, s.water, *(s.solids[k] for k in range(3)), s.dissolved))
        for s in streams_told(result.parts.circuit)
    ]
    return Part(
        words={"name": "stream", "from": "from", "to": "to"}, rows=tuple(rows),
        numbers=tuple(Quantity(key=name, word="mass_flow_per_width") for name in names),
    )  # fmt: skip


def _at_edge(word: str, value: Any, unit_set: units.UnitSet, air: float) -> Any:
    number = plain(value)
    if number is None or isinstance(number, bool):
        return number
    kind = nomenclature.word(word).kind
    known = None if kind in nomenclature.PLAIN_KINDS else kind
    return float(units.from_si(number, units.edge_unit(word, unit_set), known, atmospheric_pressure=air))


def _head(name: str, word: str, unit_set: units.UnitSet) -> str:
    unit = units.edge_unit(word, unit_set)
    return name if unit == "1" else f"{name} ({unit})"


def tables(result: Result, unit_set: units.UnitSet = "mill") -> dict[str, str]:
    """The tables of a run as CSV texts by file name."""
    air = float(result.machine.site.atmospheric_pressure())
    return {
        "headline.csv": csv_text(_headline_rows(result, unit_set, air)),
        **{f"{name}.csv": csv_text(part.lines(unit_set, air)) for name, part in parts(result).items()},
        "notes.csv": csv_text([["part", "level", "note"], *([n.part, n.level, n.text] for n in result.notes)]),
    }


def _headline_rows(result: Result, unit_set: units.UnitSet, air: float) -> list[list[Any]]:
    rows: list[list[Any]] = [["name", "value", "unit", "meaning"]]
    for name, value in result.values.items():
        about = number(name)
        if about.word:
            shown, unit = _at_edge(about.word, value, unit_set, air), units.edge_unit(about.word, unit_set)
        else:
            shown, unit = plain(value), about.unit
        rows.append([name, shown, unit, about.label])
    return rows


# -- records -------------------------------------------------------------------------------------------------------


def run_record(result: Result) -> dict[str, Any]:
    """One run of one machine as one object in base SI."""
    if not result.single:
        raise Refused(fault_in("tell.export.result", "result", "many cases"))
    machine, told = result.machine, parts(result)
    names = [*result.values, *(name for name in headline() if name not in result.values)]
    return {
        "format": FORMAT,
        "title": machine.title,
        "description": machine.description,
        "scenario": machine.scenario,
        "headline": {name: plain(result.values.get(name)) for name in names},
        "held_by": result.held_by,
        "uncertainty": uncertainty_record(result),
        "formation": formation_record(result),
        **{name: part.record() for name, part in told.items()},
        "width": float(machine.width),
        "closure": {name: plain(value) for name, value in result.closure().items()},
        "notes": [{"part": n.part, "level": n.level, "text": n.text, "cases": n.cases} for n in result.notes],
        "sources": [{"key": key, **sources()[key]} for key in result.sources()],
        "formulas": [{"name": name, "status": status} for name, status in result.formulas()],
        "assumed": [
            {"address": k.address, "value": plain(k.value), "unit": nomenclature.word(k.about.word).unit}
            for k in assumed(machine)
        ],
        "units": {
            "headline": {name: number(name).unit for name in names},
            **{name: part.in_units() for name, part in told.items()},
            "width": {"width": "m"},
        },
    }


def uncertainty_record(result: Result) -> dict[str, dict[str, Any]]:
    """Middle, central 90 % and standard uncertainty of the headline numbers, and the inputs each hangs on most."""
    from thinstock.studies.bands import uncertainty

    if not bool(result.values.get("formed", True)):
        return {}
    found = uncertainty(result.asked, result=result)
    return {
        name: {
            "standard_uncertainty": plain(found[name].standard_uncertainty),
            "median": plain(found[name].median),
            "low": plain(found[name].low),
            "high": plain(found[name].high),
            "largest": [{"address": a, "change": plain(c)} for a, c in found[name].largest()],
        }
        for name in headline()
        if name in found
    }


def formation_record(result: Result) -> dict[str, Any] | None:
    """Evenness of the sheet on the wire: a statistical floor, with the band of the headbox."""
    if not bool(result.values.get("formed", True)):
        return None
    even = result.evenness()
    return {
        **{name: plain(value) for name, value in even.values().items()},
        "regime": even.regime,
        "calibrated": even.calibrated,
        "target": even.target,
        "target_note": even.target_note,
        "label": even.label,
    }


LIMIT = ("part", "duty", "speed", "margin", "speed_low", "speed_high", "binding", "scope", "status", "value", "bound")
"""What the record has of a limit beside its unit and note."""
NOW = ("value", "bound", "share", "over")
"""What it has of a part's use at the present speed."""


def limits_record(limits: Limits) -> dict[str, Any]:
    """The speed limits of one machine as one object in base SI."""
    return {
        "format": FORMAT,
        "held": limits.head,
        "speed": plain(limits.speed),
        "limits": [
            {
                **{key: plain(getattr(row, key)) for key in LIMIT},
                "now": {key: plain(getattr(row, key)) for key in NOW},
                "unit": nomenclature.word(row.word).unit if row.word else "1",
                "note": row.note,
            }
            for row in limits.rows
        ],
        "over": [row.part for row in limits.over],
        "faster": None if limits.faster is None else limits.faster.part,
        "slower": None if limits.slower is None else limits.slower.part,
        "units": {"speed": "m/s", "speed_low": "m/s", "speed_high": "m/s", "margin": "1", "share": "1"},
    }
