"""The highest speed at which each part of a machine still does its duty; the lowest of them is the bottleneck.

Found with consistency, grammage, line load, vacuums, slot widths and retention held, the press looped in and the
dryer's held variable driven to its bound. Pressure vessels and nips: a limit that was not entered stays "not known";
none is ever derived here.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from thinstock.formula.label import Array, worksheet
from thinstock.machine.dryer import HOTTEST
from thinstock.machine.duty import Asked, Duty, Fixed
from thinstock.machine.duty import Limit as Limit
from thinstock.machine.line import Machine
from thinstock.machine.parts import Parts
from thinstock.machine.result import Result
from thinstock.machine.run import run_line, surroundings
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num

HIGHEST = 50.0
"""m/s: above 3000 m/min a part is said not to limit."""
DRYERS = ("", "bound", "held")
"""How the dryer is run for a duty."""


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
        """The row that gives out first."""
        return next((row for row in self.rows if row.binding), None)

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


class _Trials:
    """Runs the machine at many speeds at once and gives each duty's margin there."""

    def __init__(self, machine: Machine, duties: list[Duty]) -> None:
        self.machine = machine
        self.hardest = at_bound(machine)
        self.duties = duties
        self.hold = {"hood temperature": 1, "steam pressure": 2}.get(machine.hold_reel_dryness_by, 0)

    def _run(self, speeds: Array, dryer: str) -> Parts:
        base = self.hardest if dryer == "bound" else self.machine
        trial = base.with_({self.machine.speed_address: speeds})
        with worksheet(False):
            around = surroundings(trial, single=False, hold=self.hold if dryer == "held" else 0)
            return run_line(trial, around, through="dryer" if dryer else "press")

    def _margin(self, duty: Duty, parts: Parts) -> Array:
        """Margin over the cases; -1 where there is no sheet to do the duty on, or no number."""
        formed = np.asarray(parts.forming.formed)
        with np.errstate(invalid="ignore", divide="ignore"):
            value = np.broadcast_to(np.asarray(duty.margin(parts), dtype=float), formed.shape)
        if not (duty.always or duty.upstream):
            value = np.where(formed, value, -1.0)
        return np.where(np.isfinite(value), value, -1.0)

    def margins(self, speeds: dict[int, Array]) -> dict[int, Array]:
        """Margin of each duty (by index) at its own speeds; duties of one kind share a run."""
        found: dict[int, Array] = {}
        for dryer in DRYERS:
            mine = [i for i in speeds if self.duties[i].dryer == dryer]
            if not mine:
                continue
            sizes = [len(speeds[i]) for i in mine]
            parts = self._run(np.concatenate([speeds[i] for i in mine]), dryer)
            for i, stop, size in zip(mine, np.cumsum(sizes), sizes, strict=True):
                found[i] = self._margin(self.duties[i], parts)[stop - size : stop]
        return found

    def grid(self, speeds: Array) -> tuple[dict[int, Array], dict[int, Array]]:
        """Margins and values of all duties on one grid of speeds; what needs no dryer is read off a run with one."""
        wanted = dict.fromkeys(duty.dryer for duty in self.duties if duty.dryer) or {"": None}
        runs = {dryer: self._run(speeds, dryer) for dryer in wanted}
        first = next(iter(runs.values()))
        formed = np.asarray(first.forming.formed)
        margins: dict[int, Array] = {}
        values: dict[int, Array] = {}
        for i, duty in enumerate(self.duties):
            parts = runs.get(duty.dryer, first)
            margins[i] = self._margin(duty, parts)
            with np.errstate(invalid="ignore", divide="ignore"):
                value = np.broadcast_to(np.asarray(duty.value(parts), dtype=float), formed.shape)
            values[i] = value if duty.upstream else np.where(formed, value, np.nan)
        return margins, values


def _highest(trials: _Trials, grid: Array, margins: dict[int, Array]) -> dict[int, float | None]:
    """Highest speed at which each duty holds: None if it never does, inf if still at the end of the grid."""
    found: dict[int, float | None] = {}
    ends: dict[int, list[float]] = {}
    for i, margin in margins.items():
        ok = np.flatnonzero(margin >= 0)
        if not ok.size:
            found[i] = None
        elif ok[-1] == len(grid) - 1:
            found[i] = np.inf
        else:
            k = ok[-1]
            ends[i] = [grid[k], grid[k + 1], margin[k], margin[k + 1]]
    for _ in range(40):
        if not ends:
            break
        for i, value in trials.margins({i: np.array([_between(*end)]) for i, end in ends.items()}).items():
            m, v, end = float(value[0]), float(_between(*ends[i])), ends[i]
            if m >= 0:
                end[0], end[2], end[3] = v, m, end[3] * 0.5
            else:
                end[1], end[3], end[2] = v, m, end[2] * 0.5
            if end[1] - end[0] < 2e-4 * end[1] or abs(m) < 1e-9:
                found[i] = v if abs(m) < 1e-9 else end[0]
        ends = {i: end for i, end in ends.items() if i not in found}
    return found | {i: end[0] for i, end in ends.items()}


def _between(low: float, high: float, f_low: float, f_high: float) -> float:
    """Where a straight line through both ends vanishes, kept off the ends."""
    span = high - low
    guess = low + span * f_low / (f_low - f_high) if f_low != f_high else low
    return min(max(guess, low + 0.02 * span), high - 0.02 * span)


def limits(machine: Machine) -> Limits:
    """Speed limits of every part of one machine: what gives out first, and how far away it is.

    Parameters
    ----------
    machine : Machine
        One case, as `thinstock.load` gives it; arrays are refused.

    Returns
    -------
    Limits
        Rows with the highest speed of each part, m/s, and its margin, a fraction of the present speed. A limit that
        nobody entered is not known and never taken as unlimited. Takes some tenths of a second.

    Raises
    ------
    Refused
        A machine with arrays, or one that does not run at its present speed.

    Source: the formulas of the run; rules of practice are marked as such in their rows.
    """
    present = float(machine.speed)
    listed = list(asked_of(machine))
    duties = [row for row in listed if isinstance(row, Duty)]
    trials = _Trials(machine, duties)
    grid = np.arange(1.0, HIGHEST + 0.5)
    margins, values = trials.grid(np.append(grid, present))
    speeds = _highest(trials, grid, {i: m[:-1] for i, m in margins.items()})
    with worksheet(False):
        parts = run_line(machine, surroundings(machine, single=True), through="loop")
    rows: list[Limit] = []
    number = 0
    for row in sorted(listed, key=_order):
        made: Limit | None
        if isinstance(row, Fixed):
            made = _fixed_row(row, parts, present)
        else:
            made = _row(row, speeds[number], float(values[number][-1]), present)
            number += 1
        if made is not None:
            rows.append(made)
    most = [r for r in rows if r.scope in ("highest", "window") and r.speed is not None]
    if most:
        lowest = min(most, key=lambda r: r.speed if r.speed is not None else np.inf)
        rows = [dataclasses.replace(r, binding=True) if r is lowest else r for r in rows]
    return Limits(rows=tuple(rows), speed=present)


def _order(row: Duty | Fixed) -> int:
    """Duties and loads in the order of the line, then lowest speeds, rated speeds and the window of practice."""
    return ("lowest", "highest", "window").index(row.scope) + 1 if isinstance(row, Fixed) and row.scope != "none" else 0


def _row(duty: Duty, speed: float | None, value: float, present: float) -> Limit:
    """A duty with the speed that was found."""
    known = Limit(
        id=duty.id, of=duty.of, task=duty.task, scope="not known", status=duty.status, word=duty.word,
        value=value if np.isfinite(value) else None, remark=duty.remark,
    )  # fmt: skip
    if duty.bound is None:
        return known
    known = dataclasses.replace(known, scope="highest", bound=float(np.asarray(duty.bound).ravel()[0]))
    if speed is None:
        return dataclasses.replace(known, speed=0.0, margin=-1.0, remark="never")
    if np.isinf(speed):
        return dataclasses.replace(
            known, scope="none", remark="no_limit_but" if duty.remark else "no_limit", reason=duty.note
        )  # fmt: skip
    return dataclasses.replace(known, speed=float(speed), margin=float(speed) / present - 1)


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
    row = dataclasses.replace(row, scope=fixed.scope, status=fixed.status, bound=bound)
    if fixed.scope == "none":
        return row
    if fixed.scope == "lowest":
        at = present * bound / value
        return dataclasses.replace(row, speed=at, margin=present / at - 1)
    return dataclasses.replace(row, speed=bound, margin=bound / present - 1)


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
        return np.asarray(row.margin(parts)) / np.abs(np.asarray(row.bound))
    if row.bound is None or row.scope == "window":
        return None
    bound = np.asarray(row.bound(parts))
    if not np.all(np.isfinite(bound)):
        return None
    used = np.asarray(row.value(parts)) / bound
    return used - 1 if row.scope == "lowest" else 1 - used
