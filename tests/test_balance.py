"""Balances: parts that add up."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thinstock.relations import balance, pressing

streams = {"fibre": st.floats(1e-3, 1.0), "water": st.floats(1e-3, 300.0)}


@given(**streams, temperature=st.floats(275.0, 372.0))
def test_heat_counts_from_the_ice_point(fibre: float, water: float, temperature: float) -> None:
    stream = (fibre, water, 1340.0, 4190.0)
    heat = balance.enthalpy_flow(*stream, temperature)
    assert heat == pytest.approx((fibre * 1340.0 + water * 4190.0) * (temperature - 273.15), rel=1e-13)
    assert balance.enthalpy_flow(*stream, 273.15) == 0.0


@given(**streams)
def test_water_per_fibre_and_dryness_are_one_fact(fibre: float, water: float) -> None:
    dryness = fibre / (fibre + water)
    ratio = water / fibre
    assert pressing.moisture_ratio_from_dryness(dryness) == pytest.approx(ratio, rel=1e-9)
    assert balance.water_per_fibre_stock(dryness) == pytest.approx(ratio, rel=1e-9)


@given(ratio=st.floats(0.5, 6.0), taken=st.floats(0.0, 0.1), grammage=st.floats(0.01, 0.05))
def test_water_taken_from_the_sheet_is_what_it_lacks_afterwards(ratio: float, taken: float, grammage: float) -> None:
    after = ratio - taken / (grammage * 30.0)
    lost = balance.water_flow(ratio, grammage, 30.0) - balance.water_flow(after, grammage, 30.0)
    assert lost == pytest.approx(taken, abs=1e-13)
    assert pressing.water_pressed_out(30.0, grammage, ratio, after) == pytest.approx(taken, abs=1e-13)
