"""What the tests of a round find, with the power of the test that is run.

The test that decides is the global one; a size of error is stated for it and not for a score nobody acts on.
"""

from __future__ import annotations

import math

import numpy as np

from thinstock.formula.label import Num
from thinstock.survey.faults import check_share
from thinstock.survey.suspects import critical_score


def power_global(noncentrality: Num, degrees_of_freedom: Num, significance: float) -> Num:
    """How often the global test fails: a chi-square with this noncentrality beyond the limit of one without.

    One error of size b in a reading of redundancy rho has the noncentrality rho b^2/u^2.
    Source: TEXTBOOK_STATISTICS. Status: from memory.
    """
    check_share("significance", significance)
    from scipy.special import chdtri, chndtr

    shift = np.asarray(noncentrality, dtype=float)
    limit = chdtri(degrees_of_freedom, significance)
    with np.errstate(invalid="ignore"):
        found = np.where(shift > 0.0, 1.0 - chndtr(limit, degrees_of_freedom, shift), significance)
    return found if found.ndim else float(found)


def noncentrality_for(power: float, degrees_of_freedom: float, significance: float) -> float:
    """The noncentrality at which the global test fails so often: the inverse of `power_global`.

    Source: TEXTBOOK_STATISTICS. Status: from memory.
    """
    check_share("power", power)
    check_share("significance", significance)
    from scipy.optimize import brentq

    if power <= significance:
        return 0.0
    high = 1.0
    while power_global(high, degrees_of_freedom, significance) < power:
        high *= 2.0
    found = brentq(
        lambda shift: power_global(shift, degrees_of_freedom, significance) - power, 0.0, high, xtol=1e-13, rtol=1e-14
    )
    return float(found)


def smallest_error_found(
    standard_uncertainty: Num, redundancy: Num, degrees_of_freedom: float, significance: float, power: float
) -> Num:
    """The error of one reading at which the global test fails so often: u sqrt(noncentrality / redundancy).

    Infinite where nothing checks the reading. Source: DERIVED. Status: derived.
    """
    needed = noncentrality_for(power, degrees_of_freedom, significance)
    with np.errstate(divide="ignore"):
        found = np.asarray(standard_uncertainty, dtype=float) * np.sqrt(needed / np.asarray(redundancy, dtype=float))
    return found if np.ndim(found) else float(found)


def power_largest(noncentrality: Num, count: int, significance: float) -> Num:
    """How often the score of the wrong reading passes the limit of the largest of `count` (a lower bound).

    Source: SIDAK_1967. Status: from memory.
    """
    from scipy.special import ndtr

    limit, middle = critical_score(count, significance), np.sqrt(np.asarray(noncentrality, dtype=float))
    found = ndtr(middle - limit) + ndtr(-middle - limit)
    return found if np.ndim(found) else float(found)


def suspect_odds(likelihood_ratio: Num, reach: Num, prior: Num) -> Num:
    """Probability that each reading is the wrong one; the last number is that none is.

    Parameters
    ----------
    likelihood_ratio : by how much the misfit falls if the reading is freed.
    reach : s^2 rho / u^2, s the size an error of that instrument may plausibly have.
    prior : probability that a reading is wrong, before the round.

    Source: DERIVED (ratio of normal evidences). Status: derived.
    """
    ratio = np.atleast_1d(np.asarray(likelihood_ratio, dtype=float))
    size = np.broadcast_to(np.asarray(reach, dtype=float), ratio.shape)
    before = np.broadcast_to(np.asarray(prior, dtype=float), ratio.shape)
    none = max(1.0 - float(before.sum()), math.ulp(1.0))
    share = np.where(np.isinf(size), 1.0, size / (1.0 + np.where(np.isinf(size), 0.0, size)))
    with np.errstate(divide="ignore"):
        weight = np.log(np.append(before, none)) + np.append(0.5 * ratio * share - 0.5 * np.log1p(size), 0.0)
    found = np.exp(weight - weight.max())
    return np.asarray(found / found.sum())


def suspect_set(likelihood_ratio: Num, margin: float = 3.84) -> tuple[int, ...]:
    """Places of all readings within a margin of the one that explains the misfit best, best first.

    Source: TEXTBOOK_STATISTICS. Status: from memory.
    """
    ratio = np.atleast_1d(np.asarray(likelihood_ratio, dtype=float))
    known = np.where(np.isnan(ratio), -np.inf, ratio)
    order = np.argsort(-known, kind="stable")
    return tuple(int(i) for i in order if np.isfinite(known[i]) and known[i] >= known[order[0]] - margin)


def separation(expected: Num, variance: Num, probability: Num) -> float:
    """How well one more reading tells suspects apart.

    Half the sum over pairs of p p' [(v - v')^2/(v v') + (x - x')^2 (1/v + 1/v')].
    `expected` and `variance`: what the reading will be, and how surely, if each suspect is the wrong one.
    Source: BOX_HILL_1967. Status: from memory.
    """
    x, v, p = (np.asarray(given, dtype=float) for given in (expected, variance, probability))
    pairs = (v[:, None] - v) ** 2 / (v[:, None] * v) + (x[:, None] - x) ** 2 * (1.0 / v[:, None] + 1.0 / v)
    return float(0.25 * np.sum(p[:, None] * p * pairs))
