"""Reconciliation of readings whose balances are linear, by dense singular values, with every test that goes with it.

Measured y ~ N(x, V) under A x = b with some x unmeasured. P spans the left null space of the unmeasured columns,
G = P A, r = G y - P b, H = G V G^T; the reconciled values are y - V G^T H^-1 r. H is never inverted: one singular
value decomposition of G L (L the root of V) gives rank, statistic, adjustments and likelihood ratios.

Source: NARASIMHAN_JORDACHE_2000, ROMAGNOLI_SANCHEZ_2000, CROWE_1983, VDI_2048. Status: from memory.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from thinstock.formula.label import Array, Num
from thinstock.survey.faults import nothing_checked, refuse
from thinstock.survey.reconciled import (
    JUST_MEASURED,
    OBSERVABLE,
    REDUNDANT,
    UNOBSERVABLE,
    Readings,
    Reconciled,
    readings,
)
from thinstock.survey.settle import chi_square_probability, node_scores
from thinstock.words.phrase import phrase

RANK_TOLERANCE = 1e-9
"""Singular values below this share of the largest count as zero."""
NULL_TOLERANCE = 1e-7
"""A variable whose row in the null space is longer than this cannot be observed."""
CHECKED = 1e-10
"""A reading with a redundancy below this is not checked by anything."""
DENSE_LIMIT = 1000
"""Above this many variables the sparse route is taken."""


@dataclass(frozen=True, eq=False)
class Solved:
    """One linear problem solved, in variables scaled by their uncertainty (or typical size) and rows of length one."""

    readings: Readings
    scale: Array
    row_length: Array
    left: Array
    """P, one column per combination of balances that is free of unmeasured variables."""
    turn: Array
    """Left singular vectors of G L."""
    size: Array
    """Its singular values."""
    basis: Array
    """Its right singular vectors, one row per degree of freedom."""
    whitened: Array
    """r in the directions of `turn`, over `size`: its square is the statistic."""
    outside: float
    """Length of r outside all those directions: contradictions that no adjustment can mend."""
    solution: Array
    """Reconciled values of all variables, in their own units."""
    inverse: Array
    """Pseudo-inverse of the unmeasured columns."""
    known: Array
    """The measured columns."""
    unobservable: np.ndarray[Any, np.dtype[np.bool_]]
    """Of the unmeasured variables."""

    @property
    def degrees_of_freedom(self) -> int:
        return int(self.size.size)

    @property
    def statistic(self) -> float:
        return float(self.whitened @ self.whitened)

    def gradient(self) -> Array:
        """V^-1 times (reading - reconciled), per scaled reading: what pulls at each reading."""
        return _solve_transposed(self.readings.root, self.basis.T @ self.whitened)

    def information(self) -> Array:
        """G^T H^-1 G per scaled reading: what the balances know about a bias."""
        rows = self.basis if self.readings.root is None else _solve_transposed(self.readings.root, self.basis.T).T
        return rows.T @ rows

    def adjustment_covariance(self) -> Array:
        """W per scaled reading."""
        rows = self.basis if self.readings.root is None else (self.readings.root @ self.basis.T).T
        return rows.T @ rows


def _solve_transposed(root: Array | None, right: Array) -> Array:
    if root is None:
        return right
    from scipy.linalg import solve_triangular

    solved: Array = solve_triangular(root, right, lower=True, trans="T")
    return solved


def solve(
    balance: Array, constant: Array, given: Readings, typical: Array | float, near: Array | None = None
) -> Solved:
    """Solve balance x = constant for readings; `typical` is a size of the unmeasured ones on the scale of an
    uncertainty; those that cannot be observed change least from `near` (0 without it)."""
    measured = given.measured
    scale = np.empty(measured.size)
    scale[measured] = given.uncertainty
    scale[~measured] = typical
    scaled = balance * scale
    length = np.sqrt(np.einsum("ij,ij->i", scaled, scaled))
    length[length == 0.0] = 1.0
    scaled /= length[:, None]
    right = constant / length
    known, unknown = scaled[:, measured], scaled[:, ~measured]
    left, inverse, null = _unknown_part(unknown)
    raw = given.value / given.uncertainty
    checks = left.T @ known
    mismatch = checks @ raw - left.T @ right
    turn, size, basis = np.linalg.svd(checks if given.root is None else checks @ given.root, full_matrices=False)
    free = int(np.sum(size > RANK_TOLERANCE * size[0])) if size.size and size[0] > 1e-13 else 0
    turn, size, basis = turn[:, :free], size[:free], basis[:free]
    along = turn.T @ mismatch
    whitened = along / size
    change = basis.T @ whitened
    found = raw - (change if given.root is None else given.root @ change)
    start = np.zeros(unknown.shape[1]) if near is None else near[~measured] / scale[~measured]
    solution = np.empty(measured.size)
    solution[measured] = found
    solution[~measured] = inverse @ (right - known @ found) + null @ (null.T @ start)
    unseen = np.sqrt(np.einsum("ij,ij->i", null, null)) > NULL_TOLERANCE
    outside = float(np.linalg.norm(mismatch - turn @ along))
    return Solved(
        given,
        scale,
        length,
        left,
        turn,
        size,
        basis,
        whitened,
        outside,
        solution * scale,
        inverse,
        known,
        unseen,
    )


def _unknown_part(unknown: Array) -> tuple[Array, Array, Array]:
    """Left null space, pseudo-inverse and null space of the unmeasured columns."""
    rows, columns = unknown.shape
    if columns == 0 or rows == 0:
        return np.eye(rows), np.zeros((columns, rows)), np.eye(columns)
    u, s, vt = np.linalg.svd(unknown, full_matrices=True)
    rank = int(np.sum(s > RANK_TOLERANCE * s[0])) if s[0] > 0.0 else 0
    inverse = vt[:rank].T @ (u[:, :rank] / s[:rank]).T
    return u[:, rank:], inverse, vt[rank:].T


def result(solved: Solved, balance: Array, constant: Array, iterations: int) -> Reconciled:
    """All statistics of a solved problem; `balance` and `constant` are those it was solved with."""
    given = solved.readings
    measured, u = given.measured, given.uncertainty
    count = measured.size
    dof = solved.degrees_of_freedom
    adjusted = solved.adjustment_covariance()
    correlation = np.eye(u.size) if given.correlation is None else given.correlation
    kept = correlation - adjusted
    np.fill_diagonal(kept, np.maximum(np.diag(kept), 0.0))
    redundancy = np.clip(np.diag(adjusted), 0.0, 1.0)
    change = solved.solution[measured] - given.value
    information = np.diag(solved.information())
    pull = solved.gradient()
    with np.errstate(invalid="ignore", divide="ignore"):
        spread = u * np.sqrt(redundancy)
        checked = redundancy >= CHECKED
        score = np.where(checked, -change / spread, np.nan)
        blamed = checked & (information >= CHECKED)
        ratio = np.where(blamed, pull**2 / information, np.nan)
        bias = np.where(blamed, u * pull / information, np.nan)
    value = solved.solution.copy()
    places = np.flatnonzero(~measured)
    lost = places[solved.unobservable]
    value[lost] = np.nan
    covariance = _full_covariance(solved, kept)
    variance = np.diag(covariance).copy()
    variance[lost] = np.inf
    covariance[lost, :] = covariance[:, lost] = np.nan
    covariance[lost, lost] = np.inf
    kinds = np.full(count, OBSERVABLE, dtype="<U13")
    kinds[lost] = UNOBSERVABLE
    kinds[measured] = np.where(checked, REDUNDANT, JUST_MEASURED)
    return Reconciled(
        value=value,
        standard_uncertainty=np.sqrt(np.maximum(variance, 0.0)),
        covariance=covariance,
        adjustment=_spread_out(change, measured),
        adjustment_uncertainty=_spread_out(spread, measured),
        redundancy=_spread_out(redundancy, measured),
        score=_spread_out(score, measured),
        likelihood_ratio=_spread_out(ratio, measured),
        bias=_spread_out(bias, measured),
        statistic=solved.statistic,
        degrees_of_freedom=dof,
        probability=chi_square_probability(solved.statistic, dof),
        birge_ratio=float(np.sqrt(solved.statistic / dof)) if dof else np.nan,
        node_score=node_scores(balance, constant, given),
        classification=kinds,
        iterations=iterations,
    )


def _full_covariance(solved: Solved, kept: Array) -> Array:
    """Covariance of all variables: the unmeasured ones follow from the measured through the balances."""
    measured = solved.readings.measured
    follow = -solved.inverse @ solved.known
    cross = follow @ kept
    full = np.empty((measured.size, measured.size))
    full[np.ix_(measured, measured)] = kept
    full[np.ix_(~measured, measured)] = cross
    full[np.ix_(measured, ~measured)] = cross.T
    full[np.ix_(~measured, ~measured)] = cross @ follow.T
    return full * np.outer(solved.scale, solved.scale)


def _spread_out(part: Array, measured: Any) -> Array:
    whole = np.full(measured.size, np.nan)
    whole[measured] = part
    return whole


@dataclass(frozen=True, eq=False)
class LinearProblem:
    """A checked linear balance with its readings."""

    balance: Array
    constant: Array
    readings: Readings
    size: Array
    """Of each variable on the scale of an uncertainty; it matters for the unmeasured ones only."""

    def solve(self) -> Solved:
        return solve(self.balance, self.constant, self.readings, self.size[~self.readings.measured])

    def without(self, members: Any) -> LinearProblem:
        """The same with some readings made unmeasured."""
        return replace(self, readings=self.readings.without(members))


def linear_problem(balance: Num, value: Num, uncertainty: Num, measured: Num, constant: Num) -> LinearProblem:
    """Checked arguments of a linear reconciliation."""
    matrix = np.array(balance, dtype=float)
    if matrix.ndim != 2 or not np.all(np.isfinite(matrix)):
        raise refuse(
            "balance",
            matrix.shape,
            phrase("survey.linear.must_be_table_numbers_one"),
        )
    right = np.zeros(len(matrix)) if constant is None else np.array(constant, dtype=float)
    if right.shape != (len(matrix),) or not np.all(np.isfinite(right)):
        raise refuse("constant", right.shape, phrase("survey.linear.must_have_one_number_for", matrix=len(matrix)))
    given = readings(value, uncertainty, measured, matrix.shape[1])
    size = np.full(given.count, float(np.median(given.uncertainty)) if given.uncertainty.size else 1.0)
    size[given.measured] = given.uncertainty
    return LinearProblem(matrix, right, given, size)


def check_consistent(solved: Solved) -> None:
    """Refuse balances that contradict each other whatever the readings are."""
    if solved.outside > 1e-7 * (
        1.0 + float(np.abs(solved.known @ (solved.readings.value / solved.readings.uncertainty)).max(initial=0.0))
    ):
        raise refuse(
            "constant",
            bound=phrase("survey.linear.balances_contradict_each_other"),
            remedy=phrase("survey.linear.check_known_constants"),
        )


def reconcile_linear(
    balance: Num, value: Num, uncertainty: Num, *, measured: Num = None, constant: Num = None
) -> Reconciled:
    """Least-squares adjustment of readings to linear balances, with all tests.

    Picture: every reading gives way in proportion to its variance until in = out at every node.
    Use for: flows. Not for: products of two unknowns (flow times consistency).
    `balance` m x n, `uncertainty` n standard uncertainties or an n x n covariance, `measured` a mask (None: all),
    `constant` the known right-hand side (None: 0). Refused if no reading can be checked by any other.
    Source: NARASIMHAN_JORDACHE_2000. Status: from memory.
    """
    problem = linear_problem(balance, value, uncertainty, measured, constant)
    if problem.readings.count > DENSE_LIMIT:
        from thinstock.survey.sparse import reconcile_large

        return reconcile_large(problem.balance, problem.constant, problem.readings)
    solved = problem.solve()
    check_consistent(solved)
    if solved.degrees_of_freedom == 0:
        raise nothing_to_check(solved)
    return result(solved, problem.balance, problem.constant, 1)


def nothing_to_check(solved: Solved) -> Exception:
    """The refusal of a survey without redundancy, with the readings that would help most (as variable numbers)."""
    best = [f"variable {i}" for i in helpful(solved)]
    return nothing_checked(phrase("survey.linear.add_one", best=", ".join(best)))


def helpful(solved: Solved, most: int = 3) -> list[int]:
    """Unmeasured variables whose reading would check most others; without any, second readings of measured ones."""
    measured = solved.readings.measured
    places = np.flatnonzero(~measured)
    follow = np.abs(solved.inverse @ solved.known)
    checks = np.sum(follow > 1e-9, axis=1) if follow.size else np.zeros(places.size)
    checks = np.where(solved.unobservable, 0, checks)
    order = [int(places[i]) for i in np.argsort(-checks, kind="stable") if checks[i] > 0]
    return (order or [int(i) for i in np.flatnonzero(measured)])[:most]


def classify(balance: Num, measured: Num) -> np.ndarray[Any, np.dtype[np.str_]]:
    """What each variable is for these measured ones: redundant, just measured, observable or unobservable.

    Needs no values: only which streams meet at which node, and which are read.
    Source: CROWE_1983. Status: from memory.
    """
    matrix = np.array(balance, dtype=float)
    count = matrix.shape[-1]
    problem = linear_problem(matrix, np.zeros(count), np.ones(count), measured, None)
    return result(problem.solve(), problem.balance, problem.constant, 1).classification
