"""The commands that set formers and machines side by side and that solve: on a screen, as JSON, and refused."""

from __future__ import annotations

import json
from typing import Any

import pytest

from thinstock import library
from thinstock.cli import status


def run(capsys: Any, *args: str) -> tuple[int, str, str]:
    capsys.readouterr()
    code = status(args)
    out, err = capsys.readouterr()
    return code, out, err


def no_constant(name: str) -> None:
    raise AssertionError(f"{name} is no JSON")


def test_formers_fit_a_screen_and_say_what_is_not_computed(capsys):
    code, out, _ = run(capsys, "formers", "facial-roll")
    assert code == 0
    lines = out.splitlines()
    assert len(lines) < 72 and max(len(line) for line in lines) <= 110
    assert out.index("Each in its own time") < out.index("never limits") < out.index("All at")
    for key in library.NINE:
        assert library.former_file(key)["former"] in out
    assert "indicators" in out and "from memory" in " ".join(out.split()) and "practice" in out
    assert "> 3000" not in out and ">3000" not in out


@pytest.mark.parametrize("asked", [("facial-roll",), ("facial", "--alone"), ("bath-open-breast-roll", "--words")])
def test_eighty_columns_hold_the_formers(capsys, monkeypatch, asked):
    monkeypatch.setenv("COLUMNS", "80")
    code, out, _ = run(capsys, "formers", *asked)
    assert code == 0 and max(len(line) for line in out.splitlines()) <= 80
    assert "As it is" not in out and ("left out" in out) == ("--alone" in asked)


@pytest.mark.parametrize("name", ["towel-twin-wire-suction-roll", "newsprint-three-nips", "facial-twin-wire-open-roll"])
def test_formers_of_machines_with_long_names_fit_the_page_too(capsys, name):
    code, out, _ = run(capsys, "formers", name)
    assert code == 0 and max(len(line) for line in out.splitlines()) <= 110
    assert "as it is: twin wire, C-wrap" in " ".join(out.split())


def test_the_words_of_the_ladder_are_told_when_asked_for(capsys):
    _, out, _ = run(capsys, "formers", "facial", "--words")
    told = " ".join(out.split())
    assert "Two steps do not come out" in told and "Gave out:" in told
    assert told.index("can supply and drain") < told.index("on drainage alone")
    assert "does not limit" in told and "no source" in told and "gives out first" in told
    assert "Lowest quoted" in told and "cannot" in told


def test_one_former_is_told_in_full(capsys):
    code, out, _ = run(capsys, "formers", "facial-roll", "--former", "suction_breast_roll", "--speed", "1000 m/min")
    assert code == 0
    for part in (
        "stopped by",
        "closed form",
        "drainage impulse",
        "water through suction breast roll",
        "power in the jet",
    ):
        assert part in out


@pytest.mark.parametrize(
    "args",
    [
        ("formers", "facial-roll", "--speed", "300 m/min", "--speed", "1500 m/min"),
        ("formers", "tea-bag type", "--former", "inclined_wire"),
        ("compare", "facial-roll", "facial-shoe"),
        ("compare", "newsprint-three-nips", "newsprint-two-shoes"),
        ("solve", "facial-roll", "--for", "headbox.consistency", "--so-that", "end_of_forming = 30 %"),
    ],
)
def test_json_holds_no_nan(capsys, args):
    code, out, _ = run(capsys, *args, "--json")
    assert code == 0
    assert isinstance(json.loads(out, parse_constant=no_constant), dict)


def test_compare_shows_differences_split_and_card(capsys):
    code, out, _ = run(capsys, "compare", "facial-roll", "facial-shoe")
    assert code == 0
    for part in ("B − A", "from assumed rewet", "gives out first", "This is a rebuild", "management of change"):
        assert part in out
    assert len(out.splitlines()) < 75
    _, three, _ = run(capsys, "compare", "facial-roll", "facial-shoe", "facial-shoe-steel")
    assert "C − A" in three and "This is a rebuild" not in three
    _, four, _ = run(capsys, "compare", "facial-roll", "facial-shoe", "facial-shoe-steel", "facial-twin-wire-c")
    assert "D − A" in four
    assert max(len(line) for out in (three, four) for line in out.splitlines()) <= 110


def test_solve_says_the_answer_and_what_is_passed_there(capsys):
    code, out, _ = run(
        capsys, "solve", "facial-roll", "--for", "headbox.consistency", "--so-that", "end_of_forming = 30 %"
    )
    assert code == 0
    assert "headbox.consistency = 0.1297" in out and "passed there: headbox, flow" in out


@pytest.mark.parametrize(
    "args, said",
    [
        (("formers", "facial-rol"), "facial-roll"),
        (("formers", "facial-roll", "--speed", "1500"), "unit"),
        (("formers", "facial-roll", "--former", "flat_wir"), "flat_wire"),
        (("formers", "facial", "--set", "yankee.speed=1500 m/min"), "a grade has none"),
        (("compare", "facial-roll"), "two to four"),
        (("solve", "facial-roll", "--for", "line_load", "--so-that", "dryness_press = 60 %"), "nearest is"),
        (("solve", "facial-roll", "--for", "line_load", "--so-that", "dryness_press = 41 kPa"), "pressure"),
    ],
)
def test_refusals_name_what_is_wrong(capsys, args, said):
    code, _, err = run(capsys, *args)
    assert code == 1 and said in err
