"""The reel at its place, with the free sheet that runs to it."""

from __future__ import annotations

import math

from thinstock.machine.geometry import Circle, Line, Point, tangent
from thinstock.machine.outlines.dry import DRUM, Winding
from thinstock.machine.outlines.said import told
from thinstock.machine.outlines.shape import Hazard, Outline
from thinstock.machine.result import Result
from thinstock.words.phrase import phrase


def reel(result: Result, start: Point, at: Point) -> tuple[Outline, Line]:
    """Drum and parent roll at a place, and the free sheet from where it starts."""
    grade = result.machine.grade
    wanted = phrase("drawing.reel.wanted", grammage=told(grade, "reel_grammage"), dryness=told(grade, "reel_dryness"))
    place = Winding(drum=at, wanted=wanted)
    if result.dry is not None:
        place = Winding(drum=at, wanted=wanted, production=result.values.get("production"), speed=result.wet.reel_speed)
    line = Line(start, start)
    if start.distance(at) > DRUM + 0.01:
        line = tangent(Circle(start, 0.0), -1.0, Circle(at, DRUM), -1.0)
    return result.machine.reel.outline(place), line


def reel_nip(drum: Point) -> Hazard:
    """The in-running nip of drum and parent roll."""
    place = drum.beside(math.radians(28.0) + 0.5, DRUM + 0.16)
    return Hazard(kind="nip", place=place, text=phrase("drawing.hazard.reel"))
