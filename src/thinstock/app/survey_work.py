"""Long work of the survey page, done in a process of its own: a calibration by its draws, a historian's signals.

What is given back travels between processes: words and tables as they are set, texts, and draws without their machine.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from thinstock.app.survey_show import Calibrated
from thinstock.case import dumps
from thinstock.case.read import read as read_machine
from thinstock.case.text import origin_beside
from thinstock.evidence.population import Population
from thinstock.machine.line import Machine
from thinstock.survey.calibrated import Calibration
from thinstock.survey.posterior import DRAWS
from thinstock.survey.round import Round, read_round
from thinstock.survey.table import Survey, write_survey
from thinstock.tell.blocks import Block
from thinstock.words.phrase import phrase

Tell = Callable[..., None]
TABLE = "readings.csv"
"""Name of the table a request brings, while it is worked on."""
MOST = 12
"""Rounds made of signals at most."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Kept:
    """A calibration as it travels: what is shown of it, and what a machine file and its evidence are written from."""

    shown: Calibrated
    text: str
    evidence: Population | None


def calibrated(wanted: Mapping[str, Any], tell: Tell) -> Kept:
    """Calibrate on a table of readings."""
    from thinstock.survey.machine_calibration import calibrate

    tell(0.0, phrase("survey.posterior.best"))
    made: Calibration = calibrate(
        [_round(wanted)], without=wanted["without"], despite_failed_test=wanted["despite"],
        draws=int(wanted.get("draws", DRAWS)), tell=tell,
    )  # fmt: skip
    evidence = None if made.evidence is None else replace(made.evidence, machine=None)
    return Kept(shown=Calibrated.of(made), text=dumps(made.machine), evidence=evidence)


def _machine(wanted: Mapping[str, Any]) -> Machine:
    return read_machine(origin_beside(wanted["machine"], "machine", wanted["folder"]))


def _round(wanted: Mapping[str, Any]) -> Round:
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / TABLE
        place.write_text(wanted["table"], encoding="utf-8", newline="")
        return read_round(place, _machine(wanted))


# -- signals over time -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class Looked:
    """What a historian's signals hold, as it is set on the page."""

    blocks: tuple[Block, ...]
    rounds: tuple[tuple[str, str], ...]
    """(Name, table) of every round."""


def history(wanted: Mapping[str, Any], tell: Tell) -> Looked:
    """Read signals, find their steady windows, make rounds of them, and say how the constants moved over the rounds."""
    from thinstock.survey.looked import Asked, look
    from thinstock.tell.history import windows_told

    machine = _machine(wanted) if wanted["tags"] else None
    asked = Asked(
        zone=wanted["zone"] or None, begin=wanted["begin"], end=wanted["end"], length=wanted["length"], most=MOST
    )
    files = [Path(one) for one in wanted["files"]]
    tags = Path(wanted["tags"]) if wanted["tags"] else None
    found = look(files, tags, asked, machine=machine, tell=partial(_part, tell, 0.0, 0.6))
    names = [name for name, _ in found.rounds]
    blocks = list(windows_told(found.windows, found.told, names))
    tables = _tables(found.rounds)
    if machine is not None and wanted["drift"]:
        blocks += _drift(machine, tables, partial(_part, tell, 0.6, 1.0))
    return Looked(blocks=tuple(blocks), rounds=tuple(tables))


def _part(tell: Tell, low: float, high: float, share: float, said: str) -> None:
    tell(low + (high - low) * share, said)


def _tables(rounds: Sequence[tuple[str, Survey]]) -> list[tuple[str, str]]:
    with tempfile.TemporaryDirectory() as folder:
        for name, survey in rounds:
            write_survey(survey, Path(folder, name))
        return [(name, Path(folder, name).read_text(encoding="utf-8")) for name, _ in rounds]


def _drift(machine: Machine, tables: Sequence[tuple[str, str]], tell: Tell) -> list[Block]:
    from thinstock.survey.drift import FEWEST, drift_of
    from thinstock.tell.blocks import words
    from thinstock.tell.drift import drifts_told

    if len(tables) < FEWEST:
        return [words(phrase("history.three_rounds"))]
    with tempfile.TemporaryDirectory() as folder:
        for name, text in tables:
            Path(folder, name).write_text(text, encoding="utf-8", newline="")
        rounds = [read_round(Path(folder, name), machine) for name, _ in tables]
        found = drift_of(
            rounds, progress=lambda n: tell(n / len(rounds), phrase("history.rounds_done", n=n, of=len(rounds)))
        )
    return list(drifts_told(found, machine))
