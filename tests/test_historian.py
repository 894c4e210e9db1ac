"""Files of a historian: what is read, what is dropped and counted, and what is refused with its line."""

from __future__ import annotations

import tempfile
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from thinstock.errors import Refused
from thinstock.survey import SurveyError, read_series
from thinstock.survey import historian_csv as blockwise

BERLIN = "Europe/Berlin"


def written(folder: Path, text: str, name: str = "signals.csv", encoding: str = "utf-8") -> Path:
    place = folder / name
    place.write_bytes(text.encode(encoding))
    return place


def at(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def faults_of(path: Path, **more: object) -> list[str]:
    with pytest.raises(SurveyError) as refused:
        read_series(path, zone=more.get("zone", "UTC"), tags=more.get("tags"))  # type: ignore[arg-type]
    return [str(f) for f in refused.value.faults]


def test_an_hour_that_is_put_forward_is_no_hour_between(tmp_path):
    file = written(tmp_path, "time;x\n;%\n2026-03-29 01:59;1,5\n2026-03-29 03:00;2,5\n")
    x = read_series(file, zone=BERLIN)["x"]
    assert x.time[1] - x.time[0] == 60.0
    assert x.unit == "%"
    assert_allclose(x.value, [1.5, 2.5])
    assert dict(x.dropped) == {}


def test_a_time_that_the_clock_jumped_over_is_refused_with_its_line(tmp_path):
    file = written(tmp_path, "time;x\n2026-03-29 01:59;1\n2026-03-29 02:30;2\n")
    said = faults_of(file, zone=BERLIN)
    assert len(said) == 1
    assert "line 3" in said[0] and "2026-03-29 02:30:00" in said[0] and BERLIN in said[0]


@pytest.mark.parametrize("falling", [False, True])
def test_the_hour_that_comes_twice_is_told_by_its_order(tmp_path, falling):
    clock = ["01:30", "02:00", "02:30", "02:00", "02:30", "03:00"]
    rows = [f"2026-10-25 {c};{i}" for i, c in enumerate(clock)]
    file = written(tmp_path, "\n".join(["time;x", *(rows[::-1] if falling else rows)]) + "\n")
    x = read_series(file, zone=BERLIN)["x"]
    assert_allclose(np.diff(x.time), 1800.0)
    assert_allclose(x.value, range(6))


def test_hourly_values_tell_the_second_hour_by_a_second_row(tmp_path):
    file = written(tmp_path, "time;x\n2026-10-25 01:00;1\n2026-10-25 02:00;2\n2026-10-25 02:00;3\n2026-10-25 03:00;4\n")
    x = read_series(file, zone=BERLIN)["x"]
    assert_allclose(np.diff(x.time), 3600.0)


def test_a_long_and_a_wide_file_say_the_same(tmp_path):
    long = written(
        tmp_path,
        "time,tag,value,unit,quality\n"
        "2026-01-01T00:00:00Z,A,1.5,kg/s,Good\n2026-01-01T00:00:00Z,B,10,degC,192\n"
        "2026-01-01T00:01:00Z,A,2.5,,GOOD\n2026-01-01T00:01:00Z,B,11,degC,Bad\n",
    )
    wide = written(
        tmp_path,
        "time\tA\tB\tB quality\n\tkg/s\tdegC\t\n2026-01-01 01:00:00+01:00\t1.5\t10\tg\n"
        "2026-01-01 01:01:00+01:00\t2.5\t11\tuncertain\n",
        "wide.csv",
    )
    one, other = read_series(long), read_series(wide)
    assert list(one) == list(other) == ["A", "B"]
    for tag in one:
        assert_allclose(one[tag].time, other[tag].time)
        assert_allclose(one[tag].value, other[tag].value)
        assert one[tag].unit == other[tag].unit
        assert one[tag].dropped == other[tag].dropped
    assert dict(one["B"].dropped) == {"quality": 1}
    assert one["A"].time[0] == at("2026-01-01")


def test_a_parquet_file_says_the_same_as_its_csv(tmp_path):
    stamps = [datetime(2026, 1, 1, 0, i, tzinfo=UTC) for i in range(3)]
    table = pa.table(
        {
            "time": pa.array(stamps, pa.timestamp("ms", "UTC")),
            "A": pa.array([1.0, None, 3.0]),
            "A quality": pa.array([192, 192, 192]),
        },
        schema=pa.schema(
            [
                ("time", pa.timestamp("ms", "UTC")),
                pa.field("A", pa.float64(), metadata={"unit": "kg/s"}),
                ("A quality", pa.int64()),
            ]
        ),
    )
    pa.parquet.write_table(table, tmp_path / "a.parquet")
    a = read_series(tmp_path / "a.parquet")["A"]
    assert_allclose(a.value, [1.0, 3.0])
    assert a.unit == "kg/s" and dict(a.dropped) == {"no number": 1}
    local = pa.table({"time": pa.array([datetime(2026, 3, 29, 1, 59), datetime(2026, 3, 29, 3, 0)]),
                      "tag": ["x", "x"], "value": pa.array([1, 2])})  # fmt: skip
    pa.parquet.write_table(local, tmp_path / "b.parquet")
    x = read_series(tmp_path / "b.parquet", zone=BERLIN)["x"]
    assert np.diff(x.time) == [60.0]
    assert "no zone is given" in str(refusal(tmp_path / "b.parquet"))


def refusal(path: Path) -> SurveyError:
    with pytest.raises(SurveyError) as refused:
        read_series(path)
    return refused.value


def test_words_and_bad_qualities_and_repeated_stamps_are_dropped_and_counted(tmp_path):
    rows = ["time;tag;value;quality"]
    rows += [f"2026-01-01 00:{i:02d};A;{i},5;Good" for i in range(5)]
    rows += ["2026-01-01 00:05;A;---;Good", "2026-01-01 00:06;A;I/O Timeout;", "2026-01-01 00:07;A;9;Bad"]
    rows += ["2026-01-01 00:04;A;7,5;Good", "2026-01-01 00:08;A;;Good"]
    a = read_series(written(tmp_path, "\n".join(rows) + "\n"), zone="UTC")["A"]
    assert dict(a.dropped) == {"quality": 1, "no number": 3, "repeated": 1}
    assert a.value.tolist() == [0.5, 1.5, 2.5, 3.5, 7.5]


def test_only_the_tags_that_are_asked_for_are_read(tmp_path):
    file = written(tmp_path, "time;flow;level\n2026-01-01 00:00;1;2\n")
    assert list(read_series(file, zone="UTC", tags=["level"])) == ["level"]
    said = faults_of(file, tags=["levle"])
    assert "levle" in said[0] and "level" in said[0]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("2026-01-01 00:01;1.5", ["line 3", "A = 1.5", "another decimal mark than line 2"]),
        ("2026-01-01 00:01;1.234,5", ["line 3", "thousands"]),
        ("2026-01-01 00:01;1 234,5", ["line 3", "thousands"]),
        ("yesterday;1,5", ["line 3", "time = yesterday", "is no time"]),
        ("2026-02-30 00:01;1,5", ["line 3", "is no time"]),
        ("2026-01-01 00:01+01:00;1,5", ["line 3", "states an offset"]),
        ("2026-01-01 00:01;1,5;9", ["line 3", "another number of columns"]),
    ],
)
def test_a_row_that_could_mislead_is_refused_with_line_and_column(tmp_path, row, words):
    said = faults_of(written(tmp_path, f"time;A\n2026-01-01 00:00;2,5\n{row}\n"))
    assert len(said) == 1
    assert all(w in said[0] for w in words), said[0]


def test_all_faults_of_a_file_come_at_once_and_a_flood_of_them_is_counted(tmp_path):
    few = faults_of(written(tmp_path, "time;A\n2026-01-01 00:00;2,5\n\nx;1,5\n2026-01-01 00:02;1.5\n"))
    assert len(few) == 2
    assert "line 4" in few[0] and "line 5" in few[1]
    many = faults_of(written(tmp_path, "time;A\n2026-01-01 00:00;2,5\n" + "".join(f"x{i};1,5\n" for i in range(100))))
    assert len(many) == 26
    assert "75 faults more" in many[-1]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ["is empty"]),
        ("a;b\n1;2\n", ["line 1", "no column is called time"]),
        ("time\n2026-01-01\n", ["no column of values"]),
        ("time;A;A\n2026-01-01;1;2\n", ["stands twice"]),
        ("time;A\nx;1\ny;2\n", ["line 3", "is no time"]),
        ("time;A\n03/04/2026 00:00;1\n", ["day or month first"]),
        ("# zone: Europe/Nowhere\ntime;A\n2026-01-01;1\n", ["Europe/Nowhere"]),
    ],
)
def test_a_file_that_is_not_understood_is_refused_with_what_would_help(tmp_path, text, words):
    place = written(tmp_path, text)
    with pytest.raises(SurveyError) as refused:
        read_series(place, zone=None if "zone" in text else "UTC")
    assert all(w in str(refused.value) for w in words), str(refused.value)


def test_a_zone_is_never_guessed_but_may_stand_in_the_file(tmp_path):
    rows = "time;A\n2026-07-01 12:00;1\n"
    assert "no zone is given" in str(refusal(written(tmp_path, rows)))
    file = written(tmp_path, f"# zone: {BERLIN}\n{rows}", "zoned.csv")
    assert read_series(file)["A"].time[0] == at("2026-07-01 10:00")
    assert "the file says" in faults_of(file, zone="UTC")[0]


@pytest.mark.parametrize(
    ("stamp", "meant"),
    [
        ("29.03.2026 14:05", "2026-03-29 14:05"),
        ("29.3.2026 14:05:30", "2026-03-29 14:05:30"),
        ("29/03/2026 14:05", "2026-03-29 14:05"),
        ("03/29/2026 02:05 PM", "2026-03-29 14:05"),
        ("2026/03/29 14:05:00.250", "2026-03-29 14:05:00.250"),
        ("2026-03-29T14:05:00.25", "2026-03-29 14:05:00.250"),
        ("2026-03-29 16:05 +02:00", "2026-03-29 14:05"),
    ],
)
def test_times_are_read_as_mills_write_them(tmp_path, stamp, meant):
    file = written(tmp_path, f"time;A\n{stamp};1\n")
    assert read_series(file, zone=None if "+" in stamp else "UTC")["A"].time[0] == pytest.approx(at(meant))


@pytest.mark.parametrize("encoding", ["utf-16", "latin-1"])
def test_a_foreign_encoding_is_refused_with_what_to_do(tmp_path, encoding):
    file = written(tmp_path, "time;Füllstand\n2026-01-01;1\n", encoding=encoding)
    assert "UTF-8" in str(refusal(file))


def test_a_workbook_and_a_torn_parquet_file_are_refused(tmp_path):
    for data in (b"PK\x03\x04rest", b"PAR1 torn"):
        place = tmp_path / "odd"
        place.write_bytes(data)
        with pytest.raises(SurveyError):
            read_series(place)
    with pytest.raises(SurveyError):
        read_series(tmp_path / "not there.csv")


def test_blocks_change_nothing(tmp_path, monkeypatch):
    rows = ["time;tag;value;unit"]
    generator = np.random.default_rng(4)
    for i in range(200):
        rows += [f"2026-10-25 0{i // 100}:{i % 60:02d}:{i % 7:02d};T{k};{generator.normal():.3f};bar" for k in range(3)]
    text = "\r\n".join(rows).replace(".", ",") + "\r\n"
    file = written(tmp_path, text)
    whole = read_series(file, zone=BERLIN)
    monkeypatch.setattr(blockwise, "BLOCK", 500)
    pieces = read_series(file, zone=BERLIN)
    for tag, one in whole.items():
        assert np.array_equal(one.time, pieces[tag].time) and np.array_equal(one.value, pieces[tag].value)
        assert one.dropped == pieces[tag].dropped and one.unit == "bar"


def test_whole_numbers_leave_the_decimal_mark_open_until_one_shows_it(tmp_path, monkeypatch):
    monkeypatch.setattr(blockwise, "BLOCK", 40)
    head = "time;A\n" + "".join(f"2026-01-01 00:{i:02d};{i}\n" for i in range(5))
    file = written(tmp_path, head)
    good = written(tmp_path, head + "2026-01-01 01:00;7,5\n", "comma.csv")
    assert read_series(file, zone="UTC")["A"].value[-1] == 4.0
    assert read_series(good, zone="UTC")["A"].value[-1] == 7.5


PIECES = st.sampled_from(
    ["time", "tag", "value", ";", ",", "\t", "\n", "\r", '"', "2026-01-01 00:00", "2026-13-01", "1,5", "1.5", "Bad",
     "1e400", "nan", "\0", "# zone: UTC\n", "x quality", "\u2028", "03/04/2026", "+02:00", ""]
)  # fmt: skip


@given(rows=st.lists(PIECES, max_size=30), more=st.binary(max_size=20), zone=st.sampled_from([None, BERLIN]))
@settings(max_examples=80, deadline=None)
def test_no_file_whatever_makes_the_reader_fail(rows: list[str], more: bytes, zone: str | None):
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder, "signals.csv")
        place.write_bytes(("time;A\n2026-01-01 00:00;1\n" * (len(rows) % 2) + "".join(rows)).encode() + more)
        try:
            found = read_series(place, zone=zone)
        except Refused as refused:
            assert refused.faults and all(f.bound or f.remedy for f in refused.faults)
            return
    assert all(np.all(np.diff(one.time) > 0.0) and np.all(np.isfinite(one.value)) for one in found.values())
