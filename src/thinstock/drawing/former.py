"""A former at its place: the path of the stock over rolls, boxes and blades, the parts along it, jet, stock and sheet.

Wraps, diameters, lengths, pitches and angles are the machine's; where a former stands and over which other rolls its
wires return is assumed. Each element says how the fabric runs along it and what it looks like.
"""

from __future__ import annotations

import math

from thinstock.drawing.fabrics import wires
from thinstock.drawing.plan import Plan, Run, Wrap
from thinstock.drawing.track import Track, between_fabrics, wire_slots
from thinstock.machine.forming import Formed, Forming
from thinstock.machine.geometry import Arc, Circle, Line, Path
from thinstock.machine.line import Machine
from thinstock.machine.outlines.dry import SlicePlace
from thinstock.machine.outlines.former import EndOfForming, Jet, Stretch, breast_roll
from thinstock.machine.outlines.said import in_unit, number
from thinstock.machine.outlines.shape import LAYER, Hazard, Outline, roll
from thinstock.machine.views import WetEnd
from thinstock.words.phrase import phrase


def place_former(machine: Machine, wet: WetEnd, track: Track, plan: Plan) -> None:
    """Wires, rolls, headbox and stock of the former."""
    plan.loops += wires(machine, track)
    before = len(plan.outlines)
    _parts(machine, wet.formed, track, plan)
    plan.former = [outline.part for outline in plan.outlines[before:]]
    jet = _jet(machine.forming, track)
    plan.outlines.append(machine.headbox.outline(SlicePlace(jet.slice, jet.upper, wet.delivery)))
    wetness = number(1 / machine.headbox.consistency - 1)
    way = Path((Line(jet.slice.point, jet.landing),))
    plan.runs.append(
        Run(name=phrase("drawing.run.jet"), path=way, places=(0.0, way.length), moisture_ratios=(wetness, wetness))
    )
    plan.runs.append(_stock(wet.formed, track, wetness))
    if between_fabrics(machine.forming):
        said = phrase("drawing.hazard.wrap")
        for arc in track.arcs.values():
            plan.hazards.append(Hazard(kind="nip", place=arc.beside(-arc.side * 0.16).start, text=said))


def _parts(machine: Machine, formed: Formed, track: Track, plan: Plan) -> None:
    """Rolls, boards, blades and boxes of the former."""
    forming = machine.forming
    end = _end(formed)
    for i, (element, (a, b)) in enumerate(zip(forming.element, track.listed, strict=True)):
        _, first, last = formed.rows[i]
        wrap = track.arcs.get(element.name)
        place = Stretch(
            path=track.path, start=a, end=b, spans=tuple(track.spans[first:last]), wrap=wrap,
            forming=end if i == 0 else None,
        )  # fmt: skip
        outline = element.outline(place)
        if outline is not None:
            plan.outlines.append(outline)
        if element.between and wrap is not None:
            plan.wraps.append(_wrap(element.name, wrap, end, track, (a, b)))
    for slot, (a, b) in zip(wire_slots(machine), track.boxes, strict=True):
        plan.outlines.append(slot.outline(Stretch(path=track.path, start=a, end=b)))
    if not between_fabrics(forming):
        _table_rolls(forming, track, plan)


def _end(formed: Formed) -> EndOfForming:
    slow = formed.resistance_high
    return EndOfForming(
        formed=bool(formed.formed), place=float(formed.dry_line), wrap=float(formed.dry_line_wrap),
        slow=None if slow is None else float(slow[0]),
    )  # fmt: skip


def _table_rolls(forming: Forming, track: Track, plan: Plan) -> None:
    """Breast roll, top roll and couch of a wire table, where no element is one of them."""
    if not forming.element[0].own_breast:
        breast = breast_roll(track.path)
        plan.outlines.append(_assumed("breast roll", phrase("drawing.part.breast_roll"), breast, math.pi))
    for i, arc in enumerate(track.corners):
        couch = i == len(track.corners) - 1
        name = phrase("drawing.part.couch_roll") if couch else phrase("drawing.part.top_roll")
        circle = Circle(arc.centre, arc.radius)
        plan.outlines.append(_assumed("couch roll" if couch else "top roll", name, circle, -math.pi / 2))


def _assumed(part: str, name: str, circle: Circle, towards: float) -> Outline:
    """A roll that no file gives."""
    said = phrase("drawing.across_assumed", diameter=in_unit(2 * circle.radius, "m"))
    return Outline(part=part, name=name, text=said, shapes=roll(circle), anchor=circle.at(towards))


def _wrap(part: str, arc: Arc, end: EndOfForming, track: Track, on: tuple[float, float]) -> Wrap:
    """The wrap of a forming roll and where forming ends on it."""

    def on_it(place: float | None) -> float | None:
        along = None if place is None else track.along(place)
        if along is None or not on[0] - 1e-9 <= along <= on[1] + 1e-9:
            return None
        return (along - on[0]) / arc.radius

    return Wrap(part=part, arc=arc, formed=on_it(end.place), formed_slow=on_it(end.slow))


def _jet(forming: Forming, track: Track) -> Jet:
    """How the jet meets the former."""
    side = -track.turned
    begin = track.path.at(track.spans[0][0])
    return forming.element[0].jet(begin, begin.point.beside(begin.heading, 0.0, side * LAYER / 2), side)


def _stock(formed: Formed, track: Track, wetness: float) -> Run:
    """Stock and sheet along the former, as wet as the march leaves them."""
    taken = formed.drained.white_water[0].sum(axis=1)
    depth, end, is_formed = number(formed.drained.stock_depth), number(formed.dry_line), bool(formed.formed)
    least = number(formed.moisture_ratio) if is_formed else 1.0
    places, ratios = [track.spans[0][0]], [wetness]
    done = elements = 0.0
    for (a, b), water_taken in zip(track.spans, taken, strict=False):
        done += float(water_taken)
        elements += b - a
        if is_formed and elements >= end - 1e-12:
            places.append(max(track.reached(end), places[-1]))
            ratios.append(least)
            break
        places.append(max(b, places[-1]))
        ratios.append(max(wetness * (1 - done / depth), least))
    places.append(max(track.take, places[-1]))
    ratios.append(least if is_formed else ratios[-1])
    name = phrase("drawing.run.former") if is_formed else phrase("drawing.run.not_drained")
    return Run(name=name, path=track.path, places=tuple(places), moisture_ratios=tuple(ratios), lies=-track.turned)
