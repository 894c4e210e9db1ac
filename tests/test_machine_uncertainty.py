"""How sure a machine's numbers are: what is common cancels, what fails is counted, and slopes stand beside draws."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from click.testing import CliRunner
from scipy import stats

import thinstock
from thinstock.cli import group
from thinstock.errors import Refused
from thinstock.evidence.beliefs import Within
from thinstock.evidence.cases import run_cases
from thinstock.evidence.inputs import philox
from thinstock.evidence.machine_inputs import Bounded, bounds, input_distributions, joined, uncertain
from thinstock.evidence.outputs import places
from thinstock.studies import LogUniform
from thinstock.studies.first_order import by_slopes
from thinstock.studies.machine_uncertainty import FORM, Sampling, monte_carlo
from thinstock.studies.matters import matters


@pytest.fixture(scope="module")
def roll():
    return thinstock.load("facial-roll")


@pytest.fixture(scope="module")
def shoe():
    return thinstock.load("facial-shoe")


# -- distributions -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("low, high", [(-math.inf, math.inf), (0.0, math.inf), (0.5, 1.2), (-3.0, 0.9)])
def test_a_cut_bell_agrees_with_a_general_library(low, high):
    mine = Bounded(1.0, 0.4, low, high)
    other = stats.truncnorm((low - 1.0) / 0.4, (high - 1.0) / 0.4, loc=1.0, scale=0.4)
    assert mine.mean == pytest.approx(other.mean(), rel=1e-9)
    assert mine.standard_deviation == pytest.approx(other.std(), rel=1e-7)
    shares = np.array([0.01, 0.3, 0.5, 0.9, 0.999])
    np.testing.assert_allclose(mine.quantile(shares), other.ppf(shares), rtol=1e-9)


def test_a_cut_factor_has_the_moments_of_its_own_sample():
    cut = Bounded(math.log(2.0), 0.5, 1.0, 4.0, True)
    sample = cut.sample(philox(3), 400_000)
    assert sample.min() >= 1.0 and sample.max() <= 4.0
    assert cut.mean == pytest.approx(sample.mean(), rel=2e-3)
    assert cut.standard_deviation == pytest.approx(sample.std(), rel=5e-3)


def test_every_input_keeps_its_value_and_uncertainty_and_never_leaves_its_bounds(roll):
    known = {one.address: one for one in uncertain(roll)}
    for where, distribution in input_distributions(roll).items():
        low, high = bounds(roll, where)
        one = known[where]
        assert low <= float(distribution.quantile(0.0)) and float(distribution.quantile(1.0)) <= high
        bell = isinstance(distribution, Bounded) and not distribution.by_factor
        if bell and min(one.value - low, high - one.value) > 5 * one.standard_uncertainty:
            assert distribution.mean == pytest.approx(one.value, rel=1e-3)
            assert distribution.standard_deviation == pytest.approx(one.standard_uncertainty, rel=0.02)


def test_the_mats_resistance_is_believed_to_lie_between_1_and_5_until_somebody_says_another(roll):
    assert input_distributions(roll)["stock.resistance_factor"] == Within(LogUniform(1, 5), 0.1, 50)
    other = input_distributions(roll.with_({"stock.resistance_factor": 2.0}))["stock.resistance_factor"]
    assert other.mean == pytest.approx(2.0, rel=1e-3)


def test_wide_positive_inputs_are_uncertain_by_a_factor_and_what_the_run_finds_is_none(roll):
    inputs = input_distributions(roll)
    assert inputs["stock.mat_pressure_floor"].base.by_factor and not inputs["grade.reel_grammage"].by_factor
    assert "hood.air_temperature" not in inputs
    assert "yankee.speed" in inputs


def test_a_line_load_at_its_limit_is_never_drawn_beyond_it(shoe):
    load = input_distributions(shoe)["press.nip.shoe_press.line_load"]
    assert load.sample(philox(1), 10_000).max() <= float(shoe.press.nip[0].line_load_limit)


# -- draws -------------------------------------------------------------------------------------------------------------


def test_a_machine_less_itself_is_exactly_nothing(roll):
    found = monte_carlo(roll, thinstock.load("facial-roll"), sampling=Sampling(draws=600))
    assert found.common == len(found.inputs)
    for row in found.rows:
        assert row.shortest == (0.0, 0.0) and row.symmetric == (0.0, 0.0), row.name
        assert row.value == 0.0 and row.standard_uncertainty == 0.0 and row.first_order == 0.0


def test_what_both_machines_share_cancels(roll, shoe):
    pair = joined(roll, shoe)
    assert pair.before["yankee.contact_level"] == pair.after["yankee.contact_level"] == "yankee.contact_level"
    assert pair.after["press.nip.shoe_press.rewet"] == "after: press.nip.shoe_press.rewet"
    difference = monte_carlo(roll, shoe, sampling=Sampling(draws=1500))["steam_per_product"]
    alone = [
        monte_carlo(m, sampling=Sampling(draws=1500))["steam_per_product"].standard_uncertainty for m in (roll, shoe)
    ]
    assert difference.standard_uncertainty < 0.4 * math.hypot(*alone)


def test_draws_and_slopes_agree_where_the_result_is_nearly_straight(roll):
    names = ["grammage_on_wire", "press_impulse"]
    found, slopes = monte_carlo(roll, names=names, sampling=Sampling(draws=8000)), by_slopes(roll)
    for name in names:
        row = found[name]
        assert row.first_order == pytest.approx(slopes[name].standard_uncertainty, rel=1e-12)
        assert row.standard_uncertainty == pytest.approx(row.first_order, rel=0.06)
        assert row.mean == pytest.approx(row.value, abs=0.1 * row.standard_uncertainty)
        low, high = row.shortest
        assert high - low <= row.symmetric[1] - row.symmetric[0] + 1e-15
        assert high - low == pytest.approx(2 * 1.96 * row.standard_uncertainty, rel=0.08)


def test_draws_stop_when_the_digits_stand_firm(roll):
    found = monte_carlo(roll, names=["grammage_on_wire"], sampling=Sampling(batch=2000))
    assert found.settled and 4000 <= found.draws < 60_000
    hurried = monte_carlo(roll, names=["grammage_on_wire"], sampling=Sampling(digits=2, batch=1000, most=3000))
    assert not hurried.settled and any("do not yet stand firm" in note for note in hurried.notes)


def test_the_same_seed_gives_the_same_numbers(roll):
    one, two, other = (monte_carlo(roll, names=["retention"], sampling=Sampling(draws=400, seed=s)) for s in (4, 4, 5))
    assert one["retention"] == two["retention"]
    assert one["retention"].mean != other["retention"].mean


def test_draws_that_cannot_be_dried_are_counted_and_told(roll):
    found = monte_carlo(roll, names=["gas_per_product"], sampling=Sampling(draws=800))
    wet = found.counts["machine"]["too wet"]
    assert 100 < wet < 700
    assert any(f"{wet} of 800 draws" in note and "cannot be dried" in note for note in found.notes)
    assert FORM in found.notes
    assert found["gas_per_product"].draws == 800 - found.counts["machine"]["no sheet"]


def test_draws_without_a_sheet_are_counted(roll):
    slow = roll.with_({"forming.element.forming_roll.wrap": np.radians(62.0)})
    found = monte_carlo(slow, names=["end_of_forming", "dryness_press"], sampling=Sampling(draws=1200))
    missing = found.counts["machine"]["no sheet"]
    assert missing > 5
    assert found["dryness_press"].draws == 1200 - missing - found.counts["machine"]["impossible"]


def test_correlated_inputs_widen_or_narrow_a_result(roll):
    pair = ("grade.reel_grammage", "grade.reel_dryness")
    spread = {}
    for r in (-0.8, 0.0, 0.8):
        correlation = {pair: r} if r else None
        row = monte_carlo(roll, names=["grammage_on_wire"], correlation=correlation, sampling=Sampling(draws=4000))[
            "grammage_on_wire"
        ]
        spread[r] = row.standard_uncertainty
        assert row.standard_uncertainty == pytest.approx(row.first_order, rel=0.05)
    assert spread[-0.8] < 0.9 * spread[0.0] and spread[0.8] > 1.1 * spread[0.0]


def test_bad_requests_are_refused(roll):
    with pytest.raises(Refused, match="no result of this name"):
        monte_carlo(roll, names=["gas_pr_product"], sampling=Sampling(draws=500))
    with pytest.raises(Refused, match="at least"):
        monte_carlo(roll, sampling=Sampling(draws=10))
    with pytest.raises(Refused, match="is no input"):
        monte_carlo(roll, correlation={("stock.freeness", "moon"): 0.5}, sampling=Sampling(draws=500))


# -- cases -------------------------------------------------------------------------------------------------------------


def test_cases_give_what_a_single_run_gives(roll):
    speeds = np.array([25.0, 30.0, 32.0])
    names = ("gas_per_product", "stations.felt_vacuum.dryness", "streams.reel.water", "energy.fan_pump.power")
    found = run_cases(roll, {"yankee.speed": speeds}, names, fast=False)
    for place, speed in enumerate(speeds):
        one = roll.with_({"yankee.speed": speed}).run()
        assert set(names) <= set(places(one))
        assert found["gas_per_product"][place] == pytest.approx(one["gas_per_product"], rel=1e-7)
        station = next(s for s in one.stations if s.name == "felt vacuum")
        assert found["stations.felt_vacuum.dryness"][place] == pytest.approx(station.dryness, rel=1e-10)


def test_cases_that_cannot_be_built_are_flagged_and_the_others_run(roll):
    loads = np.array([80e3, 104e3, 106e3, 90e3, 120e3, 70e3, 100e3])
    found = run_cases(roll, {"press.nip.suction_pressure_roll.line_load": loads}, ("dryness_press",))
    assert found.flags["possible"].tolist() == [True, True, False, True, False, True, True]
    assert np.isnan(found["dryness_press"]).tolist() == (~found.flags["possible"]).tolist()


# -- what matters ------------------------------------------------------------------------------------------------------


def test_the_weightiest_input_is_the_one_to_measure_better(roll):
    found = matters(roll, ["grammage_on_wire", "end_of_forming"], base=64)
    by_name = {row.name: row for row in found.rows}
    grammage = by_name["grammage_on_wire"]
    assert {m.input.address for m in grammage.movers[:2]} == {"grade.reel_grammage", "grade.reel_dryness"}
    assert grammage.movers[0].first > 0.6
    end = by_name["end_of_forming"]
    assert end.movers[0].input.address == "stock.resistance_factor"
    assert end.advice.startswith("measure stock.resistance_factor better first")
    assert end.movers[0].high > end.movers[0].low > 0
    assert grammage.standard_deviation == pytest.approx(
        by_slopes(roll)["grammage_on_wire"].standard_uncertainty, rel=0.1
    )


def test_correlated_inputs_have_no_shares(roll):
    with pytest.raises(Refused, match="independent"):
        matters(roll, ["retention"], base=16, correlation={("stock.freeness", "headbox.consistency"): 0.5})


# -- command line ------------------------------------------------------------------------------------------------------


def test_the_command_line_tells_differences_and_shares():
    run = CliRunner().invoke(
        group,
        ["study", "uncertainty", "facial-roll", "facial-shoe", "--draws", "600", "--json"],
        catch_exceptions=False,
    )
    assert run.exit_code == 0
    found = json.loads(run.stdout)
    assert found["draws"] == 600 and found["counts"]["before"]["too wet"] > 0
    row = next(r for r in found["rows"] if r["name"] == "dryness_press")
    assert row["shortest"][0] < row["value"] < row["shortest"][1]
    text = CliRunner().invoke(
        group, ["study", "matters", "facial-roll", "--base", "32", "--result", "retention"], catch_exceptions=False
    )
    assert "better first" in text.stdout and "models' form is not included" in text.stdout


def test_without_a_compiler_a_study_takes_a_thousand_draws_and_not_as_many_as_the_digits_ask(roll, monkeypatch):
    monkeypatch.setattr("thinstock.studies.machine_uncertainty.can_compile", lambda: False)
    found = monte_carlo(roll, names=["dryness_press"])
    assert found.draws == 1000
    assert monte_carlo(roll, names=["dryness_press"], sampling=Sampling(draws=200)).draws == 200
