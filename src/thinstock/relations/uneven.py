"""The uneven sheet in the dryer: each spot dries by its own grammage, and the reel sees the mean.

Light spots cannot be drier than dry, so they do not give back what heavy spots lack: an uneven sheet is always
wetter at the reel than an even one of the same mean grammage. Spots enter equally dry and keep their own water:
with both, the unevenness found is an upper end.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from thinstock.formula.bell import above
from thinstock.formula.label import Array, Num, derived, relation
from thinstock.words.constants import vapour_gas_constant

SCORES = 24
"""Scores at which the gamma law of grammage is summed up."""
_LEAST = 1e-30
_LEAST_BRACKET = 1e-12
_HALVINGS = 50
_WIDEST = (1e-3, 6.0)


@lru_cache(maxsize=1)
def normal_scores() -> tuple[Array, Array]:
    """Standard normal scores and their weights, which add up to 1."""
    score, weight = np.polynomial.hermite_e.hermegauss(SCORES)
    return score, weight / weight.sum()


@relation(
    "relative_grammage = (1 - uneven_variance/9 + score*sqrt(uneven_variance)/3)**3",
    source="WILSON_HILFERTY_1931",
    where="gamma law of mean 1 by the cube of a normal law",
    status="from memory",
)
def local_grammage(score: Num, uneven_variance: Num) -> Num:
    """Local grammage over mean grammage of a spot, by how rare it is.

    Picture: the heavy and the light cloud of one sheet. Use for: variances up to about 0.09, where mean and
    variance come out within 0.0001 % and 4 %. Not for: 0.25 and above, where a far spot would have no grammage.
    In print: the cube root of a gamma law is nearly normal. Made from: that approximation.
    """
    return (1.0 - uneven_variance / 9.0 + score * np.sqrt(uneven_variance) / 3.0) ** 3


@relation(
    "score = 3*(relative_grammage**(1/3) - 1 + uneven_variance/9)/sqrt(max(uneven_variance, 1e-30))",
    source="WILSON_HILFERTY_1931",
    where="inverse of `local_grammage`",
    status="from memory",
)
def local_score(relative_grammage: Num, uneven_variance: Num) -> Num:
    """How rare a spot of a given local grammage is, as a standard normal score.

    Picture: the place of a spot in a line from the lightest to the heaviest. Use for: shares of the area. Not
    for: variances of 0.25 and above. In print: as `local_grammage`. Made from: its inverse.
    """
    return (
        3.0 * (np.cbrt(relative_grammage) - 1.0 + uneven_variance / 9.0) / np.sqrt(np.maximum(uneven_variance, _LEAST))
    )


@derived(
    """
    score = local_score(relative_grammage, uneven_variance)
    area_share_above = (1 - erf(score/sqrt(2)))/2
    """,
    where="upper tail of the normal law",
)
def area_share_above(relative_grammage: Num, uneven_variance: Num) -> Num:
    """Share of the area whose local grammage is above a given one.

    Picture: how much of the reel is heavier, and so wetter, than that. Use for: moisture at the reel, with the
    grammage at which a moisture is reached. Not for: stripes across the machine. In print: nowhere. Made from:
    the gamma law of `local_grammage`.
    """
    return above(local_score(relative_grammage, uneven_variance))


def _slopes(g: Array, u: Array) -> Array:
    """Slopes at the nodes (last axis): weighted harmonic means, and three-point ends that do not overshoot."""
    h = np.diff(g, axis=-1)
    d = np.diff(u, axis=-1) / h
    if g.shape[-1] == 2:
        return np.concatenate([d, d], axis=-1)
    near, far = 2.0 * h[..., 1:] + h[..., :-1], h[..., 1:] + 2.0 * h[..., :-1]
    left, right = d[..., :-1], d[..., 1:]
    same = left * right > 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        inner = np.where(same, (near + far) / (near / left + far / right), 0.0)
    first = _end_slope(h[..., 0], h[..., 1], d[..., 0], d[..., 1])
    last = _end_slope(h[..., -1], h[..., -2], d[..., -1], d[..., -2])
    return np.concatenate([first[..., None], inner, last[..., None]], axis=-1)


def _end_slope(h: Array, h_next: Array, d: Array, d_next: Array) -> Array:
    slope = ((2.0 * h + h_next) * d - h * d_next) / (h + h_next)
    slope = np.where(slope * d <= 0.0, 0.0, slope)
    limited: Array = np.where((d * d_next <= 0.0) & (np.abs(slope) > 3.0 * np.abs(d)), 3.0 * d, slope)
    return limited


def _course(g: Array, u: Array, slope: Array, x: Array) -> Array:
    """Moisture at the grammages x (last axis) by the monotone cubic, straight beyond the ends, not below 0."""
    lead = np.broadcast_shapes(g.shape[:-1], u.shape[:-1], x.shape[:-1])
    nodes = (*lead, g.shape[-1])
    g, u, slope = (np.broadcast_to(part, nodes) for part in (g, u, slope))
    x = np.broadcast_to(x, (*lead, x.shape[-1]))
    inside = np.clip(x, g[..., :1], g[..., -1:])
    k = np.sum(inside[..., None] >= g[..., None, 1:-1], axis=-1)

    def at(part: Array, i: NDArray[np.intp]) -> Array:
        return np.take_along_axis(part, i, axis=-1)

    g0, u0, u1 = at(g, k), at(u, k), at(u, k + 1)
    h = at(g, k + 1) - g0
    t = (inside - g0) / h
    s = 1.0 - t
    cubic = s * s * (1.0 + 2.0 * t) * u0 + t * t * (3.0 - 2.0 * t) * u1
    cubic = cubic + h * t * s * (s * at(slope, k) - t * at(slope, k + 1))
    beyond = x - inside
    straight = np.where(beyond < 0.0, slope[..., :1], slope[..., -1:]) * beyond
    return np.maximum(cubic + straight, 0.0)


@relation(
    """
    moisture_ratio_reel = sum of weight*g*u(g) over 24 Gauss-Hermite scores / sum of weight*g,
    g = local_grammage(score, uneven_variance), u(g) through the nodes by a monotone cubic
    """,
    gives="moisture_ratio_reel",
    kind="march",
    source="FRITSCH_CARLSON_1980",
    where="harmonic-mean slopes, three-point ends, straight beyond the ends, not below 0",
    status="derived",
)
def moisture_ratio_uneven(uneven_variance: Num, relative_grammage: Num, moisture_ratio: Num) -> Num:
    """Moisture ratio at the reel of a sheet whose spots were dried one by one: total water over total fibre.

    Picture: the mean of a hinge lies above the hinge at the mean. Use for: three to five spots from about 1.6
    deviations below to 1.6 above the mean, grammages rising on the last axis. (relative_grammage,
    moisture_ratio: spots on the last axis; uneven_variance has the shape of the result.) Not for: one spot. In
    print: the cubic only. Made from: quadrature over the law of `local_grammage`.
    """
    score, weight = normal_scores()
    g, u = np.asarray(relative_grammage, dtype=float), np.asarray(moisture_ratio, dtype=float)
    spots = local_grammage(score, np.asarray(uneven_variance, dtype=float)[..., None])
    wet = _course(g, u, _slopes(*np.broadcast_arrays(g, u)), spots)
    return (np.sum(weight * spots * wet, axis=-1) / np.sum(weight * spots, axis=-1))[()]


@relation(
    "moisture_ratio_sought = u(relative_grammage), u(g) as in moisture_ratio_uneven, by halving",
    gives="relative_grammage",
    kind="march",
    source="FRITSCH_CARLSON_1980",
    where="harmonic-mean slopes, three-point ends, straight beyond the ends, not below 0",
    status="derived",
)
def relative_grammage_at_moisture(moisture_ratio_sought: Num, relative_grammage: Num, moisture_ratio: Num) -> Num:
    """Local grammage over mean grammage of the spot that leaves the dryer with a given moisture ratio.

    Picture: all that is heavier is wetter. Use for: `area_share_above`, the share of the reel above a moisture.
    (relative_grammage, moisture_ratio: spots on the last axis, moisture rising with grammage.) Not for: moisture
    that falls with grammage. In print: nowhere. Made from: the course of `moisture_ratio_uneven`, halved between
    0.001 and 6.
    """
    g, u = np.broadcast_arrays(np.asarray(relative_grammage, dtype=float), np.asarray(moisture_ratio, dtype=float))
    slope, sought = _slopes(g, u), np.asarray(moisture_ratio_sought, dtype=float)
    lead = np.broadcast_shapes(sought.shape, g.shape[:-1])
    sought, nodes = np.broadcast_to(sought, lead), (*lead, g.shape[-1])
    g, u, slope = (np.broadcast_to(part, nodes) for part in (g, u, slope))
    k = np.sum(u[..., 1:-1] < sought[..., None], axis=-1, keepdims=True)
    g0, u0, s0 = (_node(part, k) for part in (g, u, slope))
    g1, u1, s1 = (_node(part, k + 1) for part in (g, u, slope))
    h = g1 - g0
    rise = (u0 - sought, h * s0, 3.0 * (u1 - u0) - h * (2.0 * s0 + s1), h * (s0 + s1) - 2.0 * (u1 - u0))
    inside = g0 + h * _first_root(*rise)
    with np.errstate(divide="ignore", invalid="ignore"):
        below = np.where(slope[..., 0] > 0.0, g[..., 0] - (u[..., 0] - sought) / slope[..., 0], _WIDEST[0])
        above = np.where(slope[..., -1] > 0.0, g[..., -1] + (sought - u[..., -1]) / slope[..., -1], _WIDEST[1])
    found = np.where(sought <= u[..., 0], below, np.where(sought >= u[..., -1], above, inside))
    return np.where(sought <= 0.0, _WIDEST[0], np.clip(found, *_WIDEST))[()]


def _node(part: Array, k: NDArray[np.intp]) -> Array:
    """The k-th node of each row."""
    return part[k[0]] if part.ndim == 1 else np.take_along_axis(part, k, axis=-1)[..., 0]


def _first_root(p0: Array, p1: Array, p2: Array, p3: Array) -> Array:
    """Where a rising cubic p0 + p1 t + p2 t² + p3 t³ crosses zero between 0 and 1, by halving."""
    if p0.size == 1:
        a, b, c, d = (float(p.ravel()[0]) for p in (p0, p1, p2, p3))
        lowest, highest = 0.0, 1.0
        for _ in range(_HALVINGS):
            t = 0.5 * (lowest + highest)
            lowest, highest = (lowest, t) if a + t * (b + t * (c + t * d)) >= 0.0 else (t, highest)
        return np.full(p0.shape, 0.5 * (lowest + highest))
    low, high = np.zeros(p0.shape), np.ones(p0.shape)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        over = p0 + middle * (p1 + middle * (p2 + middle * p3)) >= 0.0
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return 0.5 * (low + high)


class SpotWeights(NamedTuple):
    """Shares of the area that the light and the heavy spot stand for; the rest is the mean spot's."""

    weight_light: Num
    weight_heavy: Num


@derived(
    """
    a = relative_grammage_light - 1
    b = relative_grammage_heavy - 1
    moment = uneven_variance/(-a*b*(b - a))
    heavy = (1 + b)*moisture_ratio_heavy - moisture_ratio_mean
    bracket = b*((1 + a)*moisture_ratio_light - moisture_ratio_mean) - a*heavy
    wanted = where(bracket < 1e-12, moment, (moisture_ratio_reel - moisture_ratio_mean)/max(bracket, 1e-12))
    size = min(max(wanted, 0.3*moment), 2*moment)
    weight_light = size*b
    weight_heavy = -size*a
    """,
    gives=("weight_light", "weight_heavy"),
    where="mean grammage and moisture at the reel kept",
)
def closing_weights(
    uneven_variance: Num,
    relative_grammage_light: Num,
    relative_grammage_heavy: Num,
    moisture_ratio_light: Num,
    moisture_ratio_mean: Num,
    moisture_ratio_heavy: Num,
    moisture_ratio_reel: Num,
) -> SpotWeights:
    """Shares of the area for which three spots give the moisture at the reel, so that all heats close with it.

    Picture: a sheet of three kinds of patches that holds the same water as the real one. Use for: summing up
    heats, evaporation and vapour of three marches. Not for: shares of the area at a moisture. In print: nowhere.
    Made from: the weights keep the mean grammage and the water; held between 0.3 and 2 times what the variance
    alone asks, and there the water is that of the weights.
    """
    a, b = relative_grammage_light - 1.0, relative_grammage_heavy - 1.0
    moment = uneven_variance / (-a * b * (b - a))
    light = (1.0 + a) * moisture_ratio_light - moisture_ratio_mean
    heavy = (1.0 + b) * moisture_ratio_heavy - moisture_ratio_mean
    bracket = b * light - a * heavy
    wanted = (moisture_ratio_reel - moisture_ratio_mean) / np.maximum(bracket, _LEAST_BRACKET)
    wanted = np.where(np.less(bracket, _LEAST_BRACKET), moment, wanted)
    size = np.minimum(np.maximum(wanted, 0.3 * moment), 2.0 * moment)
    return SpotWeights(size * b, -size * a)


@derived(
    "moisture_ratio_reel = moisture_ratio + uneven_variance*(moisture_slope + moisture_curvature/2)",
    where="second order in the local grammage",
)
def moisture_ratio_uneven_second_order(
    moisture_ratio: Num, moisture_slope: Num, moisture_curvature: Num, uneven_variance: Num
) -> Num:
    """Moisture ratio at the reel from that of the mean spot and how it bends with grammage.

    Picture: the bend of the hinge is what an uneven sheet pays. Use for: showing the cause, up to 10 % coefficient
    of variation. Not for: the dryer's own numbers. In print: nowhere. Made from: mean of g u(g) to second order;
    slope and curvature by relative grammage.
    """
    return moisture_ratio + uneven_variance * (moisture_slope + 0.5 * moisture_curvature)


@derived(
    """
    across = grammage_cv_across**2 + (moisture_deviation_in/(moisture_ratio_in - moisture_ratio_out))**2
    uneven_variance = variance_zone + across
    """,
    where="independent parts; more water is more load, as more grammage is",
)
def uneven_variance_total(
    variance_zone: Num,
    grammage_cv_across: Num,
    moisture_deviation_in: Num,
    moisture_ratio_in: Num,
    moisture_ratio_out: Num,
) -> Num:
    """Variance of the drying load over the sheet: clouds, and profiles across the machine.

    Picture: small clouds and a wide profile wet the reel alike. Use for: the dryer. Not for: evening out by
    profiling steam or air. In print: nowhere. Made from: variances of independent parts; extra water counts as
    extra grammage that takes as long to dry.
    """
    across = grammage_cv_across**2 + (moisture_deviation_in / (moisture_ratio_in - moisture_ratio_out)) ** 2
    return variance_zone + across


@derived(
    """
    vapour = pore_factor*diffusivity*saturation_pressure*activity_slope/(vapour_gas_constant*temperature)
    lateral_diffusivity = vapour*thickness/grammage
    """,
    where="vapour in the pores, in step with the fibre beside it",
)
def lateral_diffusivity_vapour(
    pore_factor: Num,
    diffusivity: Num,
    saturation_pressure: Num,
    temperature: Num,
    activity_slope: Num,
    thickness: Num,
    grammage: Num,
) -> Num:
    """Diffusivity with which moisture evens out along the sheet through the vapour in its pores.

    Picture: wet spots steam into dry neighbours. Use for: the size of spots that still dry apart. Not for: free
    water, which moves by capillaries. In print: nowhere. Made from: Fick's law with the slope of the isotherm.
    """
    vapour = pore_factor * diffusivity * saturation_pressure * activity_slope / (vapour_gas_constant * temperature)
    return vapour * thickness / grammage


@derived("equalisation_zone = sqrt(24*lateral_diffusivity*elapsed)", where="square with the second moment of the smear")
def equalisation_zone(lateral_diffusivity: Num, elapsed: Num) -> Num:
    """Side of the square over which moisture has evened out in a time.

    Picture: how far a drop has spread. Use for: the zone that counts in the dryer; elapsed is the time in which
    spots differ. Not for: a sharp border. In print: nowhere. Made from: the square and the smear have the same
    second moment, 2 D t = x²/12 per axis.
    """
    return np.sqrt(24.0 * lateral_diffusivity * elapsed)
