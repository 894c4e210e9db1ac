"""A number of a scene: what stands large on the stage, its words, and its working in three lines."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from thinstock.errors import ThinstockError
from thinstock.lesson.own_numbers import FACTS
from thinstock.lesson.subject import Subject
from thinstock.tell.worked import worked
from thinstock.words.figures import HELD_TOGETHER, NONE
from thinstock.words.phrase import known, phrase

LINES = 3


@dataclass(frozen=True, kw_only=True)
class Number:
    """One number as a class sees it."""

    name: str
    value: str
    unit: str
    label: str
    aside: str
    indicator: bool
    """Whether it is only an indicator, never a limit."""
    amount: float
    """In the unit shown, for guesses."""

    @property
    def said(self) -> str:
        """With its unit, for a sentence."""
        return f"{self.value}{HELD_TOGETHER}{self.unit}".rstrip(HELD_TOGETHER)

    @property
    def there(self) -> bool:
        """Whether the machine has it."""
        return math.isfinite(self.amount)


def number(of: Subject, name: str) -> Number:
    """A number of a machine by its name."""
    if name in FACTS:
        fact = FACTS[name](of)
        return Number(
            name=name, value=fact.text, unit=_said(name, "unit"), label=_said(name, "label"),
            aside=_said(name, "aside"), indicator=fact.indicator, amount=fact.value,
        )  # fmt: skip
    label = _said(name, "label") or of.result_label(name)
    if not of.teller.known(name):
        return Number(name=name, value=NONE, unit="", label=label, aside="", indicator=False, amount=math.nan)
    digits = 3 if name == "speed" else None
    value, _, unit = of.teller.value(name, digits=digits).partition(HELD_TOGETHER)
    amount = float(value.replace("−", "-")) if value not in ("", NONE) else math.nan
    return Number(
        name=name, value=value, unit=unit, label=label, aside=_said(name, "aside"), indicator=False, amount=amount
    )


def _said(name: str, what: str) -> str:
    key = f"lesson.number.{name}.{what}"
    return phrase(key) if known(key) else ""


def working(of: Subject, name: str) -> tuple[str, ...]:
    """What it is, the one formula in words and numbers, what moves it: three lines at most."""
    if name in FACTS:
        fact = FACTS[name](of)
        if not math.isfinite(fact.value):
            return ()
        return tuple(_lines(name, dict(fact.slots)))
    if not of.teller.known(name):
        return ()
    if known(f"lesson.working.{name}.line1"):
        slots = {"value": number(of, name).said, "grammage": of.teller.value("grammage_on_wire")}
        return tuple(_lines(name, slots))
    try:
        made = worked(of.fresh, name)
    except ThinstockError:
        return (phrase("lesson.as_given", label=number(of, name).label, value=number(of, name).said),)
    if made.parts:
        return made.parts[:LINES]
    steps = [phrase("lesson.step", title=s.title, result=s.result) for s in reversed(made.steps)][:LINES]
    return tuple(steps) or (phrase("lesson.as_given", label=made.label, value=made.text),)


def _lines(name: str, slots: Mapping[str, str]) -> Iterator[str]:
    """The lines that a phrase has for the working of a number; a slot that a line does not have is left."""
    for i in range(1, LINES + 1):
        key = f"lesson.working.{name}.line{i}"
        if known(key):
            yield phrase(key, **slots)
