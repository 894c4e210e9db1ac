"""The loops of the forming fabrics as drawn: over the former's own rolls, and over return rolls that are assumed."""

from __future__ import annotations

import math

from thinstock.drawing.plan import Loop, Rolls
from thinstock.drawing.track import Track, bends_both_ways, between_fabrics, lags
from thinstock.machine.geometry import Arc, Circle, Point, Pose, belt, roll_on
from thinstock.machine.line import Machine
from thinstock.machine.outlines.former import breast_roll
from thinstock.machine.outlines.said import joined, told
from thinstock.machine.outlines.shape import LAYER
from thinstock.words.phrase import phrase

TURNING = 0.30
GUIDE = 0.16
"""Radii of rolls of a wire nobody gave, m (assumed)."""


def wires(machine: Machine, track: Track) -> list[Loop]:
    """The closed loops of the forming fabrics, over rolls that are assumed where not given."""
    forming = machine.forming
    text = joined(
        phrase("drawing.wire", name=forming.wire.name, permeability=told(forming.wire, "air_permeability")),
        phrase("drawing.schematic_run"),
    )
    if not between_fabrics(forming):
        return [_table_wire(track, text)]
    if forming.carrier == "felt":
        return [_outer_wire(machine, track, text, phrase("drawing.fabric.forming_wire"))]
    return [
        _inner_wire(machine, track, text),
        _outer_wire(machine, track, text, phrase("drawing.fabric.outer_wire")),
    ]


def _loop(name: str, text: str, rolls: Rolls, anchor: int = -1) -> Loop:
    path = belt(rolls)
    return Loop(name=name, text=text, role="wire", path=path, rolls=tuple(rolls), anchor=rolls[anchor][0].centre)


def _circles(track: Track) -> Rolls:
    """The rolls the carrying fabric turns round inside its loop, in order."""
    arcs = [p for p in track.path.pieces if isinstance(p, Arc)]
    found: Rolls = []
    for arc in arcs:
        circle = Circle(arc.centre, arc.radius)
        if not found or found[-1][0].centre.distance(circle.centre) > 1e-9:
            found.append((circle, arc.side))
    return found


def _table_wire(track: Track, text: str) -> Loop:
    breast = breast_roll(track.path)
    rolls = [(breast, -1.0)]
    rolls += [c for c in _circles(track) if c[0].centre.distance(breast.centre) > 1e-9]
    turning = roll_on(track.out, TURNING, -1.0)
    lowest = min(breast.centre.y - breast.radius, turning.centre.y - 0.2) - 0.75
    rolls += [
        (turning, -1.0),
        (Circle(Point(turning.centre.x - 0.9, lowest), GUIDE), -1.0),
        (Circle(Point(breast.centre.x + 0.55, lowest), GUIDE), -1.0),
    ]
    return _loop(phrase("drawing.fabric.wire"), text, rolls, -2)


def _inner_wire(machine: Machine, track: Track, text: str) -> Loop:
    first = machine.forming.element[0]
    before, _ = lags(machine.forming)
    arc = track.arcs[first.name]
    circle = Circle(arc.centre, arc.radius)
    arrive = track.path.at(0.0).heading - track.turned * before
    touch = Pose(circle.at(arrive - track.turned * math.pi / 2), arrive)
    back = touch.point.beside(arrive, -0.7)
    lead = roll_on(Pose(back, arrive), GUIDE, -1.0)
    rolls = _circles(track)
    turning = roll_on(track.out, TURNING, -1.0)
    if bends_both_ways(machine.forming):
        low = min(lead.centre.y - 0.5, turning.centre.y - 0.5)
        rolls += [(turning, -1.0), (Circle(Point(lead.centre.x + 0.55, low), GUIDE), -1.0), (lead, -1.0)]
    else:  # the wire comes straight back above the headbox
        rolls += [(turning, -1.0), (lead, 1.0 if lead.centre.y > turning.centre.y else -1.0)]
    return _loop(phrase("drawing.fabric.inner_wire"), text, rolls, -2)


def _outer_wire(machine: Machine, track: Track, text: str, name: str) -> Loop:
    """The wire outside the first roll: on the side of the path that faces away from it."""
    side = -track.turned
    arcs = [track.arcs[e.name] for e in machine.forming.element if e.between]
    begin = Pose(arcs[0].beside(side * LAYER).start, track.path.at(0.0).heading)
    breast = roll_on(Pose(begin.point.beside(begin.heading, -0.42), begin.heading), 0.22, side)
    rolls: Rolls = [(breast, side), (Circle(arcs[0].centre, arcs[0].radius + LAYER), -side)]
    if len(arcs) > 1:
        rolls.append((Circle(arcs[1].centre, arcs[1].radius - LAYER), side))
        last = Circle(arcs[1].centre, arcs[1].radius)
    else:
        end = Pose(arcs[0].beside(side * LAYER).end, begin.heading + arcs[0].turn)
        leave = roll_on(Pose(end.point.beside(end.heading, 0.42), end.heading), TURNING, side)
        rolls.append((leave, side))
        last = leave
    around = _round_the_left if side < 0 else _over_the_top
    rolls += [(Circle(place, GUIDE), side) for place in around(arcs[0], breast, last)]
    return _loop(name, text, rolls, -2)


REACH = 1.05
"""How far an outer wire's return run stands off its forming roll, m (assumed)."""


def _round_the_left(arc: Arc, breast: Circle, last: Circle) -> tuple[Point, Point, Point]:
    """Return rolls of a wire that lies right of the path: below, far left, above the gap."""
    left = arc.centre.x - arc.radius - REACH
    return (
        Point(left + 0.35, min(last.centre.y, arc.centre.y - arc.radius) - 0.25),
        Point(left - 0.15, breast.centre.y + 0.75),
        Point(breast.centre.x - 0.15, breast.centre.y + 0.95),
    )


def _over_the_top(arc: Arc, breast: Circle, last: Circle) -> tuple[Point, Point, Point]:
    """Return rolls of a wire that lies left of the path: above right, above left, left of the gap."""
    left = min(arc.centre.x - arc.radius - REACH, breast.centre.x - 0.8)
    high = max(arc.centre.y + arc.radius + REACH, last.centre.y + 0.9)
    return (
        Point(last.centre.x + 0.1, high),
        Point(left, high - 0.1),
        Point(left - 0.1, min(breast.centre.y + 0.35, arc.centre.y - arc.radius)),
    )
