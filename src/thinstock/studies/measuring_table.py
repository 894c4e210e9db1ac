"""Readings that could be taken: those of a machine's form with their usual uncertainties, or a table with costs.

A row may be read under other settings ("yankee.speed = 0.9 x; grade.reel_grammage = 1.15 x") and may be repeated. Costs
are in whatever money the table is written in.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from thinstock.case import values
from thinstock.case.overrides import value_at
from thinstock.errors import Refused
from thinstock.machine.line import Machine
from thinstock.studies.measuring import Candidate
from thinstock.survey.cells import Cells, read_cells
from thinstock.survey.edge import density, edge_unit
from thinstock.survey.faults import SurveyError, nearest
from thinstock.survey.form import form_heading, form_rows
from thinstock.survey.machine_network import network_of_machine
from thinstock.survey.round import points_of
from thinstock.survey.table import COLUMNS, DENSITIES, reading_of
from thinstock.words import address
from thinstock.words.phrase import phrase

PLAN = ("stream", "quantity", "unit", "uncertainty", "coverage_factor", "at", "repeats", "cost")
EXTRA = "yankee.speed = 0.9 x; grade.reel_grammage = 1.15 x"
"""A run at another setting that is offered beside the form: heavier and slower."""
EXTRA_READ = (("reel", "moisture"),)
WATER = "990 kg/m3"
_TIMES = re.compile(r"(\d+(?:\.\d+)?) ?x", re.ASCII)


def candidates_of_form(machine: Machine) -> tuple[Candidate, ...]:
    """Every reading of the machine's form, with the wider end of what is usual for it; some also on a heavier run.

    Source: ASSUMED. Status: assumed (judgement of the trade).
    """
    cells = Cells("", heading=form_heading(machine))
    rows = [dict(zip(COLUMNS, r.cells(), strict=True)) for r in form_rows(machine) if r.default]
    found = [c for row in rows if (c := _candidate(row, machine, cells, None)) is not None]
    if machine.yankee is not None:
        for row in rows:
            if (row["stream"], row["quantity"]) in EXTRA_READ:
                more = _candidate(row | {"at": EXTRA}, machine, cells, None)
                found += [more] if more is not None else []
    return tuple(found)


def read_plan(path: Path, machine: Machine) -> tuple[Candidate, ...]:
    """A table of readings that could be taken (CSV or XLSX, sheet `plan`), with costs where they are known.

    Source: the table. All faults come in one `SurveyError`.
    """
    cells = read_cells(path, PLAN, "plan", "survey")
    cells.heading.setdefault("water_density", WATER)
    streams = points_of(machine, network_of_machine(machine))
    found = []
    for line, texts in cells.rows:
        row = dict(zip(PLAN, texts, strict=True))
        if row["stream"] not in streams:
            bound = phrase("survey.table.no_stream_network")
            cells.fault(line, "stream", row["stream"], bound, nearest(row["stream"], streams))
        made = _candidate(row, machine, cells, line)
        found += [made] if made is not None else []
    if not found and not cells.faults:
        cells.fault(None, "rows", "", phrase("survey.table.no_reading_in_table"), phrase("history.plan.one_a_line"))
    if cells.faults:
        raise SurveyError(sorted(cells.faults, key=lambda f: f.line or 0))
    return tuple(found)


def _candidate(row: Mapping[str, str], machine: Machine, cells: Cells, line: int | None) -> Candidate | None:
    given = dict.fromkeys(COLUMNS, "") | {k: row[k] for k in COLUMNS if k in row} | {"value": "0.5"}
    before = len(cells.faults)
    reading = reading_of(given, cells, line or 0)
    at = settings_in(row.get("at", ""), machine, cells, line)
    repeats = _whole(row.get("repeats", "") or "1", "repeats", cells, line)
    cost = _whole(row["cost"], "cost", cells, line, whole=False) if row.get("cost") else None
    if len(cells.faults) > before:
        if line is None:
            del cells.faults[before:]
        return None
    assert reading is not None and repeats is not None
    share, points = _parts(given, cells.heading)
    return Candidate(
        stream=reading.stream,
        quantity=reading.quantity,
        share=share,
        points=points,
        repeats=int(repeats),
        at=at,
        said=row.get("at", ""),
        cost=cost,
    )


def _parts(given: Mapping[str, str], heading: Mapping[str, str]) -> tuple[float, float]:
    """(Share of the value, part in SI) of an uncertainty that was read without a fault."""
    unit = edge_unit(given["unit"], given["quantity"].partition(":")[0])
    assert not isinstance(unit, str)
    scale = unit.scale
    if unit.kind in DENSITIES:
        key, example = DENSITIES[unit.kind]
        scale *= density(heading.get(key, example))
    factor = float(given["coverage_factor"].replace(",", "."))
    share = points = 0.0
    for part in re.split(r"(?<![eE])\+", given["uncertainty"]):
        number = float(part.partition("%")[0].strip().replace(",", "."))
        if "%" in part:
            share = float(np.hypot(share, number / 100.0))
        else:
            points = float(np.hypot(points, number * scale))
    return share / factor, points / factor


def settings_in(text: str, machine: Machine, cells: Cells, line: int | None) -> dict[str, float]:
    """Settings of a text: an address with a value and its unit, or so many times what it is."""
    found: dict[str, float] = {}
    for part in filter(None, (p.strip() for p in text.split(";"))):
        name, _, value = (t.strip() for t in part.partition("="))
        try:
            where = address.join(address.find(machine, name))
            times = _TIMES.fullmatch(value)
            made: Any = float(times[1]) * float(machine.get(where)) if times else value_at(machine, where, value)
            machine.with_({where: made})
            found[where] = float(made)
        except values.Unread as wrong:
            cells.fault(line, "at", part, wrong.bound, wrong.remedy)
        except Refused as refused:
            cells.fault(line, "at", part, refused.faults[0].bound, refused.faults[0].remedy)
        except (TypeError, ValueError):
            cells.fault(line, "at", part, phrase("history.plan.no_setting"), phrase("history.plan.write_setting"))
    return found


def _whole(text: str, column: str, cells: Cells, line: int | None, *, whole: bool = True) -> float | None:
    try:
        number = float(text)
    except ValueError:
        number = float("nan")
    if (number >= 1 and number == int(number)) if whole else 0.0 <= number < float("inf"):
        return number
    bound = phrase("history.plan.whole_number" if whole else "history.plan.no_cost")
    cells.fault(line, column, text, bound)
    return None
