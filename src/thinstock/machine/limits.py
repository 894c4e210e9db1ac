"""The speeds between which each part of a machine does its duty: what is over now, what gives out first, both ways.

A part over its limit at the present speed stands first. Found with consistency, grammage, line load, vacuums, slot
widths and retention held, the press looped in and the dryer's held variable driven to its bound. Pressure vessels and
nips: a limit that was not entered stays "not known"; none is ever derived here.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from thinstock.machine.dryer import HOTTEST
from thinstock.machine.duty import Asked, Duty, Fixed
from thinstock.machine.duty import Limit as Limit
from thinstock.machine.limit_search import Ends, Trials, ends_of
from thinstock.machine.line import Machine
from thinstock.machine.parts import Parts
from thinstock.machine.result import Result
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num

HIGHEST = 50.0
"""m/s: above 3000 m/min a part is said not to limit."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Limits:
    """All limits of one machine."""

    rows: tuple[Limit, ...]
    speed: float

    @property
    def head(self) -> str:
        """What is held, in words."""
        return phrase("limits.head")

    @property
    def binding(self) -> Limit | None:
        """The row that gives out first: the worst of those over now, else the one met first when running faster."""
        return next((row for row in self.rows if row.binding), None)

    @property
    def over(self) -> tuple[Limit, ...]:
        """What is over its limit at the present speed, the worst first; rules of practice behind the rest."""
        found = [row for row in self.rows if row.over]
        return tuple(sorted(found, key=lambda r: (r.scope == "window", -(np.inf if r.share is None else r.share))))

    @property
    def faster(self) -> Limit | None:
        """What gives out first when the machine is run faster."""
        rows = [row for row in self.rows if row.speed_high is not None and not row.over]
        return min(rows, key=lambda r: r.speed_high or 0.0, default=None)

    @property
    def slower(self) -> Limit | None:
        """What gives out first when the machine is run slower."""
        rows = [row for row in self.rows if row.speed_low is not None and not row.over]
        return max(rows, key=lambda r: r.speed_low or 0.0, default=None)

    def __iter__(self) -> Iterator[Limit]:
        return iter(self.rows)


def asked_of(machine: Machine) -> Iterator[Duty | Fixed]:
    """Every duty and limit of every part, in the order of the line."""
    for place in machine.line:
        yield from place.part.limits(
            Asked(
                place=place.name,
                given=machine.given,
                limit_of=machine.get,
                width=machine.width,
                speed=machine.speed,
                holder=machine.hold_reel_dryness_by,
                reel_dryness=machine.grade.reel_dryness,
            )
        )


def at_bound(machine: Machine) -> Machine:
    """The machine with what holds the reel dryness driven to the bound of most drying, and nothing held."""
    changes: dict[str, Num] = {}
    if machine.hood is not None and machine.hold_reel_dryness_by == "hood temperature":
        limit = machine.hood.air_temperature_limit
        top = limit if limit is not None else np.float64(HOTTEST)
        changes["hood.air_temperature"] = np.maximum(top, machine.hood.air_temperature) if limit is None else top
    if machine.yankee is not None and machine.hold_reel_dryness_by == "steam pressure":
        limit = machine.yankee.steam_pressure_limit
        if limit is not None:
            changes["yankee.steam_pressure"] = limit
    quiet = dataclasses.replace(machine, hold_reel_dryness_by="nothing")
    return quiet.with_(changes) if changes else quiet


def limits(machine: Machine, *, result: Result | None = None) -> Limits:
    """Speed limits of every part of one machine: what is over now, what gives out first, and how far away it is.

    Parameters
    ----------
    machine : Machine
        One case, as `thinstock.load` gives it; arrays are refused.
    result : Result, optional
        Its run at the present speed, where that is at hand: it is not run again then.

    Returns
    -------
    Limits
        Rows with the lowest and highest speed of each part, m/s, its margin, a fraction of the present speed, and what
        it does now of what it may. A limit that nobody entered is not known and never taken as unlimited. Takes some
        tenths of a second.

    Raises
    ------
    Refused
        A machine with arrays, or one that does not run at its present speed.

    Source: the formulas of the run; rules of practice are marked as such in their rows.
    """
    present = float(machine.speed)
    listed = list(asked_of(machine))
    duties = [row for row in listed if isinstance(row, Duty)]
    trials = Trials(machine, at_bound(machine), duties)
    grid = np.unique(np.append(np.arange(1.0, HIGHEST + 0.5), present))
    at = int(np.searchsorted(grid, present))
    ways = dict.fromkeys(trials.way)
    coarse, exact = trials.run(grid, ways, fast=True), _present(trials, present, ways, result)
    told = list(zip(trials.way, duties, strict=True))
    margins = {i: trials.margin(duty, coarse[way]) for i, (way, duty) in enumerate(told)}
    now = {i: float(trials.margin(duty, exact[way])[0]) for i, (way, duty) in enumerate(told)}
    values = [float(trials.value(duty, exact[way])[0]) for way, duty in told]
    for i, margin in margins.items():
        margin[at] = now[i]
    speeds = ends_of(trials, grid, margins, present)
    parts = exact[""]
    rows: list[Limit] = []
    number = 0
    for row in sorted(listed, key=_order):
        made: Limit | None
        if isinstance(row, Fixed):
            made = _fixed_row(row, parts, present)
        else:
            made = _row(row, speeds[number], values[number], now[number], present)
            number += 1
        if made is not None:
            rows.append(made)
    found = Limits(rows=tuple(rows), speed=present)
    first = found.over[0] if found.over else found.faster
    return Limits(rows=tuple(dataclasses.replace(r, binding=True) if r is first else r for r in rows), speed=present)


def _present(trials: Trials, speed: float, ways: Mapping[str, None], result: Result | None) -> dict[str, Parts]:
    """What the parts do at the present speed, by the way the dryer is run; what a run has told is taken from there."""
    known = {} if result is None or result.dry is None else {"": result.parts, "held": result.parts}
    left = [way for way in ways if way not in known]
    return {**(trials.run(np.array([speed]), left) if left or not known else {}), **known}


def _order(row: Duty | Fixed) -> int:
    """Duties and loads in the order of the line, then lowest speeds, rated speeds and the window of practice."""
    return ("lowest", "highest", "window").index(row.scope) + 1 if isinstance(row, Fixed) and row.scope != "none" else 0


def _row(duty: Duty, ends: Ends | None, value: float, margin: float, present: float) -> Limit:
    """A duty with the speeds that were found."""
    known = Limit(
        id=duty.id, of=duty.of, task=duty.task, scope="not known", status=duty.status, word=duty.word,
        value=value if np.isfinite(value) else None, remark=duty.remark,
    )  # fmt: skip
    if duty.bound is None:
        return known
    bound = float(np.asarray(duty.bound).ravel()[0])
    known = dataclasses.replace(
        known, bound=bound, share=_share(known.value, bound, margin),
        over=margin < 0 and (known.value is not None or duty.always),
    )  # fmt: skip
    if ends is None:
        return dataclasses.replace(known, scope="highest", remark="never")
    known = _at(known, *ends, present)
    if known.scope == "none":
        return dataclasses.replace(known, remark="no_limit_but" if duty.remark else "no_limit", reason=duty.note)
    return known


def _share(value: float | None, bound: float, margin: float) -> float | None:
    """How much of what it may do a part does: above 1 it is over, whether it may do so much at most or must at least.

    A duty that holds with more than its bound has a least bound.
    """
    if value is None or value <= 0 or bound <= 0:
        return None
    used = value / bound
    return 1 / used if (used > 1) == (margin > 0) and used != 1 else used


def _at(row: Limit, low: float | None, high: float | None, present: float) -> Limit:
    """A row with its ends; its own speed is the higher end, or the lower one where that is passed or the only one."""
    lowest = low is not None and (high is None or present < low)
    speed = low if lowest else high
    if speed is None:
        return dataclasses.replace(row, scope="none")
    margin = present / speed - 1 if lowest else speed / present - 1
    scope = "lowest" if lowest else "highest" if row.scope in ("not known", "lowest") else row.scope
    return dataclasses.replace(row, scope=scope, speed=speed, margin=margin, speed_low=low, speed_high=high)


def _fixed_row(fixed: Fixed, parts: Parts, present: float) -> Limit | None:
    """A limit that needs no search; None where it does not apply to this machine."""
    value = float(np.max(fixed.value(parts)))
    row = Limit(
        id=fixed.id, of=fixed.of, task=fixed.task, remark=fixed.remark, reason=fixed.reason, scope="not known",
        status="not given", value=value, word=fixed.word,
    )  # fmt: skip
    if fixed.bound is None:
        return row
    bound = float(np.min(fixed.bound(parts)))
    if not np.isfinite(bound):
        return None
    share = _share(value, bound, value - bound if fixed.scope == "lowest" else bound - value)
    row = dataclasses.replace(
        row, scope=fixed.scope, status=fixed.status, bound=bound, share=share, over=share is not None and share > 1
    )
    if fixed.scope == "none":
        return row
    if fixed.scope == "lowest":
        return _at(row, present * bound / value, None, present)
    return _at(row, None, bound, present)


def margins(result: Result) -> dict[str, Num]:
    """How far every part of a run is from its limit as it runs, as a share of the limit; negative is beyond it.

    For one case or many and without any search, by the row's key (`words_of` says it). Limits nobody gave are left
    out, and so are the window of practice and the dryness wanted at the reel.
    """
    parts = result.parts
    found: dict[str, Num] = {}
    with np.errstate(invalid="ignore", divide="ignore"):
        for row in asked_of(result.machine):
            margin = _relative(row, parts, reached=result.dry is not None)
            if margin is not None:
                found[row.key] = margin
    return {part: np.float64(np.ravel(margin)[0]) for part, margin in found.items()} if result.single else found


def words_of(key: str) -> str:
    """The part of a row by its key, in words."""
    id, _, of = key.partition(":")
    return phrase(f"limits.part.{id}", of=of)


def _relative(row: Duty | Fixed, parts: Parts, *, reached: bool) -> Num:
    """Margin as a share of the limit; None where there is none to tell."""
    if isinstance(row, Duty):
        if row.bound is None or row.dryer == "bound" or not (reached or row.upstream):
            return None
        bound = np.abs(np.asarray(row.bound))  # a least of nothing: how far from it, as a share of what there is
        return np.asarray(row.margin(parts)) / np.where(bound > 0, bound, np.abs(np.asarray(row.value(parts))))
    if row.bound is None or row.scope == "window":
        return None
    bound = np.asarray(row.bound(parts))
    if not np.all(np.isfinite(bound)):
        return None
    used = np.asarray(row.value(parts)) / bound
    return used - 1 if row.scope == "lowest" else 1 - used
