"""Did anything change between two rounds, and if so what: a joint test first, then one value after another."""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Array, Num
from thinstock.survey.faults import check_share, refuse
from thinstock.survey.settle import chi_square_probability
from thinstock.survey.suspects import critical_score
from thinstock.words.phrase import phrase

FLAT = 1e-9
"""Directions whose variance is below this share of the largest have none."""


def joint_change(difference: Num, covariance: Num) -> tuple[float, int, float]:
    """(Statistic, rank, probability) of all differences together being chance: d'S^+ d, a chi-square.

    Differences that lie outside what can vary at all are refused. Source: TEXTBOOK_STATISTICS. Status: from memory.
    """
    d = np.asarray(difference, dtype=float)
    s = np.atleast_2d(np.asarray(covariance, dtype=float))
    spread = np.sqrt(np.diag(s))
    if np.any((spread == 0.0) & (d != 0.0)):
        raise refuse("difference", int(np.flatnonzero((spread == 0.0) & (d != 0.0))[0]), phrase("survey.change.fixed"))
    moving = spread > 0.0
    if not moving.any():
        return 0.0, 0, 1.0
    d, scale = d[moving] / spread[moving], spread[moving]
    size, direction = np.linalg.eigh(s[np.ix_(moving, moving)] / np.outer(scale, scale))
    free = size > FLAT * size[-1]
    part = direction.T @ d
    if np.linalg.norm(part[~free]) > 1e-4 * max(1.0, float(np.linalg.norm(part))):
        worst = int(np.argmax(np.abs(direction[:, ~free] @ part[~free])))
        raise refuse("difference", int(np.flatnonzero(moving)[worst]), phrase("survey.change.outside"))
    statistic, rank = float(np.sum(part[free] ** 2 / size[free])), int(free.sum())
    return statistic, rank, chi_square_probability(statistic, rank)


def step_down_change(
    difference: Num, covariance: Num, *, significance: float = 0.05, draws: int = 20_000, seed: int = 1
) -> Array:
    """Which differences are no chance, with one chance of `significance` of saying too much for all of them together.

    The largest score is held against the largest of as many scores of their known correlation (drawn); if it is
    beyond, it is said and the rest is tested again. Source: ROMANO_WOLF_2005 (abstract). Status: published.
    """
    check_share("significance", significance)
    d = np.asarray(difference, dtype=float)
    s = np.atleast_2d(np.asarray(covariance, dtype=float))
    spread = np.sqrt(np.diag(s))
    said = (spread == 0.0) & (d != 0.0)
    left = np.flatnonzero(spread > 0.0)
    if left.size == 0:
        return np.asarray(said)
    score = np.abs(d[left]) / spread[left]
    size, direction = np.linalg.eigh(s[np.ix_(left, left)] / np.outer(spread[left], spread[left]))
    generator = np.random.Generator(np.random.Philox(key=np.array([seed, 0], dtype=np.uint64)))
    chance = np.abs(generator.standard_normal((draws, left.size)) @ (direction * np.sqrt(np.maximum(size, 0.0))).T)
    order = np.argsort(-score, kind="stable")
    largest = np.maximum.accumulate(chance[:, order[::-1]], axis=1)[:, ::-1]
    limits = np.quantile(largest, 1.0 - significance, axis=0)
    for k, place in enumerate(order):
        limit = min(float(limits[k]), float(critical_score(left.size - k, significance)))
        if not score[place] > limit:
            break
        said[left[place]] = True
    return np.asarray(said)
