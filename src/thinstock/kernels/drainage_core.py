"""The compiled core of the drainage march: one case through its elements by the steps of `kernels.drainage_steps`."""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num
from thinstock.kernels.compiled import faced, innermost, njit
from thinstock.kernels.drainage_steps import (
    AFTER,
    BEFORE,
    CONSISTENCY,
    DENSITY,
    DEPTH_IN,
    FIBRE,
    FLUX_HIGHEST,
    GRAMMAGE,
    IMPULSE,
    KAPPA,
    LAST,
    LAW,
    LENGTH,
    NIP_RADIUS,
    NUMBERS,
    OPEN,
    RATES,
    RETENTION,
    ROW,
    ROWS,
    SIDES,
    SLOPE,
    SPEED,
    STALLED,
    STATE,
    STEPS,
    STUFF,
    TIME,
    UPTAKE,
    WALL,
    WATER,
    activate,
    dense_under,
    first_size,
    pack,
    pressure_on,
    rates_of,
    slopes_of,
    take,
    tried,
)
from thinstock.kernels.uncounted import uncounted


@njit
def close(p: Num, share: Num) -> None:
    """The formed mat closes at once to the largest pressure of a side that can take water; no fibre is
    lost."""
    state = p[STATE]
    depth = p[STUFF][DEPTH_IN] - state[WATER] - state[WATER + 1]
    best = -1
    highest = 0.0
    for side in range(2):
        room = p[LAW][8 * side + UPTAKE] - state[WATER + side]
        if p[SIDES][OPEN + side] > 0.0 and room > 0.0:
            pressure = pressure_on(p, side, share, depth)
            if pressure > highest:
                best, highest = side, pressure
    if best < 0:
        return
    leaving = min(depth - p[STUFF][GRAMMAGE] / dense_under(p, highest), p[LAW][8 * best + UPTAKE] - state[WATER + best])
    if leaving > 0.0:
        state[WATER + best] += leaving


@njit
def pulse(p: Num) -> Num:
    """A table roll: a pulse whose length follows from the flux at entry; True if the dry line is in it."""
    row, state, rates = p[LAW], p[STATE], p[RATES]
    speed, grammage = p[STUFF][SPEED], p[STUFF][GRAMMAGE]
    activate(p)
    total = rates_of(p, STATE, RATES)
    if rates[6] < 0.0 or rates[7] < 0.0:
        p[SIDES][STALLED] = 1.0
    if not total > 0.0:
        return state[FIBRE] + state[FIBRE + 1] >= grammage
    pack(p, RATES, STATE)
    flux0, flux1 = rates[0], rates[1]
    used0, used1 = rates[4], rates[5]
    dwell0 = 2.0 * row[NIP_RADIUS] * flux0 / (speed * speed)
    dwell1 = 2.0 * row[NIP_RADIUS] * flux1 / (speed * speed)
    water0 = min(flux0 * dwell0, row[UPTAKE] - state[WATER])
    water1 = min(flux1 * dwell1, row[8 + UPTAKE] - state[WATER + 1])
    fibre0 = rates[2] / flux0 * water0 if flux0 > 0.0 else 0.0
    fibre1 = rates[3] / flux1 * water1 if flux1 > 0.0 else 0.0
    room = grammage - state[FIBRE] - state[FIBRE + 1]
    if fibre0 + fibre1 > room:
        part = room / (fibre0 + fibre1)
        fibre0, fibre1, water0, water1 = fibre0 * part, fibre1 * part, water0 * part, water1 * part
        state[FIBRE + 1] += fibre1
        state[FIBRE] = grammage - state[FIBRE + 1]
    else:
        state[FIBRE] += fibre0
        state[FIBRE + 1] += fibre1
    state[WATER] += water0
    state[WATER + 1] += water1
    rates_of(p, STATE, RATES)
    state[IMPULSE] += 0.5 * (used0 + rates[4]) * dwell0
    state[IMPULSE + 1] += 0.5 * (used1 + rates[5]) * dwell1
    p[SIDES][FLUX_HIGHEST] = max(p[SIDES][FLUX_HIGHEST], flux0, flux1)
    return state[FIBRE] + state[FIBRE + 1] >= grammage


@njit
def noted(p: Num) -> None:
    """What is remembered of the rates of a state."""
    rates, sides = p[RATES], p[SIDES]
    if rates[6] < 0.0 or rates[7] < 0.0:
        sides[STALLED] = 1.0
    sides[FLUX_HIGHEST] = max(sides[FLUX_HIGHEST], rates[0], rates[1])
    pack(p, RATES, STATE)


@njit
def stretch(p: Num) -> Num:
    """March through one element until its end or the dry line; True if the dry line is in it."""
    state, rates = p[STATE], p[RATES]
    if p[LAW][NIP_RADIUS] > 0.0:
        return pulse(p)
    end_time = p[LAW][LENGTH] / p[STUFF][SPEED]
    if not end_time > 0.0:
        return False
    fresh = True
    total = 0.0
    for _ in range(STEPS):
        if fresh:
            activate(p)
            total = rates_of(p, STATE, RATES)
        noted(p)
        left = end_time - state[TIME]
        if not total > 0.0 or left <= 1e-8 * end_time:
            return False
        size = first_size(p, total, left, end_time)
        slopes_of(p, RATES, total, SLOPE)
        total_after, landed = tried(p, total, end_time, size)
        done, full = take(p)
        if done:
            return True
        fresh = landed or full
        for i in range(8):
            rates[i] = p[AFTER][i]
        total = total_after
    return False


@njit
def leave(p: Num, taken: Num, out: Num) -> None:
    """The results that do not belong to an element, and what the balances of water and fibre lack."""
    stuff, state = p[STUFF], p[STATE]
    consistency, density, depth_in = stuff[CONSISTENCY], stuff[DENSITY], stuff[DEPTH_IN]
    fibre = state[FIBRE] + state[FIBRE + 1]
    depth = depth_in - state[WATER] - state[WATER + 1]
    free = 0.0 if formed(out) else depth_in - fibre / stuff[KAPPA]
    mass = fibre + consistency * density * free
    water_sum, fibre_sum = 0.0, 0.0
    for e in range(taken.shape[0]):
        water_sum += taken[e, 0, 0] + taken[e, 1, 0]
        fibre_sum += taken[e, 0, 1] + taken[e, 1, 1]
    fed = consistency * density * depth_in
    out[0] = depth_in
    for i in range(4):
        out[1 + i] = state[WATER + i]
    out[7], out[8] = p[SIDES][FLUX_HIGHEST], p[SIDES][STALLED]
    out[9] = depth
    out[10] = mass / (mass + density * depth - mass * density / stuff[WALL])
    out[11] = max(abs(water_sum + depth - depth_in) / depth_in, abs(mass + fibre_sum - fed) / fed)


@njit
def formed(out: Num) -> Num:
    """Whether the dry line is behind."""
    return out[6] >= 0.0


@njit
def begin(p: Num, out: Num) -> None:
    """A case before the first element."""
    out[5], out[6] = np.nan, -1.0
    stuff = p[STUFF]
    for i in range(ROW):
        p[SIDES][i] = 0.0
        p[STATE][i] = 0.0
    stuff[KAPPA] = stuff[RETENTION] * stuff[CONSISTENCY] * stuff[DENSITY]
    stuff[DEPTH_IN] = stuff[GRAMMAGE] / stuff[KAPPA]


@njit
def enter(p: Num, row: Num, opened: Num) -> None:
    """Come to an element."""
    for i in range(ROW):
        p[LAW][i] = row[i]
    for side in range(2):
        p[SIDES][OPEN + side] = 1.0 if opened[side] else 0.0
    for i in range(NUMBERS):
        p[BEFORE][i] = p[STATE][i]
    for i in range(4):
        p[LAST][i] = np.nan
    p[STATE][TIME] = 0.0
    p[STATE][IMPULSE] = 0.0
    p[STATE][IMPULSE + 1] = 0.0


@njit
def close_at(p: Num, place: Num, e: Num, out: Num) -> None:
    """The dry line is here: note it and let the mat close."""
    length, along = p[LAW][LENGTH], p[STATE][TIME] * p[STUFF][SPEED]
    out[5], out[6] = place + along, e
    close(p, min(1.0, along / length) if length > 0.0 else 0.0)


@njit
def behind(p: Num, e: Num, taken: Num, impulses: Num) -> Num:
    """Note what an element took; by how much it brings the stock on."""
    state, before = p[STATE], p[BEFORE]
    lost = (1.0 - p[STUFF][RETENTION]) / p[STUFF][RETENTION]
    for side in range(2):
        taken[e, side, 0] = state[WATER + side] - before[WATER + side]
        taken[e, side, 1] = lost * (state[FIBRE + side] - before[FIBRE + side])
        impulses[e, side] = state[IMPULSE + side]
    return 0.0 if p[LAW][NIP_RADIUS] > 0.0 else p[LAW][LENGTH]


@innermost(3)
def _case(p: Num, rows: Num, opened: Num, out: Num, taken: Num, impulses: Num) -> None:
    """One case through all elements: results in `out`, by element in `taken` (side, water or fibre) and `impulses`."""
    begin(p, out)
    place = 0.0
    for e in range(len(rows)):
        enter(p, rows[e], opened[e])
        if formed(out):
            close(p, 0.0)
        elif stretch(p):
            close_at(p, place, e, out)
        place += behind(p, e, taken, impulses)
    leave(p, taken, out)


@njit
def rows_of_case(table: Num, case: Num, rows: Num) -> None:
    """The numbers of a case's elements; one by one, since machine code of a whole table takes a second to make."""
    for e in range(table.base.shape[0]):
        for i in range(ROW):
            rows[e, i] = table.base[e, i]
    for k in range(table.slots.shape[0]):
        rows[table.slots[k, 0], table.slots[k, 1]] = table.columns[table.slots[k, 2], case]


@njit
def march_cases(table: Num, materials: Num, span: Num, made: Num, rows: Num, p: Num) -> None:
    """The cases of a span, in tables at hand; `p` as a lane of several has it, so that one machine code serves both."""
    single, by_element, impulses = made
    rows, p = uncounted(rows), uncounted(p)
    for case in range(span[0], span[1]):
        rows_of_case(table, case, rows)
        for i in range(materials.shape[1]):
            p[STUFF][i] = materials[case, i]
        _case(p, rows, table.opened, single[case], by_element[case], impulses[case])


@faced(lambda table, materials, first, stop, *_: int(stop - first))
def march(table: Num, materials: Num, first: Num, stop: Num, single: Num, by_element: Num, impulses: Num) -> None:
    """All cases from `first` to `stop`, elements as in `drainage_input.Table`; results go into the last three."""
    rows, p = np.empty((table.base.shape[0], ROW)), np.zeros((ROWS, ROW, 1))
    march_cases(table, materials, (first, stop), (single, by_element, impulses), rows, p[:, :, 0])
