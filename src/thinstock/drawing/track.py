"""A former walked: the path of the fabric that carries the stock, from where the jet lands to where it hands on.

Each element says how the fabric runs along it; what lies between and behind them is assumed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from thinstock.machine.forming import Formed, Forming
from thinstock.machine.geometry import Arc, Path, Pose, Turtle
from thinstock.machine.line import Machine
from thinstock.machine.vacuum import Slot

TOP = 0.40
"""Radius of a roll over which a wire changes its slope, m (assumed)."""
BEYOND_BREAST, BEFORE_TOP = 0.45, 0.42
"""How far a climbing wire runs from its breast roll to its first box, and its last box to the top roll (assumed)."""
LAG = math.radians(25.0)
"""How much longer the inner fabric stays on a forming roll where its wrap is not given (assumed)."""
EXIT = math.radians(-60.0)
"""The way a wire leads its sheet down to the felt (assumed)."""
EXIT_C = math.radians(-45.0)
CLIMB_C = math.radians(12.0)
RUN_C = 0.9
"""The same behind a roll with two wires that turn once, how its wire climbs ahead of that, and how far (m); assumed."""
FLATTEST = math.radians(-40.0)
"""A wire that runs flatter than this is led over a last roll."""


@dataclass
class Track:
    """A former walked: the line of the fabric that carries the sheet."""

    path: Path
    turned: float
    """+1 if the first roll is turned to the left."""
    spans: list[tuple[float, float]] = field(default_factory=list)
    """Start and end of every element of the march along the path."""
    listed: list[tuple[float, float]] = field(default_factory=list)
    """The same per listed element of the file."""
    boxes: list[tuple[float, float]] = field(default_factory=list)
    """Boxes under the wire behind the former."""
    take: float = 0.0
    """Where the felt takes the sheet from a wire."""
    arcs: dict[str, Arc] = field(default_factory=dict)
    """The wrap of each forming or breast roll, by the element's name."""
    corners: list[Arc] = field(default_factory=list)
    """Rolls of the carrying fabric that are no elements: breast roll, top roll, couch."""

    @property
    def out(self) -> Pose:
        """End of the path."""
        return self.path.at(self.path.length)

    def along(self, place: float) -> float | None:
        """Distance along the path of a place counted along the elements only; None where there is none."""
        if not math.isfinite(place):
            return None
        done = 0.0
        for a, b in self.spans:
            if place <= done + (b - a) + 1e-12:
                return a + place - done
            done += b - a
        return self.spans[-1][1]

    def reached(self, place: float) -> float:
        """The same, with the end of the elements where the place is not reached."""
        found = self.along(place)
        return self.spans[-1][1] if found is None else found


def between_fabrics(forming: Forming) -> bool:
    """True where the jet goes between two fabrics on a roll."""
    return forming.element[0].between


def bends_both_ways(forming: Forming) -> bool:
    """True where a second roll bends the sheet the other way."""
    return any(e.second for e in forming.element)


def lags(forming: Forming) -> tuple[float, float]:
    """How much earlier and later the inner fabric lies on the first roll than the outer one, rad.

    It lies there longer on both sides; where a second roll follows, before the jet only.
    """
    given = forming.element[0].lag()
    more = LAG if given is None else given
    return (more, 0.0) if bends_both_ways(forming) else (0.5 * more, 0.5 * more)


def wire_slots(machine: Machine) -> list[Slot]:
    """Slots under the wire, in order."""
    return [s for s in machine.vacuum.slot if s.carrier == "wire"]


def felt_slots(machine: Machine) -> list[Slot]:
    """Slots on the felt, in order."""
    return [s for s in machine.vacuum.slot if s.carrier == "felt"]


def start_heading(forming: Forming) -> float:
    """The way the stock runs where the path of a wire-carrying former begins."""
    first = forming.element[0]
    bend = first.bend(1.0)
    if not first.between or bend is None:
        return first.heading()
    if bends_both_ways(forming):
        return math.radians(90.0)
    return min(CLIMB_C + bend.turn + lags(forming)[1], math.radians(195.0))


def walk(machine: Machine, formed: Formed, start: Pose, turned: float) -> Track:
    """The path from the place where the jet lands to the end of the former's own fabric."""
    forming = machine.forming
    made, rows = forming.build(formed.arriving)
    turtle = Turtle(start.point.x, start.point.y, start.heading)
    track = Track(Path(()), turned)
    climb = forming.element[0].climb()
    if climb > 0:
        turtle.straight(BEYOND_BREAST)
    cursor = turtle.walked
    for element, (_, a, b) in zip(forming.element, rows, strict=True):
        first, own = cursor, [float(e.length) for e in made[a:b]]
        bend = element.bend(turned)
        if bend is not None:
            first = cursor = turtle.walked
            track.arcs[element.name] = turtle.turn(*bend)
        else:
            turn = element.fall(climb) - turtle.pose.heading
            if abs(turn) > 1e-9 and not between_fabrics(forming):
                if climb > 0:
                    turtle.straight(BEFORE_TOP)
                track.corners.append(turtle.turn(TOP, turn))
                first = cursor = turtle.walked
            end = cursor + math.fsum(own)
            if end > turtle.walked:
                turtle.straight(end - turtle.walked)
        for length in own:
            track.spans.append((cursor, cursor + length))
            cursor += length
        track.listed.append((first, cursor))
    _close(machine, turtle, track)
    track.path = turtle.path()
    return track


def _close(machine: Machine, turtle: Turtle, track: Track) -> None:
    """What follows the elements: boxes under the wire, couch or turning roll, and the run to the felt."""
    forming = machine.forming
    roller = between_fabrics(forming)
    bend = forming.element[0].bend(track.turned)
    if roller and bend is not None and not bends_both_ways(forming):
        track.corners.append(turtle.turn(bend.radius, track.turned * lags(forming)[1]))
    if forming.carrier == "felt":
        turtle.straight(0.3)
        track.take = turtle.walked
        return
    once = roller and not bends_both_ways(forming)
    turtle.straight(RUN_C if once else 0.5 if roller else 0.4)
    for slot in wire_slots(machine):
        a = turtle.walked
        turtle.straight(max(float(slot.slot_width), 0.05))
        track.boxes.append((a, turtle.walked))
        turtle.straight(0.2)
    heading = turtle.pose.heading
    if heading > FLATTEST:
        track.corners.append(turtle.turn(TOP, (EXIT_C if once else EXIT) - heading))
    track.take = turtle.walked + 0.8
    turtle.straight(1.3)
