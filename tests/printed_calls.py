"""Functions of the program that print can be held against and that are no single labelled formula.

Each takes what a check row gives and returns the numbers that the print tells, in their order. Only the way in and out
is made here; the numbers come from the program.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.optimize import minimize

from thinstock.relations import economics, humid_air, impingement, steam
from thinstock.sheet.random import mix
from thinstock.studies import Normal, Rectangular, propagate, sobol_indices
from thinstock.survey import fit, profile, reconcile_linear
from thinstock.words import constants, units


def constant(name: str) -> float:
    """A constant of nature."""
    return constants.value(name)


def unit_in_si(unit: str) -> float:
    """One of a unit in base SI."""
    found = units.find(unit)
    assert found is not None, f"no unit {unit!r}"
    return found.factor


def latent_heat_at_pressure(steam_pressure: float) -> float:
    """Heat of vaporisation of steam that is saturated at a pressure."""
    return steam.latent_heat_fit(steam.saturation_temperature_if97(steam_pressure))


def liquid_enthalpy_at_pressure(steam_pressure: float) -> float:
    """Enthalpy of condensate that is saturated at a pressure."""
    return steam.liquid_enthalpy_fit(steam.saturation_temperature_if97(steam_pressure))


def saturated_humidity(temperature: float, pressure: float) -> float:
    """Water in saturated air."""
    return humid_air.humidity_vapour_pressure(steam.saturation_pressure_if97(temperature), pressure)


def rate_of_return(cash_flow: list[float], number: int = 0) -> float:
    """One of the internal rates of return, counted upward."""
    return economics.internal_rates_of_return(np.array(cash_flow))[number]


def best_plate(merit: str, gap_start: float, area_start: float) -> tuple[float, float]:
    """(Open area, gap ratio) at which the merit of a nozzle plate is largest."""
    worth = getattr(impingement, merit)
    found = minimize(
        lambda z: -worth(*np.exp(z)), np.log([area_start, gap_start]), method="Nelder-Mead", options={"xatol": 1e-7}
    )
    area, gap = np.exp(found.x)
    return float(area), float(gap)


def best_hole_plate() -> tuple[float, float]:
    """Open area and hexagonal pitch over gap of the best field of holes."""
    area, gap = best_plate("hole_array_merit", 5.0, 0.02)
    return area, float(np.sqrt(np.pi / (2.0 * np.sqrt(3.0) * area)) / gap)


def best_slot_plate() -> float:
    """Open area of the best field of slots."""
    return best_plate("slot_array_merit", 5.0, 0.05)[0]


def scrambled(start: int, count: int) -> list[int]:
    """The first numbers of the scrambled sequence, whole."""
    step = np.uint64(0x9E3779B97F4A7C15)
    with np.errstate(over="ignore"):
        return [int(mix(np.uint64(start) + np.uint64(i) * step)) for i in range(1, count + 1)]


def reconciled(balance: list[list[float]], value: list[float], uncertainty: list[float]) -> Any:
    """Flows adjusted to linear balances."""
    return reconcile_linear(balance, value, uncertainty).value


def _saturating(x: Any) -> Callable[[Any], Any]:
    return lambda p: p[0] * (1.0 - np.exp(-p[1] * x))


def saturating_fit(x: list[float], y: list[float]) -> list[float]:
    """Both constants of y = a (1 - exp(-b x)), then the standard deviation of the residuals."""
    found = fit(_saturating(np.array(x)), np.array(y), 1.0, [20.0, 0.5], uncertainty_known=False)
    return [*found.value, found.residual_deviation]


def saturating_ends(x: list[float], y: list[float], index: int) -> list[float]:
    """Ends of the 95 % profile of one of the two constants."""
    found = fit(_saturating(np.array(x)), np.array(y), 1.0, [20.0, 0.5], uncertainty_known=False)
    ends = profile(found, index, share=0.95)
    return [ends.low, ends.high]


def _sum(a: Any, b: Any, c: Any, d: Any) -> Any:
    return a + b + c + d


def spread_of_sum(bell: list[float], flat: list[float]) -> list[float]:
    """Standard uncertainty of a sum and the upper end of its 95 % interval; by standard deviations of the parts."""
    parts = [Normal(0.0, s) for s in bell] + [Rectangular(-s * 3.0**0.5, s * 3.0**0.5) for s in flat]
    found = propagate(_sum, dict(zip("abcd", parts, strict=True)), seed=5, draws=1_000_000)
    return [found.standard_uncertainty, found.symmetric[1]]


def slopes_of_sum(bell: list[float], flat: list[float]) -> float:
    """Standard uncertainty of the same sum by slopes."""
    parts = [Normal(0.0, s) for s in bell] + [Rectangular(-s * 3.0**0.5, s * 3.0**0.5) for s in flat]
    return propagate(_sum, dict(zip("abcd", parts, strict=True)), seed=5, draws=1000).first_order_uncertainty


def _ishigami(x: Any, y: Any, z: Any) -> Any:
    return np.sin(x) + 7.0 * np.sin(y) ** 2 + 0.1 * z**4 * np.sin(x)


def first_indices_ishigami() -> list[float]:
    """First-order indices of the test function with constants 7 and 0.1."""
    each = {name: Rectangular(-np.pi, np.pi) for name in "xyz"}
    return list(sobol_indices(_ishigami, each, base=2**14, seed=1).first.values())


CALLS: dict[str, Callable[..., Any]] = {
    function.__name__: function
    for function in (
        constant, unit_in_si, latent_heat_at_pressure, liquid_enthalpy_at_pressure, saturated_humidity, rate_of_return,
        best_hole_plate, best_slot_plate, scrambled, reconciled, saturating_fit, saturating_ends, spread_of_sum,
        slopes_of_sum, first_indices_ishigami,
    )
}  # fmt: skip
"""By the name that a row gives under `call`."""
