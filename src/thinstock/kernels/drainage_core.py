"""The compiled core of the drainage march: numbers in tables, no names and no checks.

`kernels.drainage_input` says what the numbers mean and brings them into these tables. Pressure drop, flux and mat
consistency are the relations' own bodies.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num
from thinstock.kernels.compiled import compiled, faced, innermost, njit
from thinstock.relations import drainage, mat
from thinstock.words.constants import gravity as standard_gravity
from thinstock.words.constants import value

_flux = compiled(drainage.flux_mat_fabric)
_flux_kept = compiled(drainage.flux_mat_kept)
_drop = compiled(drainage.pressure_drop_mat_fabric)
_mat_consistency = compiled(mat.mat_consistency_power)

_REFERENCE = value("mat_reference_pressure")
_LOAD, _HEAD, _GRAVITY, _CURVATURE, _RESISTANCE, _INERTIA, _FLUX_CAP, _UPTAKE = range(8)
_LENGTH, _NIP_RADIUS = 16, 17
_ROW = 18
_SPEED, _GRAMMAGE, _CONSISTENCY, _RETENTION, _DENSITY, _VISCOSITY, _ALPHA, _N = range(8)
_FACTOR, _MAT_COEFFICIENT, _MAT_EXPONENT, _FLOOR, _WALL, _MEMORY, _STRIDE, _DEPTH_IN, _KAPPA = range(8, 17)

# what grows in a step, per unit of filtrate: time, then filtrate, fibre and impulse of the two sides
_TIME, _WATER, _FIBRE, _IMPULSE = 0, 1, 3, 5
_STATE = 7

# all a case works on is one table `p` with these rows: one array goes from function to function, not fourteen
LAW, STUFF, SIDES, STATE, BEFORE, RATES, AFTER, SLOPE, TRIAL, LAST, WORK = range(11)
_ROWS = WORK + 4
_OPEN, _ACTIVE, _FLUX_HIGHEST, _STALLED, _KEPT = 0, 2, 4, 5, 6
"""In the row SIDES: which sides are open, which can still take water; largest flux; 1 after a negative pressure; the
largest drop that each mat has borne."""


@njit
def _carried(p: Num, side: Num) -> Num:
    """What presses towards a side per mass of the stock: weight less what turns it."""
    at = 8 * side
    return p[LAW][at + _GRAVITY] * standard_gravity - p[LAW][at + _CURVATURE] * p[STUFF][_SPEED] * p[STUFF][_SPEED]


@njit
def _pressure(p: Num, side: Num, share: Num, depth: Num) -> Num:
    """Pressure drop of a side at a share of the element's length."""
    at = 8 * side
    carried = p[STUFF][_DENSITY] * depth * _carried(p, side)
    return p[LAW][at + _LOAD] + p[LAW][at + _HEAD] * (1.0 - share) + carried


@njit
def _rates(p: Num, state: Num, out: Num) -> Num:
    """Rates per time of filtrate (0:2), fibre (2:4), impulse (4:6) and the pressures (6:8) in row `out`; whole flux."""
    length = p[LAW][_LENGTH]
    share = min(1.0, p[state][_TIME] * p[STUFF][_SPEED] / length) if length > 0.0 else 0.0
    depth = p[STUFF][_DEPTH_IN] - p[state][_WATER] - p[state][_WATER + 1]
    viscosity, density, alpha, n = p[STUFF][_VISCOSITY], p[STUFF][_DENSITY], p[STUFF][_ALPHA], p[STUFF][_N]
    kappa = p[STUFF][_KAPPA]
    total = 0.0
    for side in range(2):
        p[out][side] = 0.0
        p[out][2 + side] = 0.0
        p[out][4 + side] = 0.0
        p[out][6 + side] = 0.0
        if not p[SIDES][_ACTIVE + side] > 0.0:
            continue
        pressure = _pressure(p, side, share, depth)
        p[out][6 + side] = pressure
        if pressure <= 0.0:
            continue
        fibre = max(p[state][_FIBRE + side], 0.0)
        viscous, inertial = p[LAW][8 * side + _RESISTANCE], p[LAW][8 * side + _INERTIA]
        kept = p[STUFF][_MEMORY] * p[SIDES][_KEPT + side]
        if kept > 0.0:
            free = _flux_kept(pressure, fibre, kept, viscosity, density, alpha, n, viscous, inertial)
        else:
            free = _flux(pressure, fibre, viscosity, density, alpha, n, viscous, inertial)
        flux = min(free, p[LAW][8 * side + _FLUX_CAP])
        used = pressure
        if flux < free:
            used = _drop(flux, fibre, viscosity, density, alpha, n, viscous, inertial)
            if kept > 0.0:
                packed = alpha * (kept / _REFERENCE) ** n * fibre
                used = max(used, flux * (viscosity * (packed + viscous) + 0.5 * density * inertial * flux))
        if pressure != p[LAST][2 * side]:
            p[LAST][2 * side] = pressure
            dense = _dense(p, pressure)
            p[LAST][2 * side + 1] = kappa / (1.0 - kappa / dense)
        p[out][side] = flux
        p[out][2 + side] = p[LAST][2 * side + 1] * flux
        p[out][4 + side] = used
        total += flux
    return total


@njit
def _dense(p: Num, pressure: Num) -> Num:
    """Consistency of the mat under a pressure."""
    return _mat_consistency(pressure, p[STUFF][_MAT_COEFFICIENT], p[STUFF][_MAT_EXPONENT], p[STUFF][_FLOOR])


@njit
def _pack(p: Num, rates: Num, state: Num) -> None:
    """Remember the largest drop that each mat has borne, where mats keep their packing."""
    if not p[STUFF][_MEMORY] > 0.0:
        return
    power = 1.0 / (1.0 - p[STUFF][_N])
    for side in range(2):
        cake = p[STUFF][_VISCOSITY] * p[STUFF][_ALPHA] * p[state][_FIBRE + side] * p[rates][side] / _REFERENCE
        if cake > 0.0:
            p[SIDES][_KEPT + side] = max(p[SIDES][_KEPT + side], _REFERENCE * cake**power)


@njit
def _slopes(p: Num, rates: Num, total: Num, out: Num) -> None:
    """Rates per time into slopes per filtrate."""
    p[out][_TIME] = 1.0 / total
    for i in range(6):
        p[out][1 + i] = p[rates][i] / total


@njit
def _activate(p: Num) -> None:
    """Which sides are open and can still take water."""
    for side in range(2):
        room = p[LAW][8 * side + _UPTAKE] - p[STATE][_WATER + side]
        takes = p[SIDES][_OPEN + side] > 0.0 and room > 1e-14 * max(1.0, p[STATE][_WATER + side])
        p[SIDES][_ACTIVE + side] = 1.0 if takes else 0.0


@njit
def _step(p: Num, size: Num) -> Num:
    """One fourth-order Runge-Kutta step of `size` filtrate from the state (slope known) to the trial; False if
    flow ceased."""
    for i in range(_STATE):
        p[WORK][i] = p[SLOPE][i]
    for stage in range(1, 4):
        reach = size if stage == 3 else 0.5 * size
        for i in range(_STATE):
            p[TRIAL][i] = p[STATE][i] + reach * p[WORK + stage - 1][i]
        total = _rates(p, TRIAL, AFTER)
        if not total > 0.0:
            return False
        _slopes(p, AFTER, total, WORK + stage)
    for i in range(_STATE):
        mean = (p[WORK][i] + 2.0 * p[WORK + 1][i] + 2.0 * p[WORK + 2][i] + p[WORK + 3][i]) / 6.0
        p[TRIAL][i] = p[STATE][i] + size * mean
    return True


@njit
def _size_at(wanted: Num, reached: Num, rate_before: Num, rate_after: Num, size: Num) -> Num:
    """Filtrate at which a growing quantity is `wanted`, when it is `reached` after `size`: cubic with
    both end rates."""
    s = wanted / reached
    straight = s * s * (3.0 - 2.0 * s) * size
    bent = s * (1.0 - s) * ((1.0 - s) * rate_before - s * rate_after)
    return min(max(straight + bent * reached, 0.1 * size), 0.9999999 * size)


@njit
def _interpolate(p: Num, s: Num, size: Num) -> None:
    """Put the trial back to the share `s` of a step that ran a little too far: cubic with both end slopes (the last
    in WORK)."""
    state, trial, slope, slope_after = p[STATE], p[TRIAL], p[SLOPE], p[WORK]
    for i in range(_STATE):
        straight = s * s * (3.0 - 2.0 * s) * (trial[i] - state[i])
        bent = s * (1.0 - s) * ((1.0 - s) * slope[i] - s * slope_after[i]) * size
        trial[i] = state[i] + straight + bent


@njit
def _shrunk(p: Num, total: Num, total_after: Num, end_time: Num, size: Num) -> Num:
    """A smaller step if this one ran past the element's end, the dry line, an uptake or a change of sign;
    else `size`."""
    state, trial, before, after = p[STATE], p[TRIAL], p[RATES], p[AFTER]
    grammage = p[STUFF][_GRAMMAGE]
    smaller = size
    if trial[_TIME] - end_time > 1e-8 * end_time:
        start = state[_TIME]
        smaller = _size_at(end_time - start, trial[_TIME] - start, total, total_after, size)
    formed = trial[_FIBRE] + trial[_FIBRE + 1]
    if formed - grammage > 1e-11 * grammage:
        start = state[_FIBRE] + state[_FIBRE + 1]
        rate_before, rate_after = total / (before[2] + before[3]), total_after / (after[2] + after[3])
        smaller = min(smaller, _size_at(grammage - start, formed - start, rate_before, rate_after, size))
    for side in range(2):
        if not p[SIDES][_ACTIVE + side] > 0.0:
            continue
        room = p[LAW][8 * side + _UPTAKE] - state[_WATER + side]
        taken = trial[_WATER + side] - state[_WATER + side]
        if taken > room * (1.0 + 1e-11):
            smaller = min(smaller, size * room / taken)
        low, high = before[6 + side], after[6 + side]
        least = 1e-9 * (abs(low) + abs(high)) + 1e-9
        if low * high < 0.0 and abs(low) > least and abs(high) > least:
            smaller = min(smaller, size * abs(low) / (abs(low) + abs(high)))
    return smaller


@njit
def _close(p: Num, share: Num) -> None:
    """The formed mat closes at once to the largest pressure of a side that can take water; no fibre is
    lost."""
    state = p[STATE]
    depth = p[STUFF][_DEPTH_IN] - state[_WATER] - state[_WATER + 1]
    best = -1
    highest = 0.0
    for side in range(2):
        room = p[LAW][8 * side + _UPTAKE] - state[_WATER + side]
        if p[SIDES][_OPEN + side] > 0.0 and room > 0.0:
            pressure = _pressure(p, side, share, depth)
            if pressure > highest:
                best, highest = side, pressure
    if best < 0:
        return
    leaving = min(depth - p[STUFF][_GRAMMAGE] / _dense(p, highest), p[LAW][8 * best + _UPTAKE] - state[_WATER + best])
    if leaving > 0.0:
        state[_WATER + best] += leaving


@njit
def _pulse(p: Num) -> Num:
    """A table roll: a pulse whose length follows from the flux at entry; True if the dry line is in it."""
    row, state, rates = p[LAW], p[STATE], p[RATES]
    speed, grammage = p[STUFF][_SPEED], p[STUFF][_GRAMMAGE]
    _activate(p)
    total = _rates(p, STATE, RATES)
    if rates[6] < 0.0 or rates[7] < 0.0:
        p[SIDES][_STALLED] = 1.0
    if not total > 0.0:
        return state[_FIBRE] + state[_FIBRE + 1] >= grammage
    _pack(p, RATES, STATE)
    flux0, flux1 = rates[0], rates[1]
    used0, used1 = rates[4], rates[5]
    dwell0 = 2.0 * row[_NIP_RADIUS] * flux0 / (speed * speed)
    dwell1 = 2.0 * row[_NIP_RADIUS] * flux1 / (speed * speed)
    water0 = min(flux0 * dwell0, row[_UPTAKE] - state[_WATER])
    water1 = min(flux1 * dwell1, row[8 + _UPTAKE] - state[_WATER + 1])
    fibre0 = rates[2] / flux0 * water0 if flux0 > 0.0 else 0.0
    fibre1 = rates[3] / flux1 * water1 if flux1 > 0.0 else 0.0
    room = grammage - state[_FIBRE] - state[_FIBRE + 1]
    if fibre0 + fibre1 > room:
        part = room / (fibre0 + fibre1)
        fibre0, fibre1, water0, water1 = fibre0 * part, fibre1 * part, water0 * part, water1 * part
        state[_FIBRE + 1] += fibre1
        state[_FIBRE] = grammage - state[_FIBRE + 1]
    else:
        state[_FIBRE] += fibre0
        state[_FIBRE + 1] += fibre1
    state[_WATER] += water0
    state[_WATER + 1] += water1
    _rates(p, STATE, RATES)
    state[_IMPULSE] += 0.5 * (used0 + rates[4]) * dwell0
    state[_IMPULSE + 1] += 0.5 * (used1 + rates[5]) * dwell1
    p[SIDES][_FLUX_HIGHEST] = max(p[SIDES][_FLUX_HIGHEST], flux0, flux1)
    return state[_FIBRE] + state[_FIBRE + 1] >= grammage


@njit
def _first_size(p: Num, total: Num, left: Num, end_time: Num) -> Num:
    """Filtrate of the next step: a share of what the thinner mat holds, no further than what changes the law.

    A stretch takes two steps at least (with a long stride one): in a single one the impulse of a foil is 1 % off.
    """
    row, state, stuff, rates = p[LAW], p[STATE], p[STUFF], p[RATES]
    depth = p[STUFF][_DEPTH_IN] - state[_WATER] - state[_WATER + 1]
    fibre = state[_FIBRE] + state[_FIBRE + 1]
    thinnest, gain = np.inf, p[STUFF][_KAPPA]
    for side in range(2):
        opening = rates[6 + side] >= -1e-6 * abs(rates[6] + rates[7])
        if p[SIDES][_ACTIVE + side] > 0.0 and opening and state[_FIBRE + side] < thinnest:
            thinnest = state[_FIBRE + side]
            gain = p[LAST][2 * side + 1] if rates[side] > 0.0 else p[STUFF][_KAPPA]
    gained = (rates[2] + rates[3]) / total
    grammage = stuff[_GRAMMAGE]
    stride = 1.0 if stuff[_MEMORY] > 0.0 else stuff[_STRIDE]  # packing goes on step by step
    most = total * min(left, 0.5 * max(stride, 1.0) * end_time)
    size = min(stride * 0.25 * (thinnest + 0.05 * grammage) / gain, most, (grammage - fibre) / gained)
    for side in range(2):
        carried = stuff[_DENSITY] * _carried(p, side)
        if carried < 0.0:
            size = min(size, stride * 0.125 * depth)
        elif carried > 0.0 and rates[side] > 0.0:
            size = min(size, stride * 0.125 * rates[6 + side] / carried)
        falling = p[LAW][8 * side + _HEAD] * stuff[_SPEED] / row[_LENGTH]
        if rates[side] > 0.0 and falling > 0.0:
            size = min(size, stride * 0.25 * rates[6 + side] / falling * total)
    return size


@njit
def _tried(p: Num, total: Num, end_time: Num, size: Num) -> Num:
    """Steps of falling size until one ends within the element; its flux at the end, and True if it was cut there."""
    state, trial = p[STATE], p[TRIAL]
    last_bit = total * (end_time - state[_TIME]) <= 1e-7 * p[STUFF][_DEPTH_IN]
    total_after = total
    for _attempt in range(60):
        flows = _step(p, size)
        if flows:
            total_after = _rates(p, TRIAL, AFTER)
            flows = total_after > 0.0
        smaller = _shrunk(p, total, total_after, end_time, size) if flows else 0.5 * size
        if smaller >= size:
            break
        over, spent = trial[_TIME] - end_time, trial[_TIME] - state[_TIME]
        if flows and 0.0 < over < 0.1 * spent:
            at = _size_at(spent - over, spent, total, total_after, size)
            if smaller >= at:
                _slopes(p, AFTER, total_after, WORK)
                _interpolate(p, at / size, size)
                trial[_TIME] = end_time
                return total_after, True
        if last_bit:
            for i in range(_STATE):
                trial[i] = state[i] + size * p[SLOPE][i]
            total_after = _rates(p, TRIAL, AFTER)
            break
        size = smaller
    return total_after, False


@njit
def _take(p: Num) -> Num:
    """Make the trial the state, landing on the dry line and on uptakes; whether formed, and whether a side closed."""
    state, trial, grammage = p[STATE], p[TRIAL], p[STUFF][_GRAMMAGE]
    fibre = state[_FIBRE] + state[_FIBRE + 1]
    formed = trial[_FIBRE] + trial[_FIBRE + 1]
    done = formed >= grammage * (1.0 - 1e-10)
    if done:
        part = (grammage - fibre) / (formed - fibre)
        back = state[_FIBRE + 1] + part * (trial[_FIBRE + 1] - state[_FIBRE + 1])
        state[_FIBRE], state[_FIBRE + 1] = grammage - back, back
    else:
        state[_FIBRE] = trial[_FIBRE]
        state[_FIBRE + 1] = trial[_FIBRE + 1]
    full = False
    for side in range(2):
        uptake = p[LAW][8 * side + _UPTAKE]
        if p[SIDES][_ACTIVE + side] > 0.0 and trial[_WATER + side] >= uptake * (1.0 - 1e-10):
            trial[_WATER + side] = uptake
            full = True
        state[_WATER + side] = trial[_WATER + side]
        state[_IMPULSE + side] = trial[_IMPULSE + side]
    state[_TIME] = trial[_TIME]
    return done, full


@njit
def _stretch(p: Num) -> Num:
    """March through one element until its end or the dry line; True if the dry line is in it."""
    state, rates, sides = p[STATE], p[RATES], p[SIDES]
    for i in range(4):
        p[LAST][i] = np.nan
    state[_TIME] = 0.0
    if p[LAW][_NIP_RADIUS] > 0.0:
        return _pulse(p)
    end_time = p[LAW][_LENGTH] / p[STUFF][_SPEED]
    if not end_time > 0.0:
        return False
    fresh = True
    total = 0.0
    for _ in range(100000):
        if fresh:
            _activate(p)
            total = _rates(p, STATE, RATES)
        if rates[6] < 0.0 or rates[7] < 0.0:
            sides[_STALLED] = 1.0
        sides[_FLUX_HIGHEST] = max(sides[_FLUX_HIGHEST], rates[0], rates[1])
        _pack(p, RATES, STATE)
        left = end_time - state[_TIME]
        if not total > 0.0 or left <= 1e-8 * end_time:
            return False
        size = _first_size(p, total, left, end_time)
        _slopes(p, RATES, total, SLOPE)
        total_after, landed = _tried(p, total, end_time, size)
        done, full = _take(p)
        if done:
            return True
        fresh = landed or full
        for i in range(8):
            rates[i] = p[AFTER][i]
        total = total_after
    return False


@njit
def _leave(p: Num, formed: Num, taken: Num, out: Num) -> None:
    """The results that do not belong to an element, and what the balances of water and fibre lack."""
    stuff, state = p[STUFF], p[STATE]
    consistency, density, depth_in = stuff[_CONSISTENCY], stuff[_DENSITY], stuff[_DEPTH_IN]
    fibre = state[_FIBRE] + state[_FIBRE + 1]
    depth = depth_in - state[_WATER] - state[_WATER + 1]
    free = 0.0 if formed else depth_in - fibre / stuff[_KAPPA]
    mass = fibre + consistency * density * free
    water_sum, fibre_sum = 0.0, 0.0
    for e in range(taken.shape[0]):
        water_sum += taken[e, 0, 0] + taken[e, 1, 0]
        fibre_sum += taken[e, 0, 1] + taken[e, 1, 1]
    fed = consistency * density * depth_in
    out[0] = depth_in
    for i in range(4):
        out[1 + i] = state[_WATER + i]
    out[7], out[8] = p[SIDES][_FLUX_HIGHEST], p[SIDES][_STALLED]
    out[9] = depth
    out[10] = mass / (mass + density * depth - mass * density / stuff[_WALL])
    out[11] = max(abs(water_sum + depth - depth_in) / depth_in, abs(mass + fibre_sum - fed) / fed)


@innermost(3)
def _case(p: Num, rows: Num, opened: Num, out: Num, taken: Num, impulses: Num) -> None:
    """One case through all elements: results in `out`, by element in `taken` (side, water or fibre) and `impulses`."""
    state, stuff, before = p[STATE], p[STUFF], p[BEFORE]
    for i in range(_ROW):
        p[SIDES][i] = 0.0
        state[i] = 0.0
    stuff[_KAPPA] = stuff[_RETENTION] * stuff[_CONSISTENCY] * stuff[_DENSITY]
    stuff[_DEPTH_IN] = stuff[_GRAMMAGE] / stuff[_KAPPA]
    lost = (1.0 - stuff[_RETENTION]) / stuff[_RETENTION]
    formed, place = False, 0.0
    out[5], out[6] = np.nan, -1.0
    for e in range(len(rows)):
        for i in range(_ROW):
            p[LAW][i] = rows[e][i]
        for side in range(2):
            p[SIDES][_OPEN + side] = 1.0 if opened[e][side] else 0.0
        for i in range(_STATE):
            before[i] = state[i]
        state[_IMPULSE] = 0.0
        state[_IMPULSE + 1] = 0.0
        if formed:
            _close(p, 0.0)
        else:
            formed = _stretch(p)
            if formed:
                length, along = rows[e][_LENGTH], state[_TIME] * stuff[_SPEED]
                out[5], out[6] = place + along, e
                _close(p, min(1.0, along / length) if length > 0.0 else 0.0)
        for side in range(2):
            taken[e, side, 0] = state[_WATER + side] - before[_WATER + side]
            taken[e, side, 1] = lost * (state[_FIBRE + side] - before[_FIBRE + side])
            impulses[e, side] = state[_IMPULSE + side]
        if not rows[e][_NIP_RADIUS] > 0.0:
            place += rows[e][_LENGTH]
    _leave(p, formed, taken, out)


@faced(lambda table, materials, first, stop, *_: int(stop - first))
def march(table: Num, materials: Num, first: Num, stop: Num, single: Num, by_element: Num, impulses: Num) -> None:
    """All cases from `first` to `stop`, elements as in `drainage_input.Table`; results go into the last three."""
    rows = np.empty((table.base.shape[0], _ROW))
    p = np.zeros((_ROWS, _ROW))
    for case in range(first, stop):
        rows[:, :] = table.base
        for k in range(table.slots.shape[0]):
            rows[table.slots[k, 0], table.slots[k, 1]] = table.columns[table.slots[k, 2], case]
        for i in range(materials.shape[1]):
            p[STUFF][i] = materials[case, i]
        _case(p, rows, table.opened, single[case], by_element[case], impulses[case])
