"""What happens over time, told: lines before, after a minute and at the end, when they are there, what was passed."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from thinstock.tell.blocks import Block, Column, Table, care, points, words
from thinstock.tell.record import plain
from thinstock.words.figures import Edge, figure
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.machine.over_time import OverTime

MINUTE = 60.0
DIGITS = 4
BASE = {"web"}
"""Lines that are plain ratios."""


def told(found: OverTime, edge: Edge) -> Iterator[Block]:
    """Cautions, what happens, the table of lines, what passed a limit, what is not computed."""
    yield from care("circulation")
    yield words(phrase("watch.events", events="; ".join(event.text or event.kind for event in found.events)))
    yield _lines(found, edge)
    if found.passed:
        yield words(phrase("watch.passed"))
        yield points(phrase(f"watch.limit.{name}", minute=figure(at / 60.0, 2)) for name, at in found.passed)
    else:
        yield words(phrase("watch.nothing_passed"))
    if found.clearing is not None:
        hours = "∞" if math.isinf(found.clearing) else figure(found.clearing / 3600.0, 2)
        yield words(phrase("watch.clearing", hours=hours, share="15"))
    yield words(phrase("watch.first_minute"), phrase("watch.mass", error=f"{found.mass_error:.0e}"))


def _lines(found: OverTime, edge: Edge) -> Table:
    heads = ("line", "unit", "before", "after_minute", "extreme", "end", "within")
    columns = tuple(Column(head=phrase(f"watch.{key}"), sort="word" if key in ("line", "unit") else "number")
                    for key in heads)  # fmt: skip
    rows = []
    for name, line in found.lines.items():
        word, before = found.WORDS[name], found.before[name]
        after = float(np.interp(MINUTE + _first(found), found.time, line))
        far = float(line[int(np.argmax(np.abs(line - before)))])
        values = (before, after, far, float(line[-1]))
        numbers = (_figure(edge, word, v) for v in values)
        rows.append((phrase(f"watch.lines.{name}"), edge.unit(word), *numbers, _when(found.within[name])))
    return Table(columns=columns, rows=tuple(rows), caption=phrase("watch.caption"), key="watch")


def _figure(edge: Edge, word: str, value: float) -> str:
    return f"{edge.number(word, value):.1f}" if word == "temperature" else edge.figure(word, value, DIGITS)


def _first(found: OverTime) -> float:
    return min((event.at for event in found.events), default=0.0)


def _when(seconds: float) -> str:
    if seconds == 0:
        return phrase("watch.stays")
    return phrase("watch.not_yet") if math.isinf(seconds) else figure(seconds / 60.0, 2)


def record(found: OverTime) -> dict[str, Any]:
    """Everything in base SI."""
    return {
        "events": [plain(event) for event in found.events], "time": plain(found.time),
        "lines": {name: plain(line) for name, line in found.lines.items()}, "before": plain(dict(found.before)),
        "final": plain(dict(found.final)),
        "within": {name: None if math.isinf(v) else v for name, v in found.within.items()},
        "passed": [{"limit": name, "time": at} for name, at in found.passed], "mass_error": found.mass_error,
        "clearing": None if found.clearing is None or math.isinf(found.clearing) else found.clearing,
    }  # fmt: skip
