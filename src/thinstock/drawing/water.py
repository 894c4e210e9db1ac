"""The water that leaves the sheet, as bands: how much, where and which way.

Together the bands are the water of the jet less the water at the reel. They are shares of what the run's streams say;
the march along the former only says where.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from thinstock.drawing.plan import Leaving, Plan
from thinstock.drawing.still import still
from thinstock.drawing.track import Track, between_fabrics, wire_slots
from thinstock.machine.along import along_former
from thinstock.machine.elements import FormingElement
from thinstock.machine.geometry import Line, Path, Point, Pose, Turtle
from thinstock.machine.nips import Nip
from thinstock.machine.outlines.press import NipPlace
from thinstock.machine.outlines.said import number
from thinstock.machine.outlines.shape import LAYER
from thinstock.machine.result import Result
from thinstock.words.num import Array
from thinstock.words.phrase import phrase

DOWN, UP = -math.pi / 2, math.pi / 2
BELOW = 0.35
"""How far below the machine bands end, m on the drawing."""
STRETCH = 0.9
"""So much open wire gives one band of water, m on the drawing."""
BEND = 0.46
"""Radius of the bend of a band that is thrown off and falls, m on the drawing."""


def stream_water(result: Result, *names: str) -> float:
    """Water of streams by id, kg/(s m)."""
    return math.fsum(number(s.water) for s in result.streams if s.id in names)


def _of(result: Result, stream: str, part: str) -> float:
    """Water of the stream of one part, kg/(s m)."""
    return math.fsum(number(s.water) for s in result.streams if s.id == stream and s.of == part)


def forming_total(result: Result) -> float:
    """Water that leaves the stock while the sheet forms, kg/(s m): jet less what goes on."""
    return stream_water(result, "jet") - stream_water(result, "web_formed") - stream_water(result, "not_drained")


def wet_end(result: Result, track: Track, plan: Plan) -> None:
    """What leaves along the former, and stock that does not drain (slots on the felt put theirs where they stand)."""
    low = min(_lowest(paths) for paths in plan.stacks()) - BELOW
    former = _Former(result, track, low)
    plan.leaving += former.elements()
    plan.leaving += former.boxes()
    undrained = stream_water(result, "not_drained")
    if undrained > 0:
        out = track.path.at(track.take)
        at = out.point.beside(out.heading, 0.0, -track.turned * LAYER)
        plan.leaving.append(
            Leaving(
                part="former", name=phrase("drawing.band.not_drained"), stage="not drained", flow=undrained,
                moisture_ratio=number(1 / result.machine.headbox.consistency - 1),
                path=falling(Pose(at, out.heading), low),
            )
        )  # fmt: skip


def _lowest(paths: tuple[Path, ...]) -> float:
    """The lowest level of paths, worked out once for those that stay."""
    found: float = still(paths).made("lowest", None, lambda: min(path.lowest() for path in paths))
    return found


def pressed(result: Result, nips: Iterable[tuple[Nip, NipPlace]], beyond: float, plan: Plan) -> None:
    """Water of the nips into or past their rolls, to so far beyond the roll's face."""
    for nip, place in nips:
        flow = _of(result, "nip_water", nip.name)
        if place.did is None or flow <= 0:
            continue
        away = place.mate.centre.angle_to(place.circle.centre)
        reach = place.circle.radius + beyond if beyond > 0 else -0.2 * place.circle.radius
        path = straight(place.place, place.circle.centre.beside(away, reach))
        plan.leaving.append(clean(nip.name, nip.name, "press", flow, path))


def vapour(result: Result, part: str, name: str, start: Point, length: float, plan: Plan) -> None:
    """Vapour that leaves upwards."""
    flow = stream_water(result, "vapour")
    if flow > 0:
        plan.leaving.append(clean(part, name, "evaporation", flow, straight(start, start.beside(UP, length))))


def at_slot(result: Result, part: str, mouth: Pose, plan: Plan) -> None:
    """What one slot takes, where it stands, along the heading of its mouth."""
    flow = _of(result, "vacuum_water", part)
    plan.mouths[part] = mouth.point
    if flow > 0:
        path = straight(mouth.point, mouth.point.beside(mouth.heading, 0.72))
        plan.leaving.append(clean(part, part, "vacuum", flow, path))


def clean(part: str, name: str, stage: str, flow: float, path: Path) -> Leaving:
    """A band of clean water or vapour."""
    return Leaving(part=part, name=name, stage=stage, flow=flow, moisture_ratio=math.inf, path=path)


@dataclass
class _Former:
    """The water that leaves along a former."""

    result: Result
    track: Track
    low: float

    def __post_init__(self) -> None:
        formed = self.result.wet.formed
        self.formed = formed
        self.white: Array = formed.drained.white_water[0]
        self.fibre: Array = formed.drained.white_water_fibre[0]
        total = float(self.white.sum())
        self.scale = forming_total(self.result) / total if total > 0 else 0.0
        self.roller = between_fabrics(self.result.machine.forming)
        self.end = self.track.reached(number(formed.dry_line)) if bool(formed.formed) else math.inf

    def elements(self) -> Iterable[Leaving]:
        """One band per element of the march and side; table rolls and blades with the stretch before them."""
        wire_side = -self.track.turned if self.roller else -1.0
        for element, (_, first, last) in zip(self.result.machine.forming.element, self.formed.rows, strict=True):
            step = element.grouped or last - first
            groups = [list(range(i, min(i + step, last))) for i in range(first, last, step)]
            busy = [k for k, group in enumerate(groups) if sum(self.white[e].sum() for e in group) > 0]
            shown = busy[len(busy) // 2] if busy else 0
            for k, group in enumerate(groups):
                for i, side in ((0, wire_side), (1, -wire_side)):
                    volume = float(sum(self.white[e, i] for e in group))
                    if volume <= 0:
                        continue
                    ratio = self._ratio(volume, float(sum(self.fibre[e, i] for e in group)))
                    for share, name, path in self._ways(element, group, side):
                        yield Leaving(
                            part=element.name, name=name, stage="forming", flow=share * volume * self.scale,
                            moisture_ratio=ratio, path=path, label=k == shown,
                        )  # fmt: skip

    def _ways(self, element: FormingElement, group: list[int], side: float) -> Iterable[tuple[float, str, Path]]:
        """The bands of one group of march elements: one, or one for each stretch of a long open wire."""
        track = self.track
        a, b = track.spans[group[0]][0], track.spans[group[-1]][1]
        whole = min(b, self.end) if a < self.end else b
        count = math.ceil((whole - a) / STRETCH)
        if count < 2 or len(group) > 1 or self.roller or element.name in track.arcs:
            yield 1.0, *self._way(element, group, side)
            return
        along = along_former(self.formed, 12 * count)
        begins = math.fsum(q - p for p, q in track.spans[: group[0]])
        edges = np.linspace(begins, begins + whole - a, count + 1)
        drained = np.diff(np.interp(edges, along.place, along.drained))
        for i, one in enumerate(drained / drained.sum()):
            at = track.path.at(a + (whole - a) * (i + 0.5) / count).point
            if one > 0:
                yield float(one), element.name, straight(at, Point(at.x, self.low))

    def _ratio(self, volume: float, lost: float) -> float:
        """kg water per kg of fibre that goes with it."""
        density = number(self.result.wet.water.density)
        return max(volume * density / lost - 1, 0.0) if lost > 0 else math.inf

    def _way(self, element: FormingElement, group: list[int], side: float) -> tuple[str, Path]:
        """The band of one group of march elements on one side, with its name."""
        track, name = self.track, element.name
        a, b = track.spans[group[0]][0], track.spans[group[-1]][1]
        if a < self.end < b:
            b = self.end
        if element.falls:
            at = track.path.at(b).point
            return name, straight(at, Point(at.x, self.low))
        middle = track.path.at(0.5 * (a + b))
        off = side * LAYER if self.roller and side != track.turned else 0.0
        at = middle.point.beside(middle.heading, 0.0, off)
        arc = track.arcs.get(name)
        if not self.roller or arc is None:
            at = at.beside(middle.heading, 0.0, -element.deep)
            return name, straight(at, Point(at.x, self.low))
        if side == arc.side:  # into the roll, or into the felt on it
            inward = arc.centre.angle_to(at)
            path = straight(arc.centre.beside(inward, 0.93 * arc.radius), arc.centre.beside(inward, 0.2 * arc.radius))
            return phrase("drawing.band.roll_side", name=name), path
        return name, falling(Pose(at, middle.heading + side * math.pi / 2), self.low)

    def boxes(self) -> Iterable[Leaving]:
        """Boxes under the wire: what they took while the sheet still formed, or from the formed sheet."""
        behind = self.formed.rows[-1][2]
        for i, (slot, (a, b)) in enumerate(zip(wire_slots(self.result.machine), self.track.boxes, strict=True)):
            flow = _of(self.result, "vacuum_water", slot.name)
            if behind + i < len(self.white):
                flow += float(self.white[behind + i].sum()) * self.scale
            if flow > 0:
                p, q = self.track.path.at(a).point, self.track.path.at(b).point
                mid = Point(0.5 * (p.x + q.x), 0.5 * (p.y + q.y))
                yield clean(slot.name, slot.name, "vacuum", flow, straight(mid, Point(mid.x, self.low)))


def straight(start: Point, end: Point) -> Path:
    """A band that goes straight."""
    return Path((Line(start, end),))


def falling(start: Pose, low: float) -> Path:
    """A band that leaves along a heading, bends over and falls to a level below the machine."""
    turtle = Turtle(start.point.x, start.point.y, start.heading)
    turn = math.remainder(DOWN - start.heading, 2 * math.pi)
    if abs(turn) > 0.05:
        turtle.straight(0.45 if abs(math.sin(start.heading)) < 0.7 else 0.05)
        turtle.turn(BEND, turn)
    turtle.straight(max(turtle.pose.point.y - low, 0.3))
    return turtle.path()
