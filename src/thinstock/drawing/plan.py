"""What is drawn of a machine, as data: the outlines of its parts, fabrics, sheet, water and hazards. No ink, no pixels.

Parts give their own outlines; a layout places them and fills a plan; `elevation` turns it into a drawing. Places are
assumed unless the machine says otherwise; diameters, wraps, lengths and angles are those of the machine.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from thinstock.machine.geometry import Arc, Circle, Path, Point
from thinstock.machine.outlines.shape import Hazard, Outline

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
    remarks: list[tuple[Point, str]] = field(default_factory=list)
    """Words that stand at a place, such as "no sheet"."""

    def points(self) -> list[Point]:
        """Places that must be on the paper."""
        shapes = (shape.path for outline in self.outlines for shape in outline.shapes)
        lines = (one.path for group in (self.loops, self.runs, self.leaving) for one in group)
        return [place for path in (*shapes, *lines) for place in path.points(0.2)]

    def outline(self, part: str) -> Outline:
        """The part of this id."""
        return next(o for o in self.outlines if o.part == part)
