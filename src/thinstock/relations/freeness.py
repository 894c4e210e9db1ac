"""Freeness testers as what they are: a litre of dilute stock that filters itself, and a funnel with two
outlets.

From filtration resistance to mL or SR and back. Fines that wash through or plug the mat are not in here;
real testers read lower than this for stock with many fines, and below 100 mL the reading may even rise
again with beating.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from thinstock.formula.label import Array, Num, derived
from thinstock.relations.drainage import flux_mat_fabric, pressure_drop_mat_fabric
from thinstock.words.constants import gravity


class Tester(NamedTuple):
    """A drainage tester, all in base SI."""

    area: float
    """Of the screen, m²."""
    chamber_area: float
    """Of the chamber that holds the stock, m²."""
    volume: float
    """Of the sample, m³."""
    consistency: float
    """Of the sample, kg/kg."""
    fabric_resistance: float
    """Of the screen, 1/m."""
    fabric_inertia: float
    """Of the screen and the way into the funnel, 1."""
    orifice_flow: float
    """Through the bottom outlet of a full funnel, m³/s."""
    holdup: float
    """Water that stays in the funnel below the side outlet, m³."""


_PANELS = 20
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(10)
_STEP = np.arange(_PANELS + 1) / _PANELS
_EDGES = _STEP**2 * (3.0 - 2.0 * _STEP)
_PLACE = (_EDGES[:-1, None] + 0.5 * np.diff(_EDGES)[:, None] * (_NODES + 1.0)).ravel()
"""Shares of the filtrate at which the outflow is looked at, crowded towards bare screen and spent head."""
_SHARE = (0.5 * np.diff(_EDGES)[:, None] * _WEIGHTS).ravel()
_GRID = np.arange(1, 64) / 64.0
_LOWEST, _HIGHEST = np.log(1e6), np.log(1e13)


def _last_overflow(alpha: Array, exponent: Array, viscosity: Array, density: Array, tester: Tester) -> Array:
    """Filtrate at which the outflow has fallen to the orifice's; below 0 if it never exceeds it.

    All arrays have a last axis of length 1. The bracket shrinks to a 64th in each of nine rounds.
    """
    flux = tester.orifice_flow / tester.area
    low = np.zeros(np.broadcast_shapes(alpha.shape, exponent.shape, viscosity.shape, density.shape))
    width = np.full(low.shape, tester.volume)

    def spare(filtrate: Array) -> Array:
        head = density * gravity * (tester.volume - filtrate) / tester.chamber_area
        deposited = tester.consistency * density * filtrate / tester.area
        needed = pressure_drop_mat_fabric.__wrapped__(  # type: ignore[attr-defined]
            flux,
            deposited,
            viscosity,
            density,
            alpha,
            exponent,
            tester.fabric_resistance,
            tester.fabric_inertia,
        )
        return np.asarray(head - needed)

    never = spare(low) <= 0.0
    for _ in range(9):
        steps = np.sum(spare(low + width * _GRID) > 0.0, axis=-1, keepdims=True)
        width = width / 64.0
        low = low + steps * width
    return np.where(never, -1.0, low + 0.5 * width)


def _outflow(
    resistance_coefficient: Num, resistance_exponent: Num, viscosity: Num, density: Num, tester: Tester
) -> Array:
    """Side outflow less holdup, negative where nothing runs over."""
    words = (resistance_coefficient, resistance_exponent, viscosity, density)
    alpha, exponent, mu, rho = (np.asarray(word, dtype=float)[..., None] for word in words)
    last = _last_overflow(alpha, exponent, mu, rho, tester)
    filtrate = np.maximum(last, 0.0) * _PLACE
    head = rho * gravity * (tester.volume - filtrate) / tester.chamber_area
    deposited = tester.consistency * rho * filtrate / tester.area
    flux = flux_mat_fabric.__wrapped__(  # type: ignore[attr-defined]
        head, deposited, mu, rho, alpha, exponent, tester.fabric_resistance, tester.fabric_inertia
    )
    time = last[..., 0] * np.sum(_SHARE / (flux * tester.area), axis=-1)
    over = last[..., 0] - tester.orifice_flow * time
    return np.asarray(np.where(last[..., 0] > 0.0, over, 0.0) - tester.holdup)


@derived(
    """
    outflow(V) = area*flux_mat_fabric(density*gravity*(volume - V)/chamber_area, consistency*density*V/area)
    last: outflow(last) = orifice_flow; time = integral over V from 0 to last of 1/outflow(V)
    overflow_volume = max(0, last - orifice_flow*time - holdup)
    """,
    kind="march",
    where="cake filtration under a falling head; bottom outlet at its rated flow while the funnel is full",
)
def overflow_volume(
    resistance_coefficient: Num, resistance_exponent: Num, viscosity: Num, density: Num, tester: Tester
) -> Num:
    """Water that leaves a tester by the side outlet.

    Picture: the funnel runs over as long as the mat lets more through than the bottom hole takes. Use
    for: the tester's reading from a filtration resistance; 0 gives clear water. Not for: stock whose
    fines plug the screen. Made from: 20 panels crowded towards both ends, 10-point Gauss in each.
    """
    over = _outflow(resistance_coefficient, resistance_exponent, viscosity, density, tester)
    return np.maximum(0.0, over)[()]


@derived(
    """
    s = resistance_coefficient*consistency*density/area; h = density*gravity*area/chamber_area
    last = (h*volume - orifice_flow*viscosity*R)/(h + orifice_flow*viscosity*s); R = fabric_resistance
    time = viscosity/h*((R + s*volume)*log(volume/(volume - last)) - s*last)
    overflow_volume = max(0, last - orifice_flow*time - holdup)
    """,
    kind="march",
    where="the same without compressibility and inertia, integrated",
)
def overflow_volume_incompressible(resistance_coefficient: Num, viscosity: Num, density: Num, tester: Tester) -> Num:
    """Side outflow for a mat of constant resistance on a screen without inertia, in closed form.

    Picture: as for the general tester. Use for: checking the general one. Not for: real stock.
    """
    mat = resistance_coefficient * tester.consistency * density / tester.area
    screen = tester.fabric_resistance
    head = density * gravity * tester.area / tester.chamber_area
    bottom = tester.orifice_flow * viscosity
    last = np.maximum(0.0, (head * tester.volume - bottom * screen) / (head + bottom * mat))
    falling = (screen + mat * tester.volume) * np.log(tester.volume / (tester.volume - last))
    time = viscosity / head * (falling - mat * last)
    return np.maximum(0.0, last - tester.orifice_flow * time - tester.holdup)


@derived("freeness = overflow_volume of the freeness tester", kind="march", where="definition of the reading")
def freeness_from_resistance(
    resistance_coefficient: Num, resistance_exponent: Num, viscosity: Num, density: Num, tester: Tester
) -> Num:
    """Canadian standard freeness that goes with a filtration resistance.

    Picture: much over the side is a free stock. Use for: 30 to 850 mL. Not for: stock below 100 mL with
    many fines.
    """
    return np.maximum(0.0, _outflow(resistance_coefficient, resistance_exponent, viscosity, density, tester))[()]


@derived(
    "drainability = 100 - overflow_volume/(10 mL)", kind="march", where="definition of the reading: SR = 100 − mL/10"
)
def drainability_from_resistance(
    resistance_coefficient: Num, resistance_exponent: Num, viscosity: Num, density: Num, tester: Tester
) -> Num:
    """Schopper-Riegler number that goes with a filtration resistance.

    Picture: the side outflow counted down from 100. Use for: SR 10 to 90. Not for: comparing with
    freeness without a word on the fitted chamber area.
    """
    over = _outflow(resistance_coefficient, resistance_exponent, viscosity, density, tester)
    return 100.0 - np.maximum(0.0, over)[()] / 1e-5


def _resistance_for(wanted: Num, resistance_exponent: Num, viscosity: Num, density: Num, tester: Tester) -> Num:
    """Filtration resistance at which the side outflow is `wanted`: false position in its logarithm
    (Illinois)."""
    goal, exponent, mu, rho = np.broadcast_arrays(
        np.asarray(wanted, dtype=float), resistance_exponent, viscosity, density
    )

    def excess(logarithm: Array) -> Array:
        return np.asarray(_outflow(np.exp(logarithm), exponent, mu, rho, tester) - goal)

    low, high = np.full(goal.shape, _LOWEST), np.full(goal.shape, _HIGHEST)
    above, below = excess(low), excess(high)
    inside = (above >= 0.0) & (below <= 0.0)
    where = 0.5 * (low + high)
    last = np.zeros(goal.shape)
    for count in range(100):
        straight = low + (high - low) * above / np.where(above > below, above - below, 1.0)
        where = 0.5 * (low + high) if count < 3 else np.clip(straight, low, high)
        found = excess(where)
        right = found > 0.0
        below = np.where(right & (last > 0.0), 0.5 * below, np.where(right, below, found))
        above = np.where(~right & (last < 0.0), 0.5 * above, np.where(right, found, above))
        low, high = np.where(right, where, low), np.where(right, high, where)
        last = np.where(right, 1.0, -1.0)
        settled = (np.abs(found) < 1e-13 * tester.volume) | (high - low < 1e-12) | ~inside
        if np.all(settled):
            break
    return np.where(inside, np.exp(where), np.nan)[()]


@derived(
    "freeness_from_resistance(resistance_coefficient) = freeness",
    gives="resistance_coefficient",
    kind="march",
    where="inverse of the tester, between 1e6 and 1e13 m/kg",
    holds={"freeness": (30e-6, 850e-6)},
)
def resistance_from_freeness(
    freeness: Num, resistance_exponent: Num, viscosity: Num, density: Num, tester: Tester
) -> Num:
    """Filtration resistance of a stock whose freeness was measured; not a number where no resistance
    gives it.

    Picture: the tester read backwards. Use for: the resistance of the stock as it was tested. Not for:
    the machine without a resistance factor, or pressures far above the tester's 1 kPa with the same
    exponent.
    """
    return _resistance_for(freeness, resistance_exponent, viscosity, density, tester)


@derived(
    "drainability_from_resistance(resistance_coefficient) = drainability",
    gives="resistance_coefficient",
    kind="march",
    where="inverse of the tester, between 1e6 and 1e13 m/kg",
    holds={"drainability": (10.0, 90.0)},
)
def resistance_from_drainability(
    drainability: Num, resistance_exponent: Num, viscosity: Num, density: Num, tester: Tester
) -> Num:
    """Filtration resistance of a stock whose Schopper-Riegler number was measured.

    Picture: the tester read backwards. Use for: SR 10 to 90. Not for: as for freeness.
    """
    return _resistance_for((100.0 - np.asarray(drainability)) * 1e-5, resistance_exponent, viscosity, density, tester)


@derived(
    "drainability = drainability_from_resistance(resistance_from_freeness(freeness))",
    kind="march",
    where="two testers on one stock",
    holds={"freeness": (30e-6, 850e-6)},
)
def drainability_from_freeness(
    freeness: Num,
    resistance_exponent: Num,
    viscosity: Num,
    density: Num,
    tester: Tester,
    tester_sr: Tester,
) -> Num:
    """Schopper-Riegler number of a stock whose freeness was measured.

    Picture: one stock through two testers. Use for: a first translation, 400 to 700 mL. Not for:
    contracts; the chamber area of the second tester was fitted to a chart in circulation, so agreement
    with it proves nothing.
    """
    alpha = _resistance_for(freeness, resistance_exponent, viscosity, density, tester)
    over = _outflow(alpha, resistance_exponent, viscosity, density, tester_sr)
    return 100.0 - np.maximum(0.0, over)[()] / 1e-5
