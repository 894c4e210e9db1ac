"""Where a function of one number vanishes, for what needs no numerical library loaded for it."""

from __future__ import annotations

from collections.abc import Callable


def root_between(function: Callable[[float], float], low: float, high: float, close: float) -> float:
    """The place between two of different sign at which a function vanishes, once they are that close.

    False position, in which an end that stays is weighed half (Illinois), no step shorter than a third of what is
    close, and halving where that gains too little. What is told last is read off a straight line between the two.
    """
    at_low, at_high = function(low), function(high)
    if at_low == 0.0 or at_high == 0.0:
        return low if at_low == 0.0 else high
    if (at_low > 0.0) == (at_high > 0.0):
        raise ValueError(f"no change of sign between {low!r} and {high!r}")
    full_low, full_high = at_low, at_high
    moved, wide, last, slow = 0, high - low, max(abs(at_low), abs(at_high)), False
    while high - low > close:
        place = 0.5 * (low + high) if slow else low + (high - low) * at_low / (at_low - at_high)
        place = min(max(place, low + close / 3.0), high - close / 3.0)
        found = function(place)
        if found == 0.0:
            return place
        if (found > 0.0) == (at_high > 0.0):
            high, at_high, full_high, at_low = place, found, found, 0.5 * at_low if moved == 1 else at_low
            moved = 1
        else:
            low, at_low, full_low, at_high = place, found, found, 0.5 * at_high if moved == -1 else at_high
            moved = -1
        slow = high - low > 0.5 * wide and abs(found) > 0.5 * last
        wide, last = high - low, abs(found)
    return low + (high - low) * full_low / (full_low - full_high)
