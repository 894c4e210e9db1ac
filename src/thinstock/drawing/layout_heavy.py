"""Lays out a machine without a Yankee: former, press section of roll nips or shoes, drying group, reel.

Three roll nips that share their rolls stand as a cluster round a centre roll; anything else stands in a row with its
nips on one level. Diameters, shoe lengths and felted sides are the machine's; places, felt runs and cylinders are
assumed.
"""

from __future__ import annotations

import math
from typing import Any

from thinstock.drawing import layout, water
from thinstock.drawing import outlines_dryer as dry_end
from thinstock.drawing import outlines_press as press
from thinstock.drawing.outlines_press import Placed
from thinstock.drawing.plan import Leaving, Loop, Outline, Plan, Run, Shape, roll
from thinstock.drawing.words import in_unit, number
from thinstock.machine.geometry import Circle, Line, Path, Point, belt
from thinstock.machine.press import RollNip, ShoeNip

GUIDE = layout.FELT_GUIDE
SECOND_NIP, FIRST_NIP, THIRD_NIP = (math.radians(a) for a in (195.0, 235.0, 30.0))
"""Where the nips of the cluster lie: second and third as seen from the centre roll, first from the suction roll."""
PITCH = 4.5
"""From nip to nip in a row, m (assumed)."""


def without_yankee(result: Any, plan: Plan) -> Plan:
    """The plan of a machine that dries on cylinders."""
    machine, wet = result.machine, result.wet
    results = list(wet.nips) or [None] * len(machine.press.nip)
    pairs = list(zip(machine.press.nip, results, strict=True))
    cluster = machine.forming.carrier == "wire" and _shares_rolls([part for part, _ in pairs])
    nips, first, after, felts = _cluster(pairs) if cluster else _row(pairs)
    track, rolls = _first_felt(machine, wet, first, nips[0].mate if cluster else None)
    loop = Loop(
        name="felt",
        text=press.felt_text(machine, wet),
        role="felt",
        path=belt(rolls),
        rolls=tuple(rolls),
        anchor=rolls[-1][0].centre,
    )
    plan.loops.append(loop)
    layout.place_former(machine, wet, track, plan)
    for circles in felts:
        plan.loops.append(_own_felt(machine, circles))
    _rolls(nips, plan)
    pressed = next(i for i, (c, _) in enumerate(rolls) if c == first)
    press.felt_boxes(machine, Path((_return(loop, rolls, pressed),)), plan)
    layout.on_the_way(result, rolls, pressed - 1 if cluster else pressed, plan)
    end = _dry(result, nips, after, plan)
    layout.sheet_on_felt(result, track, loop, nips[0], plan)
    water.bands(result, track, plan, [], None)
    _bands(result, nips, end, plan)
    layout.guide_hazards(plan)
    return plan


def _shares_rolls(parts: list[Any]) -> bool:
    """True for three roll nips whose diameters fit four rolls in a cluster."""
    if len(parts) != 3 or not all(isinstance(p, RollNip) for p in parts):
        return False
    one, two, three = parts
    return number(one.roll_diameter) == number(two.roll_diameter) and number(two.mating_diameter) == number(
        three.mating_diameter
    )


def _cluster(pairs: list[Any]) -> tuple[list[Placed], Circle, Path, list[list[tuple[Circle, float]]]]:
    """Centre roll, suction roll, lower roll and a fourth: nips, the first felt's roll, the sheet after nip 1, felts."""
    (one, a), (two, b), (three, c) = pairs
    centre = Circle(Point(0.0, 0.0), number(two.mating_diameter) / 2)
    radius = number(two.roll_diameter) / 2
    suction = Circle(centre.centre.beside(SECOND_NIP, centre.radius + radius), radius)
    lower_radius = number(one.mating_diameter) / 2
    lower = Circle(suction.centre.beside(FIRST_NIP, radius + lower_radius), lower_radius)
    last_radius = number(three.roll_diameter) / 2
    last = Circle(centre.centre.beside(THIRD_NIP, centre.radius + last_radius), last_radius)
    nips = [Placed(one, a, suction, lower), Placed(two, b, suction, centre), Placed(three, c, last, centre)]
    on_suction = suction.arc(FIRST_NIP, (SECOND_NIP - math.pi) + 2 * math.pi - FIRST_NIP)
    on_centre = centre.arc(SECOND_NIP, THIRD_NIP - SECOND_NIP)
    felts = [_upper(last)]
    if number(one.felted_sides) > 1:
        felts.append(_lower(lower))
    return nips, suction, Path((on_suction, on_centre)), felts


def _row(pairs: list[Any]) -> tuple[list[Placed], Circle, Path, list[list[tuple[Circle, float]]]]:
    """Nips on one level: the first felt runs over the upper roll of the first nip."""
    nips: list[Placed] = []
    felts: list[list[tuple[Circle, float]]] = []
    first: Circle | None = None
    for i, (part, result) in enumerate(pairs):
        at = Point(i * PITCH, 0.0)
        own = number(part.roll_diameter) / 2
        mate = getattr(part, "mating_diameter", None)
        other = number(mate) / 2 if mate is not None else COUNTER / 2
        above = i == 0 and not isinstance(part, ShoeNip)
        circle = Circle(Point(at.x, own if above else -own), own)
        counter = Circle(Point(at.x, -other if above else other), other)
        upper, lower = (circle, counter) if above else (counter, circle)
        nips.append(Placed(part, result, circle, counter))
        double = number(part.felted_sides) > 1
        if i == 0:
            first = upper
            if double:
                felts.append(_lower(lower))
            continue
        felts.append(_lower(lower))
        if double:
            felts.append(_upper(upper))
    assert first is not None
    path = Path((Line(Point(0.0, 0.0), Point((len(pairs) - 1) * PITCH + 1e-6, 0.0)),))
    return nips, first, path, felts


COUNTER = 1.45
"""Diameter of the counter roll of a shoe, m (assumed)."""


def _lower(circle: Circle) -> list[tuple[Circle, float]]:
    """A felt over the top of a lower roll, returning below it."""
    c, r = circle.centre, circle.radius
    low = c.y - r - 0.35
    return [
        (circle, -1.0),
        (Circle(Point(c.x + r + 0.75, low + 0.25), GUIDE), -1.0),
        (Circle(Point(c.x - r - 0.35, low), GUIDE), -1.0),
        (Circle(Point(c.x - r - 0.75, c.y + 0.35 * r), GUIDE), -1.0),
    ]


def _upper(circle: Circle) -> list[tuple[Circle, float]]:
    """A felt under the bottom of an upper roll, returning above it."""
    c, r = circle.centre, circle.radius
    high = c.y + r + 0.35
    return [
        (circle, 1.0),
        (Circle(Point(c.x + r + 0.55, high - 0.05), GUIDE), 1.0),
        (Circle(Point(c.x - r - 0.35, high + 0.1), GUIDE), 1.0),
        (Circle(Point(c.x - r - 0.75, c.y - 0.25 * r), GUIDE), 1.0),
    ]


def _own_felt(machine: Any, rolls: list[tuple[Circle, float]]) -> Loop:
    felt = machine.press.felt
    return Loop(
        name="felt of its own",
        text=f"{in_unit(felt.felt_grammage, 'g/m²')}, run schematic",
        role="felt",
        path=belt(rolls),
        rolls=tuple(rolls),
        anchor=rolls[1][0].centre,
    )


def _first_felt(machine: Any, wet: Any, first: Circle, lower: Circle | None) -> tuple[Any, list[tuple[Circle, float]]]:
    """The former, and the felt that brings the sheet to the first nip (over the lower roll in a cluster)."""
    room = 0.4 * len([s for s in machine.vacuum.slot if s.carrier == "felt"])
    up = Circle(Point(first.centre.x + 0.1, first.centre.y + first.radius + 1.35), GUIDE)
    if machine.forming.carrier == "felt":
        track, lead, middle = layout.felt_former(machine, wet, first, up, room, [])
        return track, [*middle, (first, 1.0), (up, 1.0), *lead]
    if lower is None:
        return layout.wire_former(machine, wet, first, up, room, [(first, 1.0)], [(up, 1.0)])
    level = Circle(Point(lower.centre.x, lower.centre.y + lower.radius + first.radius), first.radius)
    return layout.wire_former(machine, wet, level, up, room, [(lower, -1.0), (first, 1.0)], [(up, 1.0)])


def _return(loop: Loop, rolls: list[tuple[Circle, float]], pressed: int) -> Line:
    """The longest straight run behind the first nip."""
    from thinstock.machine.geometry import tangent

    runs = [tangent(*rolls[i], *rolls[(i + 1) % len(rolls)]) for i in range(pressed, len(rolls))]
    return max(runs, key=lambda line: line.length)


def _rolls(nips: list[Placed], plan: Plan) -> None:
    drawn: list[Circle] = []
    for placed in nips:
        for circle in (placed.mate,):
            if circle not in drawn and not any(circle == p.circle for p in nips):
                drawn.append(circle)
                plan.outlines.append(
                    Outline(
                        name=f"counter roll, {placed.part.name}",
                        text=f"{in_unit(2 * circle.radius, 'm')} across",
                        shapes=roll(circle),
                        anchor=circle.at(math.pi / 2),
                    )
                )
        if placed.circle in drawn:  # a roll that two nips share is drawn once; its second load is told by a mark
            mark = placed.mate.at(placed.angle)
            dot = Shape(role="axis", path=Path((Line(mark, mark.beside(0.0, 0.001)),)), closed=False)
            plan.outlines.append(
                Outline(
                    name=placed.part.name,
                    label=placed.part.name,
                    text=press.nip_text(placed),
                    shapes=(dot,),
                    anchor=mark,
                )
            )
        else:
            drawn.append(placed.circle)
            plan.outlines.append(press.nip_outline(placed))
        plan.hazards += press.nip_hazards(placed)


def _dry(result: Any, nips: list[Placed], after: Path, plan: Plan) -> Point:
    """Sheet between the nips, drying group and reel; gives the place where vapour leaves."""
    machine, dry = result.machine, result.dry
    last = nips[-1].place
    right = max(p.x for loop in plan.loops for p in loop.path.points(0.2))
    start = Point(max(right, last.x) + 0.5, last.y - 0.25)
    way, drum = dry_end.cylinders(machine, dry, last, start, plan)
    values = {**result.values, "reel_speed": result.wet.reel_speed} if dry is not None else None
    reel, _ = dry_end.reel(machine, way.end, drum.centre, values)
    plan.outlines.append(reel)
    plan.hazards.append(dry_end.reel_nip(drum.centre))
    top = Point(start.x + 2.3, start.y + 0.9 + dry_end.CYLINDER)
    if dry is None:
        return top
    places, ratios = _between(nips, after)
    plan.runs.append(Run(name="sheet in the press", path=after, places=places, moisture_ratios=ratios))
    lead = way.pieces[0].length
    pressed, out = number(result.wet.moisture_pressed), number(dry.moisture_ratio_out)
    dried = way.length - way.pieces[-1].length - way.pieces[-2].length - way.pieces[-3].length
    plan.runs.append(
        Run(
            name="sheet in the drying group",
            path=way,
            places=(0.0, lead, dried, way.length),
            moisture_ratios=(pressed, pressed, out, out),
        )
    )
    return top


def _between(nips: list[Placed], after: Path) -> tuple[tuple[float, ...], tuple[float, ...]]:
    places: list[float] = [0.0]
    ratios: list[float] = [number(nips[0].result.moisture_ratio_out)]
    for placed in nips[1:]:
        at = after.nearest(placed.place)
        places += [max(at - 0.02, places[-1]), min(max(at + 0.02, places[-1]), after.length)]
        ratios += [ratios[-1], number(placed.result.moisture_ratio_out)]
    places.append(max(after.length, places[-1]))
    ratios.append(ratios[-1])
    return tuple(places), tuple(ratios)


def _bands(result: Any, nips: list[Placed], top: Point, plan: Plan) -> None:
    """Water of the nips into their rolls, vapour off the drying group."""
    for placed in nips:
        if placed.result is None:
            continue
        flow = math.fsum(number(s.water) for s in result.streams if s.name == f"nip_water: {placed.part.name}")
        if flow <= 0:
            continue
        away = placed.mate.centre.angle_to(placed.circle.centre)
        end = placed.circle.centre.beside(away, -0.2 * placed.circle.radius)
        plan.leaving.append(
            Leaving(
                name=placed.part.name,
                stage="press",
                flow=flow,
                moisture_ratio=math.inf,
                path=water.straight(placed.place, end),
            )
        )
    vapour = water.stream_water(result, "vapour")
    if vapour > 0:
        plan.leaving.append(
            Leaving(
                name="drying group",
                stage="evaporation",
                flow=vapour,
                moisture_ratio=math.inf,
                path=water.straight(top, top.beside(water.UP, 0.9)),
            )
        )
