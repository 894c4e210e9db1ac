"""Formation: the relations of suspension, random sheet, holes and flocs in their limits; the joined chain.

Values worked apart from this code stand in tests/checks/formation*.toml; here is what fits no row.
"""

from __future__ import annotations

import subprocess
import sys
import tomllib
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import erf

from harness import half_last_digit
from thinstock.errors import NotFound, Refused
from thinstock.formula.label import worksheet
from thinstock.relations import flocs, network, pores, suspension
from thinstock.sheet import (
    DEFAULTS,
    Furnish,
    consistency_for_formation,
    fit_suspension_variation,
    formation,
    ratio_series,
)
from thinstock.sheet.formation import RANDOM_FLOOR
from thinstock.words import units

CHAIN: dict[str, Any] = tomllib.loads(
    (Path(__file__).parent / "checks" / "formation_chain.toml").read_text(encoding="utf-8")
)
FURNISH = {name: Furnish(name, **values) for name, values in CHAIN["furnish"].items()}
SOFTWOOD, BLEND, MECHANICAL = FURNISH["softwood"], FURNISH["blend"], FURNISH["mechanical"]
ONE_SOFTWOOD = (np.array([1.0]), np.array([2.2e-3]), np.array([30e-6]), np.array([0.15e-6]))


def agrees(got: Any, printed: str) -> None:
    assert abs(float(got) - float(printed)) <= half_last_digit(printed) * (1 + 1e-9), f"{got} against {printed}"


# ---------------------------------------------------------------- suspension


def test_a_fibre_split_into_two_equal_halves_of_the_furnish_changes_nothing() -> None:
    two = Furnish("two", (0.4, 0.6), (2.2e-3,) * 2, (30e-6,) * 2, (0.15e-6,) * 2)
    one, other = (formation(f, 0.014, 0.002, 0.2) for f in (SOFTWOOD, two))
    for word in (
        "crowding_number",
        "coverage",
        "open_area",
        "cv_random",
        "cv",
        "holes_per_area",
        "largest_hole",
    ):
        assert getattr(one, word) == pytest.approx(getattr(other, word), rel=1e-12), word


def test_consistency_and_crowding_number_undo_each_other() -> None:
    for there, back in (
        (suspension.consistency_crowding(16.0, 992.0, 2e-3, 0.2e-6), "mass"),
        (suspension.consistency_kerekes(16.0, 2e-3, 0.2e-6), "rounded"),
    ):
        got = (
            suspension.crowding_number(there, 992.0, 2e-3, 0.2e-6)
            if back == "mass"
            else suspension.crowding_number_kerekes(there, 2e-3, 0.2e-6)
        )
        assert got == pytest.approx(16.0, rel=1e-14)


def test_adding_component_crowding_bounds_the_blend_from_above() -> None:
    c = BLEND.components
    length = suspension.fibre_length_blend(c.share, c.fibre_length, c.coarseness)
    coarse = suspension.coarseness_blend(c.share, c.coarseness)
    blended = suspension.crowding_number(0.002, 1000.0, length, coarse)
    added = suspension.crowding_number_blend_sum(0.002, 1000.0, c.share, c.fibre_length, c.coarseness)
    assert blended < added < 1.31 * blended


# ---------------------------------------------------------------- random sheet


@pytest.mark.parametrize(("length", "width"), [(1e-3, 20e-6), (2.2e-3, 30e-6), (1e-4, 1e-4), (10e-3, 12e-6)])
def test_the_autocorrelation_over_the_plane_is_the_area_of_a_fibre(length: float, width: float) -> None:
    ends = [0.0, width, length, float(np.hypot(length, width))]

    def ring(r: float) -> float:
        return 2 * np.pi * r * network.point_autocorrelation_dodson(r, length, width)

    area = 0.0
    for low, high in pairwise(ends):
        span = high - low
        area += quad(lambda t, a=low, s=span: 2 * s * t * ring(a + s * t * t), 0, 1, epsrel=1e-12, limit=200)[0]
    assert area == pytest.approx(length * width, rel=1e-9)


def test_the_distances_in_a_square_have_probability_one() -> None:
    total = 0.0
    for low, high in ((0.0, 1.0), (1.0, np.sqrt(2.0))):
        span = high - low
        total += quad(
            lambda t, a=low, s=span: 2 * s * t * network.zone_distance_density(1e-3 * (a + s * t * t), 1e-3) * 1e-3,
            0,
            1,
            epsrel=1e-12,
        )[0]
    assert total == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("aspect", [1.0, 7.0, 73.0, 2000.0])
@pytest.mark.parametrize("zone_in_lengths", [0.003, 0.4, 1.3, 8.0])
def test_the_variance_ratio_agrees_with_a_far_finer_rule(aspect: float, zone_in_lengths: float) -> None:
    length, width = 2e-3, 2e-3 / aspect
    zone = zone_in_lengths * length
    top = min(np.sqrt(2.0) * zone, float(np.hypot(length, width)))
    marks = (
        0.0,
        0.1 * width,
        width,
        2 * width,
        9 * width,
        np.sqrt(length * width),
        0.5 * length,
        length,
        zone,
        top,
    )
    ends = sorted({min(float(m), top) for m in marks})

    def inside(r: np.ndarray) -> np.ndarray:
        return network.point_autocorrelation_dodson(r, length, width) * network.zone_distance_density(r, zone)

    nodes, weights = np.polynomial.legendre.leggauss(400)
    t = 0.5 * (nodes + 1.0)
    total = sum(
        float(np.sum(weights * t * (high - low) * inside(low + (high - low) * t**2))) for low, high in pairwise(ends)
    )
    assert network.variance_ratio_dodson(zone, length, width) == pytest.approx(total, rel=1e-10)


def test_a_zone_of_no_size_sees_all_the_variance_and_a_large_one_the_limit() -> None:
    assert network.variance_ratio_dodson(0.0, 1e-3, 20e-6) == 1.0
    assert network.variance_ratio_dodson(1e-9, 1e-3, 20e-6) == pytest.approx(1.0, abs=1e-4)
    wanted = network.variance_ratio_large_zone(0.05, 1e-3, 20e-6)
    assert network.variance_ratio_dodson(0.05, 1e-3, 20e-6) == pytest.approx(wanted, rel=2e-3)


def test_a_larger_zone_is_never_less_even() -> None:
    ratio = network.variance_ratio_dodson(np.geomspace(1e-6, 0.1, 200), 2.2e-3, 30e-6)
    assert np.all(np.diff(ratio) < 0)


def test_variance_ratios_of_arrays_are_those_of_the_scalars_in_any_number() -> None:
    generator = np.random.default_rng(3)
    zone = generator.uniform(1e-4, 5e-3, 5000)  # more than one block
    zone[17] = 0.0
    length = generator.uniform(5e-4, 4e-3, 5000)
    together = network.variance_ratio_dodson(zone, length, 2e-5)
    for i in (0, 17, 2047, 2048, 4999):
        assert together[i] == pytest.approx(network.variance_ratio_dodson(zone[i], length[i], 2e-5), rel=1e-14)


def test_coverage_shares_add_up_to_one_and_to_the_coverage() -> None:
    count = np.arange(400)
    for share in (
        network.coverage_share(count, 9.0),
        pores.coverage_share_mixed(count, 9.0, 0.04),
        pores.coverage_share_mixed(count, 9.0, 1e-7),
        pores.coverage_share_mixed(count, 9.0, 0.0),
    ):
        assert share.sum() == pytest.approx(1.0, abs=1e-11)
        assert (count * share).sum() == pytest.approx(9.0, rel=1e-10)


def test_directions_have_probability_one_and_their_inverse_is_right() -> None:
    total = quad(lambda a: network.orientation_density_cauchy(a, 0.4), 0, np.pi, epsrel=1e-12)[0]
    assert total == pytest.approx(1.0, abs=1e-10)
    for u in (0.51, 0.7, 0.98):
        angle = float(network.orientation_angle_cauchy(u, 0.4))
        share = quad(lambda a: network.orientation_density_cauchy(a, 0.4), 0, angle, epsrel=1e-12)[0]
        assert share == pytest.approx(u - 0.5, abs=1e-10)
    ratio = network.orientation_density_cauchy(0.0, 0.4) / network.orientation_density_cauchy(np.pi / 2, 0.4)
    assert network.orientation_ratio_cauchy(0.4) == pytest.approx(ratio, rel=1e-12)
    assert network.orientation_cauchy(network.orientation_ratio_cauchy(0.37)) == pytest.approx(0.37, rel=1e-12)


@pytest.mark.parametrize("orientation", [0.0, 0.2, 0.4, 0.8])
def test_the_crossing_factor_is_the_mean_sine_between_two_fibres(orientation: float) -> None:
    angle = (np.arange(2000) + 0.5) * np.pi / 2000
    density = network.orientation_density_cauchy(angle, orientation) * np.pi / 2000
    mean = np.sum(density[:, None] * density[None, :] * np.abs(np.sin(angle[:, None] - angle[None, :])))
    assert network.crossing_factor_cauchy(orientation) == pytest.approx(np.pi / 2 * mean, rel=1e-5)


def test_the_crossing_factor_is_smooth_where_its_form_changes() -> None:
    low, high = network.crossing_factor_cauchy(np.array([0.9999e-4, 1.0001e-4]))
    assert low == pytest.approx(high, abs=1e-11)


def test_pore_and_polygon_densities_integrate_to_one() -> None:
    l, tau = 1e-4, 2e4  # noqa: E741
    total = quad(lambda x: network.pore_radius_density_corte_lloyd(x * l, l) * l, 0, 30, epsrel=1e-10)[0]
    mean = quad(lambda x: x * l * network.pore_radius_density_corte_lloyd(x * l, l) * l, 0, 30, epsrel=1e-10)[0]
    assert total == pytest.approx(1.0, abs=1e-7)
    assert mean == pytest.approx(network.pore_radius_corte_lloyd(l), rel=1e-7)
    circle = quad(lambda x: network.incircle_radius_density_miles(x / tau, tau) / tau, 0, 40)[0]
    assert circle == pytest.approx(1.0, abs=1e-9)
    assert network.polygon_number_miles(tau, 0.9) * network.polygon_area_miles(tau, 0.9) == pytest.approx(1.0)
    crossings = network.crossings_per_area(tau, 1.0)
    assert network.free_fibre_length(tau) == pytest.approx(tau / (2 * crossings), rel=1e-12)


def test_a_narrow_strip_and_a_narrow_rectangle_leave_the_same_bare_pixels() -> None:
    same = [f(1e8, 1e-3, 0.0, 1e-5) for f in (network.bare_pixel_share_strip, network.bare_pixel_share_rectangle)]
    assert same[0] == same[1]
    fine = network.bare_pixel_share_strip(1e8, 1e-3, 2e-5, 1e-12)
    assert fine == pytest.approx(float(network.open_area(2.0)), rel=1e-6)


# ---------------------------------------------------------------- holes


@pytest.mark.parametrize("order", [0, 1, 2])
@pytest.mark.parametrize("variance", [0.02, 0.3])
def test_gamma_moments_agree_with_quadrature(order: int, variance: float) -> None:
    from scipy.stats import gamma

    law = gamma(1 / variance, scale=variance)
    wanted = quad(lambda x: x**order * np.exp(-3.0 * x) * law.pdf(x), 0, 15, epsrel=1e-11, limit=300)[0]
    assert pores.gamma_moment(order, 3.0, variance) == pytest.approx(wanted, rel=1e-8)


def test_without_flocs_the_mixtures_are_the_random_sheet() -> None:
    count = np.arange(12)
    for v in (0.0, 0.99e-8, 1.01e-8):
        assert pores.open_area_mixed(2.8, v) == pytest.approx(network.open_area(2.8), rel=1e-7)
        mixed = pores.coverage_share_mixed(count, 2.8, v)
        assert mixed == pytest.approx(network.coverage_share(count, 2.8), rel=1e-6)
        assert pores.holes_per_area_mixed(6.0, 4e5, 4e7, 1.0, v) == pytest.approx(
            pores.holes_per_area(6.0, 4e5, 4e7, 1.0), rel=1e-6
        )


def test_endless_fibres_are_the_limit_of_long_ones() -> None:
    tau, width, d = 4e4, 20e-6, 50e-6
    count = []
    for length in (1e-2, 1e-1, 1.0):
        n = tau / length
        blocked = n * pores.dilated_area(length, width, d)
        edge = n * pores.dilated_edge(length, width, d)
        count.append(float(pores.holes_per_area(blocked, edge, n, 0.9)))
    limit = float(pores.holes_per_area_lines(tau, width, d, 0.9))
    errors = [abs(c / limit - 1) for c in count]
    assert errors[0] > 5 * errors[1] > 25 * errors[2]
    assert errors[2] < 1e-3


def test_one_hole_as_large_as_the_largest_is_expected() -> None:
    for v in (0.0, 0.03):
        for area in (1e-2, 1.0, 100.0):
            d = pores.largest_hole(area, 0.014, *ONE_SOFTWOOD, 1.0, v)
            expected = area * pores.holes_per_area_furnish(0.014, *ONE_SOFTWOOD, d, 1.0, v)
            assert expected == pytest.approx(1.0, rel=2e-4)
    assert pores.largest_hole(1e-12, 0.045, *ONE_SOFTWOOD, 1.0, 0.0) == 0.0


def test_more_grammage_or_fewer_flocs_never_make_the_largest_hole_larger() -> None:
    by_grammage = pores.largest_hole(1.0, np.linspace(0.006, 0.06, 30), *ONE_SOFTWOOD, 1.0, 0.01)
    assert np.all(np.diff(by_grammage) < 0)
    by_flocs = pores.largest_hole(1.0, 0.014, *ONE_SOFTWOOD, 1.0, np.linspace(0.0, 0.1, 30))
    assert np.all(np.diff(by_flocs) > 0)


def test_the_lessons_for_the_crew_hold() -> None:
    def above(grammage: float, diameter: float) -> float:
        return float(pores.holes_per_area_furnish(grammage, *ONE_SOFTWOOD, diameter, 1.0, 0.0))

    per_gram = above(0.014, 100e-6) / above(0.015, 100e-6)
    assert 2.1 < per_gram < 2.3
    wire = 16e-3 * 0.95 * (1 - 0.18)
    assert wire == pytest.approx(12.464e-3, rel=1e-12)
    assert float(network.open_area(16e-3 / 5e-3)) == pytest.approx(0.04, abs=0.002)
    assert float(network.open_area(wire / 5e-3)) == pytest.approx(0.08, abs=0.004)
    assert 100 < above(wire, 200e-6) / above(16e-3, 200e-6) < 400


def test_open_area_hardly_moves_with_flocs_but_large_holes_do() -> None:
    assert pores.open_area_mixed(2.8, 0.02) < 1.1 * network.open_area(2.8)
    few = pores.holes_per_area_furnish(0.014, *ONE_SOFTWOOD, 200e-6, 1.0, 0.0)
    assert pores.holes_per_area_furnish(0.014, *ONE_SOFTWOOD, 200e-6, 1.0, 0.02) > 10 * few


# ---------------------------------------------------------------- flocs


def test_layers_average_out_as_the_integral_says() -> None:
    for depth in (1e-5, 2e-3, 0.02, 10.0):
        z = depth / (2 * 1e-3)
        wanted = 2 * quad(lambda s, z=z: (1 - s) * np.exp(-((z * s) ** 2)), 0, 1, points=[min(1.0, 5 / z)])[0]
        assert flocs.layer_share(depth, 1e-3) == pytest.approx(wanted, rel=1e-7)
    assert flocs.layer_share(10.0, 1e-3) == pytest.approx(2 * np.sqrt(np.pi) * 1e-3 / 10.0, rel=1e-3)
    assert flocs.zone_share(0.0, 1e-3) == 1.0


def test_a_long_array_gives_what_single_numbers_give() -> None:
    depth = np.geomspace(1e-7, 1.0, 300)
    together = flocs.layer_share(depth, 1e-3)
    assert together == pytest.approx([flocs.layer_share(d, 1e-3) for d in depth], rel=1e-13)
    z = depth[250] / 2e-3
    assert together[250] == pytest.approx(np.sqrt(np.pi) * erf(z) / z + np.expm1(-z * z) / z**2, rel=1e-13)


def test_pair_sums_of_one_fibre_are_the_single_formulas() -> None:
    one = np.array([1.0]), np.array([2.2e-3])
    assert flocs.floc_variance_blend(0.04, 1.5e-3, *one) == pytest.approx(
        flocs.floc_variance(0.04, 1.5e-3, 2.2e-3), rel=1e-14
    )
    assert flocs.floc_variance_zone_blend(0.04, 1.5e-3, *one, 1e-3) == pytest.approx(
        flocs.floc_variance_zone(0.04, 1.5e-3, 2.2e-3, 1e-3), rel=1e-14
    )


def test_pair_sums_agree_with_plain_loops() -> None:
    share, length = np.array([0.2, 0.5, 0.3]), np.array([3e-3, 1e-3, 2e-3])
    variance, spread, zone = (
        np.array([0.04, 0.02, 0.3]),
        np.array([1e-3, 2e-3, 0.5e-3]),
        np.array([1e-3, 0.0, 4e-3]),
    )
    point = flocs.floc_variance_blend(variance, spread, share, length)
    zones = flocs.floc_variance_zone_blend(variance, spread, share, length, zone)
    for case in range(3):
        in_point = in_zone = 0.0
        for i in range(3):
            for j in range(3):
                s2 = spread[case] ** 2 + (length[i] ** 2 + length[j] ** 2) / 48
                weight = variance[case] * spread[case] ** 2 * share[i] * share[j] / s2
                in_point += weight
                in_zone += weight * float(flocs.zone_share(zone[case], np.sqrt(s2)))
        assert point[case] == pytest.approx(in_point, rel=1e-13)
        assert zones[case] == pytest.approx(in_zone, rel=1e-13)


def test_cluster_size_and_variance_undo_each_other() -> None:
    mu = flocs.floc_companions(0.03, 4e7, 1.5e-3)
    assert flocs.intensity_variance_thomas(mu, 4e7, 1.5e-3) == pytest.approx(0.03, rel=1e-14)


def test_the_simulated_cluster_sheet_agrees_with_the_formula() -> None:
    """Softwood 14 g/m² in clusters of 8, spread 1.5 mm, zones 0.5 to 5 mm: simulated apart from this code."""
    simulated = np.array([0.1557, 0.1200, 0.0938, 0.0581])
    formula = np.array([0.1573, 0.1204, 0.0943, 0.0630])
    zone = np.array([0.5e-3, 1e-3, 2e-3, 5e-3])
    n = network.fibre_number(0.014, 2.2e-3, 0.15e-6)
    v = flocs.intensity_variance_thomas(8.0, n, 1.5e-3)
    floor = network.cv_random(network.variance_ratio_dodson(zone, 2.2e-3, 30e-6), 2.8)
    cv = flocs.cv_flocculated(floor, flocs.floc_variance_zone(v, 1.5e-3, 2.2e-3, zone), 1.0)
    assert cv == pytest.approx(formula, abs=0.00005)
    assert cv == pytest.approx(simulated, rel=0.09)  # few zones of 5 mm: that value lies 8 % low


def test_the_simulated_cox_sheet_agrees_with_the_formula() -> None:
    """Softwood 14 g/m² at 0.3 %, suspension variation 0.4: six sheets of 48 mm simulated apart."""
    zone = np.array([0.5e-3, 1e-3, 2e-3, 4e-3])
    cv = formation(SOFTWOOD, np.full(4, 0.014), 0.003, 0.4, zone=zone).cv
    for value, printed in zip(cv, (".3383", ".3192", ".2967", ".2484"), strict=True):
        agrees(value, printed)
    assert cv == pytest.approx([0.338, 0.319, 0.296, 0.245], abs=0.011)


def test_healing_ends_where_the_wire_or_the_mat_decides() -> None:
    assert flocs.self_healing_factor(0.014, 1e9, 1.0) == pytest.approx(1.0, abs=1e-9)
    assert flocs.self_healing_factor(0.014, 0.0, 1.0) == pytest.approx(1 / 3, rel=1e-12)
    assert flocs.self_healing_factor(0.014, 0.01, 0.0) == pytest.approx(1.0, rel=1e-12)
    w, b, m = 0.014, 0.01, 3.0
    plain = (b + w) / (m * w) * (1 - (b / (b + w)) ** m)
    assert flocs.self_healing_factor(w, b, 1.0) == pytest.approx(plain, rel=1e-12)


# ---------------------------------------------------------------- the joined chain


@pytest.mark.parametrize("row", CHAIN["chain"], ids=lambda r: r["furnish"])
def test_the_chain_from_consistency_to_sheet(row: dict[str, Any]) -> None:
    furnish = FURNISH[row["furnish"]]
    sheets = [
        formation(furnish, row["grammage"], row["consistency"], v, hole_diameter=200e-6)
        for v in row["suspension_variation"]
    ]
    agrees(sheets[0].crowding_number, row["crowding_number"])
    agrees(sheets[0].suspension_depth * 1e3, row["suspension_depth_mm"])
    agrees(sheets[0].cv_random, row["cv_random"])
    agrees(sheets[1].specific_formation * np.sqrt(1000), row["specific_formation"])
    for number, sheet in enumerate(sheets):
        agrees(sheet.cv, row["cv"][number])
        agrees(sheet.formation_number, row["formation_number"][number])
        if "holes_per_area" in row:
            agrees(sheet.holes_per_area, row["holes_per_area"][number])
            agrees(sheet.holes_per_area_random, row["holes_per_area_random"])


def test_open_area_of_the_chain() -> None:
    agrees(formation(SOFTWOOD, 0.014, 0.001, 0.2).open_area, ".06233")


def test_equal_evenness_gives_the_order_of_the_trade() -> None:
    found = [
        consistency_for_formation(FURNISH[r["furnish"]], r["grammage"], 0.20, cv=0.12) for r in CHAIN["equal_evenness"]
    ]
    for answer, row in zip(found, CHAIN["equal_evenness"], strict=True):
        agrees(answer.consistency * 100, row["consistency_percent"])
        agrees(answer.formation.crowding_number, row["crowding_number"])
        assert answer.limited and answer.formation.cv == pytest.approx(0.12, rel=1e-9)
    falling = np.array([a.consistency for a in found])
    assert np.all(np.diff(falling) < 0)


def test_short_fine_fibre_is_the_cheap_way_to_evenness() -> None:
    answer = consistency_for_formation(BLEND, 0.014, 0.20, cv=0.12)
    agrees(answer.consistency * 100, "0.368")


def test_with_the_formation_number_as_target_the_board_does_not_come_first_and_a_note_says_why() -> None:
    rows = CHAIN["equal_evenness"]
    found = [consistency_for_formation(FURNISH[r["furnish"]], r["grammage"], 0.20, formation_number=1.5) for r in rows]
    assert found[0].consistency < max(a.consistency for a in found)
    assert all("hides its flocs" in a.note for a in found)


def test_the_consistencies_of_the_trade_fall_in_crowding_and_formation_number() -> None:
    sheets = [formation(FURNISH[r["furnish"]], r["grammage"], r["consistency"], 0.20) for r in CHAIN["trade"]]
    for sheet, row in zip(sheets, CHAIN["trade"], strict=True):
        agrees(sheet.crowding_number, row["crowding_number"])
        agrees(sheet.suspension_depth, row["suspension_depth"])
        agrees(sheet.formation_number - 1.0, row["formation_number_above_one"])
    for word in ("crowding_number", "formation_number"):
        assert np.all(np.diff([getattr(s, word) for s in sheets]) < 0), word


def test_the_library_of_grades_holds_the_consistencies_of_the_trade() -> None:
    folder = files("thinstock").joinpath("library")
    grades = tomllib.loads(folder.joinpath("grades.toml").read_text(encoding="utf-8"))
    fibres = tomllib.loads(folder.joinpath("furnishes.toml").read_text(encoding="utf-8"))
    for row in CHAIN["trade"]:
        grade = grades[row["grade"]]
        assert units.parse(grade["trade_rule"]["value"]) == pytest.approx(row["consistency"])
        assert units.parse(grade["wire_grammage"]["value"]) == pytest.approx(row["grammage"])
        low, high = (units.parse(grade["usual"][end]) for end in ("low", "high"))
        assert units.parse(grade["lowest_quoted"]["value"]) <= low <= units.parse(grade["consistency"]["value"]) <= high
        parts = grade["furnish"]
        for word in ("fibre_length", "fibre_width", "coarseness"):
            values = [units.parse(fibres[p["fibre"]][word]["value"]) for p in parts]
            assert values == pytest.approx(list(getattr(FURNISH[row["furnish"]], word)))
        assert sum(units.parse(p["share"]) for p in parts) == pytest.approx(1.0)


def test_the_library_says_where_every_fibre_value_is_from() -> None:
    folder = files("thinstock").joinpath("library")
    fibres = tomllib.loads(folder.joinpath("furnishes.toml").read_text(encoding="utf-8"))
    sources = tomllib.loads(files("thinstock.words").joinpath("sources.toml").read_text(encoding="utf-8"))
    assert len(fibres) == 14
    for fibre in fibres.values():
        for word in ("fibre_length", "fibre_width", "coarseness"):
            entry = fibre[word]
            assert entry["source"] in sources and entry["status"]
            value = units.parse(entry["value"])
            assert units.parse(entry.get("low", entry["value"])) <= value
            assert value <= units.parse(entry.get("high", entry["value"]))


def test_a_round_staple_fibre_has_the_width_of_its_coarseness() -> None:
    assert np.sqrt(4 * 0.17e-6 / (np.pi * 1500)) == pytest.approx(12.0e-6, abs=0.05e-6)


@pytest.mark.parametrize("furnish", [SOFTWOOD, BLEND, FURNISH["flax"]], ids=lambda f: f.name)
@pytest.mark.parametrize("cases", [2, 5])
def test_many_cases_give_what_single_cases_give(furnish: Furnish, cases: int) -> None:
    generator = np.random.default_rng(cases)
    given = {
        "grammage": generator.uniform(0.008, 0.05, cases),
        "consistency": generator.uniform(1e-4, 0.01, cases),
        "suspension_variation": generator.uniform(0.0, 0.4, cases),
    }
    options = {
        "zone": generator.uniform(5e-4, 5e-3, cases),
        "hole_diameter": generator.uniform(0.0, 3e-4, cases),
        "retention": generator.uniform(0.5, 1.0, cases),
        "floc_ratio": generator.uniform(2.0, 5.0, cases),
        "orientation": generator.uniform(0.0, 0.5, cases),
        "self_healing_factor": generator.uniform(0.4, 1.0, cases),
    }
    together = formation(furnish, **given, **options)
    words = "crowding_number crowding_regime cv cv_random open_area holes_per_area largest_hole floc_variance"
    for i in range(cases):
        alone = formation(furnish, **{k: v[i] for k, v in given.items()}, **{k: v[i] for k, v in options.items()})
        for word in (
            *words.split(),
            "specific_formation",
            "floc_variance",
            "suspension_depth",
            "formation_number",
        ):
            assert np.asarray(getattr(together, word))[i] == pytest.approx(getattr(alone, word), rel=1e-11), word


def test_a_furnish_may_change_from_case_to_case() -> None:
    both = Furnish(
        "two cases",
        np.array([[0.3, 0.7], [0.5, 0.5]]),
        np.array([[2.2e-3, 0.75e-3], [1.5e-3, 2.2e-3]]),
        np.array([[30e-6, 17e-6], [18e-6, 30e-6]]),
        np.array([[0.15e-6, 0.075e-6], [0.14e-6, 0.15e-6]]),
    )
    together = formation(both, 0.014, 0.002, 0.2)
    for i, furnish in enumerate((BLEND, FURNISH["flax"])):
        alone = formation(furnish, 0.014, 0.002, 0.2)
        for word in ("crowding_number", "cv", "open_area", "holes_per_area", "largest_hole"):
            assert getattr(together, word)[i] == pytest.approx(getattr(alone, word), rel=1e-11), word


def test_dilution_never_makes_a_sheet_less_even_or_more_open() -> None:
    sheet = formation(SOFTWOOD, 0.014, np.geomspace(1e-7, 0.05, 80), 0.3)
    for word in (
        "cv",
        "formation_number",
        "specific_formation",
        "open_area",
        "holes_per_area",
        "largest_hole",
    ):
        assert np.all(np.diff(getattr(sheet, word)) >= -1e-12 * np.abs(getattr(sheet, word)[1:])), word
    assert np.all(sheet.formation_number >= 1.0)
    assert np.all(sheet.holes_per_area >= sheet.holes_per_area_random * (1 - 1e-12))


def test_a_perfect_headbox_makes_the_random_sheet() -> None:
    sheet = formation(BLEND, 0.014, 0.01, 0.0)
    assert sheet.cv == sheet.cv_random
    assert sheet.formation_number == 1.0
    assert sheet.open_area == pytest.approx(np.exp(-sheet.coverage), rel=1e-12)
    assert sheet.holes_per_area == sheet.holes_per_area_random


@pytest.mark.parametrize(
    ("word", "target"),
    [("cv", 0.11), ("formation_number", 1.6), ("specific_formation", 0.013), ("holes_per_area", 0.9)],
)
def test_the_found_consistency_reaches_the_target(word: str, target: float) -> None:
    found = consistency_for_formation(SOFTWOOD, 0.014, 0.2, hole_diameter=200e-6, **{word: target})
    assert found.limited
    assert getattr(found.formation, word) == pytest.approx(target, rel=1e-8)
    assert found.formation.consistency == found.consistency
    thicker = formation(SOFTWOOD, 0.014, found.consistency * 1.01, 0.2, hole_diameter=200e-6)
    assert getattr(thicker, word) > target


def test_a_search_leaves_only_its_answer_on_the_worksheet() -> None:
    with worksheet() as one:
        formation(SOFTWOOD, 0.014, 0.001, 0.2)
    with worksheet() as searched:
        consistency_for_formation(SOFTWOOD, 0.014, 0.2, cv=0.12)
    assert len(searched.steps) == len(one.steps) > 10


def test_where_formation_does_not_limit_it_says_so() -> None:
    found = consistency_for_formation(SOFTWOOD, 0.014, 0.06, cv=0.5)
    assert found.consistency == 0.05 and not found.limited
    assert "does not limit" in found.note


def test_a_target_below_the_random_sheet_is_refused_with_the_remedies() -> None:
    floor = float(formation(SOFTWOOD, 0.014, 0.001, 0.0).cv)
    for target in (0.05, floor, floor * (1 + 1e-10)):
        with pytest.raises(ValueError, match="no dilution can beat") as refused:
            consistency_for_formation(SOFTWOOD, 0.014, 0.2, cv=target)
        text = str(refused.value)
        assert f"{target:.6g}" in text and f"{floor:.6g}" in text
        for remedy in ("shorter, finer or less coarse fibre", "more grammage", "looser target"):
            assert remedy in text


def test_a_target_out_of_reach_of_the_lowest_consistency_is_refused_with_its_value() -> None:
    at_lowest = float(formation(SOFTWOOD, 0.014, 0.003, 0.2).cv)
    with pytest.raises(NotFound, match=f"{at_lowest:.6g}"):
        consistency_for_formation(SOFTWOOD, 0.014, 0.2, cv=0.11, lowest=0.003)


def test_holes_too_small_to_grow_with_flocs_are_refused_as_a_target() -> None:
    with pytest.raises(Refused, match="larger hole size"):
        consistency_for_formation(SOFTWOOD, 0.014, 0.2, holes_per_area=1.8e8, hole_diameter=0.0)


def test_exactly_one_target_is_wanted() -> None:
    for targets in ({}, {"cv": 0.12, "formation_number": 2.0}):
        with pytest.raises(Refused, match="exactly one"):
            consistency_for_formation(SOFTWOOD, 0.014, 0.2, **targets)


def test_the_fit_gives_back_the_suspension_variation_of_a_sheet() -> None:
    agrees(fit_suspension_variation(MECHANICAL, 0.045, 0.007, cv=0.085, zone=1e-3), ".09949")
    for furnish, v in ((SOFTWOOD, 0.06), (BLEND, 0.3)):
        options = {"zone": 2e-3, "retention": 0.8, "floc_ratio": 4.0, "self_healing_factor": 0.7}
        sheet = formation(furnish, 0.014, 0.002, v, **options)
        fitted = fit_suspension_variation(furnish, 0.014, 0.002, cv=float(sheet.cv), **options)
        assert fitted == pytest.approx(v, rel=1e-9)
        step = 1e-6
        up = fit_suspension_variation(furnish, 0.014, 0.002, cv=float(sheet.cv) + step, **options)
        assert fitted.sensitivity == pytest.approx((up - fitted) / step, rel=1e-3)


def test_a_measured_cv_below_the_floor_or_beyond_all_flocs_cannot_be_fitted() -> None:
    with pytest.raises(Refused, match="random sheet"):
        fit_suspension_variation(SOFTWOOD, 0.014, 0.001, cv=0.05)
    with pytest.raises(Refused, match="must not exceed"):
        fit_suspension_variation(SOFTWOOD, 0.014, 0.001, cv=1.5)


# ---------------------------------------------------------------- refusals and notes


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("consistency", 0.0),
        ("consistency", 0.06),
        ("consistency", float("nan")),
        ("grammage", 0.0),
        ("suspension_variation", -0.1),
        ("suspension_variation", 1.1),
        ("retention", 0.0),
        ("retention", 1.2),
        ("orientation", 1.0),
        ("orientation", -0.1),
        ("zone", -1e-3),
        ("self_healing_factor", 0.0),
        ("density", 0.0),
    ],
)
def test_the_impossible_is_refused_by_name(field: str, value: float) -> None:
    given: dict[str, Any] = {"grammage": 0.014, "consistency": 0.002, "suspension_variation": 0.2}
    for bad in (value, np.array([given.get(field, 1e-3), value])):
        with pytest.raises(Refused) as refused:
            formation(SOFTWOOD, **{**given, field: bad})
        (fault,) = refused.value.faults
        assert fault.field == field and fault.value and fault.bound and fault.remedy


def test_all_faults_come_at_once() -> None:
    with pytest.raises(Refused) as refused:
        formation(SOFTWOOD, -1.0, 0.2, 2.0)
    assert {f.field for f in refused.value.faults} == {"grammage", "consistency", "suspension_variation"}


@pytest.mark.parametrize(
    ("values", "field"),
    [
        (((0.3, 0.6), (1e-3, 2e-3), (2e-5, 2e-5), (1e-7, 1e-7)), "share"),
        (((0.3, 0.7), (1e-3,), (2e-5, 2e-5), (1e-7, 1e-7)), "share"),
        ((1.0, 0.0, 2e-5, 1e-7), "fibre_length"),
        ((1.0, 1e-3, 2e-5, 0.0), "coarseness"),
        ((1.0, 1e-5, 2e-5, 1e-7), "fibre_width"),
        ((1.0, float("nan"), 2e-5, 1e-7), "fibre_length"),
    ],
)
def test_an_impossible_furnish_is_refused(values: tuple[Any, ...], field: str) -> None:
    with pytest.raises(Refused) as refused:
        Furnish("bad", *values)
    assert refused.value.faults[0].field == field


def test_a_sheet_whose_fibres_do_not_hang_together_is_refused() -> None:
    with pytest.raises(Refused, match="fibres thick"):
        formation(SOFTWOOD, 0.001, 0.0001, 0.1)


def test_notes_say_what_is_unusual() -> None:
    def texts(*args: Any) -> str:
        return " | ".join(str(n) for n in formation(*args).notes)

    assert RANDOM_FLOOR in texts(SOFTWOOD, 0.014, 1e-4, 0.2)
    assert "beyond the tested range" in texts(FURNISH["coarse"], 0.12, 0.01, 0.2)
    assert "13 m³ of water per m²" in texts(FURNISH["abaca"], 0.013, 1e-6, 0.2)
    assert "indicative only" in texts(SOFTWOOD, 0.014, 0.01, 0.6)
    assert "less than one fibre thick" in texts(SOFTWOOD, 0.003, 0.001, 0.1)
    assert "statistical floor" in texts(SOFTWOOD, 0.014, 0.004, 0.2)
    assert RANDOM_FLOOR not in texts(SOFTWOOD, 0.014, 0.004, 0.2)
    many = formation(SOFTWOOD, 0.014, np.array([1e-4, 0.004]), 0.2).notes
    assert [n.cases for n in many if n.text == RANDOM_FLOOR] == [1]


def test_what_is_taken_when_nothing_is_given_is_shown_with_its_status() -> None:
    sheet = formation(SOFTWOOD, 0.014, 0.002, 0.2)
    for word, (value, status) in DEFAULTS.items():
        assert getattr(sheet, word) == value and status


def test_formation_needs_no_compiler_and_one_case_no_scipy() -> None:
    code = (
        "import sys; from thinstock.sheet import Furnish, formation; "
        "formation(Furnish('x', 1, 2e-3, 3e-5, 1.5e-7), 0.014, 0.002, 0.2); "
        "print([m for m in ('numba', 'scipy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_ratios_of_many_zones_are_those_of_each_zone() -> None:
    length, width = np.array([0.8e-3, 2.4e-3]), np.array([16e-6, 30e-6])
    zones = 1e-3 * np.exp(np.random.default_rng(3).normal(0.0, 0.1, 400))
    assert len(zones) > ratio_series.MANY
    exact = network.variance_ratio_dodson(zones[:, None], length, width)
    np.testing.assert_allclose(ratio_series.ratio_of_zones(zones, length, width), exact, rtol=1e-6)
    few = np.where(zones > 1e-3, 1.1e-3, 0.9e-3)
    exact = network.variance_ratio_dodson(few[:, None], length, width)
    np.testing.assert_array_equal(ratio_series.ratio_of_zones(few, length, width), exact)
