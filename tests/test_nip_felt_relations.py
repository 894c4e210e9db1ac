"""The nip with its felt: its search against an integrator and a bracket, its limits, and which way things move."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from thinstock.formula.label import worksheet
from thinstock.relations import felt, felt_loop, mat, nip, pressing, swelling

NU = 0.658e-6
press = pressing.moisture_pressed_felt
closed = pressing.moisture_pressed_decreasing_permeability

nips = st.fixed_dictionaries(
    {
        "moisture_ratio": st.floats(1.5, 8.0),
        "press_impulse": st.floats(300.0, 2e4),
        "grammage": st.floats(0.010, 0.060),
        "kinematic_viscosity": st.floats(4e-7, 1e-6),
        "specific_permeability": st.floats(-14.0, -12.5).map(lambda x: 10.0**x),
        "permeability_exponent": st.floats(1.0, 4.0),
        "equilibrium_moisture": st.floats(0.0, 0.9),
        "felted_sides": st.sampled_from([1, 2]),
        "felt_resistance": st.floats(7.5, 10.5).map(lambda x: 10.0**x),
        "felt_room": st.one_of(st.just(0.0), st.floats(1e-3, 0.3)),
    }
)
WEB = ("grammage", "kinematic_viscosity", "specific_permeability", "permeability_exponent", "equilibrium_moisture")


def spent(case: dict[str, float], pressed: float) -> tuple[float, float]:
    """Impulse in web and in one felt on the way to `pressed`."""
    web = pressing.impulse_spent_in_web(
        case["moisture_ratio"], pressed, *(case[word] for word in WEB), case["felted_sides"]
    )
    water = case["grammage"] / case["felted_sides"] * (case["moisture_ratio"] - pressed)
    through = pressing.impulse_spent_in_felt(
        water, case["kinematic_viscosity"], case["felt_resistance"], case["felt_room"]
    )
    return float(web), float(through)


def without_felt(case: dict[str, float]) -> float:
    return float(closed(**{word: value for word, value in case.items() if not word.startswith("felt_")}))


# --- the search


@given(case=nips)
def test_web_and_felt_together_take_the_whole_impulse(case: dict[str, float]) -> None:
    assert sum(spent(case, float(press(**case)))) == pytest.approx(case["press_impulse"], rel=1e-9)


@given(case=nips)
def test_the_search_finds_what_a_bracket_finds(case: dict[str, float]) -> None:
    low = case["equilibrium_moisture"] + 1e-3
    if sum(spent(case, low)) < case["press_impulse"]:
        low = case["equilibrium_moisture"] + 1e-9
    found = brentq(lambda m: sum(spent(case, m)) - case["press_impulse"], low, case["moisture_ratio"], xtol=1e-13)
    assert press(**case) == pytest.approx(found, abs=1e-10)


@pytest.mark.parametrize(("resistance", "room"), ((3.1e8, 0.17), (1e10, 0.17), (1e10, 0.03), (3e10, 0.0)))
def test_the_nip_is_the_integral_of_its_rate(resistance: float, room: float) -> None:
    """dM/dJ with the felt's resistance growing as it fills."""
    w, a, n, bound, start = 0.015, 2.63e-14, 3.0, 0.344, 1.0 / 0.15 - 1.0

    def rate(_: float, state: np.ndarray) -> list[float]:
        x = state[0] - bound
        filled = 1.0 if room == 0.0 else min(1.0, w * (start - state[0]) / room)
        return [-1.0 / (NU * w * w / (a * x ** (n + 1.0)) + NU * w * resistance * filled)]

    run = solve_ivp(rate, (0.0, 3000.0), [start], method="DOP853", rtol=1e-11, atol=1e-12, max_step=10.0)
    assert press(start, 3000.0, w, NU, a, n, bound, 1, resistance, room) == pytest.approx(run.y[0, -1], abs=1e-6)


def test_the_search_is_right_far_outside_its_usual_range() -> None:
    generator = np.random.default_rng(7)
    many = 20000

    def between(low: float, high: float) -> np.ndarray:
        return np.exp(generator.uniform(np.log(low), np.log(high), many))

    case = {
        "moisture_ratio": between(1.2, 8.0),
        "press_impulse": between(200.0, 2e4),
        "grammage": between(0.010, 0.170),
        "kinematic_viscosity": NU,
        "specific_permeability": between(1e-16, 1e-11),
        "permeability_exponent": generator.uniform(0.5, 8.0, many),
        "equilibrium_moisture": generator.uniform(0.0, 0.9, many),
        "felted_sides": generator.integers(1, 3, many),
        "felt_resistance": between(1e6, 1e13),
        "felt_room": generator.uniform(0.0, 0.3, many) * (generator.random(many) > 0.2),
    }
    pressed = press(**case)
    web = pressing.impulse_spent_in_web(
        case["moisture_ratio"], pressed, *(case[word] for word in WEB), case["felted_sides"]
    )
    water = case["grammage"] / case["felted_sides"] * (case["moisture_ratio"] - pressed)
    through = pressing.impulse_spent_in_felt(water, NU, case["felt_resistance"], case["felt_room"])
    assert np.max(np.abs((web + through) / case["press_impulse"] - 1.0)) < 1e-6


def test_cases_side_by_side_are_those_of_each() -> None:
    resistances, rooms = np.array([0.0, 1e9, 1e10, 1e10]), np.array([0.1, 0.1, 0.03, 0.0])
    moistures = np.array([5.0, 0.3, 5.0, 5.0])
    fixed = (3000.0, 0.015, NU, 2.63e-14, 3.0, 0.344, 1)
    together = press(moistures, *fixed, resistances, rooms)
    for k in range(4):
        assert together[k] == pytest.approx(float(press(moistures[k], *fixed, resistances[k], rooms[k])), rel=1e-13)


def test_one_use_of_the_search_is_one_step_of_a_worksheet() -> None:
    with worksheet() as sheet:
        press(5.6666667, 3000.0, 0.015, NU, 2.63e-14, 3.0, 0.344, 1, 3.1e8, 0.17)
    assert [step.label.name for step in sheet.steps] == ["nip_felt.moisture_pressed_felt"]


# --- limits


@given(case=nips)
def test_a_felt_without_resistance_is_the_closed_form(case: dict[str, float]) -> None:
    assert press(**{**case, "felt_resistance": 0.0}) == pytest.approx(without_felt(case), rel=1e-12)


@given(case=nips)
def test_no_impulse_leaves_the_sheet_as_it_came(case: dict[str, float]) -> None:
    assert press(**{**case, "press_impulse": 0.0}) == pytest.approx(case["moisture_ratio"], rel=1e-12)


@given(case=nips)
def test_a_nip_leaves_the_sheet_between_its_equilibrium_and_what_came(case: dict[str, float]) -> None:
    pressed = float(press(**case))
    bound = case["equilibrium_moisture"]
    assert bound < pressed <= case["moisture_ratio"]
    assert pressed >= without_felt(case) * (1.0 - 1e-12)


@given(case=nips)
def test_two_felts_are_half_the_sheet(case: dict[str, float]) -> None:
    both = press(**{**case, "felted_sides": 2})
    half = press(**{**case, "felted_sides": 1, "grammage": case["grammage"] / 2.0})
    assert both == pytest.approx(float(half), rel=1e-12)


@given(water=st.floats(0.01, 0.1), resistance=st.floats(1e8, 1e10))
def test_water_that_just_fills_the_felt_has_half_its_way_to_go(water: float, resistance: float) -> None:
    """Much room is next to no way, no room is all of it."""
    whole = NU * resistance * water
    assert pressing.impulse_spent_in_felt(water, NU, resistance, water) == pytest.approx(whole / 2.0, rel=1e-12)
    assert pressing.impulse_spent_in_felt(water, NU, resistance, 0.0) == pytest.approx(whole, rel=1e-12)
    assert pressing.impulse_spent_in_felt(water, NU, resistance, 1e6 * water) < 1e-6 * whole


def test_a_clean_felt_takes_next_to_nothing_of_the_impulse() -> None:
    """2.5 of 3000 Pa s; a felt plugged to 1e10 1/m costs 0.1 point with room and 0.7 when full."""
    start, fixed = 1.0 / 0.15 - 1.0, (3000.0, 0.015, NU, 2.63e-14, 3.0, 0.344, 1)

    def dry(resistance: float, room: float) -> float:
        return float(100.0 / (1.0 + press(start, *fixed, resistance, room) + 5.0 / 15.0))

    clean = dry(3.1e8, 0.17)
    assert dry(0.0, 0.17) - clean < 0.005
    assert clean - dry(1e10, 0.17) == pytest.approx(0.1, abs=0.05)
    assert clean - dry(1e10, 0.0) == pytest.approx(0.7, abs=0.05)


# --- directions


@given(case=nips, more=st.floats(1.05, 3.0))
def test_what_leaves_the_sheet_wetter_and_what_drier(case: dict[str, float], more: float) -> None:
    def changed(word: str, factor: float = more) -> float:
        return float(press(**{**case, word: case[word] * factor}))

    pressed, hair = float(press(**case)), 1e-9
    for word in ("moisture_ratio", "grammage", "kinematic_viscosity", "felt_resistance", "equilibrium_moisture"):
        assert changed(word) >= pressed - hair, word
    for word in ("press_impulse", "specific_permeability", "felt_room"):
        assert changed(word) <= pressed + hair, word


@given(
    impulse=st.floats(1000.0, 1e4),
    rewet=st.floats(2e-3, 8e-3),
    permeability=st.floats(8e-15, 1.5e-13),
    exponent=st.floats(1.0, 4.0),
    away=st.floats(1.05, 2.0),
)
def test_no_other_weight_leaves_the_nip_drier(
    impulse: float, rewet: float, permeability: float, exponent: float, away: float
) -> None:
    best = float(pressing.grammage_driest(rewet, impulse, NU, permeability, exponent))

    def wet(grammage: float) -> float:
        flow = pressing.moisture_pressed_flow_limit(impulse, grammage, NU, permeability, exponent, 1)
        return float(pressing.moisture_ratio_rewetted(flow, rewet, grammage))

    assert wet(best) < min(wet(best * away), wet(best / away))


# --- pressure that counts

PLACES = (np.arange(200000) + 0.5) / 200000


@pytest.mark.parametrize(
    ("shape", "peak"), ((nip.profile_ellipse, 4.0 / np.pi), (nip.profile_parabola, 1.5), (nip.profile_quartic, 1.875))
)
def test_weighted_pressure_of_a_roll_is_the_integral_of_its_profile(shape: object, peak: float) -> None:
    along = shape(PLACES)  # type: ignore[operator]
    wanted = np.mean(along**2) / np.mean(along)
    assert pressing.pressure_weighted_roll(1e6, peak) == pytest.approx(1e6 * wanted, rel=1e-6)


@given(position=st.floats(0.6, 0.92), tilt=st.floats(0.02, 0.6))
def test_weighted_pressure_of_a_shoe_is_the_integral_of_its_profile(position: float, tilt: float) -> None:
    low, high = 2.0 / (1.0 + position), 2.0 / (1.0 - position)
    ratio = low + tilt * (min(high, 3.5) - low)
    along = nip.profile_shoe(PLACES, position, ratio)
    wanted = np.mean(along**2) / np.mean(along)
    assert pressing.pressure_weighted_shoe(1e6, position, ratio) == pytest.approx(1e6 * wanted, rel=2e-4)


SHAPES = (("roll", 0.045, 90e3), ("roll", 0.040, 60e3), ("shoe", 0.08, 120e3), ("shoe", 0.08, 200e3))


@pytest.mark.parametrize(("kind", "width", "load"), SHAPES)
def test_weighted_pressure_spares_the_march_through_the_nip(kind: str, width: float, load: float) -> None:
    """Within 0.17 point of the march (n 3, all of the equilibrium moisture); the mean pressure is far too wet."""
    if kind == "roll":
        shape = nip.profile_parabola((np.arange(2000) + 0.5) / 2000)
        weighted = float(pressing.pressure_weighted_roll(load / width, 1.5))
    else:
        shape = nip.profile_shoe((np.arange(2000) + 0.5) / 2000, 0.85, 2.0)
        weighted = float(pressing.pressure_weighted_shoe(load / width, 0.85, 2.0))
    start, a = 4.0, 1.24010e-13

    def dry(pressed: float) -> float:
        return 100.0 / (1.0 + pressed + 1.0 / 3.0)

    def by(pressure: float) -> float:
        bound = pressing.equilibrium_moisture_power_law(1.3, pressure, 1e5, 0.2)
        return dry(float(closed(start, load / 30.0, 0.015, NU, a, 3.0, bound, 1)))

    marched = pressing.moisture_pressed_profile(
        start, load, 30.0, width, shape, 0.015, NU, a, 3.0, 1.3, 1e5, 0.2, 1
    ).moisture_ratio_pressed
    exact = dry(float(marched))
    assert abs(by(weighted) - exact) < 0.17
    assert 0.3 < exact - by(load / width) < 1.6


# --- what comes back


def test_rewet_is_what_was_read_at_its_own_contact_time_and_felt_water() -> None:
    contact = pressing.contact_time_after_peak(0.5, 0.045, 30.0)
    assert pressing.rewet_at_dwell(5e-3, contact, 0.75e-3, 0.4) == pytest.approx(5e-3, rel=1e-12)
    assert pressing.rewet_of_felt(5e-3, 0.5, 0.5, 1.0) == 5e-3


@given(contact=st.floats(1e-4, 1e-2), share=st.floats(0.0, 1.0))
def test_rewet_by_time_is_the_two_term_form(contact: float, share: float) -> None:
    two = pressing.rewet_two_term(share * 5e-3, (1.0 - share) * 5e-3 / np.sqrt(0.75e-3), contact)
    assert pressing.rewet_at_dwell(5e-3, contact, 0.75e-3, share) == pytest.approx(float(two), rel=1e-12)


@given(case=st.tuples(st.floats(2e-4, 5e-3), st.floats(0.3, 0.6)), more=st.floats(1.05, 2.0))
def test_longer_contact_and_a_wetter_felt_give_more_back(case: tuple[float, float], more: float) -> None:
    contact, water = case
    assert pressing.rewet_at_dwell(5e-3, more * contact, 0.75e-3, 0.4) > pressing.rewet_at_dwell(
        5e-3, contact, 0.75e-3, 0.4
    )
    assert pressing.rewet_of_felt(5e-3, more * water, 0.5, 1.0) > pressing.rewet_of_felt(5e-3, water, 0.5, 1.0)
    assert pressing.rewet_of_felt(5e-3, more * water, 0.5, 0.0) == 5e-3


@given(values=st.tuples(*[st.floats(0.3, 0.5)] * 3))
def test_the_half_range_does_not_mind_the_order(values: tuple[float, float, float]) -> None:
    first = pressing.dryness_form_half_range(*values)
    assert first == pressing.dryness_form_half_range(*values[::-1])
    assert first == pytest.approx((max(values) - min(values)) / 2.0)
    assert pressing.dryness_form_half_range(values[0], values[0], values[0]) == 0.0


# --- felt and nip in one loop: 15 g/m² at 30 m/s, 15 % in, 90 kN/m, boxes 90 mm


def run_of(
    *,
    box: float = 45e3,
    openness: float = 0.6,
    shower: float = 0.06,
    moisture: float = 1.0 / 0.15 - 1.0,
    passes: int = 2,
) -> tuple[float, float]:
    """Dryness after the nip in per cent, and the felt's water into it; nip, rewet and felt in turn."""
    new, density, fibre, carried = 4.5148e7, 992.2, 1140.0, 1.25
    resistance, reference = felt.felt_resistance_aged(new, openness), felt.felt_resistance_aged(new, 0.6)
    squeezed = felt.felt_resistance_squeezed(resistance, 0.38, 0.6)
    free, full = (felt.saturated_ratio_felt(s, fibre, density) for s in (0.38, 0.6))
    end = felt.felt_end_ratio_vacuum(0.42, box, 45e3, 0.3, free)
    tau = felt.felt_time_constant(felt.felt_drain_rate(1.3e-3, box, 45e3, resistance, reference))
    water, pressed, rewet = 0.42, moisture, 0.0
    for _ in range(passes):
        room = felt.felt_room_free(carried, full, water)
        pressed = press(moisture, 3000.0, 0.015, NU, 2.62964e-14, 3.0, 0.344, 1, squeezed, room)
        behind = felt.felt_moisture_ratio_after_nip(carried, water, 0.015, moisture, pressed, full, 0.0)
        rewet = pressing.rewet_of_felt(5e-3, behind, 0.5, 1.0)
        water = felt_loop.felt_loop_steady(
            carried, 0.015, moisture, pressed, rewet, shower, full, end, 3e-3, tau, 0.0, 10.0, 0.0, 1.0
        ).felt_moisture_ratio
    return 100.0 / (1.0 + float(pressed) + float(rewet) / 0.015), float(water)


def test_two_passes_settle_nip_and_felt() -> None:
    for case in ({}, {"box": 20e3}, {"openness": 0.1}, {"shower": 0.15}):
        assert run_of(**case)[0] == pytest.approx(run_of(**case, passes=6)[0], abs=0.005)  # type: ignore[arg-type]


def test_boxes_age_shower_and_dryness_in_reach_the_sheet_through_the_felt() -> None:
    dry, water = run_of()
    assert run_of(box=64e3)[0] > dry > run_of(box=20e3)[0]
    assert run_of(openness=1.0)[0] >= dry > run_of(openness=0.1)[0] > run_of(openness=0.03)[0]
    assert run_of(shower=0.02)[0] > dry > run_of(shower=0.15)[0]
    assert run_of(moisture=3.0)[0] > dry > run_of(moisture=8.0)[0]
    assert run_of(box=64e3)[1] < water < run_of(box=20e3)[1]


def test_boxes_without_vacuum_take_nothing_and_the_felt_goes_full_through_the_nip() -> None:
    dry, water = run_of(box=0.0)
    assert np.isfinite(dry)
    assert water > felt.saturated_ratio_felt(0.6, 1140.0, 992.2)


# --- the felt itself


def test_the_new_felt_by_its_air_test() -> None:
    assert mat.fabric_resistance_air(0.15, 124.5, 1.82e-5, 0.99) == pytest.approx(4.5148e7, rel=2e-5)
    assert mat.fabric_inertia_air(0.15, 124.5, 1.2, 0.99) == pytest.approx(92.2, abs=0.05)
    squeezed = felt.felt_resistance_squeezed(felt.felt_resistance_aged(4.5148e7, 0.6), 0.38, 0.6)
    assert squeezed == pytest.approx(3.04e8, rel=1e-3)


@given(solidity=st.floats(0.45, 0.75), more=st.floats(1.01, 1.2), openness=st.floats(0.1, 0.9))
def test_squeezing_and_age_make_the_felt_resist_more(solidity: float, more: float, openness: float) -> None:
    assert felt.felt_resistance_squeezed(7.5e7, solidity, solidity) == pytest.approx(7.5e7, rel=1e-14)
    looser = felt.felt_resistance_squeezed(7.5e7, 0.38, solidity)
    assert felt.felt_resistance_squeezed(7.5e7, 0.38, more * solidity) > looser > 7.5e7
    assert felt.felt_resistance_aged(4.5e7, openness) > 4.5e7
    assert felt.felt_inertia_aged(92.0, openness) > felt.felt_resistance_aged(92.0, openness)


@given(vacuum=st.floats(1e3, 8e4), more=st.floats(1.01, 3.0))
def test_more_vacuum_leaves_less_in_the_felt_and_takes_it_sooner(vacuum: float, more: float) -> None:
    def end(p: float) -> float:
        return float(felt.felt_end_ratio_vacuum(0.42, p, 45e3, 0.3, 1.431))

    assert end(more * vacuum) <= end(vacuum) <= 1.431
    assert end(45e3) == pytest.approx(0.42, rel=1e-14)
    rates = [float(felt.felt_drain_rate(1.3e-3, p, 45e3, 7.5e7, 7.5e7)) for p in (vacuum, more * vacuum)]
    assert rates[1] > rates[0]
    assert felt.felt_time_constant(rates[0]) == pytest.approx(1.3e-3 * 45e3 / vacuum, rel=1e-12)


# --- two nips worked through, furnish of 520 mL (water retention 1.3568 kg/kg) at 40 °C


@pytest.mark.parametrize(
    ("load", "speed", "roll", "yankee", "grammage", "dry_in", "boxes", "sucked", "wanted"),
    (
        (90e3, 30.0, 1.1, 5.5, 0.01222, 0.1932, 0.090, (40e3, 0.090), (0.3716, 1.159, 4.73e-3, 0.428, 39.3)),
        (60e3, 500 / 60, 1.0, 2.7, 0.01324, 0.2218, 0.025, None, (0.3871, 1.008, 6.72e-3, 0.428, 39.8)),
    ),
    ids=("fast", "slow"),
)
def test_worked_nip_with_its_felt(
    load: float,
    speed: float,
    roll: float,
    yankee: float,
    grammage: float,
    dry_in: float,
    boxes: float,
    sucked: tuple[float, float] | None,
    wanted: tuple[float, ...],
) -> None:
    retained, carried = 1.3568, 1.25
    density = mat.density_water_kell(313.15)
    nu = mat.viscosity_water_iapws(313.15) / density
    permeability = swelling.specific_permeability_swollen(2.62964e-14, 1.3, retained, 3.0)
    radius = nip.equivalent_radius_cylinders(roll, yankee)
    width = nip.nip_width_covered_roll(load, 0.020, radius, 26.64e6)
    peak = nip.peak_ratio_covered_roll(width / 2.0, 0.020)
    weighted = pressing.pressure_weighted_roll(nip.pressure_mean(load, width), peak)
    bound = 0.5 * pressing.equilibrium_moisture_power_law(retained, weighted, 1e5, 0.2)
    resistance = felt.felt_resistance_aged(4.5148e7, 0.6)
    squeezed = felt.felt_resistance_squeezed(resistance, 0.38, 0.6)
    free, full = (felt.saturated_ratio_felt(s, 1140.0, density) for s in (0.38, 0.6))

    def taken(pull: float) -> tuple[float, float]:
        rate = felt.felt_drain_rate(1.3e-3, pull, 45e3, resistance, resistance)
        return felt.felt_end_ratio_vacuum(0.42, pull, 45e3, 0.3, free), felt.felt_time_constant(rate)

    by_vacuum = (10.0, 0.0, 1.0)
    if sucked is not None:
        end, tau = taken(sucked[0])
        by_vacuum = (end, sucked[1] / speed, tau)
    read = pressing.rewet_at_dwell(5e-3, pressing.contact_time_after_peak(0.5, width, speed), 0.75e-3, 0.4)
    start, water = 1.0 / dry_in - 1.0, 0.42
    for _ in range(2):
        room = felt.felt_room_free(carried, full, water)
        pressed = press(start, load / speed, grammage, nu, permeability, 3.0, bound, 1, squeezed, room)
        behind = felt.felt_moisture_ratio_after_nip(carried, water, grammage, start, pressed, full, 0.0)
        rewet = pressing.rewet_of_felt(read, behind, 0.5, 1.0)
        end, tau = taken(45e3)
        water = felt_loop.felt_loop_steady(
            carried, grammage, start, pressed, rewet, 0.06, full, end, boxes / speed, tau, 0.0, *by_vacuum
        ).felt_moisture_ratio
    dry = 100.0 / (1.0 + pressed + rewet / grammage)
    assert bound == pytest.approx(wanted[0], abs=2e-4)
    assert pressed == pytest.approx(wanted[1], abs=0.002)
    assert rewet == pytest.approx(wanted[2], abs=0.02e-3)
    assert water == pytest.approx(wanted[3], abs=0.001)
    assert dry == pytest.approx(wanted[4], abs=0.06)
