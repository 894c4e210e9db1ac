"""Jet, mat, testers, drainage, vacuum and retention: inverses, limits, oracles and the testers' tables.

Plain check values stand in tests/checks; here is what does not fit a row.
"""

from __future__ import annotations

import math
import warnings
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from thinstock import library
from thinstock.errors import Refused
from thinstock.formula.label import STATUSES
from thinstock.relations import drainage, freeness, jet, mat, retention, vacuum
from thinstock.words import units
from thinstock.words.constants import gravity

FABRIC = (0.653e-3, 992.0, 1.1e9, 0.4, 0.96e6, 8.2)
"""Viscosity, density, resistance coefficient and exponent, fabric resistance and inertia."""


# --- jet


def test_head_and_jet_speed_are_inverses() -> None:
    speed = np.linspace(1.0, 40.0, 9)
    head = jet.headbox_head_for_jet(speed, 0.98, 992.0)
    assert jet.jet_speed_bernoulli(head, 0.98, 992.0) == pytest.approx(speed, rel=1e-12)


def test_the_jet_has_fallen_by_the_fall_height_where_it_lands() -> None:
    height, angle, speed = np.array([0.005, 0.02, 0.1]), math.radians(4.0), 12.0
    distance = jet.jet_landing_distance(height, angle, speed)
    assert jet.jet_drop(distance, angle, speed) == pytest.approx(height, rel=1e-12)
    step = 1e-6
    slope = (jet.jet_drop(distance + step, angle, speed) - jet.jet_drop(distance - step, angle, speed)) / 2e-6
    assert np.tan(jet.jet_landing_angle(height, angle, speed)) == pytest.approx(slope, rel=1e-6)


def test_a_jet_that_just_enters_has_no_speed_left() -> None:
    slowest = jet.jet_speed_lowest_into_pressure(8e3, 992.0)
    assert jet.jet_speed_under_pressure(slowest * (1 + 1e-12), 8e3, 992.0) == pytest.approx(0.0, abs=1e-4)
    assert math.isnan(jet.jet_speed_under_pressure(0.99 * slowest, 8e3, 992.0))


@pytest.mark.parametrize("ratio", [0.05, 0.3, 0.5, 0.9, 0.95])
def test_a_reentrant_mouthpiece_obeys_the_balance_of_momentum(ratio: float) -> None:
    # all walls run along the axis: opening + approach momentum = 2 x contraction, so Cc = (1 - sqrt(1 - r))/r
    exact = (1.0 - math.sqrt(1.0 - ratio)) / ratio
    assert jet.contraction_free_streamline(math.pi, ratio) == pytest.approx(exact, rel=1e-4)


def test_contraction_of_a_slot_in_a_wide_wall_is_exact() -> None:
    got = jet.contraction_free_streamline(math.pi / 2, 0.0)
    assert got == pytest.approx(math.pi / (math.pi + 2.0), rel=1e-12)


def test_the_flatter_the_lip_the_less_the_jet_shrinks() -> None:
    angles = np.radians(np.linspace(2.0, 180.0, 40))
    table = jet.contraction_free_streamline(angles[:, None], np.array([0.0, 0.3, 0.6, 0.95]))
    assert table.shape == (40, 4)
    assert np.all(np.diff(table, axis=0) < 0.0)
    assert np.all(np.diff(table, axis=1) >= -1e-12)
    assert np.all((table > 0.49) & (table < 1.0))
    assert jet.contraction_free_streamline(angles[7], 0.3) == table[7, 1]


def test_the_two_contractions_agree_roughly_where_both_hold() -> None:
    angle = np.radians([30.0, 45.0, 60.0, 90.0])
    difference = jet.contraction_bollrich(angle) - jet.contraction_free_streamline(angle, 0.3)
    assert np.all(np.abs(difference) < 0.02)


# --- water, mat, fabric


def test_water_agrees_with_the_industrial_formulation() -> None:
    from iapws import IAPWS97

    for celsius in (0.5, 10.0, 20.0, 40.0, 60.0, 70.0):
        water = IAPWS97(T=celsius + 273.15, P=0.101325)
        assert mat.density_water_kell(celsius + 273.15) == pytest.approx(water.rho, abs=0.02)
        assert mat.viscosity_water_iapws(celsius + 273.15) == pytest.approx(water.mu, rel=2e-3)


def test_local_resistance_is_one_over_permeability_and_consistency() -> None:
    c, s, v = np.array([30.0, 100.0, 200.0]), 1500.0, 2.8e-3
    factor = mat.kozeny_factor_davies(1.0 - v * c)
    permeability = mat.permeability_kozeny(c, s, v, factor)
    local = mat.specific_filtration_resistance_local_davies(c, s, v)
    assert local == pytest.approx(1.0 / (permeability * c), rel=1e-12)


@pytest.mark.parametrize("drop", [300.0, 1e3, 1e4, 3e4])
def test_mean_resistance_agrees_with_adaptive_quadrature(drop: float) -> None:
    def inverse(p: float) -> float:
        c = mat.mat_consistency_power(p, 53.0, 0.38, 0.0)
        return float(1.0 / mat.specific_filtration_resistance_local_davies(c, 1000.0, 2.5e-3))

    # p = s^4 takes the end singularity away
    area, _ = quad(lambda s: inverse(s**4) * 4.0 * s**3, 0.0, drop**0.25, epsrel=1e-11)
    got = mat.specific_filtration_resistance_davies(drop, 1000.0, 2.5e-3, 53.0, 0.38)
    assert got == pytest.approx(drop / area, rel=1e-8)


@pytest.mark.parametrize(
    ("low", "high", "lowest", "highest"),
    [(300.0, 1e3, 0.22, 0.27), (1e3, 1e4, 0.365, 0.495), (1e4, 3e4, 0.625, 0.755)],
)
def test_the_exponent_grows_with_pressure(low: float, high: float, lowest: float, highest: float) -> None:
    for s, v in ((1000.0, 2.5e-3), (2000.0, 3.0e-3), (4000.0, 3.4e-3)):
        resistance = mat.specific_filtration_resistance_davies(np.array([low, high]), s, v, 53.0, 0.38)
        n = mat.resistance_exponent_two_points(low, resistance[0], high, resistance[1])
        assert lowest < n < highest


def test_a_saturated_mat_has_the_dryness_of_its_moisture_ratio() -> None:
    c = np.array([30.0, 116.8, 250.0])
    moisture = vacuum.moisture_ratio_saturated(c, 992.0, 1500.0)
    assert mat.dryness_saturated(c, 992.0, 1500.0) == pytest.approx(1.0 / (1.0 + moisture), rel=1e-12)


# --- flux and closed forms


def test_flux_put_back_gives_the_pressure() -> None:
    draw = np.random.default_rng(7)
    n = 4000
    pressure = 10 ** draw.uniform(-2, 6, n)
    deposited = np.where(draw.random(n) < 0.1, 0.0, 10 ** draw.uniform(-7, 0, n))
    alpha, exponent = 10 ** draw.uniform(6, 13, n), draw.uniform(0.0, 0.9, n)
    viscous = np.where(draw.random(n) < 0.2, 0.0, 10 ** draw.uniform(4, 8, n))
    inertial = np.where((draw.random(n) < 0.2) & (viscous > 0.0), 0.0, 10 ** draw.uniform(-1, 4, n))
    rest = (deposited, 0.7e-3, 992.0, alpha, exponent, viscous, inertial)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        flux = drainage.flux_mat_fabric(pressure, *rest)
    assert drainage.pressure_drop_mat_fabric(flux, *rest) == pytest.approx(pressure, rel=1e-10)


def test_flux_agrees_with_a_root_search() -> None:
    def excess(u: float) -> float:
        return float(drainage.pressure_drop_mat_fabric(u, 0.006, *FABRIC)) - 8e3

    assert drainage.flux_mat_fabric(8e3, 0.006, *FABRIC) == pytest.approx(brentq(excess, 0, 2), rel=1e-10)


def test_nothing_flows_without_a_positive_pressure() -> None:
    assert list(drainage.flux_mat_fabric(np.array([-1e4, 0.0]), 0.0, *FABRIC)) == [0.0, 0.0]


def test_more_mat_and_less_pressure_mean_less_flux() -> None:
    assert np.all(np.diff(drainage.flux_mat_fabric(8e3, np.linspace(0, 0.05, 50), *FABRIC)) < 0.0)
    assert np.all(np.diff(drainage.flux_mat_fabric(np.linspace(0, 4e4, 50), 0.006, *FABRIC)) > 0.0)


def test_impulse_and_filtrate_are_inverses_and_two_sides_give_up_to_four_times() -> None:
    rest = (0.653e-3, 1e6, 1.1e9, 0.0125)
    impulse = drainage.drainage_impulse_needed(7e-3, *rest, np.array([1.0, 2.0]))
    assert drainage.drained_from_impulse(impulse, *rest, np.array([1.0, 2.0])) == pytest.approx(7e-3, rel=1e-12)
    bare = (0.653e-3, 0.0, 1.1e9, 0.0125)
    one, two = drainage.drained_from_impulse(100.0, *bare, np.array([1.0, 2.0]))
    assert two == pytest.approx(4.0 * one, rel=1e-12)


def test_ruth_time_and_filtrate_are_inverses() -> None:
    rest = (1e4, 0.65e-3, np.array([0.0, 1e6, 1e8]), 1e10, 2.0)
    time = drainage.filtration_time_ruth(5e-3, *rest)
    assert drainage.drained_ruth(time, *rest) == pytest.approx(5e-3, rel=1e-12)


def test_gravity_filtration_agrees_with_its_differential_equation() -> None:
    depth, mu, rho, screen, alpha, stuck = 0.06, 0.653e-3, 992.0, 1e6, 1e9, 2.0
    time = drainage.filtration_time_gravity(0.05, depth, rho, mu, screen, alpha, stuck)

    def rate(_t: float, w: Any) -> Any:
        return rho * gravity * (depth - w) / (mu * (screen + alpha * stuck * w))

    found = solve_ivp(rate, (0.0, float(time)), [0.0], rtol=1e-10, atol=1e-14)
    assert found.y[0, -1] == pytest.approx(0.05, rel=1e-7)


def test_water_held_in_the_mat_lets_the_stock_be_more_dilute() -> None:
    rest = (465.4217, 0.653e-3, 1e6, 2.45087e9, 0.012464, 1.0, 0.8, 992.0)
    assert drainage.consistency_dilution_limit(*rest, 114.0) < drainage.consistency_dilution_limit(*rest, np.inf)


def test_stock_as_deep_as_the_tension_holds_leaves_the_roll_side_without_pressure() -> None:
    speed = np.array([15.0, 30.0])
    held = drainage.stock_depth_held_forming_roll(6e3, 0.4, speed, 992.0)
    inner = drainage.pressure_forming_roll_inner(6e3, 0.4, speed, 0.75, 992.0, held, 0.0)
    assert inner == pytest.approx([0.0, 0.0], abs=1e-8)
    outer = drainage.pressure_forming_roll(6e3, 0.4, speed, 0.75)
    turned = drainage.pressure_centrifugal(992.0, held, speed, 0.75)
    assert outer == pytest.approx(turned, rel=1e-12)


def test_a_table_roll_drains_flux_times_nip_length_over_speed() -> None:
    length = drainage.nip_length_table_roll(0.2, 5.0, 0.1)
    assert drainage.drained_table_roll(0.2, 5.0, 0.1) == pytest.approx(0.2 * length / 5.0, rel=1e-12)


def test_a_foil_drains_at_most_its_capped_flux_over_its_sucking_length() -> None:
    angle, cap = math.radians(2.0), math.radians(5.0)
    flux = drainage.flux_cap_foil(10.0, angle, cap)
    assert drainage.drained_cap_foil(0.06, angle, cap, 0.25) == pytest.approx(flux * 0.25 * 0.06 / 10.0)


# --- testers

WATER = (1.0016e-3, 998.2)
CSF, SR = library.tester("CSF"), library.tester("SR")


def test_clear_water_reads_as_the_laboratory_check_says() -> None:
    assert freeness.overflow_volume(0.0, 0.35, *WATER, CSF) * 1e6 == pytest.approx(884.0, abs=0.5)
    assert 880.0 < freeness.overflow_volume(0.0, 0.35, *WATER, CSF) * 1e6 < 890.0
    assert freeness.drainability_from_resistance(0.0, 0.35, *WATER, SR) == pytest.approx(4.0, abs=0.05)


def test_a_mat_of_constant_resistance_follows_the_closed_form() -> None:
    smooth = CSF._replace(fabric_inertia=0.0)
    alpha = np.array([0.0, 1e8, 1e9, 1e10, 1e12])
    closed = freeness.overflow_volume_incompressible(alpha, *WATER, smooth)
    assert closed[2] * 1e6 == pytest.approx(511.659, abs=5e-4)
    assert freeness.overflow_volume(alpha, 0.0, *WATER, smooth) == pytest.approx(closed, rel=1e-6, abs=1e-15)


@pytest.mark.parametrize(
    ("reading", "alpha", "alpha_digit", "sr"),
    [
        (700, 5.108e8, 6e4, 13.3),  # 5.10748e8: on the edge of the last digit
        (550, 1.0543e9, 5e4, 22.5),
        (500, 1.2981e9, 5e4, 26.1),
        (350, 2.398e9, 5e5, 39.0),
        (300, 2.983e9, 5e5, 44.3),
        (100, 9.962e9, 5e5, 73.2),
    ],
)
def test_table_of_readings(reading: float, alpha: float, alpha_digit: float, sr: float) -> None:
    got = freeness.resistance_from_freeness(reading * 1e-6, 0.35, *WATER, CSF)
    assert got == pytest.approx(alpha, abs=alpha_digit)
    assert freeness.freeness_from_resistance(alpha, 0.35, *WATER, CSF) * 1e6 == pytest.approx(reading, abs=0.05)
    got = freeness.drainability_from_freeness(reading * 1e-6, 0.35, *WATER, CSF, SR)
    assert got == pytest.approx(sr, abs=0.05)


def test_resistance_and_reading_are_inverses_over_the_whole_range() -> None:
    reading = np.linspace(30e-6, 850e-6, 42)
    for n in (0.0, 0.35, 0.9):
        alpha = freeness.resistance_from_freeness(reading, n, *WATER, CSF)
        assert np.all(np.diff(alpha) < 0.0)
        assert freeness.freeness_from_resistance(alpha, n, *WATER, CSF) == pytest.approx(reading, rel=1e-6)
    sr = np.linspace(10.0, 90.0, 17)
    alpha = freeness.resistance_from_drainability(sr, 0.35, *WATER, SR)
    assert freeness.drainability_from_resistance(alpha, 0.35, *WATER, SR) == pytest.approx(sr, rel=1e-6)


def test_readings_no_resistance_gives_are_not_numbers() -> None:
    assert math.isnan(freeness.resistance_from_freeness(900e-6, 0.35, *WATER, CSF))
    assert math.isnan(freeness.resistance_from_drainability(2.0, 0.35, *WATER, SR))
    mixed = freeness.resistance_from_freeness(np.array([900e-6, 500e-6]), 0.35, *WATER, CSF)
    assert math.isnan(mixed[0])
    assert mixed[1] == pytest.approx(freeness.resistance_from_freeness(500e-6, 0.35, *WATER, CSF), rel=1e-12)


def test_very_slow_stock_never_runs_over() -> None:
    assert freeness.overflow_volume(1e13, 0.35, *WATER, CSF) == 0.0
    assert freeness.drainability_from_resistance(1e13, 0.35, *WATER, SR) == 100.0


def test_testers_take_arrays_as_they_take_numbers() -> None:
    alpha, n = np.array([5e8, 1e9, 5e9]), np.array([0.2, 0.35, 0.6])
    mu, rho = np.array([1.2e-3, 1.0e-3, 0.8e-3]), np.array([999.0, 998.2, 997.0])
    together = freeness.overflow_volume(alpha, n, mu, rho, CSF)
    alone = [freeness.overflow_volume(*row, CSF) for row in zip(alpha, n, mu, rho, strict=True)]
    assert together == pytest.approx(alone, rel=1e-13)
    back = freeness.resistance_from_freeness(together, n, mu, rho, CSF)
    assert back == pytest.approx(alpha, rel=1e-6)
    assert np.ndim(alone[0]) == 0


@pytest.mark.parametrize(("tester", "alpha"), [(CSF, 1.3e9), (CSF, 6e9), (SR, 1.3e9)])
def test_overflow_agrees_with_a_march_in_time_with_a_filling_funnel(tester: Any, alpha: float) -> None:
    n, mu, rho = 0.35, *WATER

    def outflow(volume: float) -> float:
        head = rho * gravity * (tester.volume - volume) / tester.chamber_area
        fibre = tester.consistency * rho * volume / tester.area
        flux = drainage.flux_mat_fabric(head, fibre, mu, rho, alpha, n, tester.fabric_resistance, tester.fabric_inertia)
        return float(flux) * tester.area

    def spent(_t: float, state: Any) -> float:
        return outflow(state[0]) - tester.orifice_flow

    spent.terminal = True  # type: ignore[attr-defined]

    def rates(_t: float, state: Any) -> list[float]:
        flow = outflow(state[0])
        return [flow, flow - tester.orifice_flow]

    found = solve_ivp(rates, (0.0, 1e3), [0.0, 0.0], method="LSODA", events=spent, rtol=1e-9, atol=1e-13)
    wanted = found.y[1, -1] - tester.holdup
    assert freeness.overflow_volume(alpha, n, mu, rho, tester) == pytest.approx(wanted, rel=1e-5)


def test_warm_stock_reads_freer() -> None:
    warm = (mat.viscosity_water_iapws(313.15), mat.density_water_kell(313.15))
    cold = freeness.freeness_from_resistance(1.3e9, 0.35, *WATER, CSF)
    assert freeness.freeness_from_resistance(1.3e9, 0.35, *warm, CSF) > cold


# --- retention


def test_passing_grammage_and_retention_of_fines_are_inverses() -> None:
    passing = np.array([1e-3, 5e-3, 10e-3, 50e-3])
    kept = retention.retention_fines_layered(12.5e-3, passing)
    assert retention.passing_grammage_from_retention(kept, 12.5e-3) == pytest.approx(passing, rel=1e-8)


def test_retention_of_the_sheet_is_the_mean_over_its_layers() -> None:
    mean, _ = quad(lambda w: float(retention.retention_fines_at(w, 10e-3)), 0.0, 12.5e-3)
    assert retention.retention_fines_layered(12.5e-3, 10e-3) == pytest.approx(mean / 12.5e-3, rel=1e-10)


def test_white_water_carries_what_was_not_retained() -> None:
    ww = retention.white_water_consistency(0.002, 0.8, 8e-3, 8.4e-3)
    assert retention.retention_first_pass_balance(8.4e-3, 0.002, 8e-3, ww) == pytest.approx(0.8, rel=1e-12)


# --- vacuum


def test_a_slot_never_leaves_the_sheet_wetter_than_it_came_and_longer_dwell_never_wetter() -> None:
    dwell = np.linspace(0.0, 0.02, 30)
    for moisture in (2.0, 4.0, 8.0):
        out = vacuum.moisture_ratio_after_slot(moisture, 3.95, 0.85, 1.2, dwell, 3e-3, 0.01, 0.0125)
        assert np.all(out <= moisture) and np.all(np.diff(out) <= 0.0)


def test_rewet_is_worst_for_light_sheets() -> None:
    light, heavy = vacuum.moisture_ratio_after_slot(8.0, 3.95, 0.85, 1.2, 3e-3, 3e-3, 0.01, np.array([0.0125, 0.04]))
    assert light > heavy


def test_small_vacuum_costs_pressure_times_flow() -> None:
    power = vacuum.vacuum_power_isothermal_ambient(1.0, 101325.0, 10.0, 1.0)
    assert power == pytest.approx(10.0, rel=1e-3)


# --- library


def values_of(table: dict[str, Any]) -> list[dict[str, Any]]:
    return [row for part in table.values() for row in part.values() if isinstance(row, dict)]


@pytest.mark.parametrize("name", ["testers", "furnishes_hydraulic", "drainage", "fabrics"])
def test_every_library_value_says_its_status_and_can_be_read(name: str) -> None:
    rows = values_of(library.table(name))
    assert rows
    for row in rows:
        assert row["status"] in STATUSES and row["source"]
        for key in ("value", "low", "high"):
            if key in row:
                assert math.isfinite(units.parse(row[key]))


def test_freeness_of_the_pulps_follows_from_their_surface() -> None:
    for name, row in library.table("furnishes_hydraulic").items():
        s = units.parse(row["specific_surface"]["value"])
        v = units.parse(row["swollen_volume"]["value"])
        low, high = mat.specific_filtration_resistance_davies(np.array([300.0, 1e3]), s, v, 53.0, 0.38)
        n = mat.resistance_exponent_two_points(300.0, low, 1e3, high)
        got = freeness.freeness_from_resistance(high, n, *WATER, CSF)
        assert got == pytest.approx(units.parse(row["freeness"]["value"]), abs=1e-6), name


def test_the_fabric_follows_from_its_air_permeability() -> None:
    row = library.table("fabrics")["tissue fabric"]
    air = units.parse(row["air_permeability"]["value"], "air permeability")
    drop = units.parse(row["test_pressure"]["value"])
    viscous = mat.fabric_resistance_air(air, drop, 1.82e-5, np.array([0.5, 1.0]))
    inertial = mat.fabric_inertia_air(air, drop, 1.2, np.array([0.5, 0.0]))
    assert viscous[0] == pytest.approx(units.parse(row["fabric_resistance"]["value"]), abs=5e3)
    assert viscous[1] == pytest.approx(units.parse(row["fabric_resistance"]["high"]), abs=5e3)
    assert inertial[0] == pytest.approx(units.parse(row["fabric_inertia"]["value"]), abs=0.05)
    assert inertial[1] == pytest.approx(units.parse(row["fabric_inertia"]["high"]), abs=0.05)


def test_an_unknown_tester_is_refused_with_the_known_ones() -> None:
    with pytest.raises(Refused, match="CSF, SR"):
        library.tester("kitchen sieve")
