"""Pictures for page and paper: the drawing, charts by name, simulated sheets; with the words that stand for them."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from typing import Any

from thinstock import drawing
from thinstock.drawing import typeface
from thinstock.drawing.svg import FONT
from thinstock.tell.blocks import Picture
from thinstock.tell.teller import Teller

PAPER_FONT = "Libertinus Serif"
WIDTH = 1000
"""px for which the drawing is made; it is set across the whole column."""
CHART_WIDTHS = {"lowest_consistency": 190, "flow_speed": 430, "limits": 300}
"""px of the plotting area where the chart's own is not what a page wants."""
CONSISTENCIES = (0.5, 1.0, 3.0)
"""Multiples of the machine's consistency that are shown."""
SIDE, PIXEL, ACROSS = 30e-3, 50e-6, 420
ORIENTATION = 0.2


def elevation(teller: Teller) -> Picture:
    """The side view of the machine."""
    made = drawing.elevation(teller.result, width_px=WIDTH, theme="print", inset="row")
    hint = re.search(r"<text[^>]*class=\"ts-hint[^>]*>.*?</text>", made)
    if hint is not None:  # paper has no pointer: what asks for one, and its room, are cut off
        made = made.replace(hint[0], "")
        top = re.search(r"\by=\"([\d.]+)\"", hint[0])
        size = re.search(r"viewBox=\"0 0 ([\d.]+) ([\d.]+)\" width=\"[\d.]+\" height=\"[\d.]+\"", made)
        if top is not None and size is not None:
            height = float(top[1]) - 12
            made = made.replace(size[0], f'viewBox="0 0 {size[1]} {height:g}" width="{size[1]}" height="{height:g}"', 1)
    return svg(made)


def chart_rows(teller: Teller, name: str) -> list[dict[str, Any]]:
    """The rows of a chart, from the machine's run, its limits or its ladder."""
    source: Any = {"result": teller.result, "limits": None, "ladder": None}[drawing.chart_needs(name)]
    if source is None:
        source = teller.limits if drawing.chart_needs(name) == "limits" else teller.ladder
    rows: list[dict[str, Any]] = drawing.chart_data(name, source, teller.unit_set)
    if name == "limits":  # what has no speed stands in the table below
        rows = [row for row in rows if row["kind"] not in ("none", "not known")] or rows
    return rows


def chart(teller: Teller, name: str) -> tuple[Picture, str]:
    """A chart and the words that stand for it."""
    rows = chart_rows(teller, name)
    made = drawing.chart_svg(name, rows, "print", teller.unit_set, width=CHART_WIDTHS.get(name), title=False)
    return svg(made), drawing.chart_alt(name, rows, teller.unit_set)


def svg(text: str) -> Picture:
    """A drawing in the face of the paper."""
    for written in (FONT, FONT.replace("'", "&#39;"), FONT.replace("'", "&apos;")):
        text = text.replace(written, PAPER_FONT)
    if typeface.folder() is None:
        text = text.replace(typeface.FONT, PAPER_FONT)
    text = re.sub(r"@font-face\{[^}]*\}", "", text)  # the paper has the fonts themselves
    return Picture(content=text.encode("utf-8"), media="image/svg+xml")


@dataclass(frozen=True, kw_only=True)
class SheetPictures:
    """One simulated sheet and what theory says of it."""

    consistency: float
    own: bool
    size: float
    variation: float
    formation: Any
    clouds: Picture
    holes: Picture


def sheets(teller: Teller) -> list[SheetPictures]:
    """The machine's sheet at three consistencies, to one scale and one brightness."""
    from thinstock.formula.label import worksheet
    from thinstock.machine.evenness import ends_of, furnish_of
    from thinstock.sheet import formation, look_through, picture, simulate
    from thinstock.sheet.pictures import gain_of

    result = teller.result
    furnish = furnish_of(teller.machine)
    base = ends_of(teller.machine.stock)["base"]
    variation, light = float(base.suspension_variation), base.light._asdict()
    wet = result.wet
    fields: dict[str, Any] = {"retention": float(wet.retention), "density": float(wet.water.density)}
    wanted = teller.machine.grade.formation_target
    zoned = fields | ({} if wanted is None else {"zone": wanted.zone, "hole_diameter": wanted.hole_diameter})
    found: list[SheetPictures] = []
    gain = None
    own = float(result["consistency"])
    for factor in CONSISTENCIES:
        consistency = min(factor * own, 0.05)
        with worksheet(False):
            theory = formation(furnish, wet.grammage_wire, consistency, variation, **zoned, **light)
        made = simulate(
            furnish, float(wet.grammage_wire), consistency, variation, SIDE, PIXEL, ORIENTATION, 1, **fields, **light
        )
        if gain is None:
            gain = gain_of(look_through(made, "diffuse", block=1), "diffuse")
        found.append(
            SheetPictures(
                consistency=consistency, own=factor == 1.0, size=SIDE, variation=variation, formation=theory,
                clouds=_png(picture(made, "diffuse", across=ACROSS, gain=gain)),
                holes=_png(picture(made, "direct", across=ACROSS)),
            )
        )  # fmt: skip
    return found


def _png(image: Any) -> Picture:
    out = io.BytesIO()
    image.save(out, format="PNG", compress_level=1)
    return Picture(content=out.getvalue(), media="image/png")
