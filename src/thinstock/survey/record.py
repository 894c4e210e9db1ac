"""What a round says as data: one object in base SI, and tables in the units of the mill. No number is rounded."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from typing import Any

from thinstock.errors import needs
from thinstock.survey.cells import escaped
from thinstock.survey.change import Change
from thinstock.survey.findings import Doubt, Findings, Row
from thinstock.survey.round import shown

FORMAT = 1
"""Version of the shape of the object; raised when a name changes its meaning."""


def plain(value: float) -> float | None:
    """A number as JSON holds it."""
    return float(value) if math.isfinite(value) else None


def survey_record(rounds: Sequence[Findings], moved: Sequence[Change] = ()) -> dict[str, Any]:
    """One or two rounds as one object in base SI."""
    return {
        "format": FORMAT,
        "machine": rounds[0].round.machine.title,
        "scenario": rounds[0].round.machine.scenario,
        "rounds": [round_record(f) for f in rounds],
        "changes": [
            {
                "stream": c.stream,
                "quantity": c.quantity,
                "before": plain(c.before),
                "after": plain(c.after),
                "difference": plain(c.difference),
                "standard_uncertainty": plain(c.standard_uncertainty),
                "standard_uncertainty_independent": plain(c.independent),
                "smallest_claimable": plain(c.claimable),
                "claimed": c.claimed,
            }
            for c in moved
        ],
    }


def round_record(findings: Findings) -> dict[str, Any]:
    """One round."""
    found = findings.reconciliation
    result = found.result
    return {
        "name": findings.round.name,
        "passed": findings.passed,
        "statistic": plain(result.statistic),
        "degrees_of_freedom": int(result.degrees_of_freedom),
        "probability": plain(result.probability),
        "critical_score": plain(findings.critical),
        "closure": plain(found.closure),
        "set_aside": [" ".join(key) for key in findings.set_aside],
        "readings": [row_record(r) for r in findings.rows],
        "beside_the_balance": [
            {
                "stream": r.stream,
                "quantity": r.quantity,
                "value": plain(r.value),
                "standard_uncertainty": plain(r.standard_uncertainty),
            }
            for r in findings.round.beside
        ],
        "does_not_close": [
            {
                "around": b.node,
                "component": b.component,
                "missing": plain(b.missing),
                "standard_uncertainty": plain(b.spread),
                "score": plain(b.score),
                "streams": list(b.streams),
            }
            for b in findings.imbalances
        ],
        "doubtful": [doubt_record(findings, d) for d in findings.doubts],
        "values": [
            {
                "stream": stream,
                "quantity": quantity,
                "value": plain(value),
                "standard_uncertainty": plain(found.standard_uncertainty[stream, quantity]),
                "classification": found.classification[stream, quantity],
            }
            for (stream, quantity), value in found.value.items()
        ],
        "water": [
            {"stream": s, "from": a, "to": b, "water": plain(w), "standard_uncertainty": plain(u)}
            for s, a, b, w, u in findings.water
        ],
        "next": [
            {
                "stream": n.stream,
                "quantity": n.quantity,
                "relative_uncertainty": n.uncertainty,
                "target": " ".join(n.target),
                "before": plain(n.before),
                "after": plain(n.after),
            }
            for n in findings.next_readings
        ],
        "notes": [{"part": n.part, "level": n.level, "text": n.text} for n in findings.notes],
        "free_of_fibre": list(findings.round.network.free_of_fibre),
    }


def row_record(row: Row) -> dict[str, Any]:
    """One reading before and after."""
    return {
        "number": row.number,
        "stream": row.reading.stream,
        "quantity": row.reading.quantity,
        "method": row.reading.method,
        "read": plain(row.reading.value),
        "standard_uncertainty_read": plain(row.reading.standard_uncertainty),
        "reconciled": plain(row.value),
        "standard_uncertainty": plain(row.standard_uncertainty),
        "adjustment": plain(row.adjustment),
        "score": plain(row.score),
        "redundancy": plain(row.redundancy),
        "smallest_detectable": plain(row.detectable),
        "doubtful": row.doubtful,
    }


def doubt_record(findings: Findings, doubt: Doubt) -> dict[str, Any]:
    """Sets that explain the misfit equally well."""
    return {
        "probability": plain(doubt.probability),
        "sets": [
            [
                {
                    "reading": " ".join(findings.rows[i].key),
                    "number": findings.rows[i].number,
                    "bias": plain(bias),
                }
                for i, bias in zip(members, biases, strict=True)
            ]
            for members, biases in zip(doubt.sets, doubt.biases, strict=True)
        ],
    }


# -- tables --------------------------------------------------------------------------------------------------------

Table = tuple[tuple[str, ...], list[list[Any]]]

READING_HEAD = (
    "number", "stream", "quantity", "unit", "read", "standard_uncertainty_read", "reconciled", "standard_uncertainty",
    "adjustment_in_standard_uncertainties", "score", "redundancy", "smallest_detectable_share", "doubtful", "method",
)  # fmt: skip
VALUE_HEAD = ("stream", "from", "to", "quantity", "unit", "value", "standard_uncertainty", "known_by")
CHANGE_HEAD = (
    "stream", "quantity", "unit", "before", "after", "difference", "standard_uncertainty", "smallest_claimable",
    "claimed",
)  # fmt: skip


def survey_tables(rounds: Sequence[Findings], moved: Sequence[Change] = ()) -> dict[str, Table]:
    """Tables by name: readings and values of each round, and the changes."""
    found: dict[str, Table] = {}
    for findings, name in zip(rounds, ("", "_after"), strict=False):
        found[f"readings{name}"] = (READING_HEAD, [_reading_row(r) for r in findings.rows])
        found[f"values{name}"] = (VALUE_HEAD, _value_rows(findings))
    if moved:
        found["changes"] = (CHANGE_HEAD, [_change_row(c) for c in moved])
    return found


def _in_unit(value: float, spread: float, quantity: str) -> tuple[Any, Any, str]:
    number, unit = shown(value, quantity)
    further, _ = shown(value + spread, quantity)
    return plain(number), plain(further - number), unit


def _reading_row(row: Row) -> list[Any]:
    quantity = row.reading.quantity
    read, spread_read, unit = _in_unit(row.reading.value, row.reading.standard_uncertainty, quantity)
    value, spread, _ = _in_unit(row.value, row.standard_uncertainty, quantity)
    return [
        row.number, row.reading.stream, quantity, unit, read, spread_read, value, spread, plain(row.adjustment),
        plain(row.score), plain(row.redundancy), plain(row.detectable), "yes" if row.doubtful else "no",
        row.reading.method,
    ]  # fmt: skip


def _value_rows(findings: Findings) -> list[list[Any]]:
    found = findings.reconciliation
    ends = {s: (a, b) for s, a, b, _, _ in findings.water}
    rows = []
    for (stream, quantity), value in found.value.items():
        if quantity == "consistency:heat":
            continue
        number, spread, unit = _in_unit(value, found.standard_uncertainty[stream, quantity], quantity)
        rows.append([stream, *ends[stream], quantity, unit, number, spread, found.classification[stream, quantity]])
    for stream, source, sink, water, spread_water in findings.water:
        rows.append([stream, source, sink, "water", "kg/s", plain(water), plain(spread_water), "worked out"])
    return rows


def _change_row(change: Change) -> list[Any]:
    before, spread, unit = _in_unit(change.before, change.standard_uncertainty, change.quantity)
    after = _in_unit(change.after, 0.0, change.quantity)[0]
    limit = _in_unit(change.before, change.claimable, change.quantity)[1]
    difference = None if before is None or after is None else after - before
    said = "yes" if change.claimed else "no"
    return [change.stream, change.quantity, unit, before, after, difference, spread, limit, said]


def csv_text(table: Table) -> str:
    """A table as CSV; texts that a spreadsheet could run are escaped, numbers stay numbers."""
    head, rows = table
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(head)
    for row in rows:
        writer.writerow(["" if v is None else escaped(v) if isinstance(v, str) else repr(v) for v in row])
    return stream.getvalue()


def workbook(tables: dict[str, Table]) -> bytes:
    """All tables as one workbook, a sheet each."""
    xlsxwriter = needs("xlsxwriter", "tables")

    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream, {"in_memory": True})
    bold = book.add_format({"bold": True})
    for name, (head, rows) in tables.items():
        sheet = book.add_worksheet(name)
        sheet.freeze_panes(1, 0)
        sheet.set_column(0, len(head) - 1, 16)
        for j, title in enumerate(head):
            sheet.write_string(0, j, title, bold)
        for i, row in enumerate(rows, start=1):
            for j, cell in enumerate(row):
                if isinstance(cell, str):
                    sheet.write_string(i, j, escaped(cell))
                elif cell is not None:
                    sheet.write_number(i, j, cell)
    book.close()
    return stream.getvalue()
