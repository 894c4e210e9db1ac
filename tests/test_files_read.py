"""Foreign files: whatever is wrong with one is a refusal that names it, never a fault of the program."""

from __future__ import annotations

import os
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import pytest

from thinstock import load, loads
from thinstock.case import dumps
from thinstock.cli import status
from thinstock.errors import Refused
from thinstock.files.read import content, foreign, record
from thinstock.machine.provenance import known_values
from thinstock.survey.cells import read_cells
from thinstock.survey.faults import SurveyError
from thinstock.survey.form import form_file
from thinstock.survey.table import COLUMNS, read_survey

HEAD = ",".join(COLUMNS)
PART = "xl/worksheets/sheet1.xml"


@pytest.fixture(scope="module")
def workbook() -> bytes:
    """The empty form of a machine as a workbook."""
    made = form_file(load("facial-roll"), "form.xlsx")
    return made if isinstance(made, bytes) else made.encode()


@pytest.mark.parametrize("at", [40, 900, 1500, 2500, -900, -300, -60])
@pytest.mark.parametrize("how", ["inverted", "removed", "zero"])
def test_a_workbook_with_one_changed_byte_is_read_or_refused(
    at: int, how: str, workbook: bytes, tmp_path: Path
) -> None:
    at %= len(workbook)
    middle = {"inverted": bytes([workbook[at] ^ 0xFF]), "removed": b"", "zero": b"\0"}[how]
    place = tmp_path / "form.xlsx"
    place.write_bytes(workbook[:at] + middle + workbook[at + 1 :])
    try:
        read_survey(place, skip_blank=True)
    except SurveyError as refused:
        assert all(fault.file or fault.field for fault in refused.faults)
        assert "form.xlsx" in str(refused) or "no reading" in str(refused)


def test_the_command_refuses_a_damaged_workbook(
    workbook: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "form.xlsx"
    for damaged in (workbook[:1500] + bytes([workbook[1500] ^ 0xFF]) + workbook[1501:],
                    workbook[:900] + workbook[901:]):  # fmt: skip
        place.write_bytes(damaged)
        assert status(["survey", str(place), "--machine", "facial-roll"]) == 1
        told = capsys.readouterr().err
        assert "form.xlsx" in told and "fault of the program" not in told


@pytest.mark.parametrize(
    ("part", "text"),
    [
        (PART, b"<worksheet><sheetData><row"),
        (PART, b'<worksheet><sheetData><row r="1"><c r="A1" s="x"><v>no number</v></c></row></sheetData></worksheet>'),
        (PART, b"\xff\xfe<\0!\0D\0O\0C\0T\0Y\0P\0E\0"),
        (PART, b"<!-- " + b"x" * 3000 + b" --><!DOCTYPE a [<!ENTITY b 'c'>]><worksheet/>"),
        ("xl/styles.xml", b"<styleSheet>"),
        ("xl/workbook.xml", b""),
        ("xl/_rels/workbook.xml.rels", b"<Relationships/>"),
    ],
)
def test_a_workbook_with_a_part_of_another_kind_is_refused(
    part: str, text: bytes, workbook: bytes, tmp_path: Path
) -> None:
    place, whole = tmp_path / "odd.xlsx", tmp_path / "whole.xlsx"
    whole.write_bytes(workbook)
    with zipfile.ZipFile(whole) as source, zipfile.ZipFile(place, "w") as packed:
        for name in source.namelist():
            packed.writestr(name, text if name == part else source.read(name))
    with pytest.raises(SurveyError, match=r"odd\.xlsx|no sheet called"):
        read_cells(place, COLUMNS, "readings", "survey")


@pytest.mark.parametrize("uncertainty", ["1e200", "1e308", "1e308 + 1e308", "1e200 % of value"])
def test_an_uncertainty_beyond_all_measure_is_refused(uncertainty: str, tmp_path: Path) -> None:
    place = tmp_path / "readings.csv"
    place.write_text(f"{HEAD}\njet,flow,100,kg/s,{uncertainty},1,,,\n", encoding="utf-8")
    with pytest.raises(SurveyError, match="line 2: uncertainty"):
        read_survey(place)


def test_a_list_that_no_machine_needs_is_refused_with_its_length() -> None:
    element = '[[forming.element]]\nkind = "gravity table"\nlength = "1 m"\n'
    with pytest.raises(Refused, match=r"forming\.element = 25000 items: is more than 200") as refused:
        loads("format = 1\n" + element * 25_000 if len(element) * 25_000 < 1e6 else
              "format = 1\n[forming]\nelement = [" + "{}," * 25_000 + "]\n")  # fmt: skip
    assert len(refused.value.faults) == 1
    with pytest.raises(Refused, match="nests tables or lists deeper than"):
        loads("format = 1\ntitle = " + "[" * 30 + "]" * 30)
    with pytest.raises(Refused, match=r"nested too|nests"):
        loads("format = 1\ntitle = " + "[" * 50_000 + "]" * 50_000)


def test_the_cost_of_a_list_grows_with_its_length_and_not_faster() -> None:
    text = dumps(load("facial-roll"), full=True)
    first = text.index("[[vacuum.slot]]")
    end = text.index("\n[", first + 5)
    slot = text[first:end]

    def spent(count: int) -> float:
        slots = "\n".join(slot.replace('name = "', f'name = "{k} ') for k in range(count))
        machine = loads(text[:first] + slots + text[end:])
        best = 1e9
        for _ in range(3):
            start = time.process_time()
            known_values(machine)
            best = min(best, time.process_time() - start)
        return best

    spent(10)
    assert spent(200) < 12 * max(spent(50), 1e-3), "four times as many, at most three times the proportion"


def test_very_many_faults_are_counted_not_printed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "m.toml"
    place.write_text(dumps(load("facial-roll")) + "\n".join(f"[x{k}]\na = 1" for k in range(150)), encoding="utf-8")
    assert status(["check", str(place)]) == 1
    assert len(capsys.readouterr().err.splitlines()) <= 103


@pytest.mark.skipif(os.name == "nt", reason="pipes and devices")
def test_pipes_devices_folders_and_what_is_not_there_are_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for place, words in ((tmp_path / "pipe", "device or pipe"), (Path("/dev/zero"), "device or pipe"),
                         (tmp_path, "is a folder"), (tmp_path / "none", "no such file"),
                         (Path("a\0b"), "cannot be opened")):  # fmt: skip
        with pytest.raises(Refused, match=words):
            content(place, 1000)
    (tmp_path / "big").write_bytes(b"x" * 1001)
    with pytest.raises(Refused, match="larger than 1000 bytes"):
        content(tmp_path / "big", 1000)


@pytest.mark.parametrize(
    "text", ["", "[1]", "{", '{"a": NaN}', "[" * 100_000, '{"a":' * 70 + "1" + "}" * 70, "\ud800", '{"a": 1e999999}x']
)
def test_a_record_that_is_none_is_refused(text: str, tmp_path: Path) -> None:
    place = tmp_path / "r.json"
    place.write_bytes(text.encode("utf-8", "surrogatepass"))
    with pytest.raises(Refused, match=r"r\.json"):
        record(place, 1_000_000)


def test_what_a_reader_raises_becomes_a_refusal_and_keeps_its_cause() -> None:
    with pytest.raises(Refused, match=r"x\.bin: cannot be read \(odd\)") as refused, foreign("x.bin"):
        raise ZeroDivisionError("odd\n")
    assert isinstance(refused.value.__cause__, ZeroDivisionError)
    with pytest.raises(KeyboardInterrupt), foreign("x.bin"):
        raise KeyboardInterrupt
    with pytest.raises(SurveyError, match="more memory"), foreign("x.bin", SurveyError):
        raise MemoryError


def test_what_a_reader_raised_can_be_looked_at(
    workbook: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "form.xlsx"
    place.write_bytes(workbook[:1500] + bytes([workbook[1500] ^ 0xFF]) + workbook[1501:])
    asked = ["survey", str(place), "--machine", "facial-roll"]
    assert status(asked) == 1 and "Traceback" not in capsys.readouterr().err
    monkeypatch.setenv("THINSTOCK_TRACE", "1")
    assert status(asked) == 1 and "Traceback" in capsys.readouterr().err


def test_no_name_is_no_folder(capsys: pytest.CaptureFixture[str]) -> None:
    assert status(["check", ""]) == 1
    assert "there is no such file" in capsys.readouterr().err


def test_output_that_is_closed_is_no_fault_of_the_program(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", "import os, sys; os.close(1); sys.stdout = None\n"
         "from thinstock.cli import status; sys.exit(status(['machines']))"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0 and "fault" not in done.stderr
