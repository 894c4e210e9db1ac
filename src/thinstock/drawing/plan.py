"""What is drawn of a machine, as data: outlines in metres with a role, a name and a text. No ink, no pixels.

Section outlines (`outlines_*`) fill a plan; `elevation` turns it into a drawing. Places are assumed unless the machine
says otherwise; diameters, wraps, lengths and angles are those of the machine.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from thinstock.machine.geometry import Arc, Circle, Path, Point, circle_path

LAYER = 0.06
"""How far apart two fabrics with stock between them are drawn, m (the stock is thinner)."""


@dataclass(frozen=True, kw_only=True)
class Shape:
    """One line or area of a part."""

    role: str
    """What it is, for line style and hatch: roll, shell, cover, suction, box, foil, hood, lip, blade, steel ..."""
    path: Path
    closed: bool = True


@dataclass(frozen=True, kw_only=True)
class Outline:
    """One part of the machine."""

    name: str
    text: str
    """Its number or numbers, as words."""
    shapes: tuple[Shape, ...]
    anchor: Point
    """Where a label points to."""
    also: tuple[Point, ...] = ()
    """Other places a label may point to."""
    label: str = ""
    """Short name printed beside it; empty where the name is only told on hover and focus."""


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

    name: str
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
class Hazard:
    """A place where people are hurt."""

    kind: str
    """nip, nip at crawl, blade, hot."""
    place: Point
    text: str


@dataclass(frozen=True, kw_only=True)
class Wrap:
    """The part of a forming roll that carries the sheet between two fabrics."""

    name: str
    arc: Arc
    formed: float | None = None
    """End of forming, rad along the wrap; None if it is not on this roll."""
    formed_slow: float | None = None
    """The same if the mat resists five times as much."""
    later: bool = False
    """True where that is behind this roll."""


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
        found: list[Point] = []
        for outline in self.outlines:
            for shape in outline.shapes:
                found += shape.path.points(0.2)
        for loop in self.loops:
            found += loop.path.points(0.2)
        for run in self.runs:
            found += run.path.points(0.2)
        for band in self.leaving:
            found += band.path.points(0.2)
        return found

    def outline(self, name: str) -> Outline:
        """The part of this name."""
        return next(o for o in self.outlines if o.name == name)


def roll(circle: Circle, role: str = "roll") -> tuple[Shape, ...]:
    """A roll: its circle and the mark of its axis."""
    mark = min(0.04, 0.3 * circle.radius)
    c = circle.centre
    cross = (
        Shape(role="axis", path=_line(Point(c.x - mark, c.y), Point(c.x + mark, c.y)), closed=False),
        Shape(role="axis", path=_line(Point(c.x, c.y - mark), Point(c.x, c.y + mark)), closed=False),
    )
    return (Shape(role=role, path=circle_path(circle)), *cross)


def _line(a: Point, b: Point) -> Path:
    from thinstock.machine.geometry import Line

    return Path((Line(a, b),))
