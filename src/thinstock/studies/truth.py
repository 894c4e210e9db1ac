"""Published figures that whole machines and formulas are judged against, each run at the moment of asking.

What print says stands in `library/published_points.toml`, with how it was read and what it counts; the machine and the
changes that come nearest stand beside it. Nothing here moves a constant: a miss is told as a miss. A figure that was
used to set a value is a pin: it is shown and never counted.
"""

from __future__ import annotations

import ast
import tomllib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final, Literal

import numpy as np

from thinstock.case import load
from thinstock.case.overrides import changed
from thinstock.errors import Fault, Refused
from thinstock.formula.catalogue import formulas
from thinstock.formula.expression import names, work_out
from thinstock.library import table
from thinstock.machine.line import Machine
from thinstock.machine.numbers import numbers
from thinstock.studies.exchange import with_former
from thinstock.studies.truth_facts import Facts
from thinstock.words import units
from thinstock.words.address import nearest
from thinstock.words.phrase import phrase

Verdict = Literal["miss", "pass", "not comparable", "no result", "pin"]
VERDICTS: Final[tuple[Verdict, ...]] = ("miss", "pass", "not comparable", "no result", "pin")
"""In the order in which they are shown."""
TENTH: Final = 0.1
"""Share by which a single figure may be missed: a figure of another machine is round."""
RECORD: Final = "published_points.toml"
HERE: Final = Path(__file__).resolve().parent.parent


@dataclass(frozen=True, kw_only=True)
class Point:
    """One published figure and what thinstock is asked for it."""

    key: str
    says: str
    """What print says, with its conditions."""
    low: float | None
    high: float | None
    """In the unit of the print; None where print names no such end."""
    value: float | None
    """Where print names one figure and no range."""
    unit: str
    source: str
    read: str
    """whole, excerpt, abstract or memory: what was really read."""
    boundary: str
    """What the figure counts, as far as it says so."""
    result: str
    """An expression in numbers of the run, further facts of it and formulas."""
    machines: tuple[str, ...]
    """Bundled machines that come nearest; each is asked, the worst answer counts. None: formulas alone."""
    former: str
    changes: Mapping[str, str]
    before: Mapping[str, Any]
    """Machine and changes of the names that end in `_before`."""
    judges: tuple[str, ...]
    """Formulas that are judged by it."""
    pin: bool
    unlike: str
    """Why it cannot be compared; empty where it can."""
    more: bool
    """Whether print counts more than thinstock does: then only an answer above is a miss."""
    because: str
    """Where it is missed: what is behind it, and what would settle it."""

    @property
    def ends(self) -> tuple[float, float]:
        """Between these an answer passes."""
        if self.value is not None:
            return self.value * (1 - TENTH), self.value * (1 + TENTH)
        low = -np.inf if self.low is None else self.low - _half_digit(self.low)
        return low, np.inf if self.high is None else self.high + _half_digit(self.high)

    @property
    def reference(self) -> float:
        """What answers are drawn in shares of: the figure, the middle of a range, its only end."""
        if self.value is not None:
            return self.value
        given = [end for end in (self.low, self.high) if end is not None]
        return float(np.sqrt(np.prod(given))) if len(given) == 2 and min(given) > 0 else given[-1]

    @property
    def words(self) -> tuple[str, ...]:
        """Names in its expression, without `_before`, each once."""
        found = names(_expression(self.result))
        return tuple(dict.fromkeys(name.removesuffix("_before") for name in found))


def _half_digit(printed: float) -> float:
    """Half of the last printed digit: what rounds to the printed end is inside."""
    return 0.5 * 10.0 ** -len(repr(printed).partition(".")[2])


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What thinstock answers on one machine, in the unit of the print."""

    machine: str
    """Its name; empty where formulas alone answer."""
    value: float


@dataclass(frozen=True, kw_only=True)
class Judged:
    """A point with the answers of this moment."""

    point: Point
    answers: tuple[Answer, ...]
    verdict: Verdict
    worst: float | None
    """The answer farthest from print; None where there is none."""
    off: float | None
    """That answer over the nearest end of the print; 1 inside it."""
    ratio: float | None
    """That answer over the reference."""

    def ratios(self) -> tuple[float, ...]:
        """Every answer over the reference."""
        return tuple(answer.value / self.point.reference for answer in self.answers)


@lru_cache(maxsize=1)
def points() -> Mapping[str, Point]:
    """Every published point by its key, in the order of the file."""
    rows: dict[str, dict[str, Any]] = table("published_points")
    return MappingProxyType({key: _point(key, row) for key, row in rows.items()})


def _point(key: str, row: Mapping[str, Any]) -> Point:
    return Point(
        key=key, says=row["says"], low=row.get("low"), high=row.get("high"), value=row.get("value"), unit=row["unit"],
        source=row["source"], read=row["read"], boundary=row["boundary"], result=row["result"],
        machines=tuple(row.get("machines", ())), former=row.get("former", ""), changes=row.get("set", {}),
        before=row.get("before", {}), judges=tuple(row.get("judges", ())), pin=row.get("role") == "pin",
        unlike=row.get("unlike", ""), more=row.get("counts") == "more", because=row.get("because", ""),
    )  # fmt: skip


def point(key: str) -> Point:
    """One point by its key; refused where there is none."""
    known = points()
    if key in known:
        return known[key]
    near = nearest(key, known)
    remedy = phrase("truth.nearest", names=", ".join(near)) if near else phrase("truth.all")
    raise Refused(Fault(field=key, bound=phrase("truth.unknown"), remedy=remedy))


# -- answers ---------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=256)
def _machine(name: str, former: str, changes: tuple[tuple[str, str], ...]) -> Machine:
    machine: Machine = load(name)
    if former:
        machine = with_former(machine, former).machine
    return changed(machine, [f"{where}={text}" for where, text in changes])


@lru_cache(maxsize=256)
def _facts(name: str, former: str, changes: tuple[tuple[str, str], ...]) -> Facts:
    return Facts(_machine(name, former, changes).run())


def _expression(text: str) -> ast.expr:
    return ast.parse(text, mode="eval").body


class _Names(Mapping[str, Any]):
    """The names of an expression: those of a run, and with `_before` those of the run before."""

    def __init__(self, now: Facts | None, before: Facts | None) -> None:
        self.now, self.before = now, before

    def _of(self, name: str) -> tuple[Facts | None, str]:
        if name.endswith("_before"):
            return self.before, name.removesuffix("_before")
        return self.now, name

    def __contains__(self, name: object) -> bool:
        facts, bare = self._of(str(name))
        return facts is not None and bare in facts

    def __getitem__(self, name: str) -> Any:
        facts, bare = self._of(name)
        if facts is None:
            raise KeyError(name)
        return facts[bare]

    def __iter__(self) -> Any:
        return iter(self.now or {})

    def __len__(self) -> int:
        return len(self.now or {})


def _answer(one: Point, machine: str) -> Answer | None:
    """The answer of one machine; None where a run has no such number, or none that is a number."""
    changes = tuple(one.changes.items())
    now = _facts(machine, one.former, changes) if machine else None
    before = None
    if one.before:
        earlier = tuple(one.before.get("set", {}).items())
        before = _facts(one.before.get("machine", machine), one.before.get("former", one.former), earlier)
    try:
        found = work_out(_expression(one.result), _Names(now, before))
    except NameError:
        return None
    value = float(units.from_si(found, one.unit))
    return Answer(machine=machine, value=value) if np.isfinite(value) else None


def _off(one: Point, value: float) -> float:
    """A value over the nearest end of the print; 1 inside."""
    low, high = one.ends
    if low <= value <= high:
        return 1.0
    end = (one.value if one.value is not None else one.low if value < low else one.high) or 0.0
    return value / end if end else np.inf


def judge(key: str) -> Judged:
    """A point judged now: its machines are run as they are.

    Parameters
    ----------
    key : str
        The point, as `points()` names it.

    Returns
    -------
    Judged
        Answers in the unit of the print, the verdict, and how far the worst answer is from print.

    Raises
    ------
    Refused
        A key that is not known.

    Source: the point's own.
    """
    one = point(key)
    formulas()
    answers = tuple(found for name in one.machines or ("",) if (found := _answer(one, name)) is not None)
    if len(answers) < max(len(one.machines), 1):
        return Judged(point=one, answers=answers, verdict="no result", worst=None, off=None, ratio=None)
    worst = max((a.value for a in answers), key=lambda value: abs(np.log(max(_off(one, value), 1e-9))))
    off = _off(one, worst)
    return Judged(
        point=one, answers=answers, verdict=_verdict(one, off), worst=worst, off=off, ratio=worst / one.reference
    )


def _verdict(one: Point, off: float) -> Verdict:
    if one.pin:
        return "pin"
    if one.unlike:
        return "not comparable"
    if one.more and off <= 1.0:
        return "not comparable"
    return "pass" if off == 1.0 else "miss"


def truth() -> tuple[Judged, ...]:
    """Every point judged now: misses first, the worst of them first, pins last.

    Returns
    -------
    tuple of Judged
        All points of `points()`.

    Source: each point's own.
    """
    found = [judge(key) for key in points()]

    def place(one: Judged) -> tuple[int, float]:
        far = 0.0 if one.off is None else abs(float(np.log(max(one.off, 1e-9))))
        return VERDICTS.index(one.verdict), -far

    return tuple(sorted(found, key=place))


# -- what is recorded ------------------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def recorded() -> Mapping[str, Mapping[str, str]]:
    """The verdict of each point as it was last looked at, with the reason of a change; the tests hold it to `truth`."""
    for place in (HERE / "check_values" / RECORD, HERE.parent.parent / "tests" / RECORD):
        if place.is_file():
            return tomllib.loads(place.read_text(encoding="utf-8"))
    return {}


def count() -> Counter[str]:
    """How many points have which recorded verdict."""
    return Counter(row["verdict"] for row in recorded().values())


def told_count() -> str:
    """The recorded count in one line."""
    found = count()
    return phrase("truth.count", judged=found["pass"] + found["miss"], passed=found["pass"], missed=found["miss"],
                  other=found["not comparable"] + found["no result"], pins=found["pin"])  # fmt: skip


def of_number(name: str) -> tuple[Point, ...]:
    """The points that a result number is judged by."""
    return tuple(one for one in points().values() if name in numbers() and name in one.words)


def of_formula(name: str) -> tuple[Point, ...]:
    """The points that a formula is judged by."""
    return tuple(one for one in points().values() if name in one.judges)


def told_points(found: tuple[Point, ...]) -> str:
    """Points with their recorded verdicts in one line; empty where there are none."""
    known = recorded()
    said = [phrase("truth.named", key=one.key, verdict=known[one.key]["verdict"]) for one in found if one.key in known]
    return phrase("truth.judged_by", points="; ".join(said)) if said else ""
