"""The middle of a machine's draws and their ends beside every number of its run, and which inputs that hangs on.

Draws are fast runs; what they give is moved by what the full run of the machine as it stands differs from its fast one.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from thinstock.evidence.apply import beside, columns, population
from thinstock.evidence.cases import run_cases
from thinstock.evidence.chosen import known as known
from thinstock.evidence.outputs import numbers
from thinstock.evidence.population import Population
from thinstock.evidence.uncertain import Uncertain
from thinstock.formula.label import Array, worksheet
from thinstock.machine.line import Machine
from thinstock.machine.result import Result
from thinstock.studies.intervals import SHARE, central_interval, position_in_draws

DRAWS = 400
SMALL = 0.1
"""Correlation of an input with a result below which chance alone would show it."""


def uncertainty(
    machine: Machine, *, draws: int = DRAWS, seed: int = 1, result: Result | None = None
) -> dict[str, Uncertain]:
    """Every number of a run with its median, the central 90 % of its draws, and the inputs it hangs on most.

    `result`: the run of this very machine, where it is at hand.
    """
    drawn = population(machine, draws=draws, seed=seed)
    with worksheet(False):
        full, coarse = machine.run() if result is None else result, machine.run(fast=True)
    names = tuple(numbers(full))
    cases = run_cases(machine, columns(drawn, machine), names)
    drawing = _Drawing(drawn)
    found = {}
    for name in names:
        value, rough = _number(full, name), _number(coarse, name)
        found[name] = _one(name, cases[name] + (value - rough), value, drawing, drawn.origin)
    return found


def difference(before: Machine, after: Machine, *, draws: int = DRAWS, seed: int = 1) -> dict[str, Uncertain]:
    """The same of after - before: every named number of both, with the same draws on both sides."""
    drawn = population(before, draws=draws, seed=seed)
    with worksheet(False):
        runs = [(one.run(), one.run(fast=True)) for one in (before, after)]
    names = tuple(n for n in numbers(runs[0][0]) if n in numbers(runs[1][0]))
    first = run_cases(before, columns(drawn, before), names)
    second = run_cases(after, beside(drawn, before, after), names)
    usable = np.where(first.usable & second.usable, 0.0, np.nan)
    drawing = _Drawing(drawn)
    found = {}
    for name in names:
        (a, fast_a), (b, fast_b) = ((_number(full, name), _number(fast, name)) for full, fast in runs)
        sample = second[name] - first[name] + usable + ((b - a) - (fast_b - fast_a))
        found[name] = _one(name, sample, b - a, drawing, drawn.origin)
    return found


class _Drawing:
    """Scores of the draws about their mean and how far they spread, of all draws or of those with a number."""

    def __init__(self, drawn: Population) -> None:
        self.addresses = drawn.addresses
        self.scores = drawn.scores
        self.kept: dict[bytes, tuple[Array, Array]] = {}

    def where(self, good: NDArray[np.bool_]) -> tuple[Array, Array]:
        """Worked out once for all numbers that the same draws have."""
        found = self.kept.get(good.tobytes())
        if found is None:
            table = self.scores[good]
            found = self.kept[good.tobytes()] = table - table.mean(axis=0), table.std(axis=0)
        return found


def _number(result: Result, name: str) -> float:
    """A named number; nan where this run has none, as where it forms a sheet and the other does not."""
    value = result.values.get(name)
    return math.nan if value is None else float(value)


def _one(name: str, sample: Array, value: float, drawing: _Drawing, origin: str) -> Uncertain:
    """A number with its draws."""
    good = np.isfinite(sample)
    if good.sum() < 2:
        return Uncertain(name=name, value=value, standard_uncertainty=float("nan"), contributions=(), origin=origin)
    kept = sample[good]
    low, middle, high = central_interval(kept, SHARE)
    spread = float(kept.std(ddof=1))
    parts: list[tuple[str, float]] = []
    if spread > 1e-12 * max(1.0, abs(value)):
        table, size = drawing.where(good)
        both = (kept - kept.mean()) @ table / len(kept)
        r = np.divide(both, size * kept.std(), out=np.zeros_like(both), where=size > 0)
        shares = zip(drawing.addresses, r.tolist(), strict=True)
        parts = [(address, share * spread) for address, share in shares if abs(share) > SMALL]
    else:
        spread = 0.0
    return Uncertain(
        name=name, value=value, standard_uncertainty=spread,
        contributions=tuple(sorted(parts, key=lambda part: -abs(part[1]))), low=low, median=middle, high=high,
        position=position_in_draws(value, kept), origin=origin,
    )  # fmt: skip


def share_by(sample: Array, scores: Array) -> float:
    """Share of the variance of a result that knowing some inputs takes away, by a regression on the draws."""
    from thinstock.studies.knowing import regressed

    variance = float(sample.var())
    if not variance > 0.0:
        return 0.0
    said = regressed(sample, scores, 3)
    spent = (scores.shape[1] * 3 + 1) / len(sample)
    return float(max(0.0, min(1.0, (float(said.var()) / variance - spent) / (1.0 - spent))))
