"""The chain of steps that one number hangs on, and where each number in it is from."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.formula.label import ARITHMETIC, Merged, Origin, Step, Worksheet
from thinstock.machine.line import Machine
from thinstock.words import nomenclature
from thinstock.words.quantity import Q


def _steps_of(sheet: Worksheet, origin: Origin, found: dict[int, Step], leaves: dict[str, Any], value: Any) -> None:
    """Collect the steps (and leaves) a number hangs on; a step inside another is folded into it."""
    if isinstance(origin, Merged):
        for part in origin.parts:
            _steps_of(sheet, part, found, leaves, None)
        return
    if isinstance(origin, str):
        if value is not None or origin not in leaves:
            leaves[origin] = value if value is not None else leaves.get(origin)
        return
    if origin is None:
        return
    step = outermost(sheet, origin)
    if step.number in found:
        return
    found[step.number] = step
    for argument, given in step.inputs.items():
        _steps_of(sheet, step.origins[argument], found, leaves, given if isinstance(given, float) else None)


def outermost(sheet: Worksheet, origin: tuple[int, str]) -> Step:
    step = sheet.steps[origin[0]]
    while step.parent is not None:
        step = sheet.steps[step.parent]
    return step


def _key(step: Step) -> Any:
    """Two uses of a formula with the same numbers are one step."""
    parts: list[Any] = [step.label.name, step.label.formula]
    for name, value in step.inputs.items():
        if isinstance(value, float | int | str):
            parts.append((name, value))
        elif isinstance(value, np.ndarray):
            parts.append((name, value.tobytes()))
        else:
            parts.append((name, id(value)))
    return tuple(parts)


GIVEN = "given "
"""Origin of a number of a set problem; its word follows."""


class Chain:
    """The steps one number hangs on, numbered from 1; equal steps have one number."""

    def __init__(self, sheet: Worksheet, machine: Machine | None, value: Any, word: str = "") -> None:
        self.sheet, self.machine = sheet, machine
        found: dict[int, Step] = {}
        self.leaves: dict[str, Any] = {}
        self.end = sheet.origin(value, word)
        """Where the number itself is from."""
        _steps_of(sheet, self.end, found, self.leaves, value)
        self.steps: list[Step] = []
        self.numbers: dict[int, int] = {}
        first: dict[Any, int] = {}
        for number, step in sorted(found.items(), key=lambda one: one[1].place):
            key = _key(step)
            if key not in first:
                self.steps.append(step)
                first[key] = len(self.steps)
            self.numbers[number] = first[key]
        self.asked = self._asked()

    def _asked(self) -> dict[int, set[str]]:
        """Which of its results each step is needed for."""
        wanted: dict[int, set[str]] = {}

        def note(origin: Origin) -> None:
            if isinstance(origin, Merged):
                for part in origin.parts:
                    note(part)
            elif isinstance(origin, tuple):
                step = outermost(self.sheet, origin)
                if step.number in self.numbers:
                    wanted.setdefault(self.numbers[step.number], set()).add(origin[1])

        note(self.end)
        for step in self.steps:
            for origin in step.origins.values():
                note(origin)
        return wanted

    def end_step(self) -> Step | None:
        """The step that gives the number itself; None for a number of the machine file."""
        return outermost(self.sheet, self.end) if isinstance(self.end, tuple) else None

    def end_word(self) -> str:
        """Which result of its step the number is."""
        return self.end[1] if isinstance(self.end, tuple) else ""

    def place(self, origin: Origin) -> str:
        """Where a number comes from, in words."""
        if isinstance(origin, Merged):
            return ", ".join(dict.fromkeys(p for p in (self.place(part) for part in origin.parts) if p))
        if isinstance(origin, str):
            return GIVEN.rstrip() if origin.startswith(GIVEN) else origin
        if origin is None:
            return ""
        step = outermost(self.sheet, origin)
        return f"step {self.numbers[step.number]}" if step.number in self.numbers else ""

    def before(self, step: Step) -> Iterator[int]:
        """Numbers of the steps whose results go into this one."""
        for origin in step.origins.values():
            for part in origin.parts if isinstance(origin, Merged) else (origin,):
                if isinstance(part, tuple):
                    number = self.numbers.get(outermost(self.sheet, part).number)
                    if number is not None:
                        yield number

    def word(self, origin: Origin) -> str:
        """The word of a number by where it comes from; empty where that is not known."""
        if isinstance(origin, Merged):
            words = {w for w in map(self.word, origin.parts) if w}
            return words.pop() if len(words) == 1 else ""
        if isinstance(origin, tuple):
            given = self.sheet.steps[origin[0]]
            word = origin[1]
            if given.label.name == ARITHMETIC and word not in nomenclature.words():
                return ""
            if added := self._added(given, word):
                return added
            if word in nomenclature.words() and nomenclature.word(word).kind not in nomenclature.PLAIN_KINDS:
                return word
            inner = [w for w in (self.word(o) for o in given.origins.values()) if w]
            whole = [w for w in inner if nomenclature.word(w).kind not in ("fraction", "number")]
            return next(iter(whole or inner), "")
        if isinstance(origin, str) and origin.startswith(GIVEN):
            return origin.removeprefix(GIVEN)
        if isinstance(origin, str):
            about = about_of(self.machine, origin)
            return about.word if about is not None else ""
        return ""

    def _added(self, step: Step, word: str) -> str:
        """The word of terms that are only added, where their unit is another than that of the word of the sum."""
        if step.label.name != ARITHMETIC or re.search(r"[*/]", step.label.formula):
            return ""
        words = [self.word(origin) for origin in step.origins.values()]
        found = {nomenclature.word(w).unit: w for w in words if w}
        return (
            found.popitem()[1] if len(found) == 1 and all(words) and nomenclature.word(word).unit not in found else ""
        )


@lru_cache(maxsize=2048)
def about_of(machine: Machine | None, address: str) -> Q | None:
    """What is declared of the field at an address; None for a number from elsewhere."""
    if machine is None or ": " in address or address.startswith("constants."):
        return None
    try:
        about = machine.declaration(address).about
    except (Refused, StopIteration):
        return None
    return about if isinstance(about, Q) else None
