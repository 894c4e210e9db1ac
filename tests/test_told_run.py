"""A run and its limits told once: the same facts in a line and on a page, for every case there is a phrase for."""

from __future__ import annotations

import string

import pytest

import thinstock
from thinstock.tell import limits as speeds
from thinstock.tell import terminal
from thinstock.tell.run import Run, told
from thinstock.tell.teller import Teller
from thinstock.tell.walk import holder
from thinstock.words.phrase import phrases

SLOTS = {
    "run.moisture.": {"reached", "points", "wanted", "what", "value"},
    "walk.reached.": {"reached", "points", "wanted", "what", "value"},
    "run.forming.line.": {"where", "slow"},
    "run.forming.below.": {"slow"},
    "run.certainty.": {"count", "list"},
    "speeds.first_": {"name", "part", "note", "speed", "margin"},
    "speeds.short.": {"list"},
    "handout.tension.loaded": {"depth", "stock"},
    "handout.tension.unloaded": {"depth", "stock"},
}
"""What code gives to phrases whose key it puts together."""


@pytest.mark.parametrize("start", SLOTS)
def test_phrases_whose_key_is_put_together_ask_only_for_what_they_are_given(start: str) -> None:
    room, _, name = start.partition(".")
    found = {key: text for key, text in phrases("en", room).items() if key.startswith(name)}
    assert found
    for key, text in found.items():
        assert {slot for _, slot, _, _ in string.Formatter().parse(text) if slot} <= SLOTS[start], key


def fact(run: Run, key: str) -> tuple[str, str]:
    """A fact in a line, and below its number on the page."""
    found = next(one for one in run.facts().rows if one.key == key)
    return found.said, found.below


@pytest.mark.parametrize(
    ("changes", "line", "below", "walked"),
    [
        ({}, "as wanted; held by the hood temperature at", "as wanted; held by", "holds it, now"),
        ({"yankee.speed": 45.0}, "points too wet: 5.0", "the hood temperature is at its bound", "at its bound"),
        ({"hold_reel_dryness_by": "nothing"}, "", "", "nothing is moved to hold it"),
    ],
)
def test_what_holds_the_reel_is_told_alike_in_line_page_and_walk(
    changes: dict[str, float | str], line: str, below: str, walked: str
) -> None:
    machine = thinstock.load("facial-roll").with_(changes)
    run = told(machine, "mill", full=False)
    said = fact(run, "moisture")
    assert line in said[0] and below in said[1]
    assert walked in holder(Teller(machine, result=run.result))


def test_a_quick_answer_leaves_out_what_it_does_not_know() -> None:
    run = told(thinstock.load("facial-roll"), "mill", full=False)
    assert run.limits is None and run.limits_table() is None and run.limit_lines() == []
    assert "first" not in {one.key for one in run.facts().rows}
    assert "moves the answer" not in run.certainty("line")
    assert "Highest speed" not in terminal.page(run.screen(), 104).text()


def test_every_limit_is_told_on_the_terminal_on_the_page_and_in_a_text() -> None:
    run = told(thinstock.load("board-three-nips"), "mill")
    assert run.limits is not None
    parts = {row.part for row in run.limits.rows}
    screen = terminal.page(speeds.screen("", run.limits, run.edge), 200).text()
    table = run.limits_table()
    assert table is not None
    page = " ".join([*(str(row[0]) for row in table.rows), *run.limit_lines()])
    text = " ".join(cell for row in speeds.text_table(run.limits, run.edge, "").texts for cell in row)
    for part in parts:
        assert part in screen and part in text
        assert part.removeprefix("press load, ") in page


def test_a_run_without_a_sheet_says_so_first_and_tells_no_energy_of_a_product() -> None:
    run = told(thinstock.load("facial-roll").with_({"headbox.consistency": 0.00002}), "mill", full=False)
    first = run.facts().rows[0]
    assert first.name == "NO SHEET" and "is not drained" in first.said == first.below
    assert {str(row[3]) for row in run.energy().rows} == {"no sheet"}
    assert run.water() is None and run.formation() == ""
