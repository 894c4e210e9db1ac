"""One definition of an interval for every command: the median and the central share of one population's draws.

It is the same on the value and on its logarithm, and takes draws that never come to an end (infinite).
"""

from __future__ import annotations

import math

import numpy as np

from thinstock.errors import Refused
from thinstock.formula.label import Num
from thinstock.words.fault import fault_in

SHARE = 0.90
"""Share of the draws between the ends that are printed."""


def central_interval(sample: Num, share: float = SHARE) -> tuple[float, float, float]:
    """(Low end, median, high end): the order statistics number ceil(p n) for p = (1 - share)/2, 1/2, (1 + share)/2.

    Draws that are no number are refused; infinite ones count. Source: DERIVED. Status: derived (a definition).
    """
    if not 0.0 < share < 1.0:
        raise Refused(fault_in("studies.propagate.share", "share", str(share)))
    ordered = np.sort(np.asarray(sample, dtype=float).ravel())
    if ordered.size == 0 or np.isnan(ordered[-1]):
        raise Refused(fault_in("studies.intervals.sample", "sample", str(ordered.size)))
    places = [max(1, math.ceil(p * ordered.size - 1e-9)) - 1 for p in (0.5 * (1.0 - share), 0.5, 0.5 * (1.0 + share))]
    low, middle, high = (float(ordered[place]) for place in places)
    return low, middle, high


def position_in_draws(value: float, sample: Num) -> float:
    """Share of the draws below a value, with half of those equal to it.

    Source: DERIVED. Status: derived (a definition).
    """
    draws = np.asarray(sample, dtype=float).ravel()
    draws = draws[~np.isnan(draws)]
    if draws.size == 0:
        raise Refused(fault_in("studies.intervals.sample", "sample", "0"))
    return float(np.mean(draws < value) + 0.5 * np.mean(draws == value))
