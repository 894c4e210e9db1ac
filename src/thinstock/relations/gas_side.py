"""The gas side of a stretch of sheet: properties of the film, heat and mass transfer, vapour pressure.

Joins humid air, jets and evaporation to what a stretch of the path needs, plain numbers that the drying march
can compile. Spent air that crosses the jets is not in it; a calibration factor has to stand for that.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from thinstock.formula.label import Num, derived, relation
from thinstock.relations.evaporation import mass_transfer_coefficient_analogy
from thinstock.relations.humid_air import (
    conductivity_wassiljewa,
    density_mixture,
    diffusivity_schirmer,
    heat_capacity_mixture,
    heat_capacity_steam,
    vapour_pressure_humidity,
    viscosity_wilke,
)
from thinstock.relations.impingement import (
    jet_heat_transfer_hole_array_martin,
    jet_open_area_contracted,
    nozzle_diameter_contracted,
)


class FilmGas(NamedTuple):
    """Properties of the gas between jet and sheet."""

    kinematic_viscosity: Any
    conductivity: Any
    diffusivity: Any
    prandtl: Any
    schmidt: Any


class GasSide(NamedTuple):
    """What the gas side of a stretch does to the sheet."""

    heat_transfer_coefficient: Any
    mass_transfer_coefficient: Any
    vapour_pressure_air: Any
    heat_capacity: Any


_FILM = """viscosity = viscosity_wilke(film_temperature, humidity)
    conductivity = conductivity_wassiljewa(film_temperature, humidity)
    kinematic_viscosity = viscosity/density_mixture(film_temperature, humidity, pressure)
    diffusivity = diffusivity_schirmer(film_temperature, pressure)
    prandtl = heat_capacity_mixture(film_temperature, humidity)*viscosity/conductivity
    schmidt = kinematic_viscosity/diffusivity
    """
_MEAN = "film_temperature = 0.5*(air_temperature + film_sheet_temperature)\n"
_SIDE = """alpha = heat_transfer_coefficient
    mass_transfer_coefficient = mass_transfer_coefficient_analogy(alpha, conductivity, diffusivity, schmidt, prandtl)
    vapour_pressure_air = vapour_pressure_humidity(humidity, pressure)
    heat_capacity = heat_capacity_steam(film_temperature)"""


@derived(
    _FILM,
    gives=("kinematic_viscosity", "conductivity", "diffusivity", "prandtl", "schmidt"),
    where="properties at film temperature",
    holds={"film_temperature": (274.0, 973.0)},
)
def film_gas(film_temperature: Num, humidity: Num, pressure: Num) -> FilmGas:
    """Properties of humid air at film temperature, for the jet formulas.

    Picture: the gas half-way between jet and sheet. Use for: hoods. Not for: the jets' mass, which is at jet
    state. In print: mean of jet and surface temperature, jet humidity. Made from: the mixture rules of humid
    air.
    """
    viscosity = viscosity_wilke(film_temperature, humidity)
    conductivity = conductivity_wassiljewa(film_temperature, humidity)
    kinematic_viscosity = viscosity / density_mixture(film_temperature, humidity, pressure)
    diffusivity = diffusivity_schirmer(film_temperature, pressure)
    prandtl = heat_capacity_mixture(film_temperature, humidity) * viscosity / conductivity
    return FilmGas(kinematic_viscosity, conductivity, diffusivity, prandtl, kinematic_viscosity / diffusivity)


@relation(
    _MEAN
    + _FILM
    + """d = nozzle_diameter_contracted(nozzle_diameter, contraction)
    f = jet_open_area_contracted(jet_open_area, contraction)
    nu = kinematic_viscosity
    blown = jet_heat_transfer_hole_array_martin(jet_velocity, d, f, nozzle_gap, nu, conductivity, prandtl)
    heat_transfer_coefficient = hood_factor*blown
    """
    + _SIDE,
    gives=("heat_transfer_coefficient", "mass_transfer_coefficient", "vapour_pressure_air", "heat_capacity"),
    source="MARTIN_1977",
    where="fields of round nozzles, times a calibration factor",
    status="from memory",
    holds={"jet_open_area": (0.004, 0.05), "air_temperature": (274.0, 973.0)},
)
def gas_side_hole_array(
    air_temperature: Num,
    humidity: Num,
    jet_velocity: Num,
    nozzle_diameter: Num,
    jet_open_area: Num,
    nozzle_gap: Num,
    contraction: Num,
    hood_factor: Num,
    film_sheet_temperature: Num,
    pressure: Num,
) -> GasSide:
    """Heat and mass transfer under a plate of sharp holes.

    Picture: the plate blows, the sheet takes heat and gives vapour. Use for: a stretch under the hood. Not
    for: spent air that crosses the jets, which the hood factor has to stand for. In print: jet in place of
    hole. Made from: the hole-field formula and the analogy, both times the hood factor.
    """
    film_temperature = 0.5 * (air_temperature + film_sheet_temperature)
    gas = film_gas(film_temperature, humidity, pressure)
    h = hood_factor * jet_heat_transfer_hole_array_martin(
        jet_velocity,
        nozzle_diameter_contracted(nozzle_diameter, contraction),
        jet_open_area_contracted(jet_open_area, contraction),
        nozzle_gap,
        gas.kinematic_viscosity,
        gas.conductivity,
        gas.prandtl,
    )
    beta = mass_transfer_coefficient_analogy(h, gas.conductivity, gas.diffusivity, gas.schmidt, gas.prandtl)
    return GasSide(h, beta, vapour_pressure_humidity(humidity, pressure), heat_capacity_steam(film_temperature))


@derived(
    _MEAN + _FILM + "heat_transfer_coefficient = 1*heat_transfer_coefficient\n    " + _SIDE,
    gives=("heat_transfer_coefficient", "mass_transfer_coefficient", "vapour_pressure_air", "heat_capacity"),
    where="analogy of heat and mass transfer",
    holds={"air_temperature": (274.0, 973.0)},
)
def gas_side_given(
    heat_transfer_coefficient: Num,
    air_temperature: Num,
    humidity: Num,
    film_sheet_temperature: Num,
    pressure: Num,
) -> GasSide:
    """Mass transfer and vapour pressure that go with a given heat transfer coefficient.

    Picture: the same stream carries both. Use for: open stretches before and after a hood, and slots. Not
    for: still rooms. In print: analogy. Made from: properties at film temperature.
    """
    film_temperature = 0.5 * (air_temperature + film_sheet_temperature)
    gas = film_gas(film_temperature, humidity, pressure)
    beta = mass_transfer_coefficient_analogy(
        heat_transfer_coefficient, gas.conductivity, gas.diffusivity, gas.schmidt, gas.prandtl
    )
    return GasSide(
        heat_transfer_coefficient,
        beta,
        vapour_pressure_humidity(humidity, pressure),
        heat_capacity_steam(film_temperature),
    )
