"""A suction slot by the press's own law: what stays, when air comes and how much, and pumps that have a curve."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from thinstock.relations import felt, mat, pressing, pumping, swelling, vacuum

DENSITY, WALL, TENSION, NU = 992.2, 1500.0, 0.0696, 0.658e-6
ANCHORED = 2.62964e-14
AIR = (101325.0, 1.82e-5, 1.2)


class Slotted(NamedTuple):
    moisture: float
    flux: float
    entry: float
    floor: float


def slot(
    pull: float = 40e3,
    *,
    moisture: float = 8.0,
    dwell: float = 3e-3,
    grammage: float = 0.0125,
    alpha: float = 1.247e9,
    factor: float = 1.0,
    slope: float = 0.33,
    packing: float = 0.0,
    share: float = 0.5,
) -> Slotted:
    """One slot under a wire: moisture before rewet and air at ambient pressure, as the formulas say in turn."""
    retained = swelling.water_retention_from_resistance(alpha, 1.05e9, 1.3, slope)
    volumes = [swelling.swollen_volume_from_retention(w, WALL, DENSITY) for w in (1.3, retained)]
    coefficient = swelling.mat_coefficient_swollen(53.0, volumes[0], volumes[1], 1.0)
    permeability = swelling.specific_permeability_swollen(ANCHORED, 1.3, retained, 3.0)
    packed = vacuum.packing_vacuum_so_far(pull, packing)
    consistency = mat.mat_consistency_power(packed, coefficient, 0.38, 150.0)
    resistance = mat.specific_filtration_resistance_power(packed, factor * alpha, 0.4)
    full = vacuum.moisture_ratio_saturated(consistency, DENSITY, WALL)
    entry = vacuum.capillary_entry_pressure(consistency, resistance, volumes[1], TENSION, 0.2)
    wall = pressing.equilibrium_moisture_power_law(retained, pull, 1e5, 0.2)
    floor = vacuum.equilibrium_moisture_vacuum(full, share * wall, pull, entry, 2.0)
    opened, after = [], moisture
    for part in (0.0, 0.5, 1.0):
        after = pressing.moisture_pressed_decreasing_permeability(
            moisture, part * pull * dwell, grammage, NU, permeability, 3.0, floor, 1
        )
        mobile = vacuum.saturation_mobile(after, full, wall)
        opened.append(np.where(pull > entry, vacuum.relative_permeability_air_brooks(mobile, 2.0), 0.0))
    mean = vacuum.relative_permeability_mean(*opened)
    series = vacuum.viscous_resistance_series(resistance, grammage, mean, 1e6)
    flux = vacuum.ambient_air_flux_series(AIR[0], pull, AIR[1], AIR[2], series, 10.0)
    return Slotted(float(after), float(flux), float(entry), float(floor))


# --- moisture


@given(pull=st.floats(1e3, 7e4), longer=st.floats(1.0, 5.0), more=st.floats(1.0, 1.5))
def test_more_vacuum_and_more_time_dry_more(pull: float, longer: float, more: float) -> None:
    held = slot(pull).moisture
    assert slot(pull, dwell=3e-3 * longer).moisture <= held + 1e-12
    assert slot(pull * more).moisture <= held + 1e-12
    assert held >= min(8.0, slot(pull).floor)


@given(alpha=st.floats(7e8, 4e9), more=st.floats(1.05, 2.0))
def test_refining_leaves_the_sheet_wetter_behind_a_slot(alpha: float, more: float) -> None:
    assert slot(alpha=more * alpha).moisture > slot(alpha=alpha).moisture


@given(alpha=st.floats(7e8, 4e9), more=st.floats(1.05, 2.0))
def test_fines_alone_change_a_slot_by_its_entry_only(alpha: float, more: float) -> None:
    free, slow = slot(alpha=alpha, slope=0.0), slot(alpha=more * alpha, slope=0.0)
    assert slow.entry > free.entry
    assert slow.floor >= free.floor
    assert slow.moisture - free.moisture <= slow.floor - free.floor + 1e-12


def test_below_the_entry_pressure_a_box_squeezes_and_no_more() -> None:
    wet = slot(0.8e3, dwell=0.036)
    assert wet.entry > 0.8e3
    assert wet.flux == 0.0
    coefficient = swelling.mat_coefficient_swollen(53.0, 1.97688638043e-3, 2.03413e-3, 1.0)
    packed = mat.mat_consistency_power(0.8e3, coefficient, 0.38, 150.0)
    assert wet.floor == pytest.approx(float(vacuum.moisture_ratio_saturated(packed, DENSITY, WALL)), rel=1e-3)


@given(full=st.floats(1.5, 6.0), wall=st.floats(0.3, 3.0), entry=st.floats(2e3, 2e4), index=st.floats(1.0, 4.0))
def test_what_a_slot_cannot_pass_falls_from_full_pores_to_wet_walls(
    full: float, wall: float, entry: float, index: float
) -> None:
    pulls = np.array([0.0, 0.5 * entry, entry, 1.5 * entry, 5.0 * entry, 1e9 * entry])
    kept = vacuum.equilibrium_moisture_vacuum(full, wall, pulls, entry, index)
    assert kept[:3] == pytest.approx([full] * 3, rel=1e-14)
    assert np.all(np.diff(kept) <= 1e-14)
    assert kept[-1] == pytest.approx(min(full, wall), rel=1e-6)


@pytest.mark.parametrize(
    ("pull", "rewet", "wanted"),
    ((40e3, 5e-3, 23.4), (60e3, 5e-3, 26.1), (40e3, 10e-3, 22.1), (60e3, 10e-3, 24.5)),
)
def test_worked_dryness_behind_a_slow_box(pull: float, rewet: float, wanted: float) -> None:
    """20 g/m² for 10 ms; 24 to 26 % is what is published for 40 to 60 kPa."""
    out = slot(pull, moisture=10.0, dwell=10e-3, grammage=0.020, alpha=1.05e9).moisture + rewet / 0.020
    assert 100.0 / (1.0 + out) == pytest.approx(wanted, abs=0.06)


# --- air


def test_no_air_comes_before_the_pores_open() -> None:
    assert vacuum.relative_permeability_air_brooks(1.0, 2.0) == 0.0
    assert vacuum.relative_permeability_air_brooks(0.0, 2.0) == 1.0
    assert vacuum.saturation_mobile(5.0, 4.0, 1.5) == 1.0
    assert vacuum.saturation_mobile(1.0, 4.0, 1.5) == 0.0


@given(grammage=st.floats(0.010, 0.03), more=st.floats(1.05, 2.0), factor=st.floats(1.0, 3.0))
def test_a_heavier_sheet_and_a_closer_mat_let_less_air_through(grammage: float, more: float, factor: float) -> None:
    light = slot(grammage=grammage, factor=factor)
    assert slot(grammage=more * grammage, factor=factor).flux <= light.flux
    assert slot(grammage=grammage, factor=more * factor).flux <= light.flux
    assert slot(grammage=grammage, factor=factor, alpha=more * 1.247e9).flux <= light.flux


@given(moisture=st.floats(2.5, 4.0), drier=st.floats(0.7, 0.99))
def test_a_drier_sheet_lets_more_air_through(moisture: float, drier: float) -> None:
    assert slot(moisture=moisture * drier).flux >= slot(moisture=moisture).flux


def test_with_its_packing_kept_a_weaker_slot_never_draws_more_air() -> None:
    """What a pump needs to have one balance; without the packing air rises where vacuum falls."""
    pulls = np.linspace(11e3, 60e3, 50)
    kept = np.array([slot(float(p), moisture=2.9, packing=60e3).flux for p in pulls])
    assert np.all(np.diff(kept) >= 0.0)
    loose = np.array([slot(float(p), moisture=2.9).flux for p in pulls])
    assert np.any(loose > kept)


@given(resistance=st.floats(1e7, 1e10), inertia=st.floats(0.0, 1e3), pull=st.floats(1e3, 8e4))
def test_the_air_flux_spends_the_whole_drive(resistance: float, inertia: float, pull: float) -> None:
    outside, viscosity, density = AIR
    flux = float(vacuum.ambient_air_flux_series(outside, pull, viscosity, density, resistance, inertia))
    drop = viscosity * resistance * flux + 0.5 * density * inertia * flux**2
    assert drop == pytest.approx((outside**2 - (outside - pull) ** 2) / (2.0 * outside), rel=1e-12)


def test_without_inertia_the_series_is_the_older_form() -> None:
    series = vacuum.viscous_resistance_series(2e9, 0.0125, 0.16, 9.6e5)
    older = vacuum.ambient_air_flux_corey(101325.0, 40e3, 1.82e-5, 2e9, 0.0125, 9.6e5, 0.16)
    assert vacuum.ambient_air_flux_series(101325.0, 40e3, 1.82e-5, 1.2, series, 0.0) == pytest.approx(older, rel=1e-12)


@given(start=st.floats(0.0, 1.0), rise=st.floats(0.0, 1.0), bend=st.floats(-1.0, 1.0))
def test_the_mean_opening_is_exact_for_a_parabola(start: float, rise: float, bend: float) -> None:
    middle, end = start + rise / 2 + bend / 4, start + rise + bend
    assert vacuum.relative_permeability_mean(start, middle, end) == pytest.approx(
        start + rise / 2 + bend / 3, rel=1e-12, abs=1e-15
    )


def felt_box(pull: float, openness: float, left: float = 0.42) -> float:
    """Air at the box's pressure through the slot of a felt box, m/s."""
    free = 1.431
    k = vacuum.relative_permeability_air_brooks(felt.felt_saturation_free(left, free), 2.0)
    viscous = vacuum.viscous_resistance_moist(felt.felt_resistance_aged(4.5148e7, openness), k)
    inertial = vacuum.inertial_resistance_moist(felt.felt_inertia_aged(92.2, openness), k)
    flux = vacuum.ambient_air_flux_series(AIR[0], pull, AIR[1], AIR[2], viscous, inertial)
    return float(vacuum.air_flow_at_vacuum(flux, AIR[0], pull))


@pytest.mark.parametrize(("openness", "wanted"), ((1.0, 19.99), (0.6, 12.00), (0.3, 6.00)))
def test_worked_air_at_a_felt_box(openness: float, wanted: float) -> None:
    assert felt_box(45e3, openness) == pytest.approx(wanted, abs=0.006)


def test_a_felt_of_the_assumed_openness_draws_what_practice_recommends() -> None:
    assert 10.97 < felt_box(45e3, 0.6) < 14.63


def test_box_air_rises_with_vacuum_and_openness_and_dries_up_in_a_full_felt() -> None:
    airs = [felt_box(p, 0.6) for p in (20e3, 45e3, 64e3, 80e3)]
    assert np.all(np.diff(airs) > 0.0)
    powers = [
        float(pumping.vacuum_power_isothermal(a, AIR[0], p, 0.5))
        for a, p in zip(airs, (20e3, 45e3, 64e3, 80e3), strict=True)
    ]
    assert np.all(np.diff(powers) > 0.0)
    assert felt_box(45e3, 0.6, left=1.431) == 0.0
    assert felt_box(0.0, 0.6, left=1.431) == 0.0


# --- pumps


@given(vacuum_=st.floats(1e3, 8e4), share=st.floats(0.05, 0.95), free=st.floats(1.0, 20.0))
def test_a_ring_pump_meets_the_point_its_shape_came_from(vacuum_: float, share: float, free: float) -> None:
    shape = pumping.pump_shape_from_point(vacuum_, share * free, free, 9e4)
    assert pumping.pump_flow_liquid_ring(vacuum_, free, 9e4, shape) == pytest.approx(share * free, rel=1e-9)


def test_a_pump_takes_all_at_no_vacuum_less_with_more_and_nothing_when_shut() -> None:
    pulls = np.linspace(0.0, 1e5, 101)
    for curve in (pumping.pump_flow_liquid_ring(pulls, 8.0, 9e4, 4.0), pumping.pump_flow_fan(pulls, 8.0, 9e4)):
        assert curve[0] == 8.0
        assert np.all(np.diff(curve) <= 0.0)
        assert np.all(curve[pulls >= 9e4] == 0.0)


def held(**changes: float) -> float:
    """Vacuum that a ring pump (0.05 m²/s free, shut at 80 kPa) holds over a 50 mm slot whose mat has met 60 kPa."""

    def spare(pull: float) -> float:
        air = slot(pull, dwell=6e-3, packing=60e3, **changes).flux * 0.05
        taken = float(vacuum.air_flow_at_vacuum(air, AIR[0], pull))
        return float(pumping.pump_flow_liquid_ring(pull, 0.05, 8e4, 4.0)) - taken

    return float(brentq(spare, 1.0, 8e4 - 1.0, xtol=1e-6))


def test_a_fixed_pump_sags_on_an_open_sheet_and_rises_on_a_sealed_one() -> None:
    assert held(alpha=7.1e8) < held() < held(alpha=2.0e9)
    assert held(factor=2.24) > held()
    assert held(grammage=0.018) > held()
