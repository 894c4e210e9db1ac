"""A long working for a crew: its last steps in three lines, and its steps folded by the stage of the machine."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from itertools import groupby
from typing import TYPE_CHECKING

from thinstock.formula import typeset, writing
from thinstock.tell.filled import as_written
from thinstock.words import units
from thinstock.words.phrase import listed, phrase

if TYPE_CHECKING:
    from thinstock.tell.steps import Use, WorkedStep

LINES = 3
MOST = 6
"""Numbers that one line names, at most."""
LONG = 12
"""Steps above which a working is folded."""
STAGES = {
    "jet": "headbox", "retention": "headbox", "wet_end": "headbox", "drainage": "forming", "vacuum": "vacuum",
    "nip": "press", "nip_felt": "press", "felt_loop": "press", "steam": "dryer", "dryer": "dryer", "yankee": "dryer",
    "evaporation": "dryer", "impingement": "dryer", "hood": "dryer",
}  # fmt: skip
"""Stage that formulas of a file belong to; other files help wherever they are called."""
ORDER = ("stock", "headbox", "forming", "vacuum", "press", "dryer")


def in_short(steps: Sequence[WorkedStep]) -> Iterator[str]:
    """The last step in words, then the step it hangs on most, and so on: three lines at most."""
    if len(steps) <= LINES:
        return
    reach = _reach(steps)
    one: WorkedStep | None = steps[-1]
    for _ in range(LINES):
        if one is None:
            return
        yield _line(one)
        one = max((steps[n - 1] for n in one.after), key=lambda s: len(reach[s.number]), default=None)


def _reach(steps: Sequence[WorkedStep]) -> dict[int, set[int]]:
    """All steps that each one hangs on."""
    found: dict[int, set[int]] = {}
    for step in steps:
        found[step.number] = set(step.after).union(*(found[n] for n in step.after))
    return found


def _line(step: WorkedStep) -> str:
    slots = {"title": step.title, "value": step.results[0][1] if step.results else "", "step": str(step.number)}
    parts = [part for use in step.uses for part in _part(use)]
    if len(parts) < len(step.uses) or not 0 < len(parts) <= MOST or not slots["value"]:
        return phrase("explain.short.many" if slots["value"] else "explain.short.march", **slots)
    return phrase("explain.short.line", list=listed(parts), **slots)


def _part(use: Use) -> Iterator[str]:
    """A number that goes in with what it means, to three digits; nothing of a row of numbers."""
    if isinstance(use.put.shown, typeset.Row):
        return
    number, _, unit = (use.put.also or f"{writing.shape_text(use.put.shown)} {use.put.unit}").strip().partition(" ")
    with suppress(ValueError):
        number = as_written(units.number_text(float(number.replace("−", "-")), 3))
    yield phrase("explain.short.part", meaning=re.split("[:;]", use.put.meaning)[0], value=f"{number} {unit}".strip())


def folded(steps: Sequence[WorkedStep]) -> list[tuple[str, tuple[WorkedStep, ...]]]:
    """The steps by stage, in their order, under the stage's name; a short working in one piece without a name."""
    if len(steps) <= LONG:
        return [("", tuple(steps))]
    at, marked = 0, []
    for step in steps:
        at = max(at, ORDER.index(STAGES.get(step.name.split(".")[0], "stock")))
        marked.append((at, step))
    return [
        (phrase(f"explain.stage.{ORDER[k]}"), tuple(step for _, step in group))
        for k, group in groupby(marked, key=lambda one: one[0])
    ]
