"""If one reading of a round is wrong: all that may be it with their odds, and the reading that would tell them apart.

Whatever explains the misfit nearly as well as the best is named beside it. Odds weigh how much the misfit falls against
how far such an instrument may plausibly be off; they are for one wrong reading. Two at once go through sets.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from thinstock.formula.label import Array
from thinstock.survey.balance import Reconciliation, reconcile
from thinstock.survey.faults import NotConverged, SurveyError
from thinstock.survey.next_reading import CANDIDATES, candidate_value
from thinstock.survey.power import separation, suspect_odds, suspect_set
from thinstock.survey.table import Reading

if TYPE_CHECKING:
    from thinstock.survey.round import Round

MARGIN = 3.84
"""Readings whose freeing lowers chi-square by so little less than the best are named beside it."""
PLAUSIBLE = 10.0
"""Size an error may plausibly have, in standard uncertainties of the reading; assumed."""
CLAMP_ON = 0.3
"""The same for a clamp-on meter, of the value; assumed."""
PRIOR = 0.05
"""Probability that a reading is wrong, before the round; assumed."""
CHECKED = 1e-10
SLIPS = (10.0, 100.0, 1000.0, 60.0, 3.6)
"""Factors by which a unit is mistaken."""
MOST = 4
MOST_APART = 3


@dataclass(frozen=True, kw_only=True)
class Suspect:
    """One reading that may be the wrong one."""

    place: int
    """Among the readings of the balance."""
    probability: float
    bias: float
    """Reading - what the rest says, SI, if it is this one."""
    slip: float
    """A factor by which its unit may be mistaken (read over true); 0 where none fits."""


@dataclass(frozen=True, kw_only=True)
class Apart:
    """A reading that would tell the suspects apart."""

    stream: str
    quantity: str
    uncertainty: float
    """Relative, as it is usually read."""
    separation: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Suspected:
    """All suspects of a round that fails its test."""

    suspects: tuple[Suspect, ...]
    """Likeliest first."""
    none: float
    """Probability that no single reading is wrong."""


def suspected(found: Reconciliation) -> Suspected:
    """All readings that may be the one wrong reading, with their odds.

    Source: DERIVED (sizes and prior assumed). Status: derived.
    """
    readings = found.survey.readings
    places = np.flatnonzero(np.asarray(found.redundancy) > CHECKED)
    index = np.asarray(found.reading_index)
    ratio = np.asarray(found.result.likelihood_ratio)[index[places]]
    bias = np.asarray(found.result.bias)[index[places]]
    u = np.array([readings[i].standard_uncertainty for i in places])
    size = np.array([_plausible(readings[i]) for i in places])
    redundancy = np.asarray(found.redundancy)[places]
    known = np.isfinite(ratio)
    odds = suspect_odds(ratio[known], (size**2 * redundancy / u**2)[known], PRIOR)
    where = np.flatnonzero(known)
    chosen = [
        Suspect(
            place=int(places[where[k]]),
            probability=float(odds[k]),
            bias=float(bias[where[k]]),
            slip=_slip(readings[places[where[k]]], float(bias[where[k]]), float(redundancy[where[k]])),
        )
        for k in suspect_set(ratio[known], MARGIN)
    ]
    return Suspected(suspects=tuple(sorted(chosen, key=lambda s: -s.probability)), none=float(odds[-1]))


def _plausible(reading: Reading) -> float:
    if "clamp" in reading.method.lower():
        return CLAMP_ON * abs(reading.value)
    return PLAUSIBLE * reading.standard_uncertainty


def _slip(reading: Reading, bias: float, redundancy: float) -> float:
    """A factor between what was read and what the rest says, where one of the usual ones lies within three u."""
    true = reading.value - bias
    if true <= 0.0 or reading.value <= 0.0:
        return 0.0
    of_rest = reading.standard_uncertainty * float(np.sqrt(max(1.0 / redundancy - 1.0, 0.0)))
    for factor in (*SLIPS, *(1.0 / s for s in SLIPS)):
        spread = float(np.hypot(reading.standard_uncertainty, factor * of_rest))
        if abs(reading.value - factor * true) <= 3.0 * spread and abs(reading.value - true) > 3.0 * spread:
            return factor
    return 0.0


@dataclass(frozen=True, kw_only=True)
class Slip:
    """One reading that the rest of the round makes another by a factor a unit is mistaken by."""

    place: int
    factor: float
    """Read over true."""


LEFT = 0.2
"""Share of the misfit that may be left without a reading whose unit is said to be mistaken (assumed)."""


def slipped(taken: Round, found: Reconciliation) -> tuple[Slip, ...]:
    """Readings whose unit may be mistaken, though no set of them explains the misfit by itself.

    Each is left out and worked out from the rest: without it most of the misfit is gone, and it was read a usual factor
    off. Source: DERIVED (factors and the share left assumed). Status: derived.
    """
    told = []
    for place, reading in enumerate(found.survey.readings):
        if not reading.value > 0.0 or found.redundancy[place] <= CHECKED:
            continue
        rest = _without(taken, found, place)
        if rest is None or rest.result.statistic > LEFT * found.result.statistic:
            continue
        true, u = _of_rest(rest, reading)
        for factor in (*SLIPS, *(1.0 / s for s in SLIPS)):
            spread = float(np.hypot(reading.standard_uncertainty, factor * u))
            if abs(reading.value - factor * true) <= 3.0 * spread < abs(reading.value - true):
                told.append(Slip(place=place, factor=factor))
    return tuple(told)


def _of_rest(rest: Reconciliation, reading: Reading) -> tuple[float, float]:
    """(Value, standard uncertainty at most) of a reading by the rest of the round; a consistency by its parts."""
    key = (reading.stream, reading.quantity)
    if key in rest.value or reading.quantity != "consistency":
        return rest.value.get(key, np.nan), rest.standard_uncertainty.get(key, np.nan)
    parts = [(reading.stream, f"consistency:{rest.network.components[k]}") for k in rest.network.solids]
    return (
        sum(rest.value.get(part, np.nan) for part in parts),
        sum(rest.standard_uncertainty.get(part, np.nan) for part in parts),
    )


def tells_apart(taken: Round, found: Reconciliation, suspects: Sequence[Suspect]) -> tuple[Apart, ...]:
    """Readings that would tell the suspects apart, best first: each is predicted with every suspect left out.

    Source: BOX_HILL_1967. Status: from memory.
    """
    chosen = list(suspects[:MOST])
    if len(chosen) < 2:
        return ()
    worlds = [w for s in chosen if (w := _without(taken, found, s.place)) is not None]
    if len(worlds) < len(chosen):
        return ()
    probability = np.array([s.probability for s in chosen])
    out = []
    for stream, quantity, share in CANDIDATES:
        if stream not in found.network.streams:
            continue
        told = [candidate_value(w, (stream, quantity)) for w in worlds]
        if not all(np.isfinite(x) and np.isfinite(u) and x > 0.0 for x, u in told):
            continue
        x, u = np.array(told).T
        out.append(
            Apart(
                stream=stream,
                quantity=quantity,
                uncertainty=share,
                separation=separation(x, u**2 + (share * x) ** 2, probability / probability.sum()),
            )
        )
    return tuple(sorted((a for a in out if a.separation > 0.1), key=lambda a: -a.separation)[:MOST_APART])


def _without(taken: Round, found: Reconciliation, place: int) -> Reconciliation | None:
    survey = found.survey
    keep = [i for i in range(len(survey.readings)) if i != place]
    moved = {old: new for new, old in enumerate(keep)}
    shared = {(moved[i], moved[j]): c for (i, j), c in survey.shared.items() if i in moved and j in moved}
    less = replace(survey, readings=tuple(survey.readings[i] for i in keep), shared=shared)
    try:
        return reconcile(found.network, less, start=taken.network.start)
    except (NotConverged, SurveyError):
        return None


def independent(matrix: Array) -> list[int]:
    """Rows of a map that are independent of each other, as many as it has rank.

    Source: TEXTBOOK_STATISTICS. Status: from memory.
    """
    from scipy.linalg import qr

    scaled = matrix / np.maximum(np.linalg.norm(matrix, axis=1), 1e-300)[:, None]
    upper, order = qr(scaled.T, mode="r", pivoting=True)[-2:]
    size = np.abs(np.diag(np.atleast_2d(upper)))
    return sorted(int(i) for i in order[: int(np.sum(size > 1e-4 * size[0]))])
