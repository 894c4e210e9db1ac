"""The uneven sheet in the dryer and the dryer's energy: laws of the formulas that fit no row of check values.

Referees are scipy's monotone cubic, its quadrature and its gamma law; single values in tests/checks/uneven.toml and
tests/checks/dryer_energy.toml.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq
from scipy.stats import gamma, norm

from drying_cases import SHEET, segments
from thinstock.kernels.yankee import march_sdirk2
from thinstock.relations import dryer_energy, sorption, steam, uneven

HINGE = (np.array([0.7814, 0.9037, 1.0, 1.0962, 1.2322]), np.array([0.004, 0.006, 0.021, 0.078, 0.182]))
"""Grammages and moisture ratios of five spots as a facial machine dries them."""


def _mean(function, variance: float) -> float:
    """Mean over the law of local grammage, by adaptive quadrature."""
    return quad(lambda z: function(uneven.local_grammage(z, variance)) * norm.pdf(z), -9, 9, epsabs=1e-13, limit=200)[0]


# ---------------------------------------------------------------- the law of local grammage


@pytest.mark.parametrize("variance", [0.0025, 0.02, 0.09])
def test_local_grammage_has_mean_one_and_nearly_the_variance_asked_for(variance: float) -> None:
    mean = _mean(lambda g: g, variance)
    assert mean == pytest.approx(1 - variance**3 / 729, abs=1e-12)
    assert _mean(lambda g: (g - mean) ** 2, variance) == pytest.approx(variance, rel=0.04)


@pytest.mark.parametrize("variance", [0.0025, 0.02, 0.09])
def test_local_grammage_is_close_to_a_gamma_law(variance: float) -> None:
    score = np.linspace(-2, 2, 9)
    exact = gamma.ppf(norm.cdf(score), 1 / variance, scale=variance)
    assert uneven.local_grammage(score, variance) == pytest.approx(exact, abs=0.02 * variance)


def test_score_and_local_grammage_undo_each_other() -> None:
    score, variance = np.linspace(-3, 3, 13), np.array([[0.003], [0.02], [0.09]])
    assert uneven.local_score(uneven.local_grammage(score, variance), variance) == pytest.approx(
        np.broadcast_to(score, (3, 13)), abs=1e-12
    )


def test_shares_of_the_area_fall_from_one_to_none_and_an_even_sheet_has_a_sharp_edge() -> None:
    shares = uneven.area_share_above(np.linspace(0.3, 2.0, 200), 0.02)  # long arrays go another way than short ones
    assert np.all(np.diff(shares) <= 0) and shares[0] == pytest.approx(1) and shares[-1] < 1e-7
    assert shares[::50] == pytest.approx([uneven.area_share_above(g, 0.02) for g in np.linspace(0.3, 2.0, 200)[::50]])
    assert [uneven.area_share_above(g, 0.0) for g in (0.99, 1.0, 1.01)] == [1.0, 0.5, 0.0]


# ---------------------------------------------------------------- the course through the spots


@pytest.mark.parametrize("nodes", [3, 4, 5, 9])
def test_the_course_through_the_spots_is_the_monotone_cubic(nodes: int) -> None:
    generator = np.random.default_rng(nodes)
    for _ in range(20):
        g = np.sort(generator.uniform(0.6, 1.4, nodes))
        u = generator.uniform(0.0, 0.2, nodes)
        if generator.random() < 0.5:
            u = np.sort(u)
            u[1] = u[0]
        referee = PchipInterpolator(g, u)
        x = np.linspace(g[0], g[-1], 50)
        assert uneven._course(g, u, uneven._slopes(g, u), x) == pytest.approx(referee(x), abs=1e-13)
        ends = referee.derivative()(g[[0, -1]])
        beyond = np.array([g[0] - 0.1, g[-1] + 0.1])
        straight = np.maximum(u[[0, -1]] + ends * [-0.1, 0.1], 0.0)
        assert uneven._course(g, u, uneven._slopes(g, u), beyond) == pytest.approx(straight, abs=1e-12)


def test_an_even_sheet_has_the_moisture_of_its_mean_spot() -> None:
    assert uneven.moisture_ratio_uneven(0.0, *HINGE) == pytest.approx(0.021, rel=1e-14)


def test_an_uneven_sheet_is_always_wetter() -> None:
    variance = np.linspace(0.0, 0.04, 81)
    assert np.all(np.diff(uneven.moisture_ratio_uneven(variance, *HINGE)) > 0)


def test_where_moisture_goes_straight_with_grammage_the_mean_is_known() -> None:
    g = np.array([0.7, 1.0, 1.4])
    found = uneven.moisture_ratio_uneven(0.02, g, 0.3 + 0.2 * (g - 1))
    water = _mean(lambda x: x * (0.3 + 0.2 * (x - 1)), 0.02) / _mean(lambda x: x, 0.02)
    assert found == pytest.approx(water, rel=1e-12)


def test_twenty_four_scores_sum_up_a_hinge_well_enough() -> None:
    course = PchipInterpolator(*HINGE)
    ends = course.derivative()(HINGE[0][[0, -1]])

    def moisture(g: float) -> float:
        low = HINGE[1][0] + ends[0] * min(g - HINGE[0][0], 0.0)
        return max(
            float(course(np.clip(g, *HINGE[0][[0, -1]]))) + low - HINGE[1][0] + ends[1] * max(g - HINGE[0][-1], 0.0), 0
        )

    for variance in (0.0025, 0.01, 0.02, 0.03):
        exact = _mean(lambda g: g * moisture(g), variance) / _mean(lambda g: g, variance)
        assert uneven.moisture_ratio_uneven(variance, *HINGE) == pytest.approx(
            exact, abs=2.5e-4
        )  # of the accuracy of five spots


def test_many_sheets_give_what_single_sheets_give() -> None:
    generator = np.random.default_rng(5)
    variance = generator.uniform(0.003, 0.04, (4, 3))
    g = np.sort(generator.uniform(0.7, 1.3, (4, 3, 5)), axis=-1)
    u = np.sort(generator.uniform(0.0, 0.2, (4, 3, 5)), axis=-1)
    together = uneven.moisture_ratio_uneven(variance, g, u)
    sought = uneven.relative_grammage_at_moisture(0.1, g, u)
    assert together.shape == sought.shape == (4, 3)
    for case in np.ndindex(4, 3):
        assert together[case] == pytest.approx(
            uneven.moisture_ratio_uneven(variance[case], g[case], u[case]), rel=1e-13
        )
        assert sought[case] == pytest.approx(uneven.relative_grammage_at_moisture(0.1, g[case], u[case]), rel=1e-12)
    assert np.shape(uneven.moisture_ratio_uneven(variance, *HINGE)) == (4, 3)
    assert np.ndim(uneven.moisture_ratio_uneven(0.02, *HINGE)) == 0


def test_the_spot_of_a_moisture_is_found_on_the_course() -> None:
    for wet in (0.01, 0.0526, 0.1, 0.3):
        g = uneven.relative_grammage_at_moisture(wet, *HINGE)
        assert uneven._course(*HINGE, uneven._slopes(*HINGE), np.array([g]))[0] == pytest.approx(wet, rel=1e-9)
    shares = [
        float(uneven.area_share_above(uneven.relative_grammage_at_moisture(x / (1 - x), *HINGE), 0.0194))
        for x in (0.02, 0.05, 0.08, 0.10, 0.15)
    ]
    assert shares == sorted(shares, reverse=True)
    assert shares[0] < 0.5 < 1 - shares[1], "more than half of the area is drier than the mean"


def test_the_second_order_is_the_limit_of_small_unevenness() -> None:
    def moisture(g: float) -> float:
        return 0.05 + 0.62 * (g - 1) + 0.5 * 3.1 * (g - 1) ** 2

    for variance in (1e-4, 1e-3):
        exact = _mean(lambda g: g * moisture(g), variance)
        found = uneven.moisture_ratio_uneven_second_order(0.05, 0.62, 3.1, variance)
        assert found - exact == pytest.approx(0.0, abs=12 * variance**2)


# ---------------------------------------------------------------- spots dried apart

FIVE = np.array([-1.6, -0.7, 0.0, 0.7, 1.6])


def dried(grammage, shell: float, isotherm: int, air: float, factor: float, steps=(8, 48, 8)) -> np.ndarray:
    """Moisture ratios of spots that ride round the same shell under the same jets."""
    g = np.atleast_1d(np.asarray(grammage, dtype=float))
    sheet = {**SHEET, "isotherm": isotherm, "moisture_ratio": 0.58 / 0.42, "grammage": SHEET["grammage"] * g}
    hood = segments(air_temperature=air, humidity=0.33, jet_velocity=95.0, factor=factor)
    each = np.broadcast_to(hood, (len(g), *hood.shape))
    walls = np.full(len(g), shell)
    return march_sdirk2(**sheet, surface_temperature=walls, segments=each, steps=steps, tolerance=1e-9).moisture_ratio


def five_spots(variance: float, *dryer) -> tuple[np.ndarray, np.ndarray]:
    """Five spots with few steps, moved so that the mean spot is that of full steps."""
    g = np.where(FIVE == 0.0, 1.0, uneven.local_grammage(FIVE, variance))
    few = dried(g, *dryer, steps=(2, 12, 2))
    return g, few - few[2] + dried(1.0, *dryer)


def shell_for(mean: float, variance: float, *hood) -> float:
    """Shell temperature at which the uneven sheet leaves with a moisture ratio."""

    def missing(shell: float) -> float:
        return float(uneven.moisture_ratio_uneven(variance, *five_spots(variance, shell, *hood))) - mean

    return float(brentq(missing, 360.0, 440.0, xtol=1e-4))


@pytest.mark.parametrize("isotherm", [0, 1])
@pytest.mark.parametrize(("air", "factor"), [(700.0, 0.8), (800.0, 0.4)])
def test_five_spots_of_few_steps_stand_for_all_spots_dried_apart(isotherm: int, air: float, factor: float) -> None:
    hood = (isotherm, air, factor)
    shell = float(brentq(lambda t: dried(1.0, t, *hood)[0] - 0.0526, 360.0, 440.0, xtol=1e-6))
    fine = np.linspace(0.3, 2.2, 400)
    course = PchipInterpolator(fine, dried(fine, shell, *hood))
    for cv in (0.05, 0.10, 0.137, 0.16):
        score = np.linspace(-6, 6, 2001)
        weight = norm.pdf(score) * uneven.local_grammage(score, cv**2)
        all_spots = np.sum(weight * course(uneven.local_grammage(score, cv**2))) / np.sum(weight)
        found = uneven.moisture_ratio_uneven(cv**2, *five_spots(cv**2, shell, *hood))
        assert 1 / (1 + found) == pytest.approx(1 / (1 + all_spots), abs=7e-4), f"CV {cv}"
        assert all_spots > 0.0526, "uneven is wetter"


def test_the_second_order_serves_even_sheets_and_fails_uneven_ones() -> None:
    hood = (0, 735.0, 0.57)
    shell = float(brentq(lambda t: dried(1.0, t, *hood)[0] - 0.0526, 360.0, 440.0, xtol=1e-6))
    low, mean, high = dried([0.98, 1.0, 1.02], shell, *hood)
    slope, curvature = (high - low) / 0.04, (high - 2 * mean + low) / 0.02**2

    def off(cv: float) -> float:
        found = uneven.moisture_ratio_uneven_second_order(mean, slope, curvature, cv**2)
        return float(found - uneven.moisture_ratio_uneven(cv**2, *five_spots(cv**2, shell, *hood)))

    assert abs(off(0.05)) < 2e-4 and abs(off(0.07)) < 2e-4
    assert off(0.125) > 1e-3, "the bend of the hinge is not that of its foot"


def test_moisture_at_the_reel_is_half_bone_dry_paper_and_an_eighth_wetter_than_a_tenth() -> None:
    variance, hood = 0.0188, (1, 735.0, 0.57)
    spots = five_spots(variance, shell_for(0.05 / 0.95, variance, *hood), *hood)

    def above(moisture: float) -> float:
        g = uneven.relative_grammage_at_moisture(moisture / (1 - moisture), *spots)
        return float(uneven.area_share_above(g, variance))

    assert [above(x) for x in (0.08, 0.10, 0.15, 0.20)] == pytest.approx([0.18, 0.13, 0.05, 0.02], abs=0.02)
    assert 1 - above(0.02) > 0.5


# ---------------------------------------------------------------- closing weights


def test_closing_weights_keep_the_grammage_and_the_water() -> None:
    g_l, g_h, u_l, u_m, u_h = 0.793, 1.215, 0.0045, 0.0210, 0.1690
    for variance in (0.005, 0.0194, 0.03):
        reel = uneven.moisture_ratio_uneven(variance, np.array([g_l, 1.0, g_h]), np.array([u_l, u_m, u_h]))
        light, heavy = uneven.closing_weights(variance, g_l, g_h, u_l, u_m, u_h, reel)
        mean = 1 - light - heavy
        assert light * g_l + mean + heavy * g_h == pytest.approx(1.0, rel=1e-14)
        assert light * g_l * u_l + mean * u_m + heavy * g_h * u_h == pytest.approx(reel, rel=1e-13)


def test_closing_weights_of_an_even_sheet_are_none() -> None:
    assert uneven.closing_weights(0.0, 0.8, 1.2, 0.01, 0.02, 0.03, 0.02) == (0.0, 0.0)


def test_closing_weights_stay_near_what_the_variance_asks_for() -> None:
    moment = 0.02 / (0.2 * 0.2 * 0.4)
    for reel, factor in ((0.021, 0.3), (0.9, 2.0)):
        light, heavy = uneven.closing_weights(0.02, 0.8, 1.2, 0.0045, 0.0210, 0.1690, reel)
        assert (light, heavy) == pytest.approx((factor * moment * 0.2,) * 2)
    flat = uneven.closing_weights(0.02, 0.8, 1.2, 0.05, 0.05, 0.05 / 1.2, 0.05)  # spots that tell nothing
    assert flat == pytest.approx((moment * 0.2,) * 2)


def test_weights_by_variance_alone_keep_variance_and_mean() -> None:
    light, heavy = uneven.closing_weights(0.02, 0.8, 1.25, 0.05, 0.05, 0.03, 0.05)
    assert light * -0.2 + heavy * 0.25 == pytest.approx(0.0, abs=1e-16)
    assert light * 0.04 + heavy * 0.0625 == pytest.approx(0.02, rel=1e-13)


# ---------------------------------------------------------------- the zone that counts


def test_vapour_evens_out_half_a_millimetre_while_spots_differ() -> None:
    def zone(moisture_ratio: float, elapsed: float) -> float:
        slope = sorption.water_activity_slope_tryding(moisture_ratio, 363.15)
        along = uneven.lateral_diffusivity_vapour(0.3, 3.6625e-5, 70182.0, 363.15, slope, 80e-6, 0.012)
        return 1e3 * float(uneven.equalisation_zone(along, elapsed))

    assert (zone(0.1, 0.05), zone(0.1, 0.1)) == pytest.approx((0.45, 0.65), abs=0.011)
    assert (zone(0.05, 0.05), zone(0.05, 0.1)) == pytest.approx((0.6, 0.9), abs=0.041)
    assert zone(0.2, 0.05) == pytest.approx(0.1, abs=0.005)


def test_profiles_across_the_machine_only_add_to_the_unevenness() -> None:
    assert uneven.uneven_variance_total(0.0187, 0.0, 0.0, 1.48, 0.0526) == 0.0187
    assert uneven.uneven_variance_total(0.0187, 0.02, 0.05, 1.48, 0.0526) > 0.0187


# ---------------------------------------------------------------- the dryer's energy

EVAPORATION, STEAM, GAS, CONTACT = 0.56686, 8.8927e5, 1.08891e6, 0.5902
SUPERHEAT = float(dryer_energy.superheat_of_vapour(EVAPORATION, 1.50292e6, 3.1306e6))


def test_heats_by_cause_add_up_to_what_the_meters_say() -> None:
    yankee = dryer_energy.yankee_heat_by_cause(STEAM, SUPERHEAT, CONTACT)
    hood = dryer_energy.hood_heat_by_cause(GAS, SUPERHEAT, CONTACT)
    assert yankee + hood == pytest.approx(STEAM + GAS, rel=1e-15)
    assert yankee > STEAM and hood < GAS


def test_hood_over_yankee_per_kilogram_hangs_on_who_pays_for_superheating() -> None:
    def ratio(hood: float, yankee: float) -> float:
        return float(
            dryer_energy.energy_per_water(hood, EVAPORATION, 1 - CONTACT)
            / dryer_energy.energy_per_water(yankee, EVAPORATION, CONTACT)
        )

    assert ratio(GAS, STEAM) == pytest.approx(1.76, abs=0.005)
    by_cause = ratio(
        dryer_energy.hood_heat_by_cause(GAS, SUPERHEAT, CONTACT),
        dryer_energy.yankee_heat_by_cause(STEAM, SUPERHEAT, CONTACT),
    )
    assert 1.2 < by_cause < 1.3, "within the ratio that print gives"


def test_where_the_heat_of_a_dryer_goes() -> None:
    assert dryer_energy.drying_efficiency(EVAPORATION, 2.257e6, STEAM + GAS) == pytest.approx(0.65, abs=0.005)
    superheated = SUPERHEAT / (STEAM + GAS)
    assert superheated == pytest.approx(0.14, abs=0.005)
    assert CONTACT * superheated == pytest.approx(0.08, abs=0.005)


def test_each_wider_boundary_makes_a_lower_efficiency() -> None:
    fuel = dryer_energy.fuel_heat(STEAM, 0.9, 0.95, GAS)
    heats = (STEAM + GAS, fuel, fuel * dryer_energy.idle_factor(0.92, 0.5))
    found = [float(dryer_energy.drying_efficiency(EVAPORATION, 2.257e6, heat)) for heat in heats]
    assert found == sorted(found, reverse=True)
    assert dryer_energy.idle_factor(1.0, 0.5) == dryer_energy.idle_factor(0.8, 0.0) == 1.0


def test_blow_through_that_is_all_used_again_costs_nothing() -> None:
    assert dryer_energy.steam_supply_heat(1e6, 0.15, 1.0) == 1e6
    assert dryer_energy.steam_supply_heat(1e6, 0.15, 0.0) == pytest.approx(1e6 / 0.85)


def test_vented_flash_loses_an_eighth_of_the_steam_of_eight_bar() -> None:
    assert steam.flash_fraction(721e3, 419e3, 2257e3) == pytest.approx(0.134, abs=0.0005)


def test_a_burner_gives_no_less_than_nothing_and_the_rest_is_surplus() -> None:
    for gas in (-2e4, 0.0, 5e5):
        burner, surplus = dryer_energy.burner_heat(gas), dryer_energy.surplus_heat(gas)
        assert burner - surplus == gas and min(burner, surplus) == 0.0


def test_heat_per_point_is_the_same_up_and_down() -> None:
    up = dryer_energy.heat_per_point(2.05e6, 1.93e6, 0.398, 0.408)
    assert dryer_energy.heat_per_point(1.93e6, 2.05e6, 0.408, 0.398) == pytest.approx(up, rel=1e-12)
    assert up < 0
