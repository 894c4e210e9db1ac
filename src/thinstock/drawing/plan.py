"""What is drawn of a machine, as data: the outlines of its parts, fabrics, sheet, water and hazards. No ink, no pixels.

Parts give their own outlines; a layout places them and fills a plan; `elevation` turns it into a drawing. Places are
assumed unless the machine says otherwise; diameters, wraps, lengths and angles are those of the machine.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

from thinstock.machine.geometry import Arc, Circle, Path, Point
from thinstock.machine.outlines.said import plain
from thinstock.machine.outlines.shape import Hazard, Outline
from thinstock.words.phrase import phrase

Rolls = list[tuple[Circle, float]]
"""Rolls of a fabric in order, each with the side it is turned by."""


@dataclass(frozen=True, kw_only=True)
class Loop:
    """A fabric that runs in a closed loop over its rolls."""

    name: str
    text: str
    role: str
    """wire or felt."""
    path: Path
    rolls: tuple[tuple[Circle, float], ...]
    anchor: Point
    part: str = ""
    """The nip it runs through, where it is one of its own."""


@dataclass(frozen=True, kw_only=True)
class Run:
    """Stock or sheet along a stretch of path, with its water per fibre at points of it."""

    name: str
    path: Path
    places: tuple[float, ...]
    """Distances along the path."""
    moisture_ratios: tuple[float, ...]
    """kg water per kg fibre there."""
    lies: float = 0.0
    """On which side of the path it lies: +1 left, -1 right, 0 on it."""

    @property
    def text(self) -> str:
        """How wet it is, in words."""
        first, last = self.moisture_ratios[0], self.moisture_ratios[-1]
        if abs(first - last) < 0.01 * first:
            return phrase("drawing.run.same", ratio=plain(first))
        return phrase("drawing.run.from_to", first=plain(first), last=plain(last))

    def steps(self) -> Iterator[tuple[float, float, float]]:
        """Stretches of it with the water per fibre of each, fine enough to be seen."""
        for k in range(len(self.places) - 1):
            a, b = self.places[k], self.places[k + 1]
            x, y = self.moisture_ratios[k], self.moisture_ratios[k + 1]
            if b - a < 1e-9:
                continue
            grown = math.log((y + 1e-6) / (x + 1e-6))
            count = 1 if abs(grown) < 0.02 else max(1, min(6, math.ceil(abs(math.log(y / x)) * 1.5)))
            for i in range(count):
                p, q = a + (b - a) * i / count, a + (b - a) * (i + 1) / count
                yield p, q, x if abs(grown) < 0.02 else x * math.exp(math.log(y / x) * (i + 0.5) / count)


@dataclass(frozen=True, kw_only=True)
class Leaving:
    """Water that leaves the sheet at a place, drawn as a band."""

    part: str
    """Where it leaves: the part's id."""
    name: str
    """The same in words."""
    stage: str
    """forming, vacuum, press, evaporation or not drained."""
    flow: float
    """kg/(s m)."""
    moisture_ratio: float
    """kg water per kg fibre of what leaves (inf for clean water and vapour)."""
    path: Path
    """The middle line of the band, from the place on the sheet to where it is gone."""
    label: bool = True


@dataclass(frozen=True, kw_only=True)
class Wrap:
    """The part of a forming roll that carries the sheet between two fabrics."""

    part: str
    """Id of the roll."""
    arc: Arc
    formed: float | None = None
    """End of forming, rad along the wrap; None if it is not on this roll."""
    formed_slow: float | None = None
    """The same if the mat resists five times as much; None where that is behind this roll."""


@dataclass(kw_only=True)
class Plan:
    """A machine laid out."""

    outlines: list[Outline] = field(default_factory=list)
    loops: list[Loop] = field(default_factory=list)
    runs: list[Run] = field(default_factory=list)
    leaving: list[Leaving] = field(default_factory=list)
    hazards: list[Hazard] = field(default_factory=list)
    wraps: list[Wrap] = field(default_factory=list)
    mouths: dict[str, Point] = field(default_factory=dict)
    """Where each slot sucks at the sheet on the felt."""
    former: list[str] = field(default_factory=list)
    press: list[str] = field(default_factory=list)
    """Ids of the parts that are shown once more, enlarged."""
    water: dict[tuple[str, str], tuple[str, str]] = field(default_factory=dict)
    """What the bands of a stage and a name tell together: their name, and how much."""
    remarks: list[tuple[Point, str]] = field(default_factory=list)
    """Words that stand at a place, such as "no sheet"."""

    def stacks(self) -> Iterator[tuple[Path, ...]]:
        """All that must be on the paper: the paths of each outline, and of each fabric, run and band."""
        yield from (tuple(shape.path for shape in outline.shapes) for outline in self.outlines if outline.shapes)
        yield from ((one.path,) for group in (self.loops, self.runs, self.leaving) for one in group)

    def outline(self, part: str) -> Outline:
        """The part of this id."""
        return next(o for o in self.outlines if o.part == part)
