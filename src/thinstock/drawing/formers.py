"""Formers drawn alone, all to one scale, and their place on one field of speed and consistency.

Knows no physics: flows come from a run, curves, eras and indicators from a ladder.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from thinstock.drawing import svg
from thinstock.drawing.elevation import ROOT
from thinstock.drawing.labels import Box, Room
from thinstock.drawing.layout import lay_out
from thinstock.drawing.panel import Known, Panel, plain_part
from thinstock.machine.result import Result
from thinstock.words.phrase import phrase

SPEEDS, CONSISTENCIES = (20 / 60, 2400 / 60), (4e-5, 1.2e-2)
"""Ends of the field: m/s, kg/kg."""
WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 880.0, 470.0, 60.0, 16.0, 30.0, 44.0
SIZE = 14.0
Number = Callable[[str, float], float]
"""A word and its base value to the number in the unit at hand."""


def picture(result: Result, *, scale: float, per_flow: float, prefix: str, name: str) -> str:
    """The former of a run alone, so many px a metre, its water so many px wide per kg/(s m); styles are the page's."""
    whole = lay_out(result)
    wanted = {"headbox", *whole.former}
    plan = replace(
        whole, outlines=[o for o in whole.outlines if o.part in wanted], runs=whole.runs[:2], hazards=[], remarks=[],
        leaving=[band for band in whole.leaving if band.stage == "forming"],
    )  # fmt: skip
    plan.water = {(band.stage, band.name): ("", "") for band in plan.leaving}
    known = Known(plan)
    paths = [shape.path for outline in plan.outlines for shape in outline.shapes]
    paths += [loop.path for loop in plan.loops if loop.role == "wire"] + [band.path for band in plan.leaving]
    left, low, right, high = zip(*(known.bounds(path) for path in paths), strict=True)
    side = 0.5 * per_flow * max((band.flow for band in plan.leaving), default=0.0) + 3.0
    wide, tall = (max(right) - min(left)) * scale + 2 * side, (max(high) - min(low)) * scale + 14.0
    view = svg.View(scale, side - scale * min(left), 5.0 + scale * max(high))
    box = Box(0.0, 0.0, wide, tall)
    widths = tuple(max(per_flow * band.flow, 0.6) for band in plan.leaving)
    panel = Panel(plan, view, box, box, min(0.22 * scale + 4.0, 14.0), widths, known, whole=False)
    return svg.element(
        "svg", svg.element("title", svg.words(name)), panel.markup(plain_part, ("", "")),
        viewBox=f"0 0 {svg.short(wide)} {svg.short(tall)}", width=wide, height=tall, class_=f"{ROOT} {prefix}",
        role="img", aria_label=name,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Mark:
    """One former on the field."""

    key: str
    number: int
    name: str
    fast: tuple[tuple[float, float], ...]
    """Speed and lowest consistency, with the mat as in the tester,"""
    slow: tuple[tuple[float, float], ...]
    """and with the mat that resists most."""
    era: tuple[float, float, float, float] | None
    """Speeds and consistencies between which practice ran it."""
    usual: tuple[float, float] | None
    indicator: tuple[float, str] | None
    """Speed at the yardstick of what comes first, and its words."""


def field(marks: Iterable[Mark], here: tuple[float, float], number: Number, units: tuple[str, str]) -> str:
    """All formers on one field of speed and consistency; a page lights one by its class."""
    room = Room(Box(LEFT, TOP, WIDTH - RIGHT, HEIGHT - BOTTOM))
    parts = [_grid(number, units)]
    parts += [_mark(one, room) for one in marks]
    x, y = _at(*here)
    dot = svg.element("circle", cx=x, cy=y, r=4.5, class_="here")
    return svg.element(
        "svg", svg.patterns("ts-"), *parts, dot, viewBox=f"0 0 {WIDTH:g} {HEIGHT:g}", class_=f"{ROOT} field",
        role="img", aria_label=phrase("drawing.field.title"),
    )  # fmt: skip


def _at(speed: float, consistency: float) -> tuple[float, float]:
    def share(value: float, ends: tuple[float, float]) -> float:
        held = min(max(value, ends[0]), ends[1])
        return math.log(held / ends[0]) / math.log(ends[1] / ends[0])

    x = LEFT + share(speed, SPEEDS) * (WIDTH - LEFT - RIGHT)
    return x, HEIGHT - BOTTOM - share(consistency, CONSISTENCIES) * (HEIGHT - TOP - BOTTOM)


def _grid(number: Number, units: tuple[str, str]) -> str:
    """Both axes with round numbers in the unit at hand."""
    parts = []
    for value, text in _round("speed", SPEEDS, number):
        x = _at(value, CONSISTENCIES[0])[0]
        parts.append(svg.line([(x, TOP), (x, HEIGHT - BOTTOM)], "thin rule"))
        parts.append(svg.text(x, HEIGHT - BOTTOM + 1.3 * SIZE, text, "text", SIZE, "middle"))
    for value, text in _round("consistency", CONSISTENCIES, number):
        y = _at(SPEEDS[0], value)[1]
        parts.append(svg.line([(LEFT, y), (WIDTH - RIGHT, y)], "thin rule"))
        parts.append(svg.text(LEFT - 7, y + 0.3 * SIZE, text, "text", SIZE, "end"))
    axes = phrase("drawing.field.speed", unit=units[0]), phrase("drawing.field.consistency", unit=units[1])
    parts.append(svg.text(WIDTH - RIGHT, HEIGHT - 8, axes[0], "text", SIZE, "end"))
    parts.append(svg.text(8, 16, axes[1], "text", SIZE))
    return "".join(parts)


def _round(word: str, ends: tuple[float, float], number: Number) -> list[tuple[float, str]]:
    """Round numbers of a word's unit inside an axis, with their base value."""
    factor = number(word, 1.0)
    found = []
    for power in range(-4, 5):
        for first in (1, 2, 5):
            shown = first * 10.0**power
            if ends[0] <= shown / factor <= ends[1]:
                found.append((shown / factor, f"{shown:g}"))
    return found


def _mark(one: Mark, room: Room) -> str:
    """One former: where practice ran it, what it drains at both ends of the mat, what comes first."""
    parts = []
    fast, slow = ([_at(*place) for place in line] for line in (one.fast, one.slow))
    if len(fast) > 1 and len(slow) > 1:
        parts.append(svg.polygon([*fast, *reversed(slow)], "wrap"))
    if len(slow) > 1:
        parts.append(svg.line(slow, "formed slow"))
    if len(fast) > 1:
        parts.append(svg.line(fast, "curve"))
    if one.era is not None:
        (x, y), (u, v) = _at(one.era[0], one.era[3]), _at(one.era[1], one.era[2])
        parts.append(svg.polygon([(x, y), (u, y), (u, v), (x, v)], "frame"))
    if one.usual is not None:
        x, y = _at(*one.usual)
        parts.append(svg.element("circle", cx=x, cy=y, r=3.5, class_="usual"))
    if one.indicator is not None and one.indicator[0] < SPEEDS[1]:
        x = _at(one.indicator[0], 1e-3)[0]
        y = HEIGHT - BOTTOM - 10.0
        parts.append(svg.line([(x - 7, y - 6), (x - 7, y), (x + 7, y), (x + 7, y - 6)], "rule"))
    ends = [line[-1] for line in (fast, slow) if line]
    if ends:
        placed = room.place((str(one.number),), ends, SIZE, strong=True)
        if placed is not None:
            parts.append(svg.text(placed.x, placed.y, str(one.number), "text strong", SIZE, placed.side))
    label = svg.element("title", svg.words(one.name))
    return svg.element("g", label, *parts, class_="rung", data_key=one.key)
