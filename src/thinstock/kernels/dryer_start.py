"""Where the search for a dryer's state begins among many cases: a surface through some that were solved before.

Only the way to an answer is shortened: the test by which it ends is the same, and a bad guess costs passes alone.
"""

from __future__ import annotations

from itertools import combinations_with_replacement
from math import comb
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from thinstock.formula.label import Array
from thinstock.kernels.dryer_lanes import dry_many
from thinstock.kernels.dryer_march import AIR, CONVERGED, HIGHEST, LOWEST, STATUS, STEAM_PRESSURE
from thinstock.kernels.dryer_search import Way

SAMPLE = 600
"""Cases solved for it at most, and one in so many of all that there are."""
ONE_IN = 4
FIRST = 120
"""Of these, cases solved from nothing."""
PER_TERM = 2.5
"""Solved cases for each term of a surface."""
_FLAT = 1e-3
"""Of what varies together: directions of less than this share of the widest are left out."""
_NUMBERS, _FIELDS = 12, 37
TOGETHER = 1024
"""Cases that a surface is asked for at a time: their terms stay near the processor, and no other thread is woken."""


def no_start(cases: int) -> Array:
    """Nothing known of these cases."""
    return np.full((cases, _NUMBERS), np.nan)


class Fit(NamedTuple):
    """One sheet of the surface: up to which power, and its factors."""

    order: int
    factors: Array
    inverse: Array


class Surface(NamedTuple):
    """Shell temperature, jet humidity and what is held over all that varies; apart where it is held at a bound."""

    where: int
    varying: NDArray[np.intp]
    centre: Array
    axes: Array
    fits: dict[float, Fit]
    chosen: NDArray[np.intp]
    """Cases that it goes through, in order, and what was found for each."""
    solved: Array

    def at(self, rows: Array, first: int | None = None) -> Array:
        """A start for each of these cases; `first`: the place of the first among all that there are."""
        start = no_start(len(rows))
        for low in range(0, len(rows), TOGETHER):
            some = slice(low, low + TOGETHER)
            start[some] = self._guess(rows[some])
        if first is not None:
            low, high = np.searchsorted(self.chosen, (first, first + len(rows)))
            start[self.chosen[low:high] - first] = self.solved[low:high]
        return start

    def _guess(self, rows: Array) -> Array:
        """What the surface tells of these cases."""
        start = no_start(len(rows))
        terms = _terms((rows[:, self.varying] - self.centre) @ self.axes, max(fit.order for fit in self.fits.values()))
        held = rows[:, self.where]
        status = np.full(len(rows), min(self.fits, key=abs))
        if 0.0 in self.fits and len(self.fits) > 1:
            held = _on(self.fits[0.0], terms)[:, 2]
            status = np.where(held >= rows[:, HIGHEST], 1.0, np.where(held <= rows[:, LOWEST], -1.0, 0.0))
        for bound, fit in self.fits.items():
            mine = status == bound
            start[mine, :3] = _on(fit, terms[:, mine])
            start[mine, 3:] = fit.inverse
        start[:, 1] = np.clip(start[:, 1], 1e-3, 4.0)
        return start


def _on(fit: Fit, terms: Array) -> Array:
    """A sheet of the surface from products in order of their powers."""
    return (fit.factors.T @ terms[: len(fit.factors)]).T


def _terms(z: Array, order: int) -> Array:
    """All products of up to this many of the columns, one after the other by their powers."""
    wide = z.shape[1]
    found = np.empty((comb(wide + order, order), len(z)))
    found[0] = 1.0
    places: dict[tuple[int, ...], int] = {(): 0}
    for power in range(1, order + 1):
        for chosen in combinations_with_replacement(range(wide), power):
            places[chosen] = len(places)
            np.multiply(found[places[chosen[:-1]]], z[:, chosen[-1]], out=found[places[chosen]])
    return found


def surface_of(columns: list[Array], way: Way) -> Surface | None:
    """A surface through some of the cases; None where too few of them settle.

    The first few of these are solved from nothing, the others from a surface through the first.
    """
    cases = len(columns[0])
    chosen = np.random.default_rng(0).choice(cases, min(SAMPLE, cases // ONE_IN), replace=False)
    rows = np.stack([column[chosen] for column in columns], axis=1)
    start, out = no_start(len(rows)), np.empty((len(rows), _FIELDS))
    dry_many(rows[:FIRST], way, start[:FIRST], out[:FIRST])
    found = _through(rows[:FIRST], start[:FIRST], out[:FIRST], way)
    if len(rows) > FIRST:
        if found is not None:
            start[FIRST:] = found.at(rows[FIRST:])
        dry_many(rows[FIRST:], way, start[FIRST:], out[FIRST:])
        found = _through(rows, start, out, way)
    if found is None:
        return None
    good = np.flatnonzero((out[:, CONVERGED] > 0.0) & np.all(np.isfinite(start), axis=1))
    good = good[np.argsort(chosen[good])]
    return found._replace(chosen=chosen[good], solved=start[good])


def _through(rows: Array, start: Array, out: Array, way: Way) -> Surface | None:
    """The surface through solved cases."""
    where = AIR if way.hold == 1 else STEAM_PRESSURE
    spread = rows.std(axis=0)
    varying = np.flatnonzero(spread > 1e-12 * np.abs(rows).max(axis=0))
    if not varying.size:
        return None
    centre = rows[:, varying].mean(axis=0)
    _, size, turn = np.linalg.svd((rows[:, varying] - centre) / spread[varying], full_matrices=False)
    kept = size > _FLAT * size[0]
    axes = turn[kept].T / spread[varying][:, None] * np.sqrt(len(rows)) / size[kept]
    z = (rows[:, varying] - centre) @ axes
    fits: dict[float, Fit] = {}
    for bound in (-1.0, 0.0, 1.0):
        mine = (out[:, STATUS] == bound) & (out[:, CONVERGED] > 0.0) & np.all(np.isfinite(start), axis=1)
        order = max((k for k in (1, 2, 3) if PER_TERM * comb(z.shape[1] + k, k) <= mine.sum()), default=0)
        if order:
            factors = np.asarray(np.linalg.lstsq(_terms(z[mine], order).T, start[mine, :3], rcond=None)[0], float)
            inverse: Array = np.median(start[mine, 3:], axis=0)
            fits[bound] = Fit(order, factors, inverse)
    return Surface(where, varying, centre, axes, fits, np.empty(0, np.intp), np.empty((0, _NUMBERS))) if fits else None
