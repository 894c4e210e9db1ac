"""The felt that brings the sheet to the press: its rolls beside a former, what stands on it, and the sheet under it.

Joins are tangents, so fabrics close; radii and distances nobody gave are assumed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from thinstock.drawing import water
from thinstock.drawing.plan import Loop, Plan, Rolls, Run
from thinstock.drawing.still import still
from thinstock.drawing.track import EXIT, Track, bends_both_ways, felt_slots, lags, start_heading, walk
from thinstock.machine.geometry import Circle, Path, Point, Pose, belt, on_roll, roll_on, tangent
from thinstock.machine.line import Machine
from thinstock.machine.outlines.former import Stretch
from thinstock.machine.outlines.press import NipPlace
from thinstock.machine.outlines.said import number
from thinstock.machine.outlines.shape import LAYER, Hazard, Outline, roll
from thinstock.machine.result import Result
from thinstock.machine.vacuum import Slot
from thinstock.machine.views import WetEnd
from thinstock.words.phrase import phrase

PICK_UP = 0.32
FELT_TURNING = 0.40
FELT_GUIDE = 0.17
"""Radii of felt rolls nobody gave, m (assumed)."""
STEEPER = math.radians(40.0)
"""How much earlier the felt meets the first roll of an S than the wire where nobody gave it (assumed)."""


@dataclass(frozen=True)
class Site:
    """Where a former must fit in: ahead of a press roll, under a high run of the felt, with room for what sucks."""

    press: Circle
    high: Circle
    room: float
    """m along the felt."""

    @property
    def bottom(self) -> float:
        """The lowest point of the press roll."""
        return self.press.centre.y - self.press.radius


class Stand(NamedTuple):
    """Where the forming roll of a felt former stands."""

    roll: Circle
    touch: Pose
    """Where the jet lands."""
    arrive: float
    """The heading at which the felt meets the roll."""
    turning: Circle | None
    """The roll round which the felt turns to the press."""


def felt_former(machine: Machine, wet: WetEnd, site: Site, rolled: Slot | None) -> tuple[Track, Rolls, Rolls]:
    """A former whose inner fabric is the felt: walked, with the felt's rolls before and after it.

    `rolled`: the slot that sucks through a roll round which the felt turns, if any.
    """
    both = bends_both_ways(machine.forming)
    stand = _stand_s(machine, wet, site) if both else _stand_c(machine, site, rolled is not None)
    track = walk(machine, wet.formed, stand.touch, 1.0)
    touch_at = Pose(stand.roll.at(stand.arrive - math.pi / 2), stand.arrive)
    rolls: Rolls = [(stand.roll, 1.0)]
    for e in machine.forming.element:
        if e.second:
            arc = track.arcs[e.name]
            rolls.append((Circle(arc.centre, arc.radius), -1.0))
    if stand.turning is not None:
        rolls.append((stand.turning, 1.0))
    return track, _lead_in(touch_at, site.high), rolls


def _stand_s(machine: Machine, wet: WetEnd, site: Site) -> Stand:
    """The first roll of an S so that its end meets the turning roll ahead of the press."""
    forming = machine.forming
    bends = [b for b in (e.bend(1.0) for e in forming.element if e.between) if b is not None]
    start = EXIT - math.fsum(b.turn for b in bends)
    x = min(site.press.centre.x - 2.2 - site.room, site.high.centre.x - 0.55)
    turning = Circle(Point(x, site.bottom + 0.12 + FELT_TURNING), FELT_TURNING)
    trial = walk(machine, wet.formed, Pose(Point(0, 0), start), 1.0)
    touch = roll_on(trial.out, FELT_TURNING, 1.0).centre
    at = Point(turning.centre.x - touch.x, turning.centre.y - touch.y)
    before = lags(forming)[0]
    given = forming.element[0].lag() is not None
    roll_of = Circle(at.beside(start, 0.0, bends[0].radius), bends[0].radius)
    return Stand(roll_of, Pose(at, start), start - (before if given else max(before, STEEPER)), turning)


def _stand_c(machine: Machine, site: Site, rolled: bool) -> Stand:
    """The roll of a C, so that its felt leaves straight for the press, or for a suction roll ahead of it."""
    before, after = lags(machine.forming)
    bend = machine.forming.element[0].bend(1.0)
    assert bend is not None
    x, y = min(site.press.centre.x - 3.3 - site.room, site.high.centre.x - 4.6), site.bottom + 0.28 + bend.radius
    following, turning = site.press, None
    if rolled:
        at_x = min(site.press.centre.x - 1.9, site.high.centre.x - 0.55)
        following = turning = Circle(Point(at_x, site.bottom + 0.1 + FELT_TURNING), FELT_TURNING)
        x = min(turning.centre.x - 2.1, site.high.centre.x - 4.6)
        y = turning.centre.y + bend.radius - FELT_TURNING + 0.30 * (turning.centre.x - x)
    forming = Circle(Point(x, y), bend.radius)
    leave = tangent(forming, 1.0, following, 1.0).heading
    start = leave - after - bend.turn
    return Stand(forming, Pose(forming.at(start - math.pi / 2), start), start - before, turning)


def _lead_in(touch: Pose, high: Circle) -> Rolls:
    """The felt's rolls between its high run and the forming roll, so that it arrives along this heading."""
    if math.sin(touch.heading) < -0.5:  # straight down from the high run
        length = max((high.centre.y - touch.point.y) / -math.sin(touch.heading), 1.5)
        return [(roll_on(Pose(touch.point.beside(touch.heading, -length), touch.heading), FELT_GUIDE, 1.0), 1.0)]
    low = roll_on(Pose(touch.point.beside(touch.heading, -3.0), touch.heading), FELT_GUIDE, -1.0)
    return [(Circle(Point(low.centre.x + 0.42, high.centre.y), FELT_GUIDE), 1.0), (low, -1.0)]


def wire_former(machine: Machine, wet: WetEnd, site: Site, presses: Rolls, back: Rolls) -> tuple[Track, Rolls]:
    """A former that hands its sheet from the wire to the felt at a pick-up roll."""
    pick = Circle(Point(site.press.centre.x - 3.6 - site.room, site.bottom + 0.15 + PICK_UP), PICK_UP)
    heading = start_heading(machine.forming)
    trial = walk(machine, wet.formed, Pose(Point(0.0, 0.0), heading), -1.0)
    contact = trial.path.at(trial.take)
    centre = contact.point.beside(contact.heading, 0.0, PICK_UP + LAYER / 2)
    at = Point(pick.centre.x - centre.x, pick.centre.y - centre.y)
    arrive = contact.heading - math.radians(55.0)
    touch = Pose(pick.at(arrive - math.pi / 2), arrive)
    length = max((site.high.centre.y - touch.point.y) / max(-math.sin(arrive), 0.3), 1.0)
    over = roll_on(Pose(touch.point.beside(arrive, -length), arrive), FELT_GUIDE, 1.0)
    shift = over.centre.x - (site.high.centre.x - 0.6)
    if shift > 0.0:
        pick = Circle(Point(pick.centre.x - shift, pick.centre.y), PICK_UP)
        at = Point(at.x - shift, at.y)
        over = Circle(Point(over.centre.x - shift, over.centre.y), FELT_GUIDE)
    track = walk(machine, wet.formed, Pose(at, heading), -1.0)
    return track, [(pick, 1.0), *presses, *back, (over, 1.0)]


def press_felt(machine: Machine, wet: WetEnd, rolls: Rolls, anchor: Circle) -> Loop:
    """The loop of the felt that takes the sheet from the former."""
    wetness = wet.nips[0].loop.felt_moisture_ratio if wet.nips else None
    return Loop(
        name=phrase("drawing.fabric.felt"), text=machine.press.felt.said(wetness), role="felt", path=belt(rolls),
        rolls=tuple(rolls), anchor=anchor.centre,
    )  # fmt: skip


def felt_boxes(machine: Machine, run: Path, plan: Plan) -> None:
    """Suction boxes and shower on a straight run of the felt, on its face (the right of its run)."""
    felt = machine.press.felt
    at, half = 0.66 * run.length, 0.5 * max(float(felt.boxes.slot_width), 0.05)
    plan.outlines.append(felt.boxes.outline(Stretch(path=run, start=at - half, end=at + half)))
    shower = 0.28 * run.length
    plan.outlines.append(felt.outline(Stretch(path=run, start=shower, end=shower)))


def on_the_way(result: Result, rolls: Rolls, pressed: int, plan: Plan) -> None:
    """What stands between the place where the felt has the sheet and the first nip."""
    machine = result.machine
    line = Path((tangent(*rolls[pressed - 1], *rolls[pressed]),))
    if machine.press.steam_box is not None:
        end = max(line.length - 0.05, 0.3)
        plan.outlines.append(machine.press.steam_box.outline(Stretch(path=line, start=end - 0.3, end=end)))
    by_wire = machine.forming.carrier == "wire"
    round_one = rolls[0][0] if by_wire else next((c for c, _ in rolls[1:pressed] if is_size(c, FELT_TURNING)), None)
    slots = felt_slots(machine)
    rolled = next((s for s in slots if s.in_roll), None) if round_one is not None else None
    boxes = [s for s in slots if s is not rolled]
    for slot in slots:
        mouth = round_one if slot is rolled else None
        at = line.length * (0.5 if slot is rolled else (boxes.index(slot) + 1) / (len(boxes) + 1))
        half = 0.5 * max(number(slot.slot_width), 0.03)
        plan.outlines.append(slot.outline(Stretch(path=line, start=at - half, end=at + half, mouth=mouth)))
        out = line.at(at)
        if mouth is not None:
            out = Pose(mouth.at(-math.pi / 2), 0.0)
        water.at_slot(result, slot.name, Pose(out.point, out.heading + math.pi / 2), plan)
    if by_wire and rolled is None:
        plan.outlines.append(_pick_up(rolls[0][0]))


def _pick_up(circle: Circle) -> Outline:
    return Outline(
        part=phrase("drawing.felt.pick_up_roll"),
        name=phrase("drawing.part.pick_up_roll"),
        label=phrase("drawing.part.pick_up"),
        text=phrase("drawing.pick_up"),
        shapes=roll(circle),
        anchor=circle.at(math.pi * 0.25),
    )


def is_size(circle: Circle, radius: float) -> bool:
    """Whether a roll has this radius."""
    return abs(circle.radius - radius) < 1e-9


def sheet_on_felt(result: Result, track: Track, loop: Loop, first: NipPlace, plan: Plan) -> None:
    """The sheet under the felt up to the first nip; words where there is none."""
    wet = result.wet
    if not wet.nips:
        away = loop.path.at(loop.path.nearest(first.place) - 1.2)
        plan.remarks.append((away.point.beside(away.heading, 0.0, -0.35), phrase("drawing.no_sheet")))
        return
    start, end = (loop.path.nearest(p) for p in (track.path.at(track.take).point, first.place))
    before = [slot for slot in wet.slots if slot.carrier == "wire"]
    places = [start]
    ratios = [number(before[-1].moisture_ratio_out if before else wet.moisture_into_vacuum)]
    for slot in (s for s in wet.slots if s.carrier == "felt"):
        at = min(max(loop.path.nearest(plan.mouths[slot.name]), places[-1]), end)
        places += [max(at - 0.04, places[-1]), min(at + 0.04, end)]
        ratios += [ratios[-1], number(slot.moisture_ratio_out)]
    places.append(end)
    ratios.append(number(wet.moisture_into_press))
    plan.runs.append(
        Run(
            name=phrase("drawing.run.felt"), path=loop.path.part(start, end), places=tuple(p - start for p in places),
            moisture_ratios=tuple(ratios), lies=-1.0,
        )
    )  # fmt: skip


def guide_hazards(plan: Plan) -> None:
    """Every roll a fabric runs onto draws in; at crawl backwards, where it runs off."""
    for loop in plan.loops:
        kept = still((loop.path, loop.rolls, loop.name))
        plan.hazards += kept.made("roll signs", None, lambda loop=loop: _roll_signs(loop))  # type: ignore[misc]


def _roll_signs(loop: Loop) -> list[Hazard]:
    into_said, away_said = (
        phrase("drawing.hazard.onto_roll", fabric=loop.name),
        phrase("drawing.hazard.backwards", fabric=loop.name),
    )
    found = []
    for circle, side in loop.rolls:
        arc = on_roll(loop.path, circle)
        if arc is None or circle.radius > 1.5:
            continue
        inside = arc.beside(side * min(0.07, 0.4 * circle.radius))
        into, away = inside.start.beside(arc.at(0.0).heading, -0.09), arc.at(arc.length).heading
        found.append(Hazard(kind="roll", place=into, text=into_said))
        found.append(Hazard(kind="roll at crawl", place=inside.end.beside(away, 0.09), text=away_said))
    return found
