"""Reconciliation under constraints that are not linear, by repeated linear problems from the original readings.

At x_k the linear problem with balance J(x_k) and constant J x_k - g(x_k) is solved for the *original* readings, so
that where nothing moves any more the exact conditions of the least-squares optimum hold (Gauss-Newton).
Source: NARASIMHAN_JORDACHE_2000, ROMAGNOLI_SANCHEZ_2000. Status: from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from thinstock.formula.label import Array, Num
from thinstock.survey.faults import NotConverged, refuse
from thinstock.survey.linear import Solved, nothing_to_check, result, solve
from thinstock.survey.reconciled import Readings, Reconciled, readings
from thinstock.survey.settle import Residual, settle, typical_size
from thinstock.words.phrase import phrase

COMPLEX_STEP = 1e-30


def reconcile_smooth(
    residual: Residual,
    jacobian: Callable[[Array], Array],
    given: Readings,
    start: Array,
    names: Sequence[str],
) -> tuple[Solved, Array, Array, int]:
    """(Last linear problem, its balance, its constant, passes) for constraints with a dense Jacobian."""
    typical = typical_size(start, given.measured)
    kept: dict[str, Any] = {}

    def step(x: Array) -> tuple[Array, Array, Array]:
        balance = np.asarray(jacobian(x), dtype=float)
        constant = balance @ x - residual(x)
        if not (np.all(np.isfinite(balance)) and np.all(np.isfinite(constant))):
            raise NotConverged(phrase("survey.nonlinear.constraints_give_no_number_where"))
        solved = solve(balance, constant, given, typical, near=x)
        kept.update(solved=solved, balance=balance, constant=constant)
        return solved.solution, solved.row_length, _what_counts(solved)

    _, count = settle(residual, step, start, names)
    return kept["solved"], kept["balance"], kept["constant"], count


def _what_counts(solved: Solved) -> Array:
    """Uncertainty of each reading; of what is not read, its typical size or what the readings make of it."""
    counts = solved.scale.copy()
    follow = solved.inverse @ solved.known
    counts[~solved.readings.measured] *= np.maximum(1.0, np.sqrt(np.einsum("ij,ij->i", follow, follow)))
    return counts


def reconcile_nonlinear(
    constraint: Callable[[Any], Any],
    value: Num,
    uncertainty: Num,
    *,
    measured: Num = None,
    start: Num = None,
    jacobian: Callable[[Any], Any] | None = None,
) -> Reconciled:
    """Least-squares adjustment of readings under constraint(x) = 0, with all tests from the last linear problem.

    Without `jacobian` the constraint must accept complex numbers (derivatives by a complex step of 1e-30).
    `start` is where to begin (None: the readings, unmeasured ones at the median size of the readings).
    Source: NARASIMHAN_JORDACHE_2000. Status: from memory.
    """
    count = np.asarray(value).size
    given = readings(value, uncertainty, measured, count)
    begin = _start(value, start, given)

    def residual(x: Array) -> Array:
        return np.atleast_1d(np.asarray(constraint(x), dtype=float))

    def by_complex_step(x: Array) -> Array:
        columns = []
        for j in range(count):
            moved = x.astype(complex)
            moved[j] += 1j * COMPLEX_STEP
            columns.append(np.atleast_1d(np.imag(constraint(moved))) / COMPLEX_STEP)
        return np.stack(columns, axis=1)

    names = [f"constraint {i}" for i in range(residual(begin).size)]
    slope = by_complex_step if jacobian is None else lambda x: np.atleast_2d(jacobian(x))
    solved, balance, constant, passes = reconcile_smooth(residual, slope, given, begin, names)
    if solved.degrees_of_freedom == 0:
        raise nothing_to_check(solved)
    return result(solved, balance, constant, passes)


def _start(value: Num, start: Num, given: Readings) -> Array:
    begin = np.array(value if start is None else start, dtype=float)
    if begin.shape != (given.count,):
        raise refuse("start", begin.shape, phrase("survey.nonlinear.must_have_one_number_for", count=given.count))
    if start is None:
        begin[given.measured] = given.value
    size = float(np.median(np.abs(given.value))) if given.value.size else 1.0
    return np.where(np.isfinite(begin), begin, size)
