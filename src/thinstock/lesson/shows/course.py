"""What happens over time: the lines of an event, where they move."""

from __future__ import annotations

import dataclasses
from functools import lru_cache

from thinstock.drawing.over_time import Room, chart, moving
from thinstock.lesson.shows.canvas import Drawn, Place
from thinstock.lesson.subject import Subject
from thinstock.machine.circuit import WaterCircuits
from thinstock.machine.line import Machine
from thinstock.machine.over_time import OverTime
from thinstock.words.figures import Edge
from thinstock.words.phrase import phrase

MOST = 4
"""Charts of a scene, at most."""
ALWAYS = ("grammage",)


@lru_cache(maxsize=16)
def _found(machine: Machine, event: str) -> OverTime:
    """Half an hour; a machine whose file gives no circuits has those that are assumed."""
    known = machine if machine.circuit is not None else dataclasses.replace(machine, circuit=WaterCircuits())
    return known.over_time([event], 30.0, 2.0)


def course(subject: Subject, event: str, place: Place) -> Drawn:
    """Up to four charts, two beside each other where there is room."""
    found = _found(subject.machine, event)
    names = [name for name in moving(found) if name in ALWAYS or abs(found.lines[name] - found.before[name]).max() > 0]
    names = [name for name in names if name != "moisture" or found.within["moisture"] != 0][:MOST]
    edge = Edge(unit_set="mill", air=float(subject.machine.site.atmospheric_pressure()))
    size = place.size
    across = 2 if place.width > 34 * size and len(names) > 1 else 1
    down = (len(names) + across - 1) // across
    left, gap = 4.2 * size, 4.4 * size
    wide = (place.width - left - (across - 1) * (gap + size)) / across - 1.5 * size
    high = min(place.height / down - 3.6 * size, 12 * size)
    step, lower = wide + gap + size, high + 3.6 * size
    parts = [
        chart(found, name, edge, Room(left + (k % across) * step, 1.8 * size + (k // across) * lower, wide, high, size))
        for k, name in enumerate(names)
    ]
    said = ", ".join(phrase(f"watch.lines.{name}") for name in names)
    return Drawn(markup="".join(parts), alt=phrase("lesson.course.alt", event=event, lines=said))
