"""What a change is worth that was made: a round before and one after, as results and as money, from one population.

Both rounds are taken together: the constants of the machine are the same before and after, the settings are those of
each round, and a meter's error that both rounds share moves both. Every draw gives the machine before and after; what
they differ by is told with its range, and priced. No investment is in it: it was made.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.evidence.cases import run_cases
from thinstock.evidence.population import stream
from thinstock.formula.label import Array
from thinstock.machine.line import Machine
from thinstock.studies.intervals import SHARE, central_interval
from thinstock.studies.prices import Prices
from thinstock.studies.rebuild_money import KINDS, account
from thinstock.survey.findings import Findings
from thinstock.survey.historian import Series
from thinstock.survey.machine_calibration import _covariance, _findings, _models, _readings, _refuse_failed
from thinstock.survey.posterior import DRAWS, Tell, posterior, readings_of
from thinstock.survey.round import Round, check_same_machine, round_of, stated_settings
from thinstock.survey.settle import chi_square_probability
from thinstock.survey.signals import Tags, round_of_window
from thinstock.survey.table import Reading
from thinstock.survey.windows import Window
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

RESULTS = (
    "speed", "production", "dryness_press", "steam_per_product", "gas_per_product", "electricity_per_product",
    "fresh_water_per_product",
)  # fmt: skip
FEWEST = 100
MISFIT = 0.01
CONSTANT = 0.9
"""Share of the variance of what a meter may be off that is the same in both windows (assumed; a sample taken to the
laboratory has none)."""

Ends = tuple[float, float, float]
"""Low, median, high of the central 90 % of the draws."""


@dataclass(frozen=True, kw_only=True)
class Step:
    """One result before and after."""

    name: str
    before: Ends
    after: Ends
    difference: Ends
    up: float
    """Share of the draws in which it rose."""


@dataclass(frozen=True, kw_only=True)
class WorthOfChange:
    """A change as results and as money."""

    before: str
    after: str
    steps: tuple[Step, ...]
    lines: Mapping[str, Ends]
    """Saved in a year, by what it is saved on, in the money of the prices."""
    saving: Ends
    """All of them together, in a year."""
    saves: float
    """Share of the draws in which it saves."""
    currency: str
    year: int
    draws: int
    seed: int
    notes: tuple[str, ...]


def worth_of_change(
    before: Round, after: Round, prices: Prices, *, without: Iterable[str] = (), despite_failed_test: bool = False,
    draws: int = DRAWS, seed: int = 1, tell: Tell | None = None,
) -> WorthOfChange:  # fmt: skip
    """What changed between two rounds of one machine, and what that is worth in a year.

    Parameters
    ----------
    before, after : Round
        As `read_round` gives them, each with its settings.
    prices : Prices
        Of the machine; investment and interest are not used.
    without : iterable of str
        Readings to set aside in both.
    despite_failed_test : bool
        Go on with a round that fails its global test.
    draws, seed : of the population.
    tell : callable, optional
        Is told (share done, words).

    Returns
    -------
    WorthOfChange
        Results in base SI, money as in the prices.

    Raises
    ------
    Refused
        Rounds of different networks, one that fails its test, or an energy that is used and has no price.

    Source: KITANIDIS_1995, COTTER_2013. Status: published (constants of both rounds taken as the same: assumed).
    """
    check_same_machine(before, after)
    rounds = (before, after)
    aside = tuple(without)
    findings: tuple[Findings | None, ...] = tuple(_findings(one, aside) for one in rounds)
    if not despite_failed_test:
        _refuse_failed(findings)
    models, kept, _ = _models(rounds, findings)
    model = readings_of(rounds, [m for m, _ in models], _readings(kept), _covariance(kept))
    scores, record = posterior(model, draws=draws, seed=seed, tell=tell)
    sides = [_side(part.model.machine, model.values(part, scores), model.values(part, record["centre"][None, :]))
             for part in model.parts]  # fmt: skip
    good = np.all([np.isfinite(side[n]) for side in sides for n in RESULTS], axis=0)
    if int(good.sum()) < FEWEST:
        raise Refused(fault_in("studies.worth_of_change.too_few", "draws", str(int(good.sum())), fewest=FEWEST))
    one, two = ({n: side[n][good] for n in RESULTS} for side in sides)
    price, left_out = _prices(prices, one, two, seed)
    money = account(prices, price, one, two)
    notes = [phrase("studies.worth_of_change.together"), *left_out]
    notes += _fit_notes(record, len(model.rows))
    lines = {name: _ends(worth) for name, (_, worth, _) in money["lines"].items() if np.any(worth != 0.0)}
    return WorthOfChange(
        before=before.name, after=after.name,
        steps=tuple(_step(n, one[n], two[n]) for n in RESULTS),
        lines=lines, saving=_ends(money["saving"]), saves=float(np.mean(money["saving"] > 0.0)),
        currency=prices.currency, year=prices.year, draws=int(good.sum()), seed=seed, notes=tuple(notes),
    )  # fmt: skip


def _side(machine: Machine, values: Mapping[str, Array], centre: Mapping[str, Array]) -> dict[str, Array]:
    """Results of one round over the draws: fast runs, moved by what the full run of the best fit differs."""
    cases = run_cases(machine, values, RESULTS)
    full, coarse = (run_cases(machine, centre, RESULTS, fast=fast) for fast in (False, True))
    return {n: cases[n] + (full[n][0] - coarse[n][0]) for n in RESULTS}


def _step(name: str, before: Array, after: Array) -> Step:
    gap = after - before
    return Step(name=name, before=_ends(before), after=_ends(after), difference=_ends(gap), up=float(np.mean(gap > 0)))


def _ends(sample: Any) -> Ends:
    return central_interval(np.asarray(sample, dtype=float), SHARE)


def _prices(
    prices: Prices, one: Mapping[str, Array], two: Mapping[str, Array], seed: int
) -> tuple[dict[str, Any], list[str]]:
    """Prices of every draw, each from its own stream; what is not priced, in words."""
    used = [k for k in KINDS if np.any(one[f"{k}_per_product"] > 0.0) or np.any(two[f"{k}_per_product"] > 0.0)]
    missing = [k for k in used if prices.get(f"price.{k}") is None]
    if missing:
        raise Refused([fault_in("studies.worth_of_change.no_price", f"price.{k}") for k in missing])
    count = len(one["speed"])
    drawn = {
        name: np.full(count, amount.value)
        if amount.distribution is None
        else np.asarray(amount.distribution.sample(stream(seed, f"price: {name}"), count))
        for name, amount in {**prices.amounts, "rebuild.rate": prices.rate}.items()
        if not name.startswith("yearly.")
    }
    drawn["rebuild.stop"] = np.zeros(count)
    notes = []
    if prices.get("rebuild.contribution") is None:
        drawn["rebuild.contribution"] = np.zeros(count)
        notes.append(phrase("studies.worth_of_change.tonnes_not_counted"))
    for name in ("price.fresh_water", "price.co2"):
        if prices.get(name) is None:
            notes.append(phrase(f"studies.worth_of_change.without_{name.partition('.')[2]}"))
    drawn |= {f"yearly.{name}": np.zeros(count) for name in prices.yearly}
    return drawn, notes


def _fit_notes(record: Mapping[str, Any], readings: int) -> list[str]:
    notes = []
    if not record["settled"]:
        notes.append(phrase("evidence.notes.unsettled", names=", ".join(record["unsettled"])))
    if chi_square_probability(float(record["chi_square"]), max(1, readings)) < MISFIT:
        notes.append(phrase("studies.worth_of_change.misfit"))
    return notes


# -- windows of a historian as rounds ----------------------------------------------------------------------------------


def rounds_of_windows(
    machine: Machine, tags: Tags, series: Mapping[str, Series], windows: Sequence[Window], told: Callable[[float], str]
) -> tuple[Round, Round]:
    """Two windows of the same meters as rounds: what a meter is off is the same in both, the scatter is not.

    Source: DERIVED. Status: derived.
    """
    made = []
    for window in windows:
        survey, plain = (round_of_window(tags, one, series, told=told, source="") for one in (window, _quiet(window)))
        readings = tuple(map(_shared, survey.readings, plain.readings))
        settings = stated_settings(survey.heading, machine)
        stood = machine.with_(settings) if settings else machine
        made.append(round_of(replace(survey, readings=readings, origin=None), stood, settings))
    return made[0], made[1]


def _quiet(window: Window) -> Window:
    """The window as if nothing scattered: what is left is what the meters may be off."""
    held = {tag: replace(one, standard_uncertainty=float("nan")) for tag, one in window.held.items()}
    return replace(window, held=held)


def _shared(reading: Reading, meter: Reading) -> Reading:
    """A reading with its meter's error as a group that both rounds name."""
    if not reading.standard_uncertainty > meter.standard_uncertainty:
        return reading
    share = CONSTANT * (meter.standard_uncertainty / reading.standard_uncertainty) ** 2
    own = share - sum(abs(s) for _, s in reading.group)
    name = phrase("studies.worth_of_change.meter", tag=reading.note)
    return replace(reading, group=(*reading.group, (name, own))) if own > 0.0 else reading
