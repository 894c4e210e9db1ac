"""A round of readings in a Parquet file says what the same round says as CSV, and what could mislead is refused."""

from __future__ import annotations

import base64
import io
from decimal import Decimal
from importlib.resources import files
from pathlib import Path

import pytest

from thinstock import load
from thinstock.cli import status
from thinstock.survey import SurveyError, read_survey
from thinstock.survey.cells import LARGEST_FILE, LONGEST_CELL, MOST_ROWS
from thinstock.survey.table import COLUMNS

pa = pytest.importorskip("pyarrow", reason="optional extra: thinstock[tables]")
parquet = pytest.importorskip("pyarrow.parquet", reason="optional extra: thinstock[tables]")

ROUND = Path(str(files("thinstock.library"))) / "surveys" / "facial-roll.csv"
ROW = {"stream": "jet", "quantity": "flow", "value": "100", "unit": "kg/s", "uncertainty": "1", "coverage_factor": "2",
       "method": "weir", "group": "", "note": ""}  # fmt: skip
NUMBERS = ("value", "coverage_factor")


def written(place: Path, heading: dict[str, str] | None = None, **columns: object) -> Path:
    """A file of one reading, or of as many as a column gives, with some columns otherwise."""
    many = max((len(one) for one in columns.values() if hasattr(one, "__len__")), default=1)
    table = pa.table({name: columns.get(name, [ROW[name]] * many) for name in COLUMNS} | {
        name: one for name, one in columns.items() if name not in COLUMNS})  # fmt: skip
    parquet.write_table(table.replace_schema_metadata(heading), place)
    return place


def as_parquet(source: Path, place: Path) -> Path:
    """A table of readings with its numbers as numbers."""
    survey = read_survey(source)
    rows = [reading.given for reading in survey.readings]
    columns = {name: [row[name] for row in rows] for name in COLUMNS}
    numbers = {name: pa.array([float(one) for one in columns[name]]) for name in NUMBERS}
    return written(place, dict(survey.heading), **(columns | numbers))


def test_a_round_says_the_same_as_its_csv(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = as_parquet(ROUND, tmp_path / "round.parquet")
    assert read_survey(place).readings == read_survey(ROUND).readings
    assert read_survey(place).heading == read_survey(ROUND).heading
    told = []
    for table in (ROUND, place):
        assert status(["survey", str(table), "--machine", "facial-roll", "--json"]) == 0
        told.append(capsys.readouterr().out.replace(str(table), "TABLE").replace(table.name, "TABLE"))
    assert told[0] == told[1]


def test_a_calibration_takes_a_parquet_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = written(tmp_path / "empty.parquet", note=["=1+1"])
    assert status(["calibrate", str(place), "--machine", "facial-roll"]) == 1
    assert "empty.parquet, line 2: note = =1+1: begins with =" in capsys.readouterr().err


def test_numbers_of_any_kind_and_cells_that_are_empty_are_taken_as_they_are(tmp_path: Path) -> None:
    for number in (pa.array([100]), pa.array([100.0]), pa.array([100.0], pa.float32()), pa.array([Decimal("100.00")]),
                   pa.array(["100"]).dictionary_encode(), pa.array([" 100 "], pa.large_string())):  # fmt: skip
        (reading,) = read_survey(written(tmp_path / "r.parquet", value=number)).readings
        assert (reading.value, reading.standard_uncertainty) == (100.0, 0.5), number.type
    (short,) = read_survey(written(tmp_path / "r.parquet", value=pa.array([0.1], pa.float32()))).readings
    assert short.value == 0.1, "a short number is read as it is written, not with the digits it does not have"
    blank = pa.array([None, float("nan"), 7.0])
    survey = read_survey(written(tmp_path / "r.parquet", value=blank, note=pa.nulls(3)), skip_blank=True)
    assert [(one.value, one.note) for one in survey.readings] == [(7.0, "")]


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"value": [True]}, "value: holds bool, which is neither text nor a number"),
        ({"value": [[1.0]]}, "value: holds list<"),
        ({"note": [b"raw"]}, "note: holds binary"),
        ({"value": [float("inf")]}, "line 2: value = inf: is no number"),
        ({"note": ["=cmd()"]}, "line 2: note = =cmd(): begins with ="),
        ({"method": ["x" * (LONGEST_CELL + 1)]}, f"is longer than {LONGEST_CELL} letters"),
        ({"more": ["x"]}, "columns = stream, quantity"),
        ({"note": ["n"] * (MOST_ROWS + 1)}, f"more than {MOST_ROWS} rows"),
        ({"uncertainty": ["1e200"]}, "line 2: uncertainty"),
        ({f"c{k}": ["x"] for k in range(250)}, "more than 200 columns"),
    ],
    ids=["truth", "list", "bytes", "no number", "formula", "long", "column", "rows", "measure", "columns"],
)  # fmt: skip
def test_what_could_mislead_is_refused_with_its_place(columns: dict[str, object], words: str, tmp_path: Path) -> None:
    with pytest.raises(SurveyError) as refused:
        read_survey(written(tmp_path / "r.parquet", **columns))
    assert words in str(refused.value), str(refused.value)


def test_a_small_file_that_unpacks_large_is_refused_unread(tmp_path: Path) -> None:
    texts = [str(k % 10) * 9000 for k in range(5000)]
    place = tmp_path / "r.parquet"
    table = pa.table({name: texts if name == "note" else [ROW[name]] * 5000 for name in COLUMNS})
    parquet.write_table(table, place, compression="zstd", use_dictionary=False)
    assert place.stat().st_size < LARGEST_FILE / 10
    with pytest.raises(SurveyError, match="unpacks to more than"):
        read_survey(place)


def test_a_changed_byte_anywhere_is_read_or_refused(tmp_path: Path) -> None:
    whole, place = as_parquet(ROUND, tmp_path / "whole.parquet").read_bytes(), tmp_path / "r.parquet"
    for at in (*range(0, len(whole), 97), len(whole) - 1, len(whole) - 5, len(whole) - 9):
        for changed in (whole[:at] + bytes([whole[at] ^ 0xFF]) + whole[at + 1 :], whole[:at] + whole[at + 1 :]):
            place.write_bytes(changed)
            try:
                read_survey(place)
            except SurveyError as refused:
                assert refused.faults
    for end in (4, 8, 500, len(whole) - 1):
        place.write_bytes(whole[:end])
        with pytest.raises(SurveyError, match=r"r\.parquet"):
            read_survey(place)


def test_the_page_takes_one_and_keeps_it_as_csv(tmp_path: Path) -> None:
    from app_client import Client

    raw = as_parquet(ROUND, tmp_path / "round.parquet").read_bytes()
    (tmp_path / "w").mkdir()
    client = Client(tmp_path / "w")
    try:
        body = {"query": "machine=facial-roll", "name": "round.parquet", "workbook": base64.b64encode(raw).decode()}
        told = client.post("/survey/take", body)
        assert told.status_code == 200, told.text
        (kept,) = (tmp_path / "w").rglob("round*.csv")
        assert read_survey(kept).readings == read_survey(ROUND).readings
    finally:
        client.close()


def test_a_form_filled_in_elsewhere_comes_back(tmp_path: Path) -> None:
    from pyarrow import csv

    from thinstock.survey.form import form_file

    form = form_file(load("facial-roll"), "form.csv")
    rows = [line for line in form.splitlines(keepends=True) if not line.startswith(b"#")]
    parquet.write_table(csv.read_csv(io.BytesIO(b"".join(rows))), tmp_path / "form.parquet")
    with pytest.raises(SurveyError, match="no reading in the table"):
        read_survey(tmp_path / "form.parquet", skip_blank=True)
