"""Which readings are doubtful: leaks, readings removed one after another, and sets of readings that explain a misfit.

A passed test does not prove the readings right, and the reading with the largest score is not always the wrong one:
several sets can explain a misfit equally well, so sets are reported and ties are called ties.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from thinstock.formula.label import Array, Num
from thinstock.survey.bounded import limits, within
from thinstock.survey.faults import check_share, refuse
from thinstock.survey.linear import (
    CHECKED,
    LinearProblem,
    Solved,
    check_consistent,
    linear_problem,
    result,
)
from thinstock.survey.reconciled import UNOBSERVABLE, Reconciled
from thinstock.survey.settle import chi_square_probability
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.survey.balance import Reconciliation

MOST_SUBSETS = 20_000
TIE = 1e-7


def critical_score(count: Num, significance: float) -> Num:
    """The size of score that the largest of `count` redundant readings passes by chance so often.

    Source: SIDAK_1967. Status: from memory.
    """
    check_share("significance", significance)
    from scipy.special import ndtri

    return -ndtri(-np.expm1(np.log1p(-significance) / count) / 2.0)


def smallest_detectable_bias(standard_uncertainty: Num, redundancy: Num, significance: float, power: float) -> Num:
    """The bias that the test of one reading finds so often (`power`); infinite where nothing checks the reading.

    Source: NARASIMHAN_JORDACHE_2000. Status: from memory.
    """
    check_share("significance", significance)
    check_share("power", power)
    from scipy.special import ndtri

    reach = -ndtri(significance / 2.0) + ndtri(power)
    with np.errstate(divide="ignore"):
        return standard_uncertainty * reach / np.sqrt(np.asarray(redundancy, dtype=float))


def leak_test(
    balance: Num, value: Num, uncertainty: Num, *, node: int, measured: Num = None, constant: Num = None
) -> tuple[float, float]:
    """(What is lost from one node if only that node leaks, likelihood ratio); nan where no reading could tell.

    Balances are in - out, so a positive size is water lost.
    Source: NARASIMHAN_JORDACHE_2000. Status: from memory.
    """
    problem = linear_problem(balance, value, uncertainty, measured, constant)
    if not 0 <= node < len(problem.balance):
        raise refuse("node", node, phrase("survey.suspects.there_nodes_to", balance=len(problem.balance) - 1))
    solved = problem.solve()
    lost = np.zeros(len(problem.balance))
    lost[node] = 1.0 / solved.row_length[node]
    seen = (solved.turn.T @ (solved.left.T @ lost)) / solved.size
    information = float(seen @ seen)
    if information < 1e-20 * float(lost[node] ** 2):
        return math.nan, math.nan
    size = float(seen @ solved.whitened) / information
    return size, size**2 * information


def serial_elimination(
    balance: Num,
    value: Num,
    uncertainty: Num,
    *,
    significance: float,
    measured: Num = None,
    constant: Num = None,
    most: int = 5,
) -> tuple[tuple[int, ...], Reconciled]:
    """(Readings removed in order, what is left): the largest score goes until the global test passes.

    Stops where a further removal would leave nothing to check. A quick look, easily wrong: see `culprit_sets`.
    Source: SERTH_HEENAN_1986. Status: from memory.
    """
    check_share("significance", significance)
    problem = linear_problem(balance, value, uncertainty, measured, constant)
    removed: list[int] = []
    found = _checked_result(problem)
    while len(removed) < most and found.probability < significance and found.degrees_of_freedom > 1:
        blame = np.where(np.isnan(found.score), -1.0, np.abs(found.score))
        worst = int(np.flatnonzero(blame >= blame.max() * (1.0 - 1e-9))[0])
        removed.append(worst)
        problem = problem.without([worst])
        found = _checked_result(problem)
    return tuple(removed), found


def _checked_result(problem: LinearProblem) -> Reconciled:
    solved = problem.solve()
    check_consistent(solved)
    return result(solved, problem.balance, problem.constant, 1)


@dataclass(frozen=True, kw_only=True, eq=False)
class CulpritSet:
    """Readings that, taken out together, let the rest agree."""

    members: tuple[int, ...]
    statistic: float
    degrees_of_freedom: int
    probability: float
    value: Array
    """All variables without those readings."""
    bias: Array
    """Reading - value without it, per member."""
    group: int
    """Sets of one group cannot be told apart by any test."""


def culprit_sets(
    balance: Num,
    value: Num,
    uncertainty: Num,
    *,
    largest: int,
    significance: float,
    lower: Num = None,
    upper: Num = None,
    measured: Num = None,
    constant: Num = None,
) -> tuple[CulpritSet, ...]:
    """All smallest sets of up to `largest` readings whose removal lets the rest pass the global test.

    Empty if the global test passes. A set counts only if something is left to check, nothing becomes unobservable
    and all values stay within their bounds; sets that hold an accepted set are not looked at.
    Source: DERIVED (deletion = a free bias). Status: derived.
    """
    problem = linear_problem(balance, value, uncertainty, measured, constant)
    low, high = limits(lower, upper, problem.readings.count)
    return _culprits(problem, low, high, largest, significance)


def culprit_readings(found: Reconciliation, *, largest: int, significance: float) -> tuple[CulpritSet, ...]:
    """`culprit_sets` of a reconciled survey: members are numbers of readings in the survey.

    Works on the last linear problem of the reconciliation, with flows at least 0 and consistencies from 0 to 1;
    values are over the variables of the result. Reconcile anew without a set before using its values.
    Source: DERIVED. Status: derived.
    """
    problem, free = found.linearised()
    low = np.zeros(problem.readings.count)
    whole = [key[1].partition(":")[0] in ("consistency", "share") and "heat" not in key[1] for key in found.keys]
    high = np.where(np.array(whole)[free], 1.0, np.inf)
    number = {int(v): i for i, v in enumerate(found.reading_index)}
    out = []
    for culprit in _culprits(problem, low, high, largest, significance):
        value = found.result.value.copy()
        value[free] = culprit.value
        members = tuple(number[int(free[i])] for i in culprit.members)
        out.append(replace(culprit, members=members, value=value))
    return tuple(out)


def _culprits(
    problem: LinearProblem, low: Array, high: Array, largest: int, significance: float
) -> tuple[CulpritSet, ...]:
    check_share("significance", significance)
    solved = problem.solve()
    check_consistent(solved)
    dof = solved.degrees_of_freedom
    if not chi_square_probability(solved.statistic, dof) < significance:
        return ()
    information, pull = solved.information(), solved.gradient()
    blamable = np.flatnonzero(np.diag(information) >= CHECKED)
    count = sum(math.comb(blamable.size, k) for k in range(1, largest + 1))
    if count > MOST_SUBSETS:
        remedy = phrase("survey.suspects.look_for_smaller_sets_or")
        raise refuse(
            "largest",
            largest,
            phrase("survey.suspects.sets_would_have_to_be", count=count, most_subsets=MOST_SUBSETS),
            remedy,
        )
    accepted: list[CulpritSet] = []
    for size in range(1, min(largest, dof - 1) + 1):
        statistics = _statistics_without(solved.statistic, information, pull, blamable, size)
        known = [set(s.members) for s in accepted]
        for members, statistic in statistics:
            if chi_square_probability(max(statistic, 0.0), dof - size) < significance:
                continue
            places = tuple(int(i) for i in np.flatnonzero(problem.readings.measured)[list(members)])
            if any(k <= set(places) for k in known):
                continue
            found = _without(problem, solved, places, low, high)
            if found is not None and found.probability >= significance:
                accepted.append(found)
    return _grouped(accepted)


def _statistics_without(
    statistic: float, information: Array, pull: Array, blamable: Any, size: int
) -> list[tuple[tuple[int, ...], float]]:
    """Statistic left after freeing each subset, for those subsets that the rest still determines."""
    if blamable.size < size:
        return []
    subsets = np.array(list(itertools.combinations(blamable.tolist(), size)))
    scale = 1.0 / np.sqrt(np.diag(information)[subsets])
    blocks = information[subsets[:, :, None], subsets[:, None, :]] * scale[:, :, None] * scale[:, None, :]
    force = pull[subsets] * scale
    determined = np.linalg.eigvalsh(blocks)[:, 0] > 1e-9
    gain = np.einsum(
        "ij,ij->i",
        force[determined],
        np.linalg.solve(blocks[determined], force[determined][:, :, None])[:, :, 0],
    )
    return [(tuple(s.tolist()), float(statistic - g)) for s, g in zip(subsets[determined], gain, strict=True)]


def _without(
    problem: LinearProblem, before: Solved, members: tuple[int, ...], low: Array, high: Array
) -> CulpritSet | None:
    """The balance without these readings, or None if it is none that could be believed."""
    left = problem.without(members)
    found = result(left.solve(), left.balance, left.constant, 1)
    if found.degrees_of_freedom < 1:
        return None
    lost = np.zeros(problem.readings.count, dtype=bool)
    lost[np.flatnonzero(~problem.readings.measured)[before.unobservable]] = True
    unseen = found.classification == UNOBSERVABLE
    if np.any(unseen & ~lost) or not within(found.value, low, high, ~unseen):
        return None
    reading = np.full(problem.readings.count, np.nan)
    reading[problem.readings.measured] = problem.readings.value
    return CulpritSet(
        members=members,
        statistic=found.statistic,
        degrees_of_freedom=found.degrees_of_freedom,
        probability=found.probability,
        value=found.value,
        bias=(reading - found.value)[list(members)],
        group=0,
    )


def _grouped(sets: list[CulpritSet]) -> tuple[CulpritSet, ...]:
    """In order of size, then statistic; equal ones in one group."""
    ordered = sorted(sets, key=lambda s: (len(s.members), s.statistic, s.members))
    out: list[CulpritSet] = []
    group = 0
    for found in ordered:
        if out:
            last = out[-1]
            same = len(last.members) == len(found.members) and last.degrees_of_freedom == found.degrees_of_freedom
            close = abs(last.statistic - found.statistic) <= TIE * max(1.0, abs(found.statistic))
            group += 0 if same and close else 1
        out.append(replace(found, group=group))
    return tuple(out)
