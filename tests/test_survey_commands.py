"""The survey commands: forms, reconciliation and calibration as a surveyor meets them."""

from __future__ import annotations

import contextlib
import csv
import io
import json
from pathlib import Path

import pytest
from python_calamine import CalamineWorkbook

from thinstock.case import load, machines
from thinstock.cli import status
from thinstock.drawing.survey_charts import adjustments_alt, adjustments_rows, water_alt, water_rows
from thinstock.survey import findings_of, read_round, read_survey, typical_uncertainties
from thinstock.survey.form import form_csv, form_rows
from thinstock.survey.round import table_path
from thinstock.survey.table import COLUMNS

HEAD = ",".join(COLUMNS)
MACHINE = ("--machine", "facial-roll")


class Stream(io.StringIO):
    """Takes every letter, as a terminal does."""

    encoding = "utf-8"


def run(*args: str) -> tuple[int, str, str]:
    out, err = Stream(), Stream()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = status(args)
    return code, out.getvalue(), err.getvalue()


def ran(*args: str) -> str:
    code, out, err = run(*args)
    assert code == 0, err
    return out


def refused(*args: str) -> str:
    code, out, err = run(*args)
    assert (code, out) == (1, ""), out
    assert "Traceback" not in err
    return err


# -------------------------------------------- survey


def test_the_bundled_survey_is_told_on_two_screens_at_most():
    page = ran("survey", "facial-roll", *MACHINE)
    lines = page.splitlines()
    assert len(lines) <= 100 and max(map(len, lines)) <= 104
    for said in ("THE READINGS DO NOT AGREE", "without jet flow (reads", "screens, headbox", "Read next time",
                 "smallest error", "No mill was measured", "(by heat)"):  # fmt: skip
        assert said in page
    assert "jet" in next(line for line in lines if "←" in line)


def test_setting_the_doubtful_reading_aside_makes_the_rest_agree():
    page = ran("survey", "facial-roll", *MACHINE, "--without", "jet flow")
    assert "The readings agree within their stated uncertainties" in page and "set aside: jet flow" in page
    assert "Doubtful" not in page


@pytest.mark.parametrize(
    ("more", "said"), [("", "one check only"), ("accept,flow,1451,kg/s,1 % of value,1,,,", "A TIE")]
)
def test_readings_that_cannot_be_told_apart_are_said_to_be(tmp_path, more, said):
    """Fan and reject stand only in one balance: what one is high, the other may be low."""
    place = tmp_path / "tie.csv"
    rows = ["fan,flow,1800,kg/s,1 % of value,1,,,", "reject,flow,22,kg/s,50 % of value,1,,,",
            "jet,flow,1450,kg/s,1 % of value,1,,,", more]  # fmt: skip
    place.write_text(f"{HEAD}\n" + "\n".join(rows) + "\n", encoding="utf-8")
    page = ran("survey", str(place), *MACHINE)
    told = page[page.index("Doubtful") : page.index("Read next time")]
    assert said in told and "fan flow" in told and "reject flow" in told
    assert ("jet flow" in told) is (more == ""), "with two readings of the accept it is not the jet"


def test_the_json_holds_every_reading_and_no_nan():
    found = json.loads(ran("survey", "facial-roll", *MACHINE, "--json"))
    (round_,) = found["rounds"]
    assert not round_["passed"]
    assert [r["number"] for r in round_["readings"]] == [*range(1, 21), 0]
    assert round_["doubtful"][0]["sets"][0][0]["reading"] == "jet flow"
    assert round_["closure"] < 1e-9
    assert len(round_["water"]) == 18


def test_tables_workbook_and_charts_are_written(tmp_path):
    code, out, err = run("survey", "facial-roll", *MACHINE, "--out", str(tmp_path / "new"))
    assert code == 0 and out == ""
    folder = tmp_path / "new"
    names = {p.name for p in folder.iterdir()}
    assert names == {"readings.csv", "values.csv", "survey.xlsx", "survey.json", "adjustments.svg", "water.svg"}
    assert all(str(folder / n) in err for n in names)
    rows = list(csv.DictReader(io.StringIO((folder / "readings.csv").read_text(encoding="utf-8"))))
    assert [r["stream"] for r in rows if r["doubtful"] == "yes"] == ["jet"]
    assert float(rows[0]["read"]) == pytest.approx(243.2 * 992 / 3600)
    book = CalamineWorkbook.from_path(str(folder / "survey.xlsx"))
    assert book.sheet_names == ["readings", "values"]
    for name in ("adjustments.svg", "water.svg"):
        assert (folder / name).read_text(encoding="utf-8").startswith("<svg")
    assert "white water" in (folder / "water.svg").read_text(encoding="utf-8")


def test_texts_that_a_spreadsheet_could_run_are_escaped(tmp_path):
    rows = table_path("facial-roll").read_text(encoding="utf-8").replace("magnetic meter", "'=1+1")
    place = tmp_path / "trick.csv"
    place.write_text(rows, encoding="utf-8")
    assert run("survey", str(place), *MACHINE, "--out", str(tmp_path / "o"))[0] == 0
    assert ",'=1+1" in (tmp_path / "o" / "readings.csv").read_text(encoding="utf-8")
    book = CalamineWorkbook.from_path(str(tmp_path / "o" / "survey.xlsx"))
    cells = [c for row in book.get_sheet_by_name("readings").to_python() for c in row if isinstance(c, str)]
    assert "'=1+1" in cells and not any(c.startswith("=") for c in cells)


def test_two_rounds_say_what_changed_and_below_what_nothing_can_be_claimed(tmp_path):
    text = table_path("facial-roll").read_text(encoding="utf-8").replace("jet,flow,6405", "jet,flow,5600")
    one, two = tmp_path / "before.csv", tmp_path / "after.csv"
    one.write_text(text, encoding="utf-8")
    two.write_text(text.replace("wire_shower,flow,47.4", "wire_shower,flow,66.0"), encoding="utf-8")
    page = ran("survey", str(one), str(two), *MACHINE)
    assert "What changed" in page and "no difference below" in page
    assert "→ wire_shower" in page
    assert "→ reel" not in page
    found = json.loads(ran("survey", str(one), str(two), *MACHINE, "--json"))
    shower = next(c for c in found["changes"] if (c["stream"], c["quantity"]) == ("wire_shower", "flow"))
    assert shower["claimed"] and shower["smallest_claimable"] == pytest.approx(1.96 * shower["standard_uncertainty"])
    assert shower["standard_uncertainty"] < shower["standard_uncertainty_independent"] * 1.0001


def test_the_pictures_have_words_for_those_who_do_not_see_them():
    found = findings_of(read_round("facial-roll", load("facial-roll")))
    assert len(adjustments_rows(found)) == 21 and "jet flow" in adjustments_alt(found)
    assert {r["stream"] for r in water_rows(found)} == set(found.reconciliation.network.streams)
    assert "white_water from silo to mixing" in water_alt(found)


# -------------------------------------------- refusals


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("white_watr,flow,1400,kg/s,3 % of value,1,,,", "white_water"),
        ("jet,flow,1400,degC,3 % of value,1,,,", "is a unit of temperature"),
        ("jet,flow,1400,kg/s,,1,,,", "is empty"),
        ("jet,flow,1400,kg/s,3 % of value,,,,", "1.96"),
        ("jet,flow,-1,kg/s,1,1,,,", "negative flow"),
        ('jet,flow,"1,400",kg/s,1,1,,,', "Write 1.400 or 1400"),
        ("jet,flow,1,4,kg/s,1,1,,,", "decimal comma"),
        ("jet,flow,=1+1,kg/s,1,1,,,", "begins with ="),
        ("jet,flow,1400,kg/s,3 % of value,1,,,\njet,flow,1400,kg/s,3 % of value,1,,,", "stands twice"),
        ("", "no reading in the table"),
    ],
)
def test_a_table_that_cannot_be_is_refused_with_its_row_and_a_remedy(tmp_path, rows, said):
    place = tmp_path / "readings.csv"
    place.write_text(f"{HEAD}\n{rows}\n", encoding="utf-8")
    for command in ("survey", "calibrate"):
        err = refused(command, str(place), *MACHINE)
        assert said in err and "readings.csv" in err


def test_what_is_no_table_is_refused(tmp_path):
    assert "there is no such file" in refused("survey", str(tmp_path / "none.csv"), *MACHINE)
    big = tmp_path / "big.csv"
    with big.open("wb") as out:
        out.truncate(50_000_000)
    assert "is larger than 5000000 bytes" in refused("survey", str(big), *MACHINE)
    latin = tmp_path / "latin.csv"
    latin.write_bytes(f"{HEAD}\njet,flow,1400,kg/s,1,1,Düse,,\n".encode("latin-1"))
    assert "CSV UTF-8" in refused("survey", str(latin), *MACHINE)
    assert "facial-roll" in refused("survey", "facial-roll", "--machine", "facial-rol")
    assert "jet speed" in refused("survey", "facial-roll", *MACHINE, "--without", "jet speed")


# -------------------------------------------- forms


@pytest.mark.parametrize("name", [m.name for m in machines()])
def test_every_machine_has_a_form_whose_points_are_its_own(name, tmp_path):
    machine = load(name)
    rows = form_rows(machine)
    assert {r.stream for r in rows} >= {
        "thick",
        "jet",
        "white_water",
        "overflow",
        "end_of_forming",
        "reel",
        "web_pressed",
    }
    assert any(r.stream == "steam" for r in rows) is (machine.yankee is not None)
    pressed = next(r for r in rows if r.stream == "web_pressed")
    assert pressed.default is (machine.yankee is None)
    assert ("heat balance" in pressed.how) is (machine.yankee is not None)
    assert all(r.uncertainty and r.how and r.caution for r in rows)
    place = tmp_path / "form.csv"
    filled = form_csv(machine).replace(",flow,,kg/s", ",flow,10,kg/s").replace(",moisture,,%", ",moisture,5,%")
    place.write_text(filled, encoding="utf-8")
    assert read_round(place, machine).survey.readings


def test_every_uncertainty_of_the_form_is_one_of_the_usual_ones_and_says_it_is_a_judgement():
    usual = {t.high for t in typical_uncertainties()} | {"10 % of value"}
    rows = form_rows(load("facial-roll"))
    assert {r.uncertainty for r in rows} <= usual
    assert all("judgement" in r.cells()[-1] and r.cells()[2] == "" for r in rows)


def test_a_workbook_form_is_filled_in_and_read_back(tmp_path):
    place = tmp_path / "form.xlsx"
    said = ran("survey-form", "facial-roll", "--out", str(place))
    assert "thinstock survey" in said
    book = CalamineWorkbook.from_path(str(place))
    assert book.sheet_names == ["readings", "survey", "Stock and water", "The sheet", "The dryer", "about"]
    heads = book.get_sheet_by_name("readings").to_python()
    assert tuple(heads[0]) == COLUMNS
    how = [row[5] for row in book.get_sheet_by_name("The sheet").to_python()]
    assert any("cannot be sampled" in text for text in how)
    assert "no reading in the table" in refused("survey", str(place), *MACHINE), "a form that nobody filled in"
    with pytest.raises(ValueError, match="no reading"):
        read_survey(place, skip_blank=True)


def test_a_form_is_never_written_over_something(tmp_path):
    place = tmp_path / "form.csv"
    place.write_text("mine", encoding="utf-8")
    assert "is there already" in refused("survey-form", "facial-roll", "--out", str(place))
    assert place.read_text(encoding="utf-8") == "mine"
    assert "must end in .csv or .xlsx" in refused("survey-form", "facial-roll", "--out", str(tmp_path / "form.pdf"))


# -------------------------------------------- calibrate


def test_a_survey_that_fails_is_not_calibrated_on(tmp_path):
    out = tmp_path / "machine.toml"
    err = refused("calibrate", "facial-roll", *MACHINE, "--out", str(out))
    assert "do not agree" in err and '--without "jet flow"' in err
    assert not out.exists()


def test_a_calibrated_machine_is_written_and_runs(tmp_path):
    out = tmp_path / "machine.toml"
    page = ran("calibrate", "facial-roll", *MACHINE, "--without", "jet flow", "--draws", "200", "--out", str(out))
    for said in ("drainage resistance factor", "95 % of the draws", "Not told", "rewet", "left out", "as it came"):
        assert said in page
    assert max(map(len, page.splitlines())) <= max(104, len(str(out)) + 60)
    machine = load(out)
    assert machine.given["stock.resistance_factor"].status == "measured"
    assert Path(machine.given["stock.resistance_factor"].where).name == "facial-roll.csv"
    screen = ran("run", str(out))
    assert "not calibrated" not in screen
    assert "is there already" in refused("calibrate", "facial-roll", *MACHINE, "--without", "6", "--out", str(out))


def test_calibrating_says_as_json_what_it_found_and_what_it_could_not():
    found = json.loads(ran("calibrate", "facial-roll", *MACHINE, "--without", "6", "--draws", "200", "--json"))
    constants = {c["address"]: c for c in found["constants"]}
    factor = constants["stock.resistance_factor"]
    assert factor["low_95"] < factor["value"] < factor["high_95"]
    assert "press.nip.suction_pressure_roll.rewet" in {n["address"] for n in found["not_told"]}
    assert found["chi_square"] < found["chi_square_before"]


def test_a_constant_asked_for_that_cannot_be_told_is_refused():
    err = refused(
        "calibrate", "facial-roll", *MACHINE, "--without", "6", "--fit", "rewet", "--fit", "permeability_factor"
    )
    assert "rewet: cannot be told" in err and "1.3 times heavier" in err
