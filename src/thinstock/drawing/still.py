"""What of a drawing stays while numbers move: parts that are alike are one, and keep what was made of them.

A key's value is what it was made from, so what is kept can never be of another shape, place or scale.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from functools import lru_cache
from typing import Any, TypeVar

Made = TypeVar("Made")

PARTS = 1000
"""So many parts are kept: several machines with all that stands on them."""
EYES = 12
"""Panels that one part is kept for: three of a wide drawing and three of a narrow one, twice."""


class Still:
    """One part that stays, with what was made of it for each panel it was seen on."""

    def __init__(self, value: Hashable) -> None:
        self.value = value
        self._made: dict[tuple[str, object], Any] = {}

    def made(self, what: str, eye: object, make: Callable[[], Made]) -> Made:
        """What was made of it under this name as seen by this eye; made now where it was not."""
        key = (what, eye)
        try:
            found: Made = self._made[key]
        except KeyError:
            if len(self._made) > 6 * EYES:
                self._made.clear()
            found = self._made[key] = make()
        return found


@lru_cache(maxsize=PARTS)
def still(value: Hashable) -> Still:
    """The one that keeps what is made of a value; equal values share it."""
    return Still(value)


@lru_cache(maxsize=4 * EYES)
def eye(*how: Hashable) -> object:
    """One object for one way of looking: scale, frame and window."""
    return object()
