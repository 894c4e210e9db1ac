"""The press as drawn: rolls and shoes on the Yankee or against each other, the felt with its rolls, boxes and shower.

Nip angles, diameters, shoe lengths and suction zones are the machine's; the felt's return run is assumed. The line load
stands beside its limit, which is never worked out here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from thinstock.drawing.plan import Hazard, Outline, Plan, Shape, roll
from thinstock.drawing.words import in_unit, joined, number, plain, told
from thinstock.machine import press as press_section
from thinstock.machine.geometry import Circle, Path, Point, circle_path, polyline, sector
from thinstock.relations import nip as nip_relations

SHOE_DEPTH = 0.10
FELT_AND_SLEEVE = 0.006
CLEARANCE = 0.2
"""Depth of a shoe, felt with sleeve, and the least gap between two rolls on one Yankee, m (assumed)."""


@dataclass(frozen=True)
class Placed:
    """A nip with its place."""

    part: Any
    result: Any
    """What the nip did; None where there was no sheet."""
    circle: Circle
    """Roll or sleeve."""
    mate: Circle
    """Yankee or counter roll."""

    @property
    def angle(self) -> float:
        """The nip as seen from the centre of the mating roll."""
        return self.mate.centre.angle_to(self.circle.centre)

    @property
    def place(self) -> Point:
        """The middle of the nip."""
        return self.mate.at(self.angle)


def on_yankee(machine: Any, wet: Any, yankee: Circle) -> list[Placed]:
    """The nips on the Yankee; one that would stand in another's way is moved on until there is room."""
    found: list[Placed] = []
    results = list(wet.nips) or [None] * len(machine.press.nip)
    pairs = list(zip(machine.press.nip, results, strict=True))
    for part, result in [p for p in pairs if p[0].on_yankee] or pairs[-1:]:
        radius = float(part.roll_diameter) / 2
        angle = float(part.nip_angle)
        if found:
            before = found[-1]
            apart = nip_relations.angle_clear_rolls(2 * yankee.radius, 2 * before.circle.radius, 2 * radius, CLEARANCE)
            angle = max(angle, -math.pi / 2 - before.angle + float(apart))
        centre = yankee.centre.beside(-math.pi / 2 - angle, yankee.radius + radius)
        found.append(Placed(part, result, Circle(centre, radius), yankee))
    return found


def nip_text(placed: Placed) -> str:
    """Line load beside its limit, nip, pressure, and what it did."""
    part, result = placed.part, placed.result
    shoe = isinstance(part, press_section.ShoeNip)
    parts = [
        load_text(part),
        f"{'sleeve' if shoe else 'roll'} {told(part, 'roll_diameter')} across",
        f"shoe {told(part, 'shoe_length')}" if shoe else "",
    ]
    if result is not None:
        parts += [
            f"nip {in_unit(result.nip_width, 'mm', 2)}",
            f"peak {in_unit(result.peak_pressure, 'MPa', 2)}",
            f"dryness {in_unit(result.dryness, '%', 2)} after it",
            f"felt {in_unit(result.nip_saturation, '%', 2)} full in the nip",
        ]
    return joined(*parts)


def load_text(part: Any) -> str:
    """The line load and its limit."""
    limit = "limit not known" if part.line_load_limit is None else f"limit {told(part, 'line_load_limit')}"
    of = f" ({part.certificate})" if part.certificate and part.line_load_limit is not None else ""
    return f"line load {told(part, 'line_load')}, {limit}{of}"


def nip_outline(placed: Placed) -> Outline:
    """Roll or shoe of one nip, pointing at its mating roll."""
    part, circle = placed.part, placed.circle
    towards = circle.centre.angle_to(placed.mate.centre)
    shapes: list[Shape] = [*roll(circle)]
    if isinstance(part, press_section.ShoeNip):
        shapes += _shoe(placed)
    else:
        shapes += _surface(part, circle, towards)
    away = towards + math.pi
    also = tuple(circle.at(away + a) for a in (-0.9, 0.0, 0.9))
    anchor = circle.at(-0.35 * math.pi)
    return Outline(
        name=part.name, text=nip_text(placed), shapes=tuple(shapes), anchor=anchor, also=also, label=part.name
    )


def _shoe(placed: Placed) -> list[Shape]:
    """An annular sector as long as the shoe, concentric with the mating roll, and the beam behind it."""
    mate, part = placed.mate, placed.part
    inner = mate.radius + FELT_AND_SLEEVE
    turn = float(part.shoe_length) / inner
    ring = sector(mate.centre, inner, inner + SHOE_DEPTH, placed.angle - turn / 2, turn)
    back = mate.centre.beside(placed.angle, inner + SHOE_DEPTH)
    depth = 0.9 * placed.circle.radius
    half = 0.13
    beam = [
        back.beside(placed.angle, d, s) for d, s in ((0, half), (depth, half), (depth, -half), (0, -half), (0, half))
    ]
    return [Shape(role="shoe", path=ring), Shape(role="steel", path=polyline(beam))]


def _surface(part: Any, circle: Circle, towards: float) -> list[Shape]:
    shapes: list[Shape] = []
    cover = part.cover_thickness
    if cover is not None and float(cover) < 0.5 * circle.radius:
        shapes.append(Shape(role="cover", path=circle_path(Circle(circle.centre, circle.radius - float(cover)))))
    surface = part.surface
    if isinstance(surface, press_section.SuctionDrilled):
        inner = circle.radius - float(cover or 0.0) - float(surface.shell_thickness)
        shapes.append(Shape(role="open", path=circle_path(Circle(circle.centre, inner))))
        # the roll turns anticlockwise: what comes before the nip lies clockwise of it
        start = towards + float(surface.zone_start)
        turn = float(surface.zone_end) - float(surface.zone_start)
        shapes.append(Shape(role="suction", path=sector(circle.centre, 0.3 * circle.radius, inner, start, turn)))
    elif isinstance(surface, press_section.Grooved | press_section.BlindDrilled):
        depth = float(surface.groove_depth if isinstance(surface, press_section.Grooved) else surface.hole_depth)
        shapes.append(Shape(role="voids", path=circle_path(Circle(circle.centre, circle.radius - max(depth, 0.012)))))
    return shapes


def nip_hazards(placed: Placed) -> list[Hazard]:
    """The in-running side of a nip, and the side that draws in when the rolls crawl backwards."""
    radius = placed.mate.radius
    reach = 0.16 / radius
    what = "sleeve and counter roll" if isinstance(placed.part, press_section.ShoeNip) else "roll and counter roll"
    into, back = (placed.mate.centre.beside(placed.angle + s * reach, radius + 0.03) for s in (1.0, -1.0))
    return [
        Hazard(kind="nip", place=into, text=f"in-running nip of {what}, {placed.part.name}"),
        Hazard(kind="nip at crawl", place=back, text=f"draws in when turned backwards, {placed.part.name}"),
    ]


# --- felt furniture


def felt_text(machine: Any, wet: Any) -> str:
    """The felt and its state."""
    felt = machine.press.felt
    wetness = ""
    if wet.nips:
        wetness = f"{plain(wet.nips[0].loop.felt_moisture_ratio, 2)} kg water per kg felt into the nip"
    return joined(told(felt, "felt_grammage"), wetness, "return run and its rolls schematic")


def felt_boxes(machine: Any, run: Path, plan: Plan) -> None:
    """Suction boxes and shower on a straight run of the felt, on its face (the right of its run)."""
    felt = machine.press.felt
    h = run.at(0.0).heading
    length = run.length
    width = max(float(felt.boxes.slot_width), 0.05)
    at = 0.66 * length
    a, b = run.at(at - width / 2).point, run.at(at + width / 2).point
    shape = polyline([a, b, b.beside(h, 0, -0.26), a.beside(h, 0, -0.26), a])
    plan.outlines.append(
        Outline(
            name="felt boxes",
            label="felt boxes",
            anchor=b.beside(h, -width / 2, -0.26),
            text=joined(
                f"{told(felt.boxes, 'vacuum')} below the air outside", f"slots {told(felt.boxes, 'slot_width')}"
            ),
            shapes=(Shape(role="box", path=shape),),
        )
    )
    p = run.at(0.28 * length).point
    head = Circle(p.beside(h, 0, -0.2), 0.05)
    spray = tuple(
        Shape(role="spray", path=polyline([head.centre, p.beside(h, d)]), closed=False) for d in (-0.08, 0.0, 0.08)
    )
    plan.outlines.append(
        Outline(
            name="felt shower",
            label="felt shower",
            anchor=head.at(h - math.pi / 2),
            text=joined(f"{told(felt, 'shower')} of felt", f"at {told(felt, 'shower_temperature')}"),
            shapes=(*roll(head), *spray),
        )
    )


def steam_box(machine: Any, run: Path, back: float, plan: Plan) -> None:
    """The steam box on the sheet side of the felt, a little ahead of the nip."""
    box = machine.press.steam_box
    if box is None:
        return
    end = max(run.length - back, 0.3)
    a, b = run.at(end - 0.3).point, run.at(end).point
    h = run.at(end).heading
    lower = [p.beside(h, 0, -0.05) for p in (a, b)]
    outer = [p.beside(h, 0, -0.32) for p in (b, a)]
    plan.outlines.append(
        Outline(
            name="steam box",
            label="steam box",
            anchor=outer[0].beside(h, -0.15),
            text=joined(f"{told(box, 'steam_dose')} of sheet", f"{told(box, 'capture')} of it taken up"),
            shapes=(Shape(role="box", path=polyline([*lower, *outer, lower[0]])),),
        )
    )


def felt_vacuum(slot: Any, mouth: Circle | None, line: Path, share: float, plan: Plan) -> tuple[Point, float]:
    """A box (or, where its name says so, a roll) that sucks through the felt; gives its mouth and the way out."""
    text = joined(f"{told(slot, 'vacuum')} below the air outside", f"slots {told(slot, 'slot_width')}")
    width = max(number(slot.slot_width), 0.03)
    if mouth is not None:
        middle = -math.pi / 2
        turn = width / mouth.radius
        plan.outlines.append(
            Outline(
                name=slot.name,
                label=slot.name,
                text=text,
                anchor=mouth.at(math.pi * 0.6),
                shapes=(
                    *roll(mouth),
                    Shape(role="open", path=circle_path(Circle(mouth.centre, 0.86 * mouth.radius))),
                    Shape(
                        role="suction",
                        path=sector(
                            mouth.centre,
                            0.25 * mouth.radius,
                            0.86 * mouth.radius,
                            middle - max(turn, 0.25) / 2,
                            max(turn, 0.25),
                        ),
                    ),
                ),
            )
        )
        return mouth.at(middle), math.pi / 2
    at = share * line.length
    h = line.at(at).heading
    a, b = line.at(at - width / 2).point, line.at(at + width / 2).point
    shape = polyline([a, b, b.beside(h, 0, 0.3), a.beside(h, 0, 0.3), a])
    plan.outlines.append(
        Outline(
            name=slot.name,
            label=slot.name,
            text=text,
            anchor=a.beside(h, width / 2, 0.3),
            shapes=(Shape(role="box", path=shape),),
        )
    )
    return line.at(at).point, h + math.pi / 2
