"""The reference Yankee with its hood that the tests of drying share (invented; every number is assumed)."""

from __future__ import annotations

from typing import Any

import numpy as np

from thinstock.relations import contact_drying, hood, steam

P = 101325.0
DIAMETER = 5.5
CIRCUMFERENCE = np.pi * DIAMETER
STEAM = float(steam.saturation_temperature_if97(8e5))
SHELL = float(contact_drying.shell_resistance_cylinder(DIAMETER, 0.03, 48.0))


def open_stretch() -> Any:
    return hood.segment_open(0.06 * CIRCUMFERENCE, 30.0, 338.15, 0.05, 363.15, P)


def segments(
    air_temperature: float = 723.15, humidity: float = 0.35, jet_velocity: float = 100.0, factor: float = 0.57
) -> Any:
    """Open stretch, hood, open stretch."""
    under = hood.segment_hole_array_martin(
        0.60 * CIRCUMFERENCE,
        air_temperature,
        humidity,
        jet_velocity,
        0.006,
        0.017,
        0.022,
        0.75,
        factor,
        air_temperature - 40.0,
        0.7,
        363.15,
        P,
    )
    return np.stack([open_stretch(), under, open_stretch()])


SHEET: dict[str, Any] = {
    "moisture_ratio": 1.5,
    "sheet_temperature": 313.15,
    "grammage": 0.01197,
    "yankee_speed": 32.6,
    "contact_coefficient_dry": 450.0,
    "contact_coefficient_wet": 1800.0,
    "moisture_scale": 0.5,
    "pressure": P,
    "fibre_heat_capacity": 1340.0,
    "isotherm": 0,
}
VESSEL: dict[str, Any] = {
    "steam_temperature": STEAM,
    "condensate_coefficient": 1e4,
    "shell_resistance": SHELL,
    "yankee_diameter": DIAMETER,
    "bare_coefficient": 15.0,
    "room_temperature": 308.15,
    "shell_load": 0.0,
}
DRYER: dict[str, Any] = {
    **{name: value for name, value in SHEET.items() if name != "pressure"},
    **{name: value for name, value in VESSEL.items() if name != "steam_temperature"},
    "moisture_ratio": (1.0 - 0.42) / 0.42,
    "yankee_speed": 2000.0 / 60.0,
    "steam_pressure": 7.5e5,
    "atmospheric_pressure": P,
    "open_length_before": 0.06 * CIRCUMFERENCE,
    "open_length_after": 0.06 * CIRCUMFERENCE,
    "open_heat_transfer_coefficient": 30.0,
    "open_air_temperature": 338.15,
    "open_humidity": 0.05,
    "hood_length": 0.60 * CIRCUMFERENCE,
    "jet_velocity": 95.0,
    "nozzle_diameter": 0.006,
    "jet_open_area": 0.017,
    "nozzle_gap": 0.022,
    "contraction": 0.75,
    "hood_factor": 0.554,
    "plate_offset": 40.0,
    "emissivity": 0.7,
    "film_sheet_temperature": 363.15,
    "air_temperature": 703.15,
    "exhaust_humidity": 0.38,
    "leakage": 0.10,
    "make_up_temperature": 473.15,
    "make_up_humidity": 0.02,
    "room_humidity": 0.02,
    "hood_loss_share": 0.03,
    "fan_pressure_rise": 5000.0,
    "fan_efficiency": 0.65,
    "fan_heat_share": 0.9,
    "lower_heating_value": 50e6,
    "combustion_water_ratio": 2.25,
    "gas_fired": 1,
    "steps": (4, 40, 4),
    "tolerance": 1e-8,
    "hold": 0,
    "final_moisture_ratio": 0.05 / 0.95,
    "lowest": 400.0,
    "highest": 900.0,
}
"""The reference dryer: 2000 m/min, 42 % in, 7.5 bar(a), 430 °C, 95 m/s, exhaust 0.38; about 95 % out."""
