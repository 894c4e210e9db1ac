"""The bell curve of chance: its integral, its tails and the score of a share.

Short arrays take the standard library, so that a run and its draws do without scipy; it is loaded for long ones only.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from thinstock.words.num import Array, Num

FEW = 4096
"""Numbers in a short array."""
FEW_SCORES = 1024
"""The same for scores, which take the standard library longer."""
_ROOT = math.sqrt(2.0)


def _each(function: Callable[[float], float], values: Array) -> Array:
    return np.array([function(value) for value in values.ravel().tolist()]).reshape(values.shape)


def erf(z: Num) -> Any:
    """The error function."""
    z = np.asarray(z, dtype=float)
    if z.size <= FEW:
        return _each(math.erf, z)
    from scipy.special import erf as of_array

    return of_array(z)


def above(z: Num) -> Any:
    """Chance of a standard normal above z."""
    z = np.asarray(z, dtype=float) / _ROOT
    if z.size <= FEW:
        return 0.5 * _each(math.erfc, z)
    from scipy.special import erfc

    return 0.5 * erfc(z)


def below(z: Num) -> Any:
    """Chance of a standard normal below z."""
    return above(-np.asarray(z, dtype=float))


def score_at(share: Num) -> Any:
    """Score that a standard normal stays below with this chance, from 0 to 1."""
    share = np.asarray(share, dtype=float)
    if share.size > FEW_SCORES:
        from scipy.special import ndtri

        return ndtri(share)
    from statistics import NormalDist

    inside = NormalDist().inv_cdf
    return _each(lambda p: inside(p) if 0.0 < p < 1.0 else math.copysign(math.inf, p - 0.5), share)
