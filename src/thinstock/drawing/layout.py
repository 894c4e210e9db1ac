"""Lays a machine out from the outlines of its parts: former, felt, press, dryer, with the sheet and the water.

The Yankee's centre is the origin and the wet end lies to the left. Joins are tangents, so fabrics close; distances
nobody gave are assumed. Nothing is computed here that a run does not already know.
"""

from __future__ import annotations

import itertools
import math
from functools import lru_cache

from thinstock.drawing import felt, water
from thinstock.drawing.former import place_former
from thinstock.drawing.layout_heavy import without_yankee
from thinstock.drawing.plan import Plan, Rolls, Run
from thinstock.drawing.reel import reel, reel_nip
from thinstock.drawing.track import Track, felt_slots
from thinstock.machine.along import along_yankee
from thinstock.machine.geometry import Arc, Circle, Path, Point, tangent
from thinstock.machine.hood import Hood
from thinstock.machine.line import CLEARANCE, Machine
from thinstock.machine.nips import Nip
from thinstock.machine.outlines.dry import HOOD_DEPTH, OnYankee, doctor
from thinstock.machine.outlines.press import NipPlace
from thinstock.machine.outlines.said import number, told, unit_set
from thinstock.machine.outlines.shape import Hazard, Outline
from thinstock.machine.press import Nipped
from thinstock.machine.result import Result
from thinstock.machine.views import WetEnd
from thinstock.machine.yankee import Yankee
from thinstock.relations.nip import angle_clear_rolls
from thinstock.words.phrase import phrase, spoken

REEL_AWAY = 2.5
"""How far the reel drum stands from the Yankee's side, m (assumed)."""


def lay_out(result: Result) -> Plan:
    """The plan of a machine after a run of one case: nobody changes it, and the same run has it but once."""
    return _laid_out(result, (unit_set(), spoken()))


@lru_cache(maxsize=4)
def _laid_out(result: Result, said_in: tuple[str, str]) -> Plan:
    """The plan of a run, its words said in a set of units and a language."""
    machine = result.machine
    if machine.yankee is None or machine.hood is None:
        return without_yankee(result)
    return _Yankee(result, machine.yankee, machine.hood).plan()


class _Yankee:
    """A machine whose sheet is pressed onto a Yankee."""

    def __init__(self, result: Result, yankee: Yankee, hood: Hood) -> None:
        self.result, self.yankee, self.hood = result, yankee, hood
        self.machine: Machine = result.machine
        self.circle = Circle(Point(0.0, 0.0), number(yankee.diameter) / 2)
        self.nips = _on_yankee(self.machine, result.wet, self.circle)
        self.reach = self.circle.radius + float(hood.nozzle_gap) + HOOD_DEPTH

    @property
    def first(self) -> NipPlace:
        """The place of the first nip."""
        return self.nips[0][1]

    @property
    def last(self) -> NipPlace:
        """The place of the last nip."""
        return self.nips[-1][1]

    def plan(self) -> Plan:
        """Everything at its place."""
        machine, wet, plan = self.machine, self.result.wet, Plan()
        track, rolls = self._felt_rolls()
        loop = felt.press_felt(machine, wet, rolls, rolls[-2][0])
        plan.loops.append(loop)
        plan.outlines += self._dryer()
        place_former(machine, wet, track, plan)
        for nip, place in self.nips:
            plan.outlines.append(nip.outline(place))
            plan.press.append(nip.name)
            plan.hazards += nip.hazards(place)
        self._felt_furniture(rolls, plan)
        self._dry_sheet(plan)
        felt.sheet_on_felt(self.result, track, loop, self.first, plan)
        water.wet_end(self.result, track, plan)
        water.pressed(self.result, self.nips, 0.55, plan)
        top = self.circle.centre.beside(water.UP, self.reach)
        water.vapour(self.result, "hood", phrase("drawing.part.hood"), top, 0.75, plan)
        felt.guide_hazards(plan)
        return plan

    def _dryer(self) -> tuple[Outline, Outline]:
        """Shell and hood."""
        place = OnYankee(circle=self.circle, nip=self.last.angle)
        if self.result.dry is not None:
            dried = self.result.parts.yankee.dried
            place = OnYankee(
                circle=self.circle, nip=self.last.angle, steam_pressure=dried.steam_pressure,
                surface_temperature=dried.surface_temperature, air_temperature=dried.air_temperature,
            )  # fmt: skip
        return self.yankee.outline(place), self.hood.outline(place)

    def _felt_rolls(self) -> tuple[Track, Rolls]:
        """The former walked at its place, and the felt's rolls in order with the side each is turned by."""
        machine, wet, first, last = self.machine, self.result.wet, self.first.circle, self.last
        edge = self.circle.centre.beside(self.hood.begins(last.angle), self.reach)
        under = min(last.circle.centre.y + last.circle.radius, edge.y - 0.12)
        slots = felt_slots(machine)
        room = math.fsum(number(s.slot_width) for s in slots) + 0.35 * len(slots)
        room += 0.4 if machine.press.steam_box is not None else 0.0
        rise_x = min(-self.reach, edge.x) - 0.45
        guide = Circle(Point(rise_x, under - felt.FELT_GUIDE + 0.02), felt.FELT_GUIDE)
        high = Circle(Point(rise_x - 0.30, guide.centre.y + 2.7), felt.FELT_GUIDE)
        presses: Rolls = []
        for _, place in self.nips:
            if presses:
                presses.append((self.circle, -1.0))  # the felt lies on the Yankee between two nips
            presses.append((place.circle, 1.0))
        back: Rolls = [(guide, -1.0), (high, 1.0)]
        site = felt.Site(first, high, room)
        if machine.forming.carrier == "felt":
            rolled = next((s for s in slots if s.in_roll), None)
            track, lead, middle = felt.felt_former(machine, wet, site, rolled)
            return track, [*middle, *presses, *back, *lead]
        return felt.wire_former(machine, wet, site, presses, back)

    def _felt_furniture(self, rolls: Rolls, plan: Plan) -> None:
        """Boxes, shower and vacuum on the felt."""
        guide = next(i for i, (c, s) in enumerate(rolls) if s < 0 and felt.is_size(c, felt.FELT_GUIDE))
        felt.felt_boxes(self.machine, Path((tangent(*rolls[guide], *rolls[guide + 1]),)), plan)
        pressed = next(i for i, (c, _) in enumerate(rolls) if c == self.first.circle)
        felt.on_the_way(self.result, rolls, pressed, plan)

    def _dry_sheet(self, plan: Plan) -> None:
        """The sheet round the Yankee, over the doctor and to the reel."""
        circle, dry = self.circle, self.result.dry
        arc = circle.arc(self.last.angle, -float(self.yankee.wrap))
        outline, blade = _doctor(self.machine, circle, arc.begin + arc.turn)
        plan.outlines.append(outline)
        hot = circle.centre.beside(-math.pi / 2 + 0.12, circle.radius - 0.3)
        plan.hazards += [blade, Hazard(kind="hot", place=hot, text=phrase("drawing.hazard.hot_shell"))]
        reel_at = Point(circle.radius + REEL_AWAY, min(arc.end.y - 0.55, -circle.radius + 0.8))
        outline, line = reel(self.result, arc.end, reel_at)
        plan.outlines.append(outline)
        plan.hazards.append(reel_nip(reel_at))
        if dry is None:
            return
        name, out = phrase("drawing.run.yankee"), number(dry.moisture_ratio_out)
        for (_, one), (_, following) in itertools.pairwise(self.nips):
            if one.did is None:
                continue
            piece = circle.arc(one.angle, following.angle - one.angle)
            ratio = (number(one.did.moisture_ratio_out),) * 2
            plan.runs.append(
                Run(name=name, path=Path((piece,)), places=(0.0, piece.length), moisture_ratios=ratio, lies=1.0)
            )
        plan.runs.append(_drying(self.result, arc, name))
        to_reel = phrase("drawing.run.reel")
        plan.runs.append(Run(name=to_reel, path=Path((line,)), places=(0.0, line.length), moisture_ratios=(out, out)))


def _on_yankee(machine: Machine, wet: WetEnd, yankee: Circle) -> list[tuple[Nip, NipPlace]]:
    """The nips on the Yankee; one that would stand in another's way is moved on until there is room."""
    found: list[tuple[Nip, NipPlace]] = []
    results: list[Nipped | None] = list(wet.nips) or [None] * len(machine.press.nip)
    pairs = list(zip(machine.press.nip, results, strict=True))
    for part, did in [p for p in pairs if p[0].on_yankee] or pairs[-1:]:
        radius, angle = float(part.roll_diameter) / 2, float(part.nip_angle)
        if found:
            before = found[-1][1]
            apart = angle_clear_rolls(2 * yankee.radius, 2 * before.circle.radius, 2 * radius, CLEARANCE)
            angle = max(angle, -math.pi / 2 - before.angle + float(apart))
        centre = yankee.centre.beside(-math.pi / 2 - angle, yankee.radius + radius)
        found.append((part, NipPlace(Circle(centre, radius), yankee, did)))
    return found


def _doctor(machine: Machine, circle: Circle, angle: float) -> tuple[Outline, Hazard]:
    """The crepe doctor at the end of the wrap: it lies against the turning shell."""
    tip = circle.at(angle)
    against = angle + math.pi / 2 + math.radians(25.0)  # the shell runs clockwise; the blade points up against it
    shapes, beam = doctor(tip, against)
    name = phrase("drawing.part.crepe_doctor")
    outline = Outline(
        part="crepe doctor", name=name, label=name, anchor=beam, shapes=shapes,
        text=phrase("drawing.dry.doctor", crepe=told(machine.grade, "crepe")),
    )  # fmt: skip
    return outline, Hazard(kind="blade", place=tip.beside(angle, 0.24), text=phrase("drawing.hazard.blade"))


def _drying(result: Result, arc: Arc, name: str) -> Run:
    """The sheet from the last nip to the doctor, as wet as the drying leaves it."""
    profile = along_yankee(result.parts.yankee)
    step = max(1, len(profile.position) // 14)
    keep = [*range(0, len(profile.position) - 1, step), len(profile.position) - 1]
    scale = arc.length / float(profile.position[-1])
    return Run(
        name=name, path=Path((arc,)), places=tuple(float(profile.position[i]) * scale for i in keep),
        moisture_ratios=tuple(float(profile.moisture_ratio[i]) for i in keep), lies=1.0,
    )  # fmt: skip
