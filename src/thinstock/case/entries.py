"""A field of a machine as a file holds it: a text with its unit, a plain number, or a table with its provenance."""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from thinstock.case.shapes import Shape
from thinstock.case.values import HARD, STATUSES, exact, kind_of, spread_text, unit_of
from thinstock.machine.line import Given
from thinstock.words import units
from thinstock.words.quantity import NOT_GIVEN

Entry = str | int | float | bool | dict[str, str | int | float | bool]


def same(a: Any, b: Any) -> bool:
    """Whether two values of a field are equal."""
    if a is None or b is None:
        return a is b
    if isinstance(a, str | bool) or isinstance(b, str | bool):
        return bool(a == b)
    if is_dataclass(a) and not fields(a):  # a part without values of its own, as a plain surface
        return type(a) is type(b)
    return bool(np.array_equal(a, b))


def entry(shape: Shape, value: Any, given: Given | None, atmospheric_pressure: float) -> Entry | None:
    """What stands in the file for a value; None where it is left out."""
    default = shape.field.default
    if value is None and not (shape.sort == "quantity" and (shape.q.limit or default is not None)):
        return None
    plain = _plain(shape, value, given, atmospheric_pressure)
    more = _provenance(shape, value, given)
    return {"value": plain, **more} if more else plain


def literal(item: Any) -> str:
    """An entry, or a table or list of them, in TOML on one line."""
    if isinstance(item, list):
        return "[" + ", ".join(literal(value) for value in item) + "]"
    if isinstance(item, dict):
        return "{ " + ", ".join(f"{name} = {literal(value)}" for name, value in item.items()) + " }"
    if isinstance(item, bool):
        return "true" if item else "false"
    if isinstance(item, str):
        return json.dumps(item, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(item)


def _plain(shape: Shape, value: Any, given: Given | None, atmospheric_pressure: float) -> str | int | float | bool:
    if shape.sort in ("words", "choice"):
        return str(value)
    if shape.sort == "flag":
        return bool(value)
    if value is None:
        return NOT_GIVEN
    q, kind = shape.q, kind_of(shape.q)
    if given is not None and given.text:
        try:
            if units.parse(given.text, kind, atmospheric_pressure=atmospheric_pressure) == value:
                return _number(given.text)
        except units.UnitError:
            pass
    if q.integer:
        return int(value)
    return _number(exact(float(value), unit_of(q), kind))


def _number(text: str) -> str | float:
    """A text that is a number alone as that number."""
    try:
        return float(text)
    except ValueError:
        return text


def _provenance(shape: Shape, value: Any, given: Given | None) -> dict[str, str | float]:
    """What is known of a value beside the value itself; nothing where it is plainly given."""
    if given is None:
        if shape.sort != "quantity" or value is None or not same(value, shape.field.default):
            return {}
        status = shape.q.status if shape.q.status in STATUSES and shape.q.status != "required" else "assumed"
        known: dict[str, str | float] = {"status": status}
        if shape.q.source not in ("", "ASSUMED"):
            known["source"] = shape.q.source
        return known
    known = {}
    if given.uncertainty is not None and shape.sort == "quantity" and value is not None:
        known["uncertainty"] = _number(spread_text(given.uncertainty, shape.q))
    if given.ends is not None and shape.sort == "quantity" and value is not None:
        kind = kind_of(shape.q)
        known |= {name: _number(exact(end, unit_of(shape.q), kind)) for name, end in zip(("low", "high"), given.ends)}
        known |= {"ends": HARD} if given.hard else {}
    if given.group:
        known["group"] = given.group
    if given.status not in ("given", "what-if"):
        known["status"] = given.status
    if given.status != "what-if":
        known |= {name: getattr(given, name) for name in ("source", "where") if getattr(given, name)}
    if given.note:
        known["note"] = given.note
    return known
