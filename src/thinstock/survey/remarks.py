"""What a reconciled survey should make its reader wary of: blind readings, uncertainties too small, parts unread.

Remarks only: nothing here is refused, and no uncertainty is changed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from thinstock.survey.network import Network
from thinstock.survey.reconciled import Reconciled
from thinstock.survey.table import Survey
from thinstock.words.note import Level, Note, in_order
from thinstock.words.phrase import phrase

LITTLE_CHECKED = 0.05
FAR = 3.0


def remarks(
    survey: Survey, network: Network, result: Reconciled, value: Mapping[tuple[str, str], float], reading_index: Any
) -> tuple[Note, ...]:
    """Notes on a reconciliation, the weightiest first; `reading_index` gives the variable of each reading."""
    notes = [*_of_readings(survey, result, reading_index), *_of_values(value), *_of_the_whole(survey, network, result)]
    return tuple(in_order(notes))


def _note(part: str, level: Level, key: str, **slots: object) -> Note:
    return Note(part=part, level=level, text=phrase(f"remarks.{key}", **slots))


def _of_readings(survey: Survey, result: Reconciled, index: Any) -> Iterator[Note]:
    rows = zip(survey.readings, result.redundancy[index], result.adjustment[index], strict=True)
    for reading, redundancy, moved in rows:
        part = f"{reading.stream} {reading.quantity}"
        if redundancy < LITTLE_CHECKED and redundancy >= 1e-6:
            yield _note(part, "blind spot", "checked_little", share=f"{100 * redundancy:.2g}")
        elif redundancy < LITTLE_CHECKED:
            yield _note(part, "blind spot", "checked_nothing")
        if abs(moved) > FAR * reading.standard_uncertainty:
            yield _note(part, "unusual", "moved", count=f"{abs(moved) / reading.standard_uncertainty:.1f}")


def _of_values(values: Mapping[tuple[str, str], float]) -> Iterator[Note]:
    flows = [abs(v) for (_, q), v in values.items() if q == "flow" and np.isfinite(v)]
    dust = 1e-9 * max(flows, default=0.0)
    for (stream, quantity), value in values.items():
        part = f"{stream} {quantity}"
        base = quantity.partition(":")[0]
        if quantity == "consistency:heat" or np.isnan(value):
            continue
        if quantity == "flow" and abs(value) <= dust:
            yield _note(part, "blind spot", "nothing")
        elif base in ("flow", "solids") and value < 0.0:
            yield _note(part, "unusual", "negative", value=f"{value:.4g}")
        elif base in ("consistency", "share") and not 0.0 <= value <= 1.0:
            yield _note(part, "unusual", "outside", value=f"{value:.4g}")


def _of_the_whole(survey: Survey, network: Network, result: Reconciled) -> Iterator[Note]:
    read = {r.stream for r in survey.readings}
    for part in network.parts():
        if not read & set(part):
            names = ", ".join(part[:5]) + (" ..." if len(part) > 5 else "")
            yield _note("network", "blind spot", "unread", list=names)
    ratio = result.birge_ratio
    if ratio > 2.0:
        yield _note("survey", "unusual", "too_far", ratio=f"{ratio:.1f}")
    elif ratio < 0.5:
        yield _note("survey", "unusual", "too_near", ratio=f"{ratio:.2f}")
