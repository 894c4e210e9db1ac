"""The label on a published formula, and what listens while formulas are used.

A labelled function stays an ordinary pure function. While a `worksheet()` is open every call leaves a step
(inputs, result) and gives numbers that remember it; while a `range_watch()` is open only the count of cases outside
the stated range is kept. Without a recorder a call costs one look at a context variable.
"""

from __future__ import annotations

import functools
import inspect
import weakref
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from copy import copy
from dataclasses import dataclass, field, fields, is_dataclass, replace
from functools import cached_property
from typing import Any, Literal, ParamSpec, Protocol, TypedDict, TypeVar, Unpack

import numpy as np
from numpy.typing import NDArray

from thinstock.formula.arithmetic import Writer
from thinstock.formula.record import InputRecord
from thinstock.formula.remembering import Expression, Recorder, Remembering, listening, plain, remembering
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


class Decorate(Protocol):
    """Gives a function its label; its arguments and result stay as they are."""

    def __call__(self, function: Callable[P, R], /) -> Callable[P, R]: ...


class Said(TypedDict, total=False):
    """What a label may say besides its formula, source and status."""

    gives: str | tuple[str, ...]
    where: str
    kind: Kind
    holds: Mapping[str, tuple[float, float]]
    in_units: Mapping[str, str]


def relation(
    formula: str,
    *,
    source: str,
    status: Status,
    gives: str | tuple[str, ...] = (),
    where: str = "",
    kind: Kind = "formula",
    holds: Mapping[str, tuple[float, float]] | None = None,
    in_units: Mapping[str, str] | None = None,
) -> Decorate:
    """Put a label on a formula and enter it in `RELATIONS` under `module.name`.

    A module that is part of another says so with `LABELLED_IN`, and its formulas bear the other's name.
    `formula` is the text of the formula: let-lines `name = expression` separated by new lines or `;`, the last
    one giving the result (kind "formula"), a residual that vanishes at the answer (kind "equation": the last line
    is `0 = expression`, in which the words of `gives` stand for the answer) or the differential equation
    (kind "march"; for reading only). `gives` is the name on the last line where it is not said.
    """

    def decorate(function: Callable[P, R]) -> Callable[P, R]:
        module = function.__globals__.get("LABELLED_IN", function.__module__.rsplit(".", 1)[-1])
        text = inspect.cleandoc(formula) if "\n" in formula else formula
        label = Label(
            name=f"{module}.{function.__name__}",
            gives=((gives,) if isinstance(gives, str) else tuple(gives)) or _last_names(text),
            formula=text,
            kind=kind,
            source=source,
            where=where,
            status=status,
            holds=dict(holds or {}),
            in_units=dict(in_units or {}),
            arguments=_arguments(function),
            function=function,
        )
        bounded = bool(label.holds)

        @functools.wraps(function)
        def labelled(*args: P.args, **kwargs: P.kwargs) -> R:
            recorder = listening.get()
            if recorder is None or (recorder.ranges_only and not bounded):
                return function(*args, **kwargs)
            return recorder.call(label, args, kwargs)  # type: ignore[no-any-return]

        labelled.label = label  # type: ignore[attr-defined]
        RELATIONS[label.name] = labelled
        return labelled

    return decorate


def derived(formula: str, **said: Unpack[Said]) -> Decorate:
    """The label of what follows from definitions or balances; its derivation is in the docstring or `where`."""
    return relation(formula, source="DERIVED", status="derived", **said)


def assumed(formula: str, **said: Unpack[Said]) -> Decorate:
    """The label of what is assumed here, on no source."""
    return relation(formula, source="ASSUMED", status="assumed", **said)


def _last_names(formula: str) -> tuple[str, ...]:
    """What the last line of a formula says that it gives."""
    return tuple(name.strip() for name in formula.replace(";", "\n").splitlines()[-1].partition(" = ")[0].split(","))


def _arguments(function: Callable[..., Any]) -> tuple[str, ...]:
    """Names of the arguments of a formula; of a plain one read off its code, which is quicker than its signature."""
    code = getattr(function, "__code__", None)
    if (
        code is None
        or code.co_flags & STARRED
        or hasattr(function, "__wrapped__")
        or hasattr(function, "__signature__")
    ):
        return tuple(inspect.signature(function).parameters)
    names: tuple[str, ...] = code.co_varnames[: code.co_argcount + code.co_kwonlyargcount]
    return names


STARRED = inspect.CO_VARARGS | inspect.CO_VARKEYWORDS


def label_of(function: Callable[..., Any]) -> Label:
    """The label of a labelled function."""
    return function.label  # type: ignore[attr-defined,no-any-return]


def bound_arguments(label: Label, args: tuple[Any, ...], kwargs: Mapping[str, Any]) -> dict[str, Any]:
    """Arguments by name, in the order of the signature; those of an input record by its fields."""
    if args and isinstance(args[0], InputRecord):
        kwargs, args = {**args[0].words(), **kwargs}, ()
    given = dict(zip(label.arguments, args, strict=False))
    if not kwargs:
        return given
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
    """One use of one formula, or arithmetic between formulas: what went in, what came out, where each is from."""

    number: int
    label: Label
    inputs: dict[str, Any]
    """Plain values."""
    output: Any = None
    parent: int | None = None
    outside: dict[str, tuple[float, float]] = field(default_factory=dict)
    """Arguments outside the stated range: the range."""
    place: tuple[int, int] = (0, 0)
    """Order in which steps are read: formulas as they were used, arithmetic right behind what it needs."""
    given: dict[str, Any] = field(default_factory=dict)
    """The inputs as they were given, remembering."""
    sheet: Callable[[], Worksheet | None] = lambda: None

    @cached_property
    def origins(self) -> dict[str, Origin]:
        """Per argument: (number of the step, word of its result), the address of a machine value, or None."""
        sheet = self.sheet()
        return {} if sheet is None else {n: sheet.origin_of_input(v, n) for n, v in self.given.items()}


ARITHMETIC = "arithmetic"
"""Name of a step that is no labelled formula."""
VALUE = "intermediate_result"
"""Word of a number that nobody has named."""


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


_NUMBERS = frozenset({float, int, np.float64, np.ndarray, str, type(None)})
"""Types that hold no remembering number."""


def _outside(value: Any, bounds: tuple[float, float]) -> bool:
    return isinstance(value, float | int) and not bounds[0] <= value <= bounds[1]


def _plain(value: Any) -> Any:
    """An argument without memory; numbers in a list or tuple too."""
    if type(value) is Remembering:
        return value.plain
    if type(value) in (list, tuple) and any(type(item) is Remembering for item in value):
        return type(value)(plain(item) for item in value)
    return value


class Worksheet:
    """Keeps every step of one case.

    Numbers remember their origin themselves (`Remembering`); of arrays, whole numbers and records of a library the
    worksheet knows the very object.
    """

    def __init__(self) -> None:
        self.steps: list[Step] = []
        self.token: object = object()
        self.words: dict[str, str] = {}
        """Words of machine values by address."""
        self.ranges_only = False
        self.quiet = False
        """True inside a formula, whose own arithmetic is its text."""
        self._objects: dict[int, tuple[Any, Origin]] = {}
        self._open: list[int] = []
        self._me = weakref.ref(self)

    def given(self, address: str, value: Any, word: str = "") -> Any:
        """The machine's value at `address`, remembering that."""
        if value is None or isinstance(value, bool | str):
            return value
        if word:
            self.words[address] = word
        return self.known(value, address)

    def known(self, value: Any, origin: Origin) -> Any:
        if isinstance(value, float):
            return remembering(value, origin, self.token)
        if type(value) is not int:  # one object stands for many equal whole numbers
            self._objects[id(value)] = (value, origin)
        return value

    def same(self, new: Any, old: Any) -> Any:
        """`new`, known as `old` in another dress (an element picked, an axis added)."""
        origin = self.origin(old)
        return new if origin is None else self.known(new, origin)

    def merged(self, new: Any, parts: tuple[Any, ...]) -> Any:
        """`new`, known to hold all of `parts` side by side."""
        return self.known(new, Merged(tuple(self.origin(part) for part in parts)))

    def knows(self, value: Any) -> bool:
        """True where the worksheet can say how this value came about."""
        if type(value) is Remembering:
            return value.token is self.token
        entry = self._objects.get(id(value))
        return entry is not None and entry[0] is value

    def origin(self, value: Any, word: str = "") -> Origin:
        """The step or the machine address this value came from; arithmetic becomes a step that gives `word`."""
        if not self.knows(value):
            return None
        if type(value) is not Remembering:
            return self._objects[id(value)][1]
        if type(value.origin) is Expression:
            return self._arithmetic(value, word)
        origin: Origin = value.origin
        return origin

    def origin_of_input(self, value: Any, word: str) -> Origin:
        """Origin of an argument; a list or tuple of things has the origins of all numbers in it."""
        known = self.origin(value, word)
        if known is not None or not isinstance(value, list | tuple):
            return known
        found: list[Origin] = []
        for leaf in _numbers(value):
            origin = self.origin(leaf)
            if origin is not None and origin not in found:
                found.append(origin)
        return Merged(tuple(found)) if found else None

    def _word(self, origin: Origin) -> str:
        """What a number in arithmetic is called, by where it is from."""
        if isinstance(origin, tuple):
            return origin[1]
        if not isinstance(origin, str) or ": " in origin:
            return "number"
        name = self.words.get(origin) or origin.removeprefix("given ").rsplit(".", 1)[-1]
        return name if name.isidentifier() else "number"

    def _arithmetic(self, value: Any, word: str) -> Origin:
        """Arithmetic as a step of its own, written out when it is first asked for."""
        done: Expression = value.origin
        if done.step is None:
            writer = Writer(self.token, self.origin, self._word)
            text = writer.text(done)
            inputs = {name: plain(given) for name, given in writer.leaves.items()}
            step = Step(len(self.steps), _label(word or VALUE, text, tuple(inputs)), inputs, value.plain)
            step.given, step.sheet = writer.leaves, self._me
            step.place = self._behind(step.origins.values())
            self.steps.append(step)
            done.step = step.number
        step = self.steps[done.step]
        if word and step.label.gives == (VALUE,):
            step.label = _label(word, step.label.formula.partition(" = ")[2], step.label.arguments)
        return step.number, step.label.gives[0]

    def _behind(self, origins: Iterable[Origin]) -> tuple[int, int]:
        """The place right behind the last step of these origins."""
        last = (-1, 0)
        for origin in origins:
            if isinstance(origin, Merged):
                last = max(last, self._behind(origin.parts))
            elif isinstance(origin, tuple):
                last = max(last, self.steps[origin[0]].place)
        return last[0], last[1] + 1

    def call(self, label: Label, args: tuple[Any, ...], kwargs: dict[str, Any]) -> Any:
        given = bound_arguments(label, args, kwargs)
        number = len(self.steps)
        inputs = {name: value if type(value) in _NUMBERS else _plain(value) for name, value in given.items()}
        step = Step(number, label, inputs, None, self._open[-1] if self._open else None)
        step.place, step.given, step.sheet = (number, 0), given, self._me
        self.steps.append(step)
        self._open.append(number)
        self.quiet = True
        try:
            step.output = label.function(**inputs)
        finally:
            self._open.pop()
            self.quiet = bool(self._open)
        if label.holds:
            step.outside = {n: b for n, b in label.holds.items() if _outside(inputs.get(n), b)}
        return step.output if self._open else self._remembered(step)

    def _remembered(self, step: Step) -> Any:
        """The result of a step, its numbers remembering it."""
        output, gives = step.output, step.label.gives
        if isinstance(output, tuple):
            words = getattr(output, "_fields", gives)
            parts = [self.known(part, (step.number, word)) for word, part in zip(words, output, strict=False)]
            parts += output[len(parts) :]
            output = type(output)._make(parts) if hasattr(output, "_fields") else tuple(parts)  # type: ignore[attr-defined]
        elif is_dataclass(output) and not isinstance(output, type):
            output = copy(output)
            for f in fields(output):
                part = self.known(getattr(output, f.name), (step.number, f.name))
                object.__setattr__(output, f.name, part)
        return self.known(output, (step.number, gives[0]))


def _label(word: str, text: str, arguments: tuple[str, ...]) -> Label:
    """The label of arithmetic between formulas."""
    return Label(
        name=ARITHMETIC, gives=(word,), formula=f"{word} = {text}", kind="formula", source="DERIVED", where="",
        status="derived", holds={}, in_units={}, arguments=arguments, function=lambda *a: None,
    )  # fmt: skip


class RangeWatch:
    """Counts, per formula and argument, the cases outside the stated range; keeps no data."""

    quiet = ranges_only = True
    token: object = None

    def __init__(self) -> None:
        self.outside: dict[tuple[str, str], NDArray[np.bool_]] = {}

    def call(self, label: Label, args: tuple[Any, ...], kwargs: dict[str, Any]) -> Any:
        """Use a formula."""
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


class ValueWatch:
    """Keeps, per formula and argument, the values of one case outside the stated range, and that range."""

    quiet = ranges_only = True
    token: object = None

    def __init__(self) -> None:
        self.outside: dict[tuple[str, str], list[float]] = {}
        self.bounds: dict[tuple[str, str], tuple[float, float]] = {}

    def call(self, label: Label, args: tuple[Any, ...], kwargs: dict[str, Any]) -> Any:
        """Use a formula."""
        if label.holds:
            given = bound_arguments(label, args, kwargs)
            for name, bounds in label.holds.items():
                if _outside(given.get(name), bounds):
                    self.outside.setdefault((label.name, name), []).append(float(given[name]))
                    self.bounds[label.name, name] = bounds
        return label.function(*args, **kwargs)


W = TypeVar("W", bound=Recorder)


@contextmanager
def worksheet(keep: bool = True) -> Iterator[Worksheet]:
    """Record every formula used inside; `worksheet(False)` mutes any recorder (for searches)."""
    sheet = Worksheet()
    token = listening.set(sheet if keep else None)
    try:
        yield sheet
    finally:
        listening.reset(token)


@contextmanager
def watching(watch: W) -> Iterator[W]:
    """Count what leaves its range in every formula used inside; a worksheet goes on recording."""
    token = listening.set(watch)
    try:
        yield watch
    finally:
        listening.reset(token)


@contextmanager
def range_watch() -> Iterator[RangeWatch]:
    """Count out-of-range cases of every formula used inside."""
    with watching(RangeWatch()) as watch:
        yield watch


def recorder() -> Recorder | None:
    """The recorder that is listening, if any."""
    return listening.get()


def same(new: Any, old: Any) -> Any:
    """Tell a listening worksheet that `new` is `old` in another dress; returns `new`."""
    sheet = listening.get()
    return sheet.same(new, old) if isinstance(sheet, Worksheet) else new


def merged(new: Any, parts: tuple[Any, ...]) -> Any:
    """Tell a listening worksheet that `new` holds `parts` side by side; returns `new`."""
    sheet = listening.get()
    return sheet.merged(new, parts) if isinstance(sheet, Worksheet) else new


def recall(function: Callable[..., Any], output: Any, *args: Any) -> Any:
    """Record a use of a labelled formula whose answer is already known (kept from an earlier, muted search)."""
    heard = listening.get()
    if heard is None:
        return output
    kept = replace(label_of(function), function=lambda *a, **k: output)
    return heard.call(kept, args, {})
