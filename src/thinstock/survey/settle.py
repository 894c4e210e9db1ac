"""What every way of reconciling shares: walking to where nothing moves any more, typical sizes, and two tests."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from thinstock.formula.label import Array
from thinstock.survey.faults import NotConverged
from thinstock.survey.reconciled import Readings
from thinstock.words.phrase import phrase

PASSES = 100
HALVINGS = 12
SETTLED = 1e-10

Residual = Callable[[Array], Array]
Step = Callable[[Array], tuple[Array, Array, Array]]
"""x -> (the next x by the linear problem at x, length of each constraint's row there, size of a step that counts)."""


def settle(residual: Residual, step: Step, start: Array, names: Sequence[str]) -> tuple[Array, int]:
    """Repeat linear problems until the largest step is below 1e-10 of the size that counts; (x, passes)."""
    x = np.array(start, dtype=float)
    length = np.ones(len(names))
    for count in range(1, PASSES + 1):
        target, length, counts = step(x)
        move = target - x
        size = float(np.max(np.abs(move) / np.maximum(counts, 1e-3 * np.abs(x)), initial=0.0))
        before = float(np.max(np.abs(residual(x)) / length, initial=0.0))
        share = 1.0
        for _ in range(HALVINGS):
            after = np.max(np.abs(residual(x + share * move)) / length, initial=0.0)
            if np.isfinite(after) and after <= 10.0 * max(before, 1.0):
                break
            share *= 0.5
        x = x + share * move
        if size < SETTLED:
            return x, count
    worst = int(np.argmax(np.abs(residual(x)) / length))
    raise NotConverged(phrase("survey.settle.reconciliation_did_not_settle_in", passes=PASSES, names=names[worst]))


def typical_size(value: Array, measured: Any) -> Array:
    """A size on the scale of an uncertainty for each unmeasured variable: a twentieth of where it starts."""
    start = np.abs(value)
    floor = 1e-3 * float(np.median(start[start > 0.0])) if np.any(start > 0.0) else 1.0
    size: Array = np.maximum(0.05 * start, floor)[~measured]
    return size


def node_scores(balance: Any, constant: Array, given: Readings) -> Array:
    """Imbalance of the raw readings of each balance over its standard deviation (dense or sparse balance)."""
    known = balance[:, np.flatnonzero(given.measured)]
    unread = abs(balance[:, np.flatnonzero(~given.measured)]).sum(axis=1)
    scaled = known * given.uncertainty if isinstance(known, np.ndarray) else known.multiply(given.uncertainty).tocsr()
    if given.correlation is None:
        variance = abs(scaled).power(2).sum(axis=1) if not isinstance(scaled, np.ndarray) else (scaled**2).sum(axis=1)
    elif isinstance(scaled, np.ndarray):
        variance = np.einsum("ij,ij->i", scaled @ given.correlation, scaled)
    else:
        variance = scaled.multiply(scaled @ given.correlation).sum(axis=1)
    mismatch = np.asarray(known @ given.value).ravel() - constant
    spread = np.sqrt(np.asarray(variance, dtype=float).ravel())
    with np.errstate(invalid="ignore", divide="ignore"):
        score = mismatch / spread
    score[(np.asarray(unread).ravel() > 0.0) | (spread == 0.0)] = np.nan
    return np.asarray(score)


def chi_square_probability(statistic: float, degrees_of_freedom: int) -> float:
    """Probability of a chi-square at least so large; nan without a degree of freedom."""
    if degrees_of_freedom == 0:
        return float("nan")
    from scipy.special import chdtrc

    return float(chdtrc(degrees_of_freedom, statistic))
