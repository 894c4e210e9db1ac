"""Numbers of a part as words beside its outline: the field's own unit, few digits."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from typing import Any

import numpy as np

from thinstock.words import nomenclature, quantity, units
from thinstock.words.phrase import phrase, spoken
from thinstock.words.quantity import Fields, Num

DEGREE = "°"
_set: ContextVar[units.UnitSet] = ContextVar("thinstock_drawing_units", default="mill")


@contextmanager
def in_units(unit_set: units.UnitSet) -> Iterator[None]:
    """Say numbers in this set of units for a while."""
    before = _set.set(unit_set)
    try:
        yield
    finally:
        _set.reset(before)


def unit_set() -> units.UnitSet:
    """The set of units that numbers are said in."""
    return _set.get()


@lru_cache(maxsize=1)
def _american() -> dict[str, str]:
    """The unit that stands for a mill's unit in the other set, as most words have it."""
    pairs = Counter((w.edge["mill"], w.edge["us"]) for w in nomenclature.words().values() if "mill" in w.edge)
    found = {mill: us for (mill, us), _ in sorted(pairs.items(), key=lambda pair: pair[1])}
    return {**found, "bar(a)": "psi(a)", "m³/(min·m)": "gal/min/in"}


def number(value: Num) -> float:
    """One case as a plain number (the first, where there are several)."""
    return float(np.asarray(value, dtype=float).ravel()[0])


def told(part: Fields, name: str) -> str:
    """A field of a part as a person would write it."""
    value = getattr(part, name)
    if isinstance(value, float):
        return _told(type(part), name, float(value), _set.get(), spoken())  # type: ignore[arg-type]
    return _said_of(type(part), name, value)


@lru_cache(maxsize=2048)
def _told(part: type[Fields], name: str, value: float, unit_set: units.UnitSet, spoken: str) -> str:
    """The same of a number, said once for each set of units and language."""
    return _said_of(part, name, value)


def _said_of(part: type[Fields], name: str, value: Any) -> str:
    about = quantity.about(part, name)
    if not isinstance(about, quantity.Q):
        return str(value)
    if value is None:
        return phrase("drawing.not_known")
    if _set.get() != "mill":
        return written(about.word, value)
    return tidy(quantity.show(number(value), about))


def written(word: str, value: Num, digits: int = 3) -> str:
    """A word's value in its unit of the set at hand."""
    if value is None:
        return phrase("drawing.not_known")
    one = number(value)
    return phrase("drawing.not_known") if math.isnan(one) else tidy(units.write_word(word, one, _set.get(), digits))


def in_unit(value: Num, unit: str, digits: int = 3, kind: str | None = None) -> str:
    """A value in a unit, or in what stands for it in the set at hand."""
    if value is None or math.isnan(number(value)):
        return phrase("drawing.not_known")
    if _set.get() == "us":
        unit = _american().get(unit, unit)
    return tidy(units.write(number(value), unit, digits, kind=kind))


def plain(value: Num, digits: int = 3) -> str:
    """A number without unit."""
    return units.number_text(number(value), digits)


def tidy(text: str) -> str:
    """Degrees as a sign close to the number, everything else as it is."""
    for spelt, shown in (("degC", "°C"), ("degF", "°F"), (" deg", DEGREE)):
        text = text.replace(spelt, shown)
    return text.replace("kg/(s m)", phrase("machine.said.kg_s_per_metre"))


def joined(*parts: str) -> str:
    """The parts that say something, in one sentence."""
    return ", ".join(part for part in parts if part)
