"""A reconciled round and a calibration in the words and digits of the page. Chooses and rounds; works nothing out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from thinstock.app.survey_lines import Line, trade_of
from thinstock.app.words import say
from thinstock.survey.calibrated import Calibration
from thinstock.survey.findings import Findings
from thinstock.tell import calibration, survey
from thinstock.tell.blocks import Table, lined
from thinstock.words.figures import figure


@dataclass(frozen=True, kw_only=True)
class Way:
    """A reading, or several together, that could be set aside."""

    lines: tuple[int, ...]
    """Places in the table."""
    names: str


class Reconciled:
    """A reconciled round, ready to be set."""

    def __init__(self, findings: Findings, lines: Sequence[Line]) -> None:
        self.findings, self.names = findings, trade_of(findings)
        self.name, self.passed = findings.round.name, findings.passed
        self.places = [i for i, line in enumerate(lines) if line.filled]

    @property
    def head(self) -> str:
        """In a few words."""
        return say("survey.agree" if self.passed else "survey.disagree")

    @property
    def verdict(self) -> str:
        """On what it stands."""
        return survey.stands_on(self.findings, self.names)

    def not_close(self) -> list[str]:
        """Balances that readings alone do not close."""
        return survey.imbalance_lines(self.findings, self.names)

    def doubts(self) -> list[str]:
        """Whom to doubt."""
        return survey.doubt_lines(self.findings, self.names)

    def ways(self) -> list[Way]:
        """What can be set aside so that the rest agrees, likeliest first."""
        if self.passed:
            return []
        sets = [members for doubt in self.findings.doubts[: survey.MOST] for members in doubt.sets]
        return [self._way(members) for members in sets[:6] if all(self.findings.rows[i].number for i in members)]

    def _way(self, members: tuple[int, ...]) -> Way:
        rows = [self.findings.rows[i] for i in members]
        return Way(
            lines=tuple(self.places[row.number - 1] for row in rows),
            names=say("survey.and").join(self.names.reading(*row.key) for row in rows),
        )

    def culprits(self, place_of: Callable[[str], str]) -> list[dict[str, str]]:
        """Doubtful readings with the part of the drawing they are read at."""
        rows = [row for row in self.findings.rows if row.doubtful and row.number]
        return [{"part": place_of(row.key[0]), "text": self.names.reading(*row.key)} for row in rows]

    def next(self) -> list[str]:
        """What to read next time."""
        return survey.next_lines(self.findings, self.names)

    def follows(self) -> Table | None:
        """Values nobody read."""
        rows = survey.follow_rows(self.findings, self.names)
        if not rows:
            return None
        heads = ((say("survey.reading"), ""), (say("survey.balanced"), ""), (say("survey.unit"), ""))
        return lined(key="following", heads=heads, rows=tuple(rows), words=1)

    def beside(self) -> str:
        """What no balance checks."""
        names = [self.names.reading(r.stream, r.quantity) for r in self.findings.round.beside]
        return say("survey.beside", names="; ".join(names)) if names else ""

    def notes(self) -> list[str]:
        """Notes in words, with the trade's names of the streams."""
        made = [str(note) for note in self.findings.notes]
        for stream in sorted(self.findings.round.network.network.streams, key=len, reverse=True):
            if "_" in stream:
                made = [note.replace(stream, self.names.stream(stream)) for note in made]
        return made

    def legend(self) -> str:
        """What the marks say."""
        return say("survey.legend", critical=figure(self.findings.critical, 2))

    def alt(self, name: str) -> str:
        """A picture in words."""
        from thinstock.drawing.survey_charts import adjustments_alt, water_alt

        return {"adjustments": adjustments_alt, "water": water_alt}[name](self.findings)


@dataclass(frozen=True, kw_only=True)
class Calibrated:
    """A calibration, ready to be set."""

    fit: str
    constants: Table | None
    """What was found."""
    leans: tuple[str, ...]
    """Constants that hold with another as it stands."""
    not_told: tuple[tuple[str, str], ...]
    """What cannot be told, why, and what would tell it."""
    notes: tuple[str, ...]

    @classmethod
    def of(cls, found: Calibration) -> Calibrated:
        """A calibration in words."""
        names = ("constant", "unit", "was", "is", calibration.interval(found))
        heads = tuple((say(f"survey.{name}"), "") for name in names)
        rows = calibration.constant_rows(found) if found.found else ()
        return cls(
            fit=calibration.fit_line(found),
            constants=lined(key="constants", heads=heads, rows=rows, words=2) if found.found else None,
            leans=tuple(calibration.lean_lines(found)),
            not_told=tuple((one.unknown.label, calibration.why(one)) for one in found.not_told),
            notes=tuple(str(note) for note in found.notes),
        )
