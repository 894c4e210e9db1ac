"""Nips: limits, round trips and the full solution of the bonded layer as referee of the fits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thinstock.relations import nip

MIDDLES = (np.arange(4000) + 0.5) / 4000
PROFILES = {
    "ellipse": nip.profile_ellipse(MIDDLES),
    "parabola": nip.profile_parabola(MIDDLES),
    "quartic": nip.profile_quartic(MIDDLES),
    "shoe": nip.profile_shoe(MIDDLES, 0.85, 2.5),
}


@pytest.mark.parametrize("name", PROFILES)
def test_the_impulse_is_the_pressure_added_up_over_time_for_any_profile(name: str) -> None:
    pressure = nip.pressure_mean(90e3, 0.045) * PROFILES[name]
    seconds = nip.dwell_nip(0.045, 30.0) / MIDDLES.size
    assert np.sum(pressure) * seconds == pytest.approx(nip.impulse(90e3, 30.0), rel=2e-5)


@pytest.mark.parametrize("name", ("profile_ellipse", "profile_parabola", "profile_quartic"))
def test_there_is_no_pressure_outside_the_nip(name: str) -> None:
    assert np.all(getattr(nip, name)(np.array([-0.2, -1e-9, 1.0 + 1e-9, 3.0])) == 0.0)


def test_a_shoe_does_not_press_outside_its_length() -> None:
    assert np.all(nip.profile_shoe(np.array([-0.2, 1.2]), 0.85, 2.5) == 0.0)


@given(peak_position=st.floats(0.55, 0.95), tilt=st.floats(0.02, 0.95))
def test_the_mean_of_every_possible_shoe_profile_is_one(peak_position: float, tilt: float) -> None:
    low, high = 2.0 / (1.0 + peak_position), min(2.0 / (1.0 - peak_position), 6.0)
    ratio = low + tilt * (high - low) * 0.5
    peak = round(peak_position * MIDDLES.size)
    edge = peak / MIDDLES.size  # a cell border at the peak
    shape = nip.profile_shoe(MIDDLES, edge, ratio)
    assert np.mean(shape) == pytest.approx(1.0, abs=2e-3)


@given(peak_position=st.floats(0.1, 0.95), position=st.floats(0.0, 1.0))
def test_a_peak_ratio_of_two_is_a_triangle_wherever_the_peak_is(peak_position: float, position: float) -> None:
    triangle = 2.0 * min(position / peak_position, (1.0 - position) / (1.0 - peak_position))
    assert nip.profile_shoe(position, peak_position, 2.0) == pytest.approx(triangle, abs=1e-9)


@given(
    line_load=st.floats(5e3, 200e3),
    weight=st.floats(-2e5, 2e5),
    arm=st.floats(0.4, 2.0),
    count=st.integers(1, 6),
)
def test_loading_frame_there_and_back_again(line_load: float, weight: float, arm: float, count: int) -> None:
    frame = (0.2410, count, arm, 0.80, weight, 5.95)
    pressure = nip.cylinder_pressure_lever_frame(line_load, *frame)
    assert nip.line_load_lever_frame(pressure, *frame) == pytest.approx(line_load, rel=1e-12)


def test_a_flat_mate_is_an_infinite_roll() -> None:
    assert nip.equivalent_radius_cylinders(1.1, np.inf) == pytest.approx(0.55, rel=1e-15)


@given(half_width=st.floats(1e-3, 0.05), thickness=st.floats(5e-3, 0.03), modulus=st.floats(2e6, 1e8))
def test_nip_width_and_line_load_there_and_back_again(half_width: float, thickness: float, modulus: float) -> None:
    load = nip.line_load_covered_roll(half_width, thickness, 0.45, modulus)
    assert nip.nip_width_covered_roll(load, thickness, 0.45, modulus) == pytest.approx(2 * half_width, rel=1e-11)
    assert nip.cover_modulus_nip_width(load, 2 * half_width, thickness, 0.45) == pytest.approx(modulus, rel=1e-12)


def test_nip_widths_of_many_loads_are_those_of_each() -> None:
    loads = np.geomspace(1e3, 1e6, 7)
    together = nip.nip_width_covered_roll(loads, 0.02, 0.44, 26.64e6)
    alone = [nip.nip_width_covered_roll(q, 0.02, 0.44, 26.64e6) for q in loads]
    assert np.allclose(together, alone, rtol=1e-12, atol=0.0)
    assert np.all(np.diff(together) > 0.0)


def test_a_thick_layer_is_the_deep_block() -> None:
    found = nip.layer_contact(0.001, 0.05, 0.4, 30e6, 0.5, 361)
    load = 2 * found.line_load - nip.layer_contact(0.001, 0.05, 0.4, 30e6, 0.5, 181).line_load
    assert nip.half_width_hertz(load, 0.4, 30e6, 0.5) == pytest.approx(0.001, rel=0.003)
    assert found.peak_pressure / nip.pressure_mean(found.line_load, 0.002) == pytest.approx(4 / np.pi, rel=0.003)


def test_a_thin_compressible_layer_is_a_bed_of_springs() -> None:
    coarse, fine = (nip.layer_contact(0.1, 0.005, 0.4, 5e6, 0.3, n).line_load for n in (181, 362))
    assert 2 * fine - coarse == pytest.approx(nip.line_load_thin_compressible(0.1, 0.005, 0.4, 5e6, 0.3), rel=0.02)


def test_the_thin_incompressible_limit_is_approached_slowly_from_above() -> None:
    ratios = []
    for r in (5.0, 10.0, 20.0):
        found = nip.layer_contact(r * 0.005, 0.005, 0.4, 5e6, 0.5, 401).line_load
        ratios.append(found / nip.line_load_thin_incompressible(r * 0.005, 0.005, 0.4, 5e6))
    assert ratios[0] > ratios[1] > ratios[2] > 1.0
    assert ratios[2] == pytest.approx(1.43, abs=0.02)


@pytest.mark.parametrize("r", (0.1, 0.7, 1.2, 2.5, 6.0, 15.0))
def test_the_fits_agree_with_the_bonded_layer(r: float) -> None:
    coarse, fine = (nip.layer_contact(r * 0.02, 0.02, 0.4, 30e6, 0.5, n) for n in (181, 362))
    load = 2 * fine.line_load - coarse.line_load
    assert nip.line_load_covered_roll(r * 0.02, 0.02, 0.4, 30e6) == pytest.approx(load, rel=0.006)
    ratio = fine.peak_pressure / nip.pressure_mean(fine.line_load, 0.04 * r)
    assert nip.peak_ratio_covered_roll(r * 0.02, 0.02) == pytest.approx(ratio, rel=0.004)


@pytest.mark.parametrize(("r", "less"), ((0.5, 5), (1.0, 8), (1.5, 12), (2.0, 16)))
def test_a_slightly_compressible_cover_carries_less(r: float, less: float) -> None:
    stiff, soft = (nip.layer_contact(r * 0.02, 0.02, 0.4, 30e6, v, 181).line_load for v in (0.5, 0.47))
    assert 100 * (1 - soft / stiff) == pytest.approx(less, abs=0.75)


def test_the_error_of_the_layer_falls_as_one_over_the_cells() -> None:
    q = [nip.layer_contact(0.02, 0.02, 0.4, 30e6, 0.5, n).line_load for n in (91, 182, 364)]
    assert (q[0] - q[1]) / (q[1] - q[2]) == pytest.approx(2.0, abs=0.4)


def test_thin_layer_formulas_are_wrong_for_real_covers() -> None:
    for r in (0.8, 1.7):
        real = nip.line_load_covered_roll(r * 0.02, 0.02, 0.44, 26.6e6)
        hertz = np.pi * 26.6e6 * (r * 0.02) ** 2 / (3 * 0.44)
        thin = nip.line_load_thin_incompressible(r * 0.02, 0.02, 0.44, 26.6e6)
        assert 1.5 < real / hertz < 3.4
        assert 15 < real / thin < 75


@settings(max_examples=5)
@given(half_width=st.floats(0.01, 0.04))
def test_layers_of_many_cases_are_those_of_each(half_width: float) -> None:
    both = nip.layer_contact(np.array([half_width, 0.02]), 0.02, 0.4, 30e6, np.array([0.5, 0.47]), 61)
    second = nip.layer_contact(0.02, 0.02, 0.4, 30e6, 0.47, 61)
    assert both.line_load[1] == second.line_load
    assert np.array_equal(both.nip_pressure[1], second.nip_pressure)
    assert both.position.shape == (2, 61)


def test_rolls_set_at_the_clear_angle_leave_the_clearance() -> None:
    angle = nip.angle_clear_rolls(4.5, 1.1, 1.0, 0.2)
    first, second = 2.8 * np.array([0.0, -1.0]), 2.75 * np.array([-np.sin(angle), -np.cos(angle)])
    assert np.linalg.norm(first - second) - 0.55 - 0.5 == pytest.approx(0.2, abs=1e-12)
