"""The speeds between which each part of a machine does its duty: what is over now, what gives out first, both ways.

A part over its limit at the present speed stands first. Found with consistency, grammage, line load, vacuums, slot
widths and retention held, the press looped in and the dryer's held variable driven to its bound. Pressure vessels and
nips: a limit that was not entered stays "not known"; none is ever derived here.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator
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
CLOSE = 1e-4
"""Half the step, as a share of a speed, within which a limit is known."""
LEAST = 0.2
"""m/s: slowest speed tried."""
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


class _Trials:
    """Runs the machine at many speeds at once and gives each duty's margin there."""

    def __init__(self, machine: Machine, duties: list[Duty]) -> None:
        self.machine = machine
        self.hardest = at_bound(machine)
        self.duties = duties
        self.hold = {"hood temperature": 1, "steam pressure": 2}.get(machine.hold_reel_dryness_by, 0)

    def _run(self, speeds: Array, dryers: Iterable[str], *, fast: bool = False) -> dict[str, Parts]:
        """The machine at these speeds, the dryer run in these ways; what lies before it is run once."""
        trial = self.machine.with_({self.machine.speed_address: speeds})
        found: dict[str, Parts] = {}
        with worksheet(False):
            wet = run_line(trial, surroundings(trial, single=False, fast=fast), through="press")
            for dryer in dryers:
                found[dryer] = wet
                if not dryer:
                    continue
                base = self.hardest.with_({self.machine.speed_address: speeds}) if dryer == "bound" else trial
                part = next(place.part for place in base.line if place.name == "dryer")
                known = wet.press.onward(wet.press.around).with_(hold=self.hold if dryer == "held" else 0)
                found[dryer] = Parts({**wet.line, "dryer": part.run(wet.press.out, known)[1]})
        return found

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
            parts = self._run(np.concatenate([speeds[i] for i in mine]), (dryer,))[dryer]
            for i, stop, size in zip(mine, np.cumsum(sizes), sizes, strict=True):
                found[i] = self._margin(self.duties[i], parts)[stop - size : stop]
        return found

    def grid(self, speeds: Array, *, fast: bool = False) -> tuple[dict[int, Array], dict[int, Array]]:
        """Margins and values of all duties on one grid of speeds; what needs no dryer is read off a run with one."""
        runs = self._run(speeds, dict.fromkeys(duty.dryer for duty in self.duties), fast=fast)
        margins: dict[int, Array] = {}
        values: dict[int, Array] = {}
        for i, duty in enumerate(self.duties):
            parts = runs[duty.dryer]
            formed = np.asarray(parts.forming.formed)
            margins[i] = self._margin(duty, parts)
            with np.errstate(invalid="ignore", divide="ignore"):
                value = np.broadcast_to(np.asarray(duty.value(parts), dtype=float), formed.shape)
            values[i] = value if duty.upstream else np.where(formed, value, np.nan)
        return margins, values


Ends = tuple[float | None, float | None]
"""Between which speeds a part does its duty; None where no end was found on that side."""


def _brackets(margin: Array, k: int) -> tuple[int | None, int | None] | None:
    """Steps of a grid in which a stretch that holds begins and ends, around place k or the nearest; None if none."""
    ok = margin >= 0
    held = np.flatnonzero(ok)
    if not held.size:
        return None
    at = k if ok[k] else int(held[np.argmin(np.abs(held - k))])
    above, below = np.flatnonzero(~ok[at:]), np.flatnonzero(~ok[: at + 1])
    return (int(below[-1]) if below.size else None), (at + int(above[0]) - 1 if above.size else None)


def _ends(trials: _Trials, grid: Array, margins: dict[int, Array], present: float) -> dict[int, Ends | None]:
    """The speeds between which each duty holds, around the present one or nearest to it; None if it never does."""
    found: dict[int, Ends | None] = {}
    open_ends: dict[tuple[int, int], list[float]] = {}
    k = int(np.searchsorted(grid, present))
    for i, margin in margins.items():
        steps = _brackets(margin, k)
        found[i] = None if steps is None else (None, None)
        for side, j in enumerate(steps or ()):
            if j is not None:
                a, b = (j + 1, j) if side == 0 else (j, j + 1)
                open_ends[i, side] = [float(v) for v in (grid[a], grid[b], margin[a], margin[b])]
    for (i, side), value in _narrowed(trials, open_ends).items():
        low, high = found[i] or (None, None)
        found[i] = (value, high) if side == 0 else (low, value)
    return found


def _narrowed(trials: _Trials, ends: dict[tuple[int, int], list[float]]) -> dict[tuple[int, int], float]:
    """Where each duty just holds between a speed at which it does and one at which it does not.

    All duties try several speeds in a round. The ends come from a run of few steps: where one proves to be on the
    other side, the search goes on beyond it.
    """
    found: dict[tuple[int, int], float] = {}
    sure: set[tuple[int, int]] = set()
    for _ in range(20):
        left = [key for key in ends if key not in found]
        if not left:
            break
        tried = {key: _tried(ends[key], few=bool(trials.duties[key[0]].dryer), sure=key in sure) for key in left}
        mine: dict[int, list[tuple[int, int]]] = {}
        for key in left:
            mine.setdefault(key[0], []).append(key)
        values = trials.margins({i: np.concatenate([tried[key] for key in keys]) for i, keys in mine.items()})
        for i, keys in mine.items():
            parted = np.split(values[i], np.cumsum([len(tried[key]) for key in keys[:-1]]))
            for key, margin in zip(keys, parted, strict=True):
                one, other, f_one, f_other = ends[key]
                at, m = [float(v) for v in tried[key]], [float(v) for v in margin]
                if key in sure:
                    at, m = [one, *at, other], [f_one, *m, f_other]
                k = next((k for k, value in enumerate(m) if value < 0), len(m))
                sure.discard(key)
                if k == 0:
                    ends[key] = [max(2 * one - other, LEAST), one, -m[0], m[0]]
                elif k == len(m):
                    ends[key] = [other, max(2 * other - one, LEAST), m[-1], -m[-1]]
                else:
                    ends[key] = [at[k - 1], at[k], m[k - 1], m[k]]
                    sure.add(key)
                    if abs(at[k] - at[k - 1]) < 2 * CLOSE * at[k]:
                        found[key] = at[k - 1]
                if ends[key][0] == ends[key][1]:  # at the least speed there is, and still on the same side
                    found[key] = ends[key][0]
    return {key: end[0] for key, end in ends.items()} | found


def _tried(end: list[float], *, few: bool, sure: bool) -> Array:
    """Speeds to try from one end to the other: close around where a straight line vanishes, and some between."""
    one, other, f_one, f_other = end
    way = f_one / (f_one - f_other) if f_one != f_other else 0.0
    near = 0.9 * CLOSE * other / abs(other - one)
    around = np.array((-near, near) if few else (-0.03, -near, near, 0.03))
    shares = np.append(min(max(way, 0.02), 0.98) + around, () if few else (0.25, 0.5, 0.75))
    shares = np.unique(np.clip(shares, 0.01, 0.99))
    return one + (shares if sure else np.concatenate(([0.0], shares, [1.0]))) * (other - one)


def limits(machine: Machine) -> Limits:
    """Speed limits of every part of one machine: what is over now, what gives out first, and how far away it is.

    Parameters
    ----------
    machine : Machine
        One case, as `thinstock.load` gives it; arrays are refused.

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
    trials = _Trials(machine, duties)
    grid = np.unique(np.append(np.arange(1.0, HIGHEST + 0.5), present))
    at = int(np.searchsorted(grid, present))
    margins, _ = trials.grid(grid, fast=True)
    now, values = trials.grid(grid[at : at + 1])
    for i, margin in margins.items():
        margin[at] = now[i][0]
    speeds = _ends(trials, grid, margins, present)
    with worksheet(False):
        parts = run_line(machine, surroundings(machine, single=True), through="loop")
    rows: list[Limit] = []
    number = 0
    for row in sorted(listed, key=_order):
        made: Limit | None
        if isinstance(row, Fixed):
            made = _fixed_row(row, parts, present)
        else:
            made = _row(row, speeds[number], float(values[number][0]), float(margins[number][at]), present)
            number += 1
        if made is not None:
            rows.append(made)
    found = Limits(rows=tuple(rows), speed=present)
    first = found.over[0] if found.over else found.faster
    return Limits(rows=tuple(dataclasses.replace(r, binding=True) if r is first else r for r in rows), speed=present)


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
