"""Drawings and charts of a machine as files: vector, points for print, and the numbers behind them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from thinstock.app import pictures
from thinstock.drawing import chart_names, chart_svg, chart_table
from thinstock.drawing.circuits import scheme
from thinstock.drawing.elevation import table
from thinstock.drawing.over_time import moving, picture
from thinstock.lesson.out.pixels import png
from thinstock.machine.line import Machine
from thinstock.machine.over_time import OverTime
from thinstock.machine.result import Result
from thinstock.tell import circuits
from thinstock.tell.blocks import Table
from thinstock.tell.pictures import chart_rows
from thinstock.tell.teller import Teller
from thinstock.words.figures import Edge
from thinstock.words.phrase import phrase

KINDS = {"svg": "image/svg+xml", "png": "image/png", "csv": "text/csv; charset=utf-8"}
"""Media type by the ending of a file."""
WATCHED = ("break=doctor for 20 min @ 2", "thick=+5 % @ 2")
"""Events that the machine page shows."""
SCALE = 2.0
"""Points a px of the drawing."""
EVERY = 10.0
"""Seconds between two rows of what happens over time."""


def taken(teller: Teller, name: str, kind: str) -> bytes | None:
    """The file of one drawing or chart of a machine; None where it has no such picture.

    `name`: "drawing", "circuits", "course-1" and so on by the events that are watched, or a chart's name.
    `kind`: one of `KINDS`. What a machine cannot show is refused with its reason.
    """
    if kind not in KINDS:
        return None
    found = _found(teller, name)
    if found is None:
        return None
    markup, rows = found
    if kind == "csv":
        return pictures.csv_of(rows)
    return markup.encode("utf-8") if kind == "svg" else png(markup, scale=SCALE)


def _found(teller: Teller, name: str) -> tuple[str, list[dict[str, Any]]] | None:
    """A picture that stands by itself, on white, and its rows."""
    result, edge = teller.result, teller.edge
    if name == "drawing":
        return pictures.drawing_file(result, unit_set=teller.unit_set), table(result)
    if name == "circuits":
        markup = scheme(result)
        return (markup, circuit_rows(result, edge)) if markup else None
    if name.startswith("course-"):
        number = name.removeprefix("course-")
        if number not in {str(n + 1) for n in range(len(WATCHED))}:
            return None
        course = courses(teller.machine)[int(number) - 1]
        return picture(course, edge), course_rows(course, edge)
    if name not in chart_names():
        return None
    rows = chart_rows(teller, name)
    return chart_svg(name, rows, "print", teller.unit_set), chart_table(name, rows, teller.unit_set)


def courses(machine: Machine, events: Sequence[str] = WATCHED) -> list[OverTime]:
    """What happens over time with each of the events; refused without circuits."""
    return [machine.over_time([event]) for event in events]


def circuit_rows(result: Result, edge: Edge) -> list[dict[str, Any]]:
    """Every stream of the circuits, as it is told."""
    found = (b for b in circuits.told(result, edge) if isinstance(b, Table) and b.key == "circuit-streams")
    return [dict(zip(one.heads, texts, strict=True)) for one in found for texts in one.texts]


def course_rows(course: OverTime, edge: Edge) -> list[dict[str, Any]]:
    """The lines that are drawn, in the units shown: a row every ten seconds."""
    times = np.arange(0.0, float(course.time[-1]) + 1e-9, EVERY)
    columns: dict[str, list[float]] = {phrase("watch.minutes_axis"): [float(t) / 60.0 for t in times]}
    for name in moving(course):
        word = course.WORDS[name]
        unit, said = edge.unit(word), phrase(f"watch.lines.{name}")
        line = np.interp(times, course.time, course.lines[name])
        columns[f"{said}, {unit}" if unit else said] = [edge.number(word, float(v)) for v in line]
    return [{head: float(f"{values[k]:.6g}") for head, values in columns.items()} for k in range(len(times))]
