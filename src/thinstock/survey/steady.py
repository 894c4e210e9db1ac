"""Was the machine steady while it was measured? Tests on a series of readings, before anything is reconciled.

A drifting series has small steps against a large spread. These tests know nothing of the balances.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num
from thinstock.survey.faults import refuse
from thinstock.words.phrase import phrase


def von_neumann_ratio(series: Num) -> float:
    """Mean square of successive differences over the variance: about 2 for steady, unrelated values, small for drift.

    [sum (x_{i+1} - x_i)^2 / (n - 1)] / [sum (x_i - mean)^2 / n].
    Source: VON_NEUMANN_1941. Status: from memory, checked by Monte Carlo.
    """
    x = _series(series, 3)
    spread = float(np.mean((x - x.mean()) ** 2))
    if spread == 0.0:
        raise refuse(
            "series",
            bound=phrase("survey.steady.all_values_same"),
            remedy=phrase("survey.steady.stuck_or_rounded_reading_says"),
        )
    return float(np.sum(np.diff(x) ** 2)) / (x.size - 1) / spread


def steady_probability_von_neumann(series: Num) -> float:
    """Probability of a ratio at most so small for steady, unrelated values: small = drifting.

    Normal approximation with mean 2n/(n - 1) and variance 4n^2 (n - 2)/[(n + 1)(n - 1)^3].
    Source: VON_NEUMANN_1941. Status: from memory, checked by Monte Carlo.
    """
    from scipy.special import ndtr

    n = _series(series, 3).size
    mean = 2.0 * n / (n - 1)
    variance = 4.0 * n**2 * (n - 2) / ((n + 1) * (n - 1) ** 3)
    return float(ndtr((von_neumann_ratio(series) - mean) / np.sqrt(variance)))


def mean_uncertainty_batches(series: Num, batches: int) -> float:
    """Standard uncertainty of the mean of a series whose neighbours are related, from means of batches.

    Standard deviation of the batch means / sqrt(batches); what is left over at the end is dropped.
    Source: COMMON_PRACTICE. Status: common practice.
    """
    x = _series(series, 2)
    if not 2 <= batches <= x.size:
        raise refuse("batches", batches, phrase("survey.steady.must_lie_between_values_series", size=x.size))
    length = x.size // batches
    means = x[: length * batches].reshape(batches, length).mean(axis=1)
    return float(means.std(ddof=1) / np.sqrt(batches))


def _series(series: Num, least: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    x = np.asarray(series, dtype=float)
    if x.ndim != 1 or x.size < least or not np.all(np.isfinite(x)):
        raise refuse("series", x.shape, phrase("survey.steady.must_be_at_least_numbers", least=least))
    return x
