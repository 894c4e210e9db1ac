"""The ladder: every former of the trade on one axis of speed, with the speeds of its time and what comes first."""

from __future__ import annotations

import math
from functools import lru_cache

from thinstock import library
from thinstock.drawing import svg
from thinstock.lesson.shows.canvas import Drawn, Place, bar, wide, words
from thinstock.lesson.subject import Subject, former_key
from thinstock.machine.line import Machine
from thinstock.studies.ladder import formers
from thinstock.studies.rungs import Rung
from thinstock.words.phrase import capital, phrase

ENDS = 20.0, 2600.0
"""Speeds at the ends of the axis, m/min."""
TICKS = (20, 50, 100, 200, 500, 1000, 2000)


@lru_cache(maxsize=8)
def _rungs(machine: Machine) -> tuple[Rung, ...]:
    found = formers(machine, speeds=(float(machine.speed),), supply=False, era=True).rungs
    return tuple(sorted((one for one in found if one.own_time is not None), key=_begun))


def _begun(rung: Rung) -> int:
    years = "" if rung.own_time is None else rung.own_time.era.years
    return int("".join(c for c in years if c.isdigit())[:4] or 0)


def ladder(subject: Subject, place: Place) -> Drawn:
    """All formers; the one that is lit, or the machine's own, in ink."""
    rungs = _rungs(subject.machine)
    size, foot = place.size, 2.6 * place.size
    names = [phrase("lesson.ladder.name", name=capital(one.name), years=_years(one)) for one in rungs]
    left = max(wide(name, size, strong=True) for name in names) + 16.0
    step = (place.height - foot - 8.0) / max(len(rungs), 1)
    lit = subject.light or library.former_file(former_key(subject.machine) or library.NINE[0])["former"]
    floor = 4.0 + step * len(rungs)

    def at(speed: float) -> float:
        share = math.log(min(max(speed, ENDS[0]), ENDS[1]) / ENDS[0]) / math.log(ENDS[1] / ENDS[0])
        return left + share * (place.width - left - 8.0)

    parts = []
    for tick in TICKS:
        parts.append(svg.line([(at(tick), 4.0), (at(tick), floor + 4.0)], "thin rule"))
        parts.append(words(at(tick), floor + 4.0 + 1.15 * size, f"{tick}", size=size, anchor="middle"))
    parts.append(words(0.0, floor + 4.0 + 1.15 * size, phrase("lesson.ladder.speed"), size=size, role="text faint"))
    for i, (rung, name) in enumerate(zip(rungs, names, strict=True)):
        parts.append(_row(rung, name, (4.0 + (i + 0.5) * step, step), at, rung.name == lit, size))
    return Drawn(markup="".join(parts), caption=phrase("lesson.ladder.caption"), alt=phrase("lesson.ladder.alt"),
                 names=tuple(rung.name for rung in rungs))  # fmt: skip


def _row(rung: Rung, name: str, row: tuple[float, float], at: object, lit: bool, size: float) -> str:
    """One former: the speeds of its time, the usual one, and a bracket where an indicator meets its yardstick."""
    assert callable(at) and rung.own_time is not None
    y, step = row
    era, high = rung.own_time.era, min(0.34 * step, 11.0)
    low, top, usual = (at(60 * v) for v in (era.speed_low, era.speed_high, era.speed_usual))
    parts = [
        words(0.0, y + 0.35 * size, name, size=size, strong=lit),
        bar(low, y - high / 2, top - low, high, "st-bar" if lit else "st-bar-pale"),
        svg.line([(usual, y - high), (usual, y + high)], "formed"),
    ]
    first = rung.own_time.reasons.first
    if first is not None and first.speed_at_yardstick is not None and 60 * first.speed_at_yardstick < ENDS[1]:
        x, up = at(60 * first.speed_at_yardstick), y - 0.95 * high
        parts.append(svg.line([(x - 8, up + 5), (x - 8, up), (x + 8, up), (x + 8, up + 5)], "rule"))
    return svg.element("g", svg.element("title", svg.words(rung.name)), *parts)


def _years(rung: Rung) -> str:
    return "" if rung.own_time is None else rung.own_time.era.years
