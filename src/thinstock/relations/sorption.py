"""Water held by fibre: water activity and heat of sorption at a moisture ratio and temperature.

Two isotherms, each with the heat that its own temperature dependence implies. No hysteresis; bleached
chemical pulp. The moisture ratio must be above zero. Codes for the drying march: `HEIKKILA` and `TRYDING`.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from thinstock.formula.label import Num, derived, relation
from thinstock.words.constants import ice_point, vapour_gas_constant

HEIKKILA: Final = 0
TRYDING: Final = 1

_X = "x = 47.58*moisture_ratio**1.877 + 0.10085*(temperature - 273.15)*moisture_ratio**1.0585\n"
_KELVIN = {"temperature": "K"}
_KELVIN_GAS = {"temperature": "K", "vapour_gas_constant": "J/(kg K)"}


@relation(
    _X + "water_activity = 1 - exp(-x)",
    gives="water_activity",
    source="HEIKKILA_1993",
    status="from memory",
    holds={"temperature": (293.15, 393.15)},
    in_units=_KELVIN,
)
def water_activity_heikkila(moisture_ratio: Num, temperature: Num) -> Num:
    """Water activity of pulp after Heikkilä.

    Picture: the drier the fibre, the harder it holds its water; heat loosens it. Use for: the falling rate of
    drying. Not for: filled or mechanical pulps. In print: with t in °C; could not be re-read. Made from:
    sorption measurements on pulp, 20-120 °C.
    """
    t = temperature - ice_point
    x = 47.58 * moisture_ratio**1.877 + 0.10085 * t * moisture_ratio**1.0585
    return 1.0 - np.exp(-x)


@derived(
    _X
    + "slope = 89.30766*moisture_ratio**0.877 + 0.106749725*(temperature - 273.15)*moisture_ratio**0.0585\n"
    + "water_activity_slope = exp(-x)*slope",
    gives="water_activity_slope",
    where="derivative of Heikkilä's isotherm",
    holds={"temperature": (293.15, 393.15)},
    in_units=_KELVIN,
)
def water_activity_slope_heikkila(moisture_ratio: Num, temperature: Num) -> Num:
    """Change of Heikkilä's water activity with moisture ratio.

    Picture: the steepness of the isotherm. Use for: the drying march. Not for: results shown. In print:
    nowhere. Made from: the derivative.
    """
    t = temperature - ice_point
    high, low = moisture_ratio**1.877, moisture_ratio**1.0585
    x = 47.58 * high + 0.10085 * t * low
    return np.exp(-x) * (89.30766 * high + 0.106749725 * t * low) / moisture_ratio


@derived(
    _X + "heat_of_sorption = 0.10085*moisture_ratio**1.0585*vapour_gas_constant*temperature**2/expm1(x)",
    gives="heat_of_sorption",
    where="Clausius-Clapeyron on Heikkilä's isotherm",
    holds={"temperature": (293.15, 393.15)},
    in_units=_KELVIN_GAS,
)
def heat_of_sorption_heikkila(moisture_ratio: Num, temperature: Num) -> Num:
    """Heat beyond latent heat to free water from fibre, from Heikkilä's isotherm.

    Picture: the last water costs extra. Use for: heat balance below about 20 % moisture. Not for: wet webs,
    where it vanishes. In print: follows from the isotherm. Made from: R T² d ln a/dT.
    """
    t = temperature - ice_point
    low = moisture_ratio**1.0585
    x = 47.58 * moisture_ratio**1.877 + 0.10085 * t * low
    decay = np.exp(-x) / -np.expm1(-x)  # 1/(e^x - 1) without overflow
    return 0.10085 * low * vapour_gas_constant * temperature * temperature * decay


@derived(
    "0 = water_activity_heikkila(moisture_ratio, temperature) - water_activity",
    gives="moisture_ratio",
    kind="equation",
    where="inverse of Heikkilä's isotherm",
    holds={"temperature": (293.15, 393.15)},
)
def moisture_ratio_heikkila(water_activity: Num, temperature: Num) -> Num:
    """Moisture ratio of pulp in equilibrium with a water activity.

    Picture: what the paper takes from the room. Use for: conditioned moisture. Not for: activity at or above
    1. In print: nowhere. Made from: bisection between 1e-12 and 3.
    """
    wanted = -np.log1p(-water_activity)
    t = temperature - ice_point
    low = 1e-12 + 0.0 * (wanted + t)
    high = 3.0 + low
    for _ in range(64):
        middle = 0.5 * (low + high)
        above = 47.58 * middle**1.877 + 0.10085 * t * middle**1.0585 > wanted
        high = np.where(above, middle, high)
        low = np.where(above, low, middle)
    return (0.5 * (low + high))[()]


@relation(
    "fibre_saturation = 2.49*(1 + (296.15 - temperature)/310)",
    source="TRYDING_2022",
    status="published",
    in_units=_KELVIN,
)
def fibre_saturation_tryding(temperature: Num) -> Num:
    """Moisture ratio at which bleached fibre is saturated.

    Picture: above it water is free. Use for: Tryding's isotherm. Not for: water retention value.
    In print: falls with temperature. Made from: sorption data of bleached fibre.
    """
    return 2.49 * (1.0 + (296.15 - temperature) / 310.0)


_XI = """y = moisture_ratio/fibre_saturation_tryding(temperature)
    kappa = 0.0629*exp((377.8934/temperature)**5.71/5.71)
    xi = (moisture_ratio/(kappa*(1 - y**3)))**(1/0.5786)
    """


@relation(
    _XI + "water_activity = 1 - exp(-xi)",
    gives="water_activity",
    source="TRYDING_2022",
    status="published",
    in_units=_KELVIN,
)
def water_activity_tryding(moisture_ratio: Num, temperature: Num) -> Num:
    """Water activity of bleached fibre after Tryding.

    Picture: as the other isotherm, with a sharp end at fibre saturation. Use for: bleached chemical pulp,
    below fibre saturation. Not for: moisture at or above it. In print: closed form in u and T. Made from:
    sorption data of bleached fibre over a wide range of temperature.
    """
    y = moisture_ratio / fibre_saturation_tryding(temperature)
    kappa = 0.0629 * np.exp((377.8934 / temperature) ** 5.71 / 5.71)
    xi = (moisture_ratio / (kappa * (1.0 - y * y * y))) ** (1.0 / 0.5786)
    return 1.0 - np.exp(-xi)


@derived(
    _XI + "water_activity_slope = exp(-xi)*xi/0.5786*(1 + 3*y**3/(1 - y**3))/moisture_ratio",
    gives="water_activity_slope",
    where="derivative of Tryding's isotherm",
    in_units=_KELVIN,
)
def water_activity_slope_tryding(moisture_ratio: Num, temperature: Num) -> Num:
    """Change of Tryding's water activity with moisture ratio.

    Picture: the steepness of the isotherm. Use for: the drying march. Not for: results shown. In print:
    nowhere. Made from: the derivative.
    """
    y = moisture_ratio / fibre_saturation_tryding(temperature)
    cube = y * y * y
    kappa = 0.0629 * np.exp((377.8934 / temperature) ** 5.71 / 5.71)
    xi = (moisture_ratio / (kappa * (1.0 - cube))) ** (1.0 / 0.5786)
    return np.exp(-xi) * xi / 0.5786 * (1.0 + 3.0 * cube / (1.0 - cube)) / moisture_ratio


@relation(
    _XI
    + """swelling = 2.49/fibre_saturation_tryding(temperature)*(temperature/377.8934)**6.71*377.8934/310
    eta = 1 + 3*y**3/(1 - y**3)*swelling
    scale = vapour_gas_constant*377.8934/0.5786*(377.8934/temperature)**4.71
    heat_of_sorption = scale*xi/expm1(xi)*eta""",
    gives="heat_of_sorption",
    source="TRYDING_2022",
    status="published",
    in_units=_KELVIN_GAS,
)
def heat_of_sorption_tryding(moisture_ratio: Num, temperature: Num) -> Num:
    """Heat beyond latent heat to free water from fibre, from Tryding's isotherm.

    Picture: the last water costs extra. Use for: with the same author's isotherm. Not for: above fibre
    saturation. In print: closed form. Made from: R T² d ln a/dT of the isotherm.
    """
    saturated = fibre_saturation_tryding(temperature)
    y = moisture_ratio / saturated
    cube = y * y * y
    ratio = 377.8934 / temperature
    kappa = 0.0629 * np.exp(ratio**5.71 / 5.71)
    xi = (moisture_ratio / (kappa * (1.0 - cube))) ** (1.0 / 0.5786)
    eta = 1.0 + 3.0 * cube / (1.0 - cube) * (2.49 / saturated) * ratio**-6.71 * 377.8934 / 310.0
    decay = xi * np.exp(-xi) / -np.expm1(-xi)  # xi/(e^xi - 1) without overflow
    return vapour_gas_constant * 377.8934 / 0.5786 * ratio**4.71 * decay * eta
