"""The water that leaves the sheet, as bands: how much, where and which way.

Together the bands are the water of the jet less the water at the reel. They are shares of what the run's streams say;
the march along the former only says where.
"""

from __future__ import annotations

import math
from typing import Any

from thinstock.drawing import outlines_former as former
from thinstock.drawing.plan import LAYER, Leaving, Plan
from thinstock.drawing.words import number
from thinstock.machine import elements as kinds
from thinstock.machine.geometry import Circle, Line, Path, Point, Turtle

DOWN, UP = -math.pi / 2, math.pi / 2


def stream_water(result: Any, *names: str) -> float:
    """Water of streams by name (the part before a colon), kg/(s m)."""
    return math.fsum(number(s.water) for s in result.streams if s.name.split(":")[0] in names)


def bands(result: Any, track: former.Track | None, plan: Plan, nips: list[Any], yankee: Circle | None) -> None:
    """Forming, undrained stock, nips and vapour into the plan (slots put theirs where they stand)."""
    low = min(p.y for p in plan.points())
    if track is not None:
        _forming(result, track, plan, low)
    wet = result.wet
    for placed in nips:
        if placed.result is None:
            continue
        flow = math.fsum(number(s.water) for s in result.streams if s.name == f"nip_water: {placed.part.name}")
        if flow <= 0:
            continue
        away = placed.mate.centre.angle_to(placed.circle.centre)
        end = placed.circle.centre.beside(away, placed.circle.radius + 0.55)
        plan.leaving.append(
            Leaving(
                name=placed.part.name,
                stage="press",
                flow=flow,
                moisture_ratio=math.inf,
                path=straight(placed.place, end),
            )
        )
    vapour = stream_water(result, "vapour")
    if yankee is not None and wet.nips and vapour > 0:
        from thinstock.drawing.outlines_dryer import HOOD_DEPTH

        gap = number(result.machine.hood.nozzle_gap)
        at = yankee.centre.beside(UP, yankee.radius + gap + HOOD_DEPTH)
        plan.leaving.append(
            Leaving(
                name="hood",
                stage="evaporation",
                flow=vapour,
                moisture_ratio=math.inf,
                path=straight(at, at.beside(UP, 0.75)),
            )
        )


def at_slot(result: Any, slot: Any, mouth: Point, heading: float, plan: Plan) -> None:
    """What one slot takes, where it stands."""
    flow = math.fsum(number(s.water) for s in result.streams if s.name == f"vacuum_water: {slot.name}")
    plan.mouths[slot.name] = mouth
    if flow <= 0:
        return
    plan.leaving.append(
        Leaving(
            name=slot.name,
            stage="vacuum",
            flow=flow,
            moisture_ratio=math.inf,
            path=straight(mouth, mouth.beside(heading, 0.72)),
        )
    )


def forming_total(result: Any) -> float:
    """Water that leaves the stock while the sheet forms, kg/(s m): jet less what goes on."""
    return stream_water(result, "jet") - stream_water(result, "web_formed") - stream_water(result, "not drained")


def _forming(result: Any, track: former.Track, plan: Plan, low: float) -> None:
    """One band per element of the march and side; table rolls and blades with the stretch before them."""
    machine, wet = result.machine, result.wet
    formed = wet.formed
    white = formed.drained.white_water[0]
    fibre = formed.drained.white_water_fibre[0]
    scale = forming_total(result) / float(white.sum()) if white.sum() > 0 else 0.0
    density = number(wet.water.density)
    roller = former.is_roll_former(machine.forming)
    wire_side = -track.turned if roller else -1.0
    for element, (name, first, last) in zip(machine.forming.element, formed.rows, strict=True):
        pairs = _pairs(element, first, last)
        shown = _middle_with_water(pairs, white)
        for k, group in enumerate(pairs):
            for i, side in ((0, wire_side), (1, -wire_side)):
                volume = float(sum(white[e, i] for e in group))
                if volume <= 0:
                    continue
                lost = float(sum(fibre[e, i] for e in group))
                ratio = max(volume * density / lost - 1, 0.0) if lost > 0 else math.inf
                plan.leaving.append(
                    _band(
                        name, element, track, group, side, volume * scale, ratio, low, formed, roller, label=k == shown
                    )
                )
    _boxes_behind(result, track, plan, low, white, scale)
    undrained = stream_water(result, "not drained")
    if undrained > 0:
        out = track.path.at(track.take)
        at = out.point.beside(out.heading, 0.0, -track.turned * LAYER)
        plan.leaving.append(
            Leaving(
                name="stock not drained",
                stage="not drained",
                flow=undrained,
                moisture_ratio=number(1 / machine.headbox.consistency - 1),
                path=falling(at, out.heading, low),
            )
        )


def _boxes_behind(result: Any, track: former.Track, plan: Plan, low: float, white: Any, scale: float) -> None:
    """Boxes under the wire: what they took while the sheet still formed, or from the formed sheet."""
    machine, wet = result.machine, result.wet
    slots = [s for s in machine.vacuum.slot if s.carrier == "wire"]
    behind = wet.formed.rows[-1][2]
    for i, (slot, (a, b)) in enumerate(zip(slots, track.boxes, strict=True)):
        flow = math.fsum(number(s.water) for s in result.streams if s.name == f"vacuum_water: {slot.name}")
        if behind + i < len(white):
            flow += float(white[behind + i].sum()) * scale
        if flow <= 0:
            continue
        p, q = track.path.at(a).point, track.path.at(b).point
        mid = Point(0.5 * (p.x + q.x), 0.5 * (p.y + q.y))
        plan.leaving.append(
            Leaving(
                name=slot.name,
                stage="vacuum",
                flow=flow,
                moisture_ratio=math.inf,
                path=straight(mid, Point(mid.x, low - BELOW)),
            )
        )


def _pairs(element: Any, first: int, last: int) -> list[list[int]]:
    if isinstance(element, kinds.TableRolls | kinds.Foils):
        return [[i, i + 1] for i in range(first, last, 2)]
    if isinstance(element, kinds.SuctionBreastRoll):
        return [list(range(first, last))]
    return [[i] for i in range(first, last)]


def _middle_with_water(pairs: list[list[int]], white: Any) -> int:
    busy = [k for k, group in enumerate(pairs) if sum(white[e].sum() for e in group) > 0]
    return busy[len(busy) // 2] if busy else 0


def _band(
    name: str,
    element: Any,
    track: former.Track,
    group: list[int],
    side: float,
    flow: float,
    ratio: float,
    low: float,
    formed: Any,
    roller: bool,
    *,
    label: bool,
) -> Leaving:
    a, b = track.spans[group[0]][0], track.spans[group[-1]][1]
    end_at = former.along_path(track, number(formed.dry_line)) if bool(formed.formed) else b
    if a < end_at < b:
        b = end_at
    lift = LAYER if roller else 0.0
    carrier_side = track.turned
    off = 0.0 if side == carrier_side else side * lift
    middle = track.path.at(0.5 * (a + b))
    at = middle.point.beside(middle.heading, 0.0, off)
    arc = track.arcs.get(name)
    if isinstance(element, kinds.TableRolls | kinds.Foils):
        path = straight(track.path.at(b).point, Point(track.path.at(b).point.x, low - BELOW))
    elif not roller or arc is None:
        path = straight(at, Point(at.x, low - BELOW))
    elif side == arc.side:  # into the roll, or into the felt on it
        inward = arc.centre.angle_to(at)
        path = straight(arc.centre.beside(inward, 0.93 * arc.radius), arc.centre.beside(inward, 0.2 * arc.radius))
        name = f"{name}, roll side"
    else:
        path = falling(at, middle.heading + side * math.pi / 2, low)
    return Leaving(name=name, stage="forming", flow=flow, moisture_ratio=ratio, path=path, label=label)


BELOW = 0.35
"""How far below the machine bands end, m on the drawing."""
BEND = 0.46
"""Radius of the bend of a band that is thrown off and falls, m on the drawing."""


def straight(start: Point, end: Point) -> Path:
    """A band that goes straight."""
    return Path((Line(start, end),))


def falling(start: Point, heading: float, low: float) -> Path:
    """A band that leaves along a heading, bends over and falls below the machine."""
    turtle = Turtle(start.x, start.y, heading)
    turn = math.remainder(DOWN - heading, 2 * math.pi)
    if abs(turn) > 0.05:
        turtle.straight(0.45 if abs(math.sin(heading)) < 0.7 else 0.05)
        turtle.turn(BEND, turn)
    turtle.straight(max(turtle.pose.point.y - (low - BELOW), 0.3))
    return turtle.path()
