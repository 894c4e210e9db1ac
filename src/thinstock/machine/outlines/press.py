"""Places and primitives of the press: a nip with its roll and mate, surfaces of rolls, a shoe, parts on the felt."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

from thinstock.machine.geometry import Circle, Point, polyline, sector
from thinstock.machine.outlines.former import Stretch
from thinstock.machine.outlines.said import in_unit
from thinstock.machine.outlines.shape import Hazard, Shape, ring, roll
from thinstock.words.num import Num
from thinstock.words.phrase import phrase

SHOE_DEPTH = 0.10
FELT_AND_SLEEVE = 0.006
BEAM = 0.13
"""Depth of a shoe, felt with sleeve, half the width of a shoe's beam, m (assumed)."""


class NipRun(Protocol):
    """What a drawing tells of what a nip did."""

    @property
    def nip_width(self) -> Num: ...
    @property
    def peak_pressure(self) -> Num: ...
    @property
    def dryness(self) -> Num: ...
    @property
    def nip_saturation(self) -> Num: ...
    @property
    def moisture_ratio_out(self) -> Num: ...


@dataclass(frozen=True)
class NipPlace:
    """Where a nip is."""

    circle: Circle
    """Roll or sleeve."""
    mate: Circle
    """Yankee or counter roll."""
    did: NipRun | None = None
    """What the nip did; None where there was no sheet."""

    @property
    def angle(self) -> float:
        """The nip as seen from the centre of the mating roll."""
        return self.mate.centre.angle_to(self.circle.centre)

    @property
    def place(self) -> Point:
        """The middle of the nip."""
        return self.mate.at(self.angle)

    @property
    def towards(self) -> float:
        """The nip as seen from the centre of its own roll."""
        return self.circle.centre.angle_to(self.mate.centre)

    def did_said(self) -> tuple[str, ...]:
        """What the nip did, in words."""
        if self.did is None:
            return ()
        return (
            phrase("drawing.press.nip", width=in_unit(self.did.nip_width, "mm", 2)),
            phrase("drawing.press.peak", pressure=in_unit(self.did.peak_pressure, "MPa", 2)),
            phrase("drawing.press.dryness", dryness=in_unit(self.did.dryness, "%", 2)),
            phrase("drawing.press.full", share=in_unit(self.did.nip_saturation, "%", 2)),
        )

    def anchors(self) -> tuple[Point, tuple[Point, ...]]:
        """Where a label points to, and where else it may."""
        away = self.towards + math.pi
        return self.circle.at(-0.35 * math.pi), tuple(self.circle.at(away + a) for a in (-0.9, 0.0, 0.9))

    def hazards(self, what: str, name: str) -> tuple[Hazard, Hazard]:
        """The in-running side of a nip, and the side that draws in when the rolls crawl backwards."""
        reach = 0.16 / self.mate.radius
        into, back = (self.mate.centre.beside(self.angle + s * reach, self.mate.radius + 0.03) for s in (1.0, -1.0))
        return (
            Hazard(kind="nip", place=into, text=phrase("drawing.hazard.nip", what=what, name=name)),
            Hazard(kind="nip at crawl", place=back, text=phrase("drawing.hazard.nip_at_crawl", name=name)),
        )


@dataclass(frozen=True)
class RollPlace:
    """A roll seen by its surface."""

    circle: Circle
    towards: float
    """The nip as seen from its centre; the roll turns anticlockwise."""
    cover: float = 0.0
    """Thickness of its cover, m."""


def shoe(place: NipPlace, length: float) -> tuple[Shape, Shape]:
    """An annular sector as long as the shoe, concentric with the mating roll, and the beam behind it."""
    inner = place.mate.radius + FELT_AND_SLEEVE
    turn = length / inner
    face = sector(place.mate.centre, inner, inner + SHOE_DEPTH, place.angle - turn / 2, turn)
    back, depth = place.mate.centre.beside(place.angle, inner + SHOE_DEPTH), 0.9 * place.circle.radius
    corners = ((0, BEAM), (depth, BEAM), (depth, -BEAM), (0, -BEAM), (0, BEAM))
    beam = [back.beside(place.angle, d, s) for d, s in corners]
    return Shape(role="shoe", path=face), Shape(role="steel", path=polyline(beam))


def suction_zone(place: RollPlace, shell: float, start: float, end: float) -> tuple[Shape, Shape]:
    """The inside of a drilled shell, and its suction box from one angle before the nip to one behind it."""
    inner = place.circle.radius - place.cover - shell
    # the roll turns anticlockwise: what comes before the nip lies clockwise of it
    box = sector(place.circle.centre, 0.3 * place.circle.radius, inner, place.towards + start, end - start)
    return ring(place.circle, inner, "open"), Shape(role="suction", path=box)


def voids(place: RollPlace, depth: float) -> tuple[Shape]:
    """Grooves or blind holes, never drawn shallower than can be seen."""
    return (ring(place.circle, place.circle.radius - max(depth, 0.012), "voids"),)


# --- on the felt


def box_beside(place: Stretch, depth: float, off: float = 0.0) -> tuple[tuple[Shape], Point]:
    """A plain box on a straight run, to the left of it if the depth is positive; gives the middle of its back too."""
    middle, h = place.middle
    a, b = place.path.at(place.start).point, place.path.at(place.end).point
    near, far = (a.beside(h, 0, off), b.beside(h, 0, off)), (b.beside(h, 0, depth), a.beside(h, 0, depth))
    return (Shape(role="box", path=polyline([*near, *far, near[0]])),), middle.beside(h, 0, depth)


def vacuum_roll(circle: Circle, turn: float) -> tuple[Shape, ...]:
    """A suction roll with its box at the bottom, drawn wide enough to be seen."""
    wide = max(turn, 0.25)
    box = sector(circle.centre, 0.25 * circle.radius, 0.86 * circle.radius, -math.pi / 2 - wide / 2, wide)
    return (*roll(circle), ring(circle, 0.86 * circle.radius, "open"), Shape(role="suction", path=box))


def shower(head: Circle, target: Point, heading: float) -> tuple[Shape, ...]:
    """A shower pipe and its spray."""
    spray = [polyline([head.centre, target.beside(heading, d)]) for d in (-0.08, 0.0, 0.08)]
    return (*roll(head), *(Shape(role="spray", path=one, closed=False) for one in spray))
