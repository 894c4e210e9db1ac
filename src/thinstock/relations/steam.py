"""Saturated water and steam: saturation line, enthalpies, and the steam flows of a Yankee.

Only the saturation line is here, between 0 and 240 °C for the enthalpies. Superheat is ignored: each 10 K of
it carries about 1.2 % more heat per kilogram. Whether a pressure is allowed is never decided here.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived, relation


@relation(
    """theta = temperature - 0.23855557567849/(temperature - 650.17534844798)
        a = theta**2 + 1167.0521452767*theta - 724213.16703206
        b = -17.073846940092*theta**2 + 12020.824702470*theta - 3232555.0322333
        c = 14.915108613530*theta**2 - 4823.2657361591*theta + 405113.40542057
        vapour_pressure = 1000000*(2*c/(sqrt(b**2 - 4*a*c) - b))**4""",
    source="IAPWS_IF97",
    where="region 4, eq. (30)",
    status="published",
    holds={"temperature": (273.15, 647.096)},
    in_units={"temperature": "K"},
)
def saturation_pressure_if97(temperature: Num) -> Num:
    """Pressure at which water of this temperature boils.

    Picture: the boiling line of water. Use for: vapour pressure of a wet surface, steam tables. Not for:
    water held by fibre (water activity comes on top) or below the ice point. In print: eq. (30), check values
    in Table 35. Made from: the international formulation, within its own 0.025 %.
    """
    theta = temperature - 0.23855557567849 / (temperature - 0.65017534844798e3)
    a = theta * theta + 0.11670521452767e4 * theta - 0.72421316703206e6
    b = -0.17073846940092e2 * theta * theta + 0.12020824702470e5 * theta - 0.32325550322333e7
    c = 0.14915108613530e2 * theta * theta - 0.48232657361591e4 * theta + 0.40511340542057e6
    root = 2.0 * c / (np.sqrt(b * b - 4.0 * a * c) - b)
    square = root * root
    return 1e6 * square * square


@relation(
    """beta = (steam_pressure/1000000)**0.25
        e = beta**2 - 17.073846940092*beta + 14.915108613530
        f = 1167.0521452767*beta**2 + 12020.824702470*beta - 4823.2657361591
        g = -724213.16703206*beta**2 - 3232555.0322333*beta + 405113.40542057
        d = 2*g/(-f - sqrt(f**2 - 4*e*g))
        s = 650.17534844798 + d
        steam_temperature = 0.5*(s - sqrt(s**2 - 4*(650.17534844798*d - 0.23855557567849)))""",
    source="IAPWS_IF97",
    where="region 4, eq. (31)",
    status="published",
    holds={"steam_pressure": (611.213, 22.064e6)},
    in_units={"steam_pressure": "Pa"},
)
def saturation_temperature_if97(steam_pressure: Num) -> Num:
    """Temperature at which water boils at this absolute pressure.

    Picture: the boiling line read the other way. Use for: steam temperature of a Yankee, dew point. Not for:
    gauge pressure put in as absolute, which is 5 K at usual Yankee pressures. In print: eq. (31), check
    values in Table 36. Made from: the same curve as the pressure, solved exactly.
    """
    beta = np.sqrt(np.sqrt(steam_pressure / 1e6))
    e = beta * beta - 0.17073846940092e2 * beta + 0.14915108613530e2
    f = 0.11670521452767e4 * beta * beta + 0.12020824702470e5 * beta - 0.48232657361591e4
    g = -0.72421316703206e6 * beta * beta - 0.32325550322333e7 * beta + 0.40511340542057e6
    d = 2.0 * g / (-f - np.sqrt(f * f - 4.0 * e * g))
    s = 0.65017534844798e3 + d
    return 0.5 * (s - np.sqrt(s * s - 4.0 * (-0.23855557567849 + 0.65017534844798e3 * d)))


@derived(
    """z = (temperature - 273.15)/100
        low = -3.63581 + 420785.4*z - 7427.962*z**2
        liquid_enthalpy = low + 7478.953*z**3 - 2267.469*z**4 + 530.7321*z**5""",
    where="fit to the saturation line of IF97, largest error 38 J/kg",
    holds={"temperature": (273.15, 513.15)},
    in_units={"temperature": "K"},
)
def liquid_enthalpy_fit(temperature: Num) -> Num:
    """Enthalpy of boiling water above liquid water at 0 °C.

    Picture: about 4.2 kJ for every kelvin. Use for: condensate and flash. Not for: above 240 °C.
    In print: nowhere; our own fit. Made from: the saturation line of IF97, 0-240 °C, within 38 J/kg.
    """
    z = (temperature - 273.15) / 100.0
    return -3.63581 + z * (420785.4 + z * (-7427.962 + z * (7478.953 + z * (-2267.469 + z * 530.7321))))


@derived(
    """z = (temperature - 273.15)/100
        latent_heat = 2500969 - 238004.2*z + 6476.198*z**2 - 13093.55*z**3 + 661.9179*z**4 - 532.219*z**5""",
    where="fit to the saturation line of IF97, largest error 0.006 %",
    holds={"temperature": (273.15, 513.15)},
    in_units={"temperature": "K"},
)
def latent_heat_fit(temperature: Num) -> Num:
    """Heat that one kilogram of saturated steam gives up when it condenses, or water takes to boil.

    Picture: the hotter the water, the less is left to pay for the vapour. Use for: steam of a Yankee,
    evaporation. Not for: above 240 °C. In print: nowhere; our own fit. Made from: the saturation line of
    IF97, 0-240 °C.
    """
    z = (temperature - 273.15) / 100.0
    return 2500969.0 + z * (-238004.2 + z * (6476.198 + z * (-13093.55 + z * (661.9179 - z * 532.219))))


@derived(
    """z = (temperature - 273.15)/100
        latent_heat_slope = (-238004.2 + 12952.396*z - 39280.65*z**2 + 2647.6716*z**3 - 2661.095*z**4)/100""",
    where="derivative of the fit of latent heat",
    holds={"temperature": (273.15, 513.15)},
    in_units={"temperature": "K"},
)
def latent_heat_slope_fit(temperature: Num) -> Num:
    """How latent heat falls with temperature.

    Picture: the slope of the fit. Use for: the drying march, which linearises the heat balance. Not for:
    above 240 °C. In print: nowhere. Made from: the derivative of the fit.
    """
    z = (temperature - 273.15) / 100.0
    return (-238004.2 + z * (12952.396 + z * (-39280.65 + z * (2647.6716 - z * 2661.095)))) / 100.0


@derived(
    "vapour_enthalpy = liquid_enthalpy_fit(temperature) + latent_heat_fit(temperature)",
    where="sum of the two fits",
    holds={"temperature": (273.15, 513.15)},
)
def vapour_enthalpy_fit(temperature: Num) -> Num:
    """Enthalpy of saturated steam above liquid water at 0 °C.

    Picture: heat the water, then boil it. Use for: steam supplied, blow-through. Not for: superheated steam.
    In print: nowhere; our own fit. Made from: the two fits.
    """
    return liquid_enthalpy_fit(temperature) + latent_heat_fit(temperature)


@derived("steam_flow = heat_rate/latent_heat")
def steam_flow_condensing(heat_rate: Num, latent_heat: Num) -> Num:
    """Steam that condenses to give a heat rate; the condensate leaves saturated.

    Picture: every kilogram of steam leaves its latent heat in the shell. Use for: steam of a Yankee from its
    heat. Not for: sub-cooled condensate or superheat. In print: heat balance. Made from: heat in = heat out.
    """
    return heat_rate / latent_heat


@derived("supply_flow = steam_flow/(1 - blow_through)")
def supply_flow_blow_through(steam_flow: Num, blow_through: Num) -> Num:
    """Steam sent to the Yankee when part of it blows through to carry the condensate out.

    Picture: extra steam sweeps the siphons. Use for: header flow from condensed flow. Not for: blow-through
    stated per condensed steam. In print: definition, blow-through per supply. Made from: the definition.
    """
    return steam_flow / (1.0 - blow_through)


@derived("flash_fraction = (condensate_enthalpy - liquid_enthalpy)/latent_heat")
def flash_fraction(condensate_enthalpy: Num, liquid_enthalpy: Num, latent_heat: Num) -> Num:
    """Share of hot condensate that turns to steam when its pressure falls.

    Picture: water too hot for its new pressure boils itself down. Use for: flash tanks. Not for: condensate
    already below the lower boiling point. In print: heat balance; liquid and latent at the lower pressure.
    Made from: enthalpy before = enthalpy after.
    """
    return (condensate_enthalpy - liquid_enthalpy) / latent_heat
