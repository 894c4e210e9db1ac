"""Steam, hot humid air, jets, sorption, contact, hood balance and pumps against a general property library,
each other and their limits. Printed and computed values stand in the data files and are run with all others.
"""

from __future__ import annotations

import tomllib
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from iapws import IAPWS97
from iapws.iapws97 import _PSat_T, _TSat_P

from thinstock import library
from thinstock.formula.label import STATUSES
from thinstock.relations import (
    contact_drying,
    creping,
    evaporation,
    hood,
    humid_air,
    impingement,
    pumping,
    sorption,
    steam,
    yankee,
)
from thinstock.words import units
from thinstock.words.constants import vapour_gas_constant

FEW = settings(deadline=None, max_examples=60)
P = 101325.0
HOOD = {
    "evaporation": 0.5,
    "vapour_enthalpy_flow": 1.33e6,
    "sheet_heat": 0.6e6,
    "jet_dry_air": 4.1,
    "air_temperature": 723.15,
    "leakage": 0.1,
    "make_up_temperature": 473.15,
    "make_up_humidity": 0.02,
    "room_temperature": 308.15,
    "room_humidity": 0.02,
    "hood_loss": 18e3,
    "fan_heat": 90e3,
    "lower_heating_value": 50e6,
    "combustion_water_ratio": 2.25,
}


# -------------------------------------------- steam


@pytest.mark.parametrize("temperature", [274.0, 300.0, 353.15, 373.15, 443.56, 513.0, 600.0, 640.0])
def test_saturation_pressure_is_that_of_the_property_library(temperature: float) -> None:
    ours = steam.saturation_pressure_if97(temperature)
    assert ours == pytest.approx(1e6 * _PSat_T(temperature), rel=1e-10)


@pytest.mark.parametrize("pressure", [1e3, 1e4, P, 3e5, 8e5, 2e6, 1e7])
def test_saturation_temperature_is_that_of_the_property_library(pressure: float) -> None:
    assert steam.saturation_temperature_if97(pressure) == pytest.approx(_TSat_P(pressure / 1e6), rel=1e-10)


def test_saturation_temperature_undoes_saturation_pressure() -> None:
    temperature = np.linspace(274.0, 640.0, 200)
    back = steam.saturation_temperature_if97(steam.saturation_pressure_if97(temperature))
    assert np.allclose(back, temperature, rtol=0.0, atol=1e-6)


@pytest.mark.parametrize("celsius", [1.0, 20.0, 60.0, 100.0, 140.0, 170.41, 200.0, 239.0])
def test_enthalpy_fits_stay_within_their_stated_error(celsius: float) -> None:
    liquid, vapour = IAPWS97(T=celsius + 273.15, x=0), IAPWS97(T=celsius + 273.15, x=1)
    assert steam.liquid_enthalpy_fit(celsius + 273.15) == pytest.approx(1e3 * liquid.h, abs=40.0)
    latent = 1e3 * (vapour.h - liquid.h)
    assert steam.latent_heat_fit(celsius + 273.15) == pytest.approx(latent, rel=6.5e-5)
    assert steam.vapour_enthalpy_fit(celsius + 273.15) == pytest.approx(1e3 * vapour.h, rel=6.5e-5)


def test_the_slope_of_latent_heat_is_its_derivative() -> None:
    t = np.linspace(280.0, 510.0, 50)
    numerical = (steam.latent_heat_fit(t + 1e-3) - steam.latent_heat_fit(t - 1e-3)) / 2e-3
    assert np.allclose(steam.latent_heat_slope_fit(t), numerical, rtol=1e-6)


# -------------------------------------------- humid air


@FEW
@given(st.floats(280.0, 970.0), st.floats(0.0, 2.0))
def test_temperature_from_enthalpy_undoes_enthalpy(temperature: float, humidity: float) -> None:
    enthalpy = humid_air.enthalpy_mixture(temperature, humidity)
    assert humid_air.temperature_enthalpy(enthalpy, humidity) == pytest.approx(temperature, abs=1e-9)


def test_enthalpies_rise_by_their_heat_capacity() -> None:
    t = np.linspace(280.0, 960.0, 60)
    for enthalpy, capacity in (
        (humid_air.enthalpy_dry_air, humid_air.heat_capacity_dry_air),
        (humid_air.enthalpy_steam, humid_air.heat_capacity_steam),
    ):
        numerical = (enthalpy(t + 0.01) - enthalpy(t - 0.01)) / 0.02
        assert np.allclose(numerical, capacity(t), rtol=1e-7)


def test_mixtures_end_at_their_pure_gases() -> None:
    t = np.linspace(300.0, 900.0, 7)
    assert np.allclose(humid_air.viscosity_wilke(t, 0.0), humid_air.viscosity_dry_air(t), rtol=1e-14)
    assert np.allclose(humid_air.conductivity_wassiljewa(t, 0.0), humid_air.conductivity_dry_air(t), rtol=1e-14)
    assert np.allclose(humid_air.viscosity_wilke(t, 1e9), humid_air.viscosity_steam(t), rtol=1e-6)
    assert np.allclose(humid_air.conductivity_wassiljewa(t, 1e9), humid_air.conductivity_steam(t), rtol=1e-6)


def test_humidity_undoes_vapour_pressure() -> None:
    x = np.linspace(0.0, 3.0, 31)
    back = humid_air.humidity_vapour_pressure(humid_air.vapour_pressure_humidity(x, P), P)
    assert np.allclose(back, x, atol=1e-14)


def test_air_at_its_dew_point_has_that_wet_bulb() -> None:
    dew = humid_air.dew_point_temperature(0.3, P)
    assert humid_air.wet_bulb_temperature(dew, 0.3, P) == pytest.approx(dew, abs=1e-6)
    assert humid_air.wet_bulb_temperature(dew + 100.0, 0.3, P) > dew


# -------------------------------------------- jets and evaporation


def _best(merit: object, area: tuple[float, float], gap: tuple[float, float]) -> tuple[float, float, float]:
    """Largest merit over open area and gap, by grids that close in."""
    for _ in range(12):
        f = np.geomspace(*area, 41)[:, np.newaxis]
        g = np.geomspace(*gap, 41)
        values = merit(f, g)  # type: ignore[operator]
        i, j = np.unravel_index(np.argmax(values), values.shape)
        best = float(values[i, j])
        area = (float(f[max(i - 2, 0), 0]), float(f[min(i + 2, 40), 0]))
        gap = (float(g[max(j - 2, 0)]), float(g[min(j + 2, 40)]))
    return best, float(np.sqrt(area[0] * area[1])), float(np.sqrt(gap[0] * gap[1]))


def test_the_best_hole_plate_is_the_one_in_print() -> None:
    best, area, gap = _best(impingement.hole_array_merit, (0.004, 0.04), (2.0, 12.0))
    assert best == pytest.approx(0.769690, abs=5e-7)
    assert area == pytest.approx(0.01521, abs=5e-6)
    assert 1.0 / gap == pytest.approx(0.1842, abs=5e-5)
    # pitch of a hexagonal pattern in gaps, and the optimum as printed: f 0.0152, D/H 0.2, S/H 1.4
    pitch = np.sqrt(np.pi / (2.0 * np.sqrt(3.0) * area)) / gap
    assert pitch == pytest.approx(1.4227, abs=5e-5)
    assert area == pytest.approx(0.0152, abs=5e-5)
    assert 1.0 / gap == pytest.approx(0.2, abs=0.05)
    assert pitch == pytest.approx(1.4, abs=0.05)


def test_the_best_slot_plate_is_the_one_in_print() -> None:
    best, area, gap = _best(impingement.slot_array_merit, (0.008, 0.3), (1.0, 40.0))
    assert 1.0 < gap < 40.0 and 0.008 < area < 2.5 / np.sqrt(60.0 + 4.0 * (gap - 2.0) ** 2)
    around = impingement.slot_array_merit(area * np.array([0.97, 1.03, 1.0, 1.0]), gap * np.array([1, 1, 0.97, 1.03]))
    assert np.all(around < best)
    # the optimum as printed (from memory): twice the slot width 0.2 of the gap, spacing 1.4 of the gap
    assert 1.0 / gap == pytest.approx(0.2, abs=0.05)
    assert 0.5 / gap / area == pytest.approx(1.4, abs=0.05)


def test_equal_schmidt_and_prandtl_carry_heat_and_mass_alike() -> None:
    assert impingement.sherwood_analogy_martin(50.0, 0.7, 0.7) == 50.0


def test_stefan_flow_adds_to_the_dilute_form_and_ends_in_it() -> None:
    dilute = evaporation.evaporation_flux_dilute(0.3, 36485.0, 57800.0, 540.0)
    assert evaporation.evaporation_flux_stefan(0.3, P, 36485.0, 57800.0, 540.0) > 1.5 * dilute
    thin = evaporation.evaporation_flux_stefan(0.3, P, 10.0, 20.0, 540.0)
    assert thin == pytest.approx(evaporation.evaporation_flux_dilute(0.3, 10.0, 20.0, 540.0), rel=2e-4)


def test_the_high_flux_factor_is_smooth_through_zero() -> None:
    near = np.array([-1.0001e-4, -0.9999e-4, 0.0, 0.9999e-4, 1.0001e-4])
    exact = 1.0 - near / 2.0 + near**2 / 12.0
    assert np.allclose(evaporation.ackermann_factor(near), exact, rtol=1e-13)
    phi = np.linspace(-3.0, 3.0, 61)
    numerical = (evaporation.ackermann_factor(phi + 1e-6) - evaporation.ackermann_factor(phi - 1e-6)) / 2e-6
    assert np.allclose(evaporation.ackermann_factor_slope(phi), numerical, atol=2e-7)


# -------------------------------------------- sorption

ISOTHERMS = (
    (
        sorption.water_activity_heikkila,
        sorption.water_activity_slope_heikkila,
        sorption.heat_of_sorption_heikkila,
    ),
    (
        sorption.water_activity_tryding,
        sorption.water_activity_slope_tryding,
        sorption.heat_of_sorption_tryding,
    ),
)


@pytest.mark.parametrize("isotherm", ISOTHERMS)
@FEW
@given(u=st.floats(0.005, 0.6), temperature=st.floats(295.0, 393.0))
def test_the_heat_of_sorption_is_the_one_its_isotherm_implies(
    isotherm: tuple[object, ...], u: float, temperature: float
) -> None:
    activity, _, heat = isotherm
    step = 1e-3
    up, down = activity(u, temperature + step), activity(u, temperature - step)  # type: ignore[operator]
    implied = vapour_gas_constant * temperature**2 * (np.log(up) - np.log(down)) / (2.0 * step)
    assert heat(u, temperature) == pytest.approx(implied, rel=2e-5, abs=1.0)  # type: ignore[operator]


@pytest.mark.parametrize("isotherm", ISOTHERMS)
@FEW
@given(u=st.floats(0.005, 0.6), temperature=st.floats(295.0, 393.0))
def test_the_slope_of_an_isotherm_is_its_derivative(isotherm: tuple[object, ...], u: float, temperature: float) -> None:
    activity, slope, _ = isotherm
    step = 1e-5 * u
    up, down = activity(u + step, temperature), activity(u - step, temperature)  # type: ignore[operator]
    assert slope(u, temperature) == pytest.approx((up - down) / (2 * step), rel=1e-5, abs=1e-7)  # type: ignore[operator]


def test_wetter_and_hotter_fibre_holds_its_water_less() -> None:
    u = np.linspace(0.01, 0.3, 50)
    for activity, _, heat in ISOTHERMS:
        assert np.all(np.diff(activity(u, 353.15)) > 0.0)
        assert np.all(activity(u, 373.15) > activity(u, 333.15))
        assert np.all(np.diff(heat(u, 353.15)) < 0.0)


# -------------------------------------------- contact, creping


def test_a_shell_as_a_plane_wall_is_half_a_per_cent_off() -> None:
    round_, plane = (
        contact_drying.shell_resistance_cylinder(5.5, 0.03, 48.0),
        contact_drying.shell_resistance_plane(0.03, 48.0),
    )
    assert round_ / plane == pytest.approx(1.0055, abs=2e-4)


def test_a_long_thin_rib_does_little_and_a_short_one_all() -> None:
    assert contact_drying.fin_efficiency_straight(5000.0, 48.0, 0.012, 1e-5) == pytest.approx(1.0, abs=1e-5)
    assert contact_drying.fin_efficiency_straight(5000.0, 48.0, 0.012, 1.0) < 0.01


@FEW
@given(crepe=st.floats(0.0, 0.6), dryness=st.floats(0.5, 1.0), width=st.floats(0.8, 1.0))
def test_reel_and_yankee_weigh_the_same_fibre(crepe: float, dryness: float, width: float) -> None:
    grammage = creping.grammage_yankee(0.015, dryness, crepe, width)
    assert creping.reel_grammage_from_yankee(grammage, dryness, crepe, width) == pytest.approx(0.015, rel=1e-12)
    reel = creping.production_reel(0.015, creping.reel_speed_from_crepe(30.0, crepe), 2.75 * width, 1.0)
    assert creping.production_yankee(grammage, 30.0, 2.75, dryness) == pytest.approx(reel, rel=1e-12)
    again = creping.crepe_from_reel_based_crepe(creping.reel_based_crepe_from_crepe(crepe))
    assert again == pytest.approx(crepe, abs=1e-15)


# -------------------------------------------- hood


def _closures(b: hood.HoodBalance, given: dict[str, float]) -> tuple[float, ...]:
    """Relative errors of dry air, gap water, gap heat, hood water and hood heat."""
    g = given
    gap = g["jet_dry_air"] + b.leak
    room = humid_air.enthalpy_mixture(g["room_temperature"], g["room_humidity"])
    fresh = humid_air.enthalpy_mixture(g["make_up_temperature"], g["make_up_humidity"])
    jets = humid_air.enthalpy_mixture(g["air_temperature"], b.jet_humidity)
    back = humid_air.enthalpy_mixture(b.return_temperature, b.exhaust_humidity)
    water = g["jet_dry_air"] * b.jet_humidity + g["evaporation"] + b.leak * g["room_humidity"]
    heat = g["jet_dry_air"] * jets + g["vapour_enthalpy_flow"] + b.leak * room - g["sheet_heat"]
    water_in = b.make_up * g["make_up_humidity"] + b.leak * g["room_humidity"] + g["evaporation"]
    heat_in = b.gas_power + b.combustion_water * 2500900.0 + g["fan_heat"] + g["vapour_enthalpy_flow"]
    heat_in += b.make_up * fresh + b.leak * room
    heat_out = b.exhaust * back + g["hood_loss"] + g["sheet_heat"]
    return (
        (b.make_up + b.leak) / b.exhaust - 1.0,
        (b.recirculation + b.exhaust) / gap - 1.0,
        gap * b.exhaust_humidity / water - 1.0,
        gap * back / heat - 1.0,
        b.exhaust * b.exhaust_humidity / (water_in + b.combustion_water) - 1.0,
        heat_in / heat_out - 1.0,
    )


@FEW
@given(
    exhaust=st.floats(0.25, 0.55),
    evaporation_=st.floats(0.2, 0.6),
    jets=st.floats(3.5, 8.0),
    temperature=st.floats(550.0, 850.0),
    leakage=st.floats(0.0, 0.3),
    ratio=st.sampled_from([0.0, 2.25]),
)
def test_dry_air_water_and_heat_of_a_hood_close(
    exhaust: float, evaporation_: float, jets: float, temperature: float, leakage: float, ratio: float
) -> None:
    given_ = HOOD | {
        "evaporation": evaporation_,
        "vapour_enthalpy_flow": 2.65e6 * evaporation_,
        "jet_dry_air": jets,
        "air_temperature": temperature,
        "leakage": leakage,
        "combustion_water_ratio": ratio,
    }
    b = hood.balance_exhaust_humidity(**given_, exhaust_humidity=exhaust)
    assert np.max(np.abs(_closures(b, given_))) < 1e-9
    # the other form, from the humidity of the jets that came out, gives the same hood
    again = hood.balance_jet_humidity(**given_, humidity=b.jet_humidity)
    assert np.allclose(again, b, rtol=1e-9, atol=1e-12)


def test_the_balance_is_where_the_plain_iteration_ends() -> None:
    """Exhaust found by substitution from no combustion water, as one would by hand."""
    h = HOOD
    x_r, lam = 0.40, h["leakage"]
    room = humid_air.enthalpy_mixture(h["room_temperature"], h["room_humidity"])
    fresh = humid_air.enthalpy_mixture(h["make_up_temperature"], h["make_up_humidity"])
    burnt = 0.0
    exhaust = gas = 0.0
    for _ in range(300):
        exhaust = (h["evaporation"] + burnt) / (x_r - 0.02)
        leak = lam * exhaust
        gap = h["jet_dry_air"] + leak
        x_j = (gap * x_r - h["evaporation"] - leak * h["room_humidity"]) / h["jet_dry_air"]
        back = h["jet_dry_air"] * humid_air.enthalpy_mixture(h["air_temperature"], x_j) + leak * room
        back = (back + h["vapour_enthalpy_flow"] - h["sheet_heat"]) / gap
        gas = exhaust * (back - (1 - lam) * fresh - lam * room) + h["hood_loss"] + h["sheet_heat"]
        gas -= h["vapour_enthalpy_flow"] + burnt * 2500900.0 + h["fan_heat"]
        burnt = h["combustion_water_ratio"] * gas / h["lower_heating_value"]
    b = hood.balance_exhaust_humidity(**h, exhaust_humidity=x_r)
    assert b.exhaust == pytest.approx(exhaust, rel=1e-12)
    assert b.gas_power == pytest.approx(gas, rel=1e-12)


def test_a_humidity_that_the_jets_cannot_reach_is_refused_for_one_case() -> None:
    with pytest.raises(ValueError, match="more exhaust"):
        hood.balance_exhaust_humidity(**(HOOD | {"jet_dry_air": 1.2}), exhaust_humidity=0.30)
    many = hood.balance_exhaust_humidity(**(HOOD | {"jet_dry_air": np.array([1.2, 4.1])}), exhaust_humidity=0.30)
    assert many.jet_humidity[0] < HOOD["make_up_humidity"] < many.jet_humidity[1]


def test_hoods_in_arrays_are_the_hoods_one_by_one() -> None:
    x = np.array([0.3, 0.4, 0.5])
    many = hood.balance_exhaust_humidity(**HOOD, exhaust_humidity=x)
    for i in range(3):
        alone = hood.balance_exhaust_humidity(**HOOD, exhaust_humidity=x[i])
        assert np.allclose([part[i] for part in many], alone, rtol=1e-13)


def test_hood_factor_and_slots_act_on_heat_and_mass_alike() -> None:
    common = {
        "length": 2.0,
        "air_temperature": 700.0,
        "humidity": 0.3,
        "jet_velocity": 90.0,
        "jet_open_area": 0.017,
        "nozzle_gap": 0.022,
        "contraction": 0.75,
        "plate_temperature": 660.0,
        "emissivity": 0.7,
        "film_sheet_temperature": 363.15,
        "pressure": P,
    }
    for segment, nozzle in (
        (hood.segment_hole_array_martin, {"nozzle_diameter": 0.006}),
        (hood.segment_slot_array_martin, {"nozzle_width": 0.003}),
    ):
        whole = segment(**common, **nozzle, hood_factor=1.0)
        half = segment(**common, **nozzle, hood_factor=0.5)
        assert whole.shape == (8,)
        assert np.allclose(half[[1, 2]], 0.5 * whole[[1, 2]], rtol=1e-14)
        assert np.array_equal(half[[0, 3, 4, 5, 6, 7]], whole[[0, 3, 4, 5, 6, 7]])
    many = hood.segment_open(np.array([1.0, 2.0]), 30.0, 338.15, 0.05, 363.15, P)
    assert many.shape == (2, 8) and many[1, 0] == 2.0


def test_an_economiser_never_crosses_temperatures() -> None:
    out = hood.make_up_temperature_economiser(1.0, np.array([0.2, 1.0, 5.0]), 0.4, 600.0, 1.0, 0.02, 308.15)
    assert np.all((out > 308.15) & (out <= 600.0)) and out[2] == pytest.approx(600.0)


# -------------------------------------------- pumps


def test_power_from_suction_flow_and_from_ambient_flow_agree() -> None:
    from thinstock.relations import vacuum

    ambient = 3.0
    suction = pumping.volume_flow_suction(ambient, P, 45e3)
    assert pumping.vacuum_power_isothermal(suction, P, 45e3, 0.5) == pytest.approx(
        vacuum.vacuum_power_isothermal_ambient(ambient, P, 45e3, 0.5), rel=1e-12
    )


def test_adiabatic_compression_takes_more_than_isothermal() -> None:
    vacuum = np.linspace(5e3, 70e3, 20)
    hot = pumping.vacuum_power_adiabatic(1.0, P, vacuum, 1.4, 1.0)
    assert np.all(hot > pumping.vacuum_power_isothermal(1.0, P, vacuum, 1.0))
    slow = pumping.vacuum_power_adiabatic(1.0, P, vacuum, 1.0 + 1e-7, 1.0)
    assert np.allclose(slow, pumping.vacuum_power_isothermal(1.0, P, vacuum, 1.0), rtol=1e-5)


def test_an_orifice_chokes() -> None:
    after = np.array([101325.0, 91325.0, 60000.0, 53000.0, 20000.0, 1.0])
    flow = pumping.air_mass_flow_orifice(0.6, 1e-3, P, after, 293.15, 1.4, 287.05)
    assert flow[0] == 0.0 and np.all(np.diff(flow[:3]) > 0.0)
    assert flow[4] == flow[5] == pytest.approx(float(np.max(flow)), rel=1e-6)


# -------------------------------------------- what observations tell

SENSITIVITIES = {
    "dryness": (20.72, 31.32),
    "steam": (214.0, -102.0),
    "gas": (21.0, 324.0),
    "shell": (-13.2, 6.3),
}
DEVIATIONS = {"dryness": 0.5, "steam": 0.03 * 566.0, "gas": 0.03 * 630.0, "shell": 3.0}


@pytest.mark.parametrize(
    ("names", "contact", "hood_", "correlation"),
    [
        (("dryness", "steam"), 0.061, 0.042, -0.92),
        (("dryness", "gas"), 0.10, 0.065, -0.97),
        (("dryness", "shell"), 0.17, 0.115, -0.99),
        (("dryness", "steam", "gas"), 0.053, 0.035, -0.90),
    ],
)
def test_observations_fix_both_levels_as_computed(
    names: tuple[str, ...], contact: float, hood_: float, correlation: float
) -> None:
    found = yankee.calibration_information(
        np.array([SENSITIVITIES[n] for n in names]), np.array([DEVIATIONS[n] for n in names])
    )
    assert found.contact_level_deviation == pytest.approx(contact, abs=0.0055 if contact >= 0.1 else 0.00055)
    assert found.hood_factor_deviation == pytest.approx(hood_, abs=0.00055)
    assert found.level_correlation == pytest.approx(correlation, abs=0.0055)


def test_dryness_alone_is_refused() -> None:
    for rows in ([(20.72, 31.32)], [(20.72, 31.32), (41.44, 62.64)]):
        with pytest.raises(ValueError, match="fixes only one combination"):
            yankee.calibration_information(np.array(rows), np.full(len(rows), 0.5))


# -------------------------------------------- library


@pytest.mark.parametrize("name", ["yankees", "hoods", "fuels"])
def test_every_value_of_the_drying_library_has_a_unit_a_source_and_a_status(name: str) -> None:
    sources = tomllib.loads(files("thinstock.words").joinpath("sources.toml").read_text(encoding="utf-8"))
    for row in library.table(name).values():
        for word, entry in row.items():
            if word == "description":
                continue
            assert entry["source"] in sources and entry["status"] in STATUSES, word
            assert entry.get("range_source", "ASSUMED") in sources
            if entry["status"] == "published":
                assert sources[entry["source"]]["held"] != "none"
            for part in ("value", "low", "high"):
                if part in entry and word != "heating":
                    number, _, unit = entry[part].partition(" ")
                    assert np.isfinite(float(number)) and (unit == "" or units.find(unit) is not None)


def test_the_water_of_a_flame_follows_from_its_fuel() -> None:
    carbon, hydrogen, oxygen = 12.011, 1.008, 15.999
    water = 2.0 * hydrogen + oxygen
    fuels = library.table("fuels")
    methane = float(fuels["natural gas, as methane"]["combustion_water_ratio"]["value"].split()[0])
    propane = float(fuels["propane"]["combustion_water_ratio"]["value"].split()[0])
    assert methane == pytest.approx(2.0 * water / (carbon + 4.0 * hydrogen), abs=0.005)
    assert propane == pytest.approx(4.0 * water / (3.0 * carbon + 8.0 * hydrogen), abs=0.0005)
