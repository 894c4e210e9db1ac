"""The form a machine offers: whatever of its rows is filled in, the survey answers, in words, and never falls over."""

from __future__ import annotations

import csv
import io
import random
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from thinstock.case import library, load
from thinstock.errors import Refused
from thinstock.machine.line import Machine
from thinstock.survey import findings_of, read_round
from thinstock.survey.form import FormRow, form_heading, form_rows
from thinstock.survey.machine_model import MachineModel
from thinstock.survey.round import shown
from thinstock.survey.table import COLUMNS
from thinstock.tell.survey import told

KEPT_AS = {"dryness": "consistency", "moisture": "consistency"}
POSITION = {"deg": "position:angle", "m": "position"}
SHARES = (0.2, 0.5, 0.8, 1.0)
"""Of the rows that are filled in, machine by machine."""
MACHINES = sorted(library.machine_names())


def key_of(row: FormRow) -> tuple[str, str]:
    """What a row is kept as."""
    if row.quantity == "position":
        return row.stream, POSITION[row.unit]
    return row.stream, KEPT_AS.get(row.quantity, row.quantity)


@lru_cache
def readable(name: str) -> tuple[Machine, tuple[tuple[FormRow, float], ...]]:
    """The machine and what each row of its form would read on it, in the row's unit."""
    machine = load(name)
    rows = form_rows(machine)
    found = []
    for row, value in zip(rows, MachineModel(machine, [key_of(r) for r in rows]).readings({})[0], strict=True):
        number, _ = shown(float(value), key_of(row)[1])
        number = 100.0 - number if row.quantity == "moisture" else number
        if np.isfinite(number):
            found.append((row, number or 0.01))  # water that the run gives free of fibre carries a little in a mill
    return machine, tuple(found)


def filled(machine: Machine, rows: list[tuple[FormRow, float]], by: random.Random, *, wrong: bool) -> str:
    """The table as a surveyor hands it in: one per cent off, one reading a quarter too high if `wrong`."""
    stream = io.StringIO()
    stream.writelines(f"# {key}: {value}\n" for key, value in form_heading(machine).items())
    writer = csv.writer(stream)
    writer.writerow(COLUMNS)
    bad = by.randrange(len(rows)) if wrong else -1
    for i, (row, value) in enumerate(rows):
        read = value * (1.25 if i == bad and row.quantity != "dryness" else 1.0) * (1.0 + 0.01 * by.gauss(0.0, 1.0))
        read = min(read, 99.0) if row.unit == "%" else read
        cells = list(row.cells())
        cells[COLUMNS.index("value")] = f"{read:.5g}"
        writer.writerow(cells)
    return stream.getvalue()


def answered(machine: Machine, text: str, place: Path) -> str:
    """What the survey says of a table: its page, or why it cannot be checked."""
    table = place / "round.csv"
    table.write_text(text, encoding="utf-8")
    try:
        told([findings_of(read_round(table, machine))], [])
    except Refused as refused:
        assert all(f.field == "readings" and f.remedy for f in refused.faults), [str(f) for f in refused.faults]
        return "refused"
    return "told"


@pytest.mark.parametrize(
    ("name", "shares"),
    [(name, (by.choice(SHARES),)) for by in [random.Random(7)] for name in MACHINES]
    + [pytest.param(name, SHARES, marks=pytest.mark.slow) for name in MACHINES],
)
def test_any_part_of_a_form_can_be_filled_in(name: str, shares: tuple[float, ...], tmp_path: Path) -> None:
    machine, rows = readable(name)
    by = random.Random(name)
    for share in shares:
        some = [row for row in rows if by.random() < share] or list(rows)
        said = answered(machine, filled(machine, some, by, wrong=by.random() < 0.5), tmp_path)
        assert said == "told" or share < 1.0, "a form filled in from end to end can always be checked"


def test_a_temperature_of_the_jet_is_a_reading_like_any_other(tmp_path: Path) -> None:
    """Without a machine to begin from too: the heat of what was not read begins at what was."""
    machine, rows = readable("facial-roll")
    assert any((r.stream, r.quantity) == ("jet", "temperature") for r, _ in rows)
    warm = [row for row in rows if row[0].quantity != "share:fines"]
    assert answered(machine, filled(machine, warm, random.Random(1), wrong=True), tmp_path) == "told"
    from thinstock.survey import reconcile

    (tmp_path / "round.csv").write_text(filled(machine, list(rows), random.Random(2), wrong=False), encoding="utf-8")
    round_ = read_round(tmp_path / "round.csv", machine)
    begun = reconcile(round_.network.network, round_.balance, start=round_.network.start)
    alone = reconcile(round_.network.network, round_.balance)
    assert alone.result.statistic == pytest.approx(begun.result.statistic, rel=1e-6)
