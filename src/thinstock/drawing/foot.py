"""The foot of a drawing: scale, what a band's width means, the sheet's way, warning signs, what is not to scale."""

from __future__ import annotations

from dataclasses import dataclass

from thinstock.drawing import svg, typeface
from thinstock.drawing.lettering import Sheet
from thinstock.drawing.panel import sign
from thinstock.machine.outlines.said import in_unit, plain
from thinstock.words.phrase import phrase


@dataclass(frozen=True)
class Scale:
    """The scale of the machine and of its water."""

    pixels: float
    """px per metre."""
    sample: float
    """Width of a sample band, px,"""
    said: str
    """and what it stands for."""


@dataclass(frozen=True)
class _Item:
    """One sign of the key with its words; its markup stands on a baseline at 0, 0."""

    markup: str
    width: float
    lines: tuple[str, ...]


def bar_metres(scale: float, room: float) -> float:
    """Length of the scale bar: the longest of 1, 2, 5 m that has room."""
    return max((m for m in (1.0, 2.0, 5.0, 10.0) if m * scale <= room), default=1.0)


def foot(scale: Scale, sheet: Sheet) -> tuple[str, float]:
    """The foot as markup from y = 0 on, and its height."""
    size, parts = sheet.size, []
    x, y, deep = 12.0, 1.2 * size, 0
    for item in _items(scale, sheet):
        wide = item.width + 7 + max(typeface.width_of(line, size) for line in item.lines)
        if x > 12.0 and x + wide > sheet.width - 8:
            x, y, deep = 12.0, y + (1.2 * deep + 0.35) * size, 0
        parts.append(svg.element("g", item.markup, transform=f"translate({svg.short(x)} {svg.short(y)})"))
        parts += [
            svg.text(x + item.width + 7, y + 1.2 * size * i, one, "text", size) for i, one in enumerate(item.lines)
        ]
        x, deep = x + wide + 16, max(deep, len(item.lines))
    bottom = y + (1.2 * deep - 0.6) * size
    for one in typeface.wrapped(phrase("drawing.sheet.note"), size, sheet.width - 24):
        bottom += 1.2 * size
        parts.append(svg.text(12, bottom, one, "text faint", size))
    return "".join(parts), bottom + 0.6 * size


def _items(scale: Scale, sheet: Sheet) -> list[_Item]:
    size = sheet.size
    room = sheet.width - 40
    half = 0.36 * size
    metres = bar_metres(scale.pixels, 0.2 * sheet.width)
    arrow = svg.polygon([(1.5 * half, -half), (-half, 0), (-half, -2 * half)], "way", transform=f"translate({half} 0)")
    middle = -0.3 * size
    draws = sign("roll", 4, middle, 0.95 * size) + sign("nip", 20, middle, 0.95 * size)
    back = sign("roll at crawl", 4, middle, 0.95 * size) + sign("nip at crawl", 20, middle, 0.95 * size)
    band = svg.polygon([(0, -0.62 * size), (scale.sample, -0.62 * size), (scale.sample, 0), (0, 0)], "band")
    said = (
        (_bar(scale.pixels, metres, size), metres * scale.pixels, in_unit(metres, "m")),
        (band, scale.sample, scale.said),
        (arrow, 2.5 * half, phrase("drawing.sheet.way")),
        (draws, 28.0, phrase("drawing.sheet.draws_in")),
        (back, 28.0, phrase("drawing.sheet.draws_back")),
    )
    return [_Item(markup, wide, tuple(typeface.wrapped(text, size, room - wide))) for markup, wide, text in said]


def _bar(scale: float, metres: float, size: float) -> str:
    """The scale bar."""
    count = int(metres) if metres <= 2 else 5
    parts = [svg.element("g", data_metres=plain(metres), data_pixels=f"{metres * scale:.4f}")]
    for i in range(count):
        a, b = (metres * scale * j / count for j in (i, i + 1))
        corners = [(a, -0.45 * size), (b, -0.45 * size), (b, -0.1 * size), (a, -0.1 * size)]
        parts.append(svg.polygon(corners, "black" if i % 2 == 0 else "white"))
    return "".join(parts)
