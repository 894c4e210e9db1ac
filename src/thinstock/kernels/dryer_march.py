"""The compiled core of the joined dryer: sheet, shell and hood air of one case, and what is held.

Written for plain numbers, as `yankee_march`; a case is a row in the order of `ROW`. The gas side of every
stretch, the hood's balance and the march are the bodies of the labelled formulas.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from thinstock.formula.label import Num
from thinstock.kernels.compiled import compiled, njit
from thinstock.kernels.dryer_input import DryerInput, row_order
from thinstock.kernels.dryer_spots import EVEN, along_course, dry_spots, under_hood
from thinstock.kernels.yankee_march import (
    BARE,
    CASE,
    DIAMETER,
    H_COND,
    R_SHELL,
    T_ROOM,
    T_STEAM,
    between,
    march,
    narrow,
    path_length,
    wall_flux,
    wall_slope,
    wall_start,
)
from thinstock.relations import gas_side, hood, humid_air, impingement, pumping, steam

ROW = row_order(DryerInput)
PRESSURE, ROOM = ROW.index("atmospheric_pressure"), ROW.index("room_temperature")
STEAM_PRESSURE, BEFORE = ROW.index("steam_pressure"), ROW.index("open_length_before")
AFTER, OPEN_H, OPEN_AIR, OPEN_X, LENGTH = range(BEFORE + 1, BEFORE + 6)
JET, HOLE, OPEN_AREA, GAP, NECK, FACTOR, OFFSET, GREY, FILM = range(LENGTH + 1, LENGTH + 10)
AIR, EXHAUST_X, LEAKAGE, FRESH_T, FRESH_X, ROOM_X, LOSS = range(FILM + 1, FILM + 8)
RISE, FAN, FAN_HEAT, LHV, BURNT, FIRED, WANTED, LOWEST, HIGHEST = range(LOSS + 1, LOSS + 10)
UNEVEN, RECOVERY = range(HIGHEST + 1, HIGHEST + 3)
TURNS = 6
"""Most turns of heat recovery in a balance; each takes the error down some hundredfold."""
_ITS_OWN = {"pressure": "atmospheric_pressure", "steam_temperature": "steam_pressure"}
SHEET = tuple(ROW.index(_ITS_OWN.get(name, name)) for name in CASE)
"""Where the numbers of the sheet's march stand in a row; in place of the steam's temperature its pressure."""

(
    _U,
    _T,
    _CONTACT,
    _CONVECTIVE,
    _RADIATIVE,
    _EVAPORATION,
    _VAPOUR,
    _DESORPTION,
    _WALL,
    _FLUX,
    STEAM_T,
    AIR_T,
    STEAM_P,
    STATUS,
    JET_X,
    EX_X,
    EXHAUST,
    MAKE_UP,
    LEAK,
    RECIRCULATION,
    JET_AIR,
    RETURN_T,
    GAS,
    BURNT_WATER,
    FAN_POWER,
    HOOD_LOSS,
    HEAT_OF_FANS,
    SHEET_HEAT,
    BARE_HEAT,
    MARCHES,
    CONVERGED,
    U_LIGHT,
    _U_LIGHTER,
    _U_MEAN,
    _U_HEAVIER,
    U_HEAVY,
    MADE_UP,
) = range(37)
"""Columns of the results: the fields of `dry` in order."""


class Case(NamedTuple):
    """One case being worked on."""

    d: Num
    """Its row."""
    c: Num
    """The row of the sheet's march."""
    segments: Num
    steps: Num
    tolerance: Num
    hold: Num
    state: Num
    """Shell temperature and jet humidity, the best so far."""
    out: Num
    record: Num
    """Nodes of the mean sheet's march; without rows where nothing asks for them."""


boiling = compiled(steam.saturation_temperature_if97)
under_holes = compiled(gas_side.gas_side_hole_array)
in_the_open = compiled(gas_side.gas_side_given)
density = compiled(humid_air.density_mixture)
mass_flux = compiled(impingement.jet_mass_flux)
jet_air = compiled(hood.jet_dry_air)
hood_balance = compiled(hood.solve_exhaust_humidity)
power_of_fan = compiled(pumping.fan_power)
warmed_by_exhaust = compiled(hood.make_up_temperature_economiser)


@njit
def set_stretch(segment: Num, length: Num, h: Num, beta: Num, t_air: Num, p_v: Num, t_plate: Num) -> None:
    """Write the first six numbers of a stretch."""
    segment[0], segment[1], segment[2] = length, h, beta
    segment[3], segment[4], segment[5] = t_air, p_v, t_plate


@njit
def set_open(d: Num, segments: Num) -> None:
    """Write the two open stretches, which do not depend on the hood's air."""
    t, p = d[OPEN_AIR], d[PRESSURE]
    side = in_the_open(d[OPEN_H], t, d[OPEN_X], d[FILM], p)
    for j, length in ((0, d[BEFORE]), (2, d[AFTER])):
        p_v = side.vapour_pressure_air
        set_stretch(segments[j], length, d[OPEN_H], side.mass_transfer_coefficient, t, p_v, t)
        segments[j, 6], segments[j, 7] = 0.0, side.heat_capacity
    segments[1, 0] = d[LENGTH]


@njit
def set_hood(d: Num, x: Num, segments: Num) -> None:
    """Write the stretch under the hood for a humidity of the jets."""
    side = under_holes(
        d[AIR], x, d[JET], d[HOLE], d[OPEN_AREA], d[GAP], d[NECK], d[FACTOR], d[FILM], d[PRESSURE]
    )  # fmt: skip
    h, beta, p_v = side.heat_transfer_coefficient, side.mass_transfer_coefficient, side.vapour_pressure_air
    set_stretch(segments[1], d[LENGTH], h, beta, d[AIR], p_v, d[AIR] - d[OFFSET])
    segments[1, 6], segments[1, 7] = d[GREY], side.heat_capacity


@njit
def balanced(d: Num, out: Num, j: Num, fresh: Num, loss: Num, fan_heat: Num) -> Num:
    """The hood's balance on what the march gave, with make-up air of a temperature."""
    sheet_heat = out[_CONVECTIVE] + out[_RADIATIVE]
    burnt = d[BURNT] * d[FIRED]
    return hood_balance(
        out[_EVAPORATION], out[_VAPOUR], sheet_heat, j, d[AIR], d[EXHAUST_X], d[LEAKAGE], fresh, d[FRESH_X],
        d[ROOM], d[ROOM_X], loss, fan_heat, d[LHV], burnt,
    )  # fmt: skip


@njit
def recovered(d: Num, b: Num) -> Num:
    """Make-up air that met the exhaust of a balance in an exchanger."""
    return warmed_by_exhaust(
        d[RECOVERY], b.exhaust, b.exhaust_humidity, b.return_temperature, b.make_up, d[FRESH_X], d[ROOM]
    )


@njit
def close_hood(d: Num, x: Num, out: Num) -> Num:
    """Balance the hood on what the march just gave; writes streams and heats, returns the jets' humidity."""
    sheet_heat = out[_CONVECTIVE] + out[_RADIATIVE]
    out[SHEET_HEAT] = sheet_heat
    fresh = d[FRESH_T] if d[RECOVERY] < 0.0 else d[ROOM]
    out[MADE_UP] = fresh
    if d[LENGTH] <= 0.0:
        for i in range(EXHAUST, HEAT_OF_FANS + 1):
            out[i] = 0.0
        out[JET_X] = out[EX_X] = d[ROOM_X]
        out[RETURN_T] = d[ROOM]
        return x
    rho = density(d[AIR], x, d[PRESSURE])
    j = jet_air(rho, d[JET], d[OPEN_AREA], d[NECK], d[LENGTH], x)
    volume = mass_flux(1.0, d[JET], d[OPEN_AREA], d[NECK]) * d[LENGTH]
    fan = power_of_fan(volume, d[RISE], d[FAN])
    loss, fan_heat = d[LOSS] * sheet_heat, d[FAN_HEAT] * fan
    b = balanced(d, out, j, fresh, loss, fan_heat)
    if d[RECOVERY] > 0.0:
        for _ in range(TURNS):
            warmer = recovered(d, b)
            moved = abs(warmer - fresh)
            fresh = warmer
            b = balanced(d, out, j, fresh, loss, fan_heat)
            if not moved > 1e-9:
                break
    out[MADE_UP] = fresh
    out[JET_X], out[EX_X] = b.jet_humidity, b.exhaust_humidity
    out[EXHAUST], out[MAKE_UP], out[LEAK], out[RECIRCULATION] = b.exhaust, b.make_up, b.leak, b.recirculation
    out[JET_AIR], out[RETURN_T], out[GAS], out[BURNT_WATER] = j, b.return_temperature, b.gas_power, b.combustion_water
    out[FAN_POWER], out[HOOD_LOSS], out[HEAT_OF_FANS] = fan, loss, fan_heat
    return b.jet_humidity


@njit
def uneven_sheet(w: Case, t: Num) -> None:
    """Put the reel's moisture and heats of an uneven sheet in place of the mean sheet's just marched."""
    spots = w.out[U_LIGHT : U_HEAVY + 1]
    spots[:] = w.out[_U]
    v = w.d[UNEVEN]
    if v < EVEN:
        return
    if w.record.shape[0] > 0:
        x, u, lead = under_hood(w.c, t, w.segments, w.steps, w.tolerance, w.record)
        along_course(w.c, x, u, lead, v, w.out, spots)
    else:
        dry_spots(w.c, t, w.segments, w.tolerance, v, w.out, spots)


@njit
def one_pass(w: Case, t: Num, x: Num) -> Num:
    """March once at a shell temperature and jet humidity: what the first lacks, and the new humidity."""
    if w.d[LENGTH] > 0.0:
        set_hood(w.d, x, w.segments)
    march(w.c, t, w.segments, w.steps, w.tolerance, w.out, w.record)
    uneven_sheet(w, t)
    w.out[MARCHES] += 1.0
    flux = wall_flux(w.c, t, path_length(w.segments), w.out[_CONTACT])
    w.out[_WALL], w.out[_FLUX] = t, flux
    x_new = close_hood(w.d, x, w.out)
    return w.c[T_STEAM] - flux * (1.0 / w.c[H_COND] + w.c[R_SHELL]) - t, x_new


@njit
def begin(w: Case) -> None:
    """Steam temperature, and a first guess of shell temperature and jet humidity where `state` has none."""
    w.c[T_STEAM] = boiling(w.d[STEAM_PRESSURE])
    if not w.state[0] > 0.0:
        w.state[0] = wall_start(w.c, path_length(w.segments))
        w.state[1] = 0.7 * w.d[EXHAUST_X]


@njit
def settle(w: Case, dt: Num, dx: Num) -> Num:
    """Shell temperature by secant and jet humidity by plain update, one march per pass: slow and sure.

    `state` is left at their best values; True when both moved less than dt and dx. A jump of the flux in over-dried
    cases is accepted within 0.05 K.
    """
    begin(w)
    t, x = w.state[0], w.state[1]
    t_old = f_old = slope = 0.0
    floor, ceiling = w.c[T_ROOM], w.c[T_STEAM] + 300.0
    settled = False
    for i in range(60):
        f, x_new = one_pass(w, t, x)
        if i == 0:
            slope = wall_slope(w.c, t, w.out[_CONTACT])
        elif abs(t - t_old) > 1e-3:
            slope = min(max((f - f_old) / (t - t_old), 2.0 * slope), 0.5 * slope, -0.9)
        t_old, f_old = t, f
        step = -f / slope
        change = x_new - x
        if i > 20:  # a flux that jumps has no root: close in on the jump
            if f > 0.0:
                floor = t
            else:
                ceiling = t
        t = t + step
        if not floor <= t <= ceiling:
            t = 0.5 * (floor + ceiling)
        x = min(max(x_new, 1e-4), 5.0)
        settled = abs(step) <= dt and abs(change) <= dx
        if settled or not np.isfinite(x) or not np.isfinite(t):
            break
        if i > 20 and ceiling - floor <= 0.05 and abs(change) <= max(dx, 1e-5):
            settled = True
            break
    w.state[0], w.state[1] = t, x
    return settled


@njit
def first_inverse(w: Case, inverse: Num, t: Num, y: Num, scale: Num) -> None:
    """A guess at how shell temperature, jet humidity and what is held answer to what they lack."""
    slope = wall_slope(w.c, t, w.out[_CONTACT])
    if w.hold == 0:
        inverse[0, 0] = 1.0 / slope
    else:
        rise = (boiling(1.001 * y) - boiling(y)) / (0.001 * y) * scale / 10.0 if w.hold == 2 else 0.0
        by_t, by_x = -1.0, 0.15
        by_y = -scale / 60.0 if w.hold == 1 else 0.0
        whole = slope * by_y - rise * by_t
        inverse[0, 0], inverse[0, 1], inverse[0, 2] = by_y / whole, -rise * by_x / whole, -rise / whole
        inverse[2, 0], inverse[2, 1], inverse[2, 2] = -by_t / whole, slope * by_x / whole, slope / whole
    inverse[1, 1] = -1.0


@njit
def learn(inverse: Num, move: Num, r: Num, old: Num) -> None:
    """Broyden's update of the inverse by the last move and the change it made."""
    along = np.zeros(3)
    lack = np.zeros(3)
    for k in range(3):
        lack[k] = move[k]
        for n in range(3):
            lack[k] -= inverse[k, n] * (r[n] - old[n])
            along[k] += move[n] * inverse[n, k]
    whole = 0.0
    for n in range(3):
        whole += along[n] * (r[n] - old[n])
    if abs(whole) > 1e-30:
        for k in range(3):
            for n in range(3):
                inverse[k, n] += lack[k] * along[n] / whole


@njit
def next_move(inverse: Num, r: Num, old: Num, move: Num) -> None:
    """The move that would take away what is lacking, no further than is sensible."""
    for k in range(3):
        old[k] = r[k]
        move[k] = 0.0
        for n in range(3):
            move[k] -= inverse[k, n] * r[n]
    move[0] = min(max(move[0], -3.0), 3.0)
    move[1] = min(max(move[1], -1.0), 1.0)
    move[2] = min(max(move[2], -1.5), 1.5)


@njit
def together(w: Case, dt: Num, dx: Num, close: Num) -> Num:
    """Shell temperature, jet humidity and what is held, all at once by Broyden's method; one march per pass.

    True when all three agree; False (after some passes, or at a bound of what is held) leaves the work to the slow
    and sure way, from where this one got to. Unknowns are scaled by 10 K, 0.1 kg/kg and a typical change of what is
    held.
    """
    begin(w)
    d, c, hold = w.d, w.c, w.hold
    t, x = w.state[0], w.state[1]
    where = AIR if hold == 1 else STEAM_PRESSURE
    y = d[where]
    scale = 50.0 if hold == 1 else 0.2 * y
    inverse = np.zeros((3, 3))
    r, old, move = np.zeros(3), np.zeros(3), np.zeros(3)
    for i in range(24):
        f, x_new = one_pass(w, t, x)
        r[0], r[1] = f / 10.0, (x_new - x) / 0.1
        r[2] = np.log(w.out[_U] / d[WANTED]) if hold > 0 else 0.0
        if abs(f) <= dt and abs(x_new - x) <= dx and (hold == 0 or abs(r[2]) <= close):
            w.state[0], w.state[1] = t, x
            return True
        if i == 0:
            first_inverse(w, inverse, t, y, scale)
        else:
            learn(inverse, move, r, old)
        next_move(inverse, r, old, move)
        t, x, y = t + 10.0 * move[0], x + 0.1 * move[1], y + scale * move[2]
        if not (x > 1e-4 and x < 5.0 and t > c[T_ROOM] and np.isfinite(t) and np.isfinite(y)):
            w.state[0] = 0.0
            return False
        if hold > 0:
            d[where] = min(max(y, d[LOWEST]), d[HIGHEST])
            if d[where] != y:
                return False
            c[T_STEAM] = boiling(d[STEAM_PRESSURE])
        w.state[0], w.state[1] = t, x
    return False


@njit
def at_a_bound(d: Num, x: Num, g: Num) -> Num:
    """1 still too wet at the bound of most drying, -1 too dry at the bound of least, 0 neither."""
    if x >= d[HIGHEST] and g > 0.0:
        return 1.0
    if x <= d[LOWEST] and g < 0.0:
        return -1.0
    return 0.0


@njit
def search(w: Case, dt: Num, dx: Num, close: Num) -> Num:
    """Move what is held until the sheet leaves as wanted, or a bound is met; True when it settled.

    The excess ln(u/u_wanted) falls with what is held. From the value given the search walks towards the root
    or a bound, then closes in by false position; far from the root shell and hood are settled only roughly.
    """
    d = w.d
    where = AIR if w.hold == 1 else STEAM_PRESSURE
    x = d[where]
    a = fa = b = fb = g = 0.0
    seen = 0
    loose, settled = 1e-2, False
    guess = -1.0 / 60.0 if w.hold == 1 else -4.0 / x
    for _ in range(80):
        d[where] = x
        strict = loose <= dt
        settled = settle(w, max(dt, loose), max(dx, 0.1 * loose))
        g = np.log(w.out[_U] / d[WANTED])
        if abs(g) <= close or at_a_bound(d, x, g) != 0.0:
            if strict:
                break
            loose = 0.0
            continue
        if not np.isfinite(g):
            break
        if not strict and loose > 0.2 * abs(g):
            loose = 0.1 * abs(g)
            continue
        loose = min(0.02 * abs(g), 1e-2)
        if seen == 0:
            a, fa, seen = x, g, 1
            x = a - 1.1 * g / guess
        elif seen == 1 and (g > 0.0) == (fa > 0.0):
            slope = (g - fa) / (x - a)
            a, fa = x, g
            x = a - 1.4 * g / (slope if slope < 0.0 else guess)
        else:
            if seen == 1:
                b, fb, seen = x, g, 2
            else:
                a, fa, b, fb = narrow(a, fa, b, fb, x, g)
            if abs(b - a) <= 1e-12 * abs(b):
                break
            x = between(a, fa, b, fb)
        x = min(max(x, d[LOWEST]), d[HIGHEST])
    if abs(g) > close:
        w.out[STATUS] = at_a_bound(d, x, g)
        if w.out[STATUS] == 0.0 and abs(g) > 100.0 * close:  # nearer, a jump between few steps may keep the last bit
            settled = False
    return settled


@njit
def dry_case(d: Num, steps: Num, tolerance: Num, hold: Num, segments: Num, out: Num, nodes: Num) -> None:
    """One case: everything at once, and where that does not settle the slow and sure way."""
    c = np.empty(len(SHEET))
    for i in range(len(SHEET)):
        c[i] = d[SHEET[i]]
    out[MARCHES] = 0.0
    out[STATUS] = 0.0
    dt, dx, close = max(1e-6, 100.0 * tolerance), max(1e-9, tolerance), max(1e-7, 10.0 * tolerance)
    set_open(d, segments)
    if hold > 0:
        where = AIR if hold == 1 else STEAM_PRESSURE
        d[where] = min(max(d[where], d[LOWEST]), d[HIGHEST])
    record = nodes if d[UNEVEN] >= EVEN and d[LENGTH] > 0.0 else nodes[:0]
    w = Case(d, c, segments, steps, tolerance, hold, np.zeros(2), out, record)
    settled = together(w, dt, dx, close)
    if not settled:
        settled = search(w, dt, dx, close) if hold > 0 else settle(w, dt, dx)
    finish(d, c, path_length(segments), settled, out)


@njit
def finish(d: Num, c: Num, covered: Num, settled: Num, out: Num) -> None:
    """Write what remains, and judge: 1 settled, 0 not, -1 a humidity that cannot be reached."""
    out[STEAM_T], out[AIR_T], out[STEAM_P] = c[T_STEAM], d[AIR], d[STEAM_PRESSURE]
    out[BARE_HEAT] = c[BARE] * (out[_WALL] - c[T_ROOM]) * (np.pi * c[DIAMETER] - covered)
    out[CONVERGED] = 1.0 if settled else 0.0
    if d[LENGTH] > 0.0 and not (out[JET_X] >= d[FRESH_X] and out[RECIRCULATION] >= 0.0 and out[EXHAUST] > 0.0):
        out[CONVERGED] = -1.0
    for i in range(out.shape[0]):
        if not np.isfinite(out[i]):
            out[CONVERGED] = min(out[CONVERGED], 0.0)


@njit
def dry_cases(rows: Num, steps: Num, tolerance: Num, hold: Num, spots: Num, out: Num) -> None:
    """Every row of a table of cases; results by row in the order of the columns above. `spots` marched: 5 or none."""
    nodes = np.empty((0 if spots > 0 else steps.sum() + 1, 9))
    segments = np.empty((3, 8))
    for i in range(rows.shape[0]):
        dry_case(rows[i].copy(), steps, tolerance, hold, segments, out[i], nodes)
