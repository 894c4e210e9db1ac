"""Constants of a machine over many rounds: the level of each at every round, and whether it drifts.

Each round is calibrated by itself; what its readings say, without the judgement the fit began from, is followed by a
level that walks. What is the same in all rounds (a meter's constant error, a value held) moves no level, and is in
every uncertainty: a drift is therefore claimed rather too rarely than too often.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.label import Array
from thinstock.survey import clock
from thinstock.survey.calibrated import Calibration, Found
from thinstock.survey.faults import SurveyError
from thinstock.survey.machine_calibration import calibrate
from thinstock.survey.machine_constants import Unknown
from thinstock.survey.round import Round
from thinstock.survey.series import random_walk_mixed, usual_walk, walk_size
from thinstock.words.phrase import phrase

FEWEST = 3
SIGNIFICANCE = 0.05
SURE = 0.9
"""Probability from which a constant is said not to drift."""
BAND = 1.6448536269514722
"""Standard uncertainties of a central 90 % interval."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Drift:
    """One constant over the rounds that tell it."""

    unknown: Unknown
    time: Array
    """s since 1970, UTC."""
    value: Array
    """By each round's readings alone, SI."""
    value_low: Array
    value_high: Array
    """5 and 95 % of that."""
    level: Array
    """With all rounds, SI."""
    low: Array
    high: Array
    """5 and 95 % of the level."""
    walk: float
    """Likeliest walk over the whole time, in standard uncertainties of a round."""
    probability: float
    """Of rounds so different by chance, without any drift."""
    still: float
    """Probability that it walks, over the whole time, less than one round is uncertain."""

    @property
    def verdict(self) -> str:
        """`drifts`, `still` or `open`."""
        if self.probability < SIGNIFICANCE:
            return "drifts"
        return "still" if self.still >= SURE else "open"


@dataclass(frozen=True, kw_only=True, eq=False)
class Drifts:
    """All constants over all rounds."""

    rounds: tuple[str, ...]
    time: tuple[float, ...]
    drifts: tuple[Drift, ...]
    too_few: tuple[str, ...]
    """Addresses of constants that fewer than three rounds tell."""


def time_of(round_: Round) -> float:
    """When a round was read, s since 1970 UTC: the middle of its `from` and `to`, or noon of its `date`.

    Source: the heading of the table.
    """
    heading = round_.survey.heading
    try:
        if "from" in heading and "to" in heading:
            return 0.5 * (clock.seconds(heading["from"], "UTC", "from") + clock.seconds(heading["to"], "UTC", "to"))
        return clock.seconds(heading.get("date", ""), "UTC", "date") + 43_200.0 * (len(heading["date"]) <= 10)
    except (SurveyError, KeyError):
        file = round_.survey.origin.name if round_.survey.origin is not None else round_.name
        bound, remedy = phrase("history.no_date"), phrase("history.write_date")
        raise SurveyError(
            Fault(file=file, field="date", value=heading.get("date", ""), bound=bound, remedy=remedy)
        ) from None


def drift_of(
    rounds: Sequence[Round],
    *,
    without: Iterable[str] = (),
    despite_failed_test: bool = False,
    progress: Callable[[int], None] | None = None,
) -> Drifts:
    """How the constants of a machine moved over its rounds.

    Parameters
    ----------
    rounds : sequence of Round
        Three or more, of one machine, each with its date in the heading.
    without : iterable of str
        Readings to set aside in every round.
    despite_failed_test : bool
        Go on with rounds that fail their global test.
    progress : callable, optional
        Told the number of rounds done.

    Returns
    -------
    Drifts
        For each constant what every round says, the level with all rounds, and whether it drifts.

    Raises
    ------
    Refused
        Fewer than three rounds, a round without a date or of the date of another, or one that cannot be calibrated.

    Source: DERIVED, KALMAN_1960. Status: derived (the verdict's limits are assumed).
    """
    if len(rounds) < FEWEST:
        fault = Fault(field="rounds", value=str(len(rounds)), bound=phrase("history.three_rounds"))
        raise SurveyError(fault)
    dated = sorted(((time_of(r), r) for r in rounds), key=lambda one: one[0])
    times = [t for t, _ in dated]
    if np.any(np.diff(times) <= 0.0):
        raise SurveyError(Fault(field="rounds", bound=phrase("history.two_of_a_time")))
    aside = tuple(without)
    made = []
    for k, (_, one) in enumerate(dated, start=1):
        made.append(calibrate([one], without=aside, despite_failed_test=despite_failed_test, profiles=False))
        if progress is not None:
            progress(k)
    told = _told(made)
    return Drifts(
        rounds=tuple(r.name for _, r in dated),
        time=tuple(times),
        drifts=tuple(
            _drift([f for f in found if f is not None], [t for t, f in zip(times, found, strict=True) if f is not None])
            for found in told.values()
            if sum(f is not None for f in found) >= FEWEST
        ),
        too_few=tuple(a for a, found in told.items() if sum(f is not None for f in found) < FEWEST),
    )


def _told(made: Sequence[Calibration]) -> dict[str, list[Found | None]]:
    """By address what each round found; None where its readings do not tell it."""
    every = dict.fromkeys(address for c in made for address in [*(f.unknown.address for f in c.found), *_left(c)])
    return {a: [next((f for f in c.found if f.unknown.address == a), None) for c in made] for a in every}


def _left(made: Calibration) -> list[str]:
    return [n.unknown.address for n in made.not_told]


def by_readings(found: Found) -> tuple[float, float]:
    """(Score, its standard uncertainty) of a constant by readings alone, in standard uncertainties of the judgement.

    The judgement (score 0, uncertainty 1) is taken out of the fitted z, u: z/(1 - u^2), u/sqrt(1 - u^2).
    Source: DERIVED. Status: derived.
    """
    unknown = found.unknown
    z = float(unknown.unit(found.value))
    u = found.standard_uncertainty / (unknown.scale * (found.value if unknown.log else 1.0))
    if not unknown.bound:
        return z, u
    left = max(1.0 - u * u, 1e-6)
    return z / left, u / float(np.sqrt(left))


def _drift(found: Sequence[Found], times: Sequence[float]) -> Drift:
    unknown = found[0].unknown
    t = np.array(times)
    pairs = [by_readings(f) for f in found]
    z, u = np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])
    walk, _, probability = walk_size(z, u, t)
    level, spread, weight, walks = random_walk_mixed(z, u, t, scale=usual_walk(u, t))
    usual, span = float(u.mean()), float(np.sqrt(t[-1] - t[0]))
    return Drift(
        unknown=unknown,
        time=t,
        value=unknown.value(z),
        value_low=unknown.value(z - BAND * u),
        value_high=unknown.value(z + BAND * u),
        level=unknown.value(level),
        low=unknown.value(level - BAND * spread),
        high=unknown.value(level + BAND * spread),
        walk=walk * span / usual,
        probability=probability,
        still=float(weight[walks * span <= usual].sum()),
    )
