"""The drying march of several cases side by side: `yankee_march` with a loop over the cases inside every pass.

All that a march works on stands in one flat table: row `r` of lane `l` is `s[r * LANES + l]`. Stages, steps and
formulas are the bodies of the march of one case. A lane that has settled stays as it is, so that a case ends up the
same whatever goes beside it.
"""

from __future__ import annotations

from thinstock.formula.label import Num
from thinstock.kernels.compiled import laned, njit
from thinstock.kernels.dryer_spots import BEYOND, EXTRA, carried
from thinstock.kernels.yankee_march import (
    C_F,
    GAMMA,
    H_DRY,
    H_WET,
    SCALE,
    Found,
    G,
    P,
    Place,
    Start,
    T,
    U,
    V,
    bracketed,
    half_way,
    heats,
    over_step,
    share_of_way,
    stage_pass,
    taken,
)
from thinstock.relations.sorption import HEIKKILA, TRYDING
from thinstock.words.constants import ice_point, stefan_boltzmann, water_heat_capacity_sheet

LANES = 32
"""Cases side by side: more fill no more of a processor, fewer leave it idle."""
CASE_ROWS = 9
"""Of a case's numbers, those that the march needs come first, in their own order."""
WALL, STRETCHES = CASE_ROWS, CASE_ROWS + 1
"""Shell temperature; then the stretches, eight rows each."""
LENGTH, H, BETA, AIR_T, AIR_P, PLATE_T, GREY, CP = range(STRETCHES + 24, STRETCHES + 32)
"""The stretch that is marched now: its place in the table does not change, for the compiler's sake."""
ENERGY = STRETCHES + 32
MOIST, WARM, FLUX, DONE, HERE, DS, FIRST, LAST = range(ENERGY + 1, ENERGY + 9)
STAGE_U, STAGE_T, STAGE_K, SHRINK, OPEN, M, TRIED, LOW_M, HIGH_M = range(LAST + 1, LAST + 10)
CONTACT, CONVECTIVE, RADIATIVE, LATENT, SORBED = range(HIGH_M + 1, HIGH_M + 6)
ONE = SORBED + 1
"""Seven rows of what the first stage of a step found."""
SUMS = ONE + 7
"""Six rows of what the march brought so far."""
AHEAD = SUMS + 6
"""Moistures of sheets that stay under the hood for longer."""
ROWS = AHEAD + EXTRA
NODE = 6
"""Rows of a node of the course: place, moisture, temperature, three heats."""


@njit
def place_of(s: Num, i: Num, isotherm: Num) -> Num:
    """What a stage of a lane meets in the stretch that is marched now."""
    return Place(
        s[H * LANES + i], s[BETA * LANES + i], s[AIR_T * LANES + i], s[AIR_P * LANES + i],
        s[PLATE_T * LANES + i], s[GREY * LANES + i] * stefan_boltzmann, s[CP * LANES + i],
        s[P * LANES + i], s[H_DRY * LANES + i], s[H_WET * LANES + i], s[SCALE * LANES + i], isotherm,
        s[WALL * LANES + i],
    )  # fmt: skip


@njit
def begun(s: Num, i: Num) -> Num:
    """What a stage of a lane starts from."""
    return Start(
        s[STAGE_U * LANES + i], s[STAGE_T * LANES + i], s[STAGE_K * LANES + i], s[SHRINK * LANES + i]
    )  # fmt: skip


@njit
def begin_stage(s: Num, i: Num, start: Num, guess: Num) -> None:
    """Write what a stage starts from: moisture, temperature and time, then flux and temperature to try."""
    u, t, a = start
    m, tried = guess
    s[STAGE_U * LANES + i], s[STAGE_T * LANES + i] = u, t
    grammage = s[G * LANES + i]
    s[STAGE_K * LANES + i] = grammage * (s[C_F * LANES + i] + u * water_heat_capacity_sheet) / a
    s[SHRINK * LANES + i] = a / grammage
    m, low, high = bracketed(place_of(s, i, 0.0), begun(s, i), m, tried)
    s[M * LANES + i], s[TRIED * LANES + i] = m, tried
    s[LOW_M * LANES + i], s[HIGH_M * LANES + i] = low, high
    s[OPEN * LANES + i] = 1.0


@njit
def pass_of_lanes(s: Num, tolerance: Num, isotherm: Num) -> Num:
    """One pass of Newton's method in all lanes that have not settled; how many have not."""
    waiting = 0
    for i in range(LANES):
        is_open = s[OPEN * LANES + i] > 0.0
        m, t, low, high, h_c, convective, h_r, latent, sorbed, settled = stage_pass(
            place_of(s, i, isotherm), begun(s, i), s[M * LANES + i], s[TRIED * LANES + i],
            s[LOW_M * LANES + i], s[HIGH_M * LANES + i], tolerance,
        )  # fmt: skip
        s[M * LANES + i] = m if is_open else s[M * LANES + i]
        s[TRIED * LANES + i] = t if is_open else s[TRIED * LANES + i]
        s[LOW_M * LANES + i] = low if is_open else s[LOW_M * LANES + i]
        s[HIGH_M * LANES + i] = high if is_open else s[HIGH_M * LANES + i]
        s[CONTACT * LANES + i] = h_c if is_open else s[CONTACT * LANES + i]
        s[CONVECTIVE * LANES + i] = convective if is_open else s[CONVECTIVE * LANES + i]
        s[RADIATIVE * LANES + i] = h_r if is_open else s[RADIATIVE * LANES + i]
        s[LATENT * LANES + i] = latent if is_open else s[LATENT * LANES + i]
        s[SORBED * LANES + i] = sorbed if is_open else s[SORBED * LANES + i]
        still = is_open and not settled
        s[OPEN * LANES + i] = 1.0 if still else 0.0
        waiting += 1 if still else 0
    return waiting


@njit
def found_in(s: Num, i: Num) -> Num:
    """What the stage of a lane found."""
    return heats(
        place_of(s, i, 0.0), s[M * LANES + i], s[TRIED * LANES + i], s[CONTACT * LANES + i],
        s[CONVECTIVE * LANES + i], s[RADIATIVE * LANES + i], s[LATENT * LANES + i], s[SORBED * LANES + i],
    )  # fmt: skip


@laned
def settle_lanes(s: Num, tolerance: Num, isotherm: Num) -> None:
    """The stages of all lanes, until the slowest has settled."""
    for _ in range(60):
        if isotherm < 0.5:
            waiting = pass_of_lanes(s, tolerance, HEIKKILA)
        else:
            waiting = pass_of_lanes(s, tolerance, TRYDING)
        if waiting == 0:
            break


@laned
def first_stage(s: Num, share: Num) -> None:
    """The first stage of a step to this share of the stretch."""
    for i in range(LANES):
        here = s[LENGTH * LANES + i] * share
        ds = here - s[HERE * LANES + i]
        s[HERE * LANES + i], s[DS * LANES + i] = here, ds
        start = s[MOIST * LANES + i], s[WARM * LANES + i], GAMMA * (ds / s[V * LANES + i])
        begin_stage(s, i, start, (s[FLUX * LANES + i], s[WARM * LANES + i]))


@laned
def second_stage(s: Num) -> None:
    """The second stage of a step, from what the first found."""
    for i in range(LANES):
        one = found_in(s, i)
        for_keeping(s, i, one)
        dt = s[DS * LANES + i] / s[V * LANES + i]
        u, t, energy, a, first, last = half_way(
            s[MOIST * LANES + i], s[WARM * LANES + i], s[ENERGY * LANES + i], dt / s[G * LANES + i], dt,
            s[C_F * LANES + i], one,
        )  # fmt: skip
        s[MOIST * LANES + i], s[ENERGY * LANES + i] = u, energy
        s[FIRST * LANES + i], s[LAST * LANES + i] = first, last
        begin_stage(s, i, (u, t, a), (one.m, one.t))


@njit
def for_keeping(s: Num, i: Num, one: Num) -> None:
    """Write what the first stage of a step found."""
    m, t, contact, convective, radiative, latent, sorbed = one
    s[ONE * LANES + i], s[(ONE + 1) * LANES + i], s[(ONE + 2) * LANES + i] = m, t, contact
    s[(ONE + 3) * LANES + i], s[(ONE + 4) * LANES + i] = convective, radiative
    s[(ONE + 5) * LANES + i], s[(ONE + 6) * LANES + i] = latent, sorbed


@njit
def kept(s: Num, i: Num) -> Num:
    """What the first stage of a step found."""
    return Found(
        s[ONE * LANES + i], s[(ONE + 1) * LANES + i], s[(ONE + 2) * LANES + i], s[(ONE + 3) * LANES + i],
        s[(ONE + 4) * LANES + i], s[(ONE + 5) * LANES + i], s[(ONE + 6) * LANES + i],
    )  # fmt: skip


@laned
def end_of_step(s: Num) -> None:
    """Moisture, energy and temperature behind a step, and what it brought."""
    for i in range(LANES):
        one, two = kept(s, i), found_in(s, i)
        ds, first, last = s[DS * LANES + i], s[FIRST * LANES + i], s[LAST * LANES + i]
        per = ds / s[V * LANES + i] / s[G * LANES + i]
        u = s[MOIST * LANES + i] - last * per * two.m
        energy = s[ENERGY * LANES + i] + last * per * taken(two)
        s[FLUX * LANES + i], s[MOIST * LANES + i], s[ENERGY * LANES + i] = two.m, u, energy
        s[WARM * LANES + i] = ice_point + energy / (s[C_F * LANES + i] + u * water_heat_capacity_sheet)
        a, b, c, d, e, f = over_step(first * ds, one, last * ds, two)
        s[SUMS * LANES + i] += a
        s[(SUMS + 1) * LANES + i] += b
        s[(SUMS + 2) * LANES + i] += c
        s[(SUMS + 3) * LANES + i] += d
        s[(SUMS + 4) * LANES + i] += e
        s[(SUMS + 5) * LANES + i] += f


@laned
def carry_lanes_on(s: Num, tolerance: Num, isotherm: Num) -> None:
    """Moistures of sheets that stay under the hood for longer; state and sums of the march stay as they are."""
    for i in range(LANES):
        s[FIRST * LANES + i], s[LAST * LANES + i] = s[MOIST * LANES + i], s[WARM * LANES + i]
        s[M * LANES + i] = 0.0
    for k in range(EXTRA):
        for i in range(LANES):
            dt = BEYOND * s[LENGTH * LANES + i] / (EXTRA * s[V * LANES + i])
            u, t = s[FIRST * LANES + i], s[LAST * LANES + i]
            begin_stage(s, i, (u, t, dt), (s[M * LANES + i], t))
        settle_lanes(s, tolerance, isotherm)
        for i in range(LANES):
            dt = BEYOND * s[LENGTH * LANES + i] / (EXTRA * s[V * LANES + i])
            u, t = carried(
                s[FIRST * LANES + i], s[LAST * LANES + i], dt / s[G * LANES + i], s[C_F * LANES + i],
                found_in(s, i),
            )  # fmt: skip
            s[FIRST * LANES + i], s[LAST * LANES + i] = u, t
            s[(AHEAD + k) * LANES + i] = u


@laned
def begin_lanes(s: Num) -> None:
    """State and sums where the sheets meet the shell."""
    for i in range(LANES):
        u, t = s[U * LANES + i], s[T * LANES + i]
        s[MOIST * LANES + i], s[WARM * LANES + i] = u, t
        s[ENERGY * LANES + i] = (s[C_F * LANES + i] + u * water_heat_capacity_sheet) * (t - ice_point)
        s[FLUX * LANES + i] = s[DONE * LANES + i] = 0.0
        for f in range(6):
            s[(SUMS + f) * LANES + i] = 0.0


@njit
def note_lanes(s: Num, node: Num, course: Num) -> None:
    """A node of the course of all lanes."""
    for i in range(LANES):
        course[(node * NODE) * LANES + i] = s[DONE * LANES + i] + s[HERE * LANES + i]
        course[(node * NODE + 1) * LANES + i] = s[MOIST * LANES + i]
        course[(node * NODE + 2) * LANES + i] = s[WARM * LANES + i]
        for f in range(3):
            course[(node * NODE + 3 + f) * LANES + i] = s[(SUMS + f) * LANES + i]


@njit
def march_lanes(s: Num, steps: Num, tolerance: Num, isotherm: Num, course: Num) -> None:
    """March all lanes; every stretch is there in all of them or in none. Nodes go into `course` where it has room."""
    begin_lanes(s)
    for i in range(LANES):
        s[HERE * LANES + i] = 0.0
    node = 0
    if course.shape[0] > 0:
        note_lanes(s, 0, course)
    for j in range(3):
        at = (STRETCHES + 8 * j) * LANES
        if s[at] <= 0.0:
            continue
        for i in range(8 * LANES):
            s[LENGTH * LANES + i] = s[at + i]
        for i in range(LANES):
            s[DONE * LANES + i] += s[HERE * LANES + i]
            s[HERE * LANES + i] = 0.0
        for k in range(steps[j]):
            first_stage(s, share_of_way(k, steps[j]))
            settle_lanes(s, tolerance, isotherm)
            second_stage(s)
            settle_lanes(s, tolerance, isotherm)
            end_of_step(s)
            node += 1
            if course.shape[0] > 0:
                note_lanes(s, node, course)
        if j == 1 and course.shape[0] > 0:
            carry_lanes_on(s, tolerance, isotherm)
