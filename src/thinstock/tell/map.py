"""A result over two inputs, told once: some of its cases as a table, the highest on top, and every case as rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from thinstock.drawing.study_charts import axis_of, map_alt, result_of
from thinstock.studies.machine_sweep import RUNS
from thinstock.tell.blocks import Block, Column, Group, Head, Paragraph, Table, words
from thinstock.words.figures import figure
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.studies.machine_sweep import MachineMap
    from thinstock.words.units import UnitSet

MARKS = {"beyond a limit": "!", "too wet": "~", "no sheet": "·", "impossible": "×"}
"""How a case that does not run is marked."""
ACROSS, DOWN = 9, 15


class Laid:
    """A map with its axes in one set of units."""

    def __init__(self, machine: Machine, found: MachineMap, unit_set: UnitSet) -> None:
        self.machine, self.found, self.unit_set = machine, found, unit_set
        self.x_said, self.x_unit, self.x_of = axis_of(machine, found.x, unit_set)
        self.y_said, self.y_unit, self.y_of = axis_of(machine, found.y, unit_set)
        said, self.unit, self.of = result_of(found.result, float(machine.site.atmospheric_pressure()), unit_set)
        self.result = said if self.unit == "1" else f"{said}, {self.unit}"

    def alt(self) -> str:
        """The map in words."""
        return map_alt(self.machine, self.found, self.unit_set)

    def some(self, across: int, down: int, marks: Mapping[str, str]) -> tuple[list[str], list[tuple[str, ...]]]:
        """Values across, and rows of some cases, the highest first; cases that do not run by their mark."""
        found = self.found
        rows = []
        at = _spread(len(found.x_values), across)
        for j in _spread(len(found.y_values), down)[::-1]:
            states = [str(found.state[j, i]) for i in at]
            cells = [
                figure(float(self.of(found.value[j, i])), 3) if state == RUNS else marks.get(state, state)
                for i, state in zip(at, states, strict=True)
            ]
            rows.append((figure(float(self.y_of(found.y_values[j])), 4), *cells))
        return [figure(float(self.x_of(found.x_values[i])), 3) for i in at], rows

    def beyond(self) -> list[tuple[str, int]]:
        """Parts that hold cases back with how many, the most first."""
        return sorted(self.found.beyond.items(), key=lambda item: -item[1])

    def cases(self, written: Any = (repr, repr)) -> list[list[str]]:
        """Every case with a head: both inputs, the result, the state; numbers as the two functions write them."""
        of_input, of_value = written
        found = self.found
        rows = [[f"{found.x} [{self.x_unit}]", f"{found.y} [{self.y_unit}]", f"{found.result} [{self.unit}]", "state"]]
        for j, y in enumerate(found.y_values):
            for i, x in enumerate(found.x_values):
                value = found.value[j, i]
                shown = "" if value != value else of_value(float(self.of(value)))
                rows.append([of_input(float(self.x_of(x))), of_input(float(self.y_of(y))), shown, found.state[j, i]])
        return rows


def told(machine: Machine, found: MachineMap, unit_set: UnitSet) -> list[Block]:
    """The map in words and as a table."""
    laid = Laid(machine, found, unit_set)
    across, rows = laid.some(ACROSS, DOWN, MARKS)
    columns = [Column(head=head, sort="end") for head in (laid.y_unit, *across)]
    axes = phrase("map.axes", down=laid.y_said, across=laid.x_said, unit=laid.x_unit)
    seen = {str(state) for state in np.unique(found.state)}
    below: list[Block] = []
    if key := [f"{mark} {state}" for state, mark in MARKS.items() if state in seen]:
        below.append(words("; ".join(key) + "."))
    if found.beyond:
        parts = [phrase("map.beyond_one", part=part, count=count) for part, count in laid.beyond()]
        below.append(words(phrase("map.beyond", list=", ".join(parts))))
    below.append(words(phrase("map.not_known")))
    return [
        Group(title=machine.title, blocks=(words(laid.alt()),)),
        Group(blocks=(
            Head(text=laid.result), Paragraph(text=axes),
            Table(columns=tuple(columns), rows=tuple(rows), indented=False),
        )),
        Group(blocks=tuple(below)),
    ]  # fmt: skip


def _spread(count: int, most: int) -> Sequence[int]:
    """So many places at most, evenly over all."""
    return [int(k) for k in np.unique(np.linspace(0, count - 1, min(most, count)).round().astype(int))]
