"""Plane geometry of rolls and the fabrics that run over them: circles, arcs, lines, tangents, paths. Metres, radians.

x points in the machine direction, y up; angles run anticlockwise from x. A side is +1 where the path turns left (the
roll lies on its left) and -1 where it turns right. Nothing here knows what is drawn or how.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple


class Point(NamedTuple):
    """A place, m."""

    x: float
    y: float

    def beside(self, heading: float, along: float, left: float = 0.0) -> Point:
        """The place so far along a heading and so far to its left."""
        c, s = math.cos(heading), math.sin(heading)
        return Point(self.x + along * c - left * s, self.y + along * s + left * c)

    def distance(self, other: Point) -> float:
        """How far apart two places are."""
        return math.hypot(other.x - self.x, other.y - self.y)

    def angle_to(self, other: Point) -> float:
        """The heading towards another place."""
        return math.atan2(other.y - self.y, other.x - self.x)


class Pose(NamedTuple):
    """A place and the heading there."""

    point: Point
    heading: float


@dataclass(frozen=True)
class Circle:
    """A roll seen from its end."""

    centre: Point
    radius: float

    def at(self, angle: float) -> Point:
        """The place on the circle as seen from its centre."""
        return self.centre.beside(angle, self.radius)

    def arc(self, start: float, turn: float) -> Arc:
        """Part of the circle from an angle on, anticlockwise if turn is positive."""
        return Arc(self.centre, self.radius, start, turn)


@dataclass(frozen=True)
class Line:
    """A straight piece."""

    start: Point
    end: Point

    @cached_property
    def length(self) -> float:
        """Its length, m."""
        return self.start.distance(self.end)

    @cached_property
    def heading(self) -> float:
        """Its direction, rad."""
        return self.start.angle_to(self.end)

    def at(self, distance: float) -> Pose:
        """Place and heading so far from its start."""
        return Pose(self.start.beside(self.heading, distance), self.heading)

    def part(self, start: float, end: float) -> Line:
        """The piece between two distances."""
        return Line(self.at(start).point, self.at(end).point)

    def beside(self, left: float) -> Line:
        """The same piece moved to its left."""
        return Line(self.start.beside(self.heading, 0.0, left), self.end.beside(self.heading, 0.0, left))

    def lowest(self) -> float:
        """Its lowest level."""
        return min(self.start.y, self.end.y)

    def reversed(self) -> Line:
        """The same piece run the other way."""
        return Line(self.end, self.start)


@dataclass(frozen=True)
class Arc:
    """A piece of a circle: the angle at which it starts, seen from the centre, and how far it turns."""

    centre: Point
    radius: float
    begin: float
    turn: float

    @cached_property
    def side(self) -> float:
        """+1 if it turns left."""
        return 1.0 if self.turn >= 0 else -1.0

    @cached_property
    def length(self) -> float:
        """Its length, m."""
        return self.radius * abs(self.turn)

    @cached_property
    def start(self) -> Point:
        """Where it starts."""
        return self.centre.beside(self.begin, self.radius)

    @cached_property
    def end(self) -> Point:
        """Where it ends."""
        return self.centre.beside(self.begin + self.turn, self.radius)

    def at(self, distance: float) -> Pose:
        """Place and heading so far from its start."""
        angle = self.begin + self.side * distance / self.radius
        return Pose(self.centre.beside(angle, self.radius), angle + self.side * math.pi / 2)

    def part(self, start: float, end: float) -> Arc:
        """The piece between two distances."""
        return Arc(
            self.centre,
            self.radius,
            self.begin + self.side * start / self.radius,
            self.side * (end - start) / self.radius,
        )

    def beside(self, left: float) -> Arc:
        """The same piece moved to its left: towards the centre if it turns left."""
        return Arc(self.centre, max(self.radius - self.side * left, 1e-9), self.begin, self.turn)

    def lowest(self) -> float:
        """Its lowest level."""
        over = math.fmod(self.side * (-math.pi / 2 - self.begin), 2 * math.pi)
        over += 2 * math.pi if over < 0 else 0.0
        return self.centre.y - self.radius if over <= abs(self.turn) else min(self.start.y, self.end.y)

    def reversed(self) -> Arc:
        """The same piece run the other way."""
        return Arc(self.centre, self.radius, self.begin + self.turn, -self.turn)


Piece = Line | Arc


@dataclass(frozen=True)
class Path:
    """Pieces that follow each other."""

    pieces: tuple[Piece, ...]

    @cached_property
    def length(self) -> float:
        """Length of all pieces, m."""
        return math.fsum(piece.length for piece in self.pieces)

    @property
    def start(self) -> Point:
        """Where it starts."""
        return self.pieces[0].start

    @property
    def end(self) -> Point:
        """Where it ends."""
        return self.pieces[-1].end

    def at(self, distance: float) -> Pose:
        """Place and heading so far from the start; beyond the ends it goes straight on."""
        left = distance
        for piece in self.pieces[:-1]:
            if left <= piece.length:
                return piece.at(left) if left >= 0 else _straight_on(piece.at(0.0), left)
            left -= piece.length
        last = self.pieces[-1]
        if left > last.length:
            return _straight_on(last.at(last.length), left - last.length)
        return last.at(left) if left >= 0 else _straight_on(last.at(0.0), left)

    def part(self, start: float, end: float) -> Path:
        """The piece of path between two distances."""
        found: list[Piece] = []
        done = 0.0
        for piece in self.pieces:
            a, b = max(start - done, 0.0), min(end - done, piece.length)
            if b > a + 1e-12:
                found.append(piece.part(a, b))
            done += piece.length
        if not found:
            here = self.at(start).point
            found.append(Line(here, here))
        return Path(tuple(found))

    def beside(self, left: float) -> Path:
        """The same path moved to its left."""
        return Path(tuple(piece.beside(left) for piece in self.pieces))

    def reversed(self) -> Path:
        """The same path run the other way."""
        return Path(tuple(piece.reversed() for piece in reversed(self.pieces)))

    def then(self, *others: Path) -> Path:
        """This path and others behind it."""
        return Path(self.pieces + tuple(piece for other in others for piece in other.pieces))

    def lowest(self) -> float:
        """Its lowest level."""
        return min(piece.lowest() for piece in self.pieces)

    def points(self, chord: float = 0.02) -> list[Point]:
        """Places along the path, arcs in steps of about a chord."""
        found = [self.start]
        for piece in self.pieces:
            count = max(1, math.ceil(piece.length / chord)) if isinstance(piece, Arc) else 1
            found += [piece.at(piece.length * i / count).point for i in range(1, count + 1)]
        return found

    def gap(self) -> float:
        """Largest distance between the end of a piece and the start of the next; for a loop, also of the last."""
        return max((a.end.distance(b.start) for a, b in itertools.pairwise(self.pieces)), default=0.0)

    def nearest(self, place: Point) -> float:
        """Distance along the path at which it comes closest to a place."""
        best, found, done = math.inf, 0.0, 0.0
        for piece in self.pieces:
            along = _foot(piece, place)
            apart = piece.at(along).point.distance(place)
            if apart < best - 1e-12:
                best, found = apart, done + along
            done += piece.length
        return found


def _foot(piece: Piece, place: Point) -> float:
    """Distance along one piece at which it comes closest to a place."""
    if isinstance(piece, Line):
        h = piece.heading
        along = (place.x - piece.start.x) * math.cos(h) + (place.y - piece.start.y) * math.sin(h)
        return min(max(along, 0.0), piece.length)
    turned = math.fmod(piece.side * (piece.centre.angle_to(place) - piece.begin), 2 * math.pi)
    turned += 2 * math.pi if turned < 0 else 0.0
    if turned <= abs(piece.turn):
        return turned * piece.radius
    return piece.length if turned - abs(piece.turn) < 2 * math.pi - turned else 0.0


def _straight_on(pose: Pose, distance: float) -> Pose:
    return Pose(pose.point.beside(pose.heading, distance), pose.heading)


def polyline(points: Sequence[tuple[float, float]]) -> Path:
    """Straight pieces from point to point."""
    places = [Point(*p) for p in points]
    return Path(tuple(Line(a, b) for a, b in itertools.pairwise(places)))


def circle_path(circle: Circle) -> Path:
    """A whole circle as a path."""
    return Path((circle.arc(0.0, math.pi), circle.arc(math.pi, math.pi)))


def sector(centre: Point, inner: float, outer: float, start: float, turn: float) -> Path:
    """Outline of a part of a ring (of a disc where inner is 0)."""
    out = Arc(centre, outer, start, turn)
    if inner <= 0.0:
        return Path((Line(centre, out.start), out, Line(out.end, centre)))
    back = Arc(centre, inner, start + turn, -turn)
    return Path((out, Line(out.end, back.start), back, Line(back.end, out.start)))


def roll_on(pose: Pose, radius: float, side: float) -> Circle:
    """The roll that a path touches at a pose, on its left (+1) or right (-1)."""
    return Circle(pose.point.beside(pose.heading, 0.0, side * radius), radius)


def tangent(first: Circle, first_side: float, second: Circle, second_side: float) -> Line:
    """The straight run from one roll to the next, each turned by on its side; rolls may touch but not overlap."""
    apart = first.centre.distance(second.centre)
    step = second_side * second.radius - first_side * first.radius
    if apart <= 0.0 or abs(step) > apart * (1 + 1e-9):
        raise ValueError(
            f"no run between rolls of radius {first.radius:.3g} m and {second.radius:.3g} m, {apart:.3g} m apart: "
            "they overlap. Move them apart."
        )
    heading = first.centre.angle_to(second.centre) - math.asin(max(-1.0, min(1.0, step / apart)))
    start = first.centre.beside(heading, 0.0, -first_side * first.radius)
    end = second.centre.beside(heading, 0.0, -second_side * second.radius)
    return Line(start, end)


def turn_between(before: float, after: float, side: float) -> float:
    """How far a path turns on a side to come from one heading to another, less than a whole turn."""
    turn = math.fmod(side * (after - before), 2 * math.pi)
    turn += 2 * math.pi if turn < 0 else 0.0
    return 0.0 if 2 * math.pi - turn < 1e-9 else side * turn


def belt(rolls: Iterable[tuple[Circle, float]]) -> Path:
    """A closed fabric over rolls, each with the side it is turned by: arcs and the tangents between them."""
    listed = list(rolls)
    runs = [_run(a, b) for a, b in zip(listed, [*listed[1:], listed[0]], strict=True)]
    pieces: list[Piece] = []
    for (circle, side), (into, _), (out, line) in zip(listed, [runs[-1], *runs[:-1]], runs, strict=True):
        turn = turn_between(into, out, side)
        if turn:
            pieces.append(circle.arc(into - side * math.pi / 2, turn))
        if line.length > 1e-9:
            pieces.append(line)
    return Path(tuple(pieces))


def _run(first: tuple[Circle, float], second: tuple[Circle, float]) -> tuple[float, Line]:
    """Heading and line of a run; the heading of rolls that touch is that of their common tangent."""
    (a, a_side), (b, b_side) = first, second
    line = tangent(a, a_side, b, b_side)
    step = b_side * b.radius - a_side * a.radius
    apart = a.centre.distance(b.centre)
    return a.centre.angle_to(b.centre) - math.asin(max(-1.0, min(1.0, step / apart))), line


def on_roll(path: Path, circle: Circle) -> Arc | None:
    """The arc of a path that lies on this roll (the longest, if it touches it twice)."""
    arcs = [
        p
        for p in path.pieces
        if isinstance(p, Arc) and p.centre.distance(circle.centre) < 1e-9 and abs(p.radius - circle.radius) < 1e-9
    ]
    return max(arcs, key=lambda a: a.length) if arcs else None


class Turtle:
    """Walks a path: straight on, or round a roll."""

    def __init__(self, x: float, y: float, heading: float) -> None:
        self.pose = Pose(Point(x, y), heading)
        self.pieces: list[Piece] = []

    @property
    def walked(self) -> float:
        """Length so far, m."""
        return math.fsum(piece.length for piece in self.pieces)

    def straight(self, length: float) -> Line:
        """Go straight on."""
        line = Line(self.pose.point, self.pose.point.beside(self.pose.heading, length))
        self.pose = Pose(line.end, self.pose.heading)
        self.pieces.append(line)
        return line

    def turn(self, radius: float, angle: float) -> Arc:
        """Go round a roll, to the left if the angle is positive."""
        side = 1.0 if angle >= 0 else -1.0
        centre = self.pose.point.beside(self.pose.heading, 0.0, side * radius)
        arc = Arc(centre, radius, self.pose.heading - side * math.pi / 2, angle)
        self.pose = Pose(arc.end, self.pose.heading + angle)
        self.pieces.append(arc)
        return arc

    def path(self) -> Path:
        """The path walked."""
        return Path(tuple(self.pieces))
