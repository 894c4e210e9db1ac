"""What to read next for a decision: how much surer payback, worth, saving or gain become, and what that is worth.

The draws are those of the rebuild: prices and both machines in each. A reading is worth what the decision gains by it
on average; where every reading has a cost, they are ranked by that less the cost.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.formula.label import Array
from thinstock.machine.line import Machine
from thinstock.studies.intervals import SHARE, central_interval
from thinstock.studies.knowing import uncertainty_after, value_of_knowing, value_of_knowing_normal
from thinstock.studies.measuring import FEWEST, HARDLY, Candidate, predicted_by
from thinstock.studies.prices import Prices
from thinstock.studies.rebuild import Sampled, sampled_rebuild
from thinstock.words.fault import fault_in

DECISIONS = ("payback", "present_value", "yearly_saving", "dryness_gained")
"""Answers of a rebuild that a plan may be for."""


@dataclass(frozen=True, kw_only=True)
class RankedForDecision:
    """A candidate and what it would bring to the decision."""

    candidate: Candidate
    predicted: float
    """Median of what it would read, SI."""
    reading_uncertainty: float
    narrowing: float
    """By how much surer the answer becomes, as a share of its standard uncertainty (of a payback: of the yearly return
    on the outlay, since a payback may be without end)."""
    value: float
    """What the decision gains by it on average, money."""

    @property
    def net(self) -> float:
        """That less what it costs; nan without a cost."""
        return math.nan if self.candidate.cost is None else self.value - self.candidate.cost


@dataclass(frozen=True, kw_only=True)
class DecisionPlan:
    """A plan for one answer of a rebuild, same tonnes."""

    target: str
    before: str
    after: str
    currency: str
    origin: str
    draws: int
    low: float
    median: float
    high: float
    """Of the answer: years, money, or points of dryness."""
    pays: float
    """Share of the draws with a present value above zero."""
    knowing: float
    """What knowing everything before the decision is worth, money."""
    ranked: tuple[RankedForDecision, ...]
    left_out: tuple[Candidate, ...]

    @property
    def by_cost(self) -> bool:
        """Whether the order is by money."""
        return bool(self.ranked) and all(r.candidate.cost is not None for r in self.ranked)

    @property
    def telling(self) -> tuple[RankedForDecision, ...]:
        """Those that tell something of the answer."""
        return tuple(r for r in self.ranked if r.narrowing >= HARDLY)


def decision_plan(
    before: Machine, after: Machine, prices: Prices, target: str, candidates: Sequence[Candidate], *,
    draws: int = 2000, seed: int = 1,
) -> DecisionPlan:  # fmt: skip
    """How much surer an answer of a rebuild becomes by each reading on the machine before, and what that is worth.

    Parameters
    ----------
    before, after : Machine
        As `rebuild` takes them.
    prices : Prices
        Of the mill.
    target : str
        "payback", "present_value", "yearly_saving" or "dryness_gained".
    candidates : sequence of Candidate
        Readings that could be taken on the machine before.
    draws, seed : of the population.

    Returns
    -------
    DecisionPlan
        Best first; money in the currency of the prices.

    Raises
    ------
    Refused
        Another target, or too few draws that run.

    Source: DERIVED (linear; the worth taken as normal for what a reading is worth). Status: derived.
    """
    if target not in DECISIONS:
        raise Refused(fault_in("studies.decision_plan.target", target, known=", ".join(DECISIONS)))
    sampled = sampled_rebuild(before, after, prices, draws=draws, seed=seed)
    told, aim = _aim(sampled, target)
    predicted = [column[sampled.rows] for column in predicted_by(before, sampled.drawn, candidates)]
    ranked, left = [], []
    for one, column in zip(candidates, predicted, strict=True):
        good = np.isfinite(column) & np.isfinite(aim)
        if int(good.sum()) < FEWEST:
            left.append(one)
        else:
            ranked.append(_ranked(one, aim[good], column[good], sampled.worth[good]))
    costs = bool(ranked) and all(r.candidate.cost is not None for r in ranked)
    ranked.sort(key=lambda r: (-r.net if costs else 0.0, -r.narrowing))
    low, middle, high = central_interval(told, SHARE)
    return DecisionPlan(
        target=target, before=before.title, after=after.title, currency=prices.currency, origin=sampled.drawn.origin,
        draws=len(sampled.rows), low=low, median=middle, high=high, pays=float(np.mean(sampled.worth > 0.0)),
        knowing=value_of_knowing(sampled.worth), ranked=tuple(ranked), left_out=tuple(left),
    )  # fmt: skip


def _aim(sampled: Sampled, target: str) -> tuple[Any, Any]:
    """(The answer as it is told, the answer as a number that never is without end)."""
    if target == "payback":
        return sampled.payback, sampled.saving / sampled.outlay
    found = {"present_value": sampled.worth, "yearly_saving": sampled.saving, "dryness_gained": sampled.gain}[target]
    return found, found


def _ranked(one: Candidate, aim: Array, column: Array, worth: Array) -> RankedForDecision:
    value = float(np.median(column))
    u = one.uncertainty(value)
    now = float(aim.std(ddof=1))
    after = uncertainty_after(aim, column, u)
    left = uncertainty_after(worth, column, u)
    said = math.sqrt(max(float(worth.var(ddof=1)) - left**2, 0.0))
    return RankedForDecision(
        candidate=one, predicted=value, reading_uncertainty=u, narrowing=1.0 - after / now if now > 0.0 else 0.0,
        value=float(value_of_knowing_normal(float(worth.mean()), said)),
    )  # fmt: skip
