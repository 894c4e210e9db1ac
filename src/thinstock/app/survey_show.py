"""A reconciled round and a calibration in the words and digits of the page. Chooses and rounds; works nothing out."""

from __future__ import annotations

from dataclasses import dataclass

from thinstock.app.words import say
from thinstock.survey.calibrated import Calibration
from thinstock.survey.findings import Findings, Row
from thinstock.survey.round import shown
from thinstock.tell import calibration, survey
from thinstock.tell.blocks import Table, lined
from thinstock.words.figures import figure


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
        self.verdict = survey.verdict(findings)
        self.legend = say("survey.legend", critical=figure(findings.critical, 2))

    def readings(self) -> list[Reading]:
        """The readings of the balance."""
        return [self._reading(row) for row in self.findings.rows]

    def _reading(self, row: Row) -> Reading:
        quantity = row.reading.quantity
        name, able = survey.named(*row.key), survey.detectable(row)
        return Reading(
            number=str(row.number) if row.number else "",
            name=name if row.number else f"{name} (by heat)",
            unit=shown(row.reading.value, quantity)[1],
            read=survey.told_value(row.reading.value, row.reading.standard_uncertainty, quantity),
            reconciled=survey.told_value(row.value, row.standard_uncertainty, quantity),
            moved=survey.signed(row.adjustment),
            score=survey.score(row),
            detectable=f"{able} %" if row.detectable < 1 else able,
            doubtful=row.doubtful,
            aside=str(row.number) if row.number else "heat balance",
        )

    def not_close(self) -> list[str]:
        """Balances that readings alone do not close."""
        return survey.imbalance_lines(self.findings)

    def doubts(self) -> list[str]:
        """Whom to doubt."""
        return survey.doubt_lines(self.findings)

    def next(self) -> list[str]:
        """What to read next time."""
        return survey.next_lines(self.findings)

    def follows(self) -> Table | None:
        """Values nobody read."""
        rows = survey.follow_rows(self.findings)
        if not rows:
            return None
        heads = ((say("survey.reading"), ""), (say("survey.unit"), ""), (say("survey.reconciled"), ""))
        body = tuple((f"{stream} {word}", unit, text) for stream, word, text, unit in rows)
        return lined(key="following", heads=heads, rows=body, words=2)

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

    def __init__(self, found: Calibration) -> None:
        self.found = found
        self.fit = calibration.fit_line(found)

    def constants(self) -> Table | None:
        """What was found."""
        if not self.found.found:
            return None
        heads = tuple((say(f"survey.{n}"), "") for n in ("constant", "unit", "was", "is", "interval"))
        return lined(key="constants", heads=heads, rows=calibration.constant_rows(self.found), words=2)

    def leans(self) -> list[str]:
        """Constants that hold with another as it stands."""
        return calibration.lean_lines(self.found)

    def not_told(self) -> list[tuple[str, str]]:
        """What cannot be told, why, and what would tell it."""
        return [(one.unknown.label, calibration.why(one)) for one in self.found.not_told]

    def notes(self) -> list[str]:
        """Notes in words."""
        return [str(note) for note in self.found.notes]
