"""Formers drawn alone, all to one scale. Knows no physics: flows come from a run."""

from __future__ import annotations

from dataclasses import replace

from thinstock.drawing import svg
from thinstock.drawing.elevation import ROOT
from thinstock.drawing.labels import Box
from thinstock.drawing.layout import lay_out
from thinstock.drawing.panel import Known, Panel, plain_part
from thinstock.drawing.plan import Loop
from thinstock.machine.result import Result


def picture(result: Result, *, scale: float, per_flow: float, prefix: str, name: str, theme: str = "") -> str:
    """The former of a run alone, so many px a metre, its water so many px wide per kg/(s m).

    With a theme it brings its styles along, else they are the page's.
    """
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
    held = Box(min(left), min(low), max(right), max(high))
    plan.loops = [_inside(loop, held) for loop in plan.loops]
    side = 0.5 * per_flow * max((band.flow for band in plan.leaving), default=0.0) + 3.0
    wide, tall = (held.right - held.left) * scale + 2 * side, (held.bottom - held.top) * scale + 14.0
    view = svg.View(scale, side - scale * held.left, 5.0 + scale * held.bottom)
    box = Box(0.0, 0.0, wide, tall)
    widths = tuple(max(per_flow * band.flow, 0.6) for band in plan.leaving)
    panel = Panel(plan, view, box, box, min(0.22 * scale + 4.0, 14.0), widths, known, whole=False)
    style = svg.style_sheet(theme, "ts-", ROOT) + svg.patterns("ts-") + svg.ground(wide, tall) if theme else ""
    return svg.element(
        "svg", style, svg.element("title", svg.words(name)), panel.markup(plain_part, ("", "")),
        viewBox=f"0 0 {svg.short(wide)} {svg.short(tall)}", width=wide, height=tall, class_=f"{ROOT} {prefix}",
        role="img", aria_label=name, xmlns="http://www.w3.org/2000/svg",
    )  # fmt: skip


def _inside(loop: Loop, held: Box) -> Loop:
    """A fabric with the rolls that are wholly in the picture: a felt goes on beyond it."""
    rolls = tuple(
        (c, turn) for c, turn in loop.rolls
        if c.centre.x - c.radius > held.left and c.centre.x + c.radius < held.right
        and c.centre.y - c.radius > held.top and c.centre.y + c.radius < held.bottom
    )  # fmt: skip
    return loop if loop.role == "wire" else replace(loop, rolls=rolls)
