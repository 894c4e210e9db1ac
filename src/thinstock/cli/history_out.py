"""The files of `thinstock history --out DIR`: a survey table for every window."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from pathlib import Path

from thinstock.errors import Refused
from thinstock.files.write import folder_of, put
from thinstock.survey.table import Survey, write_survey
from thinstock.words.fault import fault_in


def write_rounds(rounds: Sequence[tuple[str, Survey]], folder: Path, machine: str | None) -> list[Path]:
    """Write every round, the first read as `thinstock survey` would; what is there is never written over."""
    there = [name for name, _ in rounds if os.path.lexists(folder / name)]
    if there:
        raise Refused(fault_in("files.there_already", str(folder / name)) for name in there)
    with tempfile.TemporaryDirectory() as aside:
        for name, survey in rounds:
            write_survey(survey, Path(aside, name))
        if machine is not None:
            from thinstock.case.overrides import machine_from
            from thinstock.survey.round import read_round

            read_round(Path(aside, rounds[0][0]), machine_from(machine, ()))
        whole = {name: Path(aside, name).read_bytes() for name, _ in rounds}
    made = folder_of(folder)
    return [put(made / name, content, new=True) for name, content in whole.items()]
