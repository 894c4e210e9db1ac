"""The stages of a step of the drainage march, where its time goes, for several cases side by side.

Number `k` of row `r` of lane `i` stands at `(r * ROW + k) * LANES + i` in one flat table. Formulas are those of the
march of one case; a branch becomes a choice.
"""

from __future__ import annotations

from thinstock.formula.label import Num
from thinstock.kernels.compiled import laned, njit
from thinstock.kernels.drainage_steps import (
    ACTIVE,
    AFTER,
    ALPHA,
    CURVATURE,
    DENSITY,
    DEPTH_IN,
    FIBRE,
    FLOOR,
    FLUX_CAP,
    GRAVITY,
    HEAD,
    INERTIA,
    KAPPA,
    KEPT,
    LAST,
    LAW,
    LENGTH,
    LOAD,
    MAT_COEFFICIENT,
    MAT_EXPONENT,
    MEMORY,
    NUMBERS,
    RATES,
    RESISTANCE,
    ROW,
    ROWS,
    SIDES,
    SLOPE,
    SPEED,
    STATE,
    STUFF,
    TIME,
    TRIAL,
    VISCOSITY,
    WATER,
    WORK,
    N,
    carried_by,
    drop_of,
    drop_of_packed,
    flux_kept_of,
    flux_of,
    held_back,
    mat_consistency_of,
    pressing,
    resistance_of_packed,
    share_at,
)

LANES = 16
"""Cases side by side."""
K, MEAN, RUN = WORK + 1, WORK + 2, ROWS
"""Slope at the last stage and the weighted sum of slopes; the row of what a lane is at."""
TOTAL, TOTAL_AFTER, SIZE, END_TIME, FLOWS, WAITS, CAPPED = range(7)
"""In the row RUN: flux before and after a step, its filtrate, end of the element, whether all stages flowed, whether
the rates of the state are asked for; whether a cap holds."""


@njit
def got(s: Num, at: Num, i: Num) -> Num:
    """A number of a lane."""
    return s[at * LANES + i]


@njit
def put(s: Num, at: Num, i: Num, value: Num) -> None:
    """Write a number of a lane."""
    s[at * LANES + i] = value


@njit
def press_lanes(s: Num, side: Num, packing: Num) -> Num:
    """Pressure and flux of a side at the trial of every lane; how many are held by their cap."""
    capped, law = 0, 8 * side
    for i in range(LANES):
        share = share_at(got(s, TRIAL * ROW + TIME, i), got(s, STUFF * ROW + SPEED, i), got(s, LAW * ROW + LENGTH, i))
        depth = got(s, STUFF * ROW + DEPTH_IN, i) - got(s, TRIAL * ROW + WATER, i) - got(s, TRIAL * ROW + WATER + 1, i)
        density = got(s, STUFF * ROW + DENSITY, i)
        carried = carried_by(
            got(s, LAW * ROW + law + GRAVITY, i), got(s, LAW * ROW + law + CURVATURE, i), got(s, STUFF * ROW + SPEED, i)
        )
        weight = density * depth * carried
        pressure = pressing(got(s, LAW * ROW + law + LOAD, i), got(s, LAW * ROW + law + HEAD, i), share, weight)
        active = got(s, SIDES * ROW + ACTIVE + side, i) > 0.0
        presses = active and pressure > 0.0
        fibre = max(got(s, TRIAL * ROW + FIBRE + side, i), 0.0)
        viscosity, alpha, n = (
            got(s, STUFF * ROW + VISCOSITY, i),
            got(s, STUFF * ROW + ALPHA, i),
            got(s, STUFF * ROW + N, i),
        )
        viscous, inertial = got(s, LAW * ROW + law + RESISTANCE, i), got(s, LAW * ROW + law + INERTIA, i)
        if packing:
            kept = got(s, STUFF * ROW + MEMORY, i) * got(s, SIDES * ROW + KEPT + side, i)
            free = flux_kept_of(pressure, fibre, kept, viscosity, density, alpha, n, viscous, inertial)
        else:
            free = flux_of(pressure, fibre, viscosity, density, alpha, n, viscous, inertial)
        flux = min(free, got(s, LAW * ROW + law + FLUX_CAP, i))
        coefficient, exponent = got(s, STUFF * ROW + MAT_COEFFICIENT, i), got(s, STUFF * ROW + MAT_EXPONENT, i)
        dense = mat_consistency_of(pressure, coefficient, exponent, got(s, STUFF * ROW + FLOOR, i))
        gain = held_back(got(s, STUFF * ROW + KAPPA, i), dense)
        put(s, AFTER * ROW + side, i, flux if presses else 0.0)
        put(s, AFTER * ROW + 2 + side, i, gain * flux if presses else 0.0)
        put(s, AFTER * ROW + 4 + side, i, pressure if presses else 0.0)
        put(s, AFTER * ROW + 6 + side, i, pressure if active else 0.0)
        put(s, LAST * ROW + 2 * side, i, pressure)
        put(s, LAST * ROW + 2 * side + 1, i, gain)
        held = presses and flux < free
        put(s, RUN * ROW + CAPPED, i, 1.0 if held else 0.0)
        capped += 1 if held else 0
    return capped


@njit
def cap_lanes(s: Num, side: Num, packing: Num) -> None:
    """What a side uses of its pressure where its flux is held by a cap."""
    law = 8 * side
    for i in range(LANES):
        flux, fibre = got(s, AFTER * ROW + side, i), max(got(s, TRIAL * ROW + FIBRE + side, i), 0.0)
        viscosity, density = got(s, STUFF * ROW + VISCOSITY, i), got(s, STUFF * ROW + DENSITY, i)
        alpha, n = got(s, STUFF * ROW + ALPHA, i), got(s, STUFF * ROW + N, i)
        viscous, inertial = got(s, LAW * ROW + law + RESISTANCE, i), got(s, LAW * ROW + law + INERTIA, i)
        used = drop_of(flux, fibre, viscosity, density, alpha, n, viscous, inertial)
        if packing:
            kept = got(s, STUFF * ROW + MEMORY, i) * got(s, SIDES * ROW + KEPT + side, i)
            packed = resistance_of_packed(alpha, n, kept, fibre)
            harder = max(used, drop_of_packed(flux, packed, viscosity, density, viscous, inertial))
            used = harder if kept > 0.0 else used
        whole = got(s, AFTER * ROW + 4 + side, i)
        put(s, AFTER * ROW + 4 + side, i, used if got(s, RUN * ROW + CAPPED, i) > 0.0 else whole)


@njit
def shut_lanes(s: Num, side: Num) -> None:
    """A side that takes no water in any lane."""
    for i in range(LANES):
        for k in range(4):
            put(s, AFTER * ROW + 2 * k + side, i, 0.0)


@njit
def side_of_lanes(s: Num, side: Num, packing: Num) -> None:
    """Rates of a side at the trial of every lane, into AFTER."""
    active = 0
    for i in range(LANES):
        active += 1 if got(s, SIDES * ROW + ACTIVE + side, i) > 0.0 else 0
    if active == 0:
        shut_lanes(s, side)
    elif press_lanes(s, side, packing) > 0:
        cap_lanes(s, side, packing)


@laned
def rates_of_lanes(s: Num, packing: Num) -> None:
    """Rates at the trial of every lane, into AFTER."""
    side_of_lanes(s, 0, packing)
    side_of_lanes(s, 1, packing)


@laned
def begin_step(s: Num) -> None:
    """Slopes of the state, with which every step begins."""
    for i in range(LANES):
        for k in range(NUMBERS):
            put(s, K * ROW + k, i, got(s, SLOPE * ROW + k, i))
            put(s, MEAN * ROW + k, i, got(s, SLOPE * ROW + k, i))
        put(s, RUN * ROW + FLOWS, i, 1.0)


@laned
def reach_out(s: Num, share: Num) -> None:
    """The trial at a share of the step, along the last slope."""
    for i in range(LANES):
        reach = share * got(s, RUN * ROW + SIZE, i)
        for k in range(NUMBERS):
            put(s, TRIAL * ROW + k, i, got(s, STATE * ROW + k, i) + reach * got(s, K * ROW + k, i))


@laned
def end_stage(s: Num, weight: Num) -> None:
    """The slope at the trial, and its share in the mean."""
    for i in range(LANES):
        total = got(s, AFTER * ROW + 0, i) + got(s, AFTER * ROW + 1, i)
        put(s, RUN * ROW + FLOWS, i, got(s, RUN * ROW + FLOWS, i) if total > 0.0 else 0.0)
        put(s, K * ROW + TIME, i, 1.0 / total)
        put(s, MEAN * ROW + TIME, i, got(s, MEAN * ROW + TIME, i) + weight * (1.0 / total))
        for k in range(6):
            slope = got(s, AFTER * ROW + k, i) / total
            put(s, K * ROW + 1 + k, i, slope)
            put(s, MEAN * ROW + 1 + k, i, got(s, MEAN * ROW + 1 + k, i) + weight * slope)


@laned
def end_step(s: Num) -> None:
    """The trial at the end of the step."""
    for i in range(LANES):
        size = got(s, RUN * ROW + SIZE, i)
        for k in range(NUMBERS):
            put(s, TRIAL * ROW + k, i, got(s, STATE * ROW + k, i) + size * (got(s, MEAN * ROW + k, i) / 6.0))


@laned
def end_rates(s: Num) -> None:
    """Whole flux at the end of the step."""
    for i in range(LANES):
        total = got(s, AFTER * ROW + 0, i) + got(s, AFTER * ROW + 1, i)
        flows = got(s, RUN * ROW + FLOWS, i) > 0.0
        put(s, RUN * ROW + TOTAL_AFTER, i, total if flows else got(s, RUN * ROW + TOTAL_AFTER, i))
        put(s, RUN * ROW + FLOWS, i, 1.0 if flows and total > 0.0 else 0.0)


@njit
def step_lanes(s: Num, packing: Num) -> None:
    """One step of `size` filtrate in every lane, as `step_of`, and the rates at its end."""
    begin_step(s)
    for stage in range(3):
        reach_out(s, 1.0 if stage == 2 else 0.5)
        rates_of_lanes(s, packing)
        end_stage(s, 1.0 if stage == 2 else 2.0)
    end_step(s)
    rates_of_lanes(s, packing)
    end_rates(s)


@laned
def rates_of_states(s: Num, packing: Num) -> None:
    """Rates of the state in all lanes that wait for them."""
    for i in range(LANES):
        for k in range(NUMBERS):
            put(s, TRIAL * ROW + k, i, got(s, STATE * ROW + k, i))
    rates_of_lanes(s, packing)
    for i in range(LANES):
        waits = got(s, RUN * ROW + WAITS, i) > 0.0
        for k in range(8):
            put(s, RATES * ROW + k, i, got(s, AFTER * ROW + k, i) if waits else got(s, RATES * ROW + k, i))
        total = got(s, AFTER * ROW + 0, i) + got(s, AFTER * ROW + 1, i)
        put(s, RUN * ROW + TOTAL, i, total if waits else got(s, RUN * ROW + TOTAL, i))
