"""What to read next for one chosen answer: how much surer it becomes by each reading, and for how much money.

Over one population of the machine's inputs every candidate reading is predicted, at the machine's settings or at
others, and what it would tell of the answer is taken from how the two go together (linear). Nothing is fitted anew.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.evidence.apply import columns as drawn_columns
from thinstock.evidence.apply import population as drawn_of
from thinstock.evidence.cases import run_cases
from thinstock.evidence.machine_inputs import held_addresses
from thinstock.evidence.outputs import checked, label
from thinstock.evidence.population import DRAWS, Population, runs
from thinstock.formula.label import Array
from thinstock.machine.line import Machine
from thinstock.studies.knowing import uncertainty_after
from thinstock.survey.machine_model import MachineModel
from thinstock.words.fault import fault_in

FEWEST = 100
"""Draws that give a number; fewer are refused."""
HARDLY = 0.01
"""A reading that narrows the answer by less, as a share, tells nothing of it."""
PAIRED = 6
"""Best candidates among which pairs are looked at."""


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """A reading that could be taken."""

    stream: str
    quantity: str
    share: float
    """Standard uncertainty as a share of the value."""
    points: float = 0.0
    """And a part that does not depend on it, SI; both add as squares."""
    repeats: int = 1
    """Independent repeats, whose mean is read."""
    at: Mapping[str, float] = field(default_factory=dict)
    """Settings under which it is read, where these are not the machine's: SI values by address."""
    said: str = ""
    """Those settings in words."""
    cost: float | None = None

    def uncertainty(self, value: float) -> float:
        """Standard uncertainty of the mean of its repeats, SI."""
        return math.hypot(self.share * value, self.points) / math.sqrt(self.repeats)


@dataclass(frozen=True, kw_only=True)
class Ranked:
    """A candidate and what it would bring."""

    candidate: Candidate
    predicted: float
    """Median of what it would read, SI."""
    reading_uncertainty: float
    after: float
    """Standard uncertainty of the answer once it was read."""
    narrowing: float
    """By how much less, as a share of what it is now."""

    @property
    def per_cost(self) -> float:
        """Narrowing for one unit of money; nan without a cost."""
        cost = self.candidate.cost
        return math.nan if cost is None else self.narrowing / cost if cost > 0.0 else math.inf


@dataclass(frozen=True, kw_only=True, eq=False)
class Measuring:
    """A plan for one answer."""

    target: str
    said: str
    """Under which other settings the answer is asked, in words; empty for the machine's own."""
    origin: str
    """Of the population."""
    draws: int
    middle: float
    """Median of the answer, SI."""
    low: float
    high: float
    """5 and 95 %."""
    before: float
    """Standard uncertainty of the answer now."""
    ranked: tuple[Ranked, ...]
    """Best first: by narrowing for the money where every candidate has a cost, else by narrowing."""
    pair: tuple[Ranked, Ranked] | None
    """The best two together among the best, where they bring clearly more than one."""
    pair_after: float
    left_out: tuple[Candidate, ...]
    """Candidates of which the machine says nothing."""

    @property
    def label(self) -> str:
        """The answer in plain words."""
        return label(self.target)

    @property
    def by_cost(self) -> bool:
        """Whether the order is by money."""
        return bool(self.ranked) and all(r.candidate.cost is not None for r in self.ranked)

    @property
    def telling(self) -> tuple[Ranked, ...]:
        """Those that tell something of the answer."""
        return tuple(r for r in self.ranked if r.narrowing >= HARDLY)


def measuring_plan(
    machine: Machine,
    target: str,
    candidates: Sequence[Candidate],
    *,
    at: Mapping[str, float] | None = None,
    said: str = "",
    population: Population | None = None,
    seed: int = 1,
) -> Measuring:
    """How much surer one answer becomes by each reading.

    Parameters
    ----------
    machine : Machine
        One case.
    target : str
        Name of a result.
    candidates : sequence of Candidate
        Readings that could be taken.
    at : mapping of str to float, optional
        Settings under which the answer is asked, SI by address, where these are not the machine's.
    said : str
        Those settings in words.
    population : Population, optional
        The draws; without it those of the machine file (1000).
    seed : int
        Fixes the draws where they are made here.

    Returns
    -------
    Measuring
        The answer's uncertainty now, and after each reading; in base SI.

    Raises
    ------
    Refused
        An unknown result, an answer without uncertainty, or too few draws that run.

    Source: DERIVED (linear: the candidate's covariance with the answer over the draws). Status: derived.
    """
    drawn = drawn_of(machine, draws=DRAWS, seed=seed) if population is None else population
    checked(machine.run(fast=True), (target,))
    there = _moved(machine, drawn, at or {})
    cases = run_cases(machine, there, (target,), margins=True)
    aim = np.where(runs(cases) if drawn.origin != "as believed" else cases.usable, cases[target], np.nan)
    predicted = predicted_by(machine, drawn, candidates)
    good = np.isfinite(aim)
    if int(good.sum()) < FEWEST:
        raise Refused(fault_in("studies.measuring.too_few", target, str(int(good.sum())), fewest=FEWEST))
    middle, before = float(np.median(aim[good])), float(aim[good].std(ddof=1))
    if not before > 1e-12 * abs(middle):
        raise Refused(fault_in("studies.measuring.exact", target))
    ranked, left = [], []
    for one, column in zip(candidates, predicted, strict=True):
        both = good & np.isfinite(column)
        if int(both.sum()) < FEWEST:
            left.append(one)
            continue
        ranked.append(_ranked(one, aim[both], column[both]))
    costs = all(r.candidate.cost is not None for r in ranked)
    ranked.sort(key=lambda r: (-r.per_cost if costs else 0.0, -r.narrowing))
    columns = {id(one): column for one, column in zip(candidates, predicted, strict=True)}
    pair, pair_after = _best_pair(aim, good, ranked, columns)
    return Measuring(
        target=target,
        said=said,
        origin=drawn.origin,
        draws=int(good.sum()),
        middle=middle,
        low=float(np.quantile(aim[good], 0.05)),
        high=float(np.quantile(aim[good], 0.95)),
        before=before,
        ranked=tuple(ranked),
        pair=pair,
        pair_after=pair_after,
        left_out=tuple(left),
    )


def _ranked(one: Candidate, aim: Array, column: Array) -> Ranked:
    now = float(aim.std(ddof=1))
    value = float(np.median(column))
    u = one.uncertainty(value)
    after = min(uncertainty_after(aim, column, u), now)  # rounding makes nothing less sure
    return Ranked(candidate=one, predicted=value, reading_uncertainty=u, after=after, narrowing=1.0 - after / now)


def _best_pair(
    aim: Array, good: Any, ranked: Sequence[Ranked], columns: Mapping[int, Array]
) -> tuple[tuple[Ranked, Ranked] | None, float]:
    """The two readings that together narrow the answer most, where the second brings a tenth more."""
    best, least = None, math.inf
    for first, second in itertools.combinations(sorted(ranked, key=lambda r: r.after)[:PAIRED], 2):
        a, b = columns[id(first.candidate)], columns[id(second.candidate)]
        both = good & np.isfinite(a) & np.isfinite(b)
        if int(both.sum()) < FEWEST:
            continue
        noise = np.array([first.reading_uncertainty, second.reading_uncertainty])
        after = uncertainty_after(aim[both], np.vstack([a[both], b[both]]), noise)
        if after < least:
            best, least = (first, second), after
    alone = min((r.after for r in ranked), default=math.inf)
    return (best, least) if best is not None and least < 0.9 * alone else (None, math.nan)


def _moved(machine: Machine, drawn: Population, at: Mapping[str, float]) -> dict[str, Any]:
    """The draws under other settings; what is uncertain of a setting stays so in proportion."""
    found: dict[str, Any] = dict(drawn_columns(drawn, machine.with_(at) if at else machine))
    for where, value in at.items():
        old = machine.get(where)
        scale = value / float(old) if where in found and old else None
        found[where] = found[where] * scale if scale is not None else value
    return found


def predicted_by(machine: Machine, drawn: Population, candidates: Sequence[Candidate]) -> list[Array]:
    """What every candidate would read, for each draw; one batch of runs for each setting."""
    found: dict[int, Array] = {}
    settings = dict.fromkeys(tuple(sorted(c.at.items())) for c in candidates)
    standing = drawn.values(one for one in held_addresses(machine) if one in drawn.addresses)
    for setting in settings:
        here = [k for k, c in enumerate(candidates) if tuple(sorted(c.at.items())) == setting]
        model = MachineModel(machine, [(candidates[k].stream, candidates[k].quantity) for k in here])
        columns = _possible(model, {**standing, **_moved(machine, drawn, dict(setting))})
        found |= {k: columns[:, place] for place, k in enumerate(here)}
    return [found[k] for k in range(len(candidates))]


def _possible(model: MachineModel, values: Mapping[str, Any]) -> Array:
    """Readings of the draws that can be built; nan for the others."""
    count = max(np.size(v) for v in values.values())
    whole = {where: np.broadcast_to(np.asarray(v, dtype=float), (count,)) for where, v in values.items()}
    out = np.full((count, len(model.rows)), np.nan)

    def fill(rows: Any) -> None:
        try:
            out[rows] = model.readings({where: column[rows] for where, column in whole.items()})
        except Refused:
            if rows.size > 1:
                fill(rows[: rows.size // 2])
                fill(rows[rows.size // 2 :])

    fill(np.arange(count))
    return out
