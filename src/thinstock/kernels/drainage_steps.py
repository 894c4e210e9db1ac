"""A step of the drainage march: numbers in tables, no names and no checks.

`kernels.drainage_input` says what the numbers mean and brings them into these tables. Pressure drop, flux and mat
consistency are the relations' own bodies. `kernels.drainage_core` goes with such steps through the elements.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num
from thinstock.kernels.compiled import compiled, njit
from thinstock.relations import drainage, mat
from thinstock.words.constants import gravity as standard_gravity
from thinstock.words.constants import value

flux_of = compiled(drainage.flux_mat_fabric)
flux_kept_of = compiled(drainage.flux_mat_kept)
drop_of = compiled(drainage.pressure_drop_mat_fabric)
mat_consistency_of = compiled(mat.mat_consistency_power)

REFERENCE = value("mat_reference_pressure")
LOAD, HEAD, GRAVITY, CURVATURE, RESISTANCE, INERTIA, FLUX_CAP, UPTAKE = range(8)
LENGTH, NIP_RADIUS = 16, 17
ROW = 18
SPEED, GRAMMAGE, CONSISTENCY, RETENTION, DENSITY, VISCOSITY, ALPHA, N = range(8)
FACTOR, MAT_COEFFICIENT, MAT_EXPONENT, FLOOR, WALL, MEMORY, STRIDE, DEPTH_IN, KAPPA = range(8, 17)

# what grows in a step, per unit of filtrate: time, then filtrate, fibre and impulse of the two sides
TIME, WATER, FIBRE, IMPULSE = 0, 1, 3, 5
NUMBERS = 7
AGAIN, STANDS, LANDED = range(3)
"""What becomes of a step that was tried; the last was cut at the element's end."""
ATTEMPTS, STEPS = 60, 100000
"""Of a step and of an element at most."""

# all a case works on is one table `p` with these rows: one array goes from function to function, not fourteen
LAW, STUFF, SIDES, STATE, BEFORE, RATES, AFTER, SLOPE, TRIAL, LAST, WORK = range(11)
ROWS = WORK + 4
OPEN, ACTIVE, FLUX_HIGHEST, STALLED, KEPT = 0, 2, 4, 5, 6
"""In the row SIDES: which sides are open, which can still take water; largest flux; 1 after a negative pressure; the
largest drop that each mat has borne."""


@njit
def carried_by(gravity: Num, curvature: Num, speed: Num) -> Num:
    """What presses towards a side per mass of the stock: weight less what turns it."""
    return gravity * standard_gravity - curvature * speed * speed


@njit
def carried_on(p: Num, side: Num) -> Num:
    """The same of a side of the element."""
    at = 8 * side
    return carried_by(p[LAW][at + GRAVITY], p[LAW][at + CURVATURE], p[STUFF][SPEED])


@njit
def pressing(load: Num, head: Num, share: Num, weight: Num) -> Num:
    """Pressure drop of a side at a share of the element's length, under so much weight of the stock."""
    return load + head * (1.0 - share) + weight


@njit
def pressure_on(p: Num, side: Num, share: Num, depth: Num) -> Num:
    """Pressure drop of a side at a share of the element's length."""
    at = 8 * side
    return pressing(p[LAW][at + LOAD], p[LAW][at + HEAD], share, p[STUFF][DENSITY] * depth * carried_on(p, side))


@njit
def share_at(time: Num, speed: Num, length: Num) -> Num:
    """Share of an element's length that is behind the stock."""
    return min(1.0, time * speed / length) if length > 0.0 else 0.0


@njit
def held_back(kappa: Num, dense: Num) -> Num:
    """Fibre that a mat of this consistency gains with each volume of filtrate."""
    return kappa / (1.0 - kappa / dense)


@njit
def drop_of_packed(flux: Num, mat_resistance: Num, viscosity: Num, density: Num, viscous: Num, inertial: Num) -> Num:
    """Pressure drop that drives a flux through fabric and a mat of this resistance."""
    return flux * (viscosity * (mat_resistance + viscous) + 0.5 * density * inertial * flux)


@njit
def resistance_of_packed(alpha: Num, n: Num, kept: Num, fibre: Num) -> Num:
    """Resistance of a mat that is as dense as this pressure made it."""
    return alpha * (kept / REFERENCE) ** n * fibre


@njit
def rates_of(p: Num, state: Num, out: Num) -> Num:
    """Rates per time of filtrate (0:2), fibre (2:4), impulse (4:6) and the pressures (6:8) in row `out`; whole flux."""
    share = share_at(p[state][TIME], p[STUFF][SPEED], p[LAW][LENGTH])
    depth = p[STUFF][DEPTH_IN] - p[state][WATER] - p[state][WATER + 1]
    viscosity, density, alpha, n = p[STUFF][VISCOSITY], p[STUFF][DENSITY], p[STUFF][ALPHA], p[STUFF][N]
    total = 0.0
    for side in range(2):
        p[out][side] = 0.0
        p[out][2 + side] = 0.0
        p[out][4 + side] = 0.0
        p[out][6 + side] = 0.0
        if not p[SIDES][ACTIVE + side] > 0.0:
            continue
        pressure = pressure_on(p, side, share, depth)
        p[out][6 + side] = pressure
        if pressure <= 0.0:
            continue
        fibre = max(p[state][FIBRE + side], 0.0)
        viscous, inertial = p[LAW][8 * side + RESISTANCE], p[LAW][8 * side + INERTIA]
        kept = p[STUFF][MEMORY] * p[SIDES][KEPT + side]
        if kept > 0.0:
            free = flux_kept_of(pressure, fibre, kept, viscosity, density, alpha, n, viscous, inertial)
        else:
            free = flux_of(pressure, fibre, viscosity, density, alpha, n, viscous, inertial)
        flux = min(free, p[LAW][8 * side + FLUX_CAP])
        used = pressure
        if flux < free:
            used = drop_of(flux, fibre, viscosity, density, alpha, n, viscous, inertial)
            if kept > 0.0:
                packed = resistance_of_packed(alpha, n, kept, fibre)
                used = max(used, drop_of_packed(flux, packed, viscosity, density, viscous, inertial))
        if pressure != p[LAST][2 * side]:
            p[LAST][2 * side] = pressure
            p[LAST][2 * side + 1] = held_back(p[STUFF][KAPPA], dense_under(p, pressure))
        p[out][side] = flux
        p[out][2 + side] = p[LAST][2 * side + 1] * flux
        p[out][4 + side] = used
        total += flux
    return total


@njit
def dense_under(p: Num, pressure: Num) -> Num:
    """Consistency of the mat under a pressure."""
    return mat_consistency_of(pressure, p[STUFF][MAT_COEFFICIENT], p[STUFF][MAT_EXPONENT], p[STUFF][FLOOR])


@njit
def pack(p: Num, rates: Num, state: Num) -> None:
    """Remember the largest drop that each mat has borne, where mats keep their packing."""
    if not p[STUFF][MEMORY] > 0.0:
        return
    power = 1.0 / (1.0 - p[STUFF][N])
    for side in range(2):
        cake = p[STUFF][VISCOSITY] * p[STUFF][ALPHA] * p[state][FIBRE + side] * p[rates][side] / REFERENCE
        if cake > 0.0:
            p[SIDES][KEPT + side] = max(p[SIDES][KEPT + side], REFERENCE * cake**power)


@njit
def slopes_of(p: Num, rates: Num, total: Num, out: Num) -> None:
    """Rates per time into slopes per filtrate."""
    p[out][TIME] = 1.0 / total
    for i in range(6):
        p[out][1 + i] = p[rates][i] / total


@njit
def activate(p: Num) -> None:
    """Which sides are open and can still take water."""
    for side in range(2):
        room = p[LAW][8 * side + UPTAKE] - p[STATE][WATER + side]
        takes = p[SIDES][OPEN + side] > 0.0 and room > 1e-14 * max(1.0, p[STATE][WATER + side])
        p[SIDES][ACTIVE + side] = 1.0 if takes else 0.0


@njit
def mean_slope(first: Num, second: Num, third: Num, last: Num) -> Num:
    """Slope over a fourth-order Runge-Kutta step from those of its stages."""
    return (first + 2.0 * second + 2.0 * third + last) / 6.0


@njit
def step_of(p: Num, size: Num) -> Num:
    """One fourth-order Runge-Kutta step of `size` filtrate from the state (slope known) to the trial; False if
    flow ceased."""
    for i in range(NUMBERS):
        p[WORK][i] = p[SLOPE][i]
    for stage in range(1, 4):
        reach = size if stage == 3 else 0.5 * size
        for i in range(NUMBERS):
            p[TRIAL][i] = p[STATE][i] + reach * p[WORK + stage - 1][i]
        total = rates_of(p, TRIAL, AFTER)
        if not total > 0.0:
            return False
        slopes_of(p, AFTER, total, WORK + stage)
    for i in range(NUMBERS):
        p[TRIAL][i] = p[STATE][i] + size * mean_slope(p[WORK][i], p[WORK + 1][i], p[WORK + 2][i], p[WORK + 3][i])
    return True


@njit
def size_at(wanted: Num, reached: Num, rate_before: Num, rate_after: Num, size: Num) -> Num:
    """Filtrate at which a growing quantity is `wanted`, when it is `reached` after `size`: cubic with
    both end rates."""
    s = wanted / reached
    straight = s * s * (3.0 - 2.0 * s) * size
    bent = s * (1.0 - s) * ((1.0 - s) * rate_before - s * rate_after)
    return min(max(straight + bent * reached, 0.1 * size), 0.9999999 * size)


@njit
def interpolate(p: Num, s: Num, size: Num) -> None:
    """Put the trial back to the share `s` of a step that ran a little too far: cubic with both end slopes (the last
    in WORK)."""
    state, trial, slope, slope_after = p[STATE], p[TRIAL], p[SLOPE], p[WORK]
    for i in range(NUMBERS):
        straight = s * s * (3.0 - 2.0 * s) * (trial[i] - state[i])
        bent = s * (1.0 - s) * ((1.0 - s) * slope[i] - s * slope_after[i]) * size
        trial[i] = state[i] + straight + bent


@njit
def shrunk(p: Num, total: Num, total_after: Num, end_time: Num, size: Num) -> Num:
    """A smaller step if this one ran past the element's end, the dry line, an uptake or a change of sign;
    else `size`."""
    state, trial, before, after = p[STATE], p[TRIAL], p[RATES], p[AFTER]
    grammage = p[STUFF][GRAMMAGE]
    smaller = size
    if trial[TIME] - end_time > 1e-8 * end_time:
        start = state[TIME]
        smaller = size_at(end_time - start, trial[TIME] - start, total, total_after, size)
    formed = trial[FIBRE] + trial[FIBRE + 1]
    if formed - grammage > 1e-11 * grammage:
        start = state[FIBRE] + state[FIBRE + 1]
        rate_before, rate_after = total / (before[2] + before[3]), total_after / (after[2] + after[3])
        smaller = min(smaller, size_at(grammage - start, formed - start, rate_before, rate_after, size))
    for side in range(2):
        if not p[SIDES][ACTIVE + side] > 0.0:
            continue
        room = p[LAW][8 * side + UPTAKE] - state[WATER + side]
        taken = trial[WATER + side] - state[WATER + side]
        if taken > room * (1.0 + 1e-11):
            smaller = min(smaller, size * room / taken)
        low, high = before[6 + side], after[6 + side]
        least = 1e-9 * (abs(low) + abs(high)) + 1e-9
        if low * high < 0.0 and abs(low) > least and abs(high) > least:
            smaller = min(smaller, size * abs(low) / (abs(low) + abs(high)))
    return smaller


@njit
def first_size(p: Num, total: Num, left: Num, end_time: Num) -> Num:
    """Filtrate of the next step: a share of what the thinner mat holds, no further than what changes the law.

    A stretch takes two steps at least (with a long stride one): in a single one the impulse of a foil is 1 % off.
    """
    row, state, stuff, rates = p[LAW], p[STATE], p[STUFF], p[RATES]
    depth = p[STUFF][DEPTH_IN] - state[WATER] - state[WATER + 1]
    fibre = state[FIBRE] + state[FIBRE + 1]
    thinnest, gain = np.inf, p[STUFF][KAPPA]
    for side in range(2):
        least = 1e-6 * abs(rates[6] + rates[7])  # below it a side is about to open
        opening = rates[6 + side] >= -least
        if p[SIDES][ACTIVE + side] > 0.0 and opening and state[FIBRE + side] < thinnest:
            thinnest = state[FIBRE + side]
            gain = p[LAST][2 * side + 1] if rates[6 + side] > least else p[STUFF][KAPPA]
    gained = (rates[2] + rates[3]) / total
    grammage = stuff[GRAMMAGE]
    stride = 1.0 if stuff[MEMORY] > 0.0 else stuff[STRIDE]  # packing goes on step by step
    most = total * min(left, 0.5 * max(stride, 1.0) * end_time)
    size = min(stride * 0.25 * (thinnest + 0.05 * grammage) / gain, most, (grammage - fibre) / gained)
    for side in range(2):
        carried = stuff[DENSITY] * carried_on(p, side)
        if carried < 0.0:
            size = min(size, stride * 0.125 * depth)
        elif carried > 0.0 and rates[side] > 0.0:
            size = min(size, stride * 0.125 * rates[6 + side] / carried)
        falling = p[LAW][8 * side + HEAD] * stuff[SPEED] / row[LENGTH]
        if rates[side] > 0.0 and falling > 0.0:
            size = min(size, stride * 0.25 * rates[6 + side] / falling * total)
    return size


@njit
def judged(p: Num, totals: Num, end_time: Num, size: Num, flows: Num) -> Num:
    """What becomes of a step that was tried, and the size by which it is tried again; `totals`: flux before, after."""
    total, total_after = totals
    smaller = shrunk(p, total, total_after, end_time, size) if flows else 0.5 * size
    if smaller >= size:
        return STANDS, size
    over, spent = p[TRIAL][TIME] - end_time, p[TRIAL][TIME] - p[STATE][TIME]
    if flows and 0.0 < over < 0.1 * spent:
        at = size_at(end_time - p[STATE][TIME], spent, total, total_after, size)  # as `shrunk` has it, to the last bit
        if smaller >= at:
            land(p, total_after, end_time, at, size)
            return LANDED, size
    return AGAIN, smaller


@njit
def land(p: Num, total_after: Num, end_time: Num, at: Num, size: Num) -> None:
    """Cut a step that ran a little beyond the element at its end."""
    slopes_of(p, AFTER, total_after, WORK)
    interpolate(p, at / size, size)
    p[TRIAL][TIME] = end_time


@njit
def straight_on(p: Num, size: Num) -> Num:
    """A step along the slope alone; its flux at the end."""
    for i in range(NUMBERS):
        p[TRIAL][i] = p[STATE][i] + size * p[SLOPE][i]
    return rates_of(p, TRIAL, AFTER)


@njit
def last_bit(p: Num, total: Num, end_time: Num) -> Num:
    """Whether so little of the element is left that a straight step will do."""
    return total * (end_time - p[STATE][TIME]) <= 1e-7 * p[STUFF][DEPTH_IN]


@njit
def tried(p: Num, total: Num, end_time: Num, size: Num) -> Num:
    """Steps of falling size until one ends within the element; its flux at the end, and True if it was cut there."""
    total_after = total
    for _attempt in range(ATTEMPTS):
        flows = step_of(p, size)
        if flows:
            total_after = rates_of(p, TRIAL, AFTER)
            flows = total_after > 0.0
        verdict, smaller = judged(p, (total, total_after), end_time, size, flows)
        if verdict != AGAIN:
            return total_after, verdict == LANDED
        if last_bit(p, total, end_time):
            total_after = straight_on(p, size)
            break
        size = smaller
    return total_after, False


@njit
def take(p: Num) -> Num:
    """Make the trial the state, landing on the dry line and on uptakes; whether formed, and whether a side closed."""
    state, trial, grammage = p[STATE], p[TRIAL], p[STUFF][GRAMMAGE]
    fibre = state[FIBRE] + state[FIBRE + 1]
    formed = trial[FIBRE] + trial[FIBRE + 1]
    done = formed >= grammage * (1.0 - 1e-10)
    if done:
        part = (grammage - fibre) / (formed - fibre)
        back = state[FIBRE + 1] + part * (trial[FIBRE + 1] - state[FIBRE + 1])
        state[FIBRE], state[FIBRE + 1] = grammage - back, back
    else:
        state[FIBRE] = trial[FIBRE]
        state[FIBRE + 1] = trial[FIBRE + 1]
    full = False
    for side in range(2):
        uptake = p[LAW][8 * side + UPTAKE]
        if p[SIDES][ACTIVE + side] > 0.0 and trial[WATER + side] >= uptake * (1.0 - 1e-10):
            trial[WATER + side] = uptake
            full = True
        state[WATER + side] = trial[WATER + side]
        state[IMPULSE + side] = trial[IMPULSE + side]
    state[TIME] = trial[TIME]
    return done, full
