"""The files of `thinstock history --out DIR`: a survey table for every window, all of them or none."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from pathlib import Path

from thinstock.errors import Refused
from thinstock.survey.table import Survey, write_survey
from thinstock.words.fault import fault_in


def write_rounds(rounds: Sequence[tuple[str, Survey]], folder: Path, machine: str | None) -> list[Path]:
    """Write every round, after the first was read as `thinstock survey` would; a file that is there stays as it is."""
    there = [name for name, _ in rounds if (folder / name).exists()]
    if there:
        raise Refused(fault_in("cli.history.there_already", str(folder / name)) for name in there)
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=".rounds-", dir=folder) as half:
        for name, survey in rounds:
            write_survey(survey, Path(half, name))
        if machine is not None:
            from thinstock.case.overrides import machine_from
            from thinstock.survey.round import read_round

            read_round(Path(half, rounds[0][0]), machine_from(machine, ()))
        for name, _ in rounds:
            os.replace(Path(half, name), folder / name)
    return [folder / name for name, _ in rounds]
