"""The picture of a machine over time: small charts one below the other, minutes along the bottom."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from thinstock.drawing import svg
from thinstock.drawing.elevation import ROOT
from thinstock.machine.over_time import OverTime
from thinstock.words.figures import Edge, figure
from thinstock.words.num import Array
from thinstock.words.phrase import phrase

SHOWN = ("grammage", "moisture", "white_water", "web_fines", "temperature", "pit_level", "broke_level", "clear_level")
CHART = (440.0, 104.0)
GAP = (150.0, 58.0)
LEFT, TOP = 96.0, 30.0
POINTS = 360
STILL = 1e-3
"""Change, by the value before, below which a line is left out."""
ALWAYS = ("grammage", "moisture")


def picture(found: OverTime, edge: Edge, *, theme: str = "print") -> str:
    """The lines as one SVG, two charts side by side."""
    names = moving(found)
    rows = (len(names) + 1) // 2
    wide, high = LEFT + 2 * CHART[0] + GAP[0] + 30.0, TOP + rows * (CHART[1] + GAP[1])
    charts = [
        chart(
            found, name, edge, Room(LEFT + (k % 2) * (CHART[0] + GAP[0]), TOP + (k // 2) * (CHART[1] + GAP[1]), *CHART)
        )
        for k, name in enumerate(names)
    ]
    style = [] if theme == "page" else [svg.style_sheet(theme, "ts-", ROOT)]
    title = phrase("watch.picture")
    return svg.element(
        "svg", *style, svg.element("title", svg.words(title)), *charts, xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {wide:.0f} {high:.0f}", class_=ROOT, role="img", width=wide, height=high, aria_label=title,
    )  # fmt: skip


def moving(found: OverTime) -> list[str]:
    """Lines worth a chart: grammage and moisture, and what else moves."""
    return [name for name in SHOWN if name in found.lines and _worth(found, name)]


def _worth(found: OverTime, name: str) -> bool:
    line = found.lines[name]
    return name in ALWAYS or float(np.max(np.abs(line - found.before[name]))) > STILL * abs(found.before[name])


class Room(NamedTuple):
    """Where a chart stands, px."""

    left: float
    top: float
    width: float
    height: float
    size: float = 12.0
    """Of its words."""


def chart(found: OverTime, name: str, edge: Edge, room: Room) -> str:
    """One line over time."""
    word, size = found.WORDS[name], room.size
    picked = np.unique(np.linspace(0, len(found.time) - 1, POINTS).astype(int))
    time = found.time[picked] / 60.0
    line: Array = np.array([edge.number(word, v) for v in found.lines[name][picked]])
    before = edge.number(word, found.before[name])
    low, high = min(float(line.min()), before), max(float(line.max()), before)
    spread = max(high - low, 2e-3 * max(abs(high), 1e-12))
    ends = low, low + spread
    low, high = low - 0.08 * spread, low + 1.08 * spread
    left, top, width, height = room.left, room.top, room.width, room.height

    def at(minute: float, number: float) -> tuple[float, float]:
        return left + width * minute / float(time[-1]), top + height * (1 - (number - low) / (high - low))

    bottom = top + height
    frame = [(left, top), (left + width, top), (left + width, bottom), (left, bottom)]
    y = at(0.0, before)[1]
    ticks = [svg.text(at(m, low)[0], bottom + 1.25 * size, f"{m:g}", "text faint", size, "middle")
             for m in np.linspace(0, float(time[-1]), 4)[:-1]]  # fmt: skip
    last = f"{float(time[-1]):g} {phrase('watch.minutes_axis')}"
    ticks.append(svg.text(left + width, bottom + 1.25 * size, last, "text faint", size, "end"))
    values = [svg.text(left - 6, at(0, v)[1] + 0.35 * size, figure(v, 3), "text faint", size, "end") for v in ends]
    unit = edge.unit(word)
    title = phrase(f"watch.lines.{name}") + (f", {unit}" if unit else "")
    return svg.element(
        "g", svg.polygon(frame, "frame"), svg.line([(left, y), (left + width, y)], "thin rule", stroke_dasharray="4 3"),
        svg.line([at(float(t), float(v)) for t, v in zip(time, line, strict=True)], "curve"),
        svg.text(left, top - 0.6 * size, title, "text", size), *ticks, *values,
    )  # fmt: skip
