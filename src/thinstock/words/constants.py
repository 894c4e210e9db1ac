"""Constants by name, read once from constants.toml (value, unit, source and status stand there)."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import Any, Final

TABLE: Final[dict[str, dict[str, Any]]] = tomllib.loads(
    files("thinstock.words").joinpath("constants.toml").read_text(encoding="utf-8")
)


def value(name: str) -> float:
    """The value of a constant, base SI."""
    return float(TABLE[name]["value"])


gravity: Final = value("gravity")
standard_pressure: Final = value("standard_pressure")
gas_constant_molar: Final = value("gas_constant_molar")
molar_mass_water: Final = value("molar_mass_water")
molar_mass_air: Final = value("molar_mass_air")
vapour_gas_constant: Final = value("vapour_gas_constant")
stefan_boltzmann: Final = value("stefan_boltzmann")
water_heat_capacity_sheet: Final = value("water_heat_capacity_sheet")
fibre_heat_capacity_dry: Final = value("fibre_heat_capacity_dry")
ice_point: Final = value("ice_point")
air_viscosity_room: Final = value("air_viscosity_room")
air_density_room: Final = value("air_density_room")
vaporisation_enthalpy_ice_point: Final = value("vaporisation_enthalpy_ice_point")
