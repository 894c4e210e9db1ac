"""The felt: steady state against plain iteration, water in = water out, and what its heat does."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thinstock.relations import felt, felt_loop

felts = st.fixed_dictionaries(
    {
        "felt_grammage": st.floats(0.9, 1.6),
        "grammage": st.floats(0.010, 0.040),
        "moisture_ratio_in": st.floats(3.0, 7.0),
        "moisture_ratio_pressed": st.floats(0.8, 1.8),
        "rewet": st.floats(0.0, 0.008),
        "shower": st.floats(0.0, 0.15),
        "felt_saturated_ratio": st.floats(0.45, 0.70),
        "felt_end_ratio": st.floats(0.30, 0.60),
        "dwell": st.floats(1e-3, 6e-3),
        "time_constant": st.floats(1e-3, 4e-3),
    }
)
rounds = st.fixed_dictionaries(
    {
        "felt_uptake": st.floats(0.0, 1.0),
        "vacuum_end_ratio": st.floats(0.30, 0.60),
        "vacuum_dwell": st.floats(0.0, 4e-3),
        "vacuum_time_constant": st.floats(1e-3, 4e-3),
    }
)
REFERENCE = {
    "felt_grammage": 1.25,
    "grammage": 0.015,
    "moisture_ratio_in": 5.66667,
    "moisture_ratio_pressed": 1.19831,
    "rewet": 0.005,
    "shower": 0.06,
    "felt_saturated_ratio": 0.58480,
    "felt_end_ratio": 0.40,
    "dwell": 3e-3,
    "time_constant": 1.3e-3,
}
CLOSED = {"felt_uptake": 0.0, "vacuum_end_ratio": 0.4, "vacuum_dwell": 0.0, "vacuum_time_constant": 1e-3}
SHEET = ("grammage", "moisture_ratio_in", "moisture_ratio_pressed", "felt_saturated_ratio")


def one_round(ratio: float, case: dict[str, float]) -> float:
    ratio = felt.felt_moisture_ratio_after_nip(
        case["felt_grammage"], ratio, *(case[word] for word in SHEET), case["rewet"]
    )
    ratio += case["shower"] / case["felt_grammage"]
    ratio = felt.felt_moisture_ratio_after_box(ratio, case["felt_end_ratio"], case["dwell"], case["time_constant"])
    ratio += case.get("felt_uptake", 0.0) / case["felt_grammage"]
    if "vacuum_dwell" in case:
        ratio = felt.felt_moisture_ratio_after_box(
            ratio, case["vacuum_end_ratio"], case["vacuum_dwell"], case["vacuum_time_constant"]
        )
    return float(ratio)


def iterated(case: dict[str, float]) -> float:
    ratio = 0.5
    for _ in range(4000):
        new = one_round(ratio, case)
        if abs(new - ratio) < 1e-15:
            break
        ratio = new
    return ratio


@given(case=felts)
def test_the_steady_felt_is_where_running_takes_it(case: dict[str, float]) -> None:
    assert felt.felt_moisture_ratio_steady(**case) == pytest.approx(iterated(case), abs=1e-11)


@given(case=felts, more=rounds)
def test_the_steady_round_is_where_running_takes_it(case: dict[str, float], more: dict[str, float]) -> None:
    found = felt_loop.felt_loop_steady(**case, **more)
    assert found.felt_moisture_ratio == pytest.approx(iterated({**case, **more}), abs=1e-11)
    assert found.felt_moisture_after_vacuum == pytest.approx(found.felt_moisture_ratio, abs=1e-13)


@given(case=felts)
def test_a_round_without_forming_and_felt_vacuum_is_the_plain_steady_felt(case: dict[str, float]) -> None:
    found = felt_loop.felt_loop_steady(**case, **CLOSED)
    assert found.felt_moisture_ratio == pytest.approx(felt.felt_moisture_ratio_steady(**case), rel=1e-14)
    assert found.felt_vacuum_water == 0.0


@given(case=felts, more=rounds)
def test_water_into_a_steady_felt_is_water_out_of_it(case: dict[str, float], more: dict[str, float]) -> None:
    found = felt_loop.felt_loop_steady(**case, **more)
    pressed = case["grammage"] * (case["moisture_ratio_in"] - case["moisture_ratio_pressed"])
    into = pressed - case["rewet"] + case["shower"] + more["felt_uptake"]
    out = found.box_water + found.felt_vacuum_water + found.nip_drainage
    assert out == pytest.approx(into, abs=1e-12)


@given(case=felts)
def test_survey_residuals_vanish_for_consistent_data(case: dict[str, float]) -> None:
    found = felt_loop.felt_loop_steady(**case, **CLOSED)
    out = case["moisture_ratio_pressed"] + case["rewet"] / case["grammage"]
    nip_left = felt.felt_nip_residual(
        30.0,
        case["felt_grammage"],
        found.felt_moisture_ratio,
        found.felt_moisture_after_nip,
        case["grammage"],
        case["moisture_ratio_in"],
        out,
        found.nip_drainage,
    )
    loop_left = felt.felt_loop_residual(
        30.0,
        case["grammage"],
        case["moisture_ratio_in"],
        out,
        case["shower"],
        found.nip_drainage,
        found.box_water,
        0.0,
    )
    assert abs(nip_left) < 1e-11
    assert abs(loop_left) < 1e-11


def test_a_steady_felt_that_is_full_in_the_nip_drains_there() -> None:
    """Worked apart: 0.00952 kg/m² with an end ratio of 0.50 and slow boxes."""
    case = {**REFERENCE, "felt_end_ratio": 0.50, "dwell": 3e-3, "time_constant": 2.5e-3}
    ratio = felt.felt_moisture_ratio_steady(**case)
    drained = felt.nip_drainage_felt(case["felt_grammage"], ratio, *(case[word] for word in SHEET))
    assert drained == pytest.approx(0.00952, abs=5e-6)


def test_a_felt_that_is_brought_no_water_has_no_steady_state() -> None:
    dry = {**REFERENCE, "moisture_ratio_in": 1.2, "rewet": 0.005, "shower": 0.0}
    assert np.isnan(felt.felt_moisture_ratio_steady(**dry))
    assert np.isnan(felt_loop.felt_loop_steady(**dry, **CLOSED).felt_moisture_ratio)


def test_boxes_that_stand_still_leave_the_felt_full() -> None:
    still = {**REFERENCE, "dwell": 0.0}
    found = felt_loop.felt_loop_steady(**still, **CLOSED)
    leaving = still["felt_saturated_ratio"] + (still["shower"] - still["rewet"]) / still["felt_grammage"]
    assert found.felt_moisture_ratio == pytest.approx(leaving, rel=1e-14)
    assert felt.felt_moisture_ratio_steady(**still) == pytest.approx(leaving, rel=1e-14)


def test_cases_side_by_side_are_those_of_each() -> None:
    showers, uptakes = np.array([0.0, 0.06, 0.12]), np.array([0.0, 0.5, 1.0])
    together = felt_loop.felt_loop_steady(
        **{**REFERENCE, "shower": showers}, **{**CLOSED, "felt_uptake": uptakes, "vacuum_dwell": 3e-3}
    )
    for k in range(3):
        alone = felt_loop.felt_loop_steady(
            **{**REFERENCE, "shower": showers[k]},
            **{**CLOSED, "felt_uptake": uptakes[k], "vacuum_dwell": 3e-3},
        )
        for part, wanted in zip(together, alone, strict=True):
            assert np.broadcast_to(part, 3)[k] == pytest.approx(wanted, rel=1e-14, abs=1e-16)


def test_water_taken_up_in_forming_fills_the_felt_in_the_nip() -> None:
    """Order of size only: about 0.04 of felt moisture and 0.07 of nip saturation for each half millimetre."""
    ratios, fillings = [], []
    for uptake in (0.0, 0.5, 1.0):
        more = {**CLOSED, "felt_uptake": uptake, "vacuum_dwell": 3e-3, "vacuum_time_constant": 1.3e-3}
        ratio = felt_loop.felt_loop_steady(**REFERENCE, **more).felt_moisture_ratio
        ratios.append(ratio)
        fillings.append(
            felt.nip_saturation_felt(REFERENCE["felt_grammage"], ratio, *(REFERENCE[word] for word in SHEET))
        )
    assert np.diff(ratios) == pytest.approx([0.04, 0.04], abs=0.01)
    assert np.diff(fillings) == pytest.approx([0.065, 0.065], abs=0.02)


@given(case=felts, longer=st.floats(1.0, 5.0))
def test_more_box_never_leaves_a_wetter_felt(case: dict[str, float], longer: float) -> None:
    better = {**case, "dwell": longer * case["dwell"]}
    assert felt.felt_moisture_ratio_steady(**better) <= felt.felt_moisture_ratio_steady(**case) + 1e-14


@given(ratio=st.floats(0.0, 3.0))
def test_felt_moisture_there_and_back_again(ratio: float) -> None:
    fraction = felt.water_fraction_felt(ratio)
    assert felt.felt_moisture_ratio_from_fraction(fraction) == pytest.approx(ratio, abs=1e-12)


def test_face_velocities_are_the_printed_factors() -> None:
    per_square_inch = 0.3048**3 / 60.0 / 0.0254**2  # ft³/min per in²
    assert 15 * per_square_inch == pytest.approx(10.97, abs=0.005)
    assert 20 * per_square_inch == pytest.approx(14.63, abs=0.005)


@pytest.mark.parametrize(("dryness", "steam"), ((0.15, 0.107), (0.25, 0.059), (0.35, 0.039)))
def test_steam_for_ten_kelvin_costs_most_where_the_sheet_is_wet(dryness: float, steam: float) -> None:
    capacity = felt.heat_capacity_wet(1.0, 1.0 / dryness - 1.0, 1400.0, 4180.0)
    assert 10.0 * capacity / 2.35e6 == pytest.approx(steam, abs=0.0006)


def test_a_steam_box_keeps_its_heat() -> None:
    caught, before = 0.8 * 1.6e-3, 313.15
    capacity = felt.heat_capacity_wet(0.015, 5.66667, 1400.0, 4180.0)
    after = before + felt.temperature_rise_steam_box(1.6e-3, 0.8, 2.676e6, before, capacity, 4180.0)
    brought = caught * 2.676e6 + capacity * (before - 273.15)
    held = (capacity + caught * 4180.0) * (after - 273.15)
    assert held == pytest.approx(brought, rel=1e-12)


def test_a_sheet_hotter_than_boiling_is_not_warmed() -> None:
    assert felt.temperature_rise_steam_box(1e-3, 0.8, 2.676e6, 380.0, 376.3, 4180.0) == 0.0
