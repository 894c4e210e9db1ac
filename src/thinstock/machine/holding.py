"""The speed at which a machine with hood and steam as set gives the reel dryness wanted.

The search begins at the machine's own speed and widens from there, case by case; only where nothing else is left does
it go to the ends of the range. Root finders of libraries (tried: elementwise bracketing, then Chandrupatla's method)
look at twice as many machines: they begin by halving and know nothing of a range that may be left at its end.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from thinstock.formula.label import Array, worksheet
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.machine.parts import Parts

SPEEDS_TRIED = (0.5, 60.0)
STEP = 0.1
"""The first step from the machine's own speed, as a share of it; each further one is twice as long."""
NEAR = 1.5
"""Steps to the end of the range within which the next step goes to the end."""
ROUNDS = 60
NARROW = 0.1
"""Speeds are one when closer, as a share, than this part of how close the moisture must be: it moves tenfold."""
SPARE = 1e-6
"""Share of what is left that is kept from either end."""


class _Gaps:
    """How much too wet the sheet is at given speeds, as a share of the moisture wanted; infinite without a sheet.

    That is nearly straight over the speed on the wet side, and never below -1 on the dry one.
    """

    def __init__(self, machine: Machine, dried: Callable[[Machine, Num], Parts]) -> None:
        cases = machine.cases() or 1
        self.dried = dried
        self.quiet = dataclasses.replace(machine, hold_reel_dryness_by="nothing")
        self.aim = np.broadcast_to(machine.grade.reel_dryness, (cases,)).astype(float)
        with worksheet(False):
            self.resistance = np.broadcast_to(machine.stock.specific_resistance(), (cases,))
        self.columns = {n: v for n, v in self.quiet.addresses() if isinstance(v, np.ndarray) and v.ndim == 1}

    def __call__(self, speed: Array, rows: NDArray[np.intp]) -> Array:
        changes = {name: v[rows] for name, v in self.columns.items()} if len(rows) != len(self.aim) else {}
        trial = self.quiet.with_({**changes, self.quiet.speed_address: speed[rows]})
        with worksheet(False):
            parts = self.dried(trial, self.resistance[rows])
        moisture = parts.dryer.moisture_ratio_out
        ok = np.asarray(parts.forming.formed) & np.isfinite(moisture)
        return np.where(ok, moisture / (1 / self.aim[rows] - 1) - 1.0, np.inf)


def held_by_speed(machine: Machine, dried: Callable[[Machine, Num], Parts], *, fast: bool) -> tuple[Machine, Num]:
    """The machine at the speed that gives the reel dryness with hood and steam as set, and a status.

    0: found. 1: dry enough at the highest speed. -1: too wet, or without a sheet, at the lowest. `dried` runs a
    machine down to its dryer, given how its stock resists: that is the same at every speed.
    """
    assert machine.yankee is not None
    gap = _Gaps(machine, dried)
    highest = machine.yankee.speed_limit if machine.yankee.speed_limit is not None else SPEEDS_TRIED[1]
    lowest, highest, own = (
        np.broadcast_to(one, gap.aim.shape).astype(float) for one in (SPEEDS_TRIED[0], highest, machine.speed)
    )
    speed, status = _search(gap, lowest, highest, own, 1e-5 if fast else 1e-7)
    single = machine.cases() is None
    value = np.float64(speed[0]) if single else speed
    return gap.quiet.with_({machine.speed_address: value}), int(status[0]) if single else status


def _search(gap: _Gaps, lowest: Array, highest: Array, own: Array, close: float) -> tuple[Array, Any]:
    """Speeds at which the gap closes, case by case, and their status."""
    ends = _Ends(lowest, highest)
    speed, step = np.clip(own, lowest, highest), np.full(own.shape, STEP)
    status = np.zeros(own.shape, dtype=int)
    rows = np.arange(len(own))
    for _ in range(ROUNDS):
        g = gap(speed, rows)
        too_wet = g > 0
        ends.move(rows, speed[rows], g)
        last = np.where(too_wet, speed[rows] <= lowest[rows], speed[rows] >= highest[rows])
        status[rows[last]] = np.where(too_wet, -1, 1)[last]
        no_sheet = np.isinf(ends.g_high[rows])
        apart = ends.high[rows] - ends.low[rows] >= np.where(no_sheet, 1.0, NARROW) * close * ends.high[rows]
        edge = rows[~last & ~apart & no_sheet]
        speed[edge] = ends.low[edge]
        rows = rows[~last & apart & (np.abs(g) >= close)]
        if not rows.size:
            break
        speed[rows] = ends.between(rows, step[rows])
        step[rows] *= 2
    return speed, status


class _Ends:
    """Speeds between which the gap closes, case by case, and the gaps there: not a number where not yet looked at."""

    def __init__(self, low: Array, high: Array) -> None:
        self.low, self.high = low.copy(), high.copy()
        self.g_low, self.g_high = np.full(low.shape, np.nan), np.full(low.shape, np.nan)
        self.side = np.zeros(low.shape)
        """On which side the last speed was: 1 too wet, -1 too dry, 0 none yet."""

    def move(self, rows: NDArray[np.intp], speed: Array, g: Array) -> None:
        """Put these speeds in the place of the end of their side; an end that stays is weighed (Anderson, Bjorck)."""
        wet = g > 0
        side = np.where(wet, 1.0, -1.0)
        with np.errstate(invalid="ignore"):
            less = 1.0 - g / np.where(wet, self.g_high[rows], self.g_low[rows])
        weight = np.where(self.side[rows] == side, np.where(less > 0, less, 0.5), 1.0)
        g_low, g_high = self.g_low[rows], self.g_high[rows]
        self.g_low[rows], self.g_high[rows] = np.where(wet, g_low * weight, g), np.where(wet, g, g_high * weight)
        self.low[rows] = np.where(wet, self.low[rows], speed)
        self.high[rows] = np.where(wet, speed, self.high[rows])
        self.side[rows] = side

    def between(self, rows: NDArray[np.intp], step: Array) -> Array:
        """The next speeds: on the straight line between the ends, half way from one without a sheet, or a step on."""
        low, high, g_low, g_high = self.low[rows], self.high[rows], self.g_low[rows], self.g_high[rows]
        with np.errstate(invalid="ignore"):
            part = np.where(np.isinf(g_high), 0.5, g_low / (g_low - g_high))
        inside = low + np.clip(part, SPARE, 1.0 - SPARE) * (high - low)
        up = np.where(high <= low * (1.0 + NEAR * step), high, low * (1.0 + step))
        down = np.where(low >= high * (1.0 - NEAR * step), low, high * (1.0 - step))
        return np.where(np.isnan(g_high), up, np.where(np.isnan(g_low), down, inside))
