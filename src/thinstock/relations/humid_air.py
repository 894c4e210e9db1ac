"""Hot humid air as an ideal mixture of dry air and steam, 1-700 °C near one atmosphere.

The pure-gas properties are our own fits; mixtures follow Wilke and Wassiljewa. Humidity is water per dry air,
enthalpy per dry air from liquid water and dry air at 0 °C. Pressure effects and fog are not covered.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived, relation
from thinstock.relations.steam import saturation_pressure_if97, saturation_temperature_if97
from thinstock.words.constants import (
    gas_constant_molar,
    ice_point,
    molar_mass_air,
    molar_mass_water,
    vaporisation_enthalpy_ice_point,
    water_heat_capacity_sheet,
)

HOT = {"temperature": (274.0, 973.0)}
FITTED = "fit to low-pressure values of a general property library, 274-973 K"


@derived("vapour_pressure = pressure*humidity/(humidity + molar_mass_water/molar_mass_air)")
def vapour_pressure_humidity(humidity: Num, pressure: Num) -> Num:
    """Partial pressure of the water vapour in air of a humidity.

    Picture: the vapour's share of the molecules. Use for: what drives evaporation. Not for: fog.
    In print: Dalton's law. Made from: ideal gases.
    """
    return pressure * humidity / (humidity + molar_mass_water / molar_mass_air)


@derived("humidity = molar_mass_water/molar_mass_air*vapour_pressure/(pressure - vapour_pressure)")
def humidity_vapour_pressure(vapour_pressure: Num, pressure: Num) -> Num:
    """Humidity from the partial pressure of the vapour.

    Picture: the way back. Use for: humidity from a dew point. Not for: vapour pressure at or above the whole.
    In print: Dalton's law. Made from: ideal gases.
    """
    return molar_mass_water / molar_mass_air * vapour_pressure / (pressure - vapour_pressure)


@derived(
    """z = temperature/1000
        heat_capacity = 1061.96 - 476.238*z + 1170.14*z**2 - 773.235*z**3 + 157.67*z**4""",
    where=FITTED + ", within 0.06 %",
    holds=HOT,
    in_units={"temperature": "K"},
)
def heat_capacity_dry_air(temperature: Num) -> Num:
    """Heat capacity of dry air at constant pressure.

    Picture: about 1 kJ per kilogram and kelvin, a little more when hot. Use for: hood air. Not for: high
    pressure. In print: nowhere; our own fit. Made from: low-pressure library values, within 0.06 %.
    """
    z = temperature / 1000.0
    return 1061.96 + z * (-476.238 + z * (1170.14 + z * (-773.235 + z * 157.67)))


@derived(
    """z = temperature/1000
        heat_capacity = 1939.18 - 964.421*z + 3112.13*z**2 - 2687.75*z**3 + 893.888*z**4""",
    where=FITTED + ", within 0.05 %",
    holds=HOT,
    in_units={"temperature": "K"},
)
def heat_capacity_steam(temperature: Num) -> Num:
    """Heat capacity of dilute steam at constant pressure.

    Picture: about twice that of air. Use for: the vapour in hood air. Not for: steam near saturation at
    pressure. In print: nowhere; our own fit. Made from: low-pressure library values, within 0.05 %.
    """
    z = temperature / 1000.0
    return 1939.18 + z * (-964.421 + z * (3112.13 + z * (-2687.75 + z * 893.888)))


@derived(
    """z = temperature/1000
        viscosity = (0.560493 + 74.6249*z - 59.7305*z**2 + 38.487*z**3 - 10.6798*z**4)/1000000""",
    where=FITTED + ", within 0.04 %",
    holds=HOT,
    in_units={"temperature": "K"},
)
def viscosity_dry_air(temperature: Num) -> Num:
    """Viscosity of dry air.

    Picture: hot gas is more viscous than cold. Use for: Reynolds number of hood jets. Not for: high pressure.
    In print: nowhere; our own fit. Made from: low-pressure library values, within 0.04 %.
    """
    z = temperature / 1000.0
    return (0.560493 + z * (74.6249 + z * (-59.7305 + z * (38.487 - z * 10.6798)))) * 1e-6


@derived(
    """z = temperature/1000
        viscosity = (4.18337 - 1.92022*z + 90.5455*z**2 - 81.566*z**3 + 26.4164*z**4)/1000000""",
    where=FITTED + ", within 0.5 %",
    holds=HOT,
    in_units={"temperature": "K"},
)
def viscosity_steam(temperature: Num) -> Num:
    """Viscosity of dilute steam.

    Picture: thinner than air at the same temperature. Use for: mixtures. Not for: steam at pressure.
    In print: nowhere; our own fit. Made from: low-pressure library values, within 0.5 %.
    """
    z = temperature / 1000.0
    return (4.18337 + z * (-1.92022 + z * (90.5455 + z * (-81.566 + z * 26.4164)))) * 1e-6


@derived(
    """z = temperature/1000
        conductivity = (-0.173168 + 106.205*z - 72.0531*z**2 + 46.5662*z**3 - 12.8912*z**4)/1000""",
    where=FITTED + ", within 0.04 %",
    holds=HOT,
    in_units={"temperature": "K"},
)
def conductivity_dry_air(temperature: Num) -> Num:
    """Thermal conductivity of dry air.

    Picture: doubles between room and hood temperature. Use for: heat transfer of hood jets. Not for: high
    pressure. In print: nowhere; our own fit. Made from: low-pressure library values, within 0.04 %.
    """
    z = temperature / 1000.0
    return (-0.173168 + z * (106.205 + z * (-72.0531 + z * (46.5662 - z * 12.8912)))) * 1e-3


@derived(
    """z = temperature/1000
        conductivity = (7.61898 - 4.45627*z + 162.387*z**2 - 93.6715*z**3 + 23.9553*z**4)/1000""",
    where=FITTED + ", within 0.1 %",
    holds=HOT,
    in_units={"temperature": "K"},
)
def conductivity_steam(temperature: Num) -> Num:
    """Thermal conductivity of dilute steam.

    Picture: below air when cold, above it when hot. Use for: mixtures. Not for: steam at saturation.
    In print: nowhere; our own fit. Made from: low-pressure library values, within 0.1 %.
    """
    z = temperature / 1000.0
    return (7.61898 + z * (-4.45627 + z * (162.387 + z * (-93.6715 + z * 23.9553)))) * 1e-3


@derived(
    """steam = humidity*heat_capacity_steam(temperature)
        heat_capacity = (heat_capacity_dry_air(temperature) + steam)/(1 + humidity)""",
    where="ideal mixture, per kilogram of mixture",
    holds=HOT,
)
def heat_capacity_mixture(temperature: Num, humidity: Num) -> Num:
    """Heat capacity of humid air per kilogram of mixture.

    Picture: weighed mean of air and steam. Use for: Prandtl number. Not for: balances, which run per dry air.
    In print: ideal mixture. Made from: the two pure-gas fits.
    """
    return (heat_capacity_dry_air(temperature) + humidity * heat_capacity_steam(temperature)) / (1.0 + humidity)


@derived(
    """z = temperature/1000
        s = ice_point/1000
        up = 1061.96*z - 238.119*z**2 + 1170.14/3*z**3 - 193.30875*z**4 + 31.534*z**5
        down = 1061.96*s - 238.119*s**2 + 1170.14/3*s**3 - 193.30875*s**4 + 31.534*s**5
        enthalpy = 1000*(up - down)""",
    where="integral of the fit of heat capacity from 0 °C",
    holds=HOT,
    in_units={"temperature": "K", "ice_point": "K"},
)
def enthalpy_dry_air(temperature: Num) -> Num:
    """Enthalpy of dry air above 0 °C.

    Picture: the heat put into each kilogram. Use for: hood balances. Not for: absolute values of other tables
    with another zero. In print: nowhere; our own integral. Made from: the heat-capacity fit.
    """
    z = temperature / 1000.0
    s = ice_point / 1000.0
    up = z * (1061.96 + z * (-238.119 + z * (1170.14 / 3.0 + z * (-193.30875 + z * 31.534))))
    down = s * (1061.96 + s * (-238.119 + s * (1170.14 / 3.0 + s * (-193.30875 + s * 31.534))))
    return 1000.0 * (up - down)


@derived(
    """z = temperature/1000
        s = ice_point/1000
        up = 1939.18*z - 482.2105*z**2 + 3112.13/3*z**3 - 671.9375*z**4 + 178.7776*z**5
        down = 1939.18*s - 482.2105*s**2 + 3112.13/3*s**3 - 671.9375*s**4 + 178.7776*s**5
        enthalpy = vaporisation_enthalpy_ice_point + 1000*(up - down)""",
    where="integral of the fit of heat capacity, from vapour at 0 °C",
    holds=HOT,
    in_units={"temperature": "K", "ice_point": "K", "vaporisation_enthalpy_ice_point": "J/kg"},
)
def enthalpy_steam(temperature: Num) -> Num:
    """Enthalpy of dilute steam above liquid water at 0 °C.

    Picture: evaporate at 0 °C, then warm the vapour. Use for: the water in hood air. Not for: steam at
    pressure. In print: nowhere; our own integral. Made from: the heat-capacity fit.
    """
    z = temperature / 1000.0
    s = ice_point / 1000.0
    up = z * (1939.18 + z * (-482.2105 + z * (3112.13 / 3.0 + z * (-671.9375 + z * 178.7776))))
    down = s * (1939.18 + s * (-482.2105 + s * (3112.13 / 3.0 + s * (-671.9375 + s * 178.7776))))
    return vaporisation_enthalpy_ice_point + 1000.0 * (up - down)


@derived(
    "enthalpy = enthalpy_dry_air(temperature) + humidity*enthalpy_steam(temperature)",
    where="ideal mixture, per kilogram of dry air",
    holds=HOT,
)
def enthalpy_mixture(temperature: Num, humidity: Num) -> Num:
    """Enthalpy of humid air per kilogram of dry air.

    Picture: the air's heat plus that of the steam it carries, latent heat included. Use for: hood and
    make-up. Not for: fog. In print: ideal mixture. Made from: the two pure-gas integrals.
    """
    return enthalpy_dry_air(temperature) + humidity * enthalpy_steam(temperature)


@derived(
    "0 = enthalpy_mixture(temperature, humidity) - enthalpy",
    gives="temperature",
    kind="equation",
    where="inverse of the enthalpy of humid air",
    holds={"enthalpy": (0.0, 4e6)},
)
def temperature_enthalpy(enthalpy: Num, humidity: Num) -> Num:
    """Temperature of humid air from its enthalpy.

    Picture: how warm the air must be to hold this heat. Use for: mixing of air streams. Not for: air past its
    dew point. In print: nowhere. Made from: Newton's method from a straight-line guess; five steps reach 1e-9
    K.
    """
    rest = enthalpy - vaporisation_enthalpy_ice_point * humidity
    temperature = ice_point + rest / (1006.0 + 1860.0 * humidity)
    for _ in range(5):
        error = enthalpy_dry_air(temperature) + humidity * enthalpy_steam(temperature) - enthalpy
        slope = heat_capacity_dry_air(temperature) + humidity * heat_capacity_steam(temperature)
        temperature = temperature - error / slope
    return temperature


@derived(
    """y = humidity/(humidity + molar_mass_water/molar_mass_air)
        density = pressure*(y*molar_mass_water + (1 - y)*molar_mass_air)/(gas_constant_molar*temperature)""",
    where="ideal gas",
    holds=HOT,
)
def density_mixture(temperature: Num, humidity: Num, pressure: Num) -> Num:
    """Density of humid air, mixture per volume.

    Picture: hot and humid air is light. Use for: mass of hood jets. Not for: high pressure. In print: ideal
    gas law. Made from: mean molar mass.
    """
    y = humidity / (humidity + molar_mass_water / molar_mass_air)
    molar_mass = y * molar_mass_water + (1.0 - y) * molar_mass_air
    return pressure * molar_mass / (gas_constant_molar * temperature)


_INTERACTION = """y = humidity/(humidity + molar_mass_water/molar_mass_air)
        r = molar_mass_water/molar_mass_air
        v = viscosity_steam(temperature)/viscosity_dry_air(temperature)
        phi_wa = (1 + sqrt(v)/r**0.25)**2/sqrt(8*(1 + r))
        phi_aw = (1 + r**0.25/sqrt(v))**2/sqrt(8*(1 + 1/r))
        """


@relation(
    _INTERACTION
    + "steam_part = y*viscosity_steam(temperature)/(y + (1 - y)*phi_wa); "
    + "viscosity = steam_part + (1 - y)*viscosity_dry_air(temperature)/(1 - y + y*phi_aw)",
    gives="viscosity",
    source="WILKE_1950",
    status="from memory",
    holds=HOT,
)
def viscosity_wilke(temperature: Num, humidity: Num) -> Num:
    """Viscosity of humid air.

    Picture: molecules of two kinds jostle; the mixture is no weighed mean. Use for: hood jets. Not for: dense
    steam. In print: Wilke's rule with interaction factors of the pure viscosities. Made from: kinetic theory,
    checked on many gas pairs within 1-2 %.
    """
    y = humidity / (humidity + molar_mass_water / molar_mass_air)
    r = molar_mass_water / molar_mass_air
    steam = viscosity_steam(temperature)
    air = viscosity_dry_air(temperature)
    root = np.sqrt(steam / air) / r**0.25
    phi_wa = (1.0 + root) ** 2 / np.sqrt(8.0 * (1.0 + r))
    phi_aw = (1.0 + 1.0 / root) ** 2 / np.sqrt(8.0 * (1.0 + 1.0 / r))
    return y * steam / (y + (1.0 - y) * phi_wa) + (1.0 - y) * air / (1.0 - y + y * phi_aw)


@relation(
    _INTERACTION
    + "steam_part = y*conductivity_steam(temperature)/(y + (1 - y)*phi_wa); "
    + "conductivity = steam_part + (1 - y)*conductivity_dry_air(temperature)/(1 - y + y*phi_aw)",
    gives="conductivity",
    source="MASON_SAXENA_1958",
    status="from memory",
    holds=HOT,
)
def conductivity_wassiljewa(temperature: Num, humidity: Num) -> Num:
    """Thermal conductivity of humid air.

    Picture: as for viscosity; heat is carried by both kinds of molecules past each other. Use for: hood jets.
    Not for: dense steam. In print: Wassiljewa's form with the factors of Mason and Saxena, here those of
    Wilke. Made from: kinetic theory with measured pairs within a few percent.
    """
    y = humidity / (humidity + molar_mass_water / molar_mass_air)
    r = molar_mass_water / molar_mass_air
    root = np.sqrt(viscosity_steam(temperature) / viscosity_dry_air(temperature)) / r**0.25
    phi_wa = (1.0 + root) ** 2 / np.sqrt(8.0 * (1.0 + r))
    phi_aw = (1.0 + 1.0 / root) ** 2 / np.sqrt(8.0 * (1.0 + 1.0 / r))
    steam_part = y * conductivity_steam(temperature) / (y + (1.0 - y) * phi_wa)
    return steam_part + (1.0 - y) * conductivity_dry_air(temperature) / (1.0 - y + y * phi_aw)


@relation(
    "diffusivity = 0.0000226*98066.5/pressure*(temperature/273.15)**1.81",
    source="SCHIRMER_1938",
    status="from memory",
    in_units={"temperature": "K", "pressure": "Pa"},
)
def diffusivity_schirmer(temperature: Num, pressure: Num) -> Num:
    """Diffusivity of water vapour in air.

    Picture: how fast vapour wanders through still air. Use for: mass transfer from heat transfer. Not for:
    vapour in pores finer than the free path. In print: 0.083 m²/h at 0 °C and one technical atmosphere, power
    1.81. Made from: evaporation from tubes, room to about 100 °C; used beyond on the strength of its power
    law.
    """
    return 2.26e-5 * (98066.5 / pressure) * (temperature / 273.15) ** 1.81


@derived(
    "dew_point = saturation_temperature_if97(vapour_pressure_humidity(humidity, pressure))",
    where="boiling line at the vapour's partial pressure",
)
def dew_point_temperature(humidity: Num, pressure: Num) -> Num:
    """Temperature at which humid air begins to give off dew.

    Picture: a cold sheet in humid air gets wetter first. Use for: exhaust ducts, economisers, entering sheet.
    Not for: acid dew points. In print: definition. Made from: Dalton's law and the boiling line.
    """
    return saturation_temperature_if97(vapour_pressure_humidity(humidity, pressure))


@derived(
    """p_sat = saturation_pressure_if97(wet_bulb)
        x_s = humidity_vapour_pressure(p_sat, pressure)
        gained = enthalpy_mixture(wet_bulb, x_s) - enthalpy_mixture(temperature, humidity)
        scale = enthalpy_mixture(temperature, humidity)
        0 = (gained - (x_s - humidity)*water_heat_capacity_sheet*(wet_bulb - ice_point))/scale""",
    gives="wet_bulb",
    kind="equation",
    where="adiabatic saturation",
    holds=HOT,
)
def wet_bulb_temperature(temperature: Num, humidity: Num, pressure: Num) -> Num:
    """Temperature a wet surface takes in a stream of humid air, by adiabatic saturation.

    Picture: air gives heat, takes vapour, until it can take no more. Use for: the sheet's temperature where
    only air dries it. Not for: a sheet on a hot shell. In print: definition. Made from: enthalpy in =
    enthalpy out, bisected.
    """
    start = enthalpy_mixture(temperature, humidity)
    # just under boiling, where the saturated humidity still is a number
    high = np.minimum(temperature, saturation_temperature_if97(pressure) * (1.0 - 1e-12)) + 0.0 * humidity
    low = 273.16 + 0.0 * high
    for _ in range(60):
        middle = 0.5 * (low + high)
        saturated = humidity_vapour_pressure(saturation_pressure_if97(middle), pressure)
        added = (saturated - humidity) * water_heat_capacity_sheet * (middle - ice_point)
        above = enthalpy_mixture(middle, saturated) - start > added
        high = np.where(above, middle, high)
        low = np.where(above, low, middle)
    return (0.5 * (low + high))[()]
