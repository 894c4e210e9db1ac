"""A calibration by its draws: constants with what is open beside them, and the evidence kept beside the machine.

The draws take the place of plus-minus and profile: each constant's interval holds with everything else left open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from thinstock.evidence.population import Population
from thinstock.evidence.settled import DRAWS
from thinstock.machine.line import Machine
from thinstock.survey.calibrated import Calibration, Found
from thinstock.survey.machine_model import MachineModel
from thinstock.survey.posterior import Tell, population_after, posterior, readings_of, told
from thinstock.survey.round import Round
from thinstock.survey.table import Survey
from thinstock.words.phrase import phrase

ENDS = (0.025, 0.975)


def by_draws(
    calibration: Calibration,
    models: Sequence[MachineModel],
    kept: Sequence[Survey],
    covariance: Any,
    *,
    draws: int = DRAWS,
    seed: int = 1,
    tell: Tell | None = None,
) -> Calibration:
    """The calibration with the population that its readings leave."""
    rounds: Sequence[Round] = calibration.rounds
    readings = [r for s in kept for r in s.readings]
    model = readings_of(rounds, models, readings, covariance)
    scores, record = posterior(model, draws=draws, seed=seed, tell=tell)
    aside = tuple(key for one in calibration.findings if one is not None for key in one.set_aside)
    population = population_after(rounds, model, scores, record, seed=seed, aside=aside)
    values = population.values()
    found = tuple(_surer(one, values[one.unknown.address]) for one in calibration.found)
    machine = _with_spreads(calibration.machine, found)
    return replace(
        calibration,
        found=found,
        correlation=_correlation(population, [one.unknown.address for one in found]),
        machine=machine,
        evidence=replace(population, machine=machine),
        told=told(population),
    )


def _surer(one: Found, values: Any) -> Found:
    low, high = np.quantile(values, ENDS, method="inverted_cdf")
    return replace(
        one,
        standard_uncertainty=float(values.std(ddof=1)),
        low=float(low),
        high=float(high),
        leans=(),
    )


def _correlation(population: Population, addresses: Sequence[str]) -> dict[tuple[str, str], float]:
    """Of the values of each two constants."""
    values = population.values(addresses)
    short = {one: one.rpartition(".")[2] for one in addresses}
    return {
        (short[a], short[b]): float(np.corrcoef(values[a], values[b])[0, 1])
        for n, a in enumerate(addresses)
        for b in addresses[n + 1 :]
    }


def _with_spreads(machine: Machine, found: Sequence[Found]) -> Machine:
    """The machine as it fits best, each constant with its uncertainty by the draws."""
    given = dict(machine.given)
    for one in found:
        name = one.unknown.address
        given[name] = replace(
            given[name],
            uncertainty=float(f"{one.standard_uncertainty:.2e}"),
            note=phrase("survey.calibration.of_draws"),
        )
    return replace(machine, given=given)


def evidence_name(out: Path) -> str:
    """Name of the evidence beside a machine file."""
    return f"{out.name.removesuffix('.toml')}.evidence.toml"


def keep(calibration: Calibration, text: str, out: Path) -> Path | None:
    """Write the evidence of a calibration beside its machine file, whose text is `text`; None where there is none."""
    from thinstock.case import loads
    from thinstock.evidence.file import write_evidence

    if calibration.evidence is None:
        return None
    read_back = loads(text, out.name)
    return write_evidence(replace(calibration.evidence, machine=read_back), out.with_name(evidence_name(out)))
