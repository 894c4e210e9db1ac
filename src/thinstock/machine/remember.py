"""A machine whose numbers remember their address, for a worksheet that listens."""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from dataclasses import is_dataclass
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
    if isinstance(part, Mapping):
        return part
    if isinstance(part, tuple):
        names = address._item_names(part)
        return tuple(_under(item, name, prefix, sheet) for name, item in zip(names, part, strict=True))
    made = copy(part)
    for field in declared(type(part)):
        value = getattr(part, field.name)
        if isinstance(field.about, Q):
            full = f"{prefix}.{field.name}" if prefix else field.name
            object.__setattr__(made, field.name, sheet.given(full, value, field.about.word))
        elif _holds_values(value):
            object.__setattr__(made, field.name, _under(value, field.name, prefix, sheet))
    return made


def _under(value: Any, name: str, prefix: str, sheet: Worksheet) -> Any:
    element = address.join((name,))
    return _part(value, f"{prefix}.{element}" if prefix else element, sheet) if _holds_values(value) else value


def _holds_values(value: Any) -> bool:
    """A part, or a tuple of parts."""
    if isinstance(value, tuple):
        return bool(value) and all(is_dataclass(item) for item in value)
    return is_dataclass(value) and not isinstance(value, type)
