"""Notes of a run: parts tell them by id, the words are phrases. A note never changes a number.

What would hurt or cannot be is refused elsewhere, when the machine is made.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from thinstock.formula.label import RELATIONS, RangeWatch, ValueWatch, label_of
from thinstock.machine.nips import NIPS
from thinstock.words import bands, units
from thinstock.words.note import Level, Note
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Fields, Num, unusual

if TYPE_CHECKING:
    from thinstock.machine.line import Given, Machine

Watch = RangeWatch | ValueWatch
"""What kept account of the ranges left: of many cases, or of one."""


class Notes:
    """Collects the notes of a run."""

    def __init__(self, single: bool, given: Mapping[str, Given], speed: Num, values: Mapping[str, Num]) -> None:
        self.single = single
        self.speed = speed
        """The machine's, m/s."""
        self.kept: list[Note] = []
        self._given = given
        self._values = values

    def value(self, name: str) -> Num:
        """A result of the run; nan in the cases that formed no sheet."""
        return self._values[name]

    def status(self, address: str) -> str:
        """How a value of the machine is known."""
        given = self._given.get(address)
        return "assumed" if given is None else given.status

    def when(self, mask: Num, part: str, level: Level, id: str, **slots: str) -> None:
        """Keep the note of this id if the condition holds in any case."""
        cases = np.asarray(mask)
        if np.any(cases):
            self._keep(cases, part, level, id, phrase(f"notes.{id}", **slots))

    def _keep(self, mask: Num, part: str, level: Level, id: str, text: str) -> None:
        count = None if self.single else int(np.count_nonzero(mask))
        self.kept.append(Note(id=id, part=part, level=level, text=text, cases=count))

    def retired(self, machine: Machine) -> None:
        """Fields of an older file that nothing uses any more."""
        for address, given in machine.given.items():
            if given.status == "retired":
                part = address.partition(".")[0]
                self.when(True, part, "information", "retired", address=address, successor=given.note)

    def bands(self, machine: Machine) -> None:
        """Results that leave what is published or common practice."""
        if machine.yankee is None:
            return
        last = type(machine.press.nip[-1])
        for band in bands.of(next(word for word, kind in NIPS.items() if kind is last)):
            if self._values.get(band.result) is None:
                continue
            value = np.asarray(self._values[band.result], dtype=float)
            outside = (value < band.low) | (value > band.high)
            if np.any(outside):
                text = f"{band.text(float(value[outside].flat[0]))}."
                self._keep(outside, band.part, "range", f"band_{band.result}", text)

    def fields(self, part: Fields, name: str) -> None:
        """Values outside their usual range."""
        for address, value, usual in unusual(part, name):
            self.when(True, name, "unusual", "unusual", address=address, value=value, usual=usual)

    def ranges(self, watch: Watch) -> None:
        """One note per formula and argument that left its stated range."""
        if isinstance(watch, RangeWatch):
            for (name, argument), mask in watch.outside.items():
                self.when(mask, _result_of(name), "range", "range_left", argument=argument.replace("_", " "))
            return
        for (name, argument), values in watch.outside.items():
            value, low, high = (
                units.write_word(argument, float(v), "mill", 3) for v in (min(values), *watch.bounds[name, argument])
            )
            self.when(
                True, _result_of(name), "range", "range_outside", argument=argument.replace("_", " "), value=value,
                low=low, high=high,
            )  # fmt: skip


def _result_of(formula: str) -> str:
    """What a formula gives, in words."""
    gives = label_of(RELATIONS[formula]).gives
    return (gives if isinstance(gives, str) else gives[0]).replace("_", " ")
