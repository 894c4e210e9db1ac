"""What the elements of a table do to the free stock above them: its depth and the throw behind each, drawn much higher.

Depth and throws are those of the run: a throw is as high as the indicator says where half of the sheet is laid down,
its length what the wire runs in the meantime. They are drawn only where stock is still free.
"""

from __future__ import annotations

import math

import numpy as np

from thinstock.drawing import svg
from thinstock.drawing.panel import Panel
from thinstock.lesson.subject import Subject
from thinstock.words.num import Array

TIMES = 40.0
"""How much higher than they are heights above the wire are drawn."""
KICKS = ("kick_rolls", "kick_foils")
PARTS = ("table rolls", "foils")
GRAVITY = 9.80665
DONE = 1.3
"""Stock is no longer free below so many times its moisture at the end of forming."""


def kicks(subject: Subject, panel: Panel) -> str:
    """The layer and the throws of a table, empty where a former has none."""
    kick = next((subject.indicators[name] for name in KICKS if name in subject.indicators), None)
    outline = next((o for o in panel.plan.outlines if o.part in PARTS), None)
    if kick is None or outline is None or len(panel.plan.runs) < 2:
        return ""
    layer, free = _layer(subject, panel)
    lines = [layer]
    half = 0.5 * float(subject.result["stock_depth"])
    rise = math.sqrt(2.0 * GRAVITY * half * kick.value)
    high, long = kick.value * half, float(subject.result.wet.wire_speed) * 2.0 * rise / GRAVITY
    parts = [svg.element("path", d=_data(layer, closed=True), class_="st-layer")]
    for shape in outline.shapes:
        box = panel.known.bounds(shape.path)
        x, y = (box.left + box.right) / 2, _top(panel, (box.left + box.right) / 2)
        if x > free or math.isnan(y):
            continue
        share = np.linspace(0.0, 1.0, 25)
        points = np.column_stack((x + long * share, y + TIMES * high * 4.0 * share * (1.0 - share)))
        lines.append(panel.px(points))
        parts.append(svg.element("path", d=_data(lines[-1]), class_="st-throw"))
    panel.room.lines([one for one in lines if len(one) > 1])
    return svg.element("g", *parts, aria_hidden="true")


def _layer(subject: Subject, panel: Panel) -> tuple[Array, float]:
    """The outline of the stock along the wire, px, and where along the machine it is no longer free, m."""
    run, deep = panel.plan.runs[1], float(subject.result["stock_depth"])
    first, last = run.moisture_ratios[0], run.moisture_ratios[-1]
    low, high, free = [], [], -math.inf
    for place, ratio in zip(run.places, run.moisture_ratios, strict=True):
        point = run.path.at(min(place, run.path.length)).point
        low.append((point[0], point[1]))
        high.append((point[0], point[1] + TIMES * deep * ratio / first))
        if ratio <= DONE * last:
            break
        free = max(free, point[0])
    return panel.px(np.array([*high, *reversed(low)])), free


def _top(panel: Panel, x: float) -> float:
    """Height of the wire above a place, m."""
    points = panel.known.points(panel.plan.runs[1].path)
    if not points[:, 0].min() <= x <= points[:, 0].max():
        return math.nan
    return float(points[np.argmin(np.abs(points[:, 0] - x)), 1])


def _data(points: Array, *, closed: bool = False) -> str:
    return "M" + "L".join(f"{svg.short(float(x))} {svg.short(float(y))}" for x, y in points) + ("Z" if closed else "")
