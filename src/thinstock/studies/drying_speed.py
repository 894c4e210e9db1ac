"""How fast the dryer lets a machine run in each of many cases: the drying row of the limits, for all cases at once.

What holds the reel dryness is driven to its bound. Where gas or steam stand at their bound the energy hides what a
change does; the speed then says it.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from thinstock.formula.label import worksheet
from thinstock.machine.duty import Duty
from thinstock.machine.limit_search import LEAST
from thinstock.machine.limits import HIGHEST, asked_of, at_bound
from thinstock.machine.line import Machine
from thinstock.machine.run import run_line, surroundings
from thinstock.words.num import Array

COARSE = np.array([0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.25, 1.5, 2.0, 3.0])
"""Speeds tried first, over the present one."""
FINE = 6
"""Speeds tried in each round between two that enclose the limit."""
ROUNDS = 3


def drying_speeds(machine: Machine, columns: Mapping[str, Array]) -> Array:
    """Highest speed, m/s, at which the dryer at its bound still reaches the reel dryness, by case.

    `columns` are the cases by address, all of one length. Not a number where no speed up to the highest tried is too
    fast, or none is slow enough, and in a machine whose dryer has no such limit.
    """
    cases = max((len(column) for column in columns.values()), default=1)
    duty = next((d for d in asked_of(machine) if isinstance(d, Duty) and d.id == "drying"), None)
    if duty is None or duty.bound is None:
        return np.full(cases, np.nan)

    def margins(speeds: Array, *, fast: bool) -> Array:
        each = speeds.shape[1]
        changes = {where: np.repeat(column, each) for where, column in columns.items()}
        trial = at_bound(machine.with_(changes)).with_({machine.speed_address: speeds.ravel()})
        with worksheet(False):
            parts = run_line(trial, surroundings(trial, single=False, fast=fast), through="dryer")
        with np.errstate(invalid="ignore", divide="ignore"):
            value = np.broadcast_to(np.asarray(duty.margin(parts), dtype=float), (speeds.size,))
        value = np.where(np.asarray(parts.forming.formed) & np.isfinite(value), value, -1.0)
        return value.reshape(speeds.shape)

    tried = np.clip(COARSE * float(machine.speed), LEAST, HIGHEST)
    found = margins(np.broadcast_to(tried, (cases, len(tried))), fast=True)
    last = np.array([_last_held(row) for row in found])
    known = (last >= 0) & (last < len(tried) - 1)
    low, high = tried[np.clip(last, 0, None)], tried[np.clip(last + 1, None, len(tried) - 1)]
    for _ in range(ROUNDS):
        at = low[:, None] + (high - low)[:, None] * np.linspace(-0.1, 1.1, FINE)
        found = margins(np.maximum(at, LEAST), fast=False)
        step = np.clip(np.array([_last_held(row) for row in found]), 0, FINE - 2)
        rows = np.arange(cases)
        low, high = at[rows, step], at[rows, step + 1]
        f_low, f_high = found[rows, step], found[rows, step + 1]
    with np.errstate(invalid="ignore", divide="ignore"):
        way = np.where(f_low > f_high, f_low / (f_low - f_high), 0.0)
    return np.where(known, low + np.clip(way, 0.0, 1.0) * (high - low), np.nan)


def _last_held(margin: Array) -> int:
    """The last speed of the first stretch that holds; -1 where none does."""
    held = np.flatnonzero(margin >= 0)
    if not held.size:
        return -1
    gone = np.flatnonzero(margin[held[0] :] < 0)
    return int(held[0] + gone[0] - 1) if gone.size else len(margin) - 1
