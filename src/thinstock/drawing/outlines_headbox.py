"""The headbox as drawn: nozzle with its slice, tube bank and cross header, and the free jet. Its body is schematic."""

from __future__ import annotations

import math
from typing import Any

from thinstock.drawing.plan import Outline, Shape, roll
from thinstock.drawing.words import in_unit, joined, told
from thinstock.machine.geometry import Circle, Point, Pose, polyline

NOZZLE = 0.75
TUBES = 0.45
HEADER = 0.32
"""Lengths of nozzle and tube bank, radius of the header, m (assumed)."""


def headbox(machine: Any, delivery: Any, slice_at: Pose, *, upper: float = 1.0) -> Outline:
    """The headbox whose slice is at a place and points along a heading; its slanting wall is on the `upper` side."""
    p, h = slice_at
    opening = float(delivery.slice_opening)
    angle = max(float(machine.headbox.slice_angle), math.radians(6.0))
    rise = opening + NOZZLE * math.tan(angle)

    def at(back: float, up: float) -> Point:
        return p.beside(h, -back, upper * up)

    drop = -0.5 * opening
    nozzle = polyline([at(0, drop), at(0, drop + opening), at(NOZZLE, drop + rise), at(NOZZLE, drop), at(0, drop)])
    height = max(rise, 0.28)
    middle = drop + rise / 2
    bank = [at(NOZZLE, middle - height / 2), at(NOZZLE, middle + height / 2),
            at(NOZZLE + TUBES, middle + height / 2), at(NOZZLE + TUBES, middle - height / 2)]  # fmt: skip
    header = Circle(at(NOZZLE + TUBES + HEADER, middle), HEADER)
    tubes = tuple(
        Shape(
            role="detail",
            path=polyline([at(NOZZLE, middle + y * height), at(NOZZLE + TUBES, middle + y * height)]),
            closed=False,
        )
        for y in (-0.25, 0.0, 0.25)
    )
    text = joined(
        f"stock at {told(machine.headbox, 'consistency')}",
        f"slice open {in_unit(opening, 'mm')}",
        f"jet {in_unit(delivery.jet_thickness, 'mm')} thick at {in_unit(delivery.jet_speed, 'm/min', 4)}",
        f"head {in_unit(delivery.headbox_head, 'kPa')}",
        f"flow {in_unit(delivery.flow_per_width, 'm³/(min·m)')}",
    )
    return Outline(
        name="headbox",
        text=text,
        label="headbox",
        anchor=header.at(h + math.pi * 0.5),
        shapes=(
            Shape(role="stock box", path=nozzle),
            Shape(role="stock box", path=polyline([*bank, bank[0]])),
            *tubes,
            *roll(header, "stock box"),
            Shape(role="lip", path=polyline([at(0, drop + opening), at(0.1, drop + opening + 0.1 * math.tan(angle))]),
                  closed=False),
        ),
    )  # fmt: skip
