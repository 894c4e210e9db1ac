"""A result number has one home: a row in numbers.toml and the place that computes it are all that a new one takes."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import thinstock
from thinstock.errors import Refused
from thinstock.machine import numbers as home
from thinstock.machine.holders import HOLDERS
from thinstock.machine.line import HOLDERS as CHOICES
from thinstock.tell.numbers import text
from thinstock.words import nomenclature, units
from thinstock.words.bands import bands
from thinstock.words.figures import NONE, Edge
from thinstock.words.phrase import known

SOURCE = Path(thinstock.__file__).parent
HERE = Path(__file__).parent
ROW = """
[jet_middle]
label = "middle of the jet above its edge"
word = "jet_thickness"
digits = 3
exists = "always"
lines = ["terminal", "page", "paper"]
"""
COMPUTED = re.compile(r'^( +)"jet_thickness": (\w+\.jet_thickness),$', re.MULTILINE)
"""Where the jet's thickness is put among the numbers of a run."""

ASK = """
import json, sys
from contextlib import redirect_stdout
from html import unescape
from io import StringIO
from pathlib import Path
from app_client import Client
from thinstock import load
from thinstock.cli import main

def told(*args):
    out = StringIO()
    with redirect_stdout(out):
        try:
            main(list(args))
        except SystemExit as left:
            assert not left.code, left.code
    return out.getvalue()

folder = Path(sys.argv[1])
page = Client(folder)
main_page = page.http.get("/machine?machine=facial-roll").text
page.close()
told("run", "facial-roll", "--csv", str(folder / "csv"))
told("handout", "facial-roll", "--with", "machine", "--out", str(folder / "paper.html"))
result = load("facial-roll").run()
json.dump({
    "value": float(result["jet_middle"]),
    "terminal": told("run", "facial-roll"),
    "page": unescape(main_page),
    "paper": unescape((folder / "paper.html").read_text(encoding="utf-8")),
    "json": told("run", "facial-roll", "--json"),
    "csv": (folder / "csv" / "headline.csv").read_text(encoding="utf-8"),
}, sys.stdout)
"""


def copied(folder: Path, row: str = ROW) -> Path:
    """A copy of the package with one more number: two lines where it is computed, one row where it is told."""
    package = folder / "thinstock"
    shutil.copytree(SOURCE, package, ignore=shutil.ignore_patterns("__pycache__"))
    places = [path for path in (package / "machine").rglob("*.py") if COMPUTED.search(path.read_text(encoding="utf-8"))]
    assert len(places) == 1, "the jet's thickness is no longer put among the numbers of a run as it was"
    text = places[0].read_text(encoding="utf-8")
    places[0].write_text(COMPUTED.sub(r'\g<0>\n\1"jet_middle": 0.5 * \2,', text), encoding="utf-8")
    table = package / "machine" / "numbers.toml"
    table.write_text(table.read_text(encoding="utf-8") + row, encoding="utf-8")
    return folder


def asked(folder: Path) -> dict[str, str]:
    """What the copy says of its new number, in every way it is told."""
    found = subprocess.run(
        [sys.executable, "-c", ASK, str(folder)], capture_output=True, text=True, encoding="utf-8", timeout=600,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(folder), str(HERE)]), "COLUMNS": "120"}, check=False,
    )  # fmt: skip
    assert found.returncode == 0, found.stderr
    answer: dict[str, str] = json.loads(found.stdout)
    return answer


@pytest.mark.slow
def test_one_row_and_the_place_that_computes_it_show_a_new_number_everywhere(tmp_path: Path) -> None:
    told = asked(copied(tmp_path))
    label, value = "middle of the jet above its edge", float(told["value"])
    unit = units.edge_unit("jet_thickness", "mill")
    at_edge = float(units.from_si(value, unit))
    for place in ("terminal", "page", "paper"):
        text = re.sub(r"<[^>]+>", " ", told[place]).replace("\u00a0", " ")
        assert "More numbers" in text, place
        shown = re.search(rf"{label}:?\s+([\d.]+) {unit}", text)
        assert shown is not None, place
        assert float(shown[1]) == pytest.approx(at_edge, abs=0.01 * at_edge), place
    record = json.loads(told["json"])
    assert record["headline"]["jet_middle"] == value
    assert record["units"]["headline"]["jet_middle"] == "m"
    (line,) = [row.split(",") for row in told["csv"].splitlines() if row.startswith("jet_middle,")]
    assert line[2:] == [unit, label]
    assert float(line[1]) == pytest.approx(at_edge, rel=1e-15)


LACKING = {
    'label = "middle of the jet above its edge"\n': 'Add label = "..."',
    'word = "jet_thickness"\n': 'Add word = "..."',
    "digits = 3\n": "Add digits = 3",
    'exists = "always"\n': 'Add exists = "always"',
    'lines = ["terminal", "page", "paper"]\n': "Add lines = [...]",
}


@pytest.mark.parametrize(("out", "said"), LACKING.items())
def test_what_a_row_lacks_is_refused_with_what_to_add_and_where(out: str, said: str) -> None:
    assert home.read(ROW)["jet_middle"].unit == "m"
    with pytest.raises(Refused, match=re.escape(f"{said} to [jet_middle] in machine/numbers.toml")):
        home.read(ROW.replace(out, ""))


def test_a_word_that_the_nomenclature_has_not_is_asked_for_there() -> None:
    with pytest.raises(Refused, match=r"Add \[jet_middle_height\] with its unit to words/nomenclature\.toml"):
        home.read(ROW.replace("jet_thickness", "jet_middle_height"))


def test_a_unit_in_place_of_a_word_is_no_way_round_the_nomenclature() -> None:
    with pytest.raises(Refused, match=r"where no word has this unit, add one to words/nomenclature\.toml"):
        home.read(ROW.replace('word = "jet_thickness"', 'unit = "N m"'))


def test_all_that_rows_lack_is_said_at_once() -> None:
    with pytest.raises(Refused) as refused:
        home.read("[one]\n[two]\nlabel = 'two'\n")
    assert {fault.field for fault in refused.value.faults} == {
        "one.label", "one.word", "one.digits", "one.exists", "one.lines", "two.word", "two.digits", "two.exists",
        "two.lines",
    }  # fmt: skip


def test_a_number_without_a_row_says_which_row_to_add() -> None:
    with pytest.raises(Refused, match=r"Add \[jet_middle\] to machine/numbers\.toml with label, word, digits, exists"):
        home.number("jet_middle")


def test_a_number_without_a_unit_is_told_in_plain_words() -> None:
    edge = Edge(unit_set="mill", air=101325.0)
    formed = home.number("formed")
    assert [text(formed, value, edge) for value in (True, False, None)] == ["yes", "no", NONE]
    assert text(home.number("hold_status"), 0, edge) == "0"


def test_labels_tell_numbers_apart() -> None:
    for labels in ([one.label for one in home.numbers().values()], [one.short for one in home.numbers().values()]):
        assert sorted(labels) == sorted(set(labels))


def test_every_line_that_a_number_may_be_told_in_is_read_somewhere() -> None:
    code = "\n".join(path.read_text(encoding="utf-8") for path in SOURCE.rglob("*.py"))
    for line in home.LINES:
        assert re.search(rf'(told_in\(|more\(\w+\.result, |more\(self\.result, )"{line}"', code), line


def test_a_place_of_the_run_has_the_unit_of_its_word() -> None:
    for place, words in home.PLACES.items():
        for key, word in words.items():
            assert home.number(f"{place}.somewhere.{key}").unit == nomenclature.word(word).unit


def test_bands_are_of_numbers_of_a_sheet_or_a_yankee_by_their_label_and_in_their_unit() -> None:
    for band in bands():
        about = home.numbers().get(band.result)
        assert about is not None, f"words/bands.toml: {band.result} is no number of machine/numbers.toml"
        assert band.label in (about.label, about.short), f"words/bands.toml calls {band.result} {band.label!r}"
        kind = nomenclature.word(about.word).kind
        assert band.unit in units.units_of(kind), f"words/bands.toml: {band.unit!r} is no unit of {kind}"
        assert band.low < band.high


def test_what_holds_the_dryness_is_a_number_with_words_for_every_choice() -> None:
    assert tuple(HOLDERS) == CHOICES
    machine = thinstock.load("facial-roll")
    for name, one in HOLDERS.items():
        if name == "nothing":
            assert one.addresses == () and one.number == ""
            continue
        assert one.number in home.numbers(), name
        assert known(f"holders.first.{one.phrase}") and known(f"holders.walk.{one.phrase}"), name
        assert [address for address, _ in machine.addresses() if address in one.addresses], name
