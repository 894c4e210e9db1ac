"""Draws of what readings leave, moved until they have settled: fits, then a walk until two halves of them agree.

Half of the draws are fitted to prior points that lie too far out. Where the walk has not yet brought both halves to
one law, they differ in their spread or in their middle, and that is said and never passed over.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from thinstock.evidence.sampling import Energy, Model, fits_to, population_walk
from thinstock.formula.label import Array, Num

DRAWS, PASSES = 1000, 5
LEAST_STEPS, MOST_STEPS, AT_ONCE = 9, 30, 3
WIDE = 1.6
"""Half of the draws are pulled to prior points so many times as wide, so that too narrow fits would show."""
GAP, RATIO = 0.2, 0.08
"""The halves of a thousand draws agree: medians within so many standard uncertainties, and the spreads within this in
their logarithm; of other numbers of draws within this and what their own chance is more."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Settled:
    """Draws, and whether they have settled."""

    scores: Array
    """Draws x scores."""
    steps: int
    """How many the walk took."""
    differing: tuple[int, ...]
    """Headlines over which the halves still differ; none where the draws have settled."""


class Remembered:
    """A model that keeps what it said: draws that stand where one stood before are not run again."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.kept: dict[bytes, Array] = {}

    def __call__(self, scores: Array) -> Array:
        places = [row.tobytes() for row in np.ascontiguousarray(scores)]
        new = [k for k, place in enumerate(places) if place not in self.kept]
        if new:
            self.kept.update(zip([places[k] for k in new], self.model(scores[new]), strict=True))
        return np.array([self.kept[place] for place in places])


def energy_of(model: Model, observed: Num, covariance: Num) -> Energy:
    """Half of the squares of scores and scaled misfits; infinite where the model gives no number."""
    root = np.linalg.cholesky(np.atleast_2d(np.asarray(covariance, dtype=float)))
    read = np.asarray(observed, dtype=float)

    def energy(scores: Array) -> Array:
        off = np.linalg.solve(root, (read - model(scores)).T)
        with np.errstate(invalid="ignore"):
            found = 0.5 * np.sum(scores**2, axis=1) + 0.5 * np.sum(off**2, axis=0)
        return np.where(np.isfinite(found), found, np.inf)

    return energy


def settled_draws(
    model: Model,
    observed: Num,
    covariance: Num,
    *,
    headlines: Model,
    fit: tuple[Num, Num],
    draws: int,
    generator: np.random.Generator,
    tell: Callable[[int], None] | None = None,
) -> Settled:
    """Draws of the scores that readings leave, walked until the halves agree over the headlines, or said not to.

    Parameters
    ----------
    model : draws x scores -> draws x readings.
    observed, covariance : the readings and their covariance.
    headlines : draws x scores -> draws x answers
        What must have settled.
    fit : (scores, readings x scores)
        The best fit, and the slopes of the readings there.
    draws, generator : how many; numpy random generator.
    tell : callable, optional
        Is told the steps taken.

    Source: KITANIDIS_1995, COTTER_2013. Status: published (the population as its own law derived).
    """
    known = Remembered(model)
    centre, slopes = fit
    prior = generator.standard_normal((draws, np.size(centre)))
    prior[1::2] *= WIDE
    scores = fits_to(
        known, observed, covariance, centre=centre, slopes=slopes, prior=prior, passes=PASSES, generator=generator
    )
    energy = energy_of(known, observed, covariance)
    steps = 0
    far: tuple[int, ...] = ()
    while steps < MOST_STEPS:
        scores, _ = population_walk(energy, scores, steps=AT_ONCE, generator=generator)
        steps += AT_ONCE
        if tell is not None:
            tell(steps)
        if steps >= LEAST_STEPS:
            far = differing(headlines(scores))
            if not far:
                break
    return Settled(scores=scores, steps=steps, differing=far)


def differing(said: Array) -> tuple[int, ...]:
    """Columns over which every second draw says something else than the others: too far apart, or the widest ratio."""
    count = len(said)
    spread = said.std(axis=0, ddof=1)
    known = np.flatnonzero(spread > 0.0)
    if not known.size:
        return ()
    even, odd = said[0::2, known], said[1::2, known]
    gap = np.abs(np.median(even, axis=0) - np.median(odd, axis=0)) / spread[known]
    ratio = np.log(even.std(axis=0, ddof=1) / odd.std(axis=0, ddof=1))
    far = [int(known[k]) for k in np.flatnonzero(gap > _allowed(GAP, 2.0 * np.pi, count))]
    if float(np.sqrt(np.mean(ratio**2))) > _allowed(RATIO, 2.0, count):
        far.append(int(known[int(np.argmax(np.abs(ratio)))]))
    return tuple(dict.fromkeys(far))


def _allowed(limit: float, variance: float, draws: int) -> float:
    """A limit for a thousand draws, for another number: the squares of chance, `variance` over the draws, added."""
    return float(np.sqrt(limit**2 + variance * (1.0 / draws - 1.0 / DRAWS)))
