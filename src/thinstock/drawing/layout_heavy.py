"""Lays out a machine without a Yankee: former, press section of roll nips or shoes, drying group, reel.

Three roll nips that share their rolls stand as a cluster round a centre roll; anything else stands in a row with its
nips on one level. Diameters, shoe lengths and felted sides are the machine's; places, felt runs and cylinders are
assumed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from thinstock.drawing import felt, water
from thinstock.drawing.former import place_former
from thinstock.drawing.plan import Loop, Plan, Rolls, Run
from thinstock.drawing.reel import reel, reel_nip
from thinstock.drawing.track import Track, felt_slots
from thinstock.machine.geometry import Circle, Line, Path, Point, belt, tangent
from thinstock.machine.line import Machine
from thinstock.machine.nips import Nip
from thinstock.machine.outlines.dry import CYLINDER, Cylinders, Group
from thinstock.machine.outlines.press import NipPlace
from thinstock.machine.outlines.said import in_unit, number
from thinstock.machine.outlines.shape import Hazard, Outline, Shape, roll
from thinstock.machine.press import Nipped
from thinstock.machine.result import Result
from thinstock.machine.views import WetEnd
from thinstock.words.phrase import phrase

GUIDE = felt.FELT_GUIDE
SECOND_NIP, FIRST_NIP, THIRD_NIP = (math.radians(a) for a in (195.0, 235.0, 30.0))
"""Where the nips of the cluster lie: second and third as seen from the centre roll, first from the suction roll."""
PITCH = 4.5
"""From nip to nip in a row, m (assumed)."""
COUNTER = 1.45
"""Diameter of a counter roll nobody gave, m (assumed)."""

Pairs = Sequence[tuple[Nip, Nipped | None]]


@dataclass(frozen=True)
class _Press:
    """The nips at their places."""

    nips: list[tuple[Nip, NipPlace]]
    first: Circle
    """The roll over which the first felt runs."""
    after: Path
    """The sheet behind the first nip."""
    felts: list[tuple[str, Rolls]]
    """Felts of their own of the later nips, with the nip's name."""
    cluster: bool

    @property
    def lower(self) -> Circle | None:
        """The roll below the first felt, in a cluster."""
        return self.nips[0][1].mate if self.cluster else None


def without_yankee(result: Result) -> Plan:
    """The plan of a machine that dries on cylinders."""
    machine, wet, plan = result.machine, result.wet, Plan()
    results: list[Nipped | None] = list(wet.nips) or [None] * len(machine.press.nip)
    pairs: Pairs = list(zip(machine.press.nip, results, strict=True))
    cluster = machine.forming.carrier == "wire" and _shares_rolls([part for part, _ in pairs])
    press = _cluster(pairs) if cluster else _row(pairs)
    track, rolls = _first_felt(machine, wet, press)
    loop = felt.press_felt(machine, wet, rolls, rolls[-1][0])
    plan.loops.append(loop)
    place_former(machine, wet, track, plan)
    plan.loops += [_own_felt(machine, nip, circles) for nip, circles in press.felts]
    before = len(plan.outlines)
    _rolls(press.nips, plan)
    plan.press = [outline.part for outline in plan.outlines[before:]]
    pressed = next(i for i, (c, _) in enumerate(rolls) if c == press.first)
    felt.felt_boxes(machine, Path((_return(rolls, pressed),)), plan)
    felt.on_the_way(result, rolls, pressed - 1 if cluster else pressed, plan)
    top = _dry(result, press, plan)
    felt.sheet_on_felt(result, track, loop, press.nips[0][1], plan)
    water.wet_end(result, track, plan)
    water.pressed(result, press.nips, 0.0, plan)
    water.vapour(result, "drying group", phrase("drawing.part.drying_group"), top, 0.9, plan)
    felt.guide_hazards(plan)
    return plan


def _shares_rolls(parts: list[Nip]) -> bool:
    """True for three roll nips whose diameters fit four rolls in a cluster."""
    if len(parts) != 3 or any(p.mate_given is None for p in parts):
        return False
    one, two, three = parts
    return number(one.roll_diameter) == number(two.roll_diameter) and number(two.mate_given) == number(three.mate_given)


def _cluster(pairs: Pairs) -> _Press:
    """Centre roll, suction roll, lower roll and a fourth."""
    (one, a), (two, b), (three, c) = pairs
    centre = Circle(Point(0.0, 0.0), number(two.mate_given) / 2)
    radius = number(two.roll_diameter) / 2
    suction = Circle(centre.centre.beside(SECOND_NIP, centre.radius + radius), radius)
    lower_radius = number(one.mate_given) / 2
    lower = Circle(suction.centre.beside(FIRST_NIP, radius + lower_radius), lower_radius)
    last_radius = number(three.roll_diameter) / 2
    last = Circle(centre.centre.beside(THIRD_NIP, centre.radius + last_radius), last_radius)
    on_suction = suction.arc(FIRST_NIP, (SECOND_NIP - math.pi) + 2 * math.pi - FIRST_NIP)
    on_centre = centre.arc(SECOND_NIP, THIRD_NIP - SECOND_NIP)
    felts = [(three.name, _upper(last))]
    if number(one.felted_sides) > 1:
        felts.append((one.name, _lower(lower)))
    nips = [
        (one, NipPlace(suction, lower, a)),
        (two, NipPlace(suction, centre, b)),
        (three, NipPlace(last, centre, c)),
    ]
    return _Press(nips, suction, Path((on_suction, on_centre)), felts, True)


def _row(pairs: Pairs) -> _Press:
    """Nips on one level: the first felt runs over the upper roll of the first nip."""
    nips: list[tuple[Nip, NipPlace]] = []
    felts: list[tuple[str, Rolls]] = []
    for i, (part, did) in enumerate(pairs):
        own = number(part.roll_diameter) / 2
        other = COUNTER / 2 if part.mate_given is None else number(part.mate_given) / 2
        above = 1.0 if i == 0 and part.rolls_above else -1.0
        circle = Circle(Point(i * PITCH, above * own), own)
        counter = Circle(Point(i * PITCH, -above * other), other)
        upper, lower = (circle, counter) if above > 0 else (counter, circle)
        nips.append((part, NipPlace(circle, counter, did)))
        double = number(part.felted_sides) > 1
        if i == 0:
            first = upper
        if i > 0 or double:
            felts.append((part.name, _lower(lower)))
        if i > 0 and double:
            felts.append((part.name, _upper(upper)))
    path = Path((Line(Point(0.0, 0.0), Point((len(pairs) - 1) * PITCH + 1e-6, 0.0)),))
    return _Press(nips, first, path, felts, False)


def _lower(circle: Circle) -> Rolls:
    """A felt over the top of a lower roll, returning below it."""
    c, r = circle.centre, circle.radius
    low = c.y - r - 0.35
    return [
        (circle, -1.0),
        (Circle(Point(c.x + r + 0.75, low + 0.25), GUIDE), -1.0),
        (Circle(Point(c.x - r - 0.35, low), GUIDE), -1.0),
        (Circle(Point(c.x - r - 0.75, c.y + 0.35 * r), GUIDE), -1.0),
    ]


def _upper(circle: Circle) -> Rolls:
    """A felt under the bottom of an upper roll, returning above it."""
    c, r = circle.centre, circle.radius
    high = c.y + r + 0.35
    return [
        (circle, 1.0),
        (Circle(Point(c.x + r + 0.55, high - 0.05), GUIDE), 1.0),
        (Circle(Point(c.x - r - 0.35, high + 0.1), GUIDE), 1.0),
        (Circle(Point(c.x - r - 0.75, c.y - 0.25 * r), GUIDE), 1.0),
    ]


def _own_felt(machine: Machine, nip: str, rolls: Rolls) -> Loop:
    grammage = in_unit(machine.press.felt.felt_grammage, "g/m²")
    return Loop(
        name=phrase("drawing.fabric.own_felt", nip=nip), part=nip, role="felt", path=belt(rolls),
        text=phrase("drawing.own_felt", grammage=grammage), rolls=tuple(rolls), anchor=rolls[1][0].centre,
    )  # fmt: skip


def _first_felt(machine: Machine, wet: WetEnd, press: _Press) -> tuple[Track, Rolls]:
    """The former, and the felt that brings the sheet to the first nip (over the lower roll in a cluster)."""
    first, lower, slots = press.first, press.lower, felt_slots(machine)
    room = 0.4 * len(slots)
    up = Circle(Point(first.centre.x + 0.1, first.centre.y + first.radius + 1.35), GUIDE)
    if machine.forming.carrier == "felt":
        track, lead, middle = felt.felt_former(machine, wet, felt.Site(first, up, room), None)
        return track, [*middle, (first, 1.0), (up, 1.0), *lead]
    if lower is None:
        return felt.wire_former(machine, wet, felt.Site(first, up, room), [(first, 1.0)], [(up, 1.0)])
    level = Circle(Point(lower.centre.x, lower.centre.y + lower.radius + first.radius), first.radius)
    return felt.wire_former(machine, wet, felt.Site(level, up, room), [(lower, -1.0), (first, 1.0)], [(up, 1.0)])


def _return(rolls: Rolls, pressed: int) -> Line:
    """The longest straight run behind the first nip."""
    runs = [tangent(*rolls[i], *rolls[(i + 1) % len(rolls)]) for i in range(pressed, len(rolls))]
    return max(runs, key=lambda line: line.length)


def _rolls(nips: list[tuple[Nip, NipPlace]], plan: Plan) -> None:
    """Press rolls, each drawn once; a roll that two nips share carries a mark for its second load."""
    drawn: list[Circle] = []
    for nip, place in nips:
        mate, outline = place.mate, nip.outline(place)
        if mate not in drawn and not any(mate == p.circle for _, p in nips):
            drawn.append(mate)
            plan.outlines.append(
                Outline(
                    part=f"counter roll, {nip.name}", name=phrase("drawing.part.counter_roll", nip=nip.name),
                    text=phrase("drawing.across", diameter=in_unit(2 * mate.radius, "m")), shapes=roll(mate),
                    anchor=mate.at(math.pi / 2),
                )
            )  # fmt: skip
        if place.circle in drawn:
            mark = place.place
            dot = Shape(role="axis", path=Path((Line(mark, mark.beside(0.0, 0.001)),)), closed=False)
            outline = replace(outline, shapes=(dot,), anchor=mark, also=())
        drawn.append(place.circle)
        plan.outlines.append(outline)
        plan.hazards += nip.hazards(place)


def _dry(result: Result, press: _Press, plan: Plan) -> Point:
    """Sheet between the nips, drying group and reel; gives the place where vapour leaves."""
    machine, dry = result.machine, result.dry
    assert machine.dryer is not None
    last = press.nips[-1][1].place
    right = max(p.x for loop in plan.loops for p in loop.path.points(0.2))
    start = Point(max(right, last.x) + 0.5, last.y - 0.25)
    place = Group(nip=last, start=start, evaporation=None if dry is None else dry.evaporation)
    group = Cylinders(place)
    plan.outlines.append(machine.dryer.outline(place))
    plan.hazards.append(Hazard(kind="hot", place=group.top[0].centre, text=phrase("drawing.hazard.hot_cylinders")))
    way, drum = group.way(), group.drum.centre
    plan.outlines.append(reel(result, way.end, drum)[0])
    plan.hazards.append(reel_nip(drum))
    if dry is not None:
        places, ratios = _between(press)
        name = phrase("drawing.run.press")
        plan.runs.append(Run(name=name, path=press.after, places=places, moisture_ratios=ratios))
        pressed, out = number(result.wet.moisture_pressed), number(dry.moisture_ratio_out)
        dried = way.length - way.pieces[-1].length - way.pieces[-2].length - way.pieces[-3].length
        plan.runs.append(
            Run(
                name=phrase("drawing.run.drying_group"), path=way, moisture_ratios=(pressed, pressed, out, out),
                places=(0.0, way.pieces[0].length, dried, way.length),
            )
        )  # fmt: skip
    return Point(start.x + 2.3, start.y + 0.9 + CYLINDER)


def _between(press: _Press) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Places along the sheet behind the first nip, and its water per fibre there."""
    did = [(place, place.did) for _, place in press.nips if place.did is not None]
    places, ratios = [0.0], [number(did[0][1].moisture_ratio_out)]
    for place, one in did[1:]:
        at = press.after.nearest(place.place)
        places += [max(at - 0.02, places[-1]), min(max(at + 0.02, places[-1]), press.after.length)]
        ratios += [ratios[-1], number(one.moisture_ratio_out)]
    places.append(max(press.after.length, places[-1]))
    ratios.append(ratios[-1])
    return tuple(places), tuple(ratios)
