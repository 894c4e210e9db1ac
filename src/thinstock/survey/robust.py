"""Reconciliation in which a reading far off pulls no harder than one a little off (Huber's function).

It shows where the bulk of the readings points without naming a culprit first. No uncertainties come with it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from thinstock.formula.label import Array, Num
from thinstock.survey.faults import NotConverged, refuse
from thinstock.survey.linear import check_consistent, linear_problem
from thinstock.survey.reconciled import Readings
from thinstock.words.phrase import phrase

PASSES = 10_000


def reconcile_robust_huber(
    balance: Num,
    value: Num,
    uncertainty: Num,
    *,
    threshold: float,
    measured: Num = None,
    constant: Num = None,
) -> tuple[Array, Array]:
    """Values that minimise the sum of Huber's function of adjustment / uncertainty, and the weights 0...1.

    Picture: within `threshold` standard uncertainties a reading pulls with its distance, beyond it with a steady
    force. Use for: surveys with a few wild readings. Not for: correlated readings, where it is not defined.
    Unmeasured variables have weight nan. Source: HUBER_1964. Status: from memory.
    """
    if not threshold > 0.0:
        raise refuse("threshold", threshold, phrase("survey.robust.must_be_above"), "1.345 is usual.")
    problem = linear_problem(balance, value, uncertainty, measured, constant)
    given = problem.readings
    if given.correlation is not None:
        raise refuse("uncertainty", bound=phrase("survey.robust.must_be_without_covariances_for"))
    weight = np.ones(given.value.size)
    for _ in range(PASSES):
        eased = Readings(
            measured=given.measured,
            value=given.value,
            uncertainty=given.uncertainty / np.sqrt(weight),
            correlation=None,
            root=None,
        )
        solved = replace(problem, readings=eased).solve()
        check_consistent(solved)
        change = np.abs(solved.solution[given.measured] - given.value) / given.uncertainty
        with np.errstate(divide="ignore"):
            new = np.minimum(1.0, threshold / change)
        moved = float(np.abs(new - weight).max(initial=0.0))
        weight = new
        if moved < 1e-12:
            break
    else:
        raise NotConverged(phrase("survey.robust.weights_still_move_by_after", moved=f"{moved:.1e}", passes=PASSES))
    solution = solved.solution.copy()
    solution[np.flatnonzero(~given.measured)[solved.unobservable]] = np.nan
    weights = np.full(given.count, np.nan)
    weights[given.measured] = weight
    return solution, weights
