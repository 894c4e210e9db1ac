"""Reconciliation of very large networks by sparse factorisation, with faint priors where nothing is read.

The symmetric system of readings, balances and multipliers is factorised once per pass. An unread variable is drawn
to where it was; after the last pass that pull is nil for whatever the balances determine, so values and statistic are
exact. For the uncertainties the priors are made very faint: their own redundancy says what is observable.
Source: ROMAGNOLI_SANCHEZ_2000. Status: from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.formula.label import Array
from thinstock.survey.constraints import Constraints
from thinstock.survey.faults import nothing_checked
from thinstock.survey.reconciled import (
    JUST_MEASURED,
    OBSERVABLE,
    REDUNDANT,
    UNOBSERVABLE,
    Readings,
    Reconciled,
)
from thinstock.survey.settle import SETTLED, chi_square_probability, node_scores, settle, typical_size
from thinstock.words.phrase import phrase

PULL, LEAST_PULL = 1e-6, 1e-11
"""Weight of the pull of an unread variable to where it was, per typical size: at first, and where that is too slow."""
PRIOR = 1e-15
"""The same when uncertainties are worked out: a prior 3e7 times as wide as the typical size."""
SLACK = 1e-16
"""What a balance may give per unit of its multiplier within one pass; made good by the next."""
CHECKED = 1e-7
"""A reading with a redundancy below this counts as checked by nothing: a faint prior would show as much."""
PROBES, FOLLOWS = 8, 1e-6
"""Random moves of all priors, and the share of them that a determined variable does not follow."""
COLUMNS = 64


@dataclass(eq=False)
class _System:
    """The symmetric system at one point: weights of readings and priors, balances, and its factors."""

    given: Readings
    scale: Array
    weight: Any
    """Inverse correlation of the readings."""
    multiplier: Array
    pull: float = PULL
    last: float = np.inf
    quiet: int = 0
    """Passes since the readings stopped moving."""

    def factors(self, balance: Any, prior: float) -> tuple[Any, Any, Array]:
        """(Factors, scaled balance, row lengths)."""
        from scipy.sparse import block_array, csr_array, diags_array
        from scipy.sparse.linalg import splu

        scaled = csr_array(balance @ diags_array(self.scale))
        length = np.sqrt(np.asarray(scaled.multiply(scaled).sum(axis=1)).ravel())
        length[length == 0.0] = 1.0
        scaled = csr_array(diags_array(1.0 / length) @ scaled)
        slack = diags_array(np.full(length.size, SLACK))
        whole = self.weight + diags_array(np.where(self.given.measured, 0.0, prior))
        return splu(block_array([[whole, scaled.T], [scaled, -slack]]).tocsc()), scaled, length

    def step(self, balance: Any, residual: Array, x: Array) -> tuple[Array, Array, Array]:
        """(Next x, row lengths, size of a step that counts)."""
        factors, scaled, length = self.factors(balance, self.pull)
        known = self.given.measured
        away = np.zeros(x.size)
        away[known] = (self.given.value - x[known]) / self.given.uncertainty
        right = np.concatenate([self.weight @ away - scaled.T @ (self.multiplier * length), -residual / length])
        found = factors.solve(right)
        self.multiplier = self.multiplier + found[x.size :] / length
        move = found[: x.size]
        return x + move * self.scale, length, self.scale * self._leave(move)

    def _leave(self, move: Array) -> Array:
        """How much larger a step may be where nothing is read; the pull eases where the walk is slow.

        What the readings hardly determine wanders by rounding even when all else stands still.
        """
        known = self.given.measured
        size = float(np.abs(move).max(initial=0.0))
        if size > 0.3 * self.last:
            self.pull = max(0.1 * self.pull, LEAST_PULL)
        self.last = size
        self.quiet = self.quiet + 1 if np.abs(move[known]).max(initial=0.0) < SETTLED else 0
        return np.where(known, 1.0, 1e3 if self.quiet < 4 else 1e7)


def _weights(given: Readings) -> Any:
    """Inverse correlation of the readings as a sparse matrix over all variables."""
    from scipy.sparse import coo_array, csr_array, diags_array
    from scipy.sparse.csgraph import connected_components

    count = given.count
    places = np.flatnonzero(given.measured)
    weight = csr_array(diags_array(given.measured.astype(float)))
    if given.correlation is None:
        return weight
    parts, label = connected_components(csr_array(np.abs(given.correlation) > 0.0), directed=False)
    rows, columns, data = [], [], []
    for part in range(parts):
        inside = np.flatnonzero(label == part)
        if inside.size > 1:
            block = np.linalg.inv(given.correlation[np.ix_(inside, inside)]) - np.eye(inside.size)
            rows.append(np.repeat(places[inside], inside.size))
            columns.append(np.tile(places[inside], inside.size))
            data.append(block.ravel())
    where = (np.concatenate(rows), np.concatenate(columns))
    return csr_array(weight + coo_array((np.concatenate(data), where), shape=(count, count)))


def reconcile_large(balance: Array, constant: Array, given: Readings) -> Reconciled:
    """A linear problem on the sparse route."""
    from scipy.sparse import csr_array

    table = csr_array(balance)
    start = np.full(given.count, float(np.median(np.abs(given.value))))
    start[given.measured] = given.value
    names = [f"balance {i}" for i in range(len(balance))]

    def residual(x: Array) -> Array:
        return np.asarray(table @ x - constant)

    return _reconcile(residual, lambda x: table, given, start, names)


def reconcile_sparse(constraints: Constraints, given: Readings, start: Array) -> Reconciled:
    """Quadratic balances on the sparse route."""
    return _reconcile(constraints.residual, constraints.jacobian, given, start, constraints.names)


def settled(residual: Any, jacobian: Any, given: Readings, start: Array, names: Any) -> tuple[Array, _System, int]:
    """(Reconciled values, the system they were found with, passes)."""
    scale = np.empty(given.count)
    scale[given.measured] = given.uncertainty
    scale[~given.measured] = typical_size(start, given.measured)
    system = _System(given, scale, _weights(given), np.zeros(len(names)))

    def step(x: Array) -> tuple[Array, Array, Array]:
        return system.step(jacobian(x), residual(x), x)

    x, passes = settle(residual, step, start, names)
    return x, system, passes


def _reconcile(residual: Any, jacobian: Any, given: Readings, start: Array, names: Any) -> Reconciled:
    x, system, passes = settled(residual, jacobian, given, start, names)
    return _result(x, system, jacobian(x), residual(x), passes)


def _result(x: Array, system: _System, balance: Any, residual: Array, passes: int) -> Reconciled:
    given, scale = system.given, system.scale
    count, measured = given.count, given.measured
    places = np.flatnonzero(measured)
    variance, information, shared, unobservable = _diagonals(system, balance)
    change = (x[measured] - given.value) / given.uncertainty
    pull = -np.asarray(system.weight[places][:, places] @ change)
    redundancy = np.clip(1.0 - variance[measured], 0.0, 1.0)
    dof = round(float(places.size - shared))
    if dof == 0:
        raise nothing_checked(phrase("survey.sparse.add_second_reading_stream_s"))
    checked = redundancy >= CHECKED
    blamed = checked & (information[measured] >= CHECKED)
    unseen = ~measured & unobservable
    with np.errstate(invalid="ignore", divide="ignore"):
        spread = given.uncertainty * np.sqrt(redundancy)
        score = np.where(checked, -change * given.uncertainty / spread, np.nan)
        ratio = np.where(blamed, pull**2 / information[measured], np.nan)
        bias = np.where(blamed, given.uncertainty * pull / information[measured], np.nan)
    statistic = float(-pull @ change)
    kinds = np.full(count, OBSERVABLE, dtype="<U13")
    kinds[measured] = np.where(checked, REDUNDANT, JUST_MEASURED)
    kinds[unseen] = UNOBSERVABLE

    def wide(part: Array) -> Array:
        whole = np.full(count, np.nan)
        whole[measured] = part
        return whole

    return Reconciled(
        value=np.where(unseen, np.nan, x),
        standard_uncertainty=np.where(unseen, np.inf, scale * np.sqrt(np.maximum(variance, 0.0))),
        covariance=None,
        adjustment=wide(change * given.uncertainty),
        adjustment_uncertainty=wide(spread),
        redundancy=wide(redundancy),
        score=wide(score),
        likelihood_ratio=wide(ratio),
        bias=wide(bias),
        statistic=statistic,
        degrees_of_freedom=dof,
        probability=chi_square_probability(statistic, dof),
        birge_ratio=float(np.sqrt(statistic / dof)),
        node_score=node_scores(balance, balance @ x - residual, given),
        classification=kinds,
        iterations=passes,
    )


def _diagonals(system: _System, balance: Any) -> tuple[Array, Array, float, Any]:
    """Scaled variances, G^T H^-1 G, trace(weight * covariance) over the readings, and what cannot be observed."""
    factors, scaled, _ = system.factors(balance, PRIOR)
    rows = scaled.shape[0]
    unobservable = _follows_its_prior(factors, system.given.measured, rows)
    count = system.given.count
    weight = system.weight.tocsc()
    variance, information = np.empty(count), np.empty(count)
    trace = 0.0
    for start in range(0, count, COLUMNS):
        stop = min(start + COLUMNS, count)
        right = np.zeros((count + rows, stop - start))
        right[np.arange(start, stop), np.arange(stop - start)] = 1.0
        covariance = factors.solve(right)[:count]
        block = weight[:, start:stop]
        variance[start:stop] = covariance[np.arange(start, stop), np.arange(stop - start)]
        mixed = np.asarray(block.multiply(covariance).sum(axis=0)).ravel()
        trace += float(mixed[system.given.measured[start:stop]].sum())
        if system.given.correlation is None:
            information[start:stop] = 1.0 - variance[start:stop]
        else:
            right[:count] = block.toarray()
            weighted = factors.solve(right)[:count]
            own = np.asarray(weight[np.arange(start, stop), np.arange(start, stop)]).ravel()
            information[start:stop] = own - np.asarray(block.multiply(weighted).sum(axis=0)).ravel()
    return variance, information, trace, unobservable


def _follows_its_prior(factors: Any, measured: Any, rows: int) -> Any:
    """Variables that go along when the priors are moved at random: the balances do not determine them."""
    generator = np.random.Generator(np.random.Philox(1))
    moved = PRIOR * generator.standard_normal((measured.size, PROBES)) * ~measured[:, None]
    followed = factors.solve(np.vstack([moved, np.zeros((rows, PROBES))]))[: measured.size]
    return np.abs(followed).max(axis=1) > FOLLOWS
