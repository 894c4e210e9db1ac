"""What every way of reconciling is given and what it gives back: checked inputs, and the record of results.

No numerical method stands here; `linear.py` has the dense one and `sparse.py` the one for very large networks.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.formula.label import Array, Num
from thinstock.survey.faults import refuse
from thinstock.words.phrase import phrase

REDUNDANT = "redundant"
JUST_MEASURED = "just measured"
OBSERVABLE = "observable"
UNOBSERVABLE = "unobservable"
FIXED = "fixed"
"""Held at a stated value (the solids of fresh water), so neither measured nor to be found."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Reconciled:
    """A balance that closes, and what the readings say about each other. Arrays are in the order of the variables.

    Unobservable: value nan, uncertainty inf. Unmeasured or unchecked readings: score, bias, likelihood ratio nan.
    """

    value: Array
    standard_uncertainty: Array
    covariance: Array | None
    """Of the reconciled values; not worked out on the route for more than a thousand variables."""
    adjustment: Array
    """Reconciled - reading."""
    adjustment_uncertainty: Array
    redundancy: Array
    """Share of a reading's variance that the balance can check, 0 to 1."""
    score: Array
    """(Reading - reconciled) / its standard deviation; positive: the instrument reads high."""
    likelihood_ratio: Array
    """Drop of the statistic if that reading had a bias of its own."""
    bias: Array
    """The most likely bias of each reading if it alone were wrong."""
    statistic: float
    degrees_of_freedom: int
    probability: float
    """Of a statistic at least this large if the stated uncertainties are right and no reading is wrong."""
    birge_ratio: float
    """Root of statistic / degrees of freedom: information only, never a factor on uncertainties."""
    node_score: Array
    """Imbalance of the raw readings of each balance / its standard deviation; nan where one is not read."""
    classification: np.ndarray[Any, np.dtype[np.str_]]
    iterations: int


@dataclass(frozen=True, kw_only=True, eq=False)
class Readings:
    """Checked readings: which variables are measured, their values, uncertainties and correlation."""

    measured: np.ndarray[Any, np.dtype[np.bool_]]
    value: Array
    """Of the measured variables only."""
    uncertainty: Array
    correlation: Array | None
    """Of the measured variables; None if every reading stands alone."""
    root: Array | None
    """Lower Cholesky factor of the correlation."""

    @property
    def count(self) -> int:
        return int(self.measured.size)

    @property
    def covariance(self) -> Array:
        """Of the measured variables."""
        if self.correlation is None:
            return np.diag(self.uncertainty**2)
        return self.correlation * np.outer(self.uncertainty, self.uncertainty)

    def without(self, members: Iterable[int]) -> Readings:
        """The same readings with some of them made unmeasured (indices of variables)."""
        keep = self.measured.copy()
        keep[list(members)] = False
        inside = keep[self.measured]
        correlation = None if self.correlation is None else self.correlation[np.ix_(inside, inside)]
        root = None if correlation is None else cholesky(correlation)
        return Readings(
            measured=keep,
            value=self.value[inside],
            uncertainty=self.uncertainty[inside],
            correlation=correlation,
            root=root,
        )


def cholesky(matrix: Array) -> Array:
    """The lower root of a positive definite matrix."""
    return np.asarray(np.linalg.cholesky(matrix), dtype=np.float64)


def mask(measured: Num, count: int, name: str = "measured") -> np.ndarray[Any, np.dtype[np.bool_]]:
    """A mask of variables from a mask (truth values or 0 and 1), from indices, or from None (none of them)."""
    if measured is None:
        return np.zeros(count, dtype=bool)
    given = np.asarray(measured)
    if given.shape == (count,) and np.all((given == 0) | (given == 1)):
        given = given.astype(bool)
    if given.dtype == bool:
        if given.shape != (count,):
            raise refuse(name, given.shape, phrase("survey.reconciled.must_have_one_entry_for", count=count))
        return given.copy()
    chosen = np.zeros(count, dtype=bool)
    chosen[_indices(given, count, name)] = True
    return chosen


def _indices(given: Any, count: int, name: str) -> Any:
    whole = np.asarray(given, dtype=int).ravel()
    if whole.size and (whole.min() < 0 or whole.max() >= count):
        raise refuse(name, list(whole), phrase("survey.reconciled.indices_run_from_to", count=count - 1))
    return whole


def readings(value: Num, uncertainty: Num, measured: Num, count: int) -> Readings:
    """Checked readings of `count` variables; entries of unmeasured ones are not looked at."""
    values = np.asarray(value, dtype=float)
    if values.shape != (count,):
        raise refuse("value", values.shape, phrase("survey.reconciled.must_have_one_entry_for", count=count))
    chosen = np.ones(count, dtype=bool) if measured is None else mask(measured, count)
    stated = np.asarray(uncertainty, dtype=float)
    if stated.shape not in ((count,), (count, count)):
        raise refuse(
            "uncertainty", stated.shape, phrase("survey.reconciled.must_be_standard_uncertainties_or", count=count)
        )
    correlation = root = None
    if stated.ndim == 2:
        covariance = stated[np.ix_(chosen, chosen)]
        spread = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    else:
        covariance = None
        spread = stated[chosen]
    places = np.flatnonzero(chosen)
    for what, good in (("value", np.isfinite(values[chosen])), ("uncertainty", (spread > 0.0) & np.isfinite(spread))):
        if not np.all(good):
            bad = places[np.flatnonzero(~good)[0]]
            bound = (
                phrase("survey.reconciled.must_be_number")
                if what == "value"
                else phrase("survey.reconciled.must_be_above_no_reading")
            )
            raise refuse(f"{what} of variable {bad}", values[bad] if what == "value" else "", bound)
    if covariance is not None and np.any(covariance - np.diag(np.diag(covariance))):
        if not np.allclose(covariance, covariance.T, rtol=1e-9, atol=0.0):
            raise refuse("uncertainty", bound=phrase("survey.reconciled.covariance_must_be_symmetric"))
        correlation = covariance / np.outer(spread, spread)
        np.fill_diagonal(correlation, 1.0)
        root = _root(correlation, places)
    return Readings(measured=chosen, value=values[chosen], uncertainty=spread, correlation=correlation, root=root)


def _root(correlation: Array, places: Any) -> Array:
    """The Cholesky factor, or a refusal that names the pair of readings that say the same thing twice."""
    try:
        root = cholesky(correlation)
        if np.diag(root).min() > 1e-6:
            return root
    except np.linalg.LinAlgError:
        pass
    partner = np.abs(correlation - np.eye(len(correlation)))
    i, j = np.unravel_index(int(np.argmax(partner)), partner.shape)
    first, second = sorted((int(places[i]), int(places[j])))
    raise refuse(
        phrase("survey.reconciled.covariance_readings", first=first, second=second),
        f"correlation {correlation[i, j]:.6g}",
        phrase("survey.reconciled.makes_covariance_not_positive_definite"),
        phrase("survey.reconciled.two_readings_that_share_everything"),
    )
