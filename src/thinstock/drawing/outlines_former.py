"""A former as drawn: the path of the stock over its rolls, boxes and blades, and the loops of its wires.

Wraps, diameters, lengths, pitches and angles are the machine's; where a former stands and over which other rolls its
wires return is assumed. Water is drawn where its element lets it go.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from thinstock.drawing.plan import LAYER, Outline, Plan, Shape, Wrap, roll
from thinstock.drawing.words import in_unit, joined, told
from thinstock.machine import elements as kinds
from thinstock.machine.geometry import Arc, Circle, Path, Point, Pose, Turtle, polyline, roll_on, sector

BREAST = 0.45
INCLINED_BREAST = 0.30
TOP = 0.40
TURNING = 0.30
GUIDE = 0.16
LANDING = math.radians(15.0)
"""Radii of rolls nobody gave (m), and how far before its top the jet meets an open breast roll; all assumed."""
LAG = math.radians(25.0)
"""How much longer the inner fabric stays on a forming roll where its wrap is not given (assumed)."""
EXIT = math.radians(-60.0)
"""The way a wire leads its sheet down to the felt (assumed)."""


@dataclass
class Track:
    """A former walked: the line of the fabric that carries the sheet."""

    path: Path
    turned: float
    """+1 if the first roll is turned to the left."""
    spans: list[tuple[float, float]]
    """Start and end of every element of the march along the path."""
    listed: list[tuple[float, float]]
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


def is_roll_former(forming: Any) -> bool:
    """True where the jet goes between two fabrics on a roll."""
    return isinstance(forming.element[0], kinds.FormingRoll)


def lags(forming: Any) -> tuple[float, float]:
    """How much earlier and later the inner fabric lies on the first roll than the outer one, rad.

    It lies there longer on both sides; where a second roll follows, before the jet only.
    """
    element = forming.element[0]
    more = LAG if element.inner_wrap is None else float(element.inner_wrap) - float(element.wrap)
    return (more, 0.0) if is_s(forming) else (0.5 * more, 0.5 * more)


def is_s(forming: Any) -> bool:
    """True where a second roll bends the sheet the other way."""
    return any(isinstance(e, kinds.FormingRoll) and e.outer == "back" for e in forming.element)


def walk(machine: Any, formed: Any, start: Pose, turned: float) -> Track:
    """The path from the place where the jet lands to the end of the former's own fabric."""
    forming = machine.forming
    lengths = _lengths(forming, formed)
    turtle = Turtle(start.point.x, start.point.y, start.heading)
    track = Track(Path(()), turned, [], [])
    cursor = 0.0
    climbs = isinstance(forming.element[0], kinds.InclinedBoxes)
    slope = start.heading if climbs else 0.0
    for element, own in zip(forming.element, lengths, strict=True):
        first = cursor
        if isinstance(element, kinds.FormingRoll):
            cursor = turtle.walked
            second = element.outer == "back"
            side = -turned if second else turned
            radius = float(element.roll_diameter) / 2 + (LAYER if second else 0.0)
            first = cursor
            track.arcs[element.name] = turtle.turn(radius, side * float(element.wrap))
        elif isinstance(element, kinds.JetImpact):
            track.arcs[element.name] = turtle.turn(BREAST, -LANDING)
        elif isinstance(element, kinds.SuctionBreastRoll):
            track.arcs[element.name] = turtle.turn(float(element.roll_diameter) / 2, -float(element.wrap))
        else:
            fall = -float(element.slope) if isinstance(element, kinds.Foils) else slope
            if abs(fall - turtle.pose.heading) > 1e-9 and not is_roll_former(forming):
                track.corners.append(turtle.turn(TOP, fall - turtle.pose.heading))
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


def _lengths(forming: Any, formed: Any) -> list[list[float]]:
    """Lengths of the march's elements, per listed element."""
    made, rows = forming.build(formed.around)
    return [[float(e.length) for e in made[a:b]] for _, a, b in rows]


def _close(machine: Any, turtle: Turtle, track: Track) -> None:
    """What follows the elements: boxes under the wire, couch or turning roll, and the run to the felt."""
    forming = machine.forming
    roller = is_roll_former(forming)
    if roller and not is_s(forming):
        after = lags(forming)[1]
        track.corners.append(turtle.turn(float(forming.element[0].roll_diameter) / 2, track.turned * after))
    if forming.carrier == "felt":
        turtle.straight(0.3)
        track.take = turtle.walked
        return
    slots = [s for s in machine.vacuum.slot if s.carrier == "wire"]
    turtle.straight(0.5 if roller else 0.4)
    for slot in slots:
        a = turtle.walked
        turtle.straight(max(float(slot.slot_width), 0.05))
        track.boxes.append((a, turtle.walked))
        turtle.straight(0.2)
    heading = turtle.pose.heading
    if heading > math.radians(-40.0):
        track.corners.append(turtle.turn(TOP, EXIT - heading))
    track.take = turtle.walked + 0.8
    turtle.straight(1.3)


def start_heading(machine: Any) -> float:
    """The way the stock runs where the path of a wire-carrying former begins."""
    forming = machine.forming
    first = forming.element[0]
    if isinstance(first, kinds.FormingRoll):
        if is_s(forming):
            return math.radians(90.0)
        ahead = EXIT + float(first.wrap) + lags(forming)[1]
        return min(max(ahead, math.radians(30.0)), math.radians(115.0))
    if isinstance(first, kinds.JetImpact):
        return LANDING
    if isinstance(first, kinds.SuctionBreastRoll):
        return float(first.wrap)
    if isinstance(first, kinds.InclinedBoxes):
        return float(first.slope)
    return 0.0


# --- parts


def breast_roll(track: Track) -> Circle:
    """The roll under the place where the jet lands, for formers that begin on a wire table."""
    first = track.path.pieces[0]
    if isinstance(first, Arc):
        return Circle(first.centre, first.radius)
    inclined = first.heading > math.radians(3.0)
    return roll_on(track.path.at(0.0), INCLINED_BREAST if inclined else BREAST, -1.0)


def parts(machine: Any, formed: Any, track: Track, plan: Plan) -> None:
    """Rolls, boards, blades and boxes of the former into the plan."""
    forming = machine.forming
    for element, (a, b), (_, first, last) in zip(forming.element, track.listed, formed.rows, strict=True):
        spans = track.spans[first:last]
        maker = _MAKERS.get(type(element))
        if maker is not None:
            plan.outlines.append(maker(machine, formed, element, track, a, b, spans))
        if isinstance(element, kinds.FormingRoll):
            plan.wraps.append(_wrap(formed, element, track, a, b))
    for slot, (a, b) in zip([s for s in machine.vacuum.slot if s.carrier == "wire"], track.boxes, strict=True):
        text = joined(f"{told(slot, 'vacuum')} below the air outside", f"slots {told(slot, 'slot_width')}")
        plan.outlines.append(box_beside(track.path, a, b, -1.0, slot.name, text))
    if not is_roll_former(forming):
        _table_rolls(forming, track, plan)


def _table_rolls(forming: Any, track: Track, plan: Plan) -> None:
    breast = breast_roll(track)
    if not isinstance(forming.element[0], kinds.SuctionBreastRoll | kinds.JetImpact):
        plan.outlines.append(
            Outline(
                name="breast roll",
                text=f"{in_unit(2 * breast.radius, 'm')} across (assumed)",
                shapes=roll(breast),
                anchor=breast.at(math.pi),
                label="",
            )
        )
    for i, arc in enumerate(track.corners):
        circle = Circle(arc.centre, arc.radius)
        name = "couch roll" if i == len(track.corners) - 1 else "top roll"
        plan.outlines.append(
            Outline(
                name=name,
                text=f"{in_unit(2 * circle.radius, 'm')} across (assumed)",
                shapes=roll(circle),
                anchor=circle.at(-math.pi / 2),
                label="",
            )
        )


def _wrap(formed: Any, element: Any, track: Track, a: float, b: float) -> Wrap:
    """The wrap of a forming roll and where forming ends on it."""

    def on_it(place: Any) -> float | None:
        if place is None:
            return None
        along = _along(track, float(place))
        if along is None or not a - 1e-9 <= along <= b + 1e-9:
            return None
        return (along - a) / track.arcs[element.name].radius

    slow = formed.resistance_high[0] if formed.resistance_high is not None else None
    return Wrap(
        later=on_it(slow) is None,
        name=element.name,
        arc=track.arcs[element.name],
        formed=on_it(formed.dry_line),
        formed_slow=on_it(slow),
    )


def _along(track: Track, place: float) -> float | None:
    """Distance along the path of a place counted along the elements only."""
    if not math.isfinite(place):
        return None
    done = 0.0
    for a, b in track.spans:
        if place <= done + (b - a) + 1e-12:
            return a + place - done
        done += b - a
    return track.spans[-1][1]


def along_path(track: Track, place: float) -> float:
    """The same, with the end of the elements where the place is not reached."""
    found = _along(track, place)
    return track.spans[-1][1] if found is None else found


def box_beside(
    path: Path, a: float, b: float, side: float, name: str, text: str, depth: float = 0.32, label: str = ""
) -> Outline:
    """A box with its mouth on a stretch of path."""
    mouth = path.part(a, b).points(0.05)
    h = path.at(0.5 * (a + b)).heading
    outer = [p.beside(h, 0.0, side * depth) for p in (mouth[-1], mouth[0])]
    middle = Point(0.5 * (outer[0].x + outer[1].x), 0.5 * (outer[0].y + outer[1].y))
    count = max(2, min(8, round((b - a) / 0.06)))
    slots = tuple(
        Shape(
            role="detail",
            path=polyline(
                [
                    path.at(a + (b - a) * (i + 0.5) / count).point,
                    path.at(a + (b - a) * (i + 0.5) / count).point.beside(h, 0.0, side * 0.08),
                ]
            ),
            closed=False,
        )
        for i in range(count)
    )
    return Outline(
        name=name,
        text=text,
        label=label or name,
        anchor=middle,
        shapes=(Shape(role="box", path=polyline([*mouth, *outer, mouth[0]])), *slots),
    )


def _board(machine: Any, formed: Any, e: Any, track: Track, a: float, b: float, spans: Any) -> Outline:
    path, h = track.path, track.path.at(a).heading
    p, q = path.at(a + 0.15 * (b - a)).point, path.at(b).point
    shape = polyline([p, q, q.beside(h, 0, -0.07), p.beside(h, 0, -0.07), p])
    return Outline(
        name=e.name,
        text=f"{told(e, 'length')} long, drains nothing",
        label=e.name,
        anchor=p.beside(h, 0.1, -0.07),
        shapes=(Shape(role="steel", path=shape),),
    )


def _rolls(machine: Any, formed: Any, e: Any, track: Track, a: float, b: float, spans: Any) -> Outline:
    shapes: list[Shape] = []
    radius = float(e.roll_diameter) / 2
    for start, end in spans:
        if end - start < 1e-9:
            shapes += roll(roll_on(track.path.at(start), radius, -1.0))
    middle = track.path.at(0.5 * (a + b)).point
    text = joined(
        f"{int(e.number)} rolls of {told(e, 'roll_diameter')} at {told(e, 'pitch')} pitch",
        f"suction at most {told(e, 'suction_cap')} (assumed)",
    )
    return Outline(name=e.name, text=text, label=e.name, anchor=middle.beside(0, 0, -2 * radius), shapes=tuple(shapes))


def _foils(machine: Any, formed: Any, e: Any, track: Track, a: float, b: float, spans: Any) -> Outline:
    shapes: list[Shape] = []
    length, angle = float(e.foil_length), float(e.foil_angle)
    suction = float(e.suction_share) * length
    for start, _ in spans[1::2]:
        nose = track.path.at(start - 0.5 * (length - suction))
        p, h = nose
        tail = p.beside(h, length * math.cos(angle), -length * math.sin(angle))
        foot = max(0.05, length * math.sin(angle) + 0.03)
        corners = [
            p,
            tail,
            tail.beside(h, -0.25 * length, -foot + length * math.sin(angle)),
            p.beside(h, 0.25 * length, -foot),
            p,
        ]
        shapes.append(Shape(role="foil", path=polyline(corners)))
    middle = track.path.at(0.5 * (a + b))
    steep = angle > float(e.foil_angle_cap) + 1e-9
    text = joined(
        f"{int(e.number)} blades of {told(e, 'foil_length')} at {told(e, 'pitch')} pitch",
        f"foil angle {told(e, 'foil_angle')}"
        + (f" (what is beyond {told(e, 'foil_angle_cap')} is not modelled)" if steep else ""),
    )
    return Outline(
        name=e.name, text=text, label=e.name, anchor=middle.point.beside(middle.heading, 0, -0.1), shapes=tuple(shapes)
    )


def _gravity(machine: Any, formed: Any, e: Any, track: Track, a: float, b: float, spans: Any) -> Outline:
    line = track.path.part(a, b).beside(-0.05)
    middle = track.path.at(0.5 * (a + b)).point
    return Outline(
        name=e.name,
        text=f"{told(e, 'length')} of open wire",
        label=e.name,
        anchor=middle.beside(0, 0, -0.05),
        shapes=(Shape(role="detail", path=line, closed=False),),
    )


def _box(machine: Any, formed: Any, e: Any, track: Track, a: float, b: float, spans: Any) -> Outline:
    return box_beside(track.path, a, b, -1.0, e.name, f"{told(e, 'length')} long, {told(e, 'vacuum')}")


def _impact(machine: Any, formed: Any, e: Any, track: Track, a: float, b: float, spans: Any) -> Outline:
    circle = breast_roll(track)
    text = joined(
        f"open roll {in_unit(2 * circle.radius, 'm')} across (assumed)",
        f"the jet meets it at {told(e, 'impact_angle')}",
    )
    inner = Circle(circle.centre, 0.86 * circle.radius)
    return Outline(
        name="open breast roll",
        text=text,
        label="open breast roll",
        anchor=circle.at(math.pi),
        shapes=(*roll(circle), Shape(role="open", path=_whole(inner))),
    )


def _whole(circle: Circle) -> Path:
    from thinstock.machine.geometry import circle_path

    return circle_path(circle)


def _suction_roll(machine: Any, formed: Any, e: Any, track: Track, a: float, b: float, spans: Any) -> Outline:
    arc = track.arcs[e.name]
    circle = Circle(arc.centre, arc.radius)
    lips = sector(arc.centre, 0.35 * arc.radius, 0.9 * arc.radius, arc.begin, arc.turn)
    text = joined(
        f"{told(e, 'roll_diameter')} across",
        f"box over {told(e, 'wrap')} at {told(e, 'vacuum')}",
        f"the jet meets it at {told(e, 'impact_angle')}",
    )
    return Outline(
        name=e.name,
        text=text,
        label=e.name,
        anchor=circle.at(math.pi),
        shapes=(
            *roll(circle),
            Shape(role="open", path=_whole(Circle(arc.centre, 0.9 * arc.radius))),
            Shape(role="suction", path=lips),
        ),
    )


def _inclined(machine: Any, formed: Any, e: Any, track: Track, a: float, b: float, spans: Any) -> Outline:
    path = track.path
    h = path.at(a).heading
    shapes: list[Shape] = []
    for start, end in spans:
        one = box_beside(path, start, end, -1.0, e.name, "", depth=0.36)
        shapes += one.shapes
    low = path.at(a).point
    level = low.y + float(e.pond_head)
    reach = min((level - low.y) / math.tan(h) if h > 0 else b - a, (b - a) * math.cos(h))
    edge = Point(low.x + reach, low.y + reach * math.tan(h))
    inlet = Point(low.x - 0.05, level)
    pond = polyline([low, edge, Point(edge.x, level), inlet, low])
    shapes.insert(0, Shape(role="pond", path=pond))
    roof = polyline(
        [Point(inlet.x - 0.25, level + 0.12), Point(edge.x - 0.08, level + 0.12), Point(edge.x + 0.05, level + 0.03)]
    )
    shapes.append(Shape(role="lip", path=roof, closed=False))
    text = joined(
        f"{int(e.number)} boxes of {told(e, 'length')} at {told(e, 'vacuum')}",
        f"wire climbs at {told(e, 'slope')}",
        f"pond {told(e, 'pond_head')} deep",
    )
    middle = path.at(0.5 * (a + b)).point
    return Outline(name=e.name, text=text, label=e.name, anchor=middle.beside(h, 0, -0.36), shapes=tuple(shapes))


def _forming_roll(machine: Any, formed: Any, e: Any, track: Track, a: float, b: float, spans: Any) -> Outline:
    arc = track.arcs[e.name]
    circle = Circle(arc.centre, float(e.roll_diameter) / 2)
    shapes: list[Shape] = [*roll(circle)]
    if e.roll != "solid":
        shapes.append(Shape(role="open", path=_whole(Circle(circle.centre, 0.9 * circle.radius))))
    if e.roll == "suction":
        shapes.append(
            Shape(
                role="suction",
                path=sector(circle.centre, 0.3 * circle.radius, 0.9 * circle.radius, arc.begin, arc.turn),
            )
        )
    text = joined(
        f"{told(e, 'roll_diameter')} across, {e.roll}",
        f"wrap {told(e, 'wrap')}",
        f"fabric tension {told(e, 'fabric_tension')}",
        f"vacuum {told(e, 'vacuum')}" if e.roll == "suction" else "",
        end_of_forming(formed) if e is machine.forming.element[0] else "",
    )
    return Outline(name=e.name, text=text, label=e.name, anchor=circle.centre.beside(-0.5, 0.3), shapes=tuple(shapes))


def end_of_forming(formed: Any) -> str:
    """Where forming ends, with its band, in words."""
    if not bool(formed.formed):
        return "forming does not end on it"
    wrap = float(formed.dry_line_wrap)
    if math.isfinite(wrap):
        said = f"forming ends after {in_unit(wrap, 'deg', 2)} of wrap"
        scale = wrap / float(formed.dry_line)
        unit = "deg"
    else:
        said, scale, unit = f"forming ends after {in_unit(formed.dry_line, 'm', 2)}", 1.0, "m"
    if formed.resistance_high is None:
        return said
    slow = float(formed.resistance_high[0])
    if not math.isfinite(slow):
        return f"{said}, not at all if the mat resists five times as much (not calibrated)"
    return f"{said}, {in_unit(slow * scale, unit, 2)} if the mat resists five times as much (not calibrated)"


_MAKERS: dict[type, Any] = {
    kinds.FormingBoard: _board,
    kinds.JetImpact: _impact,
    kinds.TableRolls: _rolls,
    kinds.Foils: _foils,
    kinds.GravityTable: _gravity,
    kinds.FormingBox: _box,
    kinds.SuctionBreastRoll: _suction_roll,
    kinds.InclinedBoxes: _inclined,
    kinds.FormingRoll: _forming_roll,
}
