"""What a change that was made is worth: two rounds taken together, results and money from one population."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

import thinstock
from thinstock.cli import group
from thinstock.studies.prices import load_prices
from thinstock.studies.worth_of_change import CONSTANT, rounds_of_windows, worth_of_change
from thinstock.survey.historian import bundled_or, read_files
from thinstock.survey.round import Round, read_round
from thinstock.survey.signals import read_tags
from thinstock.survey.windows import one_window

DRAWS = 200
JET = ("jet flow",)


@pytest.fixture(scope="module")
def roll():
    return thinstock.load("facial-roll")


@pytest.fixture(scope="module")
def before(roll):
    return read_round("facial-roll", roll)


def less_gas(round_: Round, factor: float) -> Round:
    """The same round with another gas reading, every meter as far off as before."""
    shared = [
        replace(r, value=r.value * (factor if r.stream == "gas" else 1.0), group=((f"meter {r.stream}", 0.5),))
        for r in round_.survey.readings
    ]
    return replace(round_, survey=replace(round_.survey, readings=tuple(shared), origin=None))


@pytest.mark.slow
def test_less_gas_read_is_less_gas_and_money_saved(before):
    prices = load_prices("example")
    one, two = less_gas(before, 1.0), less_gas(before, 0.92)
    found = worth_of_change(one, two, prices, without=JET, draws=DRAWS)
    steps = {step.name: step for step in found.steps}
    gas = steps["gas_per_product"]
    low, middle, high = gas.difference
    assert low < middle < high < 0.0 and gas.up < 0.05
    assert -0.12 < middle / gas.before[1] < -0.04, "about the eight per cent that were read"
    assert steps["speed"].difference == (0.0, 0.0, 0.0)
    assert found.lines["gas"][1] > 0.0 and found.saves > 0.5
    price = prices.get("price.gas").value
    tonnes = steps["production"].after[1] * prices.get("run.hours").value
    assert found.lines["gas"][1] == pytest.approx(-middle * tonnes * price, rel=0.1)


def test_what_a_meter_is_off_is_the_same_in_both_windows_and_a_laboratory_s_error_is_not(roll):
    files = [bundled_or(name) for name in ("facial-roll", "facial-roll-laboratory")]
    tags = read_tags(bundled_or("facial-roll", "-tags"))
    series = read_files(files, tags=tags.names)
    from thinstock.survey.windows import merged

    series = merged(series)
    begin = float(series["gas"].time[0])
    windows = [one_window(series, begin + k * 21600.0, begin + (k + 1) * 21600.0) for k in (0, 1)]
    one, two = rounds_of_windows(roll, tags, series, windows, lambda t: f"{t:.0f}")
    for round_ in (one, two):
        by_stream = {(r.stream, r.quantity): dict(r.group) for r in round_.survey.readings}
        assert by_stream["gas", "power"]["meter of gas"] <= CONSTANT
        assert by_stream["gas", "power"]["meter of gas"] > 0.5
        assert not any(name.startswith("meter") for name in by_stream["web_pressed", "consistency"])
    values = [np.array([r.value for r in x.survey.readings]) for x in (one, two)]
    assert values[0].shape == values[1].shape


@pytest.mark.parametrize(
    "asked, said",
    [
        (["survey", "facial-roll", "--machine", "facial-roll", "--prices", "example"], "second round"),
        (["history", "facial-roll", "--before", "2026-03-29 07:00", "2026-03-29 13:00",
          "--after", "2026-03-29 13:00", "2026-03-29 19:00", "--prices", "example"], "--tags and --machine"),
    ],
)  # fmt: skip
def test_money_needs_what_it_is_reckoned_from(asked, said):
    result = CliRunner().invoke(group, asked)
    assert result.exit_code == 1 or result.exception is not None
    assert said in result.output + str(result.exception)
