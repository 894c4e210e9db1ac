"""Shows of words: one number with its working, a question, nothing but the sentences."""

from __future__ import annotations

from thinstock.drawing import typeface
from thinstock.lesson.number import Number
from thinstock.lesson.shows.canvas import Drawn, Place, words

LARGE = 7.0
"""The one number, in sizes of a word."""


def number(shown: Number, lines: tuple[str, ...], place: Place, *, hidden: bool) -> Drawn:
    """One number, large, with what it is and its working in three lines."""
    size = place.size
    value = "?" if hidden else shown.value
    high = LARGE * size
    parts = [words(0.0, high, value, size=high, strong=True)]
    x = typeface.width_of(value, high, strong=True) + size
    room = place.width - x
    label = typeface.wrapped(f"{_unit(shown)} {shown.label}".strip(), 1.6 * size, max(room, 200.0))
    parts += [words(x, high - 1.9 * size * (len(label) - 1 - i), one, size=1.6 * size) for i, one in enumerate(label)]
    parts += [] if hidden else _working(lines, high + 2.4 * size, place)
    return Drawn(markup="".join(parts), alt=f"{value} {shown.unit}, {shown.label}")


def _unit(shown: Number) -> str:
    """The unit, where the words do not say it already."""
    return "" if shown.unit == "kg/kg" else shown.unit


def _working(lines: tuple[str, ...], top: float, place: Place) -> list[str]:
    """The working as large as there is room for; a line that would not end on the drawing is left to the key."""
    for times in (1.3, 1.15, 1.0):
        size, y = times * place.size, top
        parts: list[str] = []
        for line in lines:
            rows = typeface.wrapped(line, size, place.width - 10.0)
            if y + 1.4 * size * (len(rows) - 1) > place.height - 0.3 * size:
                break
            parts += [words(0.0, y + 1.4 * size * i, row, size=size) for i, row in enumerate(rows)]
            y += 1.4 * size * len(rows) + 0.5 * size
        else:
            break
    return parts


def nothing() -> Drawn:
    """No drawing."""
    return Drawn(markup="", alt="")
