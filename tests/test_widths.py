"""On a terminal of 80, 100 or 120 columns nothing wraps or runs over: run, limits, check and the list of machines."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import pytest

import thinstock
from thinstock.cli import status
from thinstock.tell import limits as speeds
from thinstock.tell import terminal
from thinstock.tell.blocks import Block
from thinstock.tell.run import told
from thinstock.words.units import UnitSet

BUNDLED = [m.name for m in thinstock.machines()]
WIDTHS = (80, 100, 120)
UNITS: tuple[UnitSet, ...] = ("mill", "si", "us")
NO_SHEET = {"headbox.consistency": 0.00002}


@lru_cache(maxsize=2)
def pages(name: str, unit_set: UnitSet = "mill", *, formed: bool = True) -> tuple[tuple[Block, ...], ...]:
    """What `run` and `limits` tell of a machine."""
    machine = thinstock.load(name)
    run = told(machine if formed else machine.with_(NO_SHEET), unit_set)
    assert run.limits is not None and run.formed is formed
    screen = run.screen(all_notes=True, cautions=True)
    return tuple(screen), tuple(run.screen()), tuple(speeds.screen(run.machine.title, run.limits, run.edge))


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", BUNDLED)
def test_run_and_limits_stay_within_the_width(name: str, width: int) -> None:
    for blocks in pages(name):
        assert max(map(len, terminal.page(blocks, width).lines)) <= width


@pytest.mark.parametrize("unit_set", UNITS)
def test_they_do_so_in_every_set_of_units_and_without_a_sheet(unit_set: UnitSet) -> None:
    for formed in (True, False):
        for blocks in pages("facial-roll", unit_set, formed=formed):
            for width in WIDTHS:
                assert max(map(len, terminal.page(blocks, width).lines)) <= width


@pytest.mark.parametrize("width", WIDTHS)
def test_check_and_the_list_of_machines_stay_within_the_width(
    capsys: Any, monkeypatch: pytest.MonkeyPatch, width: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    monkeypatch.setattr(terminal, "list_width", terminal.page_width)  # in a pipe a row of a list is a line
    for args in (["machines"], *(["check", name] for name in BUNDLED), ["check", "facial-roll", "--all"]):
        assert status(args) == 0
        assert max(map(len, capsys.readouterr().out.splitlines())) <= width


def test_no_word_of_a_limit_is_lost_where_room_is_scarce() -> None:
    *_, blocks = pages("facial-shoe-steel")
    wide, narrow = ("\n".join(terminal.page(blocks, width).lines) for width in (120, 80))
    assert set(wide.split()) - {"used"} - {w for w in wide.split() if set(w) <= set("█▏▎▍▌▋▊▉")} <= set(narrow.split())


@pytest.mark.parametrize("width", WIDTHS)
def test_a_working_and_a_sheet_of_problems_stay_within_the_width(
    capsys: Any, monkeypatch: pytest.MonkeyPatch, width: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    for args in (
        ["explain", "facial-roll", "headbox_flow"], ["explain", "facial-roll", "headbox_flow", "--short"],
        ["exercises", "facial-roll", "--count", "3"], ["exercises", "facial-roll", "--count", "3", "--key"],
    ):  # fmt: skip
        assert status(args) == 0
        assert max(map(len, capsys.readouterr().out.splitlines())) <= width
