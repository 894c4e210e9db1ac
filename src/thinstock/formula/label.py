"""The label on a published formula, and the two recorders that listen while formulas are used.

A labelled function stays an ordinary pure function. While a `worksheet()` is open every call leaves a step
(inputs, result, which step made which input); while a `range_watch()` is open only the count of cases outside
the stated range is kept. Without a recorder a call costs one look at a context variable.
"""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import Any, Literal, ParamSpec, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from thinstock.formula.record import InputRecord
from thinstock.words.num import Array as Array
from thinstock.words.num import Num as Num

Kind = Literal["formula", "equation", "march"]
Status = Literal["published", "from memory", "derived", "common practice", "assumed"]
STATUSES: tuple[str, ...] = ("published", "from memory", "derived", "common practice", "assumed")

P = ParamSpec("P")
R = TypeVar("R")


@dataclass(frozen=True, kw_only=True, eq=False)
class Label:
    """What a machine must know about a formula; the docstring tells a person what to think."""

    name: str
    """`module.function`, the key in `RELATIONS`."""
    gives: tuple[str, ...]
    """The words of the results, in order (one for most formulas)."""
    formula: str
    kind: Kind
    source: str
    where: str
    status: Status
    holds: Mapping[str, tuple[float, float]]
    """The range in which the formula is known to hold, per argument (SI); a result outside is a note."""
    in_units: Mapping[str, str]
    """For formulas with dimensional constants: the unit each word is stripped to before the text applies."""
    arguments: tuple[str, ...]
    function: Callable[..., Any]


RELATIONS: dict[str, Callable[..., Any]] = {}
"""Every labelled function by `module.name`; each carries its `.label`."""


class Recorder(Protocol):
    def call(self, label: Label, args: tuple[Any, ...], kwargs: dict[str, Any]) -> Any: ...


_recorder: ContextVar[Recorder | None] = ContextVar("thinstock_recorder", default=None)


def relation(
    *,
    gives: str | tuple[str, ...],
    formula: str,
    source: str,
    status: Status,
    where: str = "",
    kind: Kind = "formula",
    holds: Mapping[str, tuple[float, float]] | None = None,
    in_units: Mapping[str, str] | None = None,
) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Put a label on a formula and enter it in `RELATIONS` under `module.name`.

    `formula` is the text of the formula: let-lines `name = expression` separated by new lines or `;`, the last
    one giving the result (kind "formula"), a residual that vanishes at the answer (kind "equation": the last line
    is `0 = expression`, in which the words of `gives` stand for the answer) or the differential equation
    (kind "march"; for reading only).
    """

    def decorate(function: Callable[P, R]) -> Callable[P, R]:
        module = function.__module__.rsplit(".", 1)[-1]
        label = Label(
            name=f"{module}.{function.__name__}",
            gives=(gives,) if isinstance(gives, str) else tuple(gives),
            formula=inspect.cleandoc(formula),
            kind=kind,
            source=source,
            where=where,
            status=status,
            holds=dict(holds or {}),
            in_units=dict(in_units or {}),
            arguments=tuple(inspect.signature(function).parameters),
            function=function,
        )

        @functools.wraps(function)
        def labelled(*args: P.args, **kwargs: P.kwargs) -> R:
            recorder = _recorder.get()
            if recorder is None:
                return function(*args, **kwargs)
            return recorder.call(label, args, kwargs)  # type: ignore[no-any-return]

        labelled.label = label  # type: ignore[attr-defined]
        RELATIONS[label.name] = labelled
        return labelled

    return decorate


def label_of(function: Callable[..., Any]) -> Label:
    """The label of a labelled function."""
    return function.label  # type: ignore[attr-defined,no-any-return]


def bound_arguments(label: Label, args: tuple[Any, ...], kwargs: Mapping[str, Any]) -> dict[str, Any]:
    """Arguments by name, in the order of the signature; those of an input record by its fields."""
    if args and isinstance(args[0], InputRecord):
        kwargs, args = {**args[0].words(), **kwargs}, ()
    given = dict(zip(label.arguments, args, strict=False))
    given.update(kwargs)
    return {name: given[name] for name in label.arguments if name in given}


@dataclass(frozen=True)
class Merged:
    """The origins of several values that were put side by side."""

    parts: tuple[Any, ...]


Origin = tuple[int, str] | str | Merged | None
"""(number of the step, word of its result), the address of a machine value, several of these, or unknown."""


@dataclass(eq=False)
class Step:
    """One use of one formula: what went in, what came out, and where each input came from."""

    number: int
    label: Label
    inputs: dict[str, Any]
    output: Any = None
    parent: int | None = None
    origins: dict[str, Origin] = field(default_factory=dict)
    """Per argument: (number of the step, word of its result), the address of a machine value, or None."""
    outside: dict[str, tuple[float, float]] = field(default_factory=dict)
    """Arguments outside the stated range: the range."""


def _numbers(value: Any) -> Iterator[Any]:
    """The numbers inside nested lists, tuples and dataclasses."""
    if isinstance(value, list | tuple):
        for item in value:
            yield from _numbers(item)
    elif is_dataclass(value):
        for f in fields(value):
            yield from _numbers(getattr(value, f.name))
    elif isinstance(value, float | int | np.ndarray) and not isinstance(value, bool):
        yield value


class Worksheet:
    """Keeps every step of one case. Which step made which input is found by object identity."""

    def __init__(self) -> None:
        self.steps: list[Step] = []
        self._origin: dict[int, tuple[Any, Origin]] = {}
        self._open: list[int] = []

    def given(self, address: str, value: Any) -> None:
        """Say that this very object is the machine's value at `address`."""
        if value is not None and not isinstance(value, bool | str):
            self._origin[id(value)] = (value, address)

    def same(self, new: Any, old: Any) -> Any:
        """Say that `new` is `old` in another dress (an element picked, an axis added); returns `new`."""
        entry = self._origin.get(id(old))
        if entry is not None and entry[0] is old:
            self._origin[id(new)] = (new, entry[1])
        return new

    def merged(self, new: Any, parts: tuple[Any, ...]) -> Any:
        """Say that `new` holds all of `parts` side by side; returns `new`."""
        self._origin[id(new)] = (new, Merged(tuple(self.origin(part) for part in parts)))
        return new

    def origin(self, value: Any) -> Origin:
        """The step or the machine address this very object came from."""
        entry = self._origin.get(id(value))
        return entry[1] if entry is not None and entry[0] is value else None

    def _origin_of_input(self, value: Any) -> Origin:
        """Origin of an argument; a list or tuple of things has the origins of all numbers in it."""
        known = self.origin(value)
        if known is not None or not isinstance(value, list | tuple):
            return known
        found: list[Origin] = []
        for leaf in _numbers(value):
            origin = self.origin(leaf)
            if origin is not None and origin not in found:
                found.append(origin)
        return Merged(tuple(found)) if found else None

    def call(self, label: Label, args: tuple[Any, ...], kwargs: dict[str, Any]) -> Any:
        inputs = bound_arguments(label, args, kwargs)
        step = Step(len(self.steps), label, inputs, parent=self._open[-1] if self._open else None)
        step.origins = {name: self._origin_of_input(value) for name, value in inputs.items()}
        self.steps.append(step)
        self._open.append(step.number)
        try:
            step.output = output = label.function(*args, **kwargs)
        finally:
            self._open.pop()
        for name, bounds in label.holds.items():
            value = inputs.get(name)
            if isinstance(value, float | int) and not bounds[0] <= value <= bounds[1]:
                step.outside[name] = bounds
        if isinstance(output, tuple):
            words = getattr(output, "_fields", label.gives)
            for word, part in zip(words, output, strict=False):
                self._origin[id(part)] = (part, (step.number, word))
        self._origin[id(output)] = (output, (step.number, label.gives[0]))
        return output


class RangeWatch:
    """Counts, per formula and argument, the cases outside the stated range; keeps no data."""

    def __init__(self) -> None:
        self.outside: dict[tuple[str, str], NDArray[np.bool_]] = {}
        self.labels: dict[str, Label] = {}

    def call(self, label: Label, args: tuple[Any, ...], kwargs: dict[str, Any]) -> Any:
        self.labels[label.name] = label
        if label.holds:
            inputs = bound_arguments(label, args, kwargs)
            for name, (low, high) in label.holds.items():
                if name not in inputs:
                    continue
                value = np.asarray(inputs[name], dtype=float)
                mask = ~((value >= low) & (value <= high))
                if mask.any():
                    key = (label.name, name)
                    old = self.outside.get(key)
                    self.outside[key] = mask if old is None else np.logical_or(old, mask)
        return label.function(*args, **kwargs)


@contextmanager
def worksheet(keep: bool = True) -> Iterator[Worksheet]:
    """Record every formula used inside; `worksheet(False)` mutes any recorder (for searches)."""
    sheet = Worksheet()
    token = _recorder.set(sheet if keep else None)
    try:
        yield sheet
    finally:
        _recorder.reset(token)


@contextmanager
def range_watch() -> Iterator[RangeWatch]:
    """Count out-of-range cases of every formula used inside."""
    watch = RangeWatch()
    token = _recorder.set(watch)
    try:
        yield watch
    finally:
        _recorder.reset(token)


def recorder() -> Recorder | None:
    """The recorder that is listening, if any."""
    return _recorder.get()


def same(new: Any, old: Any) -> Any:
    """Tell a listening worksheet that `new` is `old` in another dress; returns `new`."""
    listening = _recorder.get()
    if isinstance(listening, Worksheet):
        listening.same(new, old)
    return new


def merged(new: Any, parts: tuple[Any, ...]) -> Any:
    """Tell a listening worksheet that `new` holds `parts` side by side; returns `new`."""
    listening = _recorder.get()
    if isinstance(listening, Worksheet):
        listening.merged(new, parts)
    return new


def recall(function: Callable[..., Any], output: Any, *args: Any) -> Any:
    """Record a use of a labelled formula whose answer is already known (kept from an earlier, muted search)."""
    listening = _recorder.get()
    if listening is None:
        return output
    label = label_of(function)
    kept = replace(label, function=lambda *a, **k: output)
    return listening.call(kept, args, {})
