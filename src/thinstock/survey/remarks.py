"""What a reconciled survey should make its reader wary of: blind readings, uncertainties too small, parts unread.

Remarks only: nothing here is refused, and no uncertainty is changed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thinstock.words.note import Note, in_order

if TYPE_CHECKING:
    from thinstock.survey.balance import Reconciliation

LITTLE_CHECKED = 0.05
FAR = 3.0


def remarks(found: Reconciliation) -> tuple[Note, ...]:
    """Notes on a reconciliation, the weightiest first."""
    notes: list[Note] = [*_of_readings(found), *_of_values(found), *_of_the_whole(found)]
    return tuple(in_order(notes))


def _of_readings(found: Reconciliation) -> list[Note]:
    notes = []
    change = found.result.adjustment[found.reading_index]
    for reading, redundancy, moved in zip(found.survey.readings, found.redundancy, change, strict=True):
        part = f"{reading.stream} {reading.quantity}"
        if redundancy < LITTLE_CHECKED:
            checked = f"only {100 * redundancy:.2g} %" if redundancy >= 1e-6 else "nothing"
            text = f"{checked} of this reading's variance is checked: an error here goes unseen"
            notes.append(Note(part=part, level="blind spot", text=text))
        if abs(moved) > FAR * reading.standard_uncertainty:
            text = f"moved by {abs(moved) / reading.standard_uncertainty:.1f} standard uncertainties"
            notes.append(Note(part=part, level="unusual", text=text))
    return notes


def _of_values(found: Reconciliation) -> list[Note]:
    notes = []
    flows = [abs(v) for (_, q), v in found.value.items() if q == "flow" and np.isfinite(v)]
    dust = 1e-9 * max(flows, default=0.0)
    for (stream, quantity), value in found.value.items():
        part = f"{stream} {quantity}"
        base = quantity.partition(":")[0]
        if quantity == "consistency:heat" or np.isnan(value):
            continue
        if quantity == "flow" and abs(value) <= dust:
            text = "comes out as nothing: with no flow read around it, consistencies that disagree leave only that"
            notes.append(Note(part=part, level="blind spot", text=text))
        elif base in ("flow", "solids") and value < 0.0:
            notes.append(Note(part=part, level="unusual", text=f"comes out negative ({value:.4g} kg/s)"))
        elif base in ("consistency", "share") and not 0.0 <= value <= 1.0:
            notes.append(Note(part=part, level="unusual", text=f"comes out outside 0 to 1 ({value:.4g})"))
    return notes


def _of_the_whole(found: Reconciliation) -> list[Note]:
    notes = []
    read = {r.stream for r in found.survey.readings}
    for part in found.network.parts():
        if not read & set(part):
            names = ", ".join(part[:5]) + (" ..." if len(part) > 5 else "")
            text = f"no reading touches this part of the network: {names}"
            notes.append(Note(part="network", level="blind spot", text=text))
    ratio = found.result.birge_ratio
    if ratio > 2.0:
        text = f"readings disagree {ratio:.1f} times more than stated: uncertainties too small, or several errors"
        notes.append(Note(part="survey", level="unusual", text=text))
    elif ratio < 0.5:
        text = (
            f"readings agree much better than stated (ratio {ratio:.2f}): uncertainties too large, or not independent"
        )
        notes.append(Note(part="survey", level="unusual", text=text))
    return notes
