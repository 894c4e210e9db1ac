"""What changed between two rounds on one machine, and below which size no change can be claimed.

What both rounds have in common (one meter, one person, one tank, by the name of its group) cancels in the difference.
Every other error is taken as new in each round. It says that something changed, never why.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from thinstock.formula.label import Array
from thinstock.survey.balance import Key, Reconciliation
from thinstock.survey.change_tests import joint_change, step_down_change
from thinstock.survey.findings import Findings
from thinstock.survey.round import check_same_machine
from thinstock.survey.suspected import independent
from thinstock.survey.table import Survey

SIGNIFICANCE = 0.05
SHARE = 1.96
"""Standard uncertainties of a 95 % interval."""


@dataclass(frozen=True, kw_only=True)
class Change:
    """One value before and after."""

    stream: str
    quantity: str
    before: float
    after: float
    standard_uncertainty: float
    """Of after - before."""
    independent: float
    """The same, had nothing been shared between the rounds."""
    claimed: bool = False
    """Whether it is no chance when all values are asked at once."""
    together: float = 1.0
    """Probability that all differences of the two rounds together are chance."""

    @property
    def difference(self) -> float:
        return self.after - self.before

    @property
    def claimable(self) -> float:
        """Smallest difference of this value that is not chance in nineteen pairs of twenty, asked of it alone."""
        return SHARE * self.standard_uncertainty


def changes(before: Findings, after: Findings) -> tuple[Change, ...]:
    """Values known in both rounds with the uncertainty of their difference: all of them tested at once, then each.

    Source: DERIVED, ROMANO_WOLF_2005. Status: derived (linear propagation; shared groups of both tables as common
    variance).
    """
    check_same_machine(before.round, after.round)
    a, b = before.reconciliation, after.reconciliation
    keys = [k for k in _keys(a) if k in set(_keys(b))]
    map_a, map_b = _map(a, keys), _map(b, keys)
    common = _common(before, after)
    own = map_a @ a.survey.covariance() @ map_a.T + map_b @ b.survey.covariance() @ map_b.T
    both = map_a @ common @ map_b.T
    covariance = own - both - both.T
    difference = np.array([b.value[k] - a.value[k] for k in keys])
    together, said = _tested(difference, covariance, independent(map_a))
    return tuple(
        Change(
            stream=stream,
            quantity=_told(quantity),
            before=a.value[stream, quantity],
            after=b.value[stream, quantity],
            standard_uncertainty=float(np.sqrt(max(covariance[i, i], 0.0))),
            independent=float(np.sqrt(own[i, i])),
            claimed=bool(said[i]),
            together=together,
        )
        for i, (stream, quantity) in enumerate(keys)
    )


def _tested(difference: Array, covariance: Array, free: list[int]) -> tuple[float, Array]:
    """(Probability that all is chance, which values are said to have changed).

    The joint test runs over values that are independent of each other; a balance makes the rest of them.
    """
    small = 1e-20 + 1e-12 * np.diag(covariance).max()
    moving = np.diag(covariance) > small
    chosen = [i for i in free if moving[i]]
    if not chosen:
        return 1.0, np.zeros(difference.size, dtype=bool)
    _, _, together = joint_change(difference[chosen], covariance[np.ix_(chosen, chosen)])
    said = np.zeros(difference.size, dtype=bool)
    if together < SIGNIFICANCE:
        places = np.flatnonzero(moving)
        said[places] = step_down_change(
            difference[places], covariance[np.ix_(places, places)], significance=SIGNIFICANCE
        )
    return together, said


def cross_covariance(before: Survey, after: Survey) -> Array:
    """Covariance of each reading of one round with each of the other, by the groups both name.

    Source: DERIVED. Status: derived.
    """
    u_a = np.array([r.standard_uncertainty for r in before.readings])
    u_b = np.array([r.standard_uncertainty for r in after.readings])
    names = {n for r in before.readings for n, _ in r.group} & {n for r in after.readings for n, _ in r.group}
    total = np.zeros((u_a.size, u_b.size))
    for name in sorted(names):
        first = np.array([dict(r.group).get(name, 0.0) for r in before.readings])
        second = np.array([dict(r.group).get(name, 0.0) for r in after.readings])
        total += np.outer(
            np.sign(first) * np.sqrt(np.abs(first)) * u_a, np.sign(second) * np.sqrt(np.abs(second)) * u_b
        )
    return total


def _common(before: Findings, after: Findings) -> Array:
    """Covariance of the readings of both balances; what the heat balance adds hangs on the readings it is made from."""
    heat_a, heat_b = before.round.heat, after.round.heat
    common = _on_table(before) @ cross_covariance(before.round.survey, after.round.survey) @ _on_table(after).T
    if heat_a is not None and heat_b is not None:
        rows = [i for i, r in enumerate(before.rows) if r.number == 0]
        columns = [j for j, r in enumerate(after.rows) if r.number == 0]
        shared = sum(heat_a.assumed[n] * heat_b.assumed[n] for n in heat_a.assumed if n in heat_b.assumed)
        common[np.ix_(rows, columns)] += shared
    return common


def _on_table(findings: Findings) -> Array:
    """How each reading of the balance hangs on the readings of the table."""
    matrix = np.zeros((len(findings.rows), len(findings.round.survey.readings)))
    for i, row in enumerate(findings.rows):
        if row.number:
            matrix[i, row.number - 1] = 1.0
        elif findings.round.heat is not None:
            for k, slope in findings.round.heat.slopes.items():
                matrix[i, k] = slope
    return matrix


def _keys(found: Reconciliation) -> list[Key]:
    """Values to compare: flows, and consistencies of streams that carry fibre."""
    single = len(found.network.solids) == 1
    keys = []
    for (stream, quantity), value in found.value.items():
        base, _, name = quantity.partition(":")
        if not np.isfinite(value) or (stream in found.network.clean and base != "flow"):
            continue
        if base in ("flow", "solids", "share") or (base == "consistency" and (single or not name) and name != "heat"):
            if single and base == "consistency" and not name:
                continue
            keys.append((stream, quantity))
    return keys


def _told(quantity: str) -> str:
    return "consistency" if quantity == "consistency:fibre" else quantity


def _map(found: Reconciliation, keys: list[Key]) -> Array:
    """How the values hang on the readings: rows are values, columns are readings, in the order of the survey.

    The covariance of all values with the reconciled readings is this map times the readings' covariance.
    """
    readings = [found.keys[i] for i in found.reading_index]
    covariance = _columns(found, keys)
    given = found.survey.covariance()
    assert len(readings) == len(given)
    return np.asarray(np.linalg.solve(given, covariance.T).T, dtype=np.float64)


def _columns(found: Reconciliation, keys: list[Key]) -> Array:
    assert found.result.covariance is not None
    place = {key: i for i, key in reversed(list(enumerate(found.keys)))}
    return found.result.covariance[np.ix_([place[k] for k in keys], list(found.reading_index))]
