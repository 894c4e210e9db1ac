"""Normal laws of scores: what readings make of them, what one known input leaves, and who carries the variance.

Source: textbook results on the multivariate normal law. Status: from memory, checked by worked numbers.
"""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.formula.label import Array, Num
from thinstock.words.fault import fault_in

MOST_ROWS = 12
"""Rows over whose subsets shares of the variance are still summed exactly."""


def score_posterior(slopes: Num, covariance: Num, misfit: Num, *, prior: Num | None = None) -> tuple[Array, Array]:
    """Mean and covariance of scores after readings that hang on them linearly.

    Parameters
    ----------
    slopes : readings x scores
        Change of each reading for one unit of each score.
    covariance : readings x readings
        Of the readings.
    misfit : readings
        Reading - what the model says at scores of nothing.
    prior : scores x scores, optional
        Covariance before the readings; without it the scores are independent and standard.

    Returns
    -------
    mean, covariance : (P^-1 + J'V^-1 J)^-1 J'V^-1 misfit, and that inverse.

    Source: TEXTBOOK_STATISTICS. Status: from memory.
    """
    slope = np.atleast_2d(np.asarray(slopes, dtype=float))
    read = np.atleast_2d(np.asarray(covariance, dtype=float))
    before = np.eye(slope.shape[1]) if prior is None else np.asarray(prior, dtype=float)
    inner = slope @ before @ slope.T + read
    gain = np.linalg.solve(inner, slope @ before).T
    after = before - gain @ slope @ before
    return gain @ np.asarray(misfit, dtype=float), 0.5 * (after + after.T)


def conditional_normal(
    mean: Num, covariance: Num, index: Any, value: Num, variance: Num | None = None
) -> tuple[Array, Array]:
    """A normal law once some of it is known: places `index`, or sums H x of it, have the value.

    Parameters
    ----------
    mean, covariance : the law as it is.
    index : list of int, or matrix
        Places, or one row of H for each sum that is known.
    value : what is known of each.
    variance : number, one for each, or matrix, optional
        Of what is known; nothing where it is exact.

    Returns
    -------
    mean, covariance : m + K (value - H m) and S - K H S with K = S H' (H S H' + R)^-1.

    Source: TEXTBOOK_STATISTICS. Status: from memory.
    """
    centre = np.asarray(mean, dtype=float)
    spread = np.asarray(covariance, dtype=float)
    given = np.asarray(index)
    seen = given.astype(float) if given.ndim == 2 else np.eye(centre.size)[np.atleast_1d(given).astype(int)]
    count = len(seen)
    noise = np.zeros((count, count))
    if variance is not None:
        stated = np.asarray(variance, dtype=float)
        noise = stated if stated.ndim == 2 else np.diag(np.broadcast_to(stated, (count,)))
    gain = np.linalg.solve(seen @ spread @ seen.T + noise, seen @ spread).T
    after = spread - gain @ seen @ spread
    return centre + gain @ (np.atleast_1d(np.asarray(value, dtype=float)) - seen @ centre), 0.5 * (after + after.T)


def fixing_share(gradient: Num, covariance: Num, index: Any) -> float:
    """Share of a result's variance that goes if the inputs at `index` become exactly known.

    c' S_uu^-1 c / g'S g with c the rows u of S g: for a linear result of normal inputs. Shares of several inputs do not
    add up where these are correlated. Source: DERIVED. Status: derived.
    """
    slope = np.asarray(gradient, dtype=float)
    spread = np.asarray(covariance, dtype=float)
    whole = float(slope @ spread @ slope)
    if not whole > 0.0:
        raise Refused(fault_in("evidence.normal.no_variance", "covariance"))
    places = np.atleast_1d(np.asarray(index, dtype=int))
    return _told(slope, spread, places) / whole


def _told(slope: Array, spread: Array, places: Any) -> float:
    """Variance of the result that knowing some inputs takes away."""
    if len(places) == 0:
        return 0.0
    carried = spread[places] @ slope
    return float(carried @ np.linalg.lstsq(spread[np.ix_(places, places)], carried, rcond=1e-12)[0])


def shapley_variance(gradient: Num, covariance: Num) -> Array:
    """Shares of a result's variance over its inputs that add up to one, also where the inputs are correlated.

    The mean, over all orders in which inputs may become known, of what each takes away; exact over all subsets, so at
    most twelve inputs. Source: OWEN_2014. Status: from memory.
    """
    slope = np.asarray(gradient, dtype=float)
    spread = np.asarray(covariance, dtype=float)
    count = slope.size
    if count > MOST_ROWS:
        raise Refused(fault_in("evidence.normal.too_many", "gradient", str(count), most=MOST_ROWS))
    whole = float(slope @ spread @ slope)
    if not whole > 0.0:
        raise Refused(fault_in("evidence.normal.no_variance", "covariance"))
    known = {
        places: _told(slope, spread, np.array(places, dtype=int))
        for size in range(count + 1)
        for places in itertools.combinations(range(count), size)
    }
    share = np.zeros(count)
    for places, before in known.items():
        weight = 1.0 / (count * math.comb(count - 1, len(places))) if len(places) < count else 0.0
        for one in set(range(count)) - set(places):
            share[one] += weight * (known[tuple(sorted((*places, one)))] - before)
    return share / whole
