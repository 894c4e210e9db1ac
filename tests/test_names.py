"""What a machine is called follows what it is."""

from __future__ import annotations

import dataclasses

import pytest

import thinstock
from thinstock.studies.exchange import formers, presses, with_former, with_press


@pytest.mark.parametrize("former", formers())
def test_a_bundled_machine_with_another_former_is_not_called_by_the_old_one(former: str) -> None:
    changed = with_former(thinstock.load("facial-roll"), former).machine
    assert changed.title == f"Facial: {changed.description}"
    assert changed.forming.former.lower() in changed.title.lower()


def test_a_title_a_person_gave_is_kept_beside_what_the_machine_is_now() -> None:
    mine = dataclasses.replace(thinstock.load("facial-roll"), title="Hall 3, line B")
    once = with_former(mine, "open breast roll").machine
    twice = with_press(once, "shoe press").machine
    assert once.title == f"Hall 3, line B (now: {once.description})"
    assert twice.title == f"Hall 3, line B (now: {twice.description})" and "shoe press" in twice.title


@pytest.mark.parametrize("press", presses())
def test_a_press_exchanged_after_a_former_is_in_the_title_with_it(press: str) -> None:
    both = with_press(with_former(thinstock.load("facial-roll"), "open breast roll").machine, press).machine
    assert both.title == f"Facial: {both.description}"
    assert "open breast roll" in both.title.lower()


def test_what_a_machine_is_stands_in_its_run() -> None:
    from thinstock.cli import status

    machine = thinstock.load("newsprint-two-shoes")
    assert "two-shoes" not in machine.description and "dryer without a Yankee" in machine.description
    assert status(["check", "newsprint-two-shoes"]) == 0
