"""Money: definitions against each other, rates of return against flows made for them, the worked rebuild."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thinstock.relations import economics, pressing


@given(rate=st.floats(-0.3, 0.5), years=st.integers(1, 40))
def test_an_annuity_is_the_present_value_of_ones(rate: float, years: int) -> None:
    flows = np.array([0.0] + [1.0] * years)
    assert economics.annuity_factor(rate, years) == pytest.approx(
        economics.net_present_value(rate, flows), rel=1e-9, abs=1e-9
    )


def test_annuities_of_many_rates_hold_no_hole_at_zero() -> None:
    found = economics.annuity_factor(np.array([-1e-9, 0.0, 1e-9]), 15)
    assert found == pytest.approx(np.full(3, 15.0), rel=1e-7)


def test_present_values_of_many_rates_and_many_flows() -> None:
    flows = np.array([[-1000.0, 500.0, 500.0, 500.0], [-100.0, 39.0, 59.0, 55.0]])
    found = economics.net_present_value(np.array([0.10, 0.05]), flows)
    assert found == pytest.approx(
        [economics.net_present_value(0.10, flows[0]), economics.net_present_value(0.05, flows[1])], rel=1e-14
    )


@given(
    rates=st.lists(st.floats(-0.5, 2.0), min_size=1, max_size=4, unique_by=lambda r: round(r, 1)),
    size=st.floats(1.0, 1e6),
)
def test_flows_made_for_some_rates_give_exactly_those_back(rates: list[float], size: float) -> None:
    flows = np.array([size])
    for rate in rates:
        flows = np.convolve(flows, [1.0, -(1.0 + rate)])
    if any(abs(a - b) < 0.05 for k, a in enumerate(rates) for b in rates[:k]):
        return  # rates that close together are not told apart
    found = economics.internal_rates_of_return(flows)
    assert found == pytest.approx(sorted(rates), abs=1e-6)
    for rate in found:
        assert abs(economics.net_present_value(rate, flows)) < 1e-6 * np.abs(flows).sum()


@pytest.mark.parametrize("flows", ([100.0, 50.0], [-1.0, -2.0, -3.0], [0.0, 0.0], [5.0], [-100.0, 120.0, -100.0]))
def test_flows_that_no_rate_brings_to_nothing_give_no_rate(flows: list[float]) -> None:
    assert economics.internal_rates_of_return(flows).size == 0


def test_a_double_rate_is_given_once() -> None:
    assert economics.internal_rates_of_return([-100.0, 220.0, -121.0]) == pytest.approx([0.10], abs=1e-6)


@given(saving=st.floats(150.0, 900.0), rate=st.floats(0.0, 0.12))
def test_at_the_discounted_payback_the_annuity_has_paid_the_investment(saving: float, rate: float) -> None:
    years = economics.payback_discounted(1000.0, saving, rate)
    assert saving * economics.annuity_factor(rate, years) == pytest.approx(1000.0, rel=1e-9)
    assert years >= economics.payback_simple(1000.0, saving) * (1 - 1e-12)


def test_a_saving_below_the_interest_never_pays() -> None:
    assert np.isinf(economics.payback_discounted(1000.0, np.array([99.0, 100.0]), 0.10)).all()


@given(
    price_saving=st.floats(0.0, 5e4),
    rate=st.floats(0.01, 0.15),
    years=st.integers(3, 25),
    amount=st.floats(100, 1e5),
)
def test_at_the_break_even_price_the_rebuild_is_worth_nothing(
    price_saving: float, rate: float, years: int, amount: float
) -> None:
    price = economics.break_even_price(6e5, rate, years, amount, price_saving)
    flows = np.array([-6e5] + [price * amount + price_saving] * years)
    assert abs(economics.net_present_value(rate, flows)) < 1e-3


def test_the_modified_rate_lies_between_reinvestment_and_the_plain_rate() -> None:
    flows = [-100.0, 39.0, 59.0, 55.0, 20.0]
    modified = economics.modified_rate_of_return(flows, 0.10, 0.12)
    assert 0.12 < modified < economics.internal_rates_of_return(flows)[0]


def test_the_modified_rate_is_the_plain_one_when_income_earns_it() -> None:
    flows = [-100.0, 39.0, 59.0, 55.0, 20.0]
    plain = economics.internal_rates_of_return(flows)[0]
    assert economics.modified_rate_of_return(flows, 0.10, plain) == pytest.approx(plain, rel=1e-9)


def test_the_worked_rebuild() -> None:
    saved = economics.evaporation_saved_press_dryness(0.40, 0.42, 0.95)
    heat = economics.yearly_heat_saved(30e6, saved, 3.6e6)
    assert heat / 1e9 == pytest.approx(12214.29, abs=0.005)
    money = heat / 3.6e9 * 35.0
    assert money == pytest.approx(118750.0, rel=1e-12)
    flows = np.array([-600e3] + [money] * 15)
    assert economics.net_present_value(0.08, flows) == pytest.approx(416438.09, abs=0.005)
    assert economics.payback_simple(600e3, money) == pytest.approx(5.0526, abs=5e-5)
    assert economics.payback_discounted(600e3, money, 0.08) == pytest.approx(6.72896, abs=5e-6)
    assert economics.carbon_saved(heat, 56.1e-9) / 1e3 == pytest.approx(685.2, abs=0.05)


@given(before=st.floats(0.30, 0.45), points=st.floats(0.001, 0.08), reel=st.floats(0.90, 0.98))
def test_speed_and_heat_are_the_same_dryness_spent_twice(before: float, points: float, reel: float) -> None:
    gain = economics.speed_gain_dryer_limited(before, before + points, reel)
    change = pressing.drying_load_change(before, before + points, reel)
    assert (1.0 + gain) * (1.0 + change) == pytest.approx(1.0, rel=1e-12)
    saved = economics.evaporation_saved_press_dryness(before, before + points, reel)
    load = reel * pressing.evaporation_per_fibre(before, reel)
    assert saved / load == pytest.approx(-change, rel=1e-9)
