"""What a drawing asks of the parts of a former: how the fabric runs along each, how the jet meets it, how it looks.

Wraps, diameters, lengths, pitches and angles are the machine's; the sizes that stand here are assumed, because no file
gives them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar, NamedTuple

from thinstock.machine.geometry import Arc, Circle, Path, Point, Pose, polyline, roll_on, sector
from thinstock.machine.outlines.said import in_unit
from thinstock.machine.outlines.shape import LAYER, Outline, Shape, ring, roll
from thinstock.machine.part import Hooked, or_without
from thinstock.words.num import Num
from thinstock.words.phrase import phrase

BREAST = 0.45
INCLINED_BREAST = 0.30
LANDING = math.radians(15.0)
"""Radii of breast rolls nobody gave (m), and how far before its top the jet meets an open breast roll; all assumed."""
TILT = math.radians(5.0)
ROLL_TILT = math.radians(4.0)
"""How steeply a jet meets a wire table, and how far it turns from the fabric towards a forming roll (assumed)."""
SLICE_AHEAD, GAP_AHEAD, POND_AHEAD = 0.35, 0.62, 0.25
"""How far the slice stands from where its jet lands: on a table, in the gap before a roll, in a pond, m (assumed)."""


class Bend(NamedTuple):
    """A turn of the fabric round a roll."""

    radius: float
    turn: float
    """rad, to the left positive."""


class Jet(NamedTuple):
    """How the stock comes."""

    landing: Point
    slice: Pose
    """Where the slice is and points."""
    upper: float
    """On which side of the jet the slanting wall lies: +1 left."""


@dataclass(frozen=True, kw_only=True)
class EndOfForming:
    """Where a run says that forming ends, as far as that is known."""

    formed: bool
    place: float
    """m from the first element; nan if not reached."""
    wrap: float
    """The same as rad of wrap on a forming roll, else nan."""
    slow: float | None = None
    """Place if the mat resists five times as much; None where not worked out."""

    def said(self) -> str:
        """In words, with its band."""
        if not self.formed:
            return phrase("drawing.forming.not_on_it")
        scale, unit = (self.wrap / self.place, "deg") if math.isfinite(self.wrap) else (1.0, "m")
        end = in_unit(self.wrap if unit == "deg" else self.place, unit, 2)
        said = phrase("drawing.forming.ends", end=end)
        if unit == "deg":
            said = phrase("drawing.forming.ends_wrap", end=end)
        if self.slow is None:
            return said
        if not math.isfinite(self.slow):
            return phrase("drawing.forming.slow_never", said=said)
        return phrase("drawing.forming.slow", said=said, end=in_unit(self.slow * scale, unit, 2))


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """A stretch of a fabric's path at which a part stands."""

    path: Path
    start: float
    end: float
    """Distances along the path, m."""
    spans: tuple[tuple[float, float], ...] = ()
    """Start and end of every element of the march on it."""
    wrap: Arc | None = None
    """The turn round its roll, where it has one."""
    mouth: Circle | None = None
    """The roll of the fabric that holds it, where it is one."""
    forming: EndOfForming | None = None
    """Where forming ends, for the first part of a former."""

    @property
    def middle(self) -> Pose:
        """Its middle."""
        return self.path.at(0.5 * (self.start + self.end))

    @property
    def arc(self) -> Arc:
        """The turn round its roll; ValueError where the fabric goes straight."""
        if self.wrap is None:
            raise ValueError("the fabric turns round no roll here: give the element a bend")
        return self.wrap


class OnFabric(Hooked, base=True):
    """What a drawing asks of a forming element beside its outline; a kind says what differs from a straight run."""

    between: ClassVar[bool] = False
    """True where the jet goes between two fabrics on this roll."""
    own_breast: ClassVar[bool] = False
    """True where it is itself the breast roll, or draws it."""
    grouped: ClassVar[int] = 1
    """How many elements of its march give one band of water (0: all of them)."""
    deep: ClassVar[float] = 0.0
    """How far below the fabric its water comes to sight, m."""
    falls: ClassVar[bool] = False
    """True where its water leaves at the end of each group and falls."""

    @property
    def second(self) -> bool:
        """True for a roll that bends the sheet the other way."""
        return False

    def bend(self, turned: float) -> Bend | None:
        """The roll the fabric turns round, if any, in a former whose first roll turns to this side."""
        return None

    def fall(self, climb: float) -> float:
        """The heading of a straight run, in a former whose wire climbs so."""
        return climb

    def climb(self) -> float:
        """How steeply a former climbs that begins with it, rad."""
        return 0.0

    def heading(self) -> float:
        """The way the stock runs where a wire table begins with it, rad."""
        return 0.0

    def lag(self) -> float | None:
        """How much further the inner fabric lies on its roll than the outer one, rad; None where nobody gave it."""
        return 0.0

    def jet(self, begin: Pose, landing: Point, side: float) -> Jet:
        """How the jet meets a former that begins with it; `side` is where the jet comes from."""
        return jet_at(landing.beside(0.0, 0.15), -TILT)

    @or_without
    def outline(self, place: Stretch) -> Outline | None:
        """What is drawn of it; None where the kind does WITHOUT."""
        return None


def jet_at(landing: Point, tilt: float) -> Jet:
    """A jet that lands on a table at this heading."""
    return Jet(landing, Pose(landing.beside(tilt, -SLICE_AHEAD), tilt), 1.0)


def jet_between(begin: Pose, landing: Point, side: float) -> Jet:
    """A jet into the gap between two fabrics."""
    heading = begin.heading - side * ROLL_TILT
    return Jet(landing, Pose(landing.beside(heading, -GAP_AHEAD), heading), side)


def jet_into_pond(landing: Point, head: Num) -> Jet:
    """Stock that comes half-way up a pond."""
    low = Point(landing.x - 0.05, landing.y + 0.5 * float(head))
    return Jet(low, Pose(Point(low.x - POND_AHEAD, low.y), 0.0), 1.0)


def round_roll(diameter: Num, wrap: Num, turned: float, second: bool) -> Bend:
    """The turn round a forming roll: a second roll lies on the other side, with the stock between."""
    radius = float(diameter) / 2 + (LAYER if second else 0.0)
    return Bend(radius, (-turned if second else turned) * float(wrap))


def breast_roll(path: Path) -> Circle:
    """The roll under the place where the jet lands, for formers that begin on a wire table."""
    first = path.pieces[0]
    if isinstance(first, Arc):
        return Circle(first.centre, first.radius)
    inclined = first.heading > math.radians(3.0)
    return roll_on(path.at(0.0), INCLINED_BREAST if inclined else BREAST, -1.0)


# --- shapes


def plate_below(place: Stretch, depth: float = 0.07) -> tuple[Shape, ...]:
    """A closed plate under the wire."""
    h = place.path.at(place.start).heading
    p, q = _plate_start(place), place.path.at(place.end).point
    return (Shape(role="steel", path=polyline([p, q, q.beside(h, 0, -depth), p.beside(h, 0, -depth), p])),)


def _plate_start(place: Stretch) -> Point:
    return place.path.at(place.start + 0.15 * (place.end - place.start)).point


def plate_anchor(place: Stretch, depth: float = 0.07) -> Point:
    """Where the label of a plate points to."""
    return _plate_start(place).beside(place.path.at(place.start).heading, 0.1, -depth)


def rolls_below(place: Stretch, radius: float) -> tuple[Shape, ...]:
    """Rolls that touch the wire from below, one at every element of no length."""
    touching = [start for start, end in place.spans if end - start < 1e-9]
    return tuple(shape for at in touching for shape in roll(roll_on(place.path.at(at), radius, -1.0)))


def blades_below(place: Stretch, length: float, angle: float, suction: float) -> tuple[Shape, ...]:
    """Foil blades: every second element of the march is the part of a blade that sucks."""
    foot = max(0.05, length * math.sin(angle) + 0.03)
    shapes = []
    for start, _ in place.spans[1::2]:
        p, h = place.path.at(start - 0.5 * (length - suction))
        tail = p.beside(h, length * math.cos(angle), -length * math.sin(angle))
        back = tail.beside(h, -0.25 * length, -foot + length * math.sin(angle))
        shapes.append(Shape(role="foil", path=polyline([p, tail, back, p.beside(h, 0.25 * length, -foot), p])))
    return tuple(shapes)


def line_below(place: Stretch, depth: float = 0.05) -> tuple[Shape, ...]:
    """A thin line under a stretch of open wire."""
    return (Shape(role="detail", path=place.path.part(place.start, place.end).beside(-depth), closed=False),)


def box_below(place: Stretch, depth: float = 0.32) -> tuple[Shape, ...]:
    """A box with its mouth on a stretch of path, with its slots."""
    path, a, b = place.path, place.start, place.end
    h = place.middle.heading
    mouth = path.part(a, b).points(0.05)
    outer = [p.beside(h, 0.0, -depth) for p in (mouth[-1], mouth[0])]
    count = max(2, min(8, round((b - a) / 0.06)))
    slots = []
    for i in range(count):
        p = path.at(a + (b - a) * (i + 0.5) / count).point
        slots.append(Shape(role="detail", path=polyline([p, p.beside(h, 0.0, -0.08)]), closed=False))
    return (Shape(role="box", path=polyline([*mouth, *outer, mouth[0]])), *slots)


def box_anchor(place: Stretch, depth: float = 0.32) -> Point:
    """Where the label of a box points to: the middle of its bottom."""
    h = place.middle.heading
    p, q = (place.path.at(s).point.beside(h, 0.0, -depth) for s in (place.end, place.start))
    return Point(0.5 * (p.x + q.x), 0.5 * (p.y + q.y))


def below(place: Stretch, depth: float, heading: float | None = 0.0) -> Point:
    """A place under the middle of a stretch: straight down, or across its own heading where that is None."""
    middle = place.middle
    return middle.point.beside(middle.heading if heading is None else heading, 0, -depth)


def pond(place: Stretch, head: float) -> tuple[Shape, Shape]:
    """A pond over a climbing wire, and its roof."""
    a, b, h = place.start, place.end, place.path.at(place.start).heading
    low = place.path.at(a).point
    level = low.y + head
    reach = min((level - low.y) / math.tan(h) if h > 0 else b - a, (b - a) * math.cos(h))
    edge, inlet = Point(low.x + reach, low.y + reach * math.tan(h)), Point(low.x - 0.05, level)
    roof = [Point(inlet.x - 0.25, level + 0.12), Point(edge.x - 0.08, level + 0.12), Point(edge.x + 0.05, level + 0.03)]
    return (
        Shape(role="pond", path=polyline([low, edge, Point(edge.x, level), inlet, low])),
        Shape(role="lip", path=polyline(roof), closed=False),
    )


def suction_arc(arc: Arc, circle: Circle, inner: float) -> tuple[Shape, ...]:
    """An open shell with its suction box over the wrap."""
    box = sector(circle.centre, inner * circle.radius, 0.9 * circle.radius, arc.begin, arc.turn)
    return ring(circle, 0.9 * circle.radius, "open"), Shape(role="suction", path=box)
