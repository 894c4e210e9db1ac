"""A machine whose numbers remember their address, for a worksheet that listens."""

from __future__ import annotations

from dataclasses import is_dataclass
from functools import cache
from typing import Any, TypeVar

from thinstock.formula.label import Worksheet
from thinstock.words import address
from thinstock.words.quantity import Q, declared

T = TypeVar("T")


def remembering(machine: T, sheet: Worksheet) -> T:
    """The same machine, each value known to `sheet` by its address. Nothing is checked again."""
    made: T = _part(machine, "", sheet)
    return made


def _part(part: Any, prefix: str, sheet: Worksheet) -> Any:
    if isinstance(part, tuple):
        names = address.item_names(part)
        return tuple(_part(item, _under(prefix, name), sheet) for name, item in zip(names, part, strict=True))
    made = object.__new__(type(part))
    inside = made.__dict__
    inside.update((name, value) for name, value in part.__dict__.items() if name in type(part).__dataclass_fields__)
    words, others = _fields(type(part))  # type: ignore[arg-type]
    for name, word in words:
        value = inside[name]
        if value is not None:
            inside[name] = sheet.given(f"{prefix}.{name}" if prefix else name, value, word)
    for name in others:
        value = inside[name]
        if is_dataclass(value) or (isinstance(value, tuple) and value and is_dataclass(value[0])):
            inside[name] = _part(value, _under(prefix, name), sheet)
    return made


@cache
def _fields(kind: type) -> tuple[tuple[tuple[str, str], ...], tuple[str, ...]]:
    """Of a kind of part: its values with their words, and the fields that may hold parts."""
    known = declared(kind)
    values = tuple((one.name, one.about.word) for one in known if isinstance(one.about, Q))
    return values, tuple(one.name for one in known if one.about is None)


def _under(prefix: str, name: str) -> str:
    element = address.join((name,))
    return f"{prefix}.{element}" if prefix else element
