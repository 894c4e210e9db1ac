"""What refining carries behind the wire: directions, both ends, and the anchor of the press sets."""

from __future__ import annotations

import tomllib
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thinstock import library
from thinstock.relations import freeness, mat, nip, pressing, swelling

DENSITY = 992.2
CHEMICAL = {"resistance_reference": 1.05e9, "water_retention_reference": 1.3}
NU = 0.658e-6


def resistance(millilitres: float) -> float:
    """Filtration resistance at 1 kPa of a stock of this freeness, on the library's tester."""
    tester, temperature = library.tester("CSF"), 293.15
    water = mat.viscosity_water_iapws(temperature), mat.density_water_kell(temperature)
    return float(freeness.resistance_from_freeness(millilitres * 1e-6, 0.4, *water, tester))


def retention(alpha: float, slope: float = 0.33) -> float:
    return float(swelling.water_retention_from_resistance(alpha, **CHEMICAL, swelling_slope=slope))


def anchored(exponent: float, share: float) -> float:
    """Permeability of the anchor: 15 % in, 39.5 % out at 90 kN/m, 1800 m/min, 15 g/m², 40 °C, rewet 5 g/m²."""
    bound = share * 1.3 * 24**-0.2
    return float(pressing.specific_permeability_from_dryness(0.15, 0.395, 3000.0, 0.015, NU, exponent, bound, 0.005, 1))


# --- the furnish


@pytest.mark.parametrize(("millilitres", "wanted"), ((562, 1.05e9), (550, 1.104e9), (520, 1.247e9)))
def test_the_reference_resistance_is_that_of_a_lightly_refined_stock(millilitres: float, wanted: float) -> None:
    assert resistance(millilitres) == pytest.approx(wanted, rel=2e-3)


@pytest.mark.parametrize(("millilitres", "wanted"), ((550, 1.317), (520, 1.357)))
def test_water_retention_of_a_refined_chemical_stock(millilitres: float, wanted: float) -> None:
    assert retention(resistance(millilitres)) == pytest.approx(wanted, abs=5e-4)


def test_the_slope_is_that_of_the_library_rows() -> None:
    """0.9 L/kg of swollen volume for 2.69 e-folds of resistance; one litre of it is 0.992 kg of water."""
    table = tomllib.loads(files("thinstock").joinpath("library/furnishes_hydraulic.toml").read_text(encoding="utf-8"))
    volumes, alphas = [], []
    for row in table.values():
        surface, volume, coefficient, exponent = (
            float(row[word]["value"].split()[0])
            for word in ("specific_surface", "swollen_volume", "mat_coefficient", "mat_exponent")
        )
        volumes.append(1e-3 * volume)
        alphas.append(
            float(mat.specific_filtration_resistance_davies(1e3, surface, 1e-3 * volume, coefficient, exponent))
        )
    assert alphas[0] == pytest.approx(4.35e8, rel=2e-3)
    assert alphas[-1] == pytest.approx(6.40e9, rel=2e-2)
    slope = DENSITY * (volumes[-1] - volumes[0]) / np.log(alphas[-1] / alphas[0])
    assert slope == pytest.approx(0.33, abs=0.01)


@given(a=st.floats(3e8, 1e10), more=st.floats(1.01, 5.0))
def test_refining_swells_the_fibre_and_closes_the_web(a: float, more: float) -> None:
    before, after = retention(a), retention(more * a)
    assert after > before
    volumes = [float(swelling.swollen_volume_from_retention(w, 1500.0, DENSITY)) for w in (before, after)]
    assert volumes[1] > volumes[0]
    assert swelling.mat_coefficient_swollen(53.0, volumes[0], volumes[1], 1.0) < 53.0
    assert swelling.specific_permeability_swollen(2.6e-14, before, after, 3.0) < 2.6e-14


@given(a=st.floats(3e8, 1e10), more=st.floats(1.01, 5.0))
def test_stock_slow_by_fines_changes_nothing_behind_the_wire(a: float, more: float) -> None:
    assert retention(more * a, 0.0) == retention(a, 0.0) == 1.3
    assert swelling.specific_permeability_swollen(2.6e-14, 1.3, retention(more * a, 0.0), 3.0) == 2.6e-14


@given(a=st.floats(3e8, 1e10), more=st.floats(1.05, 5.0), share=st.floats(0.05, 0.95))
def test_the_whole_surface_closes_the_web_more_than_swelling_alone(a: float, more: float, share: float) -> None:
    retained = retention(a), retention(more * a)
    volume = [float(swelling.swollen_volume_from_retention(w, 1500.0, DENSITY)) for w in retained]
    surface = [
        float(swelling.specific_surface_from_resistance(x, v, 53.0, 0.38))
        for x, v in zip((a, more * a), volume, strict=True)
    ]
    mild = swelling.specific_permeability_swollen(2.6e-14, *retained, 3.0)
    strong = swelling.specific_permeability_kozeny(2.6e-14, surface[0], volume[0], surface[1], volume[1])
    between = swelling.specific_permeability_blend(mild, strong, share)
    assert strong < between < mild
    assert swelling.specific_permeability_blend(mild, strong, 0.0) == mild
    assert swelling.specific_permeability_blend(mild, strong, 1.0) == pytest.approx(strong, rel=1e-14)


@given(surface=st.floats(600.0, 5000.0), volume=st.floats(1.8e-3, 3.5e-3))
def test_surface_comes_back_from_the_resistance_it_makes(surface: float, volume: float) -> None:
    made = mat.specific_filtration_resistance_davies(1e3, surface, volume, 53.0, 0.38)
    assert swelling.specific_surface_from_resistance(made, volume, 53.0, 0.38) == pytest.approx(surface, rel=1e-12)


# --- filtration and pressing are one equation


@given(
    moisture=st.floats(1.0, 5.0),
    exponent=st.floats(1.0, 4.0),
    bound=st.floats(0.0, 0.7),
    permeability=st.floats(5e-15, 2e-13),
)
def test_the_press_model_is_darcy_with_this_filtration_resistance(
    moisture: float, exponent: float, bound: float, permeability: float
) -> None:
    """dM/dJ = -1/(ν W² α), from the closed form by a small step of impulse."""
    law = pressing.moisture_pressed_decreasing_permeability
    alpha = float(pressing.specific_filtration_resistance_press(moisture, bound, permeability, exponent))
    rate = 1.0 / (NU * 0.015**2 * alpha)
    step = 1e-6 / rate
    after = float(law(moisture, step, 0.015, NU, permeability, exponent, bound, 1))
    assert (moisture - after) / step == pytest.approx(rate, rel=2e-5)


def test_a_web_at_its_equilibrium_lets_nothing_through() -> None:
    assert pressing.specific_filtration_resistance_press(0.6, 0.6, 2.6e-14, 3.0) == np.inf


def test_the_dense_limit_of_the_mat_law_is_an_exponent_of_two_and_a_half() -> None:
    """Slope of ln α over ln c: half where fibres are few, 3.5 = n + 1 where they fill the mat."""
    dense = np.array([2000.0, 2020.0])
    loose = np.array([2.0, 2.02])
    for c, wanted in ((dense, 3.5), (loose, 0.5)):
        alpha = mat.specific_filtration_resistance_local_davies(c, 1500.0, 2.5e-3)
        assert np.diff(np.log(alpha))[0] / np.diff(np.log(c))[0] == pytest.approx(wanted, abs=0.01)


@pytest.mark.parametrize(("moisture", "low", "high"), ((4.0, 7.0, 31.0), (1.2, 70.0, 260.0)))
def test_the_level_of_the_mat_law_is_useless_in_the_nip(moisture: float, low: float, high: float) -> None:
    """The anchored press resists about ten times as much while moist, a hundred and more when dry."""
    consistency = 1.0 / (moisture / DENSITY + 1.0 / 1500.0)
    for share in (0.0, 0.5):
        nipped = pressing.specific_filtration_resistance_press(
            moisture, share * 1.3 * 24**-0.2, anchored(3.0, share), 3.0
        )
        for volume in (1.977e-3, 2.5e-3, 2.8e-3):
            loose = mat.specific_filtration_resistance_local_davies(consistency, 1500.0, volume)
            assert low < nipped / loose < high


@given(
    wetter=st.floats(0.7, 1.8),
    share=st.floats(0.0, 1.0),
    impulse=st.floats(500.0, 1e4),
    moisture=st.floats(3.0, 6.0),
)
def test_furnishes_alike_but_for_swelling_press_alike(
    wetter: float, share: float, impulse: float, moisture: float
) -> None:
    """M₁/WRV depends on J/(W² WRV) and M₀/WRV alone."""
    law = pressing.moisture_pressed_decreasing_permeability
    a = anchored(3.0, 0.5)
    bound = share * 0.5
    plain = law(moisture, impulse, 0.015, NU, a, 3.0, bound, 1)
    swollen = law(
        wetter * moisture,
        wetter * impulse,
        0.015,
        NU,
        swelling.specific_permeability_swollen(a, 1.3, 1.3 * wetter, 3.0),
        3.0,
        wetter * bound,
        1,
    )
    assert swollen / wetter == pytest.approx(float(plain), rel=1e-12)


# --- the anchor and what each form of the press makes of it

FORMS = ((3.0, 0.0), (3.0, 0.5), (3.0, 1.0), (2.0, 1.0), (1.0, 1.0))


def dryness(impulse: float, exponent: float, share: float, *, weighted: float, rewet: float, nu: float = NU) -> float:
    """Per cent dry behind a nip of a 15 g/m² sheet that comes in with 15 %."""
    bound = share * pressing.equilibrium_moisture_power_law(1.3, weighted, 1e5, 0.2)
    pressed = pressing.moisture_pressed_decreasing_permeability(
        1.0 / 0.15 - 1.0, impulse, 0.015, nu, anchored(exponent, share), exponent, bound, 1
    )
    return 100.0 / (1.0 + float(pressed) + rewet / 0.015)


@pytest.mark.parametrize(
    ("exponent", "share", "wanted"),
    (
        (3.0, 0.0, 9.46955e-15),
        (3.0, 0.5, 2.62964e-14),
        (3.0, 1.0, 1.24010e-13),
        (2.0, 0.0, 1.64153e-14),
        (2.0, 0.5, 3.29569e-14),
        (2.0, 1.0, 9.39399e-14),
        (1.0, 1.0, 8.68862e-14),
    ),
)
def test_the_permeability_of_the_anchor(exponent: float, share: float, wanted: float) -> None:
    assert anchored(exponent, share) == pytest.approx(wanted, rel=2e-6)
    assert dryness(3000.0, exponent, share, weighted=2.4e6, rewet=0.005) == pytest.approx(39.5, abs=1e-9)


def test_the_pressure_of_the_anchor_is_that_of_a_roll_nip_of_two_megapascal() -> None:
    """2.4 MPa weighted is a parabola of 2 MPa mean: 90 kN/m on 45 mm."""
    assert pressing.pressure_weighted_roll(nip.pressure_mean(90e3, 0.045), 1.5) == pytest.approx(2.4e6, rel=1e-12)


@pytest.mark.parametrize(("form", "wanted"), tuple(zip(FORMS, (47.2, 45.9, 44.7, 45.7, 47.9), strict=True)))
def test_worked_dryness_of_a_hard_shoe_by_form(form: tuple[float, float], wanted: float) -> None:
    weighted = float(pressing.pressure_weighted_shoe(200e3 / 0.08, 0.85, 2.0))
    assert dryness(200e3 / 30.0, *form, weighted=weighted, rewet=0.003) == pytest.approx(wanted, abs=0.06)


@pytest.mark.parametrize(("form", "wanted"), tuple(zip(FORMS, (1.06, 0.75, 0.45, 0.66, 1.18), strict=True)))
def test_worked_gain_of_ten_kelvin_by_form(form: tuple[float, float], wanted: float) -> None:
    cold = dryness(3000.0, *form, weighted=2.4e6, rewet=0.005)
    warm = dryness(3000.0, *form, weighted=2.4e6, rewet=0.005, nu=0.554e-6)
    assert warm - cold == pytest.approx(wanted, abs=0.006)
