"""Reconciliation of flows together with consistencies: water, and every component carried by it, close at once.

The products flow times consistency make it nonlinear; it is solved by repeated linear problems (see `nonlinear`).
It knows streams by number only; `balance.py` joins it to a survey.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from thinstock.formula.label import Array, Num
from thinstock.survey.constraints import Builder, Constraints, classes
from thinstock.survey.faults import nothing_checked, refuse
from thinstock.survey.linear import DENSE_LIMIT, Solved, helpful, result
from thinstock.survey.nonlinear import reconcile_smooth
from thinstock.survey.reconciled import FIXED, Readings, Reconciled, mask, readings
from thinstock.survey.start import weakly
from thinstock.words.phrase import phrase

SPARSE_START = 250
"""Above this many variables the dense method is started from the answer of the sparse one."""


def stream_constraints(
    incidence: Array,
    components: int,
    equal: Sequence[tuple[int, int]],
    fixed: Any,
    start: Array,
    node_names: Sequence[str],
    component_names: Sequence[str],
    sources: Array | None = None,
) -> Builder:
    """Balances of flows and components, and the equalities, as rows.

    A component's balance is left out at a node whose streams all carry it at the same consistency (it follows from
    the flows), and where every stream is known to carry none. `sources` (nodes x components) is what a node adds.
    """
    nodes, streams = incidence.shape
    same = classes(streams * (1 + components), equal)
    builder = Builder()
    added = np.zeros((nodes, components)) if sources is None else sources
    for node in range(nodes):
        touching = np.flatnonzero(incidence[node])
        builder.add(f"flow at {node_names[node]}", [(int(j), float(incidence[node, j])) for j in touching])
        for k in range(components):
            places = [(int(j), int(streams * (1 + k) + j)) for j in touching]
            carried = [(j, c) for j, c in places if not (fixed[c] and start[c] == 0.0)]
            mixed = len({same[c] for _, c in carried}) > 1 or len(carried) < len(places)
            if carried and (mixed or added[node, k] != 0.0):
                terms = [(j, c, float(incidence[node, j])) for j, c in carried]
                name = f"{component_names[k]} at {node_names[node]}"
                builder.add(name, product=terms, constant=-float(added[node, k]))
    for i, j in equal:
        if not (fixed[i] and fixed[j]):
            builder.same(phrase("survey.bilinear.equality_variables", i=i, j=j), i, j)
    return builder


def reconcile_bilinear(
    balance: Num,
    value: Num,
    uncertainty: Num,
    *,
    components: int,
    measured: Num = None,
    fixed: Num = None,
    equal: Sequence[tuple[int, int]] = (),
    start: Num = None,
) -> Reconciled:
    """Adjustment of flows and consistencies until flow and every component close at every node.

    `balance` nodes x n streams (+1 in, -1 out); `value` the flows, then n consistencies of component 1, of
    component 2, ...; `fixed` a mask of entries held at their value; `equal` pairs of variables that are the same.
    Source: NARASIMHAN_JORDACHE_2000, CROWE_1983. Status: from memory.
    """
    incidence = np.array(balance, dtype=float)
    if incidence.ndim != 2 or not np.all(np.isfinite(incidence)):
        raise refuse("balance", incidence.shape, phrase("survey.bilinear.must_be_table_numbers_one"))
    count = incidence.shape[1] * (1 + components)
    holding = mask(fixed, count, "fixed")
    reading = np.ones(count, dtype=bool) if measured is None else mask(measured, count)
    given = readings(value, uncertainty, reading & ~holding, count)
    held = np.asarray(value, dtype=float)
    if not np.all(np.isfinite(held[holding])):
        raise refuse("fixed", bound=phrase("survey.bilinear.fixed_entry_needs_value"))
    pairs = [(int(i), int(j)) for i, j in equal]
    nodes = [f"node {i}" for i in range(len(incidence))]
    names = [f"component {k}" for k in range(components)]
    rows = stream_constraints(incidence, components, pairs, holding, np.where(holding, held, 0.0), nodes, names)
    begin = stream_start(incidence, components, given, holding, held, pairs, start)
    return reconcile_constraints(rows.build(count), given, holding, begin)


def stream_start(
    incidence: Array,
    components: int,
    given: Readings,
    fixed: Any,
    held: Array,
    equal: Sequence[tuple[int, int]],
    prior: Num = None,
    sources: Array | None = None,
) -> Array:
    """A start for all flows and consistencies; `prior` holds a machine's values (nan where there is none)."""
    streams = incidence.shape[1]
    count = streams * (1 + components)
    reading, spread = np.full(count, np.nan), np.ones(count)
    reading[given.measured[:count]] = given.value[: int(given.measured[:count].sum())]
    spread[given.measured[:count]] = given.uncertainty[: int(given.measured[:count].sum())]
    reading[fixed] = held[fixed]
    spread[fixed] = 1e-9 * (1.0 + np.abs(held[fixed]))
    hint = np.full(count, np.nan) if prior is None else np.array(prior, dtype=float)
    if hint.shape != (count,):
        raise refuse("start", hint.shape, phrase("survey.bilinear.must_have_one_number_for", count=count))
    out = np.empty(count)
    for k in range(1 + components):
        part = slice(streams * k, streams * (k + 1))
        carried = incidence if k == 0 else incidence * out[:streams]
        right = np.zeros(len(incidence))
        if k and sources is not None:
            right = -sources[:, k - 1]
        pairs = [
            (i - part.start, j - part.start) for i, j in equal if part.start <= min(i, j) and max(i, j) < part.stop
        ]
        out[part] = weakly(carried, right, reading[part], spread[part], hint[part], pairs)
    out[fixed] = held[fixed]
    return out


def reconcile_constraints(
    constraints: Constraints, given: Readings, fixed: Any, start: Array, describe: Any = None
) -> Reconciled:
    """Reconcile under constraints with some variables fixed; `describe` names variables where nothing is checked."""
    small, part, begin = constraints.held(start, ~fixed), over_free(given, ~fixed), start[~fixed]
    if small.count > DENSE_LIMIT:
        from thinstock.survey.sparse import reconcile_sparse

        found = reconcile_sparse(small, part, begin)
    else:
        solved, balance, constant, passes = reconcile_smooth(
            small.residual,
            lambda x: small.jacobian(x).toarray(),
            part,
            _nearer(small, part, begin) if small.count > SPARSE_START else begin,
            small.names,
        )
        if solved.degrees_of_freedom == 0:
            raise _nothing(solved, np.flatnonzero(~fixed), describe)
        found = result(solved, balance, constant, passes)
    return with_fixed(found, fixed, start)


def _nearer(constraints: Constraints, given: Readings, begin: Array) -> Array:
    """A better start by the sparse route, whose passes are many times cheaper; the dense one then has the last word."""
    from thinstock.survey.sparse import settled

    try:
        return settled(constraints.residual, constraints.jacobian, given, begin, constraints.names)[0]
    except RuntimeError:
        return begin


def _nothing(solved: Solved, places: Any, describe: Any) -> Exception:
    best = [int(places[i]) for i in helpful(solved)]
    words = ", ".join(describe(i) if describe is not None else f"variable {i}" for i in best)
    return nothing_checked(phrase("survey.bilinear.add_one", words=words))


def over_free(given: Readings, free: Any) -> Readings:
    """The readings numbered over the free variables only."""
    return Readings(
        measured=given.measured[free],
        value=given.value,
        uncertainty=given.uncertainty,
        correlation=given.correlation,
        root=given.root,
    )


def with_fixed(found: Reconciled, fixed: Any, held: Array) -> Reconciled:
    """The result over all variables, the fixed ones at their value with no uncertainty."""
    if not np.any(fixed):
        return found
    free = np.flatnonzero(~fixed)

    def wide(part: Array, fill: float) -> Array:
        whole = np.full(fixed.size, fill)
        whole[free] = part
        return whole

    covariance = None
    if found.covariance is not None:
        covariance = np.zeros((fixed.size, fixed.size))
        covariance[np.ix_(free, free)] = found.covariance
    value = wide(found.value, 0.0)
    value[fixed] = held[fixed]
    kinds = np.full(fixed.size, FIXED, dtype=found.classification.dtype)
    kinds[free] = found.classification
    return Reconciled(
        value=value,
        standard_uncertainty=wide(found.standard_uncertainty, 0.0),
        covariance=covariance,
        adjustment=wide(found.adjustment, np.nan),
        adjustment_uncertainty=wide(found.adjustment_uncertainty, np.nan),
        redundancy=wide(found.redundancy, np.nan),
        score=wide(found.score, np.nan),
        likelihood_ratio=wide(found.likelihood_ratio, np.nan),
        bias=wide(found.bias, np.nan),
        statistic=found.statistic,
        degrees_of_freedom=found.degrees_of_freedom,
        probability=found.probability,
        birge_ratio=found.birge_ratio,
        node_score=found.node_score,
        classification=kinds,
        iterations=found.iterations,
    )
