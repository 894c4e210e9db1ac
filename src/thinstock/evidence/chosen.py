"""Which population an answer is drawn from, and its draws under settings of their own, one case each.

Without a wish it is the machine's own: as read where its file names evidence, else as it runs or as believed.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.evidence.apply import evidence_file, population
from thinstock.evidence.cases import Cases, run_cases
from thinstock.evidence.machine_inputs import held_addresses
from thinstock.evidence.population import Population, population_of
from thinstock.evidence.responses import PREFIX, responded, settings_of
from thinstock.formula.label import Array, Num
from thinstock.machine.line import Machine
from thinstock.words.fault import fault_in

OWN, BELIEVED, RUN, READ, NONE = "own", "believed", "runs", "read", "none"
CHOICES = (OWN, BELIEVED, RUN, READ)
DRAWS, LEAST = 400, 50


def known(machine: Machine) -> bool:
    """Whether more is known of a machine than what is believed of its inputs: it was read, or it runs."""
    return bool(machine.evidence) or machine.exists


def wished(machine: Machine, which: str | None, *, draws: int = DRAWS, seed: int = 1) -> Population | None:
    """The population that was asked for; without a wish the machine's own where it was read or runs, else none."""
    if which == NONE or (which is None and not known(machine)):
        return None
    return chosen(machine, which or OWN, draws=draws, seed=seed)


def chosen(machine: Machine, which: str = OWN, *, draws: int = DRAWS, seed: int = 1) -> Population:
    """A population by its short name; refused where it needs evidence that is not there."""
    if which not in CHOICES:
        raise Refused(fault_in("evidence.chosen.which", "population", which, known=", ".join(CHOICES)))
    if draws < LEAST:
        raise Refused(fault_in("evidence.chosen.draws", "draws", str(draws), least=LEAST))
    if which == OWN:
        return population(machine, draws=draws, seed=seed)
    if which == READ:
        file = evidence_file(machine)
        if file is None:
            raise Refused(fault_in("evidence.chosen.no_evidence", "population", which))
        from thinstock.evidence.file import read_evidence

        return population_of(machine, draws=draws, seed=seed, evidence=read_evidence(file, machine))
    return population_of(dataclasses.replace(machine, exists=which == RUN), draws=draws, seed=seed)


class Drawn:
    """A machine over the draws of a population, each under settings that are set and so not drawn."""

    def __init__(self, machine: Machine, drawn: Population) -> None:
        names = dict(machine.addresses())
        self.machine, self.drawn = machine, drawn
        self.values = {a: v for a, v in drawn.values().items() if a.startswith(PREFIX) or names.get(a) is not None}
        self.surveyed: Mapping[str, float] = drawn.record.get("surveyed", {})
        self.standing = settings_of(machine)
        self.held = held_addresses(machine)

    def columns(self, rows: Any, settings: Mapping[str, Num]) -> dict[str, Any]:
        """Columns of the draws `rows`, with these settings."""
        return at_settings(self.values, rows, settings, self.standing, self.surveyed, self.held)

    def run(self, rows: Any, settings: Mapping[str, Num], names: tuple[str, ...], *, margins: bool = False) -> Cases:
        """The machine in these draws at these settings."""
        return run_cases(self.machine, self.columns(rows, settings), names, margins=margins)


def at_settings(
    values: Mapping[str, Array], rows: Any, settings: Mapping[str, Num], standing: Mapping[str, float],
    surveyed: Mapping[str, float], held: tuple[str, ...],
) -> dict[str, Any]:  # fmt: skip
    """Columns of draws under settings: constants found elsewhere follow them, what is set takes the place of a draw."""
    part = {a: column[rows] for a, column in values.items()}
    found: dict[str, Any] = dict(responded(part, {**standing, **settings}, surveyed))
    found |= {a: np.broadcast_to(np.asarray(v, dtype=float), np.shape(rows)) for a, v in settings.items()}
    return {a: column for a, column in found.items() if a not in held}
