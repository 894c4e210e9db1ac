"""A whole scene as one picture: title, drawing, slider, numbers and what is said so far."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from thinstock.drawing import svg, typeface
from thinstock.drawing.elevation import ROOT
from thinstock.lesson.layout import (
    ASIDE,
    ASKED,
    FIGURE,
    FOOT,
    GAP,
    HEAD,
    HEIGHT,
    LARGE,
    LARGE_LINE,
    LINE,
    MARGIN,
    SAID,
    TOP,
)
from thinstock.lesson.shows.canvas import PREFIX, rules

SERIF = "Source Serif Pro, Georgia, serif"
_SVG = re.compile(r"^<svg ([^>]*)>(.*)</svg>$", re.DOTALL)
_FACES = re.compile(r"@font-face\{[^}]*\}")
_STYLE = re.compile(r"<style>.*?</style>", re.DOTALL)


def frame(record: Mapping[str, Any], *, said: int, foot: str = "", theme: str = "paper", question: str = "") -> str:
    """The scene of a record as SVG, its first lines said."""
    shape, parts = record["layout"], list[str]()
    width, y = float(shape["width"]), TOP
    room = width - 2 * MARGIN
    parts.append(_text(MARGIN, y + 0.78 * shape["title"], record["title"], HEAD, strong=True))
    y += shape["title"] + GAP
    asked = question or record["question"]
    if asked and shape["question"]:
        for i, line in enumerate(typeface.wrapped(asked, ASKED, room)):
            parts.append(_text(MARGIN, y + (0.75 + i) * 34.0, line, ASKED))
        y += shape["question"] + GAP
    if record["choices"] and shape["choices"]:
        parts.append(svg.text(MARGIN, y + 22.0, "     ".join(f"○ {c}" for c in record["choices"]), "text", 20.0))
        y += shape["choices"] + GAP
    if record["show"] == "question":
        for i, line in enumerate(typeface.wrapped(asked, 40.0, room)):
            parts.append(_text(MARGIN, y + 46.0 * (i + 1), line, 40.0, strong=True))
    elif record["drawing"]:
        found = _SVG.match(_STYLE.sub("", record["drawing"]))
        assert found is not None
        inner = svg.element(
            "svg", found[2], x=MARGIN, y=y, width=room, height=float(shape["drawing"]), class_="st-drawing"
        )
        parts.append(inner.replace("<svg ", f'<svg viewBox="0 0 {room:g} {shape["drawing"]:g}" ', 1))
    if record["show"] != "words":
        y += shape["drawing"] + GAP
    if record["slider"] is not None:
        parts.append(_slider(record["slider"], y, room))
        y += shape["slider"] + GAP
    if record["numbers"]:
        parts += [
            _number(n, MARGIN + i * (room + 22.0) / 3, y, (room - 44.0) / 3) for i, n in enumerate(record["numbers"])
        ]
        y += shape["numbers"] + GAP
    size, high = (LARGE, LARGE_LINE) if record["show"] == "words" else (SAID, LINE)
    for line in record["lines"][:said]:
        for row in typeface.wrapped(line, size, room):
            parts.append(_text(MARGIN, y + 0.7 * high, row, size))
            y += high
    marked = typeface.wrapped(" ".join(words for _, words in record["remarks"]), ASIDE, room)
    base = HEIGHT - FOOT - GAP - 23.0 * len(marked)
    parts += [_text(MARGIN, base + 23.0 * (i + 0.7), row, ASIDE, role="text faint") for i, row in enumerate(marked)]
    parts.append(svg.text(MARGIN, HEIGHT - 12.0, foot, "text faint", 16.0))
    parts.append(svg.text(width - MARGIN, HEIGHT - 12.0, record["caption"], "text faint", 16.0, "end"))
    sheet = _FACES.sub("", svg.style_sheet(theme, PREFIX, ROOT)).removesuffix("</style>") + rules(theme) + "</style>"
    ground = svg.element("rect", width=width, height=HEIGHT, class_=svg.klass("paper"))
    return svg.element(
        "svg", sheet, svg.patterns(PREFIX), ground, *parts, xmlns="http://www.w3.org/2000/svg", class_=ROOT,
        viewBox=f"0 0 {svg.short(width)} {svg.short(HEIGHT)}", width=width, height=HEIGHT,
    )  # fmt: skip


def _text(x: float, y: float, said: str, size: float, *, strong: bool = False, role: str = "text") -> str:
    """Words in the typeface of running text."""
    return svg.text(x, y, said, role, size, style=f"font-family:{SERIF}" + (";font-weight:600" if strong else ""))


def _number(number: Mapping[str, Any], x: float, y: float, wide: float) -> str:
    size = 29.0 if len(number["value"]) > 11 else FIGURE
    value = _text(x, y + 40.0, number["value"], size, strong=True)
    along = typeface.width_of(number["value"], size, strong=True)
    return "".join((
        svg.line([(x, y), (x + wide, y)], "rule"), value, _text(x + along + 8.0, y + 40.0, number["unit"], 20.0),
        svg.text(x, y + 63.0, number["label"], "text", 17.5),
        svg.text(x, y + 84.0, number["aside"], "text faint", 17.5),
    ))  # fmt: skip


def _slider(slider: Mapping[str, Any], y: float, room: float) -> str:
    left, right = MARGIN + 208.0, MARGIN + room - 188.0
    axis = y + 40.0

    def at(share: float) -> float:
        return left + share * (right - left)

    parts = [
        svg.text(MARGIN, axis + 7.0, slider["label"], "text", 19.0),
        _text(MARGIN + room - 170.0, axis + 10.0, slider["said"], 32.0, strong=True),
        svg.line([(left, axis), (right, axis)], "formed"),
    ]
    parts += [
        svg.text(at(share), y + 67.0, text, "text faint", 16.0, "middle") for share, text in _apart(slider["ticks"], at)
    ]
    parts += [svg.line([(at(share), axis), (at(share), axis + 8.0)], "rule") for share, _ in slider["ticks"]]
    for share, text in slider["brackets"]:
        x = at(share)
        parts.append(svg.line([(x - 10, y + 33), (x - 10, y + 25), (x + 10, y + 25), (x + 10, y + 33)], "rule"))
        parts.append(svg.text(x, y + 17.0, text, "text faint", 16.0, "middle"))
    x = at(slider["at"])
    tab = [(x - 7, axis - 20), (x + 7, axis - 20), (x + 7, axis - 7), (x, axis), (x - 7, axis - 7)]
    return "".join((*parts, svg.polygon(tab, "black")))


def _apart(ticks: list[list[Any]], at: Any) -> list[tuple[float, str]]:
    """Ticks whose words do not meet."""
    kept: list[tuple[float, str]] = []
    for share, text in ticks:
        if not kept or abs(at(share) - at(kept[-1][0])) > 46.0:
            kept.append((share, text))
    return kept
