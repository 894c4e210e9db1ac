"""The variance ratio of random sheets for many cases, read off series: a few of its integrals stand for all."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from thinstock.formula.label import Array, worksheet
from thinstock.relations import network

MANY, NODES = 64, 16
"""Cases above which the variance ratio of fibres that differ by case is read off a series of this many terms."""


@lru_cache(maxsize=2)
def _series(terms: int) -> tuple[Array, Array]:
    """Places of a Chebyshev series, and what turns values there into its terms."""
    place: Array = np.cos(np.pi * (np.arange(terms) + 0.5) / terms)
    turn = np.asarray(np.polynomial.chebyshev.chebvander(place, terms - 1).T * (2.0 / terms), dtype=float)
    turn[0] /= 2.0
    return place, turn


def ratio_of_many(zone: float, length: Array, width: Array) -> Array:
    """The same for many fibres of one kind, from a Chebyshev series in the logarithms of length and width."""
    given = [np.log(length), np.log(width)]
    with worksheet(False):
        if any(np.ptp(v) == 0.0 for v in given):
            pairs, back = np.unique(np.stack([length, width], axis=1), axis=0, return_inverse=True)
            if len(pairs) <= MANY:
                return np.asarray(network.variance_ratio_dodson(zone, pairs[:, 0], pairs[:, 1]))[back.ravel()]
        middle = [0.5 * (v.max() + v.min()) for v in given]
        half = [max(0.5 * np.ptp(v), 1e-6) for v in given]
        place, turn = _series(NODES)
        x, y = np.meshgrid(np.exp(middle[0] + half[0] * place), np.exp(middle[1] + half[1] * place), indexing="ij")
        found = np.log(np.asarray(network.variance_ratio_dodson(zone, x, np.minimum(y, x))))
    series = turn @ found @ turn.T
    u, v = ((value - m) / h for value, m, h in zip(given, middle, half, strict=True))
    return np.asarray(np.exp(np.polynomial.chebyshev.chebval2d(u, v, series)))


def ratio_of_zones(zone: Array, length: Array, width: Array) -> Array:
    """Of the same fibres in many zones, from such a series in the logarithm of the zone."""
    with worksheet(False):
        some, back = np.unique(zone, return_inverse=True)
        if len(some) <= MANY:
            return np.asarray(network.variance_ratio_dodson(some[:, None], length, width))[back.ravel()]
        given = np.log(some)
        middle, half = 0.5 * (given[-1] + given[0]), max(0.5 * (given[-1] - given[0]), 1e-6)
        place, turn = _series(2 * NODES)
        found = np.log(network.variance_ratio_dodson(np.exp(middle + half * place)[:, None], length, width))
    return np.asarray(np.exp(np.polynomial.chebyshev.chebval((np.log(zone) - middle) / half, turn @ found).T))
