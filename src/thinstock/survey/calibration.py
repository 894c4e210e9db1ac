"""Which constants of a model follow from a survey, how surely, and whether the data bound them at all.

Balances are certain and models are not: reconcile first, calibrate second. A symmetric plus-minus on a badly known
constant misleads; `profile` says how far it can really go. It does not choose the model.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.formula.label import Array, Num
from thinstock.survey.faults import NotConverged, check_share, refuse
from thinstock.words.phrase import phrase

Model = Callable[[Any], Any]
BLIND = 1e-10
"""Directions of the scaled J^T J below this are not seen by the data."""
STEPS = 60
GROWTH = 1.5


@dataclass(frozen=True, eq=False)
class _Problem:
    """What is minimised: scaled misfit to the readings and to the priors, within bounds."""

    model: Model
    observed: Array
    root: Array
    """Uncertainties of the readings, or the Cholesky factor of their covariance."""
    prior_mean: Array
    prior_uncertainty: Array
    lower: Array
    upper: Array

    def misfit(self, value: Array) -> Array:
        found = np.asarray(self.model(value), dtype=float)
        if found.shape != self.observed.shape:
            raise refuse(
                "model", found.shape, phrase("survey.calibration.must_give_values_that_were", size=self.observed.size)
            )
        off = self.observed - found
        scaled = off / self.root if self.root.ndim == 1 else np.linalg.solve(self.root, off)
        stated = np.isfinite(self.prior_uncertainty)
        return np.concatenate([scaled, ((value - self.prior_mean) / self.prior_uncertainty)[stated]])

    def slope(self, value: Array) -> Array:
        """Jacobian of the misfit, where the model brings its own (`model.jacobian`: readings x constants)."""
        model: Any = self.model
        rows: Array = -np.asarray(model.jacobian(value), dtype=np.float64)
        scaled = rows / self.root[:, None] if self.root.ndim == 1 else np.linalg.solve(self.root, rows)
        stated = np.isfinite(self.prior_uncertainty)
        return np.concatenate([scaled, np.diag(1.0 / self.prior_uncertainty)[stated]])

    def minimise(self, start: Array, held: int | None = None) -> tuple[Array, Array, float]:
        """(Best values, Jacobian in the free ones, chi-square), with one value held if asked."""
        from scipy.optimize import least_squares

        free = np.arange(start.size) != (-1 if held is None else held)

        def put(part: Array) -> Array:
            whole = start.copy()
            whole[free] = part
            return whole

        if not np.any(free):
            return start, np.zeros((0, 0)), float(np.sum(self.misfit(start) ** 2))
        low, high = self.lower[free], self.upper[free]
        own = hasattr(self.model, "jacobian")
        found = least_squares(
            lambda part: np.nan_to_num(self.misfit(put(part)), nan=1e150, posinf=1e150, neginf=-1e150),
            np.clip(start[free], low, high),
            jac=(lambda part: np.nan_to_num(self.slope(put(part))[:, free])) if own else "3-point",
            bounds=(low, high),
            x_scale="jac",
            ftol=1e-10 if own else 1e-15,
            xtol=1e-9 if own else 1e-14,
            gtol=1e-10 if own else 1e-15,
            max_nfev=500 * int(free.sum()),
        )
        return put(found.x), np.asarray(found.jac), 2.0 * float(found.cost)


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """Constants of a model fitted to readings."""

    value: Array
    standard_uncertainty: Array
    """inf for constants that the data do not see."""
    covariance: Array
    correlation: Array
    chi_square: float
    """With the priors."""
    degrees_of_freedom: int
    """Readings + priors - constants."""
    residual: Array
    """Observed - model."""
    residual_deviation: float
    """sqrt(chi_square / degrees_of_freedom)."""
    uncertainty_known: bool
    problem: _Problem


@dataclass(frozen=True)
class Profile:
    """How far one constant can go before the data object."""

    low: float
    high: float
    identified: bool
    """False: these data do not bound it (an end is infinite)."""


def fit(
    model: Model,
    observed: Num,
    uncertainty: Num,
    start: Num,
    *,
    uncertainty_known: bool,
    prior_mean: Num = None,
    prior_uncertainty: Num = None,
    lower: Num = -np.inf,
    upper: Num = np.inf,
) -> Fit:
    """The constants that minimise sum ((y - f)/u)^2 + sum ((constant - prior)/u_prior)^2 within bounds.

    `model` takes the constants as an array and gives one value per reading; `uncertainty` is a number, one per
    reading, or a covariance. A model may bring a method `jacobian`, if it knows its slopes cheaper than by trying. If
    the uncertainty is not known, the scatter of the residuals scales the covariance instead.
    A prior uncertainty of inf is no prior. Source: BATES_WATTS_1988. Status: from memory.
    """
    begin = np.atleast_1d(np.array(start, dtype=float))
    problem = _problem(model, observed, uncertainty, begin, prior_mean, prior_uncertainty, lower, upper)
    value, jacobian, chi_square = problem.minimise(begin)
    residual = problem.observed - np.asarray(model(value), dtype=float)
    dof = len(problem.misfit(value)) - value.size
    deviation = math.sqrt(chi_square / dof) if dof > 0 else math.nan
    covariance = _covariance(jacobian)
    if not uncertainty_known:
        covariance = covariance * deviation**2 if dof > 0 else np.full_like(covariance, np.inf)
    spread = np.sqrt(np.diag(covariance))
    with np.errstate(invalid="ignore"):
        correlation = covariance / np.outer(spread, spread)
    return Fit(
        value=value,
        standard_uncertainty=spread,
        covariance=covariance,
        correlation=correlation,
        chi_square=chi_square,
        degrees_of_freedom=dof,
        residual=residual,
        residual_deviation=deviation,
        uncertainty_known=uncertainty_known,
        problem=problem,
    )


def _problem(
    model: Model,
    observed: Num,
    uncertainty: Num,
    start: Array,
    prior_mean: Num,
    prior_uncertainty: Num,
    lower: Num,
    upper: Num,
) -> _Problem:
    y = np.atleast_1d(np.array(observed, dtype=float))
    u = np.array(uncertainty, dtype=float)
    if u.ndim == 2:
        try:
            root = np.asarray(np.linalg.cholesky(u), dtype=np.float64)
        except np.linalg.LinAlgError:
            raise refuse("uncertainty", bound=phrase("survey.calibration.covariance_not_positive_definite")) from None
    else:
        root = np.broadcast_to(u, y.shape).astype(float)
        if not np.all(root > 0.0):
            raise refuse("uncertainty", bound=phrase("survey.calibration.must_be_above_no_reading"))
    if (prior_mean is None) != (prior_uncertainty is None):
        raise refuse("prior", bound=phrase("survey.calibration.needs_mean_uncertainty"))
    shape = start.shape
    spread = np.full(shape, np.inf)
    centre = np.zeros(shape)
    if prior_mean is not None:
        centre = np.broadcast_to(np.asarray(prior_mean, dtype=float), shape)
        spread = np.broadcast_to(np.asarray(prior_uncertainty, dtype=float), shape)
        if not np.all(spread > 0.0):
            raise refuse("prior_uncertainty", bound=phrase("survey.calibration.must_be_above_inf_no"))
    low = np.broadcast_to(np.asarray(lower, dtype=float), shape)
    high = np.broadcast_to(np.asarray(upper, dtype=float), shape)
    if not np.all(low < high):
        raise refuse("bounds", bound=phrase("survey.calibration.each_lower_bound_must_lie"))
    if not np.all((start >= low) & (start <= high)):
        raise refuse("start", start, phrase("survey.calibration.must_lie_within_bounds"))
    return _Problem(model, y, root, centre, spread, low, high)


def _covariance(jacobian: Array) -> Array:
    """(J^T J)^-1, with inf for the constants that lie in a direction the data do not see."""
    length = np.sqrt(np.einsum("ij,ij->j", jacobian, jacobian))
    scaled = jacobian / np.where(length > 0.0, length, 1.0)
    size, direction = np.linalg.eigh(scaled.T @ scaled)
    seen = size > BLIND
    part = direction[:, seen]
    scale = 1.0 / np.where(length > 0.0, length, 1.0)
    covariance: Array = (part / size[seen]) @ part.T * np.outer(scale, scale)
    blind = np.any(np.abs(direction[:, ~seen]) > 1e-6, axis=1)
    covariance[blind, :] = covariance[:, blind] = np.nan
    covariance[blind, blind] = np.inf
    return covariance


def profile(fit: Fit, index: int, *, share: float) -> Profile:
    """The interval of one constant within which the misfit, the others fitted anew, stays acceptable.

    The limit is chi-square with one degree of freedom where uncertainties are known, else s^2 F(1, dof).
    Source: BATES_WATTS_1988. Status: from memory.
    """
    check_share("share", share)
    limit = _limit(fit, share)
    low = _end(fit, index, limit, -1.0)
    high = _end(fit, index, limit, +1.0)
    return Profile(low, high, math.isfinite(low) and math.isfinite(high))


def _limit(fit: Fit, share: float) -> float:
    from scipy.special import chdtri, fdtri

    if fit.uncertainty_known:
        return float(chdtri(1, 1.0 - share))
    if fit.degrees_of_freedom < 1:
        raise refuse(
            "fit",
            bound=phrase("survey.calibration.has_no_degree_freedom_so"),
            remedy=phrase("survey.calibration.state_uncertainties"),
        )
    return float(fit.residual_deviation**2 * fdtri(1, fit.degrees_of_freedom, share))


def _end(fit: Fit, index: int, limit: float, sign: float) -> float:
    """Where the misfit has grown by `limit` on one side, or an infinity."""
    from scipy.optimize import brentq

    problem = fit.problem
    bound = float(problem.upper[index] if sign > 0 else problem.lower[index])
    here = fit.value.copy()
    step = 0.5 * float(fit.standard_uncertainty[index])
    if not 0.0 < step < 1e3 * (abs(here[index]) + 1.0):
        step = 0.1 * (abs(float(here[index])) + 1e-3)

    def excess(place: float, start: Array) -> tuple[float, Array]:
        moved = start.copy()
        moved[index] = place
        best, _, chi_square = problem.minimise(moved, index)
        if chi_square < fit.chi_square - 1e-6 * (1.0 + fit.chi_square):
            raise NotConverged(phrase("survey.calibration.better_fit_lies_near_fit", tolist=best.tolist()))
        return chi_square - fit.chi_square - limit, best

    for _ in range(STEPS):
        before = float(here[index])
        place = before + sign * step
        at_bound = (place - bound) * sign >= 0.0
        place = bound if at_bound else place
        over, best = excess(place, here)
        if not over <= 0.0:
            close = 1e-12 * (1.0 + abs(place))
            return float(brentq(lambda p, start: excess(p, start)[0], before, place, (here,), close, 1e-12))
        if at_bound:
            break
        here, step = best, GROWTH * step
    return sign * math.inf
