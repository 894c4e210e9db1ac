"""The compiled drying march against a plain twin, a stiff solver, check values, its balances and limits."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drying_cases import SHEET, STEAM, VESSEL, segments
from thinstock.kernels import yankee
from thinstock.relations.contact_drying import surface_temperature_mean_flux
from twins import yankee as twin

FINE = (40, 400, 40)
USUAL = (4, 40, 4)
COARSE = (2, 8, 2)


def march(surface_temperature: Any = 407.57, steps: Any = USUAL, tolerance: float = 1e-8, **changed: Any) -> Any:
    values = {"segments": segments(), **SHEET, **changed}
    return yankee.march_sdirk2(**values, surface_temperature=surface_temperature, steps=steps, tolerance=tolerance)


def balance(steps: Any = USUAL, tolerance: float = 1e-8, **changed: Any) -> Any:
    values = {"segments": segments(), **SHEET, **VESSEL, **changed}
    return yankee.balance_mean_flux(**values, steps=steps, tolerance=tolerance)


def without(name: str, **more: Any) -> dict[str, Any]:
    values = {**SHEET, **VESSEL, "segments": segments(), "steps": FINE, "tolerance": 1e-8, **more}
    del values[name]
    return values


# -------------------------------------------- check values (computed once by an independent solver; status derived)

CHECKED = [
    (0, "moisture_ratio", 0.053456, 2e-6),
    (0, "sheet_temperature", 367.245, 5e-3),
    (0, "surface_temperature", 407.5718, 1e-3),
    (0, "contact_heat", 846522.0, 10.0),
    (0, "convective_heat", 514721.0, 10.0),
    (0, "radiative_heat", 82768.0, 10.0),
    (0, "evaporation", 0.564473, 5e-7),
    (1, "moisture_ratio", 0.053514, 2e-6),
    (1, "sheet_temperature", 368.968, 1e-3),
]


@pytest.mark.parametrize(("isotherm", "field", "value", "tolerance"), CHECKED)
def test_agrees_with_the_check_value(isotherm: int, field: str, value: float, tolerance: float) -> None:
    assert getattr(balance(FINE, isotherm=isotherm), field) == pytest.approx(value, abs=tolerance, rel=0)


def test_the_largest_speed_is_the_checked_one() -> None:
    found = yankee.speed_for_dryness(0.95, 5.0, 60.0, **without("yankee_speed"))
    assert found.status == 0
    assert found.value == pytest.approx(32.5686, abs=5e-4, rel=0)


def test_the_wettest_sheet_is_the_checked_one() -> None:
    found = yankee.moisture_ratio_for_dryness(0.95, 0.3, 4.0, **without("moisture_ratio"))
    assert found.status == 0
    assert found.value == pytest.approx(1.49847, abs=2e-5, rel=0)


def test_the_hood_temperature_is_the_checked_one() -> None:
    found = yankee.air_temperature_for_dryness(0.95, 450.0, 900.0, segments, **without("segments"))
    assert found.status == 0
    assert found.value == pytest.approx(724.07, abs=0.02, rel=0)


# -------------------------------------------- twin and oracle


@pytest.mark.parametrize(
    ("wall", "changed"),
    [
        (407.57, {}),
        (407.57, {"isotherm": 1}),
        (395.0, {"grammage": 0.025, "moisture_ratio": 1.1, "yankee_speed": 16.0}),
        (420.0, {"grammage": 0.008, "moisture_ratio": 0.9, "yankee_speed": 20.0}),  # over-dried
        (360.0, {"sheet_temperature": 300.0, "moisture_ratio": 2.2}),  # condensation first
    ],
)
def test_the_plain_twin_takes_the_same_steps(wall: float, changed: dict[str, Any]) -> None:
    steps = (2, 6, 2)
    ours = march(wall, steps, 1e-11, **changed)
    plain = twin.march({**SHEET, **changed}, wall, segments(), steps)
    assert ours.moisture_ratio == pytest.approx(plain["moisture_ratio"], rel=1e-7, abs=1e-10)
    assert ours.sheet_temperature == pytest.approx(plain["sheet_temperature"], abs=1e-5)
    for field, name in (
        ("contact_heat", "contact"),
        ("convective_heat", "convective"),
        ("radiative_heat", "radiative"),
        ("evaporation", "evaporation"),
        ("vapour_enthalpy_flow", "vapour"),
        ("desorption_heat", "desorption"),
    ):
        assert getattr(ours, field) == pytest.approx(plain[name], rel=1e-7, abs=1e-3)


@pytest.mark.parametrize("changed", [{}, {"isotherm": 1}, {"grammage": 0.02, "yankee_speed": 19.0}])
def test_a_stiff_solver_of_the_equations_ends_at_the_same_sheet(changed: dict[str, Any]) -> None:
    u, t = twin.oracle({**SHEET, **changed}, 407.57, segments())
    fine = march(407.57, (120, 1200, 120), 1e-10, **changed)
    assert fine.moisture_ratio == pytest.approx(u, abs=1e-6)
    assert fine.sheet_temperature == pytest.approx(t, abs=1e-3)


def test_steps_converge_in_second_order() -> None:
    exact = march(steps=(240, 2400, 240), tolerance=1e-12).moisture_ratio
    errors = [abs(march(steps=(n, 10 * n, n), tolerance=1e-12).moisture_ratio - exact) for n in (10, 20, 40)]
    assert errors[0] / errors[1] == pytest.approx(4.0, abs=1.0)
    assert errors[1] / errors[2] == pytest.approx(4.0, abs=1.0)


@pytest.mark.parametrize(("steps", "tolerance", "error"), [(USUAL, 1e-8, 8e-5), (COARSE, 1e-5, 3.7e-4)])
def test_few_steps_are_as_good_as_stated(steps: tuple[int, ...], tolerance: float, error: float) -> None:
    generator = np.random.default_rng(7)
    n = 60
    cases = {
        "moisture_ratio": generator.uniform(1.1, 1.8, n),
        "grammage": generator.uniform(0.009, 0.025, n),
        "segments": np.stack([segments(t, x) for t, x in generator.uniform((620.0, 0.2), (780.0, 0.5), (n, 2))]),
    }
    # the speed of every machine is the one that dries to 88-98 %
    target = generator.uniform(0.88, 0.98, n)
    values = {**without("yankee_speed", steps=(8, 80, 8)), **cases}
    speed = yankee.speed_for_dryness(target, 2.0, 90.0, **values)
    assert np.all(speed.status == 0)
    fine = balance((24, 240, 24), **cases, yankee_speed=speed.value)
    few = balance(steps, tolerance, **cases, yankee_speed=speed.value)
    difference = 1.0 / (1.0 + few.moisture_ratio) - 1.0 / (1.0 + fine.moisture_ratio)
    assert np.max(np.abs(difference)) < 1.2 * error


# -------------------------------------------- balances

SOME = {
    "moisture_ratio": st.floats(0.3, 3.0),
    "grammage": st.floats(0.006, 0.045),
    "yankee_speed": st.floats(2.0, 45.0),
    "isotherm": st.sampled_from([0, 1]),
}


@settings(deadline=None, max_examples=80)
@given(**SOME, steps=st.sampled_from([USUAL, COARSE]), tolerance=st.sampled_from([1e-8, 1e-5]))
def test_water_and_energy_of_sheet_and_shell_close(steps: Any, tolerance: float, **changed: Any) -> None:
    out = balance(steps, tolerance, **changed)
    case = {**SHEET, **changed}
    flow = case["grammage"] * case["yankee_speed"]
    assert np.all(np.isfinite(out)) and out.moisture_ratio > 0.0
    water = flow * (case["moisture_ratio"] - out.moisture_ratio)
    assert out.evaporation == pytest.approx(water, rel=1e-9, abs=1e-9 * flow)

    def energy(u: float, t: float) -> float:
        return flow * (case["fibre_heat_capacity"] + u * 4190.0) * (t - 273.15)

    heat_in = out.contact_heat + out.convective_heat + out.radiative_heat
    gained = energy(out.moisture_ratio, out.sheet_temperature) - energy(case["moisture_ratio"], 313.15)
    taken = out.vapour_enthalpy_flow + out.desorption_heat + gained
    scale = abs(out.contact_heat) + abs(out.convective_heat) + abs(out.vapour_enthalpy_flow)
    assert abs(heat_in - taken) < 1e-9 * scale
    around = np.pi * VESSEL["yankee_diameter"]
    bare = VESSEL["bare_coefficient"] * (out.surface_temperature - 308.15) * (around - segments()[:, 0].sum())
    assert out.mean_flux * around == pytest.approx(out.contact_heat + bare, rel=1e-12)
    # above 99.4 % dryness the march changes its rule, the flux jumps, and the shell is found to within a bracket only
    drop = surface_temperature_mean_flux(STEAM, out.mean_flux, 1e4, VESSEL["shell_resistance"])
    assert out.surface_temperature == pytest.approx(
        drop, abs=0.2 if out.moisture_ratio < 0.006 else 200 * tolerance + 2e-5
    )


def test_a_profile_ends_where_the_march_ends_and_its_parts_add_up() -> None:
    values = {**SHEET, "segments": segments(), "surface_temperature": 407.57}
    nodes = yankee.profile(**values, steps=USUAL, tolerance=1e-8)
    end = march(407.57)
    assert len(nodes.position) == 1 + sum(USUAL)
    assert nodes.position[-1] == pytest.approx(segments()[:, 0].sum(), rel=1e-14)
    assert nodes.moisture_ratio[0] == 1.5 and nodes.sheet_temperature[0] == 313.15
    for field in end._fields:
        assert getattr(nodes, field)[-1] == getattr(end, field)
    assert np.all(np.diff(nodes.position) > 0.0)
    # stretches end at nodes
    assert segments()[0, 0] == pytest.approx(nodes.position[USUAL[0]], rel=1e-14)


# -------------------------------------------- behaviour


def test_arrays_are_the_cases_one_by_one() -> None:
    speed, wet = np.array([25.0, 32.6, 38.0]), np.array([1.3, 1.5, 1.7])
    many = balance(yankee_speed=speed, moisture_ratio=wet, isotherm=np.array([0, 1, 0]))
    for i in range(3):
        alone = balance(yankee_speed=speed[i], moisture_ratio=wet[i], isotherm=[0, 1, 0][i])
        assert all(part[i] == value for part, value in zip(many, alone, strict=True))
    stretches = np.stack([segments(700.0), segments(720.0), segments(740.0)])
    assert balance(segments=stretches).moisture_ratio[2] == balance(segments=stretches[2]).moisture_ratio
    threaded = march(yankee_speed=np.linspace(25.0, 40.0, 5000))
    assert threaded.moisture_ratio[4999] == march(yankee_speed=40.0).moisture_ratio


@pytest.mark.parametrize(
    ("name", "values", "wetter"),
    [
        ("yankee_speed", np.linspace(26.0, 40.0, 8), True),
        ("moisture_ratio", np.linspace(1.2, 1.9, 8), True),
        ("grammage", np.linspace(0.010, 0.016, 8), True),
        ("steam_temperature", np.linspace(430.0, 460.0, 8), False),
        ("sheet_temperature", np.linspace(300.0, 340.0, 8), False),
        ("contact_coefficient_wet", np.linspace(1500.0, 2200.0, 8), False),
        ("shell_load", np.linspace(0.0, 1e5, 8), True),
    ],
)
@pytest.mark.parametrize("isotherm", [0, 1])
def test_what_makes_a_sheet_wetter_or_drier(name: str, values: Any, wetter: bool, isotherm: int) -> None:
    out = balance(**{name: values}, isotherm=isotherm).moisture_ratio
    assert np.all(np.diff(out) > 0.0) if wetter else np.all(np.diff(out) < 0.0)


@pytest.mark.parametrize(
    "hoods",
    [
        [segments(t) for t in (600.0, 650.0, 700.0, 750.0)],
        [segments(jet_velocity=v) for v in (70.0, 90.0, 110.0, 130.0)],
        [segments(factor=f) for f in (0.4, 0.6, 0.8, 1.0)],
    ],
)
def test_hotter_and_faster_air_dries_more(hoods: list[Any]) -> None:
    assert np.all(np.diff(balance(segments=np.stack(hoods)).moisture_ratio) < 0.0)


def test_a_cold_sheet_in_a_humid_hood_first_takes_up_water() -> None:
    nodes = yankee.profile(
        **{**SHEET, "sheet_temperature": 290.0, "segments": segments(450.0, 0.6)[1:2]},
        surface_temperature=300.0,
        steps=(40,),
        tolerance=1e-8,
    )
    assert nodes.moisture_ratio[5] > nodes.moisture_ratio[0]


def test_random_machines_always_get_a_finite_answer() -> None:
    generator = np.random.default_rng(11)
    n = 4000
    values = {
        "yankee_speed": generator.uniform(2.0, 45.0, n),
        "grammage": generator.uniform(0.005, 0.045, n),
        "moisture_ratio": generator.uniform(0.1, 3.0, n),
        "isotherm": generator.integers(0, 2, n),
        "contact_coefficient_dry": generator.uniform(200.0, 1500.0, n),
        "contact_coefficient_wet": generator.uniform(500.0, 3000.0, n),
    }
    coarse, fine = balance((4, 24, 2), **values), balance((10, 120, 10), **values)
    assert np.all(np.isfinite(np.array(coarse))) and np.all(coarse.moisture_ratio > 0.0)
    error = np.abs(1.0 / (1.0 + coarse.moisture_ratio) - 1.0 / (1.0 + fine.moisture_ratio))
    assert np.median(error) < 6e-5 and np.quantile(error, 0.95) < 6e-4
    assert np.max(error[values["isotherm"] == 0]) < 2e-3


# -------------------------------------------- searches


def test_a_found_speed_gives_the_dryness_wanted() -> None:
    dryness = np.array([0.90, 0.93, 0.96])
    found = yankee.speed_for_dryness(dryness, 5.0, 80.0, **without("yankee_speed", steps=USUAL))
    assert np.all(found.status == 0) and np.all(found.evaluations <= 20)
    out = balance(yankee_speed=found.value)
    assert np.allclose(1.0 / (1.0 + out.moisture_ratio), dryness, atol=1e-7)
    alone = yankee.speed_for_dryness(0.93, 5.0, 80.0, **without("yankee_speed", steps=USUAL))
    assert alone.value == found.value[1] and isinstance(alone.value, float)


def test_a_search_says_where_it_ended() -> None:
    speeds = without("yankee_speed", steps=USUAL)
    assert yankee.speed_for_dryness(0.95, 5.0, 20.0, **speeds)[:2] == (20.0, 1)
    assert yankee.speed_for_dryness(0.95, 45.0, 60.0, **speeds)[:2] == (45.0, -1)
    sheets = without("moisture_ratio", steps=USUAL)
    assert yankee.moisture_ratio_for_dryness(0.95, 0.3, 1.2, **sheets)[:2] == (1.2, 1)
    assert yankee.moisture_ratio_for_dryness(0.95, 1.8, 2.5, **sheets)[:2] == (1.8, -1)
    airs = without("segments", steps=USUAL)
    assert yankee.air_temperature_for_dryness(0.95, 800.0, 900.0, segments, **airs)[:2] == (800.0, 1)
    assert yankee.air_temperature_for_dryness(0.95, 450.0, 600.0, segments, **airs)[:2] == (600.0, -1)


def test_the_three_searches_tell_one_story() -> None:
    speed = yankee.speed_for_dryness(0.94, 5.0, 60.0, **without("yankee_speed", steps=USUAL)).value
    wet = yankee.moisture_ratio_for_dryness(
        0.94, 0.3, 4.0, **without("moisture_ratio", steps=USUAL, yankee_speed=speed)
    )
    assert wet.value == pytest.approx(1.5, rel=1e-6)
    air = yankee.air_temperature_for_dryness(
        0.94, 450.0, 900.0, segments, **without("segments", steps=USUAL, yankee_speed=speed)
    )
    assert air.value == pytest.approx(723.15, abs=1e-3)


# -------------------------------------------- refusals


@pytest.mark.parametrize("steps", [(4, 40), (4, 0, 4), (4, 40.5, 4)])
def test_steps_must_be_whole_numbers_one_per_stretch(steps: Any) -> None:
    with pytest.raises(ValueError, match="whole numbers"):
        balance(steps)


def test_stretches_must_have_eight_numbers() -> None:
    with pytest.raises(ValueError, match="eight numbers"):
        balance(segments=np.ones((3, 7)))


def test_a_search_needs_a_dryness_between_nothing_and_all() -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        yankee.speed_for_dryness(1.0, 5.0, 60.0, **without("yankee_speed"))
    with pytest.raises(ValueError, match="lowest < highest"):
        yankee.speed_for_dryness(0.95, 60.0, 5.0, **without("yankee_speed"))
