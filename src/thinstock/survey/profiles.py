"""The profiles of several constants at once, on a model that answers many cases in one run.

The same interval as `calibration.profile`: one constant is moved, all others fitted anew, until the misfit has grown
by the limit. All ends are sought together by Newton's method, so that each round of steps costs one run of the model.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from thinstock.formula.label import Array
from thinstock.survey.calibration import Fit

ROUNDS = 60
LONGEST = 1.5
"""Longest step of a constant, in standard uncertainties."""
SETTLED = 1e-3
"""The others are fitted anew when they would move by less, in the model's units."""
CALM = 0.3
"""While they would move by more, the constant waits for them."""
CLOSE = 1e-4
"""Of the limit: an end is found when the misfit there is this close to it."""


class Sloped(Protocol):
    """A model that gives readings and slopes for many cases: (cases x readings, cases x readings x unknowns)."""

    def slopes(self, units: Array) -> tuple[Array, Array]: ...


@dataclass(frozen=True)
class Ends:
    """The interval of one unknown; an infinite end was not reached before the unknown's bound."""

    low: float
    high: float


def profile_ends(
    model: Sloped, observed: Array, covariance: Array, fitted: Fit, places: Sequence[int], *, share: float
) -> dict[int, Ends]:
    """Profile intervals of the unknowns at `places`.

    Source: BATES_WATTS_1988. Status: from memory.
    """
    from scipy.special import chdtri

    if not places:
        return {}
    limit = float(chdtri(1, 1.0 - share))
    search = _Search(model, observed, covariance, fitted, limit)
    sides = [(k, sign) for k in places for sign in (-1.0, 1.0)]
    found = search.ends(sides)
    return {k: Ends(found[2 * n], found[2 * n + 1]) for n, k in enumerate(places)}


class _Search:
    """All ends of all profiles, together."""

    def __init__(self, model: Sloped, observed: Array, covariance: Array, fitted: Fit, limit: float) -> None:
        self.model, self.observed, self.limit = model, observed, limit
        self.root = np.linalg.cholesky(covariance)
        problem: Any = fitted.problem
        self.stated = np.isfinite(problem.prior_uncertainty)
        self.prior = np.diag(np.where(self.stated, 1.0 / problem.prior_uncertainty, 0.0))
        self.centre = problem.prior_mean
        self.low, self.high = problem.lower, problem.upper
        self.best, self.least = fitted.value, fitted.chi_square
        self.spread = fitted.standard_uncertainty

    def ends(self, sides: Sequence[tuple[int, float]]) -> list[float]:
        """The end of each side: where found, or an infinity."""
        lanes = [_Lane(k, sign, self) for k, sign in sides]
        for _ in range(ROUNDS):
            open_ = [lane for lane in lanes if lane.answer is None]
            if not open_:
                break
            misfit, slope = self._misfit(np.array([lane.at for lane in open_]))
            for row, lane in enumerate(open_):
                lane.step(misfit[row], slope[row])
        return [lane.sign * math.inf if lane.answer is None else lane.answer for lane in lanes]

    def _misfit(self, units: Array) -> tuple[Array, Array]:
        """Scaled residuals and their slopes, readings first, then the priors."""
        values, slopes = self.model.slopes(units)
        values = np.where(np.isfinite(values), values, 1e6 * np.abs(self.observed) + 1e6)
        slopes = np.nan_to_num(slopes)
        residual = np.linalg.solve(self.root, (self.observed - values).T).T
        whitened = -np.einsum("ij,cjk->cik", np.linalg.inv(self.root), slopes)
        extra = (units - self.centre) @ self.prior
        prior = np.broadcast_to(self.prior, (len(units), *self.prior.shape))
        return np.concatenate([residual, extra], axis=1), np.concatenate([whitened, prior], axis=1)


class _Lane:
    """One end of one profile on its way."""

    def __init__(self, place: int, sign: float, search: _Search) -> None:
        self.place, self.sign, self.search = place, sign, search
        self.at = search.best.copy()
        self.reach = LONGEST * min(float(search.spread[place]), 3.0)
        self.inside = float(search.best[place])
        self.outside: float | None = None
        self.answer: float | None = None
        self._put(self.inside + sign * self.reach / 3.0)

    def _put(self, value: float) -> None:
        low, high = self.search.low, self.search.high
        self.at[self.place] = value
        self.at = np.clip(self.at, low, high)

    def step(self, misfit: Array, slope: Array) -> None:
        """Fit the others anew to first order, and move to where the misfit should have grown by the limit."""
        k, here = self.place, float(self.at[self.place])
        others = np.arange(slope.shape[1]) != k
        settle, *_ = np.linalg.lstsq(slope[:, others], -misfit, rcond=1e-6)
        settle = np.clip(self.at[others] + settle, self.search.low[others], self.search.high[others]) - self.at[others]
        along, *_ = np.linalg.lstsq(slope[:, others], -slope[:, k], rcond=1e-6)
        rest = misfit + slope[:, others] @ settle
        lane = slope[:, k] + slope[:, others] @ along
        excess = float(rest @ rest) - self.search.least - self.search.limit
        unrest = float(np.max(np.abs(settle), initial=0.0))
        settled = unrest < SETTLED
        if settled and excess <= 0.0:
            self.inside = here
        elif settled and (self.outside is None or (self.outside - here) * self.sign > 0.0):
            self.outside = here
        bound = float(self.search.high[k] if self.sign > 0 else self.search.low[k])
        if settled and abs(excess) < CLOSE * self.search.limit:
            self.answer = here
            return
        if settled and excess < 0.0 and abs(here - bound) < 1e-9 * (1.0 + abs(bound)):
            self.answer = self.sign * math.inf
            return
        to = here
        if unrest < CALM:
            to += self._move(float(rest @ lane), float(lane @ lane), excess)
        if (
            to != here
            and self.outside is not None
            and not min(self.inside, self.outside) < to < max(self.inside, self.outside)
        ):
            to = 0.5 * (self.inside + self.outside)
        self.at[others] += settle + along * (to - here)
        self._put(to)

    def _move(self, half: float, second: float, excess: float) -> float:
        root = half**2 - second * excess
        if second <= 1e-30 or root < 0.0:
            self.reach *= 2.0
            return self.sign * self.reach
        return float(np.clip((-half + self.sign * math.sqrt(root)) / second, -self.reach, self.reach))
