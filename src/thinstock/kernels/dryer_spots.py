"""The compiled uneven sheet: spots of unlike grammage dried by the same shell and jets, summed up to the reel.

`dry_spots` marches five spots: for a single run. `along_course` reads them off the mean sheet's own course, since a
lighter spot is only further on: for sweeps, some thousandths of dryness too wet. Both write the reel's moisture,
heats and evaporation in place of the mean sheet's; they close as those do.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num
from thinstock.kernels.compiled import compiled, njit
from thinstock.kernels.yankee_march import C_F, T, U, V, between, march, narrow, stage, taken
from thinstock.kernels.yankee_march import G as GRAMMAGE
from thinstock.relations import uneven
from thinstock.words.constants import ice_point, water_heat_capacity_sheet

EVEN = 1e-9
"""Variance below which a sheet is dried as an even one."""
NODES = (-1.6, -0.7, 0.0, 0.7, 1.6)
"""Scores of the spots; the middle one is the mean sheet, not the median spot."""
LOOSE = 1e-6
"""Tolerance of a spot's march: what is added is a difference of two such."""
COARSE = (2, 12, 2)
"""Steps of a spot's march: open, hood, open."""
EXTRA, BEYOND = 4, 0.35
"""Steps and length (of the hood's) by which the mean sheet's course is carried on under the hood."""
SCORE, WEIGHT = uneven.normal_scores()
_NODES = np.array(NODES)
_COARSE = np.array(COARSE)

local_grammage = compiled(uneven.local_grammage)
closing_weights = compiled(uneven.closing_weights)


@njit
def end_slope(h: Num, h_next: Num, d: Num, d_next: Num) -> Num:
    """Three-point slope at an end that does not overshoot."""
    slope = ((2.0 * h + h_next) * d - h * d_next) / (h + h_next)
    if slope * d <= 0.0:
        return 0.0
    if d * d_next <= 0.0 and abs(slope) > 3.0 * abs(d):
        return 3.0 * d
    return slope


@njit
def node_slopes(x: Num, y: Num) -> Num:
    """Slopes of the monotone cubic at three nodes or more."""
    n = x.shape[0]
    slope = np.zeros(n)
    for i in range(1, n - 1):
        h, h_next = x[i] - x[i - 1], x[i + 1] - x[i]
        d, d_next = (y[i] - y[i - 1]) / h, (y[i + 1] - y[i]) / h_next
        if d * d_next > 0.0:
            near, far = 2.0 * h_next + h, h_next + 2.0 * h
            slope[i] = (near + far) / (near / d + far / d_next)
    h, h_next = x[1] - x[0], x[2] - x[1]
    slope[0] = end_slope(h, h_next, (y[1] - y[0]) / h, (y[2] - y[1]) / h_next)
    h, h_next = x[n - 1] - x[n - 2], x[n - 2] - x[n - 3]
    slope[n - 1] = end_slope(h, h_next, (y[n - 1] - y[n - 2]) / h, (y[n - 2] - y[n - 3]) / h_next)
    return slope


@njit
def cubic_at(x: Num, y: Num, slope: Num, at: Num) -> Num:
    """The monotone cubic between the nodes, straight beyond the ends, not below 0."""
    n = x.shape[0]
    inside = min(max(at, x[0]), x[n - 1])
    k = 0
    while k < n - 2 and inside >= x[k + 1]:
        k += 1
    h = x[k + 1] - x[k]
    t = (inside - x[k]) / h
    s = 1.0 - t
    found = s * s * (1.0 + 2.0 * t) * y[k] + t * t * (3.0 - 2.0 * t) * y[k + 1]
    found += h * t * s * (s * slope[k] - t * slope[k + 1])
    found += (slope[0] if at < inside else slope[n - 1]) * (at - inside)
    return max(found, 0.0)


@njit
def moisture_of_reel(variance: Num, g: Num, u: Num) -> Num:
    """Total water over total fibre of a sheet whose spots have these moistures; as `moisture_ratio_uneven`."""
    slope = node_slopes(g, u)
    water = fibre = 0.0
    for i in range(SCORE.shape[0]):
        here = local_grammage(SCORE[i], variance)
        water += WEIGHT[i] * here * cubic_at(g, u, slope, here)
        fibre += WEIGHT[i] * here
    return water / fibre


@njit
def warm_reel(c: Num, out: Num) -> None:
    """Temperature of the sheet at the reel from what it came with, took up and gave off."""
    energy = (c[C_F] + c[U] * water_heat_capacity_sheet) * (c[T] - ice_point)
    energy += (out[2] + out[3] + out[4] - out[6] - out[7]) / (c[GRAMMAGE] * c[V])
    out[1] = ice_point + energy / (c[C_F] + out[0] * water_heat_capacity_sheet)


@njit
def dry_spots(c: Num, t_wall: Num, segments: Num, tolerance: Num, variance: Num, out: Num, spots: Num) -> None:
    """Five spots marched with few steps; what they differ from the mean spot is added to the mean sheet."""
    one, none = c.copy(), np.empty((0, 9))
    g, results = np.empty(5), np.empty((5, 8))
    for k in range(5):
        g[k] = 1.0 if k == 2 else local_grammage(_NODES[k], variance)
        one[GRAMMAGE] = g[k] * c[GRAMMAGE]
        march(one, t_wall, segments, _COARSE, max(tolerance, LOOSE), results[k], none)
    u = results[:, 0].copy()
    reel = moisture_of_reel(variance, g, u)
    light, heavy = closing_weights(variance, g[0], g[4], u[0], u[2], u[4], reel)
    spots[:] = u
    spots[2] = out[0]
    out[0] += light * (g[0] * u[0] - u[2]) + heavy * (g[4] * u[4] - u[2])
    for i in range(2, 8):
        out[i] += light * (results[0, i] - results[2, i]) + heavy * (results[4, i] - results[2, i])
    warm_reel(c, out)


@njit
def where_moisture(x: Num, y: Num, slope: Num, wanted: Num) -> Num:
    """Where a falling course reaches a moisture; an end where it does not."""
    n = x.shape[0]
    if wanted >= y[0]:
        return x[0]
    if wanted <= y[n - 1]:
        return x[n - 1]
    k = 0
    while y[k + 1] > wanted:
        k += 1
    a, fa, b, fb = x[k], y[k] - wanted, x[k + 1], y[k + 1] - wanted
    at = b
    for _ in range(40):
        if fb == 0.0 or abs(fb) <= 1e-13 * wanted:
            break
        at = between(a, fa, b, fb)
        a, fa, b, fb = narrow(a, fa, b, fb, at, cubic_at(x, y, slope, at) - wanted)
    return at


@njit
def carried(u: Num, t: Num, per: Num, c_f: Num, found: Num) -> Num:
    """Moisture and temperature behind a fully implicit step."""
    warm = c_f + u * water_heat_capacity_sheet
    dryer = u - per * found.m
    return dryer, ice_point + (warm * (t - ice_point) + per * taken(found)) / (c_f + dryer * water_heat_capacity_sheet)


@njit
def carry_on(c: Num, t_wall: Num, segment: Num, tolerance: Num, node: Num, beyond: Num) -> None:
    """Moistures of a sheet that stays under the hood for longer, in fully implicit steps: these never jump."""
    dt = BEYOND * segment[0] / (EXTRA * c[V])
    u, t, m = node[1], node[2], 0.0
    for i in range(EXTRA):
        found = stage((u, t), dt, m, t, t_wall, c, segment, tolerance)
        m = found.m
        u, t = carried(u, t, dt / c[GRAMMAGE], c[C_F], found)
        beyond[i] = u


@njit
def under_hood(segments: Num, steps: Num, record: Num, beyond: Num, followed: Num) -> Num:
    """The mean sheet's course by its way under the hood, carried on beyond its end; and the lead of the open stretch.

    The lead is the length under the hood that heats as much as the open stretch before it: the heat is followed over so
    many steps of the hood, and taken to go on as in their mean. A start does with one; what stays would hang on how
    long that step is.
    """
    first = steps[0] if segments[0, 0] > 0.0 else 0
    before, covered = max(segments[0, 0], 0.0), segments[1, 0]
    x, u = np.empty(steps[1] + 1 + EXTRA), np.empty(steps[1] + 1 + EXTRA)
    for i in range(steps[1] + 1):
        x[i], u[i] = record[first + i, 0] - before, record[first + i, 1]
    for i in range(1, EXTRA + 1):
        x[steps[1] + i], u[steps[1] + i] = covered * (1.0 + BEYOND * i / EXTRA), beyond[i - 1]
    opened = record[first, 3] + record[first, 4] + record[first, 5]
    left, lead = opened, 0.0
    for i in range(first, first + followed):
        gained = record[i + 1, 3] + record[i + 1, 4] + record[i + 1, 5] - record[i, 3] - record[i, 4] - record[i, 5]
        share = min(left / gained, 1.0) if gained > 0.0 else 1.0
        lead += share * (record[i + 1, 0] - record[i, 0])
        left -= share * gained
    if left > 0.0:
        last = first + followed
        lead += left * x[followed] / (record[last, 3] + record[last, 4] + record[last, 5] - opened)
    return x, u, lead


@njit
def along_course(c: Num, x: Num, u: Num, lead: Num, variance: Num, out: Num, spots: Num) -> None:
    """The spots read off the mean sheet's course; heats follow the water."""
    slope = node_slopes(x, u)
    mean = out[0]
    end = where_moisture(x, u, slope, mean)
    water = fibre = 0.0
    for i in range(SCORE.shape[0] + _NODES.shape[0]):
        inner = i - SCORE.shape[0]
        g = local_grammage(SCORE[i] if inner < 0 else _NODES[inner], variance)
        at = min(max(end / g + lead * (1.0 / g - 1.0), x[0]), x[-1])
        here = cubic_at(x, u, slope, at)
        if inner >= 0:
            spots[inner] = here
        else:
            water += WEIGHT[i] * g * here
            fibre += WEIGHT[i] * g
    spots[2] = mean
    out[0] = water / fibre
    if abs(c[U] - mean) > 1e-12:
        for i in range(2, 8):
            out[i] *= (c[U] - out[0]) / (c[U] - mean)
    warm_reel(c, out)
