"""What one more reading would be worth: how much surer other values become, and how small an error would be found.

It plans the next round; it does not judge the last one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from thinstock.formula.label import Array, Num
from thinstock.survey.balance import Key, Reconciliation, reconcile
from thinstock.survey.faults import refuse
from thinstock.survey.linear import linear_problem, result
from thinstock.survey.network import Network
from thinstock.survey.power import smallest_error_found
from thinstock.survey.reconciled import mask
from thinstock.survey.table import Reading, Survey
from thinstock.words.phrase import phrase


@dataclass(frozen=True, kw_only=True, eq=False)
class MeasurementValue:
    """What one candidate reading would change."""

    index: int
    """The variable read."""
    before: Array
    """Standard uncertainties of the targets."""
    after: Array
    redundancy_before: Array
    """Redundancies of the targets (nan where not measured)."""
    redundancy_after: Array


def value_of_measurement(
    balance: Num,
    uncertainty: Num,
    *,
    candidates: Iterable[tuple[int, float]],
    targets: Sequence[int],
    measured: Num = None,
) -> tuple[MeasurementValue, ...]:
    """What each candidate (variable, standard uncertainty) would do for the targets; no values are needed.

    A candidate already measured counts as a second independent reading of the same variable.
    Source: NARASIMHAN_JORDACHE_2000. Status: from memory.
    """
    matrix = np.array(balance, dtype=float)
    count = matrix.shape[-1]
    chosen = np.ones(count, dtype=bool) if measured is None else mask(measured, count)
    stated = np.array(uncertainty, dtype=float)
    covariance = np.diag(np.where(chosen, stated, 1.0) ** 2) if stated.ndim == 1 else stated.copy()
    aim = [int(t) for t in targets]
    before = _spread(matrix, covariance, chosen)
    out = []
    for index, u in candidates:
        if not 0 <= index < count:
            raise refuse("candidates", index, phrase("survey.planning.variables_numbered_to", count=count - 1))
        if not u > 0.0:
            raise refuse(
                phrase("survey.planning.uncertainty_candidate", index=index), u, phrase("survey.planning.must_be_above")
            )
        after = _spread(*_with_reading(matrix, covariance, chosen, index, u))
        out.append(
            MeasurementValue(
                index=index,
                before=before[0][aim],
                after=after[0][aim],
                redundancy_before=before[1][aim],
                redundancy_after=after[1][aim],
            )
        )
    return tuple(out)


def _spread(balance: Array, covariance: Array, measured: Any) -> tuple[Array, Array]:
    problem = linear_problem(balance, np.zeros(balance.shape[1]), covariance, measured, None)
    found = result(problem.solve(), problem.balance, problem.constant, 1)
    return found.standard_uncertainty, found.redundancy


def _with_reading(
    balance: Array, covariance: Array, measured: Any, index: int, uncertainty: float
) -> tuple[Array, Array, Any]:
    """The problem with one more reading; a second one of the same variable is a variable of its own, tied to it."""
    if not measured[index]:
        more, now = covariance.copy(), measured.copy()
        more[index, :] = more[:, index] = 0.0
        more[index, index] = uncertainty**2
        now[index] = True
        return balance, more, now
    rows, count = balance.shape
    wider = np.zeros((rows + 1, count + 1))
    wider[:rows, :count] = balance
    wider[rows, index], wider[rows, count] = 1.0, -1.0
    more = np.zeros((count + 1, count + 1))
    more[:count, :count] = covariance
    more[count, count] = uncertainty**2
    return wider, more, np.append(measured, True)


@dataclass(frozen=True, kw_only=True, eq=False)
class ReadingValue:
    """What one more reading on a network would change, by (stream, quantity)."""

    index: Key
    """What is read."""
    before: dict[Key, float]
    """Standard uncertainties."""
    after: dict[Key, float]
    redundancy_before: dict[Key, float]
    """Of what is read; the first of two readings of one quantity."""
    redundancy_after: dict[Key, float]


def value_of_reading(
    network: Network,
    survey: Survey,
    candidates: Iterable[Reading | tuple[str, str, float]],
    *,
    start: Mapping[Key, float] | None = None,
) -> tuple[ReadingValue, ...]:
    """What each candidate reading would change; it is given the reconciled value, so that nothing else moves.

    A candidate is a `Reading` (its value counts only where the balance gives none) or (stream, quantity, standard
    uncertainty). `start` as in `reconcile`. Source: NARASIMHAN_JORDACHE_2000. Status: from memory.
    """
    now = reconcile(network, survey, start=start)
    begin = dict(start or {}) | {key: value for key, value in now.value.items() if np.isfinite(value)}
    before = _redundancies(now)
    out = []
    for candidate in candidates:
        reading = candidate if isinstance(candidate, Reading) else Reading(*candidate[:2], np.nan, candidate[2])
        key = (reading.stream, reading.quantity)
        reading = replace(reading, value=_expected(now, key, reading.value), given={})
        then = reconcile(network, replace(survey, readings=(*survey.readings, reading)), start=begin)
        after = _redundancies(then)
        out.append(
            ReadingValue(
                index=key,
                before=dict(now.standard_uncertainty),
                after=dict(then.standard_uncertainty),
                redundancy_before=before,
                redundancy_after=after,
            )
        )
    return tuple(out)


def _expected(found: Reconciliation, key: Key, stated: float) -> float:
    """What the candidate would most likely read."""
    stream, quantity = key
    base, _, name = quantity.partition(":")
    value = found.value.get(key, np.nan)
    if not np.isfinite(value):
        parts = {
            found.network.components[k]: found.value.get((stream, f"consistency:{found.network.components[k]}"), np.nan)
            for k in found.network.solids
        }
        total = float(sum(parts.values()))
        by_quantity = {
            "consistency": total,
            "share": parts.get(name, np.nan) / total if total else np.nan,
            "solids": total * found.value.get((stream, "flow"), np.nan),
        }
        value = by_quantity.get(base, np.nan)
    if not np.isfinite(value):
        value = stated
    if not np.isfinite(value):
        remedy = phrase("survey.planning.give_reading_with_value_you")
        raise refuse(
            f"candidate {stream} {quantity}",
            bound=phrase("survey.planning.survey_says_nothing_its_value"),
            remedy=remedy,
        )
    return float(value)


def _redundancies(found: Reconciliation) -> dict[Key, float]:
    out: dict[Key, float] = {}
    for reading, redundancy in zip(found.survey.readings, found.redundancy, strict=True):
        out.setdefault((reading.stream, reading.quantity), float(redundancy))
    return out


def detectable_errors(found: Reconciliation, significance: float, power: float) -> Array:
    """The smallest error of each reading with which the round fails its test so often, as a share of what was read.

    The surveyor's plan: where this is large or infinite, the instrument may be wrong without anyone noticing. The test
    is the global one, which decides; see `smallest_error_found`.
    Source: TEXTBOOK_STATISTICS, DERIVED. Status: derived.
    """
    read = np.array([r.value for r in found.survey.readings])
    u = np.array([r.standard_uncertainty for r in found.survey.readings])
    checked = np.where(found.redundancy < 1e-10, 0.0, found.redundancy)
    degrees = max(float(found.result.degrees_of_freedom), 1.0)
    size = smallest_error_found(u, checked, degrees, significance, power)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(size / np.abs(read))
