"""Where an answer turns over, in many cases at once: a few rounds in which each case tries two places.

A margin is at least 0 on the good side and negative on the bad one. It may jump where it turns over, but on the bad
side it comes smoothly up to nothing, so what was seen there says where that is; places are tried on either side of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from thinstock.formula.label import Array

ROUNDS = 60
"""Of which five to nine are usual."""
Margin = Callable[[Array, Any], Array]
"""The margin at one place of each of the cases whose numbers are given."""


@dataclass(eq=False)
class Edges:
    """What is known of the edge of each case."""

    good: Array
    """The nearest place at which it is good."""
    at_good: Array
    """The margin there."""
    bad: Array
    """The three nearest places at which it is bad, nearest first; nan where fewer are known."""
    at_bad: Array
    slow: Any = field(init=False)
    """Where the last round did not halve what is unknown."""

    def __post_init__(self) -> None:
        self.slow = np.zeros(self.good.shape, dtype=bool)

    @classmethod
    def among(cls, places: Array, margins: Array) -> Edges:
        """The edge behind the last bad one of several places per case (rows, from the bad side to the good)."""
        rows, cases = margins.shape
        bad = margins < 0.0
        last = rows - 1 - np.argmax(bad[::-1], axis=0)
        every = np.arange(cases)
        at, known, so_far = np.full((3, cases), np.nan), np.full((3, cases), np.nan), np.ones(cases, dtype=bool)
        for k in range(3):
            row = np.maximum(last - k, 0)
            so_far &= (last >= k) & bad[row, every]
            at[k, so_far], known[k, so_far] = places[row, every][so_far], margins[row, every][so_far]
        return cls(places[last + 1, every], margins[last + 1, every], at, known)

    @property
    def width(self) -> Array:
        """Between the nearest good and bad place."""
        width: Array = np.abs(self.good - self.bad[0])
        return width

    def tried(self, left: Any, close: float) -> tuple[Array, Array]:
        """Two places to try in each case that is left, the one nearer to the bad side first."""
        bad, good = self.bad[:, left], self.good[left]
        width, way = np.abs(good - bad[0]), np.sign(good - bad[0])
        straight, bent = _vanishes(bad, self.at_bad[:, left])
        with np.errstate(invalid="ignore"):
            one, two = (((place - bad[0]) * way > 0) & ((good - place) * way > 0) for place in (straight, bent))
            straight, bent = np.where(one, straight, bad[0]), np.where(two, bent, bad[0])
        between = bad[0] + (good - bad[0]) * _share(self.at_bad[0, left], self.at_good[left])
        guess = np.where(two, bent, np.where(one, straight, between))
        apart = np.where(
            two, 0.3 * np.abs(bent - straight), np.where(one, 0.1 * np.abs(straight - bad[0]), 0.15 * width)
        )
        apart = np.minimum(np.maximum(apart, 0.4 * close), 0.25 * width)
        inner = np.minimum(0.25 * close, 0.1 * width)
        at = np.abs(guess - bad[0])
        first, second = (np.clip(at + side * apart, inner, width - inner) for side in (-1.0, 1.0))
        slow = self.slow[left]
        first, second = np.where(slow, width / 3.0, first), np.where(slow, 2.0 * width / 3.0, second)
        return bad[0] + way * first, bad[0] + way * second

    def learn(self, left: Any, places: tuple[Array, Array], margins: Array) -> None:
        """Take two places per case into account; of several edges the one nearest to the bad side is kept."""
        before = self.width[left]
        known = np.zeros(left.shape, dtype=bool)
        for place, margin in zip(places, margins, strict=True):
            good, bad = (margin >= 0.0) & ~known, (margin < 0.0) & ~known
            known |= good
            self.good[left[good]], self.at_good[left[good]] = place[good], margin[good]
            rows = left[bad]
            for kept, new in ((self.bad, place), (self.at_bad, margin)):
                kept[1:, rows] = kept[:-1, rows]
                kept[0, rows] = new[bad]
        self.slow[left] = self.width[left] > 0.5 * before


def _share(at_bad: Array, at_good: Array) -> Array:
    """How far from the bad to the good place a straight line through both margins vanishes."""
    share: Array = at_bad / (at_bad - np.maximum(at_good, 1e-12))
    return share


def _vanishes(at: Array, margin: Array) -> tuple[Array, Array]:
    """Where the margin vanishes by the two nearest places, and by the three nearest (the place by the margin)."""
    with np.errstate(invalid="ignore", divide="ignore"):
        straight = at[0] - margin[0] * (at[0] - at[1]) / (margin[0] - margin[1])
        bent = np.zeros(at.shape[1])
        for i, (j, k) in enumerate(((1, 2), (0, 2), (0, 1))):
            bent += at[i] * margin[j] * margin[k] / ((margin[i] - margin[j]) * (margin[i] - margin[k]))
    return straight, bent


def crossed(margin: Margin, edges: Edges, close: float) -> Array:
    """The good place next to each edge, once a bad one lies no further than `close` away."""
    for _ in range(ROUNDS):
        left = np.flatnonzero(edges.width > close)
        if not left.size:
            break
        places = edges.tried(left, close)
        edges.learn(left, places, margin(np.concatenate(places), np.tile(left, 2)).reshape(2, -1))
    return edges.good
