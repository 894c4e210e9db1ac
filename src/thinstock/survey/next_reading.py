"""What to read next time: which one reading more makes the values that one measures for surer, best first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from thinstock.survey.balance import Key, Reconciliation
from thinstock.survey.faults import NotConverged
from thinstock.survey.planning import ReadingValue, value_of_reading
from thinstock.survey.table import Reading

if TYPE_CHECKING:
    from thinstock.survey.round import Round

MOST_NEXT = 5


@dataclass(frozen=True, kw_only=True, eq=False)
class Next:
    """One more reading and what it would bring."""

    stream: str
    quantity: str
    uncertainty: float
    """Of the candidate, relative."""
    target: Key
    """The value that becomes surer by most."""
    before: float
    after: float
    """Relative standard uncertainties of the target."""
    gain: float
    """Mean shrinking of the relative uncertainties of all targets (their sum of logarithms)."""


TARGETS = (
    ("jet", "flow"),
    ("jet", "consistency"),
    ("white_water", "consistency"),
    ("thick", "flow"),
    ("reel", "solids"),
    ("overflow", "flow"),
    ("web_formed", "consistency"),
    ("web_vacuum", "consistency"),
    ("web_pressed", "consistency"),
    ("vapour", "flow"),
)
"""Values for whose sake one measures."""
CANDIDATES = (
    ("thick", "flow", 0.01),
    ("thick", "consistency", 0.02),
    ("fan", "flow", 0.03),
    ("jet", "flow", 0.03),
    ("jet", "consistency", 0.025),
    ("white_water", "flow", 0.03),
    ("white_water", "consistency", 0.08),
    ("overflow", "flow", 0.03),
    ("overflow", "consistency", 0.08),
    ("reject", "flow", 0.03),
    ("wire_shower", "flow", 0.02),
    ("felt_shower", "flow", 0.02),
    ("felt_water", "flow", 0.07),
    ("web_formed", "consistency", 0.04),
    ("web_vacuum", "consistency", 0.04),
    ("reel", "solids", 0.01),
    ("reel", "consistency", 0.003),
)
"""Readings that could be taken, with a usual relative standard uncertainty (assumed: judgement of the trade)."""


def next_readings_of(taken: Round, found: Reconciliation) -> list[Next]:
    """What is worth reading next; nothing where the readings leave the balance too open to say."""
    streams = found.network.streams
    begin = taken.network.start
    rows = []
    chosen = [
        (s, q, u) for s, q, u in CANDIDATES if s in streams and not (q == "consistency" and s in found.network.clean)
    ]
    vacuum = {s.name for s in taken.network.result.streams if s.id == "vacuum_water"}
    chosen += [(s, "flow", 0.10) for s in streams if s in vacuum]
    for stream, quantity, share in chosen:
        value = _value(found, begin, (stream, quantity))
        if not np.isfinite(value) or value <= 0.0:
            continue
        rows.append((share, Reading(stream, quantity, value, share * value)))
    try:
        worth = value_of_reading(found.network, found.survey, [r for _, r in rows], start=begin)
    except NotConverged:
        return []
    out = [_next(found, share, reading, w) for (share, reading), w in zip(rows, worth, strict=True)]
    good = [n for n in out if n is not None and n.gain > 0.02]
    return sorted(good, key=lambda n: -n.gain)[:MOST_NEXT]


def _next(found: Reconciliation, share: float, reading: Reading, worth: ReadingValue) -> Next | None:
    best: tuple[float, Key, float, float] | None = None
    gain = 0.0
    for stream, quantity in TARGETS:
        key = _held(found, (stream, quantity))
        if key not in worth.before or not np.isfinite(found.value.get(key, np.nan)) or found.value[key] == 0.0:
            continue
        before, after = (w[key] / abs(found.value[key]) for w in (worth.before, worth.after))
        before, after = min(before, 1.0), min(after, 1.0)
        if before <= 0.0:
            continue
        change = float(np.log(before / max(after, 1e-12)))
        gain += change
        if best is None or change > best[0]:
            best = (change, (stream, quantity), before, after)
    if best is None:
        return None
    return Next(
        stream=reading.stream,
        quantity=reading.quantity,
        uncertainty=share,
        target=best[1],
        before=best[2],
        after=best[3],
        gain=gain,
    )


def _held(found: Reconciliation, key: Key) -> Key:
    """A total consistency under the name it goes by in the result."""
    stream, quantity = key
    if quantity == "consistency" and key not in found.value and len(found.network.solids) == 1:
        return stream, f"consistency:{found.network.components[found.network.solids[0]]}"
    return key


def candidate_value(found: Reconciliation, key: Key) -> tuple[float, float]:
    """(Value, standard uncertainty) of what may be read, by a balance; nan where it says nothing of it.

    Source: DERIVED. Status: derived.
    """
    held = _held(found, key)
    return found.value.get(held, np.nan), found.standard_uncertainty.get(held, np.nan)


def _value(found: Reconciliation, begin: dict[Key, float], key: Key) -> float:
    """What a candidate would read: reconciled, else the machine's run."""
    stream, quantity = key
    parts = [f"consistency:{found.network.components[k]}" for k in found.network.solids]

    def one(name: str) -> float:
        value = found.value.get((stream, name), np.nan)
        return value if np.isfinite(value) else begin.get((stream, name), np.nan)

    if quantity == "flow":
        return one("flow")
    total = sum(one(p) for p in parts)
    return total * one("flow") if quantity == "solids" else total
