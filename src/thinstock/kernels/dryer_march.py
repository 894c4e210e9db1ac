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
from thinstock.kernels.dryer_spots import EVEN, EXTRA, along_course, carry_on, dry_spots, under_hood
from thinstock.kernels.yankee_march import (
    CASE,
    H_COND,
    R_SHELL,
    T_STEAM,
    march,
    path_length,
    wall_flux,
    wall_start,
)
from thinstock.relations import gas_side, hood, humid_air, impingement, pumping, steam
from thinstock.relations.hood import HoodDuty

ROW = row_order(DryerInput)
PRESSURE, ROOM = ROW.index("atmospheric_pressure"), ROW.index("room_temperature")
SPEED = ROW.index("yankee_speed")
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
    inverse: Num
    """How the unknowns answer to what they lack, as far as it is learnt."""
    out: Num
    record: Num
    """Nodes of the mean sheet's march; without rows where nothing asks for them."""
    followed: Num
    """Steps of the hood over which its heat is followed to find what the open stretch before it is worth."""


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
    duty = HoodDuty(
        out[_EVAPORATION], out[_VAPOUR], sheet_heat, j, d[AIR], d[EXHAUST_X], d[LEAKAGE], fresh, d[FRESH_X],
        d[ROOM], d[ROOM_X], loss, fan_heat, d[LHV], burnt,
    )  # fmt: skip
    return hood_balance(duty)


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
def end_of_hood(w: Case) -> Num:
    """The node of the mean sheet's march at which it leaves the hood."""
    return w.record[(w.steps[0] if w.segments[0, 0] > 0.0 else 0) + w.steps[1]]


@njit
def uneven_sheet(w: Case, t: Num, beyond: Num) -> None:
    """Put the reel's moisture and heats of an uneven sheet in place of the mean sheet's just marched."""
    spots = w.out[U_LIGHT : U_HEAVY + 1]
    spots[:] = w.out[_U]
    v = w.d[UNEVEN]
    if v < EVEN:
        return
    if w.record.shape[0] > 0:
        x, u, lead = under_hood(w.segments, w.steps, w.record, beyond, w.followed)
        along_course(w.c, x, u, lead, v, w.out, spots)
    else:
        dry_spots(w.c, t, w.segments, w.tolerance, v, w.out, spots)


@njit
def one_pass(w: Case, t: Num, x: Num) -> Num:
    """March once at a shell temperature and jet humidity: what the first lacks, and the new humidity."""
    if w.d[LENGTH] > 0.0:
        set_hood(w.d, x, w.segments)
    march(w.c, t, w.segments, w.steps, w.tolerance, w.out, w.record)
    beyond = np.empty(EXTRA)
    if w.record.shape[0] > 0:
        carry_on(w.c, t, w.segments[1], w.tolerance, end_of_hood(w), beyond)
    return behind_march(w, t, x, beyond)


@njit
def behind_march(w: Case, t: Num, x: Num, beyond: Num) -> Num:
    """What a march leaves to do: uneven sheet, shell and hood; `beyond`: moistures if it stayed under the hood."""
    uneven_sheet(w, t, beyond)
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
