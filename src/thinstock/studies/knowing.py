"""What knowing is worth to a decision: all of it, one input, or one reading; and the gain that pays often enough.

The decision is to do it or not; worth is what doing it brings (a present value) over not doing it. Only differences of
money count, in the currency of the worth.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.formula.bell import above, score_at
from thinstock.formula.label import Array, Num
from thinstock.words.fault import fault_in


def value_of_knowing(worth: Num) -> float:
    """What knowing everything before the decision is worth: mean of max(worth, 0) - max(0, mean of worth).

    `worth`: one number for each draw. Source: TEXTBOOK_STATISTICS. Status: from memory.
    """
    draws = np.asarray(worth, dtype=float).ravel()
    return float(np.mean(np.maximum(draws, 0.0)) - max(0.0, float(np.mean(draws))))


def value_of_knowing_normal(mean: Num, spread: Num) -> Num:
    """The same where worth is normal: spread * L(|mean|/spread), L(t) = density(t) - t * share beyond t.

    Source: TEXTBOOK_STATISTICS. Status: from memory.
    """
    size = np.asarray(spread, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.abs(np.asarray(mean, dtype=float)) / size
        loss = np.exp(-0.5 * t**2) / math.sqrt(2.0 * math.pi) - t * above(t)
        found = np.where(size > 0.0, size * loss, 0.0)
    return found if found.ndim else float(found)


def value_of_knowing_input(worth: Num, inputs: Any, *, degree: int = 3) -> float:
    """What knowing some inputs exactly is worth: the value of knowing what they alone say of the worth.

    Parameters
    ----------
    worth : one number for each draw.
    inputs : draws, draws x inputs, or a mapping of names to draws.
    degree : of the polynomials in the normal ranks of the inputs, products among them included.

    Source: STRONG_OAKLEY_BRENNAN_2014 (abstract; they use splines). Status: published.
    """
    draws = np.asarray(worth, dtype=float).ravel()
    return value_of_knowing(regressed(draws, _table(inputs, draws.size), degree))  # its mean is that of the worth


def _table(inputs: Any, count: int) -> Array:
    """Draws x inputs."""
    if isinstance(inputs, Mapping):
        return np.column_stack([np.asarray(column, dtype=float) for column in inputs.values()])
    table = np.asarray(inputs, dtype=float)
    if table.ndim == 1:
        table = table[:, None]
    if len(table) != count and table.shape[-1] == count:
        table = table.T
    if len(table) != count:
        raise Refused(fault_in("studies.knowing.inputs", "inputs", str(table.shape), count=count))
    return table


def regressed(worth: Array, table: Array, degree: int) -> Array:
    """Worth as a polynomial of the normal ranks of some columns, by least squares."""
    count, width = table.shape
    ranks = np.column_stack([_normal_ranks(column) for column in table.T])
    columns = [np.ones(count)]
    for order in range(1, degree + 1):
        whole = itertools.combinations_with_replacement(range(width), order if width <= 4 else 1)
        if width <= 4:
            columns += [np.prod(ranks[:, list(places)], axis=1) for places in whole]
        else:
            columns += [ranks[:, place] ** order for place in range(width)]
    base = np.column_stack(columns)
    weights, *_ = np.linalg.lstsq(base, worth, rcond=None)
    return np.asarray(base @ weights)


def _normal_ranks(column: Array) -> Array:
    """Scores of ranks, those alike at their middle (a library that ranks takes half a second to load)."""
    order = np.sort(column)
    twice = np.searchsorted(order, column) + np.searchsorted(order, column, side="right")
    return np.asarray(_scores(column.size)[twice - 1])


@lru_cache(maxsize=8)
def _scores(count: int) -> Array:
    """Scores of all ranks of so many, with those half way between."""
    return np.asarray(score_at(0.5 * np.arange(1, 2 * count) / count))


def spread_removed(input_uncertainty: Num, reading_uncertainty: Num) -> Num:
    """Standard deviation of what a reading will say of an input: u^2 / sqrt(u^2 + r^2).

    Source: DERIVED. Status: derived.
    """
    u, r = np.asarray(input_uncertainty, dtype=float), np.asarray(reading_uncertainty, dtype=float)
    with np.errstate(invalid="ignore", divide="ignore"):
        found = np.where(u > 0.0, u**2 / np.hypot(u, r), 0.0)
    return found if found.ndim else float(found)


def value_of_reading_normal(mean: Num, slope: Num, input_uncertainty: Num, reading_uncertainty: Num) -> Num:
    """What one reading of one input is worth where worth is normal and hangs on the input by a slope.

    `slope`: change of worth for one unit of the input. Source: DERIVED. Status: derived.
    """
    return value_of_knowing_normal(mean, np.abs(slope) * spread_removed(input_uncertainty, reading_uncertainty))


def gain_for(gain: Num, share_paying: Num, wanted: float) -> float:
    """The smallest gain at which the share of draws that pay reaches `wanted`; infinite where none does.

    The share is taken as its running largest, and as straight between gains. Source: DERIVED. Status: derived.
    """
    at = np.asarray(gain, dtype=float)
    share = np.maximum.accumulate(np.asarray(share_paying, dtype=float))
    reached = np.flatnonzero(share >= wanted)
    if reached.size == 0:
        return math.inf
    k = int(reached[0])
    if k == 0:
        return float(at[0])
    part = (wanted - share[k - 1]) / (share[k] - share[k - 1])
    return float(at[k - 1] + part * (at[k] - at[k - 1]))


def uncertainty_after(target: Num, candidate: Num, reading_uncertainty: Num) -> float:
    """Standard uncertainty of a target once a candidate has been read: what its draws say of the target goes.

    Parameters
    ----------
    target : one number for each draw.
    candidate : the same, or candidates x draws where several are read together.
    reading_uncertainty : standard uncertainty of each reading.

    Source: DERIVED (linear). Status: derived.
    """
    aim = np.asarray(target, dtype=float).ravel()
    read = np.atleast_2d(np.asarray(candidate, dtype=float))
    noise = np.broadcast_to(np.asarray(reading_uncertainty, dtype=float), (len(read),))
    both = np.cov(np.vstack([aim, read]), ddof=1)
    inner = both[1:, 1:] + np.diag(noise**2)
    if not np.any(np.diag(inner) > 0.0):
        return math.sqrt(float(both[0, 0]))
    told = both[0, 1:] @ np.linalg.lstsq(inner, both[0, 1:], rcond=1e-14)[0]
    return math.sqrt(max(float(both[0, 0] - told), 0.0))
