"""What surveys say of the constants of a machine: what was found, what cannot be told, readings before and after."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from thinstock.evidence.population import Population
from thinstock.machine.line import Machine
from thinstock.survey.calibration import Fit
from thinstock.survey.findings import Findings
from thinstock.survey.machine_constants import Unknown
from thinstock.survey.round import Round
from thinstock.survey.table import Reading
from thinstock.words.note import Level, Note
from thinstock.words.phrase import phrase

WEAK = 0.98
"""Above this correlation two constants are hardly told apart."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """One constant that the readings fix."""

    unknown: Unknown
    value: float
    standard_uncertainty: float
    low: float
    high: float
    """Profile of 95 %; infinite where the data do not bound it."""
    by_data: float
    """Standard uncertainty from the readings alone, without the library's judgement of this constant."""
    leans: tuple[tuple[str, float], ...] = ()
    """(a library value held while this was found, change of this for one standard uncertainty of that)."""

    @property
    def name(self) -> str:
        """The last word of the address."""
        return self.unknown.address.rpartition(".")[2]


@dataclass(frozen=True, kw_only=True, eq=False)
class NotTold:
    """One constant that the readings cannot tell, and what would."""

    unknown: Unknown
    why: str
    best: str
    """The reading that would tell it best (or two together), with its uncertainty; empty where two would not do."""

    @property
    def name(self) -> str:
        """The last word of the address."""
        return self.unknown.address.rpartition(".")[2]


@dataclass(frozen=True, kw_only=True, eq=False)
class Checked:
    """One reading before and after the calibration, and as all other readings would have it."""

    round: int
    reading: Reading
    before: float
    """By the machine as it came, with the settings of the round."""
    after: float
    left_out: float
    """By the calibration without this reading (to first order)."""
    left_out_score: float
    """(Reading - left_out) / its standard uncertainty; nan where nothing else says anything of it."""

    @property
    def score_before(self) -> float:
        return (self.reading.value - self.before) / self.reading.standard_uncertainty

    @property
    def score_after(self) -> float:
        return (self.reading.value - self.after) / self.reading.standard_uncertainty


@dataclass(frozen=True, kw_only=True, eq=False)
class Calibration:
    """What surveys say of the constants of a machine."""

    rounds: tuple[Round, ...]
    findings: tuple[Findings | None, ...]
    """Of each round; None where nothing in it can be checked."""
    found: tuple[Found, ...]
    not_told: tuple[NotTold, ...]
    settings: tuple[tuple[Found, ...], ...]
    """Of each round, as its readings have them."""
    checked: tuple[Checked, ...]
    unused: tuple[tuple[Reading, str], ...]
    """Readings the model says nothing of, and why."""
    fit: Fit
    chi_square_before: float
    degrees_of_freedom: int
    correlation: dict[tuple[str, str], float]
    """Of each two constants found."""
    machine: Machine
    """The machine as surveyed (the first round), with what was found."""
    evidence: Population | None = None
    """What the readings leave of all inputs together, where draws were asked for."""
    told: Mapping[str, str] = field(default_factory=dict)
    """By address of an input of the evidence: "read", "partly" or "as judged"."""

    @cached_property
    def notes(self) -> tuple[Note, ...]:
        """What to be wary of."""
        return tuple(_notes(self))

    @property
    def probability(self) -> float:
        """Of a misfit at least this large if readings and model are right."""
        from scipy.special import chdtrc

        return float(chdtrc(max(self.degrees_of_freedom, 1), self.fit.chi_square))


def _note(part: str, level: Level, key: str, **slots: object) -> Note:
    return Note(part=part, level=level, text=phrase(f"remarks.{key}", **slots))


def _notes(calibration: Calibration) -> Iterator[Note]:
    for one in calibration.findings:
        if one is not None and not one.passed:
            yield _note(one.round.name, "limit", "doubted")
        if one is None:
            yield _note("survey", "blind spot", "unchecked")
    for (a, b), r in calibration.correlation.items():
        if abs(r) > WEAK:
            yield _note(phrase("remarks.weak_part", a=a, b=b), "blind spot", "weak", r=f"{r:.2f}")
    for f in calibration.found:
        if not (math.isfinite(f.low) and math.isfinite(f.high)):
            yield _note(f.name, "blind spot", "not_bounded")
    if calibration.degrees_of_freedom > 0 and calibration.probability < 0.01:
        chi_square, freedom = f"{calibration.fit.chi_square:.3g}", calibration.degrees_of_freedom
        yield _note("fit", "unusual", "still_off", chi_square=chi_square, freedom=freedom)
    if calibration.evidence is not None:
        yield from _of_draws(calibration.evidence.record)
    yield _note("calibration", "information", "form")


def _of_draws(record: Mapping[str, Any]) -> Iterator[Note]:
    """What is to be said of the draws."""
    if not record.get("settled", True):
        yield _note("evidence", "unusual", "not_settled", names=", ".join(record.get("unsettled", ())))
    if record.get("misfit"):
        yield _note("evidence", "unusual", "misfit", worst=", ".join(record.get("worst", ())))
    yield _note("evidence", "assumed", "responses")
