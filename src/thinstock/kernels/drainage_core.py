"""The compiled core of the drainage march: numbers in tables, no names and no checks.

`kernels.drainage` says what the numbers mean and `kernels.drainage_input` brings them into these tables.
Pressure drop, flux and mat consistency are the relations' own bodies.
"""

from __future__ import annotations

import numpy as np

from thinstock.kernels.compiled import compiled, njit
from thinstock.relations import drainage, mat
from thinstock.words.constants import gravity as standard_gravity

_flux = compiled(drainage.flux_mat_fabric)
_drop = compiled(drainage.pressure_drop_mat_fabric)
_mat_consistency = compiled(mat.mat_consistency_power)

_LOAD, _HEAD, _GRAVITY, _CURVATURE, _RESISTANCE, _INERTIA, _FLUX_CAP, _UPTAKE = range(8)
_LENGTH, _NIP_RADIUS = 16, 17
_ROW = 18
_SPEED, _GRAMMAGE, _CONSISTENCY, _RETENTION, _DENSITY, _VISCOSITY, _ALPHA, _N = range(8)
_MAT_COEFFICIENT, _MAT_EXPONENT, _FLOOR, _WALL = range(8, 12)

# what grows in a step, per unit of filtrate: time, then filtrate, fibre and impulse of the two sides
_TIME, _WATER, _FIBRE, _IMPULSE = 0, 1, 3, 5
_STATE = 7


@njit
def _carried(row, side, stuff):  # type: ignore[no-untyped-def]
    """What presses towards a side per mass of the stock: weight less what turns it."""
    at = 8 * side
    return row[at + _GRAVITY] * standard_gravity - row[at + _CURVATURE] * stuff[_SPEED] * stuff[_SPEED]


@njit
def _pressure(row, side, share, depth, stuff):  # type: ignore[no-untyped-def]
    """Pressure drop of a side at a share of the element's length."""
    at = 8 * side
    carried = stuff[_DENSITY] * depth * _carried(row, side, stuff)
    return row[at + _LOAD] + row[at + _HEAD] * (1.0 - share) + carried


@njit
def _rates(row, active, state, depth_in, stuff, kappa, last, out):  # type: ignore[no-untyped-def]
    """Rates per time of filtrate (out[0:2]), fibre (2:4), impulse (4:6) and the pressures (6:8); gives
    the whole flux."""
    length = row[_LENGTH]
    share = min(1.0, state[_TIME] * stuff[_SPEED] / length) if length > 0.0 else 0.0
    depth = depth_in - state[_WATER] - state[_WATER + 1]
    total = 0.0
    for side in range(2):
        out[side] = 0.0
        out[2 + side] = 0.0
        out[4 + side] = 0.0
        out[6 + side] = 0.0
        if not active[side]:
            continue
        pressure = _pressure(row, side, share, depth, stuff)
        out[6 + side] = pressure
        if pressure <= 0.0:
            continue
        at = 8 * side
        fibre = max(state[_FIBRE + side], 0.0)
        free = _flux(
            pressure,
            fibre,
            stuff[_VISCOSITY],
            stuff[_DENSITY],
            stuff[_ALPHA],
            stuff[_N],
            row[at + _RESISTANCE],
            row[at + _INERTIA],
        )
        flux = min(free, row[at + _FLUX_CAP])
        used = pressure
        if flux < free:
            used = _drop(
                flux,
                fibre,
                stuff[_VISCOSITY],
                stuff[_DENSITY],
                stuff[_ALPHA],
                stuff[_N],
                row[at + _RESISTANCE],
                row[at + _INERTIA],
            )
        if pressure != last[2 * side]:
            last[2 * side] = pressure
            dense = _mat_consistency(pressure, stuff[_MAT_COEFFICIENT], stuff[_MAT_EXPONENT], stuff[_FLOOR])
            last[2 * side + 1] = kappa / (1.0 - kappa / dense)
        out[side] = flux
        out[2 + side] = last[2 * side + 1] * flux
        out[4 + side] = used
        total += flux
    return total


@njit
def _slopes(rates, total, out):  # type: ignore[no-untyped-def]
    """Rates per time into slopes per filtrate."""
    out[_TIME] = 1.0 / total
    for i in range(6):
        out[1 + i] = rates[i] / total


@njit
def _activate(row, opened, state, active):  # type: ignore[no-untyped-def]
    """Which sides are open and can still take water."""
    for side in range(2):
        room = row[8 * side + _UPTAKE] - state[_WATER + side]
        active[side] = opened[side] and room > 1e-14 * max(1.0, state[_WATER + side])


@njit
def _step(row, active, state, depth_in, stuff, kappa, last, rates, slope, size, trial, work):  # type: ignore[no-untyped-def]
    """One fourth-order Runge-Kutta step of `size` filtrate from `state` (slope known) to `trial`; False
    if flow ceased."""
    for i in range(_STATE):
        work[0, i] = slope[i]
    for stage in range(1, 4):
        reach = size if stage == 3 else 0.5 * size
        for i in range(_STATE):
            trial[i] = state[i] + reach * work[stage - 1, i]
        total = _rates(row, active, trial, depth_in, stuff, kappa, last, rates)
        if not total > 0.0:
            return False
        _slopes(rates, total, work[stage])
    for i in range(_STATE):
        mean = (work[0, i] + 2.0 * work[1, i] + 2.0 * work[2, i] + work[3, i]) / 6.0
        trial[i] = state[i] + size * mean
    return True


@njit
def _size_at(wanted, reached, rate_before, rate_after, size):  # type: ignore[no-untyped-def]
    """Filtrate at which a growing quantity is `wanted`, when it is `reached` after `size`: cubic with
    both end rates."""
    s = wanted / reached
    straight = s * s * (3.0 - 2.0 * s) * size
    bent = s * (1.0 - s) * ((1.0 - s) * rate_before - s * rate_after)
    return min(max(straight + bent * reached, 0.1 * size), 0.9999999 * size)


@njit
def _interpolate(state, trial, slope, slope_after, s, size):  # type: ignore[no-untyped-def]
    """Put `trial` back to the share `s` of a step that ran a little too far: cubic with both end slopes."""
    for i in range(_STATE):
        straight = s * s * (3.0 - 2.0 * s) * (trial[i] - state[i])
        bent = s * (1.0 - s) * ((1.0 - s) * slope[i] - s * slope_after[i]) * size
        trial[i] = state[i] + straight + bent


@njit
def _shrunk(row, active, state, trial, before, after, totals, end_time, grammage, size):  # type: ignore[no-untyped-def]
    """A smaller step if this one ran past the element's end, the dry line, an uptake or a change of sign;
    else `size`."""
    smaller = size
    if trial[_TIME] - end_time > 1e-8 * end_time:
        start = state[_TIME]
        smaller = _size_at(end_time - start, trial[_TIME] - start, totals[0], totals[1], size)
    formed = trial[_FIBRE] + trial[_FIBRE + 1]
    if formed - grammage > 1e-11 * grammage:
        start = state[_FIBRE] + state[_FIBRE + 1]
        rate_before, rate_after = totals[0] / (before[2] + before[3]), totals[1] / (after[2] + after[3])
        smaller = min(smaller, _size_at(grammage - start, formed - start, rate_before, rate_after, size))
    for side in range(2):
        if not active[side]:
            continue
        room = row[8 * side + _UPTAKE] - state[_WATER + side]
        taken = trial[_WATER + side] - state[_WATER + side]
        if taken > room * (1.0 + 1e-11):
            smaller = min(smaller, size * room / taken)
        low, high = before[6 + side], after[6 + side]
        least = 1e-9 * (abs(low) + abs(high)) + 1e-9
        if low * high < 0.0 and abs(low) > least and abs(high) > least:
            smaller = min(smaller, size * abs(low) / (abs(low) + abs(high)))
    return smaller


@njit
def _close(row, opened, state, share, depth_in, stuff, water):  # type: ignore[no-untyped-def]
    """The formed mat closes at once to the largest pressure of a side that can take water; no fibre is
    lost."""
    depth = depth_in - state[_WATER] - state[_WATER + 1]
    best = -1
    highest = 0.0
    for side in range(2):
        room = row[8 * side + _UPTAKE] - state[_WATER + side]
        if opened[side] and room > 0.0:
            pressure = _pressure(row, side, share, depth, stuff)
            if pressure > highest:
                best, highest = side, pressure
    if best < 0:
        return
    dense = _mat_consistency(highest, stuff[_MAT_COEFFICIENT], stuff[_MAT_EXPONENT], stuff[_FLOOR])
    leaving = min(depth - stuff[_GRAMMAGE] / dense, row[8 * best + _UPTAKE] - state[_WATER + best])
    if leaving > 0.0:
        state[_WATER + best] += leaving
        water[best] += leaving


@njit
def _pulse(row, active, state, depth_in, stuff, kappa, last, rates):  # type: ignore[no-untyped-def]
    """A table roll: a pulse whose length follows from the flux at entry."""
    speed, grammage = stuff[_SPEED], stuff[_GRAMMAGE]
    total = _rates(row, active, state, depth_in, stuff, kappa, last, rates)
    if not total > 0.0:
        return 0.0, 0.0
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
    _rates(row, active, state, depth_in, stuff, kappa, last, rates)
    state[_IMPULSE] += 0.5 * (used0 + rates[4]) * dwell0
    state[_IMPULSE + 1] += 0.5 * (used1 + rates[5]) * dwell1
    return flux0, flux1


@njit
def _stretch(row, opened, state, depth_in, stuff, kappa, note, active, scratch):  # type: ignore[no-untyped-def]
    """March through one element until its end or the dry line; True if the dry line is in it.

    note[0] is the largest flux so far, note[1] is set when an open side had a negative pressure.
    """
    rates, after, slope, trial, last, work = (
        scratch[0],
        scratch[1],
        scratch[2],
        scratch[3],
        scratch[4],
        scratch[5:],
    )
    last[:] = np.nan
    grammage = stuff[_GRAMMAGE]
    state[_TIME] = 0.0
    if row[_NIP_RADIUS] > 0.0:
        _activate(row, opened, state, active)
        total = _rates(row, active, state, depth_in, stuff, kappa, last, rates)
        if rates[6] < 0.0 or rates[7] < 0.0:
            note[1] = 1.0
        flux0, flux1 = _pulse(row, active, state, depth_in, stuff, kappa, last, rates)
        note[0] = max(note[0], flux0, flux1)
        return state[_FIBRE] + state[_FIBRE + 1] >= grammage
    end_time = row[_LENGTH] / stuff[_SPEED]
    if not end_time > 0.0:
        return False
    fresh = True
    total, total_after = 0.0, 0.0
    for _ in range(100000):
        if fresh:
            _activate(row, opened, state, active)
            total = _rates(row, active, state, depth_in, stuff, kappa, last, rates)
        if rates[6] < 0.0 or rates[7] < 0.0:
            note[1] = 1.0
        note[0] = max(note[0], rates[0], rates[1])
        left = end_time - state[_TIME]
        if not total > 0.0 or left <= 1e-8 * end_time:
            return False
        depth = depth_in - state[_WATER] - state[_WATER + 1]
        fibre = state[_FIBRE] + state[_FIBRE + 1]
        thinnest, gain = np.inf, kappa
        for side in range(2):
            opening = rates[6 + side] >= -1e-6 * abs(rates[6] + rates[7])
            if active[side] and opening and state[_FIBRE + side] < thinnest:
                thinnest = state[_FIBRE + side]
                gain = last[2 * side + 1] if rates[side] > 0.0 else kappa
        gained = (rates[2] + rates[3]) / total
        last_bit = total * left <= 1e-7 * depth_in
        size = min(0.25 * (thinnest + 0.05 * grammage) / gain, total * left, (grammage - fibre) / gained)
        for side in range(2):
            carried = stuff[_DENSITY] * _carried(row, side, stuff)
            if carried < 0.0:
                size = min(size, 0.125 * depth)
            elif carried > 0.0 and rates[side] > 0.0:
                size = min(size, 0.125 * rates[6 + side] / carried)
            falling = row[8 * side + _HEAD] * stuff[_SPEED] / row[_LENGTH]
            if rates[side] > 0.0 and falling > 0.0:
                size = min(size, 0.25 * rates[6 + side] / falling * total)
        _slopes(rates, total, slope)
        landed = False
        for _attempt in range(60):
            flows = _step(row, active, state, depth_in, stuff, kappa, last, after, slope, size, trial, work)
            if flows:
                total_after = _rates(row, active, trial, depth_in, stuff, kappa, last, after)
                flows = total_after > 0.0
            if flows:
                totals = (total, total_after)
                smaller = _shrunk(row, active, state, trial, rates, after, totals, end_time, grammage, size)
            else:
                smaller = 0.5 * size
            if smaller >= size:
                break
            over, spent = trial[_TIME] - end_time, trial[_TIME] - state[_TIME]
            if flows and 0.0 < over < 0.1 * spent:
                at = _size_at(spent - over, spent, total, total_after, size)
                if smaller >= at:
                    _slopes(after, total_after, work[0])
                    _interpolate(state, trial, slope, work[0], at / size, size)
                    trial[_TIME] = end_time
                    landed = True
                    break
            if last_bit:
                for i in range(_STATE):
                    trial[i] = state[i] + size * slope[i]
                total_after = _rates(row, active, trial, depth_in, stuff, kappa, last, after)
                break
            size = smaller
        formed = trial[_FIBRE] + trial[_FIBRE + 1]
        done = formed >= grammage * (1.0 - 1e-10)
        if done:
            part = (grammage - fibre) / (formed - fibre)
            back = state[_FIBRE + 1] + part * (trial[_FIBRE + 1] - state[_FIBRE + 1])
            state[_FIBRE], state[_FIBRE + 1] = grammage - back, back
        else:
            state[_FIBRE] = trial[_FIBRE]
            state[_FIBRE + 1] = trial[_FIBRE + 1]
        fresh = landed
        for side in range(2):
            uptake = row[8 * side + _UPTAKE]
            if active[side] and trial[_WATER + side] >= uptake * (1.0 - 1e-10):
                trial[_WATER + side] = uptake
                fresh = True
            state[_WATER + side] = trial[_WATER + side]
            state[_IMPULSE + side] = trial[_IMPULSE + side]
        state[_TIME] = trial[_TIME]
        if done:
            return True
        for i in range(8):
            rates[i] = after[i]
        total = total_after
    return False


@njit
def march(base, opened, slots, columns, materials, first, stop, single, by_element, impulses):  # type: ignore[no-untyped-def]
    """All cases from `first` to `stop`; results go into the three output arrays."""
    count = base.shape[0]
    rows = np.empty((count, _ROW))
    state = np.zeros(_STATE)
    water = np.zeros(2)
    note = np.zeros(2)
    active = np.zeros(2, np.bool_)
    scratch = np.zeros((9, 8))
    for case in range(first, stop):
        stuff = materials[case]
        rows[:, :] = base
        for k in range(slots.shape[0]):
            rows[slots[k, 0], slots[k, 1]] = columns[slots[k, 2], case]
        grammage, consistency, retention, density = stuff[1], stuff[2], stuff[3], stuff[4]
        kappa = retention * consistency * density
        depth_in = grammage / kappa
        lost = (1.0 - retention) / retention
        state[:] = 0.0
        note[:] = 0.0
        formed, place = False, 0.0
        dry_line, dry_element = np.nan, -1
        for e in range(count):
            row = rows[e]
            water0, water1 = state[_WATER], state[_WATER + 1]
            fibre0, fibre1 = state[_FIBRE], state[_FIBRE + 1]
            state[_IMPULSE] = 0.0
            state[_IMPULSE + 1] = 0.0
            if formed:
                _close(row, opened[e], state, 0.0, depth_in, stuff, water)
            else:
                formed = _stretch(row, opened[e], state, depth_in, stuff, kappa, note, active, scratch)
                if formed:
                    along = state[_TIME] * stuff[_SPEED]
                    dry_line, dry_element = place + along, e
                    share = min(1.0, along / row[_LENGTH]) if row[_LENGTH] > 0.0 else 0.0
                    _close(row, opened[e], state, share, depth_in, stuff, water)
            by_element[case, e, 0, 0] = state[_WATER] - water0
            by_element[case, e, 1, 0] = state[_WATER + 1] - water1
            by_element[case, e, 0, 1] = lost * (state[_FIBRE] - fibre0)
            by_element[case, e, 1, 1] = lost * (state[_FIBRE + 1] - fibre1)
            impulses[case, e, 0] = state[_IMPULSE]
            impulses[case, e, 1] = state[_IMPULSE + 1]
            if not row[_NIP_RADIUS] > 0.0:
                place += row[_LENGTH]
        fibre = state[_FIBRE] + state[_FIBRE + 1]
        depth = depth_in - state[_WATER] - state[_WATER + 1]
        free = 0.0 if formed else depth_in - fibre / kappa
        mass = fibre + consistency * density * free
        water_sum, fibre_sum = 0.0, 0.0
        for e in range(count):
            water_sum += by_element[case, e, 0, 0] + by_element[case, e, 1, 0]
            fibre_sum += by_element[case, e, 0, 1] + by_element[case, e, 1, 1]
        fed = consistency * density * depth_in
        out = single[case]
        out[0] = depth_in
        out[1] = state[_WATER]
        out[2] = state[_WATER + 1]
        out[3] = state[_FIBRE]
        out[4] = state[_FIBRE + 1]
        out[5] = dry_line
        out[6] = dry_element
        out[7] = note[0]
        out[8] = note[1]
        out[9] = depth
        out[10] = mass / (mass + density * depth - mass * density / stuff[_WALL])
        out[11] = max(abs(water_sum + depth - depth_in) / depth_in, abs(mass + fibre_sum - fed) / fed)
