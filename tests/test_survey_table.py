"""The surveyor's table: what it accepts, what it means in SI, and what it refuses with which words."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xlsxwriter
from hypothesis import given
from hypothesis import strategies as st

from thinstock.survey import Reading, Survey, SurveyError, read_survey, write_survey
from thinstock.survey.cells import LARGEST_FILE, LARGEST_UNPACKED

DATA = Path(__file__).parent / "data"
COLUMNS = "stream,quantity,value,unit,uncertainty,coverage_factor,method,group,note"


def written(folder: Path, *rows: str, heading: str = "", separator: str = ",") -> Path:
    place = folder / "readings.csv"
    place.write_text(
        "\n".join([*heading.splitlines(), COLUMNS.replace(",", separator), *rows]) + "\n", encoding="utf-8"
    )
    return place


def one(folder: Path, row: str, heading: str = "") -> Reading:
    (reading,) = read_survey(written(folder, row, heading=heading)).readings
    return reading


def refusal(folder: Path, row: str, heading: str = "") -> str:
    with pytest.raises(SurveyError) as error:
        read_survey(written(folder, row, heading=heading))
    return str(error.value)


def workbook(folder: Path, *rows: list[object], sheet: str = "readings", heading: dict[str, str] | None = None) -> Path:
    place = folder / "readings.xlsx"
    book = xlsxwriter.Workbook(str(place))
    page = book.add_worksheet(sheet)
    page.write_row(0, 0, COLUMNS.split(","))
    per_cent = book.add_format({"num_format": "0.0%"})
    for i, row in enumerate(rows, start=1):
        for j, cell in enumerate(row):
            if isinstance(cell, tuple):
                page.write_number(i, j, cell[0], per_cent)
            elif isinstance(cell, str) and cell.startswith("="):
                page.write_formula(i, j, cell)
            else:
                page.write(i, j, cell)
    if heading:
        head = book.add_worksheet("survey")
        for i, pair in enumerate(heading.items()):
            head.write_row(i, 0, pair)
    book.close()
    return place


def test_the_demonstration_survey_is_read_into_si():
    survey = read_survey(DATA / "survey_reference_machine.csv")
    assert len(survey.readings) == 21
    thick = survey.readings[1]
    assert (thick.stream, thick.quantity, thick.method) == ("thick", "consistency", "lab")
    assert thick.value == pytest.approx(0.03063, rel=1e-14)
    assert thick.standard_uncertainty == pytest.approx(0.02 * 0.03063, rel=1e-14)
    assert thick.given["uncertainty"] == "2 % of value"
    assert survey.heading["water_density"] == "990 kg/m3"


def test_parts_of_an_uncertainty_are_added_as_squares(tmp_path):
    reading = one(tmp_path, "tray,consistency,0.18,%,0.004 + 3 % of value,1,,,")
    assert reading.standard_uncertainty == pytest.approx(6.7201e-5, abs=5e-10)


def test_the_coverage_factor_divides_the_stated_number(tmp_path):
    assert one(tmp_path, "a,flow,100,kg/s,3.92,1.96,,,").standard_uncertainty == pytest.approx(2.0)


def test_per_cent_alone_means_of_value_for_a_flow(tmp_path):
    assert one(tmp_path, "a,flow,250,kg/s,2 %,1,,,").standard_uncertainty == pytest.approx(5.0)


@pytest.mark.parametrize("unit", ["%", "1"])
def test_per_cent_alone_is_ambiguous_for_a_share(tmp_path, unit):
    text = refusal(tmp_path, f"a,consistency,0.5,{unit},3 %,1,,,")
    assert "ambiguous" in text and "3 % of value" in text and '"3"' in text


def test_a_bare_uncertainty_is_in_the_unit_of_the_value(tmp_path):
    assert one(tmp_path, "a,dryness,40,%,1.5,1,,,").standard_uncertainty == pytest.approx(0.015)


def test_dryness_and_moisture_are_consistency(tmp_path):
    dry = one(tmp_path, "a,dryness,40,%,1,1,,,")
    wet = one(tmp_path, "a,moisture,60,%,2 % of value,1,,,")
    assert dry.quantity == wet.quantity == "consistency"
    assert dry.value == pytest.approx(0.4) and wet.value == pytest.approx(0.4)
    assert wet.standard_uncertainty == pytest.approx(0.012)


def test_a_volume_flow_becomes_mass_by_the_stated_density(tmp_path):
    reading = one(tmp_path, "a,flow,3600,m3/h,1 %,1,,,", heading="# water_density: 990 kg/m3")
    assert reading.value == pytest.approx(990.0) and reading.standard_uncertainty == pytest.approx(9.9)
    assert "water_density" in refusal(tmp_path, "a,flow,3600,m3/h,1 %,1,,,")


def test_a_temperature_keeps_the_size_of_its_uncertainty(tmp_path):
    reading = one(tmp_path, "a,temperature,40,degC,0.5,1,,,")
    assert reading.value == pytest.approx(313.15) and reading.standard_uncertainty == pytest.approx(0.5)


def test_readings_of_one_group_share_variance(tmp_path):
    survey = read_survey(written(tmp_path, "a,flow,10,kg/s,2,1,,meter @ 0.4,", "b,flow,20,kg/s,3,1,,meter @ 0.4,"))
    np.testing.assert_allclose(survey.covariance(), [[4.0, 2.4], [2.4, 9.0]])


def test_a_negative_share_of_a_group_turns_the_sign(tmp_path):
    rows = "a,flow,10,kg/s,2,1,,tank @ 0.5; man @ 0.5,", "b,flow,20,kg/s,3,1,,man @ -0.32; tank @ 0.02,"
    survey = read_survey(written(tmp_path, *rows))
    assert survey.covariance()[0, 1] == pytest.approx(6.0 * (0.1 - 0.4))


SHARES = st.lists(st.floats(-1.0, 1.0), min_size=2, max_size=2).filter(lambda s: abs(s[0]) + abs(s[1]) <= 1.0)


@given(st.lists(st.tuples(st.floats(0.1, 10.0), SHARES), min_size=2, max_size=8))
def test_the_covariance_of_any_groups_is_positive_semidefinite(rows):
    readings = [Reading("s", "flow", 1.0, u, group=(("a", s[0]), ("b", s[1]))) for u, s in rows]
    values = np.linalg.eigvalsh(Survey(tuple(readings)).covariance())
    assert values.min() > -1e-12 * values.max()


def test_two_readings_of_one_quantity_stay_two(tmp_path):
    survey = read_survey(written(tmp_path, "a,flow,10,kg/s,1,1,,,", "a,flow,11,kg/s,1,1,,,"))
    assert [r.value for r in survey.readings] == [10.0, 11.0]


def test_a_semicolon_separates_as_well(tmp_path):
    place = written(tmp_path, 'a;flow;10;kg/s;1;1;;"x @ 0.2; y @ 0.3";seen, noted', separator=";")
    (reading,) = read_survey(place).readings
    assert reading.group == (("x", 0.2), ("y", 0.3)) and reading.note == "seen, noted"


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("a,flow,10,kg/s,,1,,,", ["uncertainty", "empty", "3 % of value"]),
        ("a,flow,10,kg/s,0,1,,,", ["uncertainty = 0", "zero"]),
        ("a,flow,0,kg/s,2 %,1,,,", ["uncertainty", "zero"]),
        ("a,flow,10,kg/s,-1,1,,,", ["uncertainty", "negative"]),
        ("a,flow,10,kg/s,1,,,,", ["coverage_factor", "1.96", "Write 1 "]),
        ("a,flow,10,kg/s,1,0,,,", ["coverage_factor = 0"]),
        ("a,flow,10,furlong,1,1,,,", ["unit = furlong", "unknown unit", "kg/s"]),
        ("a,flow,10,,1,1,,,", ["unit", "empty"]),
        ("a,flow,10,degC,1,1,,,", ["temperature", "not of flow"]),
        ("a,solids,10,m3/h,1,1,,,", ["volume flow, not of solids"]),
        ("a,flow,-10,kg/s,1,1,,,", ["negative flow"]),
        ("a,consistency,101,%,1,1,,,", ["outside 0 to 1"]),
        ("a,share:fines,-0.1,1,1,1,,,", ["outside 0 to 1"]),
        ("a,share,0.1,1,1,1,,,", ["share:fines"]),
        ("a,flaw,10,kg/s,1,1,,,", ["quantity = flaw", "Nearest known: flow"]),
        ('a,flow,"1,560",kg/s,1,1,,,', ["line 2", "decimals or thousands", "1.560 or 1560"]),
        ('a,flow,10.5,kg/s,"1,500",1,,,', ["uncertainty", "decimals or thousands", "1.500 or 1500"]),
        ("a,flow,10,5,kg/s,1,1,,,", ["10 cells", "decimal comma"]),
        ("a,flow,1 000,kg/s,1,1,,,", ["value = 1 000", "no thousands separator"]),
        ("a,flow,nan,kg/s,1,1,,,", ["value = nan", "no number"]),
        ("a,flow,1e999,kg/s,1,1,,,", ["too large"]),
        ("a,flow,=10+1,kg/s,1,1,,,", ["value = =10+1", "begins with ="]),
        ("a,flow,10,kg/s,1,1,,,=cmd", ["note", "begins with ="]),
        ("a,flow,10,kg/s,1,1,,meter,", ["group = meter", "names no share", "@"]),
        ("a,flow,10,kg/s,1,1,,meter @ 0.8; tank @ -0.3,", ["more than all of the variance"]),
        ("a,flow,10,kg/s,1,1,,m @ 0.1; m @ 0.1,", ["twice"]),
        (",flow,10,kg/s,1,1,,,", ["stream", "empty"]),
        ("a,temperature,-300,degC,1,1,,,", ["absolute zero"]),
    ],
)
def test_a_row_that_cannot_be_is_refused_with_its_column(tmp_path, row, words):
    text = refusal(tmp_path, row)
    assert "line 2" in text and all(word in text for word in words), text


def test_all_faults_of_a_file_come_at_once(tmp_path):
    place = written(tmp_path, "a,flow,x,kg/s,,,,,", "a,flow,10,kg/s,1,1,,,", "b,flow,-3,t/h,0,1,,,")
    with pytest.raises(SurveyError) as error:
        read_survey(place)
    assert [(f.line, f.field) for f in error.value.faults] == [
        (2, "value"),
        (2, "coverage_factor"),
        (2, "uncertainty"),
        (4, "uncertainty"),
        (4, "value"),
    ]


def test_an_unknown_stream_is_refused_with_the_nearest_names(tmp_path):
    place = written(tmp_path, "overflw,flow,10,kg/s,1,1,,,")
    with pytest.raises(SurveyError, match=r"Nearest known: overflow"):
        read_survey(place, streams=["thick", "overflow", "fan", *"abcdefghijkl"])


def test_columns_must_stand_in_their_order(tmp_path):
    place = tmp_path / "x.csv"
    place.write_text("quantity,stream,value,unit,uncertainty,coverage_factor,method,group,note\n")
    with pytest.raises(SurveyError, match="exactly and in this order: stream, quantity"):
        read_survey(place)


def test_another_encoding_is_refused_with_its_line(tmp_path):
    place = written(tmp_path, "a,flow,10,kg/s,1,1,,,ok")
    place.write_bytes(place.read_bytes() + "b,flow,1,kg/s,1,1,,,Zähler\n".encode("latin-1"))
    with pytest.raises(SurveyError, match="line 3: encoding: is not UTF-8"):
        read_survey(place)
    place.write_bytes(COLUMNS.encode("utf-16"))
    with pytest.raises(SurveyError, match="UTF-8"):
        read_survey(place)


def test_a_byte_order_mark_does_no_harm(tmp_path):
    place = written(tmp_path, "a,flow,10,kg/s,1,1,,,")
    place.write_bytes(b"\xef\xbb\xbf" + place.read_bytes())
    assert read_survey(place).readings[0].value == 10.0


def test_an_empty_table_is_refused(tmp_path):
    with pytest.raises(SurveyError, match="no reading"):
        read_survey(written(tmp_path))
    (tmp_path / "none.csv").write_text("# only: this\n")
    with pytest.raises(SurveyError, match="has no table"):
        read_survey(tmp_path / "none.csv")
    with pytest.raises(SurveyError, match="there is no such file"):
        read_survey(tmp_path / "missing.csv")


def test_a_large_file_is_refused_before_it_is_read(tmp_path):
    place = tmp_path / "large.csv"
    with place.open("wb") as stream:
        stream.truncate(LARGEST_FILE + 1)
    with pytest.raises(SurveyError, match="bytes"):
        read_survey(place)


def test_a_workbook_that_unpacks_too_large_is_refused(tmp_path):
    place = workbook(tmp_path, ["a", "flow", 10, "kg/s", "1 %", 1])
    parts = {}
    with zipfile.ZipFile(place) as archive:
        parts = {n: archive.read(n) for n in archive.namelist()}
    parts["xl/worksheets/sheet1.xml"] += b" " * (LARGEST_UNPACKED + 1)
    with zipfile.ZipFile(place, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    assert place.stat().st_size < LARGEST_FILE
    with pytest.raises(SurveyError, match="unpacks to more than"):
        read_survey(place)


def test_a_workbook_gives_the_same_as_the_text_table(tmp_path):
    row = ["a", "flow", 39.17, "t/h", "0.2 + 1 % of value", 1.96, "weir", "m @ 0.3", "wet, cold"]
    survey = read_survey(workbook(tmp_path, row, heading={"survey": "one", "water_density": "990 kg/m3"}))
    same = one(tmp_path, 'a,flow,39.17,t/h,0.2 + 1 % of value,1.96,weir,m @ 0.3,"wet, cold"')
    assert survey.readings == (same,)
    assert survey.heading == {"survey": "one", "water_density": "990 kg/m3"}


def test_a_formula_in_a_workbook_is_refused_with_its_cell(tmp_path):
    with pytest.raises(SurveyError, match="cell C2 of readings = =5\\*2: is a formula"):
        read_survey(workbook(tmp_path, ["a", "flow", "=5*2", "kg/s", "1 %", 1]))


def test_a_number_formatted_as_per_cent_is_refused(tmp_path):
    with pytest.raises(SurveyError, match="cell E2 of readings = 3 %: is a number formatted as per cent"):
        read_survey(workbook(tmp_path, ["a", "consistency", 0.18, "%", (0.03,), 1]))


def test_a_workbook_without_the_sheet_is_refused_with_its_sheets(tmp_path):
    with pytest.raises(SurveyError, match='Tabelle: no sheet is called "readings"'):
        read_survey(workbook(tmp_path, ["a", "flow", 1, "kg/s", "1 %", 1], sheet="Tabelle"))


def test_a_cell_far_off_the_table_is_refused(tmp_path):
    place = tmp_path / "far.xlsx"
    book = xlsxwriter.Workbook(str(place))
    page = book.add_worksheet("readings")
    page.write_row(0, 0, COLUMNS.split(","))
    page.write_number(1_048_575, 16_383, 1.0)
    book.close()
    with pytest.raises(SurveyError, match="cell XFD1048576 of readings: lies far outside"):
        read_survey(place)


def test_rubbish_called_a_workbook_is_refused(tmp_path):
    place = tmp_path / "x.xlsx"
    place.write_bytes(b"PK\x03\x04 this is none")
    with pytest.raises(SurveyError, match="no readable workbook"):
        read_survey(place)
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("hello.xml", "<a/>")
    place.write_bytes(stream.getvalue())
    with pytest.raises(SurveyError, match="no readable workbook"):
        read_survey(place)


@pytest.mark.parametrize("name", ["out.csv", "out.xlsx"])
def test_a_survey_round_trips(tmp_path, name):
    survey = read_survey(DATA / "survey_reference_machine.csv")
    write_survey(survey, tmp_path / name)
    again = read_survey(tmp_path / name)
    assert again == survey
    assert again.readings[5].given["uncertainty"] == "6 % of value"


@pytest.mark.parametrize("name", ["out.csv", "out.xlsx"])
def test_a_changed_reading_is_written_as_it_now_is(tmp_path, name):
    survey = read_survey(DATA / "survey_reference_machine.csv")
    changed = replace(survey.readings[6], value=915.0, note="=looks like a formula", group=(("m", 0.25),))
    survey = replace(survey, readings=(*survey.readings[:6], changed, *survey.readings[7:]))
    write_survey(survey, tmp_path / name)
    assert read_survey(tmp_path / name) == survey


def test_the_surveyors_own_file_is_never_written(tmp_path):
    place = written(tmp_path, "a,flow,10,kg/s,1,1,,,")
    before = place.read_bytes()
    with pytest.raises(SurveyError, match="own file"):
        write_survey(read_survey(place), place)
    assert place.read_bytes() == before
