"""Numbers of a part as words beside its outline: the field's own unit, few digits."""

from __future__ import annotations

import math

import numpy as np

from thinstock.words import quantity, units
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Fields, Num

DEGREE = "°"


def number(value: Num) -> float:
    """One case as a plain number (the first, where there are several)."""
    return float(np.asarray(value, dtype=float).ravel()[0])


def told(part: Fields, name: str) -> str:
    """A field of a part as a person would write it."""
    about = quantity.about(type(part), name)
    value = getattr(part, name)
    if not isinstance(about, quantity.Q):
        return str(value)
    if value is None:
        return phrase("drawing.not_known")
    return tidy(quantity.show(number(value), about))


def written(word: str, value: Num, unit_set: units.UnitSet = "mill", digits: int = 3) -> str:
    """A word's value with its unit."""
    if value is None:
        return phrase("drawing.not_known")
    one = number(value)
    return phrase("drawing.not_known") if math.isnan(one) else tidy(units.write_word(word, one, unit_set, digits))


def in_unit(value: Num, unit: str, digits: int = 3, kind: str | None = None) -> str:
    """A value in a unit."""
    if value is None or math.isnan(number(value)):
        return phrase("drawing.not_known")
    return tidy(units.write(number(value), unit, digits, kind=kind))


def plain(value: Num, digits: int = 3) -> str:
    """A number without unit."""
    return units.number_text(number(value), digits)


def tidy(text: str) -> str:
    """Degrees as a sign close to the number, everything else as it is."""
    return text.replace("degC", "°C").replace(" deg", DEGREE).replace("kg/(s m)", phrase("machine.said.kg_s_per_metre"))


def joined(*parts: str) -> str:
    """The parts that say something, in one sentence."""
    return ", ".join(part for part in parts if part)
