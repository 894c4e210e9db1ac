"""The dry end as drawn: Yankee with shell, hood, crepe doctor, reel; for heavier grades a group of cylinders.

The Yankee's diameter, shell, wrap and hood cover are the machine's; depth of the hood, doctor stand and reel are
assumed.
"""

from __future__ import annotations

import itertools
import math
from typing import Any

from thinstock.drawing.plan import Hazard, Outline, Plan, Shape, roll
from thinstock.drawing.words import in_unit, joined, told, written
from thinstock.machine.geometry import (
    Arc,
    Circle,
    Line,
    Path,
    Point,
    circle_path,
    polyline,
    sector,
    tangent,
    turn_between,
)

HOOD_DEPTH = 0.85
DRUM = 0.45
PARENT = 0.75
CYLINDER = 0.75
LEAD = 0.12
"""Depth of the hood, radii of reel drum, parent roll, drying cylinders and lead rolls, m (assumed)."""


def hood_reach(machine: Any) -> float:
    """Radius of the hood's outside."""
    return float(machine.yankee.diameter) / 2 + float(machine.hood.nozzle_gap) + HOOD_DEPTH


def hood_start(machine: Any, nip_angle: float) -> float:
    """The angle at which the hood starts, as seen from the Yankee's centre."""
    return nip_angle - 2 * math.pi * float(machine.hood.start)


def yankee(machine: Any, dry: Any, circle: Circle) -> Outline:
    """The shell."""
    part = machine.yankee
    inner = circle.radius - float(part.shell_thickness)
    surface = "" if dry is None else f"shell {written('surface_temperature', dry.dried.surface_temperature)} outside"
    limit = "limit not known" if part.steam_pressure_limit is None else f"limit {told(part, 'steam_pressure_limit')}"
    steam = told(part, "steam_pressure")
    if dry is not None:
        steam = in_unit(dry.dried.steam_pressure, "bar(a)")
    text = joined(
        f"{told(part, 'diameter')} across",
        f"{told(part, 'speed')}",
        f"steam {steam}, {limit}",
        surface,
        "a pressure vessel: its certificate rules",
    )
    return Outline(
        name="Yankee",
        label="Yankee",
        text=text,
        anchor=circle.centre.beside(0.6, 0.4),
        shapes=(*roll(circle, "shell"), Shape(role="shell inside", path=circle_path(Circle(circle.centre, inner)))),
    )


def hood(machine: Any, dry: Any, circle: Circle, nip_angle: float) -> Outline:
    """The hood as a ring in two halves over the part of the turn it covers."""
    part = machine.hood
    start = hood_start(machine, nip_angle)
    turn = 2 * math.pi * float(part.covered)
    inner = circle.radius + float(part.nozzle_gap)
    half = turn / 2
    slit = 0.03 / inner
    shapes: list[Shape] = []
    for a, t in ((start, half - slit), (start - half - slit, half - slit)):
        shapes.append(Shape(role="hood", path=sector(circle.centre, inner, inner + HOOD_DEPTH, a, -t)))
        plate = Arc(circle.centre, inner + 0.16, a, -t)
        shapes.append(Shape(role="nozzles", path=Path((plate,)), closed=False))
    air = told(part, "air_temperature")
    if dry is not None:
        air = in_unit(dry.dried.air_temperature, "°C", kind="temperature")
    text = joined(
        f"{part.heating}-heated air {air}",
        f"jets {told(part, 'jet_velocity')}",
        f"over {told(part, 'covered')} of the turn",
    )
    return Outline(
        name="hood",
        label="hood",
        text=text,
        shapes=tuple(shapes),
        anchor=circle.centre.beside(start - 0.3 * turn, inner + HOOD_DEPTH),
    )


def wrap_arc(machine: Any, circle: Circle, nip_angle: float) -> Arc:
    """The sheet on the Yankee, from the nip to the crepe doctor."""
    return circle.arc(nip_angle, -float(machine.yankee.wrap))


def doctor(machine: Any, circle: Circle, angle: float) -> tuple[Outline, Hazard]:
    """The crepe doctor at the end of the wrap: it lies against the turning shell."""
    p = circle.at(angle)
    against = angle + math.pi / 2 + math.radians(25.0)  # the shell runs clockwise; the blade points up against it
    tail = p.beside(against + math.pi, 0.42)
    beam = tail.beside(against + math.pi, 0.12)
    half = 0.09
    back = polyline(
        [
            beam.beside(against, d, s)
            for d, s in ((0.16, half), (0.16, -half), (-0.14, -half), (-0.14, half), (0.16, half))
        ]
    )
    outline = Outline(
        name="crepe doctor",
        label="crepe doctor",
        anchor=beam,
        text=f"takes the sheet off, crepe {told(machine.grade, 'crepe')}",
        shapes=(Shape(role="blade", path=polyline([p, tail]), closed=False), Shape(role="steel", path=back)),
    )
    return outline, Hazard(kind="blade", place=p.beside(angle, 0.24), text="razor-edged doctor blade")


def reel(machine: Any, start: Point, at: Point, values: Any) -> tuple[Outline, Line]:
    """Drum and parent roll, and the free sheet that runs to them."""
    drum = Circle(at, DRUM)
    parent = Circle(at.beside(math.radians(28.0), DRUM + PARENT), PARENT)
    line = tangent(Circle(start, 0.0), -1.0, drum, -1.0) if start.distance(at) > DRUM + 0.01 else Line(start, start)
    made = values.get("production") if values else None
    text = joined(
        f"{in_unit(made, 't/h')} at {written('speed', values['reel_speed'], digits=4)}"
        if made is not None
        else "no sheet",
        f"{told(machine.grade, 'reel_grammage')} at {told(machine.grade, 'reel_dryness')} dryness wanted",
    )
    return Outline(
        name="reel", label="reel", text=text, anchor=parent.at(0.3), shapes=(*roll(drum), *roll(parent, "paper roll"))
    ), line


def reel_nip(drum: Point) -> Hazard:
    """The in-running nip of drum and parent roll."""
    place = drum.beside(math.radians(28.0) + 0.5, DRUM + 0.16)
    return Hazard(kind="nip", place=place, text="in-running nip of drum and parent roll")


def hot_shell(circle: Circle) -> Hazard:
    """The sign for the hot shell, on the shell's bare part."""
    return Hazard(
        kind="hot",
        place=circle.centre.beside(-math.pi / 2 + 0.12, circle.radius - 0.3),
        text="hot shell, pressure vessel",
    )


def cylinders(machine: Any, dry: Any, nip: Point, start: Point, plan: Plan) -> tuple[Path, Circle]:
    """A drying group, schematic: drying there is a stated specific energy, not computed cylinder by cylinder.

    Gives the sheet's path from the last nip to the reel drum, and the drum.
    """
    pitch, count = 1.75, 4
    top = [Circle(Point(start.x + 1.4 + i * pitch, start.y + 0.9), CYLINDER) for i in range(count)]
    low = [Circle(Point(start.x + 1.4 + (i + 0.5) * pitch, start.y - 0.7), CYLINDER) for i in range(count)]
    lead, after = Circle(start, LEAD), Circle(Point(low[-1].centre.x + 1.35, low[-1].centre.y + 0.75), LEAD)
    drum = Circle(Point(after.centre.x + 1.3, after.centre.y - 0.75), DRUM)
    order = [
        (lead, 1.0),
        *((c, s) for pair in zip(top, low, strict=True) for c, s in zip(pair, (-1.0, 1.0), strict=True)),
        (after, -1.0),
        (drum, -1.0),
    ]
    shapes: list[Shape] = []
    for circle in (*top, *low):
        shapes += roll(circle, "shell")
    for circle in (lead, after):
        shapes += roll(circle)
    pieces: list[Line | Arc] = [tangent(Circle(nip, 0.0), 1.0, *order[0])]
    for (circle, side), (following, turn) in itertools.pairwise(order):
        run = tangent(circle, side, following, turn)
        into = pieces[-1].at(pieces[-1].length).heading
        pieces += [circle.arc(into - side * math.pi / 2, turn_between(into, run.heading, side)), run]
    said = "" if dry is None else f"evaporates {written('evaporation', dry.evaporation)}"
    plan.outlines.append(
        Outline(
            name="drying group",
            label="drying group (schematic)",
            anchor=top[1].at(math.pi / 2),
            text=joined(
                said,
                f"{told(machine.dryer, 'heat_per_water')} of water (stated, not computed)",
                "number and size of cylinders schematic",
            ),
            shapes=tuple(shapes),
        )
    )
    plan.hazards.append(Hazard(kind="hot", place=top[0].centre, text="hot cylinders"))
    return Path(tuple(pieces)), drum
