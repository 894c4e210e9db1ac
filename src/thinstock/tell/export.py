"""A run as data for others: one JSON object in base SI, and CSV tables in the units of the mill.

Everything a stranger needs to close every balance is in the JSON: streams per metre of width with fibre, fines, water
(vapour counted), dry air and heat. Nothing is worked out here and no number is rounded; what does not exist is null.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from functools import lru_cache
from importlib.resources import files
from typing import Any

from thinstock.errors import Fault, Refused
from thinstock.machine.limits import Limits
from thinstock.machine.numbers import PLACES, headline, number
from thinstock.machine.provenance import assumed
from thinstock.machine.result import Result
from thinstock.tell.record import FORMAT, plain
from thinstock.tell.tables import csv_text
from thinstock.words import nomenclature, units

NO_SHEET = "no sheet"
"""What stands at a station that no sheet reaches."""


def run_record(result: Result) -> dict[str, Any]:
    """One run of one machine as one object in base SI."""
    if not result.single:
        raise Refused(
            Fault(
                field="result",
                value="many cases",
                bound="one object is made of one case",
                remedy="Take a table.",
            )
        )
    machine = result.machine
    width = float(machine.width)
    formed = bool(result.values.get("formed", True))
    names = [*result.values, *(name for name in headline() if name not in result.values)]
    notes = [{"part": note.part, "level": note.level, "text": note.text, "cases": note.cases} for note in result.notes]
    return {
        "format": FORMAT,
        "title": machine.title,
        "scenario": machine.scenario,
        "headline": {name: plain(result.values.get(name)) for name in names},
        "held_by": result.held_by,
        "uncertainty": uncertainty_record(result),
        "formation": formation_record(result),
        "stations": [
            {
                "name": s.name,
                **{key: plain(getattr(s, key)) for key in PLACES["stations"]},
                "note": NO_SHEET if s.dryness is None else "",
            }
            for s in result.stations
        ],
        "streams": [
            {
                "name": s.name,
                "from": s.source,
                "to": s.sink,
                **{key: plain(getattr(s, key)) for key in PLACES["streams"]},
            }
            for s in result.streams
        ],
        "energy": [
            {
                "name": c.name,
                "stage": c.stage,
                "kind": c.kind,
                "power": plain(c.power * width),
                "per_tonne": plain(c.per_mass * 1000) if formed else None,
            }
            for c in result.energy
        ],
        "water": [
            {
                "stage": w.stage,
                "water_per_fibre": plain(w.water_per_fibre),
                "share": plain(w.share),
                "energy_per_water": plain(w.energy_per_water),
                "money_per_tonne": None if w.money_per_mass is None else plain(w.money_per_mass * 1000),
            }
            for w in result.water_prices
        ],
        "width": width,
        "closure": {name: plain(value) for name, value in result.closure().items()},
        "notes": notes,
        "sources": sources_of(result),
        "formulas": [{"name": name, "status": status} for name, status in result.formulas()],
        "assumed": [
            {"address": k.address, "value": plain(k.value), "unit": nomenclature.word(k.about.word).unit}
            for k in assumed(machine)
        ],
        "units": units_record(names),
    }


def uncertainty_record(result: Result) -> dict[str, dict[str, Any]]:
    """First-order standard uncertainty of the headline numbers and the three inputs it hangs on most."""
    from thinstock.studies.first_order import uncertainty

    if not bool(result.values.get("formed", True)):
        return {}
    found = uncertainty(result.asked)
    return {
        name: {
            "standard_uncertainty": plain(found[name].standard_uncertainty),
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


def units_record(names: Iterable[str]) -> dict[str, dict[str, str]]:
    """Base SI unit of every number of the object, by the table it stands in."""
    return {
        "headline": {name: number(name).unit for name in names},
        **{
            place: {key: nomenclature.word(word).unit for key, word in PLACES[place].items()}
            for place in ("stations", "streams")
        },
        "energy": {"power": "W", "per_tonne": "J/t"},
        "water": {
            "water_per_fibre": "kg/kg",
            "share": "1",
            "energy_per_water": "J/kg",
            "money_per_tonne": "money/t",
        },
        "width": {"width": "m"},
    }


def sources_of(result: Result) -> list[dict[str, str]]:
    """The sources used in a run: key, citation, how it is held."""
    known = sources()
    return [{"key": key, **known[key]} for key in result.sources()]


@lru_cache(maxsize=1)
def sources() -> dict[str, dict[str, str]]:
    """All sources by key."""
    return tomllib.loads(files("thinstock.words").joinpath("sources.toml").read_text(encoding="utf-8"))


def limits_record(limits: Limits) -> dict[str, Any]:
    """The speed limits of one machine as one object in base SI."""
    return {
        "format": FORMAT,
        "held": limits.head,
        "speed": plain(limits.speed),
        "limits": [
            {
                "part": row.part,
                "duty": row.duty,
                "speed": plain(row.speed),
                "margin": plain(row.margin),
                "binding": row.binding,
                "scope": row.scope,
                "status": row.status,
                "value": plain(row.value),
                "bound": plain(row.bound),
                "unit": nomenclature.word(row.word).unit if row.word else "1",
                "note": row.note,
            }
            for row in limits.rows
        ],
        "units": {"speed": "m/s", "margin": "1"},
    }


# -- CSV -----------------------------------------------------------------------------------------------------------


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
        "stations.csv": csv_text(_station_rows(result, unit_set, air)),
        "streams.csv": csv_text(_stream_rows(result, unit_set, air)),
        "energy.csv": csv_text(_energy_rows(result, unit_set, air)),
        "water.csv": csv_text(_water_rows(result, unit_set, air)),
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


def _station_rows(result: Result, unit_set: units.UnitSet, air: float) -> list[list[Any]]:
    head = [
        "station",
        *(_head(key.replace("_", " "), word, unit_set) for key, word in PLACES["stations"].items()),
        "note",
    ]
    body = [
        [
            s.name,
            *(_at_edge(word, getattr(s, key), unit_set, air) for key, word in PLACES["stations"].items()),
            NO_SHEET if s.dryness is None else "",
        ]
        for s in result.stations
    ]
    return [head, *body]


def _stream_rows(result: Result, unit_set: units.UnitSet, air: float) -> list[list[Any]]:
    words = PLACES["streams"]
    head = ["stream", "from", "to", *(_head(key, word, unit_set) for key, word in words.items())]
    body = [
        [
            s.name,
            s.source,
            s.sink,
            *(_at_edge(word, getattr(s, key), unit_set, air) for key, word in words.items()),
        ]
        for s in result.streams
    ]
    return [head, *body]


def _energy_rows(result: Result, unit_set: units.UnitSet, air: float) -> list[list[Any]]:
    width = float(result.machine.width)
    formed = bool(result.values.get("formed", True))
    head = [
        "consumer",
        "stage",
        "kind",
        _head("power of the machine", "machine_power", unit_set),
        _head("per product", "specific_energy", unit_set),
    ]
    body = [
        [
            c.name,
            c.stage,
            c.kind,
            _at_edge("machine_power", c.power * width, unit_set, air),
            _at_edge("specific_energy", c.per_mass if formed else None, unit_set, air),
        ]
        for c in result.energy
    ]
    return [head, *body]


def _water_rows(result: Result, unit_set: units.UnitSet, air: float) -> list[list[Any]]:
    head = [
        "stage",
        _head("water per fibre", "water_per_fibre", unit_set),
        _head("share of all", "share", unit_set),
        _head("energy per water", "heat_per_water", unit_set),
        _head("money per product", "money_per_mass", unit_set),
    ]
    body = [
        [
            w.stage,
            _at_edge("water_per_fibre", w.water_per_fibre, unit_set, air),
            _at_edge("share", w.share, unit_set, air),
            _at_edge("heat_per_water", w.energy_per_water, unit_set, air),
            _at_edge("money_per_mass", w.money_per_mass, unit_set, air),
        ]
        for w in result.water_prices
    ]
    return [head, *body]
