"""The compiled core of drying on a Yankee: one stage, the march along the path, the shell's balance.

Written for one case and plain numbers; `yankee` and `dryer` put cases, labels and judgements around it. All
physics comes from the bodies of the labelled formulas. A case is a row of numbers in the order of `CASE`, a
stretch of the path eight numbers in the order of `hood.SEGMENT`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from thinstock.formula.label import Num
from thinstock.kernels.compiled import compiled, innermost, njit
from thinstock.kernels.dryer_input import YankeeInput, row_order
from thinstock.relations import contact_drying, evaporation, sorption, steam
from thinstock.words.constants import ice_point, stefan_boltzmann, vapour_gas_constant, water_heat_capacity_sheet

CASE = row_order(YankeeInput)
U, T, G, V, H_DRY, H_WET, SCALE, P, C_F, ISOTHERM = range(10)
T_STEAM, H_COND, R_SHELL, DIAMETER, BARE, T_ROOM, LOAD = range(10, 17)

FIELDS = (
    "moisture_ratio",
    "sheet_temperature",
    "contact_heat",
    "convective_heat",
    "radiative_heat",
    "evaporation",
    "vapour_enthalpy_flow",
    "desorption_heat",
    "surface_temperature",
    "mean_flux",
)
"""What a balance writes, in order; a march writes the first eight."""

GAMMA = float(1.0 - 1.0 / np.sqrt(2.0))

saturation_pressure = compiled(steam.saturation_pressure_if97)
latent_heat = compiled(steam.latent_heat_fit)
latent_heat_slope = compiled(steam.latent_heat_slope_fit)
contact_coefficient = compiled(contact_drying.contact_coefficient_exponential)
rate_factor = compiled(evaporation.rate_factor)
ackermann = compiled(evaporation.ackermann_factor)
ackermann_slope = compiled(evaporation.ackermann_factor_slope)
mass_conductance = compiled(evaporation.mass_conductance_stefan)
activity_heikkila = compiled(sorption.water_activity_heikkila)
activity_slope_heikkila = compiled(sorption.water_activity_slope_heikkila)
heat_heikkila = compiled(sorption.heat_of_sorption_heikkila)
saturation_tryding = compiled(sorption.fibre_saturation_tryding)
activity_tryding = compiled(sorption.water_activity_tryding)
activity_slope_tryding = compiled(sorption.water_activity_slope_tryding)
heat_tryding = compiled(sorption.heat_of_sorption_tryding)


@njit
def held_water(u: Num, temperature: Num, isotherm: Num) -> Num:
    """Water activity, its slope in moisture, and heat of sorption; free water above the isotherm's reach."""
    if isotherm < 0.5:
        if u > 1.2:
            return 1.0, 0.0, 0.0
        return (
            activity_heikkila(u, temperature),
            activity_slope_heikkila(u, temperature),
            heat_heikkila(u, temperature),
        )
    t = min(max(temperature, 250.0), 450.0)
    if u >= 0.999 * saturation_tryding(t):
        return 1.0, 0.0, 0.0
    return activity_tryding(u, t), activity_slope_tryding(u, t), heat_tryding(u, t)


class Place(NamedTuple):
    """What a stage meets besides the sheet: air and plate of a stretch, pressure, contact, isotherm and shell."""

    h: Num
    beta: Num
    t_air: Num
    p_v: Num
    t_plate: Num
    grey: Num
    cp: Num
    p: Num
    h_dry: Num
    h_wet: Num
    scale: Num
    isotherm: Num
    t_wall: Num


class Start(NamedTuple):
    """Moisture and temperature that a stage starts from, heat capacity per time, moisture that a unit of flux takes."""

    u: Num
    t: Num
    k: Num
    shrink: Num


class Found(NamedTuple):
    """What a stage found: evaporation flux, sheet temperature, heat fluxes, latent heat, heat of sorption."""

    m: Num
    t: Num
    contact: Num
    convective: Num
    radiative: Num
    latent: Num
    sorbed: Num


@njit
def bracketed(place: Num, start: Num, m: Num, t: Num) -> Num:
    """A flux to start from, with the least and most that a stage can have."""
    low = 1.5 * mass_conductance(place.beta, place.p, 0.5 * (t + place.t_air)) * np.log((place.p - place.p_v) / place.p)
    high = start.u / start.shrink
    if m >= high:
        m = 0.9 * high
    if m <= low:
        m = 0.5 * low
    return m, low, high


@njit
def stage_pass(place: Num, start: Num, m: Num, t: Num, low: Num, high: Num, tolerance: Num) -> Num:
    """One pass of Newton's method in a stage: flux, temperature, bracket, what goes with them, whether it ends here."""
    h, beta, t_air, p_v, t_plate, grey, cp, p, h_dry, h_wet, scale, isotherm, t_wall = place
    k, shrink = start.k, start.shrink
    u = start.u - shrink * m
    h_c = contact_coefficient(u, h_dry, h_wet, scale)
    phi = rate_factor(m, cp, h)
    convective = h * ackermann(phi)
    h_r = grey * (t_plate * t_plate + t * t) * (t_plate + t)
    t_inside = min(t, 513.0)
    latent = latent_heat(t_inside)
    fall = latent_heat_slope(t_inside) if t < 513.0 else 0.0
    activity, activity_slope, sorbed = held_water(u, t, isotherm)
    n = k + h_c + convective + h_r + m * fall
    gained = k * start.t + h_c * t_wall + convective * t_air + h_r * t_plate
    t_new = (gained - m * (latent - fall * t + sorbed)) / n
    latent += fall * (t_new - t)
    contact_change = (h_wet - h_c) / scale * shrink * (t_wall - t_new)
    air_change = cp * ackermann_slope(phi) * (t_air - t_new)
    dt_dm = (air_change - latent - sorbed - contact_change) / n
    conductance = mass_conductance(beta, p, 0.5 * (t_new + t_air))
    t_bound = min(max(t_new, 230.0), 620.0)
    p_sat = saturation_pressure(t_bound)
    warmth = 1.0 / (vapour_gas_constant * t_bound * t_bound)
    activity += activity * sorbed * warmth * (t_new - t)
    driving = (p - p_v) * np.exp(-m / conductance)
    residual = activity * p_sat - p + driving
    slope = activity * p_sat * (latent + sorbed) * warmth * dt_dm
    slope -= p_sat * activity_slope * shrink + driving / conductance
    m_new = m - residual / slope
    # near the answer the lagged terms may turn the sign of the residual: leave the bracket alone
    wide = not abs(m_new - m) < 1e-3 * (1e-3 + abs(m))
    low = m if wide and residual > 0.0 else low
    high = m if wide and not residual > 0.0 else high
    m_new = m_new if low <= m_new <= high else 0.5 * (low + high)
    dm, dt = m_new - m, t_new - t
    latent += fall * dt_dm * dm
    settled = abs(dm) <= tolerance * (1e-3 + abs(m_new)) and abs(dt) <= 1e3 * tolerance
    return m_new, t_new + dt_dm * dm, low, high, h_c, convective, h_r, latent, sorbed, settled


@njit
def heats(place: Num, m: Num, t: Num, h_c: Num, convective: Num, h_r: Num, latent: Num, sorbed: Num) -> Num:
    """What a stage found, with coefficients turned into heat fluxes."""
    t_wall, t_air, t_plate = place.t_wall, place.t_air, place.t_plate
    return Found(m, t, h_c * (t_wall - t), convective * (t_air - t), h_r * (t_plate - t), latent, sorbed)


@innermost()
def stage(start: Num, a: Num, m: Num, t: Num, t_wall: Num, c: Num, segment: Num, tolerance: Num) -> Num:
    """One implicit stage from a moisture and temperature: evaporation flux, temperature, heat fluxes.

    The unknown is the evaporation flux m, the rest follows from the stage's balances. The residual is a difference of
    vapour pressures, so boiling needs no special care; Newton's method inside a bracket.
    """
    place = Place(
        segment[1], segment[2], segment[3], segment[4], segment[5], segment[6] * stefan_boltzmann, segment[7],
        c[P], c[H_DRY], c[H_WET], c[SCALE], c[ISOTHERM], t_wall,
    )  # fmt: skip
    u_star, t_star = start
    begun = Start(u_star, t_star, c[G] * (c[C_F] + u_star * water_heat_capacity_sheet) / a, a / c[G])
    m, low, high = bracketed(place, begun, m, t)
    h_c = convective = h_r = latent = sorbed = 0.0
    for _ in range(60):
        m, t, low, high, h_c, convective, h_r, latent, sorbed, settled = stage_pass(
            place, begun, m, t, low, high, tolerance
        )
        if settled:
            break
    return heats(place, m, t, h_c, convective, h_r, latent, sorbed)


@njit
def taken(found: Num) -> Num:
    """Heat that a sheet keeps of what a stage brought."""
    vapour = water_heat_capacity_sheet * (found.t - ice_point) + found.latent
    return found.contact + found.convective + found.radiative - found.m * (vapour + found.sorbed)


@njit
def half_way(u: Num, t: Num, energy: Num, per: Num, dt: Num, c_f: Num, one: Num) -> Num:
    """Where the second stage of a step starts (moisture, temperature, energy), its time, and how the two count.

    Where the first took nearly all the water the step is made in one implicit stage instead.
    """
    u_star = u - (1.0 - GAMMA) * per * one.m
    if u_star < 0.1 * u:
        return u, t, energy, dt, 0.0, 1.0
    e_star = energy + (1.0 - GAMMA) * per * taken(one)
    t_star = ice_point + e_star / (c_f + u_star * water_heat_capacity_sheet)
    return u_star, t_star, e_star, GAMMA * dt, 1.0 - GAMMA, GAMMA


@njit
def over_step(first: Num, one: Num, last: Num, two: Num) -> Num:
    """What the two stages of a step brought: heats, evaporation, its enthalpy, heat of sorption."""
    vapour1 = water_heat_capacity_sheet * (one.t - ice_point) + one.latent
    vapour2 = water_heat_capacity_sheet * (two.t - ice_point) + two.latent
    return (
        first * one.contact + last * two.contact,
        first * one.convective + last * two.convective,
        first * one.radiative + last * two.radiative,
        first * one.m + last * two.m,
        first * one.m * vapour1 + last * two.m * vapour2,
        first * one.m * one.sorbed + last * two.m * two.sorbed,
    )


@njit
def share_of_way(i: Num, steps: Num) -> Num:
    """Share of a stretch behind a step: steps are short at both its ends."""
    z = (i + 1.0) / steps
    return z - np.sin(2.0 * np.pi * z) / (4.0 * np.pi) if i + 1 < steps else 1.0


@innermost(5)
def march(c: Num, t_wall: Num, segments: Num, steps: Num, tolerance: Num, out: Num, record: Num) -> None:
    """March a sheet along the path; writes the first eight of `FIELDS`, and nodes into `record`."""
    u, t = c[U], c[T]
    grammage, speed = c[G], c[V]
    energy = (c[C_F] + u * water_heat_capacity_sheet) * (t - ice_point)
    m = 0.0
    done = 0.0
    node = 0
    for i in range(2, 8):
        out[i] = 0.0
    if record.shape[0] > 0:
        record[0, 0], record[0, 1], record[0, 2] = 0.0, u, t
        record[0, 3:] = 0.0
    for j in range(len(segments)):
        segment = segments[j]
        length = segment[0]
        if length <= 0.0:
            continue
        before = 0.0
        for i in range(steps[j]):
            here = length * share_of_way(i, steps[j])
            ds = here - before
            before = here
            dt = ds / speed
            per = dt / grammage
            one = stage((u, t), GAMMA * dt, m, t, t_wall, c, segment, tolerance)
            u, t, energy, a, first, last = half_way(u, t, energy, per, dt, c[C_F], one)
            two = stage((u, t), a, one.m, one.t, t_wall, c, segment, tolerance)
            m = two.m
            u = u - last * per * m
            energy = energy + last * per * taken(two)
            t = ice_point + energy / (c[C_F] + u * water_heat_capacity_sheet)
            brought = over_step(first * ds, one, last * ds, two)
            for f in range(6):
                out[2 + f] += brought[f]
            node += 1
            if record.shape[0] > 0:
                record[node, 0], record[node, 1], record[node, 2] = done + here, u, t
                for f in range(2, 8):
                    record[node, f + 1] = out[f]
        done += length
    out[0], out[1] = u, t


@njit
def path_length(segments: Num) -> Num:
    """Length of the path over all stretches."""
    total = 0.0
    for j in range(segments.shape[0]):
        total += segments[j, 0]
    return total


@njit
def wall_start(c: Num, covered: Num) -> Num:
    """A first guess of the shell's surface temperature."""
    circumference = np.pi * c[DIAMETER]
    resistance = 1.0 / c[H_COND] + c[R_SHELL]
    k = (0.4 * c[H_DRY] + 0.6 * c[H_WET]) * covered / circumference * resistance
    return (c[T_STEAM] + 361.0 * k) / (1.0 + k)


@njit
def wall_flux(c: Num, t_wall: Num, covered: Num, contact_heat: Num) -> Num:
    """Heat flux through the shell averaged over the circumference."""
    circumference = np.pi * c[DIAMETER]
    bare = c[BARE] * (t_wall - c[T_ROOM]) * (circumference - covered)
    return (contact_heat + bare + c[LOAD]) / circumference


@njit
def wall_slope(c: Num, t_wall: Num, contact_heat: Num) -> Num:
    """First guess at how the shell's residual falls with its temperature."""
    resistance = 1.0 / c[H_COND] + c[R_SHELL]
    return -(1.0 + 0.85 * resistance * abs(contact_heat) / (np.pi * c[DIAMETER] * max(t_wall - 361.0, 10.0)))


@njit
def balance(c: Num, t_start: Num, segments: Num, steps: Num, tolerance: Num, out: Num, record: Num) -> Num:
    """Shell temperature that agrees with the mean flux; writes all of `FIELDS`; True when it settled.

    `t_start` 0 starts from a guess. A jump of the flux in over-dried cases is accepted within 0.05 K.
    """
    covered = path_length(segments)
    resistance = 1.0 / c[H_COND] + c[R_SHELL]
    floor, ceiling = c[T_ROOM], c[T_STEAM] + 300.0
    t = t_start if t_start > 0.0 else wall_start(c, covered)
    wanted = max(1e-5, 100.0 * tolerance)
    t_old = f_old = slope = 0.0
    settled = False
    for i in range(40):
        march(c, t, segments, steps, tolerance, out, record)
        flux = wall_flux(c, t, covered, out[2])
        f = c[T_STEAM] - flux * resistance - t
        if f > 0.0:
            floor = max(floor, t)
        else:
            ceiling = min(ceiling, t)
        out[8], out[9] = t, flux
        if i == 0:
            slope = wall_slope(c, t, out[2])
        elif abs(t - t_old) > 1e-9:
            slope = (f - f_old) / (t - t_old)
        step = -f / slope
        settled = abs(step) <= wanted or (i > 12 and ceiling - floor <= 0.05)
        if settled:
            break
        t_old, f_old = t, f
        t = t + step
        if not floor < t < ceiling:
            t = 0.5 * (floor + ceiling)
    return settled and np.isfinite(out[0]) and np.isfinite(out[1])


@njit
def between(a: Num, fa: Num, b: Num, fb: Num) -> Num:
    """Where the straight line through two points crosses zero; the middle if it does so outside them."""
    x = b - fb * (b - a) / (fb - fa)
    if not min(a, b) < x < max(a, b):
        x = 0.5 * (a + b)
    return x


@njit
def narrow(a: Num, fa: Num, b: Num, fb: Num, x: Num, fx: Num) -> Num:
    """Anderson and Björck's false position: the new end points after a value between the old ones."""
    if (fx > 0.0) != (fb > 0.0):
        return b, fb, x, fx
    factor = 1.0 - fx / fb
    return a, fa * (factor if factor > 0.0 else 0.5), x, fx
