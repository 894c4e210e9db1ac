"""The scheme of the water circuits: nodes as boxes, streams as arrows, the flow beside each.

A scheme of connections, not of places. Stock runs along the top, white water back along the middle, what is cleaned and
given away along the bottom.
"""

from __future__ import annotations

import itertools
import math
from typing import NamedTuple

import numpy as np

from thinstock.drawing import svg
from thinstock.drawing.elevation import ROOT
from thinstock.machine.circuit_closed import Closed, streams_told
from thinstock.machine.result import Result
from thinstock.words.figures import figure
from thinstock.words.phrase import phrase

WIDTH, HEIGHT = 1160.0, 560.0
BOX = (112.0, 40.0)
PLACES: dict[str, tuple[float, float]] = {
    "chest": (120, 90), "mixing": (310, 90), "screens": (490, 90), "forming": (670, 90), "press": (850, 90),
    "dryer": (1030, 90), "silo": (490, 250), "felt": (850, 250), "pit": (670, 380), "broke": (120, 380),
    "saveall": (490, 490), "cloudy": (310, 400), "clear": (850, 490),
}  # fmt: skip
"""Middles of the boxes, px."""
ROUND: dict[tuple[str, str], tuple[tuple[float, float], ...]] = {
    ("screens", "chest"): ((476.0, 70.0), (476.0, 34.0), (134.0, 34.0), (134.0, 70.0)),
    ("dryer", "broke"): ((1046.0, 110.0), (1110.0, 190.0), (1110.0, 540.0), (106.0, 540.0), (106.0, 400.0)),
    ("clear", "silo"): ((806.0, 470.0), (772.0, 330.0), (546.0, 262.0)),
    ("silo", "pit"): ((500.0, 270.0), (500.0, 372.0), (614.0, 372.0)),
}
"""Ways that would lie behind a box otherwise, px."""
LEAST, MOST = 1.0, 9.0
"""Widths of arrows, px."""
SIZE = 14.0


class Line(NamedTuple):
    """Streams between the same two places drawn as one arrow."""

    names: tuple[str, ...]
    source: str
    sink: str
    flow: float


def scheme(result: Result, *, theme: str = "print") -> str:
    """The scheme as one SVG; empty without circuits."""
    if result.machine.circuit is None or "circuit" not in result.parts:
        return ""
    done = result.parts.circuit
    lines = _lines(done)
    shown = {line.source for line in lines} | {line.sink for line in lines}
    boxes = [_box(name, done) for name in PLACES if name in shown]
    arrows = [_arrow(line) for line in lines]
    style = [] if theme == "page" else [svg.style_sheet(theme, "ts-", ROOT)]
    said = phrase("circuits_told.drawing_words", streams=_said(lines))
    return svg.element(
        "svg", *style, svg.element("title", svg.words(phrase("circuits_told.drawing"))),
        svg.element("desc", svg.words(said)), *arrows, *boxes, xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH:.0f} {HEIGHT:.0f}", class_=ROOT, role="img", width=WIDTH, height=HEIGHT,
        aria_label=phrase("circuits_told.drawing"),
    )  # fmt: skip


def _lines(done: Closed) -> list[Line]:
    found: dict[tuple[str, str], Line] = {}
    for stream in streams_told(done):
        flow = float(np.max(stream.flow))
        if flow <= 0 or stream.source == stream.sink:
            continue
        key = stream.source, stream.sink
        old = found.get(key)
        found[key] = Line((*(old.names if old else ()), stream.name), *key, flow + (old.flow if old else 0.0))
    return list(found.values())


def _said(lines: list[Line]) -> str:
    return "; ".join(f"{line.source} → {line.sink} {figure(line.flow, 3)}" for line in lines)


def _box(name: str, done: Closed) -> str:
    x, y = PLACES[name]
    wide, high = BOX
    corners = [(x - wide / 2, y - high / 2), (x + wide / 2, y - high / 2), (x + wide / 2, y + high / 2),
               (x - wide / 2, y + high / 2)]  # fmt: skip
    warm = done.warmth.held.get(name)
    below = "" if warm is None or name == "dryer" else f"{float(warm) - 273.15:.0f} °C"
    title = phrase(f"circuits_told.node.{name}")
    return svg.element(
        "g", svg.polygon(corners, "stock box"),
        svg.text(x, y - 2 if below else y + 5, title, "text strong", SIZE, "middle"),
        *([svg.text(x, y + 14, below, "text faint", 12.5, "middle")] if below else []),
    )  # fmt: skip


def _ends(line: Line) -> tuple[tuple[float, float], tuple[float, float]]:
    """Where an arrow leaves and meets its boxes; from and to outside it is short."""
    if line.source == "outside":
        x, y = PLACES[line.sink]
        return (x - BOX[0] / 2 - 46, y - BOX[1] / 2 - 30), (x - BOX[0] / 2 + 14, y - BOX[1] / 2)
    if line.sink == "outside":
        x, y = PLACES[line.source]
        return (x + BOX[0] / 2 - 14, y + BOX[1] / 2), (x + BOX[0] / 2 + 34, y + BOX[1] / 2 + 32)
    a, b = PLACES[line.source], PLACES[line.sink]
    return _edge(a, b, 7.0), _edge(b, a, -7.0)


def _edge(at: tuple[float, float], to: tuple[float, float], aside: float) -> tuple[float, float]:
    """The point of a box's edge towards another, a little to the side so that two ways lie apart."""
    dx, dy = to[0] - at[0], to[1] - at[1]
    size = math.hypot(dx, dy)
    x, y = at[0] - aside * dy / size, at[1] + aside * dx / size
    reach = min(
        (math.copysign(BOX[0] / 2, dx) - (x - at[0])) / dx if dx else math.inf,
        (math.copysign(BOX[1] / 2, dy) - (y - at[1])) / dy if dy else math.inf,
    )
    return x + dx * reach, y + dy * reach


def _way(line: Line) -> list[tuple[float, float]]:
    """The points of an arrow from box to box."""
    return list(ROUND.get((line.source, line.sink)) or _ends(line))


def _arrow(line: Line) -> str:
    way = _way(line)
    (x1, y1), (x2, y2) = way[-2:]
    size = math.hypot(x2 - x1, y2 - y1)
    ux, uy = (x2 - x1) / size, (y2 - y1) / size
    wide = min(MOST, max(LEAST, 0.55 * math.sqrt(line.flow)))
    head = 5.0 + wide
    bx, by = x2 - head * ux, y2 - head * uy
    half = 0.5 * head
    tip = [(x2, y2), (bx - half * uy, by + half * ux), (bx + half * uy, by - half * ux)]
    tx, ty = _label_at(line, way, wide)
    return svg.element(
        "g", svg.line([*way[:-1], (bx, by)], "stock", stroke_width=wide),
        svg.polygon(tip, "dot"), svg.text(tx, ty, figure(line.flow, 3), "text", 12.5, "middle"),
        svg.element("title", svg.words(", ".join(name.replace("_", " ") for name in line.names))),
    )  # fmt: skip


def _label_at(line: Line, way: list[tuple[float, float]], wide: float) -> tuple[float, float]:
    """Where the flow stands: at the outer end, or beside the longest stretch."""
    if line.source == "outside":
        return max(way[0][0] - 4, 24.0), way[0][1] - 4
    if line.sink == "outside":
        return way[1][0] + 20, way[1][1] + 5
    (x1, y1), (x2, y2) = max(
        itertools.pairwise(way), key=lambda part: math.hypot(part[1][0] - part[0][0], part[1][1] - part[0][1])
    )
    size = math.hypot(x2 - x1, y2 - y1)
    ux, uy = (x2 - x1) / size, (y2 - y1) / size
    middle = 0.5 if len(way) > 2 else 0.42
    aside = 11 + wide
    return x1 + middle * (x2 - x1) - aside * uy, y1 + middle * (y2 - y1) + aside * ux + 4
