"""The search of the speeds at which duties just hold: a coarse grid, then a few rounds in which all try together.

The grid runs with few steps and only says where to look. In a round every end that is still looked for tries two
speeds so close round its guess that, if they lie on either side of it, it is known; all of them go through the wet end
in one array, and each sees what the others tried. A guess is where the margins seen last vanish.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, takewhile
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from thinstock.formula.label import Array, worksheet
from thinstock.machine.duty import Duty
from thinstock.machine.parts import Parts
from thinstock.machine.run import run_line, surroundings

if TYPE_CHECKING:
    from thinstock.machine.line import Machine

CLOSE = 1e-4
"""Half the step, as a share of a speed, within which a limit is known."""
LEAST, FASTEST = 0.2, 55.0
"""m/s: slowest and fastest speed tried."""
NOISE = 1e-13
"""A margin that is nothing but rounding: a sheet formed in the last pulse of a former ends there at many speeds."""
ROUNDS = 20
"""Of which two or three are usual."""

Cases = NDArray[np.bool_]
"""Which of several speeds."""
ALL: Mapping[str, Cases] = {}
Ends = tuple[float | None, float | None]
"""Between which speeds a part does its duty; None where no end was found on that side."""


class Trials:
    """Runs the machine at many speeds at once and gives each duty's margin there."""

    def __init__(self, machine: Machine, hardest: Machine, duties: Sequence[Duty]) -> None:
        self.machine = machine
        self.hardest = hardest
        self.duties = duties
        self.hold = {"hood temperature": 1, "steam pressure": 2}.get(machine.hold_reel_dryness_by, 0)
        self.way = [duty.dryer if self.hold else duty.dryer and "held" for duty in duties]
        """How the dryer is run for each duty; where nothing is held there is no bound to drive it to."""

    def run(
        self, speeds: Array, dryers: Iterable[str], *, fast: bool = False, among: Mapping[str, Cases] = ALL
    ) -> dict[str, Parts]:
        """The machine at these speeds, the dryer run in these ways; what lies before it is run once.

        `among`: the speeds at which a way is run, all where it is not named.
        """
        at = {self.machine.speed_address: speeds}
        trial = self.machine.with_(at)
        found: dict[str, Parts] = {}
        with worksheet(False):
            wet = run_line(trial, surroundings(trial, single=False, fast=fast), through="press")
            found[""] = wet
            for dryer in dryers:
                if not dryer:
                    continue
                base = self.hardest.with_(at) if dryer == "bound" else trial
                part = next(place.part for place in base.line if place.name == "dryer")
                hold = self.hold if dryer == "held" else 0
                known = wet.press.onward(wet.press.around).with_(hold=hold, chained=True, among=among.get(dryer))
                found[dryer] = Parts({**wet.line, "dryer": part.run(wet.press.out, known)[1]})
        return found

    def margin(self, duty: Duty, parts: Parts) -> Array:
        """Margin over the cases; negative where no sheet is there for the duty (by what it lacks), or no number."""
        formed = np.atleast_1d(parts.forming.formed)
        with np.errstate(invalid="ignore", divide="ignore"):
            value = np.broadcast_to(np.asarray(duty.margin(parts), dtype=float), formed.shape)
            value = np.where(np.isfinite(value), value, -1.0)
            if not (duty.always or duty.upstream):
                value = np.where(formed, value, np.minimum(parts.forming.lacking, -1e-12))
        return value

    def value(self, duty: Duty, parts: Parts) -> Array:
        """What the part does over the cases; not a number where no sheet comes to it."""
        formed = np.atleast_1d(parts.forming.formed)
        with np.errstate(invalid="ignore", divide="ignore"):
            value = np.broadcast_to(np.asarray(duty.value(parts), dtype=float), formed.shape)
        return value if duty.upstream else np.where(formed, value, np.nan)

    def margins(self, speeds: Array, among: Mapping[str, Cases]) -> dict[int, Array]:
        """Margins at these speeds of all duties that need no dryer, and of those that need it run in these ways."""
        runs = self.run(speeds, among, among=among)
        return {i: self.margin(self.duties[i], runs[way]) for i, way in enumerate(self.way) if way in runs}


class Sought(Protocol):
    """What the search asks of the trials."""

    @property
    def way(self) -> Sequence[str]:
        """How the dryer is run for each duty; empty where it needs none."""

    def margins(self, speeds: Array, among: Mapping[str, Cases]) -> dict[int, Array]:
        """Margins at these speeds of all duties that need no dryer, and of those that need it run in these ways."""


class Point(NamedTuple):
    """A margin at a speed, which is counted towards where the duty fails: negative for a lowest speed."""

    at: float
    margin: float


@dataclass
class End:
    """One end of the speeds at which a duty holds, and what is known round it."""

    way: int
    """1 where the duty fails above, -1 where it fails below."""
    cell: tuple[float, float]
    """Between which speeds (counted that way) the coarse grid has it: it holds at the first, and fails at the other."""
    guesses: list[float]
    """Where it may be."""
    grid_step: float
    fine: list[Point] = field(default_factory=list)
    """Where it holds, nearest first."""
    bad: list[Point] = field(default_factory=list)
    """Where it fails, nearest first."""
    rounds: int = 0

    def tried(self, *, dried: bool) -> list[float]:
        """Speeds to try next."""
        low, high = self._reach()
        inner = 0.01 * (high - low)
        guesses = [g for g in self.guesses if low < g < high]
        kept = guesses[:1] if dried and not self.rounds else _apart(guesses)
        near = [g + side * 0.9 * CLOSE * abs(g) for g in kept for side in (-1.0, 1.0)]
        near = [min(max(at, low + inner), high - inner) for at in near]
        stuck = all(min(g - low, high - g) < 2 * CLOSE * abs(g) for g in guesses)
        if not guesses or self.rounds > 2 or (stuck and not dried):
            parts = 4 if dried else 8
            near += [low + (high - low) * k / parts for k in range(1, parts)]
        if self.rounds > 2 and not (self.fine and self.bad):
            near.append(high if self.fine else low)
        self.cell = min(self.cell[0], *near), max(self.cell[1], *near)
        return [abs(at) for at in near]

    def _reach(self) -> tuple[float, float]:
        """Between which speeds the end lies, as far as is known."""
        low, high = self.cell
        far = 0.2 * 2.0**self.rounds * abs(self.grid_step)
        if self.rounds and not self.fine:
            low = min(low, self.bad[0].at) - far
        if self.rounds and not self.bad:
            high = max(high, self.fine[0].at) + far
        slowest, fastest = (LEAST, FASTEST) if self.way > 0 else (-FASTEST, -LEAST)
        low = self.fine[0].at if self.fine else max(low, slowest)
        return low, self.bad[0].at if self.bad else min(high, fastest)

    def learn(self, speeds: Array, margins: Array) -> None:
        """Take what was tried into account: the first place at which the duty fails is the one that counts."""
        self.rounds += 1
        low = self.fine[0].at if self.fine else self.cell[0]
        high = self.bad[0].at if self.bad else self.cell[1]
        new = sorted(Point(self.way * float(v), float(m)) for v, m in zip(speeds, margins, strict=True))
        inside = [one for one in new if low <= one.at <= high]
        fails = next((k for k, one in enumerate(inside) if one.margin < 0), len(inside))
        self.fine = [*reversed(inside[:fails]), *self.fine]
        self.bad = [*takewhile(lambda one: one.margin < 0, inside[fails:]), *(() if fails < len(inside) else self.bad)]
        self.guesses = _guesses(self.fine, self.bad)

    @property
    def found(self) -> float | None:
        """The last speed at which the duty holds, once it is known closely enough."""
        if not self.rounds:
            return None
        if self.fine and self.bad and self.bad[0].at - self.fine[0].at < 2 * CLOSE * abs(self.fine[0].at):
            return abs(self.fine[0].at)
        for (one, other), guess in _lines(self.fine, self.bad):
            step = 2 * CLOSE * abs(one.at)
            if abs(guess - one.at) < step and abs(one.at - other.at) < 2 * step:
                return abs(guess)
        last = abs((self.fine or self.bad)[0].at)
        return last if last <= LEAST or last >= FASTEST else None


def _lines(fine: list[Point], bad: list[Point]) -> Iterator[tuple[list[Point], float]]:
    """Two points of either side, and where the line through them vanishes; a stretch without slope has none."""
    for side in (bad, fine):
        if len(side) > 1 and NOISE < abs(side[0].margin) < abs(side[1].margin):
            yield side[:2], _vanishes(side[:2])


def _guesses(fine: list[Point], bad: list[Point]) -> list[float]:
    """Where the margin vanishes: by all that is near, then by what is seen on either side alone, where it may bend."""
    found: list[float] = []
    if fine and bad:
        near = [*reversed(fine[:2]), *bad[:2]]
        falls = all(a.margin > b.margin for a, b in pairwise(near))
        found.append(_vanishes(near if falls else [fine[0], bad[0]]))
    return found + [guess for _, guess in _lines(fine, bad)]


def _vanishes(points: list[Point]) -> float:
    """Speed at which a margin is nothing, by the speed as a polynomial of the margin."""
    total = 0.0
    for one in points:
        share = 1.0
        for other in points:
            if other is not one:
                share *= other.margin / (other.margin - one.margin)
        total += share * one.at
    return total


def _apart(guesses: list[float]) -> list[float]:
    """Guesses that say something new, the best first."""
    kept: list[float] = []
    for one in guesses:
        if all(abs(one - other) > 5.0 * CLOSE * abs(one) for other in kept):
            kept.append(one)
    return kept


def narrowed(trials: Sought, ends: dict[tuple[int, int], End]) -> dict[tuple[int, int], float]:
    """Where each duty just holds, by its number and side; ends that need no dryer are tried without one."""
    for _ in range(ROUNDS):
        left = {key: end for key, end in ends.items() if end.found is None}
        if not left:
            break
        for dried in (False, True):
            mine = {key: end for key, end in left.items() if bool(trials.way[key[0]]) is dried}
            if not mine:
                continue
            tried: dict[str, list[float]] = {}
            for (i, _side), end in mine.items():
                tried.setdefault(trials.way[i], []).extend(end.tried(dried=dried))
            speeds = np.unique(np.concatenate(list(tried.values())))
            among = {way: np.isin(speeds, at) for way, at in tried.items()}
            margins = trials.margins(speeds, among if dried else {})
            for (i, _side), end in mine.items():
                mask = among[trials.way[i]]
                end.learn(speeds[mask], margins[i][mask])
    return {key: end.found or abs((end.fine or end.bad)[0].at) for key, end in ends.items()}


def _brackets(margin: Array, k: int) -> tuple[int | None, int | None] | None:
    """Steps of a grid in which a stretch that holds begins and ends, around place k or the nearest; None if none."""
    ok = margin >= 0
    held = np.flatnonzero(ok)
    if not held.size:
        return None
    at = k if ok[k] else int(held[np.argmin(np.abs(held - k))])
    above, below = np.flatnonzero(~ok[at:]), np.flatnonzero(~ok[: at + 1])
    return (int(below[-1]) if below.size else None), (at + int(above[0]) - 1 if above.size else None)


def _end(grid: Array, margin: Array, j: int, way: int) -> End:
    """An end between places j and j + 1 of a grid."""
    points = [Point(way * float(v), float(m)) for v, m in zip(grid, margin, strict=True)]
    below, above = points[j::-1], points[j + 1 :]
    fine, bad = (below, above) if way > 0 else (above, below)
    holds = list(takewhile(lambda one: one.margin >= 0, fine[:3]))
    fails = list(takewhile(lambda one: one.margin < 0, bad[:3]))
    return End(
        way=way, cell=(fine[0].at, bad[0].at), guesses=_guesses(holds, fails), grid_step=bad[0].at - fine[0].at
    )  # fmt: skip


def ends_of(trials: Trials, grid: Array, margins: dict[int, Array], present: float) -> dict[int, Ends | None]:
    """The speeds between which each duty holds, around the present one or nearest to it; None if it never does."""
    found: dict[int, Ends | None] = {}
    ends: dict[tuple[int, int], End] = {}
    k = int(np.searchsorted(grid, present))
    for i, margin in margins.items():
        steps = _brackets(margin, k)
        found[i] = None if steps is None else (None, None)
        for side, j in enumerate(steps or ()):
            if j is not None:
                ends[i, side] = _end(grid, margin, j, 1 if side else -1)
    for (i, side), value in narrowed(trials, ends).items():
        low, high = found[i] or (None, None)
        found[i] = (value, high) if side == 0 else (low, value)
    return found
