"""The speed at which a machine with hood and steam as set gives the reel dryness wanted."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from thinstock.formula.label import Array, worksheet
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.machine.parts import Parts

SPEEDS_TRIED = (0.5, 60.0)
NO_SHEET = 50.0
"""The gap of a speed at which no sheet is formed: far too wet."""


class _Gaps:
    """How much too wet the sheet is at given speeds, as a logarithm."""

    def __init__(self, machine: Machine, dried: Callable[[Machine], Parts]) -> None:
        cases = machine.cases() or 1
        self.dried = dried
        self.quiet = dataclasses.replace(machine, hold_reel_dryness_by="nothing")
        self.aim = np.broadcast_to(machine.grade.reel_dryness, (cases,)).astype(float)
        self.columns = {n: v for n, v in self.quiet.addresses() if isinstance(v, np.ndarray) and v.ndim == 1}

    def __call__(self, speed: Array, rows: NDArray[np.intp]) -> Array:
        changes = {name: v[rows] for name, v in self.columns.items()}
        trial = self.quiet.with_({**changes, self.quiet.speed_address: speed[rows]})
        with worksheet(False):
            parts = self.dried(trial)
        moisture = parts.dryer.moisture_ratio_out
        ok = np.asarray(parts.forming.formed) & np.isfinite(moisture)
        wetness = np.log(np.maximum(moisture, 1e-9) / (1 / self.aim[rows] - 1))
        return np.where(ok, wetness, NO_SHEET)


def held_by_speed(machine: Machine, dried: Callable[[Machine], Parts], *, fast: bool) -> tuple[Machine, Num]:
    """The machine at the speed that gives the reel dryness with hood and steam as set, and a status (0 found).

    `dried` runs a machine down to its dryer.
    """
    assert machine.yankee is not None
    gap = _Gaps(machine, dried)
    highest = machine.yankee.speed_limit if machine.yankee.speed_limit is not None else SPEEDS_TRIED[1]
    low = np.full(gap.aim.shape, SPEEDS_TRIED[0])
    high = np.broadcast_to(highest, gap.aim.shape).astype(float).copy()
    everything = np.arange(len(gap.aim))
    g_low, g_high = gap(low, everything), gap(high, everything)
    status = np.where(g_high <= 0, 1, np.where(g_low > 0, -1, 0))
    found = _false_position(gap, (low, g_low), (high, g_high), np.flatnonzero(status == 0), 1e-5 if fast else 1e-7)
    speed = np.where(status == 1, highest, np.where(status == -1, SPEEDS_TRIED[0], found))
    single = machine.cases() is None
    value = np.float64(speed[0]) if single else speed
    return gap.quiet.with_({machine.speed_address: value}), int(status[0]) if single else status


def _false_position(
    gap: _Gaps, below: tuple[Array, Array], above: tuple[Array, Array], rows: NDArray[np.intp], close: float
) -> Array:
    """Speeds at which the gap closes, case by case; an end that stays is weighed half (Illinois)."""
    (low, g_low), (high, g_high) = below, above
    found = high.copy()
    for _ in range(60):
        if not rows.size:
            break
        a, b, g_a, g_b = low[rows], high[rows], g_low[rows], g_high[rows]
        middle = np.where(
            np.isfinite(g_b) & (np.abs(g_b) < 40),
            a - g_a * (b - a) / np.where(g_b == g_a, 1.0, g_b - g_a),
            0.5 * (a + b),
        )
        found[rows] = np.clip(middle, a + 1e-3 * (b - a), b - 1e-3 * (b - a))
        g = gap(found, rows)
        wet_side = g > 0
        low[rows] = np.where(wet_side, a, found[rows])
        g_low[rows] = np.where(wet_side, g_a * 0.5, g)
        high[rows] = np.where(wet_side, found[rows], b)
        g_high[rows] = np.where(wet_side, g, g_b * np.where(np.abs(g_b) < 40, 0.5, 1.0))
        rows = rows[(np.abs(g) >= close) & (high[rows] - low[rows] >= 1e-9)]
    return found
