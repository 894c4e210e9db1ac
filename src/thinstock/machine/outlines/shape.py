"""Outlines as data: lines and areas in metres with a role, the part they belong to, its name and what it says.

No ink, no pixels: a drawing places, letters and renders them.
"""

from __future__ import annotations

from dataclasses import dataclass

from thinstock.machine.geometry import Circle, Line, Path, Point, circle_path

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

    part: str
    """Which part: the name in the machine's file where it has one, else a word of its own."""
    name: str
    """Its name as people say it."""
    text: str
    """Its number or numbers, as words."""
    shapes: tuple[Shape, ...]
    anchor: Point
    """Where a label points to."""
    also: tuple[Point, ...] = ()
    """Other places a label may point to."""
    label: str = ""
    """Short name printed beside it; empty where the name is only told on hover and focus."""
    printed: str = ""
    """What is printed under the label."""


@dataclass(frozen=True, kw_only=True)
class Hazard:
    """A place where people are hurt."""

    kind: str
    """roll, roll at crawl, nip, nip at crawl, blade, hot."""
    place: Point
    text: str


def roll(circle: Circle, role: str = "roll") -> tuple[Shape, ...]:
    """A roll: its circle and the mark of its axis."""
    mark = min(0.04, 0.3 * circle.radius)
    c = circle.centre
    cross = (
        Shape(role="axis", path=straight(Point(c.x - mark, c.y), Point(c.x + mark, c.y)), closed=False),
        Shape(role="axis", path=straight(Point(c.x, c.y - mark), Point(c.x, c.y + mark)), closed=False),
    )
    return (Shape(role=role, path=circle_path(circle)), *cross)


def ring(circle: Circle, radius: float, role: str) -> Shape:
    """A circle inside a roll."""
    return Shape(role=role, path=circle_path(Circle(circle.centre, radius)))


def straight(a: Point, b: Point) -> Path:
    """A path of one straight piece."""
    return Path((Line(a, b),))
