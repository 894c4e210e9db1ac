"""Input records: the many inputs of one march as one frozen thing, the order of whose fields is the row it reads."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar


@dataclass(frozen=True, kw_only=True, eq=False)
class InputRecord:
    """Base of input records; every field is an argument of the march, under its own name."""

    @classmethod
    def order(cls) -> tuple[str, ...]:
        """Names of the fields."""
        return tuple(f.name for f in fields(cls))

    def words(self) -> dict[str, Any]:
        """Values by name, in the order of the fields."""
        return dict(vars(self))


Record = TypeVar("Record", bound=InputRecord)
R = TypeVar("R")


def takes(record: type[Record]) -> Callable[[Callable[[Record], R]], Callable[..., R]]:
    """Let a function of one record be called with the record, with its fields by name, or with both (names win)."""

    def decorate(function: Callable[[Record], R]) -> Callable[..., R]:
        @functools.wraps(function)
        def called(*given: Record, **words: Any) -> R:
            if not given:
                return function(record(**words))
            return function(replace(*given, **words) if words else given[0])

        named = [inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY) for name in record.order()]
        called.__signature__ = inspect.Signature(named)  # type: ignore[attr-defined]
        return called

    return decorate
