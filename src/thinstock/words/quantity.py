"""One declaration per field: its word, its possible and usual range, the remedy, where its default comes from.

A part of the machine is a frozen dataclass whose numeric fields are annotated `Annotated[Num, Q("vacuum", ...)]`.
From that one declaration come the check when the part is made, the form, the schema and the file reference. Where the
word says too little, `phrases/en/fields.toml` says what the field is, or what helps, by its class and its name.
"""

from __future__ import annotations

import dataclasses
import inspect
import math
import typing
from collections.abc import Iterable, Iterator
from copy import copy
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any, Final

import numpy as np

from thinstock.errors import Fault, Refused
from thinstock.words.nomenclature import word
from thinstock.words.num import Num as Num
from thinstock.words.phrase import known, phrase

ANY: Final = (-math.inf, math.inf)
"""For a field of which no value is more usual than another."""
NOT_GIVEN = "not given"
"""How a machine file says that a limit is not known; it is never taken as unlimited."""


@dataclass(frozen=True)
class Worded:
    """Words of a field, said by its key in `phrases/<language>/fields.toml`."""

    key: str = dataclasses.field(default="", kw_only=True)
    """Where no other is given: the class that declares the field, and the field's name."""

    @property
    def label(self) -> str:
        """What the form says; empty where the meaning of the word says enough."""
        return self._said("")

    @property
    def remedy(self) -> str:
        """What helps where a value is refused."""
        return self._said("remedy.")

    def _said(self, room: str) -> str:
        key = f"fields.{room}{self.key}"
        return phrase(key) if known(key) else ""


@dataclass(frozen=True)
class Q(Worded):
    """What is known of a numeric field before anyone fills it in."""

    word: str
    possible: tuple[float, float] = (-math.inf, math.inf)
    """Closed range that cannot be left (SI)."""
    usual: tuple[float, float] | None = None
    """Range whose leaving is a note (SI): the word's own unless it is narrowed here; none for a limit and for `ANY`."""
    unit: str = ""
    """Edge unit in which the field is best read; empty: the word's own."""
    status: str = "assumed"
    """Status of the default value."""
    source: str = "ASSUMED"
    optional: bool = False
    """May be None: not given."""
    limit: bool = False
    """A capacity: nameplate, certificate or judgement; None prints as "not known"."""
    hurts: bool = False
    """Its limit protects people or a vessel: never the unknown of a search while that limit is not given."""
    integer: bool = False
    narrowed: bool = dataclasses.field(init=False, default=False)
    """True where the usual range was given here and not taken from the word."""

    def __post_init__(self) -> None:
        narrowed = self.usual is not None and self.usual != ANY
        object.__setattr__(self, "narrowed", narrowed)
        if self.usual == ANY or (self.limit and not narrowed):
            object.__setattr__(self, "usual", None)
        elif not narrowed:
            object.__setattr__(self, "usual", word(self.word).usual)


@dataclass(frozen=True)
class Choice(Worded):
    """A field that takes one of a few texts."""

    options: tuple[str, ...]


@dataclass(frozen=True)
class Words(Worded):
    """A free text field (a name, a title)."""

    several: bool = False
    """A list of names, kept as one text with commas between them; a file may give it as a list."""


@dataclass(frozen=True)
class Declared:
    """A field of a part together with its declaration."""

    name: str
    about: Q | Choice | Words | None
    type: Any
    default: Any
    required: bool


_DECLARED: dict[Any, tuple[Declared, ...]] = {}


def declared(part: type) -> tuple[Declared, ...]:
    """All fields of a part in order, with what is declared of each (worked out once per kind of part)."""
    known = _DECLARED.get(part)
    if known is None:
        known = _DECLARED[part] = _declared(part)
    return known


@cache
def declared_by_name(part: Any) -> dict[str, Declared]:
    """The same by the field's name."""
    return {one.name: one for one in declared(part)}


def _declared(part: type) -> tuple[Declared, ...]:
    hints = typing.get_type_hints(part, include_extras=True)
    homes = {name: c.__name__ for c in reversed(part.__mro__) for name in inspect.get_annotations(c)}
    found = []
    for f in dataclasses.fields(part):
        hint = hints[f.name]
        about = next((m for m in getattr(hint, "__metadata__", ()) if isinstance(m, Q | Choice | Words)), None)
        bare = hint.__origin__ if about is not None else hint
        if about is not None and not about.key:
            about = copy(about)
            object.__setattr__(about, "key", f"{homes[f.name]}.{f.name}")
        required = f.default is dataclasses.MISSING and f.default_factory is dataclasses.MISSING
        default = None if required else f.default if f.default is not dataclasses.MISSING else None
        found.append(Declared(f.name, about, bare, default, required))
    return tuple(found)


def about(part: type, name: str) -> Q | Choice | Words | None:
    """The declaration of one field."""
    found = declared_by_name(part).get(name)  # type: ignore[arg-type]
    return None if found is None else found.about


def show(value: Any, q: Q) -> str:
    """A value of the field as a person would write it."""
    from thinstock.words import units

    if value is None:
        return NOT_GIVEN
    if isinstance(value, np.ndarray) and value.ndim:
        finite = value[np.isfinite(value)]
        if not finite.size:
            return "nan"
        low, high = float(finite.min()), float(finite.max())
        if low == high:
            return show(low, q)
        return f"{show(low, q)} ... {show(high, q)}"
    about_word = word(q.word)
    kind = None if about_word.kind in ("any", "structure") else about_word.kind
    unit = q.unit or units.edge_unit(q.word, "mill")
    number = units.from_si(float(value), unit, kind)
    exact = (n for n in (4, 5, 6) if abs(float(f"{number:.{n}g}") - number) <= 1e-9 * abs(number))
    return units.write(float(value), unit, next(exact, 4), kind=kind)


ROUNDED = 1e-12
"""Share by which a bound may be passed where its unit was turned into another."""


def _one(name: str, value: Any, q: Q) -> tuple[Any, Fault | None]:
    """The value as a read-only number or array, or the fault in it."""
    if type(value) is np.float64 and not q.integer and q.possible[0] <= value <= q.possible[1] and math.isfinite(value):
        return value, None  # as nearly all values of a part are in which one was changed
    if value is None:
        if q.optional or q.limit:
            return None, None
        return None, Fault(field=name, value="nothing", bound="a value is needed", remedy=q.remedy)
    if isinstance(value, bool | str) or (isinstance(value, np.ndarray) and value.dtype.kind not in "fiu"):
        return None, Fault(field=name, value=repr(value), bound="a number in SI units is needed", remedy=q.remedy)
    try:
        array = np.asarray(value, dtype=float)
    except (TypeError, ValueError):
        return None, Fault(field=name, value=repr(value), bound="a number is needed", remedy=q.remedy)
    if array.ndim > 1:
        return None, Fault(
            field=name, value=f"array of shape {array.shape}", bound="one number, or one per case (one axis)"
        )
    if np.isnan(array).any():
        return None, Fault(field=name, value="nan", bound="a number is needed", remedy=q.remedy or "Give a value.")
    low, high = q.possible
    outside = (array < low - ROUNDED * abs(low)) | (array > high + ROUNDED * abs(high))
    if outside.any():
        worst = array if array.ndim == 0 else array[outside][0]
        bound = f"must lie between {show(low, q)} and {show(high, q)}"
        if math.isinf(high):
            bound = f"must be at least {show(low, q)}"
        elif math.isinf(low):
            bound = f"must be at most {show(high, q)}"
        return None, Fault(field=name, value=show(float(worst), q), bound=bound, remedy=q.remedy)
    if np.isinf(array).any():
        return None, Fault(field=name, value="infinite", bound="a finite number is needed", remedy=q.remedy)
    if q.integer and (array != np.round(array)).any():
        return None, Fault(field=name, value=f"{float(array.ravel()[0]):.6g}", bound="must be a whole number")
    if array.ndim == 0:
        return (int(array) if q.integer else np.float64(array)), None
    array = array.copy()
    array.setflags(write=False)
    return array, None


@dataclass(frozen=True, kw_only=True, eq=False)
class Fields:
    """A part of a machine: frozen, checked when made. Rules across fields come after all fields passed."""

    def __post_init__(self) -> None:
        faults: list[Fault] = []
        for field in declared(type(self)):
            value = getattr(self, field.name)
            if isinstance(field.about, Q):
                good, fault = _one(field.name, value, field.about)
                if fault is None:
                    object.__setattr__(self, field.name, good)
                else:
                    faults.append(fault)
            elif isinstance(field.about, Choice) and value not in field.about.options:
                options = ", ".join(repr(o) for o in field.about.options)
                faults.append(
                    Fault(
                        field=field.name,
                        value=repr(value),
                        bound=f"must be one of {options}",
                        remedy="Choose one.",
                    )
                )
            elif isinstance(field.about, Words) and not isinstance(value, str):
                faults.append(Fault(field=field.name, value=repr(value), bound="must be text in quotes"))
        if not faults:
            faults = list(self.rules())
        if faults:
            raise Refused(faults)

    def rules(self) -> Iterable[Fault]:
        """What must hold across fields."""
        return ()

    @cached_property
    def cases_within(self) -> frozenset[int]:
        """The numbers of cases of all values in this part and in those it holds; empty where each is one number."""
        return frozenset(_cases_of(getattr(self, field.name) for field in declared(type(self))))

    @cached_property
    def unusual_within(self) -> tuple[tuple[str, str, str], ...]:
        """Name, value and usual range of its own fields that are outside that range, as texts."""
        return tuple(_unusual(self))


def _cases_of(values: Iterable[object]) -> Iterator[int]:
    """Lengths of the rows of cases among these values, and in what they hold."""
    for value in values:
        if isinstance(value, np.ndarray):
            if value.ndim == 1:
                yield value.shape[0]
        elif isinstance(value, Fields):
            yield from value.cases_within
        elif isinstance(value, tuple):
            yield from _cases_of(value)


def unusual(part: Fields, prefix: str) -> Iterator[tuple[str, str, str]]:
    """(address, value, usual range) of every field outside its usual range, as texts."""
    for name, value, usual in part.unusual_within:
        yield f"{prefix}.{name}", value, usual


def _unusual(part: Fields) -> Iterator[tuple[str, str, str]]:
    for field in declared(type(part)):
        q = field.about
        if not isinstance(q, Q) or q.usual is None:
            continue
        value = getattr(part, field.name)
        if value is None:
            continue
        array = np.asarray(value)
        if (array < q.usual[0]).any() or (array > q.usual[1]).any():
            yield field.name, show(value, q), f"{show(q.usual[0], q)} to {show(q.usual[1], q)}"
