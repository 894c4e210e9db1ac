"""The press model: what it must obey, its march against an integrator, its calibration, worked examples."""

from __future__ import annotations

import tomllib
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from thinstock.relations import economics, nip, pressing
from thinstock.words import units

NU = 0.658e-6
M0 = 1.0 / 0.15 - 1.0
MIDDLES = (np.arange(400) + 0.5) / 400
press = pressing.moisture_pressed_decreasing_permeability


def dryness(
    line_load: float,
    rewet: float,
    *,
    grammage: float = 0.015,
    speed: float = 30.0,
    moisture: float = M0,
    viscosity: float = NU,
    permeability: float = 9.45e-15,
    exponent: float = 3.0,
    equilibrium: float = 0.0,
    sides: int = 1,
) -> float:
    impulse = nip.impulse(line_load, speed)
    driest = press(moisture, impulse, grammage, viscosity, permeability, exponent, equilibrium, sides)
    out = pressing.moisture_ratio_rewetted(driest, rewet, grammage)
    return float(pressing.dryness_from_moisture_ratio(out))


# --- what the closed form must obey

nips = st.fixed_dictionaries(
    {
        "moisture_ratio": st.floats(0.8, 8.0),
        "press_impulse": st.floats(300.0, 2e4),
        "grammage": st.floats(0.010, 0.060),
        "kinematic_viscosity": st.floats(4e-7, 1e-6),
        "specific_permeability": st.floats(1e-15, 1e-13),
        "permeability_exponent": st.floats(0.5, 8.0),
        "equilibrium_moisture": st.floats(0.0, 0.9),
        "felted_sides": st.sampled_from([1, 2]),
    }
)


@given(case=nips)
def test_a_nip_never_leaves_the_sheet_wetter_nor_drier_than_its_equilibrium(case: dict[str, float]) -> None:
    pressed = press(**case)
    assert min(case["moisture_ratio"], case["equilibrium_moisture"]) <= pressed <= case["moisture_ratio"]


@given(case=nips, more=st.floats(1.01, 3.0))
def test_more_impulse_dries_more_weight_and_cold_water_dry_less(case: dict[str, float], more: float) -> None:
    def changed(word: str) -> float:
        return float(press(**{**case, word: case[word] * more}))

    pressed = press(**case)
    assert changed("press_impulse") <= pressed <= changed("grammage")
    assert pressed <= changed("kinematic_viscosity")


@given(case=nips, share=st.floats(0.05, 0.95))
def test_one_impulse_split_over_two_nips_gives_the_same_moisture(case: dict[str, float], share: float) -> None:
    first = press(**{**case, "press_impulse": share * case["press_impulse"]})
    both = press(**{**case, "moisture_ratio": first, "press_impulse": (1 - share) * case["press_impulse"]})
    assert both == pytest.approx(press(**case), rel=1e-9)


@given(case=nips)
def test_two_felts_act_as_four_times_the_impulse(case: dict[str, float]) -> None:
    two = press(**{**case, "felted_sides": 2})
    four = press(**{**case, "felted_sides": 1, "press_impulse": 4 * case["press_impulse"]})
    assert two == pytest.approx(four, rel=1e-12)


def test_a_vanishing_exponent_is_a_plain_exponential() -> None:
    permeability, equilibrium = 1e-16, 0.4
    limit = equilibrium + (4.0 - equilibrium) * np.exp(-permeability * 3000.0 / (NU * 0.015**2))
    assert press(4.0, 3000.0, 0.015, NU, permeability, 1e-7, equilibrium, 1) == pytest.approx(limit, rel=1e-6)


def test_a_hard_nip_forgets_the_ingoing_moisture() -> None:
    limit = pressing.moisture_pressed_flow_limit(3000.0, 0.015, NU, 1e-14, 3.0, 1)
    far = press(np.array([4.0, 10.0, 100.0]), 3000.0, 0.015, NU, 1e-14, 3.0, 0.0, 1)
    assert np.all(np.diff(np.abs(far - limit)) < 0.0)
    assert far[2] == pytest.approx(limit, rel=1e-5)


# --- the march through a profile

SHAPES = {
    "ellipse": nip.profile_ellipse(MIDDLES),
    "parabola": nip.profile_parabola(MIDDLES),
    "quartic": nip.profile_quartic(MIDDLES),
    "shoe": nip.profile_shoe(MIDDLES, 0.85, 2.5),
    "lumpy": np.where(np.sin(40 * MIDDLES) > 0.0, 3.0 * MIDDLES, 0.0),
}


def march(shape: np.ndarray, retained: float, **other: float) -> pressing.PressedProfile:
    case = {
        "moisture_ratio": M0,
        "line_load": 90e3,
        "speed": 30.0,
        "nip_width": 0.045,
        "exponent": 1.0,
        **other,
    }
    return pressing.moisture_pressed_profile(
        case["moisture_ratio"],
        case["line_load"],
        case["speed"],
        case["nip_width"],
        shape,
        0.015,
        NU,
        case.get("permeability", 8.8e-14),
        case["exponent"],
        retained,
        1e5,
        0.2,
        1,
    )


@pytest.mark.parametrize("name", SHAPES)
def test_without_equilibrium_moisture_only_the_impulse_counts(name: str) -> None:
    closed = press(M0, 3000.0, 0.015, NU, 8.8e-14, 1.0, 0.0, 1)
    assert march(SHAPES[name], 0.0).moisture_ratio_pressed == pytest.approx(closed, rel=1e-12)


@pytest.mark.parametrize(
    ("shape", "other", "wanted", "within"),
    (
        ("parabola", {}, 1.19932, 2e-5),
        (
            "shoe2",
            {"line_load": 170e3, "nip_width": 0.080, "permeability": 1.2e-13, "exponent": 3.0},
            1.07654,
            4e-5,
        ),
    ),
)
def test_the_march_agrees_with_an_adaptive_integrator(
    shape: str, other: dict[str, float], wanted: float, within: float
) -> None:
    def profile(s: float) -> float:
        return float(nip.profile_shoe(s, 0.85, 2.0) if shape == "shoe2" else nip.profile_parabola(s))

    load, width = other.get("line_load", 90e3), other.get("nip_width", 0.045)
    permeability, n = other.get("permeability", 8.8e-14), other.get("exponent", 1.0)

    def slope(s: float, moisture: np.ndarray) -> np.ndarray:
        p = load / width * profile(s)
        bound = 1.3 * (p / 1e5) ** -0.2 if p > 0.0 else np.inf
        above = np.maximum(moisture - bound, 0.0)
        return -permeability * above ** (n + 1) * p / (NU * 0.015**2) * width / 30.0

    exact = solve_ivp(slope, (0.0, 1.0), [M0], method="LSODA", rtol=1e-9, atol=1e-11, max_step=5e-3).y[0, -1]
    cells = np.array([profile(s) for s in MIDDLES])
    found = march(cells, 1.3, **other)
    assert exact == pytest.approx(wanted, abs=within)
    assert found.moisture_ratio_pressed == pytest.approx(wanted, abs=within)
    assert 0.9 < found.stop_position < 1.0


def test_fifty_cells_are_nearly_as_good_as_four_hundred() -> None:
    few = nip.profile_parabola((np.arange(50) + 0.5) / 50)
    difference = march(few, 1.3).moisture_ratio_pressed - march(SHAPES["parabola"], 1.3).moisture_ratio_pressed
    assert abs(difference) < 4e-4


def test_profiles_of_many_nips_are_those_of_each() -> None:
    loads, shapes = np.array([60e3, 90e3, 120e3]), np.stack([SHAPES[k] for k in ("ellipse", "shoe", "lumpy")])
    many = march(shapes, 1.3, line_load=loads)  # type: ignore[arg-type]
    for k, load in enumerate(loads):
        alone = march(shapes[k], 1.3, line_load=load)
        assert many.moisture_ratio_pressed[k] == pytest.approx(alone.moisture_ratio_pressed, rel=1e-13)
        assert many.stop_position[k] == alone.stop_position


def test_a_sheet_at_its_equilibrium_passes_unchanged_and_stops_at_once() -> None:
    found = march(SHAPES["parabola"], 1.3, moisture_ratio=0.5)
    assert found == (0.5, 0.0)


# --- what holds a nip back, and the way back


@given(driest=st.floats(0.9, 3.0), rewet=st.floats(0.0, 0.01), bound=st.floats(0.0, 0.9))
def test_the_three_shares_add_up_to_one(driest: float, rewet: float, bound: float) -> None:
    parts = (
        pressing.moisture_share_flow(driest, rewet, 0.015, bound),
        pressing.moisture_share_equilibrium(driest, rewet, 0.015, bound),
        pressing.moisture_share_rewet(driest, rewet, 0.015),
    )
    assert sum(parts) == pytest.approx(1.0, rel=1e-12)


@given(case=nips, rewet=st.floats(0.0, 0.008))
def test_permeability_there_and_back_again(case: dict[str, float], rewet: float) -> None:
    driest = press(**case)
    if driest < 1.02 * case["equilibrium_moisture"] or driest > 0.98 * case["moisture_ratio"]:
        return
    out = pressing.dryness_from_moisture_ratio(pressing.moisture_ratio_rewetted(driest, rewet, case["grammage"]))
    found = pressing.specific_permeability_from_dryness(
        pressing.dryness_from_moisture_ratio(case["moisture_ratio"]),
        out,
        case["press_impulse"],
        case["grammage"],
        case["kinematic_viscosity"],
        case["permeability_exponent"],
        case["equilibrium_moisture"],
        rewet,
        case["felted_sides"],
    )
    assert found == pytest.approx(case["specific_permeability"], rel=1e-6)


def test_a_dryness_that_no_permeability_explains_is_not_a_number() -> None:
    wetter, all_rewet = 0.14, 0.60
    found = pressing.specific_permeability_from_dryness(
        0.15,
        np.array([wetter, all_rewet, 0.395]),
        3000.0,
        0.015,
        NU,
        3.0,
        0.0,
        np.array([0.0, 0.012, 0.005]),
        1,
    )
    assert np.isnan(found[:2]).all()
    assert np.isfinite(found[2])


def test_speed_gain_and_drying_load_are_one_arithmetic() -> None:
    change = pressing.drying_load_change(0.40, 0.41, 0.94)
    gain = economics.speed_gain_dryer_limited(0.40, 0.41, 0.94)
    assert gain == pytest.approx(-change / (1 + change), rel=1e-12)


# --- calibration: fix the exponent, fit permeability and rewet, insist on a grammage step

TRIALS = {
    "dryness_in": 0.15,
    "dryness_out": np.array([0.3936, 0.4080, 0.4161, 0.3641, 0.3802, 0.3894]),
    "press_impulse": np.array([70e3, 90e3, 90e3, 70e3, 90e3, 90e3]) / np.array([30, 30, 26, 30, 30, 26]),
    "grammage": np.array([0.012, 0.012, 0.012, 0.018, 0.018, 0.018]),
    "kinematic_viscosity": NU,
    "dryness_deviation": 0.006,
    "permeability_exponent": 3.0,
    "equilibrium_moisture": 0.0,
    "felted_sides": 1,
}


def trials(**changed: object) -> dict[str, object]:
    return {**TRIALS, **changed}


def made(grammage: np.ndarray, permeability: float, rewet: float, exponent: float = 3.0) -> np.ndarray:
    driest = press(M0, TRIALS["press_impulse"], grammage, NU, permeability, exponent, 0.0, 1)
    return 1.0 / (1.0 + driest + rewet / grammage)


def test_the_calibration_finds_what_the_trials_were_made_with() -> None:
    fit = pressing.fit_permeability_rewet(**TRIALS)  # type: ignore[arg-type]
    assert fit.specific_permeability == pytest.approx(9.44e-15, rel=0.005)
    assert fit.rewet == pytest.approx(4.99e-3, abs=0.03e-3)
    assert fit.ln_deviation == pytest.approx(0.127, rel=0.02)
    assert fit.rewet_deviation == pytest.approx(0.69e-3, rel=0.02)
    assert fit.correlation == pytest.approx(0.948, rel=0.02)
    assert fit.degrees_of_freedom == 4
    assert fit.grammage_step == pytest.approx(1.5)
    assert np.abs(fit.residuals).max() < 1e-4
    assert not fit.rewet_at_bound
    assert "usable" in pressing.press_fit_verdict(fit, 0.006)


def test_exact_trials_are_fitted_exactly() -> None:
    fit = pressing.fit_permeability_rewet(
        **trials(dryness_out=made(TRIALS["grammage"], 2e-14, 0.004))  # type: ignore[arg-type]
    )
    assert fit.specific_permeability == pytest.approx(2e-14, rel=1e-7)
    assert fit.rewet == pytest.approx(0.004, abs=1e-9)


def test_predictions_need_the_joint_covariance() -> None:
    fit = pressing.fit_permeability_rewet(**TRIALS)  # type: ignore[arg-type]
    step, grammage = 1e-6, 0.015

    def predicted(ln_permeability: float, rewet: float) -> float:
        return dryness(90e3, rewet, permeability=float(np.exp(ln_permeability)), grammage=grammage)

    at = (np.log(fit.specific_permeability), fit.rewet)
    slope = np.array(
        [
            (predicted(at[0] + step, at[1]) - predicted(at[0] - step, at[1])) / (2 * step),
            (predicted(at[0], at[1] + step) - predicted(at[0], at[1] - step)) / (2 * step),
        ]
    )
    joint = float(np.sqrt(slope @ fit.covariance() @ slope))
    apart = float(np.hypot(slope[0] * fit.ln_deviation, slope[1] * fit.rewet_deviation))
    assert joint < 0.5 * apart


@pytest.mark.parametrize(
    ("changed", "named", "said"),
    (
        ({"grammage": np.full(6, 0.015)}, "grammage", "no grammage step"),
        ({"grammage": np.array([0.012, 0.012, 0.012, 0.015, 0.015, 0.015])}, "grammage", "1.30"),
        (
            {
                "dryness_out": TRIALS["dryness_out"][1:4],
                "press_impulse": 3000.0,
                "grammage": [0.012, 0.012, 0.018],
            },
            "trials",
            "at least 4",
        ),
        ({"equilibrium_moisture": 1.6}, "dryness_out", "equilibrium"),
        ({"dryness_in": 0.39}, "dryness_out[3]", "above dryness_in"),
        ({"dryness_deviation": 0.0}, "dryness_deviation", "above 0"),
        ({"permeability_exponent": None}, "permeability_exponent", "never fitted"),
        ({"permeability_exponent": -1.0}, "permeability_exponent", "above 0"),
    ),
)
def test_trials_that_cannot_tell_are_refused(changed: dict[str, object], named: str, said: str) -> None:
    with pytest.raises(ValueError) as refused:
        pressing.fit_permeability_rewet(**trials(**changed))  # type: ignore[arg-type]
    assert named in str(refused.value)
    assert said in str(refused.value)


def test_a_step_of_just_thirty_per_cent_is_accepted() -> None:
    grammage = np.array([0.012, 0.012, 0.012, 0.0156, 0.0156, 0.0156])
    fit = pressing.fit_permeability_rewet(
        **trials(grammage=grammage, dryness_out=made(grammage, 9.45e-15, 0.005))  # type: ignore[arg-type]
    )
    assert fit.rewet == pytest.approx(0.005, abs=1e-8)


def test_a_larger_grammage_step_tells_the_rewet_better() -> None:
    found = []
    for step in (1.3, 1.5, 2.0):
        grammage = np.repeat([0.012, 0.012 * step], 3)
        fit = pressing.fit_permeability_rewet(
            **trials(grammage=grammage, dryness_out=made(grammage, 9.45e-15, 0.005))  # type: ignore[arg-type]
        )
        found.append(1e3 * fit.rewet_deviation)
    assert found[0] > found[1] > found[2]
    assert found == pytest.approx([1.05, 0.72, 0.50], rel=0.10)  # with a deviation of 0.6 point, 6 to 8 trials


def test_trials_that_want_less_than_no_rewet_are_held_at_none() -> None:
    grammage = TRIALS["grammage"]
    without = 1.0 / (1.0 / made(grammage, 9.45e-15, 0.0) + 0.002 / grammage)
    wanted = 1.0 / (1.0 / without - 0.004 / grammage)
    fit = pressing.fit_permeability_rewet(**trials(dryness_out=wanted))  # type: ignore[arg-type]
    assert fit.rewet_at_bound
    assert fit.rewet == 0.0
    assert fit.degrees_of_freedom == 5
    assert "not identified" in pressing.press_fit_verdict(fit, 0.006)


def test_a_wrong_exponent_hides_in_the_rewet() -> None:
    grammage = TRIALS["grammage"]
    for exponent, wanted in ((2.5, 3.6), (3.5, 6.1)):
        permeability = pressing.specific_permeability_from_dryness(
            0.15, 0.395, 3000.0, 0.015, NU, exponent, 0.0, 0.005, 1
        )
        out = made(grammage, permeability, 0.005, exponent)
        fit = pressing.fit_permeability_rewet(**trials(dryness_out=out))  # type: ignore[arg-type]
        assert 1e3 * fit.rewet == pytest.approx(wanted, abs=0.35)
        assert np.sqrt(np.mean(fit.residuals**2)) < 0.0015  # nothing in the residuals gives it away
    lower, given_exponent, higher = pressing.press_fits_at_exponents(**TRIALS)  # type: ignore[arg-type]
    assert lower.rewet > given_exponent.rewet > higher.rewet
    assert (lower.permeability_exponent, higher.permeability_exponent) == (2.5, 3.5)


def test_one_trial_and_a_given_rewet_fix_the_permeability() -> None:
    one = trials(dryness_out=0.395, press_impulse=3000.0, grammage=0.015)
    fit = pressing.fit_permeability(**one, rewet=0.005)  # type: ignore[arg-type]
    exact = [
        pressing.specific_permeability_from_dryness(0.15, 0.395, 3000.0, 0.015, NU, 3.0, 0.0, rewet, 1)
        for rewet in (0.003, 0.005, 0.007)
    ]
    got = [fit.specific_permeability_low, fit.specific_permeability, fit.specific_permeability_high]
    assert got == pytest.approx(exact, rel=1e-8)
    assert fit.degrees_of_freedom == 0
    assert "as given" in pressing.press_fit_verdict(fit, 0.006)


def test_a_given_rewet_that_is_more_than_all_the_water_is_refused() -> None:
    with pytest.raises(ValueError, match="rewet = 25"):
        pressing.fit_permeability(
            **trials(dryness_out=0.395, press_impulse=3000.0, grammage=0.015),
            rewet=0.025,  # type: ignore[arg-type]
        )


def test_a_permeability_without_end_is_an_error_that_carries_the_best() -> None:
    out = np.array([0.760, 0.745])  # with this rewet the first row has less than no water left
    with pytest.raises(pressing.NotSettled) as error:
        pressing.fit_permeability(
            **trials(dryness_out=out, press_impulse=3000.0, grammage=0.015),
            rewet=0.005,  # type: ignore[arg-type]
        )
    assert 1e-12 < error.value.best[0] < 1e-2


def test_the_verdict_names_trials_far_off_and_drops_none() -> None:
    out = TRIALS["dryness_out"].copy()
    out[2] += 0.03
    fit = pressing.fit_permeability_rewet(**trials(dryness_out=out))  # type: ignore[arg-type]
    text = pressing.press_fit_verdict(fit, 0.004)
    assert "trial 3: +" in text
    assert fit.residuals.size == 6


# --- worked examples, uncalibrated: 15 g/m², 1800 m/min, 40 °C, 15 % into the nip


@pytest.mark.parametrize(
    ("line_load", "rewet", "wanted"),
    (
        (80e3, 5e-3, 38.76),
        (90e3, 5e-3, 39.49),
        (100e3, 5e-3, 40.14),
        (150e3, 3e-3, 45.19),
        (170e3, 3e-3, 46.05),
        (200e3, 3e-3, 47.16),
    ),
)
def test_worked_dryness_of_one_nip(line_load: float, rewet: float, wanted: float) -> None:
    assert 100 * dryness(line_load, rewet) == pytest.approx(wanted, abs=0.02)


def test_a_second_nip_is_rewetted_a_second_time() -> None:
    first = dryness(90e3, 5e-3)
    second = dryness(90e3, 5e-3, moisture=1.0 / first - 1.0)
    assert 100 * second == pytest.approx(41.88, abs=0.02)


@pytest.mark.parametrize(
    ("changed", "gain"),
    (
        ({"viscosity": 0.554e-6}, 1.06),
        ({"line_load": 100e3}, 0.65),
        ({"rewet": 4e-3}, 1.07),
        ({"permeability": 1.2 * 9.45e-15}, 1.12),
        ({"permeability": 0.8 * 9.45e-15}, -1.38),
        ({"moisture": 4.0}, 0.11),
    ),
)
def test_worked_sensitivities_of_a_roll_nip(changed: dict[str, float], gain: float) -> None:
    case = {"line_load": 90e3, "rewet": 5e-3}
    moved = dryness(**{**case, **changed}) - dryness(**case)  # type: ignore[arg-type]
    assert 100 * moved == pytest.approx(gain, abs=0.02)


def test_what_a_shoe_gains_is_part_impulse_part_rewet() -> None:
    roll, shoe = dryness(90e3, 5e-3), dryness(170e3, 3e-3)
    by_impulse = dryness(170e3, 5e-3) - roll
    assert 100 * (shoe - roll) == pytest.approx(6.6, abs=0.06)
    assert 100 * by_impulse == pytest.approx(3.9, abs=0.06)
    assert 100 * (shoe - roll - by_impulse) == pytest.approx(2.7, abs=0.06)


def heavy(*nip_list: tuple[float, float, int]) -> list[float]:
    """Dryness in per cent after each of some nips (line load, width, felted sides) on a heavy sheet."""
    moisture, found = 1.0 / 0.22 - 1.0, []
    for line_load, width, sides in nip_list:
        bound = pressing.equilibrium_moisture_power_law(1.3, nip.pressure_mean(line_load, width), 1e5, 0.2)
        impulse = nip.impulse(line_load, 12.0)
        driest = press(moisture, impulse, 0.160, 0.554e-6, 1.88e-13, 3.0, bound, sides)
        moisture = pressing.moisture_ratio_rewetted(driest, 8e-3, 0.160)
        found.append(float(100 * pressing.dryness_from_moisture_ratio(moisture)))
    return found


def test_worked_heavier_grade() -> None:
    rolls = heavy((90e3, 0.045, 2), (120e3, 0.045, 2), (150e3, 0.040, 1))
    shoes = heavy((1000e3, 0.25, 2), (1200e3, 0.25, 2))
    assert rolls == pytest.approx([37.10, 40.68, 40.95], abs=0.02)
    assert shoes == pytest.approx([47.76, 50.12], abs=0.02)


def test_without_equilibrium_moisture_a_shoe_on_a_heavy_sheet_promises_too_much() -> None:
    impulse = nip.impulse(1000e3, 12.0)
    driest = press(1.0 / 0.22 - 1.0, impulse, 0.160, 0.554e-6, 1.88e-13, 3.0, 0.0, 2)
    free = 1.0 / (1.0 + driest + 8e-3 / 0.160)
    assert 100 * free > heavy((1000e3, 0.25, 2))[0] + 5.0


# --- library


def test_the_tissue_set_of_the_library_meets_its_anchor() -> None:
    sets = tomllib.loads(files("thinstock").joinpath("library/press_models.toml").read_text(encoding="utf-8"))
    tissue, rewet = sets["tissue, virgin kraft"], sets["rewet"]["roll on Yankee"]["value"]
    out = dryness(
        90e3,
        units.parse(rewet, "grammage"),
        permeability=units.parse(tissue["specific_permeability"]["value"], "coarseness"),
        exponent=float(tissue["permeability_exponent"]["value"]),
    )
    assert 100 * out == pytest.approx(39.5, abs=0.05)


@pytest.mark.parametrize("name", ("press_models", "felts", "covers", "circulation"))
def test_every_library_value_says_its_status_and_its_unit(name: str) -> None:
    sources = tomllib.loads(files("thinstock.words").joinpath("sources.toml").read_text(encoding="utf-8"))
    table = tomllib.loads(files("thinstock").joinpath(f"library/{name}.toml").read_text(encoding="utf-8"))
    for head, rows in table.items():
        for word, entry in rows.items():
            if word == "description":
                continue
            assert entry["status"] in ("published", "from memory", "derived", "common practice", "assumed")
            assert entry["source"] in sources, f"{head}.{word}"
            numbers = [entry[k] for k in ("low", "value", "high") if k in entry]
            assert numbers, f"{head}.{word} holds no number"
            for text in numbers:
                number, _, unit = text.partition(" ")
                assert np.isfinite(float(number))
                assert not unit or units.find(unit) is not None, f"{head}.{word}: {text}"
            assert [float(t.split()[0]) for t in numbers] == sorted(float(t.split()[0]) for t in numbers)
