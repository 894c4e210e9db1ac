"""Evaporation from a sheet into a gas stream, with the heat that comes to it by convection and radiation.

One-sided diffusion (Stefan flow), the high-flux correction of convective heat (Ackermann) and grey radiation
from the nozzle plate. Vapour pressure at the sheet is water activity times saturation pressure; it must stay
below the whole pressure here; boiling is treated inside the drying march only.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived, relation
from thinstock.words.constants import gas_constant_molar, molar_mass_water, stefan_boltzmann


@derived(
    """lewis = (schmidt/prandtl)**0.42
        mass_transfer_coefficient = heat_transfer_coefficient*diffusivity/conductivity*lewis""",
    where="analogy of heat and mass transfer under jets",
)
def mass_transfer_coefficient_analogy(
    heat_transfer_coefficient: Num, conductivity: Num, diffusivity: Num, schmidt: Num, prandtl: Num
) -> Num:
    """Mass transfer coefficient from the heat transfer coefficient of the same stream.

    Picture: what carries heat to the sheet carries vapour away. Use for: jets and open stretches.
    Not for: sheets whose surface is partly dry. In print: Sh/Nu = (Sc/Pr)^0.42. Made from: the analogy.
    """
    return heat_transfer_coefficient * diffusivity / conductivity * (schmidt / prandtl) ** 0.42


@derived(
    """vapour_density = molar_mass_water*pressure/(gas_constant_molar*film_temperature)
        mass_conductance = mass_transfer_coefficient*vapour_density""",
    where="ideal gas in the film",
)
def mass_conductance_stefan(mass_transfer_coefficient: Num, pressure: Num, film_temperature: Num) -> Num:
    """Evaporation per unit of the logarithm of pressures.

    Picture: the stream's readiness to take vapour. Use for: one-sided diffusion. Not for: equal
    counter-diffusion. In print: part of the Stefan formula. Made from: ideal gas at film temperature.
    """
    return mass_transfer_coefficient * molar_mass_water * pressure / (gas_constant_molar * film_temperature)


@derived(
    """conductance = mass_conductance_stefan(mass_transfer_coefficient, pressure, film_temperature)
        ratio = (pressure - vapour_pressure_air)/(pressure - vapour_pressure_sheet)
        evaporation_flux = conductance*log(ratio)""",
    where="one-sided diffusion",
)
def evaporation_flux_stefan(
    mass_transfer_coefficient: Num,
    pressure: Num,
    vapour_pressure_air: Num,
    vapour_pressure_sheet: Num,
    film_temperature: Num,
) -> Num:
    """Evaporation through standing air, with the vapour's own draught.

    Picture: the vapour has to push through air that cannot enter the sheet. Use for: hot sheets, where the
    dilute form is far too low. Not for: boiling (vapour pressure at or above the whole). In print: Stefan's
    formula. Made from: diffusion of one gas through another at rest.
    """
    conductance = mass_conductance_stefan(mass_transfer_coefficient, pressure, film_temperature)
    return conductance * np.log((pressure - vapour_pressure_air) / (pressure - vapour_pressure_sheet))


@derived(
    """difference = vapour_pressure_sheet - vapour_pressure_air
        per_pressure = molar_mass_water/(gas_constant_molar*film_temperature)
        evaporation_flux = mass_transfer_coefficient*per_pressure*difference""",
    where="limit of little vapour",
)
def evaporation_flux_dilute(
    mass_transfer_coefficient: Num,
    vapour_pressure_air: Num,
    vapour_pressure_sheet: Num,
    film_temperature: Num,
) -> Num:
    """Evaporation without the vapour's own draught.

    Picture: a cool wet sheet in dry air. Use for: showing what Stefan flow adds. Not for: sheets above about
    50 °C. In print: the dilute limit. Made from: Fick's law.
    """
    difference = vapour_pressure_sheet - vapour_pressure_air
    return mass_transfer_coefficient * molar_mass_water * difference / (gas_constant_molar * film_temperature)


@relation(
    "rate_factor = evaporation_flux*heat_capacity/heat_transfer_coefficient",
    source="ACKERMANN_1937",
    status="from memory",
)
def rate_factor(evaporation_flux: Num, heat_capacity: Num, heat_transfer_coefficient: Num) -> Num:
    """How strong the vapour stream is against the heat that comes towards it.

    Picture: walking against the crowd. Use for: the high-flux correction; heat capacity is that of the
    vapour. Not for: mass transfer itself. In print: exponent of the correction. Made from: film theory.
    """
    return evaporation_flux * heat_capacity / heat_transfer_coefficient


@relation(
    """small = abs(rate_factor) < 0.0001
        safe = where(small, 1, rate_factor)
        series = 1 - rate_factor/2 + rate_factor**2/12
        ackermann = where(small, series, safe/expm1(safe))""",
    source="ACKERMANN_1937",
    status="from memory",
)
def ackermann_factor(rate_factor: Num) -> Num:
    """Factor on convective heat transfer while vapour leaves (below 1) or condenses (above 1).

    Picture: the vapour blows the hot air away from the sheet. Use for: hoods, where it takes a third off.
    Not for: radiation. In print: φ/(e^φ - 1). Made from: film theory.
    """
    small = np.abs(rate_factor) < 1e-4
    series = 1.0 - rate_factor / 2.0 + rate_factor * rate_factor / 12.0
    return small * series + (1 - small) * rate_factor / np.expm1(rate_factor + small)


@derived(
    """small = abs(rate_factor) < 0.001
        safe = where(small, 1, rate_factor)
        growth = expm1(safe)
        exact = (growth - safe*(growth + 1))/growth**2
        ackermann_slope = where(small, rate_factor/6 - 0.5, exact)""",
    where="derivative of the high-flux factor",
)
def ackermann_factor_slope(rate_factor: Num) -> Num:
    """Change of the high-flux factor with the rate factor.

    Picture: how much more a little more vapour takes off. Use for: the drying march. Not for: results shown.
    In print: nowhere. Made from: the derivative; straight line near zero.
    """
    small = np.abs(rate_factor) < 1e-3
    safe = rate_factor + small
    growth = np.expm1(safe)
    exact = (growth - safe * (growth + 1.0)) / (growth * growth)
    return small * (rate_factor / 6.0 - 0.5) + (1 - small) * exact


@relation(
    """difference = air_temperature - sheet_temperature
        heat_flux = heat_transfer_coefficient*ackermann_factor(rate_factor)*difference""",
    source="ACKERMANN_1937",
    status="from memory",
)
def convective_flux_ackermann(
    heat_transfer_coefficient: Num, rate_factor: Num, air_temperature: Num, sheet_temperature: Num
) -> Num:
    """Convective heat into an evaporating sheet.

    Picture: hot air reaches the sheet against the vapour that leaves it. Use for: hoods. Not for: the heat
    the air loses, which also warms the vapour. In print: as the factor. Made from: film theory.
    """
    return heat_transfer_coefficient * ackermann_factor(rate_factor) * (air_temperature - sheet_temperature)


@derived(
    "heat_flux = emissivity*stefan_boltzmann*(plate_temperature**4 - sheet_temperature**4)", where="two grey walls"
)
def radiative_flux_grey(emissivity: Num, plate_temperature: Num, sheet_temperature: Num) -> Num:
    """Radiation from the nozzle plate to the sheet.

    Picture: a hot ceiling over the sheet. Use for: hoods, with an effective emissivity for plate, sheet and
    holes. Not for: gas radiation or infra-red dryers. In print: Stefan-Boltzmann. Made from: grey walls close
    together.
    """
    plate, sheet = plate_temperature * plate_temperature, sheet_temperature * sheet_temperature
    return emissivity * stefan_boltzmann * (plate * plate - sheet * sheet)
