"""Reconciliation within bounds: no negative flow, no more than a pump can move. One minimum, found exactly.

A value at its bound is a finding, not a solution: it usually points to a gross error. No test statistics are given,
since chi-square does not hold once a bound is active.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from thinstock.formula.label import Array, Num
from thinstock.survey.faults import SurveyError, refuse
from thinstock.survey.linear import LinearProblem, Solved, linear_problem
from thinstock.words.phrase import phrase

ROUNDS = 50
CLOSE = 1e-9
"""Share of a variable's size within which it counts as at its bound."""


def reconcile_bounded(
    balance: Num,
    value: Num,
    uncertainty: Num,
    *,
    lower: Num,
    upper: Num,
    measured: Num = None,
    constant: Num = None,
) -> tuple[Array, tuple[int, ...], float]:
    """Least-squares adjustment with lower <= x <= upper: (values, indices at a bound, sum of squares).

    Picture: reconcile, hold what strays beyond its bound there, let go what pulls inwards, until nothing changes.
    Use for: readings that would make a flow negative. Not for: a verdict on which reading is wrong.
    Source: NARASIMHAN_JORDACHE_2000. Status: from memory.
    """
    problem = linear_problem(balance, value, uncertainty, measured, constant)
    low, high = limits(lower, upper, problem.readings.count)
    held = _active_set(problem, low, high)
    if held is None:
        held = _sides(_least_distance(problem, low, high), low, high)
    solution = _hold(problem, held, low, high).solution
    ends = _sides(solution, low, high)
    solution = np.where(ends < 0, low, np.where(ends > 0, high, solution))
    given = problem.readings
    change = (solution[given.measured] - given.value) / given.uncertainty
    if given.root is not None:
        change = np.linalg.solve(given.root, change)
    return (
        solution,
        tuple(int(i) for i in np.flatnonzero(_sides(solution, low, high))),
        float(change @ change),
    )


def limits(lower: Num, upper: Num, count: int) -> tuple[Array, Array]:
    """Bounds as arrays, one for each variable."""
    low = np.broadcast_to(np.asarray(-np.inf if lower is None else lower, dtype=float), (count,)).copy()
    high = np.broadcast_to(np.asarray(np.inf if upper is None else upper, dtype=float), (count,)).copy()
    if np.any(~(low <= high)):
        bad = int(np.flatnonzero(~(low <= high))[0])
        raise refuse(
            phrase("survey.bounded.bounds_variable", bad=bad),
            f"{low[bad]} to {high[bad]}",
            phrase("survey.bounded.lower_must_not_exceed_upper"),
        )
    return low, high


def _slack(bound: Array) -> Array:
    return CLOSE * np.maximum(1.0, np.abs(np.where(np.isfinite(bound), bound, 1.0)))


def _sides(solution: Array, low: Array, high: Array) -> Array:
    """-1 at the lower bound, +1 at the upper, 0 between."""
    at_low = solution <= low + _slack(low)
    at_high = solution >= high - _slack(high)
    return np.where(at_low, -1, np.where(at_high, 1, 0))


def _hold(problem: LinearProblem, held: Array, low: Array, high: Array) -> Solved:
    """The linear problem with the held variables tied to their bounds by one more balance each."""
    places = np.flatnonzero(held)
    rows = np.zeros((places.size, problem.readings.count))
    rows[np.arange(places.size), places] = 1.0
    bound = np.where(held[places] < 0, low[places], high[places])
    balance, constant = np.vstack([problem.balance, rows]), np.concatenate([problem.constant, bound])
    return replace(problem, balance=balance, constant=constant).solve()


def _active_set(problem: LinearProblem, low: Array, high: Array) -> Array | None:
    """Which variables end at a bound (-1, 0, 1), or None if the rounds did not settle on the minimum."""
    held: Array = np.zeros(problem.readings.count, dtype=int)
    for _ in range(ROUNDS):
        solved = _hold(problem, held, low, high)
        if solved.outside > 1e-7 * (
            1.0 + np.abs(problem.readings.value / problem.readings.uncertainty).max(initial=0.0)
        ):
            return None
        x = solved.solution
        beyond = np.where(x < low - _slack(low), -1, np.where(x > high + _slack(high), 1, 0))
        pull = _multipliers(problem, x, held)
        letting_go = (held != 0) & (pull * held < -1e-9)
        new = np.where(held != 0, np.where(letting_go, 0, held), beyond)
        if np.array_equal(new, held):
            return held
        held = new
    return None


def _multipliers(problem: LinearProblem, x: Array, held: Array) -> Array:
    """How hard each held variable presses against its bound, in units of its own scale (positive: upwards)."""
    given = problem.readings
    scale = problem.size
    pull = np.zeros(x.size)
    change = (x[given.measured] - given.value) / given.uncertainty
    pull[given.measured] = change if given.correlation is None else np.linalg.solve(given.correlation, change)
    places = np.flatnonzero(held)
    if not places.size:
        return pull * 0.0
    forces = np.zeros((x.size, len(problem.balance) + places.size))
    scaled = problem.balance * scale
    length = np.linalg.norm(scaled, axis=1)
    forces[:, : len(scaled)] = (scaled / np.where(length > 0.0, length, 1.0)[:, None]).T
    forces[places, len(scaled) + np.arange(places.size)] = 1.0
    found = np.linalg.lstsq(forces, -pull, rcond=1e-11)[0]
    out = np.zeros(x.size)
    out[places] = found[len(scaled) :]
    return out


def _least_distance(problem: LinearProblem, low: Array, high: Array) -> Array:
    """The same minimum as a least-distance problem by non-negative least squares, which ends after finitely many steps.

    With x = x0 + N z the distance |z| is least under G z >= h; the dual is a non-negative least-squares problem.
    Variables that nothing measures are given a faint pull to where they are.
    """
    from scipy.optimize import nnls

    given = problem.readings
    scale = np.where(given.measured, problem.size, 1e4 * problem.size)
    centre = np.clip(problem.solve().solution, low, high)
    centre[given.measured] = given.value
    root = np.eye(given.count)
    if given.root is not None:
        places = np.flatnonzero(given.measured)
        root[np.ix_(places, places)] = given.root
    root = scale[:, None] * root
    rows = problem.balance @ root
    mismatch = problem.constant - problem.balance @ centre
    u, s, vt = np.linalg.svd(rows, full_matrices=True)
    rank = int(np.sum(s > 1e-9 * s[0])) if s.size else 0
    first = vt[:rank].T @ ((u[:, :rank].T @ mismatch) / s[:rank])
    null = vt[rank:].T
    base, spread = centre + root @ first, root @ null
    finite_low, finite_high = np.isfinite(low), np.isfinite(high)
    rows = np.vstack([spread[finite_low], -spread[finite_high]])
    right = np.concatenate([(low - base)[finite_low], (base - high)[finite_high]])
    length = np.maximum(np.linalg.norm(rows, axis=1), 1e-30 * scale.max())
    if np.any((length <= 1e-12 * scale.max()) & (right > 1e-9 * scale.max())):
        raise _empty()
    dual = np.vstack([(rows / length[:, None]).T, right / length])
    target = np.zeros(len(dual))
    target[-1] = 1.0
    weight, distance = nnls(dual, target)
    if distance < 1e-10:
        raise _empty()
    residual = dual @ weight - target
    return np.asarray(base + spread @ (-residual[:-1] / residual[-1]))


def _empty() -> SurveyError:
    return refuse(
        "bounds",
        bound=phrase("survey.bounded.no_balance_closes_within_them"),
        remedy=phrase("survey.bounded.widen_bound_or_look_for"),
    )


def within(solution: Array, low: Array, high: Array, observable: Any) -> bool:
    """Whether all observable values lie within their bounds."""
    good = (solution >= low - _slack(low)) & (solution <= high + _slack(high))
    return bool(np.all(good | ~np.asarray(observable)))
