"""What a march over arrays of cases is made of: masks, choices and tables whose last axis is the cases.

A mask says in which cases something goes on: `True` in all, `False` in none, or an array of them. What is the same in
all cases stays a plain number, and a question with one answer for all goes one way only.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import numpy as np

_HERE = threading.local()
FEW = 12
"""Up to so many cases go one by one where a part of a march is rare."""
LEAST = 32
"""From so many cases on arrays are quicker than one case after another; no table that is not by case is as long."""


def begin(cases: int) -> None:
    """How many cases the tables made from now on have, in this thread."""
    _HERE.cases = cases


def both(a: Any, b: Any) -> Any:
    """Where both masks hold."""
    if a is True or b is False:
        return b
    if b is True or a is False:
        return a
    return a & b


def either(a: Any, b: Any) -> Any:
    """Where either mask holds."""
    if a is False or b is True:
        return b
    if b is False or a is True:
        return a
    return a | b


def nowhere(live: Any, mask: Any) -> bool:
    """Whether nothing goes on any more."""
    going = both(live, mask)
    return going is False or (going is not True and not going.any())


def split(live: Any, mask: Any, asked: Any) -> tuple[Any, Any]:
    """The mask parted by a question; one side is `False` where all that go on give one answer."""
    if not isinstance(asked, np.ndarray):
        return (mask, False) if asked else (False, mask)
    going = both(live, mask)
    if going is False:
        return False, mask
    yes = asked if going is True else asked & going
    count = np.count_nonzero(yes)
    if count == 0:
        return False, mask
    if count == (len(asked) if going is True else np.count_nonzero(going)):
        return mask, False
    return (asked, ~asked) if mask is True else (asked & mask, mask & ~asked)


def into(mask: Any, new: Any, old: Any) -> Any:
    """A value that is new where the mask holds; tables stay what they are."""
    if mask is True or old is None or new is old:
        return new
    if mask is False:
        return old
    if isinstance(new, tuple):
        parts = [into(mask, a, b) for a, b in zip(new, old, strict=True)]
        return type(new)(*parts) if hasattr(new, "_fields") else tuple(parts)
    if isinstance(new, np.ndarray) and new.ndim > 1:
        return new
    return np.where(mask, new, old)


def chosen(live: Any, mask: Any, asked: Any, yes: Callable[[Any], Any], no: Callable[[Any], Any]) -> Any:
    """One of two values, case by case; only one is worked out where all that go on give one answer."""
    one, other = split(live, mask, asked)
    if other is False:
        return yes(live)
    if one is False:
        return no(live)
    return into(asked, yes(both(live, one)), no(both(live, other)))


def all_of(going: Any, a: Any, b: Callable[[Any], Any]) -> Any:
    """Both answers; the second is asked for where the first is yes."""
    if isinstance(a, np.ndarray):
        more = both(going, a)
        return a & b(more) if more is not False and more.any() else a
    return b(going) if a else a


def any_of(going: Any, a: Any, b: Callable[[Any], Any]) -> Any:
    """Either answer; the second is asked for where the first is no."""
    if isinstance(a, np.ndarray):
        more = both(going, ~a)
        return a | b(more) if more is not False and more.any() else a
    return a or b(going)


def opposite(a: Any) -> Any:
    """No for yes."""
    return ~a if isinstance(a, np.ndarray) else not a


def least(*given: Any) -> Any:
    """The least, as Python's own `min` finds it."""
    found = given[0]
    for one in given[1:]:
        if isinstance(one, np.ndarray) or isinstance(found, np.ndarray):
            found = np.where(one < found, one, found)
        else:
            found = min(found, one)
    return found


def most(*given: Any) -> Any:
    """The most, as Python's own `max` finds it."""
    found = given[0]
    for one in given[1:]:
        if isinstance(one, np.ndarray) or isinstance(found, np.ndarray):
            found = np.where(one > found, one, found)
        else:
            found = max(found, one)
    return found


def got(table: Any, at: Any) -> Any:
    """A place of a table: a number of each case is a copy, a part of the table is the part itself."""
    if isinstance(at, np.ndarray):
        return table[at] if table.ndim == 1 else table[at, np.arange(len(at))]
    found = table[at]
    return found.copy() if isinstance(found, np.ndarray) and found.ndim == 1 else found


def put(live: Any, mask: Any, table: Any, at: Any, value: Any) -> None:
    """Write into a table where something goes on."""
    going = both(live, mask)
    if going is False:
        return
    if isinstance(at, np.ndarray):
        cases = np.arange(len(at)) if going is True else np.flatnonzero(going)
        table[at[cases], cases] = value[cases] if isinstance(value, np.ndarray) else value
    elif going is True:
        table[at] = value
    else:
        np.copyto(table[at], value, where=going)


def few_alone(alone: Callable[..., Any], many: Callable[..., Any]) -> Callable[..., Any]:
    """A part of a march by which few cases go one by one, and many side by side."""

    def part(live: Any, *given: Any) -> Any:
        going = range(_HERE.cases) if live is True else np.flatnonzero(live).tolist()
        if live is False or len(going) > FEW:
            return many(live, *given)
        found: dict[int, Any] = {}
        for case in going:
            own = _of_case(given, case)
            found[case] = alone(*own)
            _back(given, own, case)
        some = found[going[0]] if len(going) else 0.0
        made = np.zeros(_HERE.cases, dtype=type(some))
        made[going] = [found[case] for case in going]
        return made

    return part


def _of_case(given: Any, case: int) -> Any:
    """What one case has of tables; what is not by case stays as it is."""
    if isinstance(given, np.ndarray) and given.shape[-1:] == (_HERE.cases,):
        return given[..., case].copy() if given.ndim > 1 else float(given[case])
    if isinstance(given, tuple):
        parts = [_of_case(one, case) for one in given]
        return type(given)(*parts) if hasattr(given, "_fields") else tuple(parts)
    return given


def _back(given: Any, own: Any, case: int) -> None:
    """Write what a case made of its tables back into those of all."""
    if isinstance(given, np.ndarray) and given.ndim > 1 and given.shape[-1] == _HERE.cases:
        given[..., case] = own
    elif isinstance(given, tuple):
        for one, its in zip(given, own, strict=True):
            _back(one, its, case)


class Numpy:
    """numpy for the body of a march over arrays: new tables have a place for every case."""

    def __init__(self) -> None:
        for name in ("exp", "expm1", "log", "log1p", "sqrt", "sin", "cos", "isfinite", "pi", "nan", "inf"):
            setattr(self, name, getattr(np, name))

    @staticmethod
    def empty(shape: Any) -> Any:
        """A table that is not filled; of numbers all the same, so that what nobody asks for stops nothing."""
        return np.zeros((*(shape if isinstance(shape, tuple) else (shape,)), _HERE.cases))

    zeros = empty

    def __getattr__(self, name: str) -> Any:
        return getattr(np, name)
