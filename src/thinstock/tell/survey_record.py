"""A reconciled round and a calibration as data: one object in base SI; tables in the units of the mill, not rounded."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from operator import attrgetter
from typing import TYPE_CHECKING, Any

from thinstock.survey.round import shown
from thinstock.tell.record import FORMAT, plain

if TYPE_CHECKING:
    from thinstock.survey.calibrated import Calibration
    from thinstock.survey.change import Change
    from thinstock.survey.findings import Doubt, Findings, Row
    from thinstock.words.note import Note

Rows = list[list[Any]]
CHANGE = {
    "stream": "stream", "quantity": "quantity", "before": "before", "after": "after", "difference": "difference",
    "standard_uncertainty": "standard_uncertainty", "standard_uncertainty_independent": "independent",
    "smallest_claimable": "claimable", "claimed": "claimed", "probability_all_chance": "together",
}  # fmt: skip
READ = {"stream": "stream", "quantity": "quantity", "value": "value", "standard_uncertainty": "standard_uncertainty"}
ROW = {
    "number": "number", "stream": "reading.stream", "quantity": "reading.quantity", "method": "reading.method",
    "read": "reading.value", "standard_uncertainty_read": "reading.standard_uncertainty", "reconciled": "value",
    "standard_uncertainty": "standard_uncertainty", "adjustment": "adjustment", "score": "score",
    "redundancy": "redundancy", "smallest_detectable": "detectable", "doubtful": "doubtful",
}  # fmt: skip
IMBALANCE = {
    "around": "node", "component": "component", "missing": "missing", "standard_uncertainty": "spread",
    "score": "score", "streams": "streams",
}  # fmt: skip
CONSTANT = {
    "address": "unknown.address", "label": "unknown.label", "before": "unknown.centre",
    "standard_uncertainty_before": "unknown.spread", "value": "value", "standard_uncertainty": "standard_uncertainty",
    "low_95": "low", "high_95": "high", "standard_uncertainty_by_data": "by_data",
}  # fmt: skip
SETTING = {"address": "unknown.address", "value": "value", "standard_uncertainty": "standard_uncertainty"}
CHECKED = {
    "round": "round", "stream": "reading.stream", "quantity": "reading.quantity", "read": "reading.value",
    "standard_uncertainty": "reading.standard_uncertainty", "before": "before", "after": "after",
    "left_out": "left_out", "left_out_score": "left_out_score",
}  # fmt: skip
"""Names in the record, and where each stands in what was found."""


def picked(found: Any, names: dict[str, str]) -> dict[str, Any]:
    """Some values of one thing, by the names of the record."""
    return {name: attrgetter(where)(found) for name, where in names.items()}


def _notes(notes: Iterable[Note]) -> list[dict[str, str]]:
    return [{"part": n.part, "level": n.level, "text": n.text} for n in notes]


def survey_record(rounds: Sequence[Findings], moved: Sequence[Change] = ()) -> dict[str, Any]:
    """One or two rounds as one object in base SI."""
    machine = rounds[0].round.machine
    made: dict[str, Any] = plain({
        "format": FORMAT,
        "machine": machine.title,
        "scenario": machine.scenario,
        "rounds": [_round(findings) for findings in rounds],
        "changes": [picked(c, CHANGE) for c in moved],
    })  # fmt: skip
    return made


def _round(findings: Findings) -> dict[str, Any]:
    found = findings.reconciliation
    return {
        "name": findings.round.name,
        "passed": findings.passed,
        "statistic": found.result.statistic,
        "degrees_of_freedom": int(found.result.degrees_of_freedom),
        "probability": found.result.probability,
        "critical_score": findings.critical,
        "closure": found.closure,
        "set_aside": [" ".join(key) for key in findings.set_aside],
        "readings": [picked(row, ROW) for row in findings.rows],
        "beside_the_balance": [picked(reading, READ) for reading in findings.round.beside],
        "does_not_close": [picked(one, IMBALANCE) for one in findings.imbalances],
        "doubtful": [_doubt(findings, one) for one in findings.doubts],
        "suspects": _suspects(findings),
        "tells_apart": [
            {"stream": a.stream, "quantity": a.quantity, "relative_uncertainty": a.uncertainty,
             "separation": a.separation}
            for a in findings.apart
        ],
        "values": [
            {
                "stream": key[0], "quantity": key[1], "value": value,
                "standard_uncertainty": found.standard_uncertainty[key], "classification": found.classification[key],
            }
            for key, value in found.value.items()
        ],
        "water": [
            dict(zip(("stream", "from", "to", "water", "standard_uncertainty"), row, strict=True))
            for row in findings.water
        ],
        "next": [
            {
                "stream": n.stream, "quantity": n.quantity, "relative_uncertainty": n.uncertainty,
                "target": " ".join(n.target), "before": n.before, "after": n.after,
            }
            for n in findings.next_readings
        ],
        "notes": _notes(findings.notes),
        "free_of_fibre": findings.round.network.free_of_fibre,
    }  # fmt: skip


def _suspects(findings: Findings) -> dict[str, Any] | None:
    """Who may be wrong if one reading is."""
    found = findings.suspected
    if found is None:
        return None
    rows = [
        {"reading": " ".join(findings.rows[s.place].key), "number": findings.rows[s.place].number,
         "probability": s.probability, "bias": s.bias, "factor": s.slip or None}
        for s in found.suspects
    ]  # fmt: skip
    return {"readings": rows, "none": found.none}


def _doubt(findings: Findings, doubt: Doubt) -> dict[str, Any]:
    """Sets that explain the misfit equally well."""
    rows = findings.rows
    sets = [
        [
            {"reading": " ".join(rows[i].key), "number": rows[i].number, "bias": bias}
            for i, bias in zip(members, biases, strict=True)
        ]
        for members, biases in zip(doubt.sets, doubt.biases, strict=True)
    ]
    return {"probability": doubt.probability, "sets": sets}


def calibration_record(found: Calibration) -> dict[str, Any]:
    """Constants, what cannot be told, correlations, and every reading before and after."""
    made: dict[str, Any] = plain({
        "format": FORMAT,
        "machine": found.machine.title,
        "rounds": [r.name for r in found.rounds],
        "passed": [None if f is None else f.passed for f in found.findings],
        "constants": [
            picked(f, CONSTANT) | {"leans_on": [{"address": a, "change": change} for a, change in f.leans]}
            for f in found.found
        ],
        "not_told": [
            {"address": n.unknown.address, "label": n.unknown.label, "why": n.why, "best_reading": n.best or None}
            for n in found.not_told
        ],
        "correlation": [{"constants": pair, "correlation": r} for pair, r in found.correlation.items()],
        "settings": [[picked(s, SETTING) for s in settings] for settings in found.settings],
        "chi_square_before": found.chi_square_before,
        "chi_square": found.fit.chi_square,
        "degrees_of_freedom": found.degrees_of_freedom,
        "probability": found.probability,
        "readings": [picked(c, CHECKED) for c in found.checked],
        "unused": [{"stream": r.stream, "quantity": r.quantity, "why": why} for r, why in found.unused],
        "notes": _notes(found.notes),
    })  # fmt: skip
    return made


# -- tables --------------------------------------------------------------------------------------------------------

READING_HEAD = [
    "number", "stream", "quantity", "unit", "read", "standard_uncertainty_read", "reconciled", "standard_uncertainty",
    "adjustment_in_standard_uncertainties", "score", "redundancy", "smallest_detectable_share", "doubtful", "method",
]  # fmt: skip
VALUE_HEAD = ["stream", "from", "to", "quantity", "unit", "value", "standard_uncertainty", "known_by"]
CHANGE_HEAD = [
    "stream", "quantity", "unit", "before", "after", "difference", "standard_uncertainty", "smallest_claimable",
    "claimed",
]  # fmt: skip


def survey_tables(rounds: Sequence[Findings], moved: Sequence[Change] = ()) -> dict[str, Rows]:
    """Rows by the name of their table, each with its head: readings and values of each round, and the changes."""
    found: dict[str, Rows] = {}
    for findings, name in zip(rounds, ("", "_after"), strict=False):
        found[f"readings{name}"] = [READING_HEAD, *(_reading_row(row) for row in findings.rows)]
        found[f"values{name}"] = [VALUE_HEAD, *_value_rows(findings)]
    if moved:
        found["changes"] = [CHANGE_HEAD, *(_change_row(one) for one in moved)]
    return {name: plain(rows) for name, rows in found.items()}


def _in_unit(value: float, spread: float, quantity: str) -> tuple[float, float, str]:
    number, unit = shown(value, quantity)
    return number, shown(value + spread, quantity)[0] - number, unit


def _said(yes: bool) -> str:
    return "yes" if yes else "no"


def _reading_row(row: Row) -> list[Any]:
    stream, quantity = row.key
    read, spread_read, unit = _in_unit(row.reading.value, row.reading.standard_uncertainty, quantity)
    value, spread, _ = _in_unit(row.value, row.standard_uncertainty, quantity)
    return [
        row.number, stream, quantity, unit, read, spread_read, value, spread, row.adjustment, row.score,
        row.redundancy, row.detectable, _said(row.doubtful), row.reading.method,
    ]  # fmt: skip


def _value_rows(findings: Findings) -> Rows:
    found = findings.reconciliation
    ends = {stream: (source, sink) for stream, source, sink, _, _ in findings.water}
    rows: Rows = []
    for (stream, quantity), value in found.value.items():
        if quantity == "consistency:heat":
            continue
        number, spread, unit = _in_unit(value, found.standard_uncertainty[stream, quantity], quantity)
        rows.append([stream, *ends[stream], quantity, unit, number, spread, found.classification[stream, quantity]])
    for stream, source, sink, water, spread_water in findings.water:
        rows.append([stream, source, sink, "water", "kg/s", water, spread_water, "worked out"])
    return rows


def _change_row(one: Change) -> list[Any]:
    before, spread, unit = _in_unit(one.before, one.standard_uncertainty, one.quantity)
    after = _in_unit(one.after, 0.0, one.quantity)[0]
    limit = _in_unit(one.before, one.claimable, one.quantity)[1]
    return [one.stream, one.quantity, unit, before, after, after - before, spread, limit, _said(one.claimed)]
