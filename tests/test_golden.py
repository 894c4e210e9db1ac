"""The program says what the golden records say: words exactly, numbers to 1e-12. `scripts/golden` tells it in full."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest

from golden import record
from golden.compare import differences
from golden.records import RECORDS

SHOWN = 12
BIGGEST = 600 * 1024
ALL_TOGETHER = 4.3e6


@pytest.mark.slow
@pytest.mark.parametrize("name", RECORDS)
def test_the_program_says_what_was_recorded(name: str) -> None:
    found = record.check(name)
    told = [f"{one.place}\n  old  {one.old}\n  new  {one.new}" for one in found[:SHOWN]]
    assert not found, f"{len(found)} differences in {name}:\n" + "\n".join(told)


def test_every_file_has_its_record_and_none_is_large() -> None:
    assert record.unknown() == []
    sizes = [path.stat().st_size for path in record.FOLDER.rglob("*") if path.is_file()]
    assert max(sizes) < BIGGEST and sum(sizes) < ALL_TOGETHER


def test_nothing_recorded_names_a_place_on_a_computer() -> None:
    for path in record.FOLDER.rglob("*.*"):
        text = path.read_text(encoding="utf-8")
        assert "/tmp/" not in text and "/home/" not in text and str(Path.home()) + "/" not in text, path.name


@pytest.mark.parametrize("old, new", [
    (1.0, 1.0 + 5e-13), (3, 3.0), (math.nan, math.nan), (math.inf, math.inf), (None, None), (True, True),
    ({"closure": {"fibre": 1e-16}}, {"closure": {"fibre": -3e-15}}),
])  # fmt: skip
def test_noise_is_no_difference(old: Any, new: Any) -> None:
    assert differences({"it": [old]}, {"it": [new]}) == []


@pytest.mark.parametrize("old, new", [
    (1.0, 1.0 + 5e-12), (0.0, 1e-16), (1.0, math.nan), (math.inf, -math.inf), (0.0, None), (True, 1), ("1", 1),
    ("a", "b"),
    ([1.0], [1.0, 2.0]), ({"a": 1.0}, {"b": 1.0}), ({"closure": {"fibre": 0.0}}, {"closure": {"fibre": 1e-11}}),
])  # fmt: skip
def test_what_differs_is_found_at_its_place(old: Any, new: Any) -> None:
    found = differences({"it": [old]}, {"it": [new]})
    assert found and all(one.place.startswith("/it/0") for one in found)


def test_a_changed_line_is_told_with_its_number() -> None:
    (one,) = differences("a\nb\nc\n", "a\nB\nc\n")
    assert (one.place, one.old, one.new) == ("line 2", "b", "B")


def test_a_record_with_one_number_changed_fails(tmp_path: Path) -> None:
    name = "commands/machines.json"
    kept = record.kept(name)
    record.write(name, kept, tmp_path)
    assert record.check(name, tmp_path) == []
    name = "commands/solve.json"
    kept = record.kept(name)
    kept["value"] *= 1 + 4e-12
    record.write(name, kept, tmp_path)
    (one,) = record.check(name, tmp_path)
    assert one.place == "/value"
