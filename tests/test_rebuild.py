"""What a rebuild gains: nothing twice, nothing for nothing, every price with its unit and source, honest ranges."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from click.testing import CliRunner

import thinstock
from thinstock.cli import group, status
from thinstock.errors import Refused
from thinstock.studies.prices import load_prices, read_prices
from thinstock.studies.rebuild import EITHER, rebuild

PLAIN = """
format = 1
currency = "EUR"
year = 2026
[run]
hours = "8000 h"
[price]
electricity = "90 EUR/MWh"
gas = "40 EUR/MWh LHV"
steam = "35 money/MWh"
[rebuild]
investment = "3000000 EUR"
years = 10
rate = "8 %"
"""


@pytest.fixture(scope="module")
def machines():
    return thinstock.load("facial-roll"), thinstock.load("facial-shoe")


@pytest.fixture(scope="module")
def found(machines):
    return rebuild(*machines, load_prices("example"), draws=600)


@pytest.fixture(scope="module")
def plain(machines):
    return rebuild(*machines, read_prices(PLAIN), draws=400)


def line(way, name):
    return next(one for one in way.lines if one.name == name)


# -- the prices file ---------------------------------------------------------------------------------------------------


def test_prices_are_read_with_range_and_source():
    prices = load_prices("example")
    gas = prices.amounts["price.gas"]
    assert gas.value == pytest.approx(40 / 3.6e9) and gas.low == pytest.approx(28 / 3.6e9)
    assert gas.source == "invented" and prices.rate.source == "user input"
    assert "invented" in prices.note and prices.rate.value == pytest.approx(0.08)
    assert prices.amounts["emission.gas"].value == pytest.approx(56.1e-9)


def test_gas_sold_on_the_higher_heating_value_costs_more_on_the_lower():
    higher = read_prices(PLAIN.replace("40 EUR/MWh LHV", "40 EUR/MWh HHV")).amounts["price.gas"].value
    assert higher == pytest.approx(1.108 * 40 / 3.6e9)


@pytest.mark.parametrize(
    "old, new, said",
    [
        ('"8 %"', "0.08", 'could be a percentage or a share. Write the one that is meant: "0.08 %" or "8 %"'),
        ('"8 %"', "8", 'could be a percentage or a share. Write the one that is meant: "8 %" or "800 %"'),
        ('"8 %"', '"0.08"', "could be a percentage or a share"),
        ('"8 %"', '"-2 %"', "must not be negative"),
        ('"8 %"', '"800 %"', "above 100 %"),
        ('"90 EUR/MWh"', '"-90 EUR/MWh"', "price.electricity"),
        ('"90 EUR/MWh"', '{ value = "90 EUR/MWh", low = "-5 EUR/MWh", high = "100 EUR/MWh" }', "must not be negative"),
        ('"90 EUR/MWh"', '{ value = "90 EUR/MWh", low = "95 EUR/MWh", high = "80 EUR/MWh" }', "the range is empty"),
        ('"90 EUR/MWh"', '{ value = "90 EUR/MWh", low = "90 EUR/MWh", high = "90 EUR/MWh" }', "the range is empty"),
        ('"90 EUR/MWh"', '{ value = "90 EUR/MWh", low = "20 EUR/MWh", high = "80 EUR/MWh" }', "outside its own range"),
        ('"90 EUR/MWh"', '{ value = "90 EUR/MWh", low = "20 EUR/MWh" }', "a range has two ends"),
        ('"90 EUR/MWh"', "90", "needs its unit"),
        ('"90 EUR/MWh"', '"90 USD/MWh"', "is not a price of energy"),
        ("40 EUR/MWh LHV", "40 EUR/MWh", "LHV or HHV"),
        ("8000 h", "9000 h", "longer than a year"),
        ('"3000000 EUR"', '"0 EUR"', "above zero"),
        ("years = 10", "years = 2.5", "whole number of years"),
        ("year = 2026", "", "the year of the prices is needed"),
        ('currency = "EUR"', "", "the currency is needed"),
        ("format = 1", "format = 2", "must be 1"),
        ("gas =", "gass =", "there is no such entry. Nearest: gas"),
    ],
)
def test_a_bad_price_is_refused_with_its_line_and_remedy(old, new, said):
    with pytest.raises(Refused) as refused:
        read_prices(PLAIN.replace(old, new))
    assert said in str(refused.value)


def test_all_that_is_wrong_with_a_prices_file_is_told_at_once():
    bad = PLAIN.replace('"8 %"', "8").replace("90 EUR", "-90 EUR").replace("8000 h", "soon")
    with pytest.raises(Refused) as refused:
        read_prices(bad, "mine.toml")
    assert len(refused.value.faults) == 3
    assert {fault.line for fault in refused.value.faults} == {6, 8, 14}


def test_what_has_no_price_but_is_used_is_asked_for(machines):
    with pytest.raises(Refused, match=r"price\.gas.*the machines use gas"):
        rebuild(*machines, read_prices(PLAIN.replace('gas = "40 EUR/MWh LHV"\n', "")), draws=200)


# -- the account -------------------------------------------------------------------------------------------------------


def test_a_rebuild_into_itself_saves_exactly_nothing(machines):
    one = rebuild(machines[0], thinstock.load("facial-roll"), read_prices(PLAIN), draws=300)
    same = one.ways[0]
    assert all(
        part.money.value == part.money.low == part.money.high == 0 for part in same.lines if part.unit != "money"
    )
    assert same.yearly_saving.value == 0 and same.net_present_value.value == pytest.approx(-3e6)
    assert math.isinf(same.payback.value) and same.rates_of_return == ()
    assert one.without_assumed == ()
    assert one.ways[1].speed.value == pytest.approx(float(machines[0].speed), rel=1e-5)


def test_energy_saved_is_what_the_two_runs_say(machines, plain):
    before, after = (m.run() for m in machines)
    year = 8000 * 3600.0
    for kind in ("electricity", "gas", "steam"):
        saved = before["production"] * year * (before[f"{kind}_per_product"] - after[f"{kind}_per_product"])
        assert line(plain.ways[0], kind).amount.value == pytest.approx(saved, rel=1e-6)
    money = sum(
        line(plain.ways[0], k).amount.value * p / 3.6e9 for k, p in (("electricity", 90), ("gas", 40), ("steam", 35))
    )
    assert plain.ways[0].yearly_saving.value == pytest.approx(money, rel=1e-9)
    assert plain.dryness_after.value - plain.dryness_before.value == pytest.approx(
        after["dryness_press"] - before["dryness_press"], abs=1e-9
    )


def test_more_speed_is_the_profit_after_less_the_profit_before_and_nothing_twice(machines, found):
    before, after = machines
    prices = load_prices("example")
    p = {name: one.value for name, one in prices.amounts.items()}
    way = found.ways[1]
    speed = way.speed.value
    hours = p["run.hours"]
    one = before.run()
    two = after.with_({"yankee.speed": np.float64(speed)}).run()

    def cost(run):
        energy = sum(run[f"{k}_per_product"] * (p[f"price.{k}"] + p["price.co2"] * p[f"emission.{k}"])
                     for k in ("electricity", "gas", "steam"))  # fmt: skip
        return energy + run["fresh_water_per_product"] * p["price.fresh_water"]

    sales = p["rebuild.contribution"] + cost(one)
    profit = [run["production"] * hours * (sales - cost(run)) for run in (one, two)]
    other = p["yearly.sleeves, felts and covers"]
    assert way.yearly_saving.value == pytest.approx(profit[1] - profit[0] - other, rel=1e-6)
    assert sum(part.money.value for part in way.lines) == pytest.approx(way.yearly_saving.value, rel=1e-9)


def test_more_speed_keeps_the_dryer_as_it_was(machines):
    before = machines[0]
    free = machines[1].with_({"yankee.speed_limit": None, "headbox.headbox_pressure_limit": None,
                              "headbox.fan_pump_head_limit": None, "headbox.headbox_flow_limit_high": None,
                              "headbox.fan_pump_flow_limit": None})  # fmt: skip
    one = rebuild(before, free, read_prices(PLAIN + 'contribution = "100 EUR/t"\n'), draws=200)
    speed = one.ways[1].speed.value
    assert speed > 1.05 * float(before.speed)
    assert one.held_speed == "drying with hood air and steam as before"
    run = before.run()
    again = free.with_({"yankee.speed": np.float64(speed)}).run()
    assert again["air_temperature"] == pytest.approx(run["air_temperature"], abs=0.1)
    assert again["evaporation"] == pytest.approx(run["evaporation"], rel=0.05)
    assert speed / float(before.speed) - 1 == pytest.approx(one.speed_by_water, rel=0.35)


def test_the_rated_speed_holds_the_second_way(machines, found):
    assert found.ways[1].speed.value == pytest.approx(float(machines[1].yankee.speed_limit))
    assert found.held_speed == "rated speed"
    assert found.ways[1].speed.high <= float(machines[1].yankee.speed_limit) * (1 + 1e-12)


def test_both_ways_are_always_there_and_never_added(found, plain):
    for one in (found, plain):
        assert [way.name for way in one.ways] == ["same tonnes", "more speed"]
        assert EITHER in one.notes
    assert math.isnan(plain.ways[1].yearly_saving.value), "tonnes without a contribution have no money"
    assert any("a tonne more brings is not given" in text for text in plain.not_counted)


def test_payback_without_the_assumed_gain_of_rewet_is_longer(found):
    assert [way.name for way in found.without_assumed] == ["same tonnes", "more speed"]
    for way, bare in zip(found.ways, found.without_assumed, strict=True):
        assert bare.yearly_saving.value < way.yearly_saving.value
        assert bare.payback.value > way.payback.value
    assert any("assumed, not measured" in note for note in found.notes)


def test_break_even_prices_bring_the_present_value_to_nothing(machines):
    text = PLAIN.replace("3000000", "11000000")
    one = rebuild(*machines, read_prices(text), draws=200)
    even = one.ways[0].break_even["price.gas"] * 3.6e9
    assert even > 0
    again = rebuild(*machines, read_prices(text.replace("40 EUR/MWh LHV", f"{even:.12g} EUR/MWh LHV")), draws=200)
    assert again.ways[0].net_present_value.value == pytest.approx(0, abs=1.0)
    investment = one.ways[0].break_even["rebuild.investment"]
    more = rebuild(*machines, read_prices(text.replace("11000000", f"{investment:.12g}")), draws=200)
    assert more.ways[0].net_present_value.value == pytest.approx(0, abs=1.0)


def test_rate_of_return_and_paybacks_agree_with_each_other(found):
    for way in found.ways:
        assert way.rates_of_return[0] == pytest.approx(way.rate_of_return.value, rel=1e-6)
        outlay, saving, rate = way.outlay.value, way.yearly_saving.value, 0.08
        assert way.payback.value == pytest.approx(outlay / saving)
        assert way.payback_discounted.value == pytest.approx(-math.log(1 - rate * outlay / saving) / math.log(1.08))
        assert way.net_present_value.value == pytest.approx(-outlay + saving * (1 - 1.08**-15) / 0.08)


def test_ranges_hold_the_value_and_grow_with_the_prices(machines, found, plain):
    way = found.ways[0]
    for one in (way.yearly_saving, way.net_present_value, way.outlay, way.carbon, way.payback):
        assert one.low <= one.median <= one.high
    assert 0 < way.pays < 1
    fixed = plain.ways[0].outlay
    assert fixed.low == fixed.value == fixed.high == 3e6
    assert found.set_aside["before"] == 0 and found.origin == "runs", "only draws in which the machine before runs"


def test_a_rebuild_is_told_as_a_decision(found):
    decided = found.decision
    paid = [one.payback.median for one in decided.curve]
    assert paid == sorted(paid, reverse=True), "the more points, the sooner it is paid back"
    assert [one.pays for one in decided.curve] == sorted(one.pays for one in decided.curve)
    assert decided.guarantee_worth < decided.guarantee
    assert 0 <= decided.knowing_gain <= decided.knowing * 1.05
    assert decided.movers[0].name == "gain in dryness"
    none, usual, close = found.links
    assert (none.correlation, close.correlation) == (0.0, 1.0) and 0.5 <= usual.correlation < 1.0
    widths = [one.gain.high - one.gain.low for one in found.links]
    assert widths[0] > widths[1] > widths[2], "what is common cancels"
    assert none.wetter > usual.wetter >= close.wetter


def test_the_decision_stands_on_one_page(found):
    from thinstock.tell.decision_sheet import sheet
    from thinstock.words.figures import Edge

    made = sheet(found, Edge(unit_set="mill", air=101325.0))
    assert made.startswith(b"%PDF") and made.count(b"/Type /Page") - made.count(b"/Type /Pages") <= 1


def test_every_factor_has_a_source(found, plain):
    assert all(factor.source for factor in found.factors + plain.factors)
    assert {f.source for f in plain.factors} == {"user input"}
    assert {"rebuild.rate", "rebuild.years", "rebuild.investment", "run.hours"} <= {f.name for f in plain.factors}


def test_carbon_is_counted_only_with_factors(found, plain):
    assert plain.ways[0].carbon.value == 0
    assert any("carbon dioxide of electricity has no factor" in text for text in plain.not_counted)
    way = found.ways[0]
    expected = sum(
        line(way, k).amount.value * f for k, f in (("gas", 56.1e-9), ("steam", 62.3e-9), ("electricity", 250 / 3.6e9))
    )
    assert way.carbon.value == pytest.approx(expected, rel=1e-9)


# -- refusals ----------------------------------------------------------------------------------------------------------


def test_machines_that_cannot_be_compared_are_refused(machines):
    prices = read_prices(PLAIN)
    with pytest.raises(Refused, match="same paper"):
        rebuild(machines[0], machines[1].with_({"grade.reel_grammage": 0.0165}), prices, draws=200)
    with pytest.raises(Refused, match="over-drying"):
        rebuild(machines[0].with_({"hold_reel_dryness_by": "nothing"}), machines[1], prices, draws=200)
    with pytest.raises(Refused, match="does not dry the sheet"):
        rebuild(machines[0].with_({"yankee.speed": 33.3}), machines[1], prices, draws=200)
    with pytest.raises(Refused, match="at least 100"):
        rebuild(*machines, prices, draws=10)


def test_machines_without_a_yankee_gain_speed_at_the_same_evaporation():
    before = thinstock.load("tea-bag-inclined-wire")
    better = before.with_(
        {"press.dewatering.permeability_factor": 1.6 * float(before.press.dewatering.permeability_factor)}
    )
    text = PLAIN + 'contribution = "500 EUR/t"\n'
    one = rebuild(before, better, read_prices(text), draws=150)
    assert one.dryness_after.value > one.dryness_before.value
    assert line(one.ways[0], "steam").amount.value > 0
    assert one.ways[1].speed.value > float(before.speed)


# -- command line ------------------------------------------------------------------------------------------------------


def test_the_command_line_prints_the_account_and_its_json(tmp_path):
    run = CliRunner().invoke(
        group,
        ["rebuild", "facial-roll", "facial-shoe", "--prices", "example", "--draws", "200"],
        catch_exceptions=False,
    )
    for said in ("Same tonnes", "Or more speed", "If the assumed gain in rewet", "Neither gain nor loss", "IPCC_2006",
                 "user input", "never their sum"):  # fmt: skip
        assert said in " ".join(run.stdout.split()), said
    run = CliRunner().invoke(
        group, ["rebuild", "facial-roll", "facial-shoe", "--prices", "example", "--draws", "200", "--json"],
        catch_exceptions=False,
    )  # fmt: skip
    data = json.loads(run.stdout)
    assert data["ways"][0]["name"] == "same tonnes" and data["notes"]
    assert data["prices"]["amounts"]["price.gas"]["source"] == "invented"


def test_a_missing_prices_file_is_told(capsys):
    assert status(["rebuild", "facial-roll", "facial-shoe", "--prices", "nowhere.toml"]) == 1
    assert "there is no such file" in capsys.readouterr().err
