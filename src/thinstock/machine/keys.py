"""Keys of values: equal for equal values alone, bit by bit, so that what is kept under one can be of no other."""

from __future__ import annotations

import dataclasses
import struct
from collections.abc import Hashable, Mapping
from functools import cache
from typing import Any, NoReturn
from weakref import WeakKeyDictionary

import numpy as np

from thinstock.errors import ThinstockError
from thinstock.words.quantity import Fields


class Hidden:
    """Stands for what a part is not shown; whoever looks at it all the same is told."""

    def __getattr__(self, name: str) -> NoReturn:
        raise AttributeError(f"{name} of what a kept part of the wet end is not shown (machine/kept.py, HIDDEN)")

    def __bool__(self) -> NoReturn:
        self.__getattr__("truth")

    def __eq__(self, other: object) -> NoReturn:
        self.__getattr__("value")


class NoKey(ThinstockError, TypeError):
    """A value that can be no key: a number that remembers, a kind that nobody told of."""


_PACK = struct.Struct("d").pack
_AS_THEY_ARE = frozenset({int, bool, str, type(None), np.bool_, np.int64})
_PARTS: WeakKeyDictionary[Fields, Hashable] = WeakKeyDictionary()
"""Keys of parts of a machine, which never change."""


def key_of(given: Any) -> Any:
    """A key that is equal for equal values alone, bit by bit.

    Raises
    ------
    NoKey
        For what is no plain value: above all a number that remembers.
    """
    kind = type(given)
    if kind is np.float64 or kind is float:
        return _PACK(given)
    if kind in _AS_THEY_ARE:
        return given
    if kind is Hidden:
        return "hidden"
    if isinstance(given, tuple):
        return kind, *map(key_of, given)
    if isinstance(given, Fields):
        known = _PARTS.get(given)
        if known is None:
            known = _PARTS[given] = key_of_fields(given)
        return known
    if isinstance(given, np.ndarray):
        return given.shape, given.dtype.str, given.tobytes()
    if isinstance(given, Mapping):
        return kind, *((name, key_of(value)) for name, value in given.items())
    if dataclasses.is_dataclass(given):
        return key_of_fields(given)
    raise NoKey(kind.__name__)


def key_of_fields(given: Any) -> Any:
    inside = given.__dict__
    return type(given), *(key_of(inside[name]) for name in names_of(type(given)))  # type: ignore[arg-type]


@cache
def names_of(kind: type) -> tuple[str, ...]:
    return tuple(one.name for one in dataclasses.fields(kind))


class Asked:
    """Something asked for, equal to another of the same key."""

    def __init__(self, key: Hashable, about: Any) -> None:
        self.key, self.about = key, about

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Asked) and self.key == other.key

    def __hash__(self) -> int:
        return hash(self.key)
