"""A reconciled round and a calibration in the words and digits of the page. Chooses and rounds; works nothing out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from thinstock.app.words import say
from thinstock.survey.findings import Findings, Row
from thinstock.survey.machine_calibration import Calibration, Found
from thinstock.survey.round import shown
from thinstock.survey.telling import (
    constant_numbers,
    doubt_lines,
    follow_rows,
    imbalance_lines,
    in_words,
    next_lines,
    told,
    verdict,
)
from thinstock.tell.blocks import Table, lined
from thinstock.words.figures import NONE, figure


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One reading before and after."""

    number: str
    name: str
    unit: str
    read: str
    reconciled: str
    moved: str
    score: str
    detectable: str
    doubtful: bool
    aside: str
    """How it is set aside in the address."""


class Reconciled:
    """A reconciled round, ready to be set."""

    def __init__(self, findings: Findings) -> None:
        self.findings = findings
        self.name = findings.round.name
        self.passed = findings.passed
        self.verdict = verdict(findings)
        self.legend = say("survey.legend", critical=figure(findings.critical, 2))

    def readings(self) -> list[Reading]:
        """The readings of the balance."""
        return [self._reading(row) for row in self.findings.rows]

    def _reading(self, row: Row) -> Reading:
        quantity = row.reading.quantity
        name = f"{row.reading.stream} {in_words(row.reading.stream, quantity)}"
        return Reading(
            number=str(row.number) if row.number else "",
            name=name if row.number else f"{name} (by heat)",
            unit=shown(row.reading.value, quantity)[1],
            read=told(row.reading.value, row.reading.standard_uncertainty, quantity),
            reconciled=told(row.value, row.standard_uncertainty, quantity),
            moved=f"{row.adjustment:+.1f}".replace("-", "−"),
            score=f"{abs(row.score):.1f}" if math.isfinite(row.score) else NONE,
            detectable="none" if not row.detectable < 1 else f"{figure(100 * row.detectable, 2)} %",
            doubtful=row.doubtful,
            aside=str(row.number) if row.number else "heat balance",
        )

    def not_close(self) -> list[str]:
        """Balances that readings alone do not close."""
        return imbalance_lines(self.findings)

    def doubts(self) -> list[str]:
        """Whom to doubt."""
        return doubt_lines(self.findings)

    def next(self) -> list[str]:
        """What to read next time."""
        return next_lines(self.findings)

    def follows(self) -> Table | None:
        """Values nobody read."""
        rows = follow_rows(self.findings)
        if not rows:
            return None
        heads = ((say("survey.reading"), ""), (say("survey.unit"), ""), (say("survey.reconciled"), ""))
        body = tuple((f"{stream} {word}", unit, text) for stream, word, text, unit in rows)
        return lined(key="follows", heads=heads, rows=body, words=2)

    def beside(self) -> str:
        """What no balance checks."""
        names = [f"{r.stream} {r.quantity.partition(':')[0]}" for r in self.findings.round.beside]
        return say("survey.beside", names=", ".join(names)) if names else ""

    def notes(self) -> list[str]:
        """Notes in words."""
        return [str(note) for note in self.findings.notes]

    def alt(self, name: str) -> str:
        """A picture in words."""
        from thinstock.drawing.survey_charts import adjustments_alt, water_alt

        return {"adjustments": adjustments_alt, "water": water_alt}[name](self.findings)


class Calibrated:
    """A calibration, ready to be set."""

    def __init__(self, calibration: Calibration) -> None:
        self.calibration = calibration
        self.fit = say(
            "survey.fit",
            before=figure(calibration.chi_square_before, 3),
            after=figure(calibration.fit.chi_square, 3),
            freedom=calibration.degrees_of_freedom,
        )

    def constants(self) -> Table | None:
        """What was found."""
        if not self.calibration.found:
            return None
        heads = tuple((say(f"survey.{n}"), "") for n in ("constant", "unit", "was", "is", "interval"))
        rows = tuple(self._row(one) for one in self.calibration.found)
        return lined(key="constants", heads=heads, rows=rows, words=2)

    def _row(self, one: Found) -> tuple[str, ...]:
        unit, before, after, interval, _ = constant_numbers(self.calibration, one)
        return (one.unknown.label, unit, before, after, interval)

    def leans(self) -> list[str]:
        """Constants that hold with another as it stands."""
        return [text for one in self.calibration.found for text in constant_numbers(self.calibration, one)[4]]

    def not_told(self) -> list[tuple[str, str]]:
        """What cannot be told, why, and what would tell it."""
        return [
            (n.unknown.label, f"{n.why}.{f' Best to add: {n.best}.' if n.best else ''}")
            for n in self.calibration.not_told
        ]

    def notes(self) -> list[Any]:
        """Notes in words."""
        return [str(note) for note in self.calibration.notes]
