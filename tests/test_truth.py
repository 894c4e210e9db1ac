"""Published points: each says where it is from and is asked now; a miss is no failure, a changed verdict is one."""

from __future__ import annotations

import json
import re
import tomllib
from collections import Counter
from importlib.resources import files
from pathlib import Path

import pytest
from click.testing import CliRunner

from thinstock.cli import COMMANDS
from thinstock.errors import Refused
from thinstock.formula.catalogue import formulas
from thinstock.machine.numbers import numbers
from thinstock.studies import truth
from thinstock.studies.truth_facts import FACTS
from thinstock.tell import truth as told
from thinstock.tell.terminal import page
from thinstock.words import units

TESTS = Path(__file__).parent
RECORDED = tomllib.loads((TESTS / "published_points.toml").read_text(encoding="utf-8"))
SOURCES = tomllib.loads(files("thinstock.words").joinpath("sources.toml").read_text(encoding="utf-8"))
READ = {
    "whole": ("read",),
    "excerpt": ("read", "excerpt", "abstract"),
    "abstract": ("abstract",),
    "memory": ("memory",),
}
"""How the source may be held of which a point was read so."""


@pytest.fixture(scope="module")
def found() -> dict[str, truth.Judged]:
    return {one.point.key: one for one in truth.truth()}


@pytest.mark.parametrize("key", truth.points())
def test_a_point_says_what_print_says_and_how_it_was_read(key: str) -> None:
    one = truth.points()[key]
    assert one.source in SOURCES, f"add {one.source} to sources.toml"
    assert SOURCES[one.source]["held"] in READ[one.read], "the source is not held as the point was read"
    assert one.says and one.boundary and one.unit
    assert (one.value is None) != (one.low is None and one.high is None), "one figure, or a range"
    assert one.unit == "1" or units.find(one.unit) is not None
    assert set(one.judges) <= set(formulas()), "no such formula"


@pytest.mark.parametrize("key", truth.points())
def test_a_verdict_changes_only_with_a_reason(key: str, found: dict[str, truth.Judged]) -> None:
    row, now = RECORDED[key], found[key]
    assert now.verdict == row["verdict"], (
        f"{key} was {row['verdict']} and is {now.verdict} ({now.worst} {now.point.unit}): if the physics is right, "
        "write verdict, was and because into tests/published_points.toml"
    )
    if row.get("was", row["verdict"]) != row["verdict"]:
        assert len(row.get("because", "")) > 20, "a change needs its reason"


def test_every_point_is_recorded_and_nothing_else() -> None:
    assert list(RECORDED) == list(truth.points())


def test_a_miss_says_what_is_behind_it_and_what_would_settle_it(found: dict[str, truth.Judged]) -> None:
    silent = [key for key, one in found.items() if one.verdict == "miss" and len(one.point.because) < 40]
    assert silent == []


def test_forty_points_were_read_at_least_as_an_excerpt() -> None:
    assert sum(one.read != "memory" for one in truth.points().values()) >= 40


def test_a_name_in_a_question_is_known_or_the_point_has_no_result(found: dict[str, truth.Judged]) -> None:
    for key, one in found.items():
        strange = [word for word in one.point.words if word not in numbers() and word not in FACTS]
        assert not strange or one.verdict == "no result", f"{key}: {strange}"


def test_misses_stand_first_and_the_worst_of_them_before_the_rest() -> None:
    ordered = truth.truth()
    assert [truth.VERDICTS.index(one.verdict) for one in ordered] == sorted(
        truth.VERDICTS.index(one.verdict) for one in ordered
    )
    misses = [max(one.off, 1 / one.off) for one in ordered if one.verdict == "miss" and one.off]
    assert misses == sorted(misses, reverse=True)


def test_a_pin_is_never_counted(found: dict[str, truth.Judged]) -> None:
    pins = [one for one in found.values() if one.point.pin]
    assert pins and all(one.verdict == "pin" for one in pins)


def test_what_does_not_exist_yet_is_told_as_such(found: dict[str, truth.Judged]) -> None:
    assert found["effluent"].verdict in ("no result", "not comparable", "miss", "pass")
    assert found["transit_time"].verdict == "no result"
    assert "no such number" in told.why(found["transit_time"])


def test_print_that_counts_more_can_only_be_missed_from_above(found: dict[str, truth.Judged]) -> None:
    one = found["electricity_article"].point
    assert truth._verdict(one, 0.4) == "not comparable" and truth._verdict(one, 1.2) == "miss"


@pytest.mark.parametrize("printed, half", [(1.3, 0.05), (600, 0.5), (0.0955, 0.00005), (5.2, 0.05)])
def test_what_rounds_to_the_printed_end_is_inside(printed: float, half: float) -> None:
    assert truth._half_digit(printed) == pytest.approx(half)


def test_an_unknown_point_is_refused_with_the_nearest() -> None:
    with pytest.raises(Refused, match="hood_share"):
        truth.judge("hood_shares")


def test_what_a_whole_machine_gives_is_judged_and_no_longer_called_out_of_reach() -> None:
    rows = tomllib.loads((TESTS / "published" / "not_reached.toml").read_text(encoding="utf-8"))["not_reached"]
    assert [row["what"] for row in rows if "a whole machine gives" in row["because"]] == []


# -------------------------------------------- command, cards, README


def test_the_command_prints_the_table_in_eighty_columns(found: dict[str, truth.Judged]) -> None:
    assert "truth" in COMMANDS
    lines = page(told.screen(tuple(found.values())), 80).text().splitlines()
    assert max(map(len, lines)) <= 80
    for key in found:
        assert any(key in line for line in lines)
    for key in found:
        assert max(map(len, page(told.detail(found[key]), 80).text().splitlines())) <= 80


def test_the_command_speaks_json() -> None:
    from thinstock.cli.truth import command

    one = json.loads(CliRunner().invoke(command, ["hood_share", "--json"]).output)
    assert one["points"][0]["point"] == "hood_share" and sum(one["count"].values()) == 1
    assert one["points"][0]["answers"]["facial-roll"] > 1


def test_a_card_and_a_number_say_by_which_points_they_are_judged() -> None:
    assert "hood_share" in truth.told_points(truth.of_formula("dryer_energy.hood_heat_by_cause"))
    assert "gas_article" in truth.told_points(truth.of_number("gas_per_product"))
    assert truth.told_points(truth.of_number("slice_opening")) == ""


def test_the_count_in_the_readme_is_that_of_the_points() -> None:
    text = " ".join((TESTS.parent / "README.md").read_text(encoding="utf-8").split())
    verdicts = Counter(row["verdict"] for row in RECORDED.values())
    said = re.search(r"[Jj]udged against (\d+) published points: (\d+) pass, (\d+) miss", text)
    assert said is not None
    assert [int(n) for n in said.groups()] == [verdicts["pass"] + verdicts["miss"], verdicts["pass"], verdicts["miss"]]
