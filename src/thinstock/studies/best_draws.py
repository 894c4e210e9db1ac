"""The best setting over a population: every draw its own best, and what becomes of the one setting that was found.

All draws are searched together: the same even points for each, then closer and closer round its own best. A draw in
which no point stays inside all limits counts as one without a setting and is told.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.evidence.cases import Cases
from thinstock.evidence.chosen import Drawn
from thinstock.evidence.population import Population
from thinstock.formula.label import Array
from thinstock.machine.line import Machine
from thinstock.studies.best import Best, Constraint
from thinstock.studies.intervals import SHARE, central_interval
from thinstock.studies.machine_axes import Varied
from thinstock.studies.plan import chunk_inputs, sobol_plan

POINTS, CLOSER, ROUNDS = 32, 8, 6
"""Even points of the first round, points of a later one, and how many of those; for each draw."""
SHRINK = 0.45
FEW = 20

Ends = tuple[float, float, float]
"""Low, median, high: median and central 90 %."""


@dataclass(frozen=True, kw_only=True, eq=False)
class BestDrawn:
    """The best setting over draws."""

    origin: str
    draws: int
    without: float
    """Share of the draws in which no point tried stays inside all limits."""
    setting: Mapping[str, Ends]
    """Of the draws' own best settings, SI."""
    value: Ends
    """The result at them."""
    holds: float
    """Share of the draws in which the setting found with the machine as it stands stays inside all limits."""
    value_there: Ends
    """The result at that setting, in the draws that run."""
    said: tuple[str, ...]


def best_drawn(
    machine: Machine, varies: Sequence[Varied], found: Best, drawn: Population, *, keep: Sequence[Constraint] = ()
) -> BestDrawn:
    """What a search for the best answers in every draw of a population.

    Parameters
    ----------
    machine, varies, keep : as `best` was given them.
    found : Best
        The answer at the machine's own values.
    drawn : Population
        Draws of that machine.

    Returns
    -------
    BestDrawn
        In base SI.

    Source: DERIVED (even points, then boxes about the best of each draw). Status: derived.
    """
    search = _Search(machine, varies, found, drawn, keep)
    there = search.run(np.arange(drawn.draws), {w: np.full(drawn.draws, v) for w, v in found.setting.items()})
    search.note(np.arange(drawn.draws), {w: np.full(drawn.draws, v) for w, v in found.setting.items()}, there)
    holds = float(np.mean(search.allowed(there)))
    usable = there.usable & np.isfinite(there[found.result])
    search.first()
    for turn in range(1, ROUNDS + 1):
        search.closer(SHRINK**turn, turn)
    good = np.isfinite(search.score)
    return BestDrawn(
        origin=drawn.origin,
        draws=drawn.draws,
        without=float(1.0 - good.mean()),
        setting={one.address: _ends(search.at[one.address][good]) for one in varies},
        value=_ends(search.sign * search.score[good]),
        holds=holds,
        value_there=_ends(there[found.result][usable] + search.shift),
        said=tuple(note.text for note in drawn.notes),
    )


def _ends(sample: Array) -> Ends:
    return central_interval(sample, SHARE) if sample.size >= FEW else (math.nan,) * 3


class _Search:
    """The best of each draw so far."""

    def __init__(
        self, machine: Machine, varies: Sequence[Varied], found: Best, drawn: Population, keep: Sequence[Constraint]
    ) -> None:
        self.runs, self.varies, self.keep, self.name = Drawn(machine, drawn), varies, keep, found.result
        self.sign = -1.0 if found.sought == "most" else 1.0
        self.names = tuple(dict.fromkeys([found.result, *(k.result for k in keep)]))
        self.draws = drawn.draws
        self.score = np.full(drawn.draws, np.inf)
        self.at = {one.address: np.full(drawn.draws, np.nan) for one in varies}
        coarse = machine.with_(dict(found.setting)).run(fast=True).values[found.result]
        self.shift = found.value - float(coarse)

    def run(self, rows: Any, settings: Mapping[str, Array]) -> Cases:
        return self.runs.run(rows, settings, self.names, margins=True)

    def allowed(self, found: Cases) -> Any:
        good = found.usable & ~found.beyond
        for one in self.keep:
            value = found[one.result]
            with np.errstate(invalid="ignore"):
                good = good & ((value <= one.bound) if one.at_most else (value >= one.bound))
        return good

    def note(self, rows: Any, settings: Mapping[str, Array], found: Cases) -> None:
        """Keep what is better than the best of its draw."""
        score = np.where(self.allowed(found), self.sign * (found[self.name] + self.shift), np.inf)
        score = np.where(np.isfinite(score), score, np.inf)
        order = np.lexsort((score, rows))
        lead = order[np.unique(rows[order], return_index=True)[1]]
        better = lead[score[lead] < self.score[rows[lead]]]
        self.score[rows[better]] = score[better]
        for where, column in settings.items():
            self.at[where][rows[better]] = column[better]

    def first(self) -> None:
        """The same even points for every draw."""
        points = self._even(POINTS, 1)
        rows = np.repeat(np.arange(self.draws), POINTS)
        settings = {}
        for one, share in zip(self.varies, points.T, strict=True):
            low, high = one.ends
            settings[one.address] = np.tile(low + share * (high - low), self.draws)
        self.note(rows, settings, self.run(rows, settings))

    def closer(self, share: float, turn: int) -> None:
        """Points in a smaller box about the best of each draw that has one."""
        live = np.flatnonzero(np.isfinite(self.score))
        if not live.size:
            return
        points = self._even(CLOSER, 1 + turn)
        rows = np.repeat(live, CLOSER)
        settings = {}
        for one, part in zip(self.varies, points.T, strict=True):
            low, high = one.ends
            half = 0.5 * share * (high - low)
            middle = self.at[one.address][rows]
            settings[one.address] = np.clip(middle + (2.0 * np.tile(part, live.size) - 1.0) * half, low, high)
        self.note(rows, settings, self.run(rows, settings))

    def _even(self, count: int, seed: int) -> Array:
        from thinstock.evidence.distributions import Rectangular

        axes = {one.address: Rectangular(0.0, 1.0) for one in self.varies}
        columns = chunk_inputs(sobol_plan(axes, count, seed), 0, count)
        return np.column_stack([columns[one.address] for one in self.varies])
