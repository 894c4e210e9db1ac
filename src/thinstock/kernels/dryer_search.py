"""The compiled search for a dryer's state: shell, jets and what is held, at once or slow and sure.

Passes of `dryer_march` until sheet, shell and hood agree. With the five spots a case begins with few steps and the
spots read off the mean sheet's course: most passes are then cheap ones, and the end test is that of the march asked.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from thinstock.formula.label import Array, Num
from thinstock.kernels.compiled import faced, njit
from thinstock.kernels.dryer_march import (
    _CONTACT,
    _U,
    _WALL,
    AFTER,
    AIR,
    AIR_T,
    BARE_HEAT,
    BEFORE,
    CONVERGED,
    EXHAUST,
    FRESH_X,
    HIGHEST,
    JET_X,
    LENGTH,
    LOWEST,
    MARCHES,
    RECIRCULATION,
    SHEET,
    SPEED,
    STATUS,
    STEAM_P,
    STEAM_PRESSURE,
    STEAM_T,
    UNEVEN,
    WANTED,
    Case,
    begin,
    boiling,
    one_pass,
    set_open,
)
from thinstock.kernels.dryer_spots import COARSE, EVEN
from thinstock.kernels.yankee_march import (
    BARE,
    DIAMETER,
    ISOTHERM,
    T_ROOM,
    T_STEAM,
    between,
    narrow,
    path_length,
    wall_slope,
)


class Way(NamedTuple):
    """How cases are marched, common to all: see `DryerInput`."""

    steps: Num
    tolerance: Num
    hold: Num
    spots: Num
    chained: Num = 0


PASSES = 24
"""Most passes of the search for everything at once."""
BOOK = 12
_FREE, _TURNS, _PASSES = 0, 1, 11
_FEW, _ROUGH = np.array((2, 8, 2)), 1e-5
"""Steps and tolerance with which a case of many steps begins."""


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
def first_inverse(w: Case, t: Num, y: Num, scale: Num) -> None:
    """A guess at how shell temperature, jet humidity and what is held answer to what they lack."""
    inverse = w.inverse
    inverse[:] = 0.0
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
def at_a_bound(d: Num, x: Num, g: Num) -> Num:
    """1 still too wet at the bound of most drying, -1 too dry at the bound of least, 0 neither."""
    if x >= d[HIGHEST] and g > 0.0:
        return 1.0
    if x <= d[LOWEST] and g < 0.0:
        return -1.0
    return 0.0


@njit
def next_move(inverse: Num, r: Num, old: Num, move: Num, free: Num) -> None:
    """The move that would take away what is lacking, no further than is sensible; what is held stays if not free."""
    rest = 0.0
    if not free and abs(inverse[2, 2]) > 1e-12:
        rest = (inverse[2, 0] * r[0] + inverse[2, 1] * r[1]) / inverse[2, 2]
    for k in range(3):
        old[k] = r[k]
        move[k] = -inverse[k, 0] * r[0] - inverse[k, 1] * r[1] - inverse[k, 2] * (r[2] if free else -rest)
    move[0] = min(max(move[0], -3.0), 3.0)
    move[1] = min(max(move[1], -1.0), 1.0)
    move[2] = min(max(move[2], -1.5), 1.5) if free else 0.0


@njit
def ends_of(tolerance: Num) -> Num:
    """By how much shell temperature, jet humidity and the logarithm of the moisture may miss when a search ends."""
    return max(1e-6, 100.0 * tolerance), max(1e-9, tolerance), max(1e-7, 10.0 * tolerance)


@njit
def opened(w: Case, learnt: Num, book: Num) -> None:
    """The book of a search: whether what is held may move, how often it left a bound, what lacked and was moved."""
    begin(w)
    y = w.d[AIR if w.hold == 1 else STEAM_PRESSURE]
    book[:] = 0.0
    bound = learnt and (y <= w.d[LOWEST] or y >= w.d[HIGHEST])
    book[_FREE] = 1.0 if w.hold > 0 and not bound else 0.0


@njit
def advanced(w: Case, ends: Num, known: Num, book: Num, f: Num, x_new: Num) -> Num:
    """One pass of Broyden's method behind a march: 1 all agree, 0 another march is due, -1 given up.

    What is held stays at a bound that it meets, and leaves it again if the sheet then asks for the inside. Unknowns
    are scaled by 10 K, 0.1 kg/kg and a typical change of what is held; `known`: the inverse has been learnt.
    """
    d, c, hold = w.d, w.c, w.hold
    dt, dx, close = ends
    t, x = w.state[0], w.state[1]
    where = AIR if hold == 1 else STEAM_PRESSURE
    y = d[where]
    scale = 50.0 if hold == 1 else 0.1 * (d[LOWEST] + d[HIGHEST])
    free = book[_FREE] > 0.0
    r, old, move = book[2:5], book[5:8], book[8:11]
    r[0], r[1] = f / 10.0, (x_new - x) / 0.1
    r[2] = np.log(w.out[_U] / d[WANTED]) if hold > 0 else 0.0
    if abs(f) <= dt and abs(x_new - x) <= dx:
        w.out[STATUS] = 0.0 if abs(r[2]) <= close else at_a_bound(d, y, r[2])
        if hold == 0 or abs(r[2]) <= close or w.out[STATUS] != 0.0:
            return 1
        book[_TURNS] += 0.0 if free else 1.0
        free = True
    if book[_PASSES] > 0.0:
        learn(w.inverse, move, r, old)
    elif not known:
        first_inverse(w, t, y, scale)
    book[_PASSES] += 1.0
    next_move(w.inverse, r, old, move, free)
    t, x, y = t + 10.0 * move[0], x + 0.1 * move[1], y + scale * move[2]
    possible = x > 1e-4 and x < 5.0 and t > c[T_ROOM] and np.isfinite(t) and np.isfinite(y)
    if book[_TURNS] > 2.0 or not possible:
        w.state[0] = 0.0
        return -1
    if hold > 0:
        d[where] = min(max(y, d[LOWEST]), d[HIGHEST])
        free = free and d[where] == y
        move[2] += (d[where] - y) / scale
        c[T_STEAM] = boiling(d[STEAM_PRESSURE])
    book[_FREE] = 1.0 if free else 0.0
    w.state[0], w.state[1] = t, x
    return 0


@njit
def together(w: Case, learnt: Num) -> Num:
    """Shell temperature, jet humidity and what is held, all at once by Broyden's method; one march per pass.

    True when all agree; False (after some passes) leaves the work to the slow and sure way, from where this one got
    to. `learnt`: the inverse is known from cases alike.
    """
    book = np.empty(BOOK)
    ends = ends_of(w.tolerance)
    opened(w, learnt, book)
    for _ in range(PASSES):
        f, x_new = one_pass(w, w.state[0], w.state[1])
        found = advanced(w, ends, learnt, book, f, x_new)
        if found != 0:
            return found > 0
    return False


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
def surely(w: Case) -> Num:
    """The slow and sure way; True when it settled."""
    dt, dx, close = ends_of(w.tolerance)
    w.out[STATUS] = 0.0
    return search(w, dt, dx, close) if w.hold > 0 else settle(w, dt, dx)


@njit
def solved(w: Case, learnt: Num) -> Num:
    """Everything at once, and where that does not settle the slow and sure way; True when it settled."""
    w.out[STATUS] = 0.0
    return together(w, learnt) or surely(w)


@njit
def prepared(d: Num, way: Way, segments: Num, start: Num, c: Num, state: Num) -> Num:
    """Set up the row of the sheet's march, the open stretches and where the search begins; True if that is known."""
    for i in range(len(SHEET)):
        c[i] = d[SHEET[i]]
    set_open(d, segments)
    learnt = start[0] > 0.0
    if way.hold > 0:
        where = AIR if way.hold == 1 else STEAM_PRESSURE
        if learnt:
            d[where] = start[2]
        d[where] = min(max(d[where], d[LOWEST]), d[HIGHEST])
    state[0], state[1] = (start[0], start[1]) if learnt else (0.0, 0.0)
    return learnt


@njit
def dry_case(d: Num, way: Way, segments: Num, nodes: Num, start: Num, out: Num) -> None:
    """One case: few steps first, with the spots read off the mean sheet's course, then as asked from there."""
    c, state, inverse = np.empty(len(SHEET)), np.empty(2), np.empty((3, 3))
    out[MARCHES] = 0.0
    learnt = prepared(d, way, segments, start, c, state)
    record = nodes if marched_on(d) else nodes[:0]
    for k in range(9):
        inverse[k // 3, k % 3] = start[3 + k]
    if way.spots > 0 and not (way.chained > 0 and learnt):
        few = Case(d, c, segments, _FEW, _ROUGH, way.hold, state, inverse, out, record, 1)
        learnt = solved(few, learnt)
    if way.spots > 0:
        record = nodes[:0]
    w = Case(d, c, segments, way.steps, way.tolerance, way.hold, state, inverse, out, record, followed_of(way))
    settled = solved(w, learnt)
    left(w, start)
    finish(d, c, path_length(segments), settled, out)


@njit
def followed_of(way: Way) -> Num:
    """Steps of the hood whose heat is followed: those at its entry, before any sheet is dry."""
    return max(1, way.steps[1] // 7)


@njit
def marched_on(d: Num) -> Num:
    """Whether the sheet is so uneven, and has a hood, that its spots are read off the mean sheet's course."""
    return d[UNEVEN] >= EVEN and d[LENGTH] > 0.0


@njit
def left(w: Case, start: Num) -> None:
    """Keep what the search found, for cases alike."""
    start[:2] = w.state
    start[2] = w.d[AIR if w.hold == 1 else STEAM_PRESSURE]
    for k in range(9):
        start[3 + k] = w.inverse[k // 3, k % 3]


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
def nodes_of(way: Way) -> Num:
    """How many nodes the mean sheet's march has, at most."""
    return max(_FEW.sum() if way.spots > 0 else way.steps.sum(), 1) + 1


def of_one_kind(rows: Array) -> bool:
    """Whether cases have the same stretches and isotherm, and all have spots or none has."""
    stretches = rows[:, [BEFORE, LENGTH, AFTER]] > 0.0
    isotherm, spotted = rows[:, SHEET[ISOTHERM]], rows[:, UNEVEN] >= EVEN
    return bool(np.all(stretches == stretches[0]) and np.all(isotherm == isotherm[0]) and np.all(spotted == spotted[0]))


@njit
def carried_on(rows: Num, start: Num, out: Num, i: Num) -> None:
    """Begin a case where the one before it ended, or, along the speed, on the line through the two before it."""
    for k in range(start.shape[1]):
        start[i, k] = start[i - 1, k]
    if i < 2 or not out[i - 2, CONVERGED] > 0.0 or out[i - 1, STATUS] != out[i - 2, STATUS]:
        return
    step = rows[i - 1, SPEED] - rows[i - 2, SPEED]
    ahead = (rows[i, SPEED] - rows[i - 1, SPEED]) / step if step != 0.0 else 0.0
    if ahead > 0.0 and ahead <= 2.0 and start[i - 1, 1] + ahead * (start[i - 1, 1] - start[i - 2, 1]) > 0.0:
        for k in range(3):
            start[i, k] += ahead * (start[i - 1, k] - start[i - 2, k])


def weight(rows: Num, way: Way, *_: Num) -> float:
    """How many cases of a single run's steps and spots a call is worth."""
    spots = 5.0 * float(sum(COARSE))
    return len(rows) * (float(way.steps.sum()) + (spots if way.spots > 0 else 0.0)) / (36.0 + spots)


@faced(weight)
def dry_cases(rows: Num, way: Way, start: Num, out: Num) -> None:
    """Every row of a table of cases; results by row in the order of the columns above.

    `start` has twelve numbers of a case: shell temperature, jet humidity, what is held, and the nine of the inverse;
    not a number where nothing is known. On return it holds what was found.
    """
    nodes = np.empty((nodes_of(way), 9))
    segments = np.empty((3, 8))
    for i in range(rows.shape[0]):
        if way.chained > 0 and i > 0 and not start[i, 0] > 0.0 and out[i - 1, CONVERGED] > 0.0:
            carried_on(rows, start, out, i)
        dry_case(rows[i].copy(), way, segments, nodes, start[i], out[i])
