"""Lays a machine out from the outlines of its sections: former, felt, press, dryer, with the sheet and the water.

The Yankee's centre is the origin and the wet end lies to the left. Joins are tangents, so fabrics close; distances
nobody gave are assumed. Nothing is computed here that a run does not already know.
"""

from __future__ import annotations

import itertools
import math
from typing import Any

from thinstock.drawing import outlines_dryer as dry_end
from thinstock.drawing import outlines_former as former
from thinstock.drawing import outlines_press as press
from thinstock.drawing import water
from thinstock.drawing.outlines_headbox import headbox
from thinstock.drawing.outlines_wires import wires
from thinstock.drawing.plan import LAYER, Hazard, Loop, Outline, Plan, Run, roll
from thinstock.drawing.words import number
from thinstock.machine import elements as kinds
from thinstock.machine.geometry import Arc, Circle, Line, Path, Point, Pose, belt, on_roll, roll_on, tangent

PICK_UP = 0.32
FELT_TURNING = 0.40
FELT_GUIDE = 0.17
"""Radii of felt rolls nobody gave, m (assumed)."""


def lay_out(result: Any) -> Plan:
    """The plan of a machine after a run of one case."""
    machine, wet, dry = result.machine, result.wet, result.dry
    plan = Plan()
    if machine.yankee is None:
        from thinstock.drawing.layout_heavy import without_yankee

        return without_yankee(result, plan)
    circle = Circle(Point(0.0, 0.0), number(machine.yankee.diameter) / 2)
    nips = press.on_yankee(machine, wet, circle)
    first, last = nips[0], nips[-1]
    track, rolls = _felt_rolls(machine, wet, circle, first, last, [(n.circle, n) for n in nips])
    loop = _felt(machine, wet, rolls, plan)
    plan.outlines.append(dry_end.yankee(machine, dry, circle))
    plan.outlines.append(dry_end.hood(machine, dry, circle, last.angle))
    place_former(machine, wet, track, plan)
    for placed in nips:
        plan.outlines.append(press.nip_outline(placed))
        plan.hazards += press.nip_hazards(placed)
    _felt_furniture(result, loop, rolls, first, plan)
    _dry_sheet(result, circle, nips, plan)
    sheet_on_felt(result, track, loop, first, plan)
    water.bands(result, track, plan, nips, circle)
    guide_hazards(plan)
    return plan


# --- the felt


def _felt_rolls(
    machine: Any, wet: Any, yankee: Circle, first: Any, last: Any, nips: list[Any]
) -> tuple[former.Track, list[tuple[Circle, float]]]:
    """The former walked at its place, and the felt's rolls in order with the side each is turned by."""
    reach = dry_end.hood_reach(machine)
    edge = yankee.centre.beside(dry_end.hood_start(machine, last.angle), reach)
    top = last.circle.centre.y + last.circle.radius
    under = min(top, edge.y - 0.12)
    felt_slots = [s for s in machine.vacuum.slot if s.carrier == "felt"]
    room = math.fsum(number(s.slot_width) for s in felt_slots) + 0.35 * len(felt_slots)
    room += 0.4 if machine.press.steam_box is not None else 0.0
    rise_x = min(-reach, edge.x) - 0.45
    guide = Circle(Point(rise_x, under - FELT_GUIDE + 0.02), FELT_GUIDE)
    high = Circle(Point(rise_x - 0.30, guide.centre.y + 2.7), FELT_GUIDE)
    presses = _between(nips, yankee)
    back = [(guide, -1.0), (high, 1.0)]
    if machine.forming.carrier == "felt":
        track, lead, middle = felt_former(machine, wet, first.circle, high, room, felt_slots)
        return track, [*middle, *presses, *back, *lead]
    return wire_former(machine, wet, first.circle, high, room, presses, back)


def _between(nips: list[Any], yankee: Circle) -> list[tuple[Circle, float]]:
    """Press rolls, with the Yankee between two of them: the felt lies on it there."""
    found: list[tuple[Circle, float]] = []
    for circle, _ in nips:
        if found:
            found.append((yankee, -1.0))
        found.append((circle, 1.0))
    return found


def felt_former(
    machine: Any, wet: Any, press_roll: Circle, high: Circle, room: float, slots: list[Any]
) -> tuple[former.Track, list[tuple[Circle, float]], list[tuple[Circle, float]]]:
    """A former whose inner fabric is the felt: walked, with the felt's rolls before and after it."""
    element = machine.forming.element[0]
    radius = number(element.roll_diameter) / 2
    bottom = press_roll.centre.y - press_roll.radius
    before, after = former.lags(machine.forming)
    turning = None
    if former.is_s(machine.forming):
        angles = [
            (e.outer == "back", number(e.wrap)) for e in machine.forming.element if isinstance(e, kinds.FormingRoll)
        ]
        start = former.EXIT - math.fsum(-w if back else w for back, w in angles)
        at_x = min(press_roll.centre.x - 2.2 - room, high.centre.x - 0.55)
        turning = Circle(Point(at_x, bottom + 0.12 + FELT_TURNING), FELT_TURNING)
        trial = former.walk(machine, wet.formed, Pose(Point(0, 0), start), 1.0)
        touch = roll_on(trial.out, FELT_TURNING, 1.0).centre
        at = Point(turning.centre.x - touch.x, turning.centre.y - touch.y)
        forming = Circle(at.beside(start, 0.0, radius), radius)
        arrive = start - (max(before, math.radians(40.0)) if element.inner_wrap is None else before)
    else:
        rolled = next((s for s in slots if "roll" in s.name), None)
        x = min(press_roll.centre.x - 3.3 - room, high.centre.x - 4.6)
        following = press_roll
        y = bottom + 0.28 + radius
        if rolled is not None:
            at_x = min(press_roll.centre.x - 1.9, high.centre.x - 0.55)
            turning = Circle(Point(at_x, bottom + 0.1 + FELT_TURNING), FELT_TURNING)
            following = turning
            x = min(turning.centre.x - 2.1, high.centre.x - 4.6)
            y = turning.centre.y + radius - FELT_TURNING + 0.30 * (turning.centre.x - x)
        forming = Circle(Point(x, y), radius)
        leave = tangent(forming, 1.0, following, 1.0).heading
        start = leave - after - number(element.wrap)
        at = forming.at(start - math.pi / 2)
        arrive = start - before
    track = former.walk(machine, wet.formed, Pose(at, start), 1.0)
    touch_at = Pose(forming.at(arrive - math.pi / 2), arrive)
    rolls: list[tuple[Circle, float]] = [(forming, 1.0)]
    for e in machine.forming.element:
        if isinstance(e, kinds.FormingRoll) and e.outer == "back":
            arc = track.arcs[e.name]
            rolls.append((Circle(arc.centre, arc.radius), -1.0))
    if turning is not None:
        rolls.append((turning, 1.0))
    return track, _lead_in(touch_at, high), rolls


def _lead_in(touch: Pose, high: Circle) -> list[tuple[Circle, float]]:
    """The felt's rolls between its high run and the forming roll, so that it arrives along this heading."""
    steep = math.sin(touch.heading) < -0.5
    if steep:  # straight down from the high run
        length = max((high.centre.y - touch.point.y) / -math.sin(touch.heading), 1.5)
        over = roll_on(Pose(touch.point.beside(touch.heading, -length), touch.heading), FELT_GUIDE, 1.0)
        return [(over, 1.0)]
    low = roll_on(Pose(touch.point.beside(touch.heading, -3.0), touch.heading), FELT_GUIDE, -1.0)
    over = Circle(Point(low.centre.x + 0.42, high.centre.y), FELT_GUIDE)
    return [(over, 1.0), (low, -1.0)]


def wire_former(
    machine: Any,
    wet: Any,
    press_roll: Circle,
    high: Circle,
    room: float,
    presses: list[tuple[Circle, float]],
    back: list[tuple[Circle, float]],
) -> tuple[former.Track, list[tuple[Circle, float]]]:
    """A former that hands its sheet from the wire to the felt at a pick-up roll."""
    bottom = press_roll.centre.y - press_roll.radius
    pick = Circle(Point(press_roll.centre.x - 3.6 - room, bottom + 0.15 + PICK_UP), PICK_UP)
    heading = former.start_heading(machine)
    start = Pose(Point(0.0, 0.0), heading)
    trial = former.walk(machine, wet.formed, start, -1.0)
    contact = trial.path.at(trial.take)
    centre = contact.point.beside(contact.heading, 0.0, PICK_UP + LAYER / 2)
    at = Point(pick.centre.x - centre.x, pick.centre.y - centre.y)
    track = former.walk(machine, wet.formed, Pose(at, heading), -1.0)
    arrive = contact.heading - math.radians(55.0)
    touch = Pose(pick.at(arrive - math.pi / 2), arrive)
    length = max((high.centre.y - touch.point.y) / max(-math.sin(arrive), 0.3), 1.0)
    over = roll_on(Pose(touch.point.beside(arrive, -length), arrive), FELT_GUIDE, 1.0)
    if over.centre.x > high.centre.x - 0.6:
        shift = over.centre.x - (high.centre.x - 0.6)
        pick = Circle(Point(pick.centre.x - shift, pick.centre.y), PICK_UP)
        track = former.walk(machine, wet.formed, Pose(Point(at.x - shift, at.y), heading), -1.0)
        over = Circle(Point(over.centre.x - shift, over.centre.y), FELT_GUIDE)
    return track, [(pick, 1.0), *presses, *back, (over, 1.0)]


def _felt(machine: Any, wet: Any, rolls: list[tuple[Circle, float]], plan: Plan) -> Loop:
    path = belt(rolls)
    loop = Loop(
        name="felt",
        text=press.felt_text(machine, wet),
        role="felt",
        path=path,
        rolls=tuple(rolls),
        anchor=rolls[-2][0].centre,
    )
    plan.loops.append(loop)
    return loop


def _felt_furniture(result: Any, loop: Loop, rolls: list[tuple[Circle, float]], first: Any, plan: Plan) -> None:
    """Boxes, shower and vacuum on the felt."""
    machine = result.machine
    guide = next(i for i, (c, s) in enumerate(rolls) if s < 0 and abs(c.radius - FELT_GUIDE) < 1e-9)
    press.felt_boxes(machine, Path((tangent(*rolls[guide], *rolls[guide + 1]),)), plan)
    pressed = next(i for i, (c, _) in enumerate(rolls) if c == first.circle)
    on_the_way(result, rolls, pressed, plan)


def on_the_way(result: Any, rolls: list[tuple[Circle, float]], pressed: int, plan: Plan) -> None:
    """What stands between the place where the felt has the sheet and the first nip."""
    machine = result.machine
    line = Path((tangent(*rolls[pressed - 1], *rolls[pressed]),))
    press.steam_box(machine, line, 0.05, plan)
    by_wire = machine.forming.carrier == "wire"
    round_one = rolls[0][0] if by_wire else next((c for c, _ in rolls[1:pressed] if _is(c, FELT_TURNING)), None)
    slots = [s for s in machine.vacuum.slot if s.carrier == "felt"]
    rolled = next((s for s in slots if "roll" in s.name), None) if round_one is not None else None
    boxes = [s for s in slots if s is not rolled]
    for slot in slots:
        share = (boxes.index(slot) + 1) / (len(boxes) + 1) if slot in boxes else 0.5
        mouth, heading = press.felt_vacuum(slot, round_one if slot is rolled else None, line, share, plan)
        water.at_slot(result, slot, mouth, heading, plan)
    if by_wire and rolled is None:
        pick = rolls[0][0]
        plan.outlines.append(
            Outline(
                name="pick-up roll",
                label="pick-up",
                text="the felt takes the sheet from the wire here",
                shapes=roll(pick),
                anchor=pick.at(math.pi * 0.25),
            )
        )


def _is(circle: Circle, radius: float) -> bool:
    return abs(circle.radius - radius) < 1e-9


# --- former with its headbox


def place_former(machine: Any, wet: Any, track: former.Track, plan: Plan) -> None:
    """Wires, rolls, headbox and stock of the former."""
    plan.loops += wires(machine, track)
    former.parts(machine, wet.formed, track, plan)
    landing, slice_at, upper = slice_pose(machine, track)
    plan.outlines.append(headbox(machine, wet.delivery, slice_at, upper=upper))
    wetness = number(1 / machine.headbox.consistency - 1)
    jet = Path((Line(slice_at.point, landing),))
    plan.runs.append(Run(name="jet", path=jet, places=(0.0, jet.length), moisture_ratios=(wetness, wetness)))
    plan.runs.append(stock_run(machine, wet, track, wetness))
    if former.is_roll_former(machine.forming):
        for arc in track.arcs.values():
            plan.hazards.append(
                Hazard(
                    kind="nip",
                    place=arc.beside(-arc.side * 0.16).start,
                    text="fabrics and roll draw in where the wrap begins",
                )
            )


def slice_pose(machine: Any, track: former.Track) -> tuple[Point, Pose, float]:
    """Where the jet lands, where its slice is and points, and on which side of the jet the slanting wall lies."""
    side = -track.turned
    begin = track.path.at(0.0)
    landing = begin.point.beside(begin.heading, 0.0, side * LAYER / 2)
    element = machine.forming.element[0]
    if isinstance(element, kinds.FormingRoll):
        heading = begin.heading + side * math.radians(-4.0)
        return landing, Pose(landing.beside(heading, -0.62), heading), side
    if isinstance(element, kinds.InclinedBoxes):
        low = Point(landing.x - 0.05, landing.y + 0.5 * number(element.pond_head))
        return low, Pose(Point(low.x - 0.25, low.y), 0.0), 1.0
    tilt = -math.radians(5.0)
    if isinstance(element, kinds.JetImpact | kinds.SuctionBreastRoll):
        tilt = begin.heading - number(element.impact_angle)
    else:
        landing = landing.beside(0.0, 0.15)
    return landing, Pose(landing.beside(tilt, -0.35), tilt), 1.0


def stock_run(machine: Any, wet: Any, track: former.Track, wetness: float) -> Run:
    """Stock and sheet along the former, as wet as the march leaves them."""
    formed = wet.formed
    case = formed.drained.white_water[0]
    depth = number(formed.drained.stock_depth)
    taken = case.sum(axis=1)
    end = number(formed.dry_line)
    places, ratios = [0.0], [wetness]
    done = 0.0
    elements = 0.0
    is_formed = bool(formed.formed)
    for (a, b), water_taken in zip(track.spans, taken, strict=False):
        done += float(water_taken)
        elements += b - a
        place = b
        if is_formed and elements >= end - 1e-12:
            place = former.along_path(track, end)
            places.append(max(place, places[-1]))
            ratios.append(number(formed.moisture_ratio))
            break
        places.append(max(place, places[-1]))
        ratios.append(max(wetness * (1 - done / depth), number(formed.moisture_ratio) if is_formed else 1.0))
    final = number(formed.moisture_ratio) if is_formed else ratios[-1]
    places.append(max(track.take, places[-1]))
    ratios.append(final)
    name = "stock and sheet on the former" if is_formed else "stock, not drained"
    return Run(name=name, path=track.path, places=tuple(places), moisture_ratios=tuple(ratios), lies=-track.turned)


# --- sheet


def sheet_on_felt(result: Any, track: former.Track, loop: Loop, first: Any, plan: Plan) -> None:
    """The sheet under the felt up to the first nip; words where there is none."""
    wet = result.wet
    if not wet.nips:
        away = loop.path.at(loop.path.nearest(first.place) - 1.2)
        plan.remarks.append((away.point.beside(away.heading, 0.0, -0.35), "no sheet"))
        return
    contact = track.path.at(track.take).point
    start = loop.path.nearest(contact)
    end = loop.path.nearest(first.place)
    places = [start]
    ratios = [number(wet.moisture_into_vacuum)]
    if any(slot.carrier == "wire" for slot in wet.slots):
        ratios[0] = number([slot for slot in wet.slots if slot.carrier == "wire"][-1].moisture_ratio_out)
    for slot in (s for s in wet.slots if s.carrier == "felt"):
        at = min(max(loop.path.nearest(plan.mouths[slot.name]), places[-1]), end)
        places += [max(at - 0.04, places[-1]), min(at + 0.04, end)]
        ratios += [ratios[-1], number(slot.moisture_ratio_out)]
    places.append(end)
    ratios.append(number(wet.moisture_into_press))
    path = loop.path.part(start, end)
    plan.runs.append(
        Run(
            name="sheet on the felt",
            path=path,
            places=tuple(p - start for p in places),
            moisture_ratios=tuple(ratios),
            lies=-1.0,
        )
    )


def _dry_sheet(result: Any, yankee: Circle, nips: list[Any], plan: Plan) -> None:
    """The sheet round the Yankee, over the doctor and to the reel."""
    machine, dry = result.machine, result.dry
    last = nips[-1]
    arc = dry_end.wrap_arc(machine, yankee, last.angle)
    end = arc.begin + arc.turn
    outline, blade = dry_end.doctor(machine, yankee, end)
    plan.outlines.append(outline)
    plan.hazards += [blade, dry_end.hot_shell(yankee)]
    reel_at = Point(yankee.radius + HOOD_ROOM, min(arc.end.y - 0.55, -yankee.radius + 0.8))
    values = {**result.values, "reel_speed": result.wet.reel_speed}
    reel, line = dry_end.reel(machine, arc.end, reel_at, values if dry is not None else None)
    plan.outlines.append(reel)
    plan.hazards.append(dry_end.reel_nip(reel_at))
    if dry is None:
        return
    out = number(dry.moisture_ratio_out)
    for one, following in itertools.pairwise(nips):
        piece = yankee.arc(one.angle, following.angle - one.angle)
        ratio = number(one.result.moisture_ratio_out)
        plan.runs.append(
            Run(
                name="sheet on the Yankee",
                path=Path((piece,)),
                places=(0.0, piece.length),
                moisture_ratios=(ratio, ratio),
                lies=1.0,
            )
        )
    plan.runs.append(_on_yankee(result, arc))
    plan.runs.append(
        Run(name="sheet to the reel", path=Path((line,)), places=(0.0, line.length), moisture_ratios=(out, out))
    )


HOOD_ROOM = 2.5
"""How far the reel drum stands from the Yankee's side, m (assumed)."""


def _on_yankee(result: Any, arc: Arc) -> Run:
    from thinstock.drawing.profiles import drying

    profile = drying(result)
    step = max(1, len(profile.position) // 14)
    keep = [*range(0, len(profile.position) - 1, step), len(profile.position) - 1]
    scale = arc.length / float(profile.position[-1])
    return Run(
        name="sheet on the Yankee",
        path=Path((arc,)),
        places=tuple(float(profile.position[i]) * scale for i in keep),
        moisture_ratios=tuple(float(profile.moisture_ratio[i]) for i in keep),
        lies=1.0,
    )


def guide_hazards(plan: Plan) -> None:
    """Every roll a fabric runs onto draws in; at crawl backwards, where it runs off."""
    for loop in plan.loops:
        for circle, side in loop.rolls:
            arc = on_roll(loop.path, circle)
            if arc is None or circle.radius > 1.5:
                continue
            out = min(0.07, 0.4 * circle.radius)
            inside = arc.beside(side * out)
            into = Pose(inside.start, arc.at(0.0).heading)
            away = Pose(inside.end, arc.at(arc.length).heading)
            plan.hazards.append(
                Hazard(kind="roll", place=into.point.beside(into.heading, -0.09), text=f"{loop.name} runs onto a roll")
            )
            plan.hazards.append(
                Hazard(
                    kind="roll at crawl",
                    place=away.point.beside(away.heading, 0.09),
                    text=f"{loop.name}, turned backwards",
                )
            )
