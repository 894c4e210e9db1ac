"""Places and primitives of headbox and dry end: a slice, a hood in two halves, a group of cylinders."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Protocol

from thinstock.machine.geometry import Arc, Circle, Line, Path, Point, Pose, polyline, sector, tangent, turn_between
from thinstock.machine.outlines.shape import Shape, roll, straight
from thinstock.words.num import Num

NOZZLE = 0.75
TUBES = 0.45
HEADER = 0.32
"""Lengths of a headbox's nozzle and tube bank, radius of its header, m (assumed)."""
HOOD_DEPTH = 0.85
DRUM = 0.45
PARENT = 0.75
CYLINDER = 0.75
LEAD = 0.12
"""Depth of the hood, radii of reel drum, parent roll, drying cylinders and lead rolls, m (assumed)."""


class Delivers(Protocol):
    """What a drawing tells of what the headbox delivers."""

    @property
    def slice_opening(self) -> Num: ...
    @property
    def jet_thickness(self) -> Num: ...
    @property
    def jet_speed(self) -> Num: ...
    @property
    def headbox_head(self) -> Num: ...
    @property
    def flow_per_width(self) -> Num: ...


@dataclass(frozen=True)
class SlicePlace:
    """Where a headbox stands."""

    slice: Pose
    """Where its slice is and points."""
    upper: float
    """On which side of the jet its slanting wall lies: +1 left."""
    delivery: Delivers

    def at(self, back: float, up: float) -> Point:
        """A place behind the slice and towards the slanting wall."""
        return self.slice.point.beside(self.slice.heading, -back, self.upper * up)


@dataclass(frozen=True, kw_only=True)
class OnYankee:
    """The Yankee's circle, its last nip, and what the run found (None where nothing dried)."""

    circle: Circle
    nip: float
    """Angle of the last nip as seen from its centre."""
    steam_pressure: Num = None
    surface_temperature: Num = None
    air_temperature: Num = None


@dataclass(frozen=True, kw_only=True)
class Winding:
    """Where a reel drum stands, and what it winds (None where there is no sheet)."""

    drum: Point
    production: Num = None
    speed: Num = None
    wanted: str = ""
    """The paper that is wanted, in words."""


@dataclass(frozen=True, kw_only=True)
class Group:
    """Where a group of drying cylinders starts, and what it evaporates (None where there is no sheet)."""

    nip: Point
    """The last nip."""
    start: Point
    evaporation: Num = None


def nozzle(place: SlicePlace, opening: float, angle: float) -> tuple[tuple[Shape, ...], Circle]:
    """Nozzle, tube bank, header and lip of a headbox; gives the header too."""
    rise, drop = opening + NOZZLE * math.tan(angle), -0.5 * opening
    height, middle, at = max(rise, 0.28), drop + rise / 2, place.at
    wedge = [at(0, drop), at(0, drop + opening), at(NOZZLE, drop + rise), at(NOZZLE, drop), at(0, drop)]
    bank = [at(NOZZLE, middle - height / 2), at(NOZZLE, middle + height / 2),
            at(NOZZLE + TUBES, middle + height / 2), at(NOZZLE + TUBES, middle - height / 2)]  # fmt: skip
    header = Circle(at(NOZZLE + TUBES + HEADER, middle), HEADER)
    tubes = [
        polyline([at(NOZZLE, middle + y * height), at(NOZZLE + TUBES, middle + y * height)]) for y in (-0.25, 0.0, 0.25)
    ]
    lip = polyline([at(0, drop + opening), at(0.1, drop + opening + 0.1 * math.tan(angle))])
    return (
        Shape(role="stock box", path=polyline(wedge)),
        Shape(role="stock box", path=polyline([*bank, bank[0]])),
        *(Shape(role="detail", path=one, closed=False) for one in tubes),
        *roll(header, "stock box"),
        Shape(role="lip", path=lip, closed=False),
    ), header


def hood_halves(centre: Point, inner: float, start: float, turn: float) -> tuple[Shape, ...]:
    """A ring in two halves, clockwise from an angle, each with its nozzle plate."""
    half, slit = turn / 2, 0.03 / inner
    shapes: list[Shape] = []
    for a, t in ((start, half - slit), (start - half - slit, half - slit)):
        shapes.append(Shape(role="hood", path=sector(centre, inner, inner + HOOD_DEPTH, a, -t)))
        shapes.append(Shape(role="nozzles", path=Path((Arc(centre, inner + 0.16, a, -t),)), closed=False))
    return tuple(shapes)


def doctor(tip: Point, against: float) -> tuple[tuple[Shape, Shape], Point]:
    """A doctor blade that points along a heading to its tip, with its beam; gives the beam's middle too."""
    tail = tip.beside(against + math.pi, 0.42)
    beam = tail.beside(against + math.pi, 0.12)
    corners = ((0.16, 0.09), (0.16, -0.09), (-0.14, -0.09), (-0.14, 0.09), (0.16, 0.09))
    back = polyline([beam.beside(against, d, s) for d, s in corners])
    blade = Shape(role="blade", path=straight(tip, tail), closed=False)
    return (blade, Shape(role="steel", path=back)), beam


@dataclass(frozen=True)
class Cylinders:
    """Two rows of drying cylinders between lead rolls, as many and as large as is drawn for any machine (schematic)."""

    place: Group

    @property
    def top(self) -> list[Circle]:
        """The upper row."""
        x, y = self.place.start
        return [Circle(Point(x + 1.4 + i * 1.75, y + 0.9), CYLINDER) for i in range(4)]

    @property
    def low(self) -> list[Circle]:
        """The lower row."""
        x, y = self.place.start
        return [Circle(Point(x + 1.4 + (i + 0.5) * 1.75, y - 0.7), CYLINDER) for i in range(4)]

    @property
    def leads(self) -> tuple[Circle, Circle]:
        """Lead rolls before and behind."""
        last = self.low[-1].centre
        return Circle(self.place.start, LEAD), Circle(Point(last.x + 1.35, last.y + 0.75), LEAD)

    @property
    def drum(self) -> Circle:
        """The reel drum behind it."""
        after = self.leads[1].centre
        return Circle(Point(after.x + 1.3, after.y - 0.75), DRUM)

    def shapes(self) -> tuple[Shape, ...]:
        """The cylinders and lead rolls."""
        shells = [s for circle in (*self.top, *self.low) for s in roll(circle, "shell")]
        return (*shells, *(s for circle in self.leads for s in roll(circle)))

    def way(self) -> Path:
        """The sheet from the last nip to the reel drum."""
        lead, after = self.leads
        pairs = zip(self.top, self.low, strict=True)
        row = [(c, s) for pair in pairs for c, s in zip(pair, (-1.0, 1.0), strict=True)]
        order = [(lead, 1.0), *row, (after, -1.0), (self.drum, -1.0)]
        pieces: list[Line | Arc] = [tangent(Circle(self.place.nip, 0.0), 1.0, *order[0])]
        for (circle, side), (following, turn) in itertools.pairwise(order):
            run = tangent(circle, side, following, turn)
            into = pieces[-1].at(pieces[-1].length).heading
            pieces += [circle.arc(into - side * math.pi / 2, turn_between(into, run.heading, side)), run]
        return Path(tuple(pieces))
