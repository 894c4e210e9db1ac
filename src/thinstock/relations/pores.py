"""Through-holes: how many a sheet has that a disc of a given diameter can pass, and the largest of them.

Every fibre is widened by the diameter; the bare pieces left over are counted by the Euler density of a
Boolean model. A slow gamma mixture stands for flocs. Holes made by draining, air, pick-out or creping are
outside: the count is a statistical floor. A negative count means that the fibres do not hang together.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Array, Num, derived, relation

_RANDOM = 1e-8
_SERIES = 100.0
_HALVINGS = 36


@relation(
    """
    edge = fibre_length + fibre_width
    dilated_area = fibre_length*fibre_width + hole_diameter*edge + pi*hole_diameter**2/4
    """,
    source="SANTALO",
    where="Steiner formula",
    status="from memory",
)
def dilated_area(fibre_length: Num, fibre_width: Num, hole_diameter: Num) -> Num:
    """Area of a fibre widened by half a hole diameter all round.

    Picture: where the centre of a disc may not lie. Use for: holes counted at a diameter. Not for: curled
    fibre tighter than the disc. Made from: Steiner formula of a rectangle.
    """
    edge = fibre_length + fibre_width
    return fibre_length * fibre_width + hole_diameter * edge + np.pi * hole_diameter**2 / 4.0


@relation(
    "dilated_edge = 2*(fibre_length + fibre_width) + pi*hole_diameter",
    source="SANTALO",
    where="Steiner formula",
    status="from memory",
)
def dilated_edge(fibre_length: Num, fibre_width: Num, hole_diameter: Num) -> Num:
    """Edge of a fibre widened by half a hole diameter all round.

    Picture: the outline of `dilated_area`. Use for: holes counted at a diameter. Not for: tightly curled
    fibre.
    Made from: Steiner formula of a rectangle.
    """
    return 2.0 * (fibre_length + fibre_width) + np.pi * hole_diameter


@derived(
    """
    corners = edge_density**2*crossing_factor/(4*pi)
    holes_per_area = exp(-blocked)*(corners - fibre_number)
    """,
    where="kinematic formula, minus the Euler density of a Boolean model",
)
def holes_per_area(blocked: Num, edge_density: Num, fibre_number: Num, crossing_factor: Num) -> Num:
    """Bare pieces per area between fibres strewn at random.

    Picture: crossings make meshes, every fibre closes one; what is covered cannot be a hole.
    Use for: coverage above about 1, where the covered set is one piece; of strongly oriented sheets it reads a
    few per cent low, since the factor of the long sides is put on ends and rounded corners too.
    Not for: loose fibres: a negative count means that they do not hang together.
    Sums over components go into the first three. Made from: derivation; simulation within 3 %.
    """
    return np.exp(-blocked) * (edge_density**2 * crossing_factor / (4.0 * np.pi) - fibre_number)


@derived(
    """
    reach = line_density*(fibre_width + hole_diameter)
    holes_per_area = line_density**2*crossing_factor/pi*exp(-reach)
    """,
    where="limit of endless fibres",
)
def holes_per_area_lines(line_density: Num, fibre_width: Num, hole_diameter: Num, crossing_factor: Num) -> Num:
    """Holes per area between endless fibres.

    Picture: polygons between random lines, thinned by the width of the fibres. Use for: seeing what
    matters: the count falls by e for every 1/τ of diameter. Not for: short fibre. Made from: limit of
    `holes_per_area`.
    """
    reach = line_density * (fibre_width + hole_diameter)
    return line_density**2 * crossing_factor / np.pi * np.exp(-reach)


@derived(
    """
    v = max(floc_variance, 1e-8)
    rise = where(order == 2, 1 + v, 1)
    mixed = rise*exp(-(1/v + order)*log1p(exponent*v))
    gamma_moment = where(floc_variance < 1e-8, exp(-exponent), mixed)
    """,
    where="Laplace transform of a gamma law of mean 1",
)
def gamma_moment(order: Num, exponent: Num, floc_variance: Num) -> Num:
    """Mean of Λ^order exp(-exponent Λ) over a gamma law of mean 1 and the given variance; order 0, 1, 2.

    Picture: the local fibre density wanders; thin places count far more than thick ones.
    Use for: open area and holes of flocculated sheets. Not for: other orders. Made from: derivation.
    """
    v = np.maximum(floc_variance, _RANDOM)
    rise = np.where(np.equal(order, 2), 1.0 + v, 1.0)
    mixed = rise * np.exp(-(1.0 / v + order) * np.log1p(exponent * v))
    return np.where(np.less(floc_variance, _RANDOM), np.exp(-np.asarray(exponent)), mixed)[()]


@derived("open_area = gamma_moment(0, coverage, floc_variance)", where="gamma mixture of Poisson sheets")
def open_area_mixed(coverage: Num, floc_variance: Num) -> Num:
    """Share of the area that no fibre covers in a flocculated sheet.

    Picture: a patchwork of random sheets of unlike grammage. Use for: variances up to about 0.06. Not for:
    seeing flocs: open area hardly moves, large holes do. Made from: derivation; simulation.
    """
    return gamma_moment(0, coverage, floc_variance)


@derived(
    """
    v = max(floc_variance, 1e-8)
    k = 1/v
    ways = gammaln(count + k) - gammaln(k) - gammaln(count + 1)
    mixed = exp(ways + xlogy(count, coverage/(coverage + k)) - k*log1p(coverage/k))
    random = exp(xlogy(count, coverage) - coverage - gammaln(count + 1))
    coverage_share = where(floc_variance < 1e-8, random, mixed)
    """,
    where="gamma mixture of Poisson sheets",
)
def coverage_share_mixed(count: Num, coverage: Num, floc_variance: Num) -> Num:
    """Share of the area covered by exactly so many fibres in a flocculated sheet.

    Picture: as `network.coverage_share`, with thick and thin patches. Use for: histograms of simulated
    sheets.
    Not for: large variance, where the patches have shapes. Made from: derivation (negative binomial law).
    At small variance the ratio of gamma functions is worked out by its series, which keeps its digits.
    """
    from scipy.special import gammaln, xlogy

    count = np.asarray(count, dtype=float)
    k = 1.0 / np.maximum(floc_variance, _RANDOM)
    one = xlogy(count, coverage) - gammaln(count + 1.0)
    spread = np.log1p(coverage / k)
    ways = _log_rise(count, k) - count * spread
    mixed = np.exp(one + ways - k * spread)
    random = np.exp(one - coverage)
    return np.where(np.less(floc_variance, _RANDOM), random, mixed)[()]


def _log_rise(count: Num, k: Num) -> Num:
    """log Γ(k + count) - log Γ(k) - count log k, without the loss of digits of a difference at large k."""
    from scipy.special import gammaln

    far = np.maximum(k, _SERIES)
    up = far + count
    tail = (1.0 / up - 1.0 / far) / 12.0 - (1.0 / up**3 - 1.0 / far**3) / 360.0
    series = (up - 0.5) * np.log1p(count / far) - count + tail
    return np.where(np.less(k, _SERIES), gammaln(k + count) - gammaln(k) - count * np.log(k), series)


@derived(
    """
    corners = edge_density**2*crossing_factor/(4*pi)
    thin = gamma_moment(2, blocked, floc_variance)
    holes_per_area = corners*thin - fibre_number*gamma_moment(1, blocked, floc_variance)
    """,
    where="gamma mixture of Boolean models",
)
def holes_per_area_mixed(
    blocked: Num, edge_density: Num, fibre_number: Num, crossing_factor: Num, floc_variance: Num
) -> Num:
    """Holes per area of a flocculated sheet.

    Picture: nearly all large holes lie in the thin patches between flocs. Use for: variances to 0.04 within
    about 20 %. Not for: variances above 0.06 (a factor of 2 is possible) or fewer than 1 hole per 100 m².
    Made from: derivation; simulation.
    """
    corners = edge_density**2 * crossing_factor / (4.0 * np.pi)
    thin = gamma_moment(2, blocked, floc_variance)
    return corners * thin - fibre_number * gamma_moment(1, blocked, floc_variance)


@derived(
    """
    each = share/(fibre_length*coarseness)
    fibres = grammage*sum(each)
    edge = grammage*sum(each*(fibre_length + fibre_width))
    flat = grammage*sum(each*fibre_length*fibre_width)
    blocked = flat + hole_diameter*edge + pi*hole_diameter**2/4*fibres
    outline = 2*edge + pi*hole_diameter*fibres
    holes_per_area = holes_per_area_mixed(blocked, outline, fibres, crossing_factor, floc_variance)
    """,
    where="components of a furnish added",
)
def holes_per_area_furnish(
    grammage: Num,
    share: Num,
    fibre_length: Num,
    fibre_width: Num,
    coarseness: Num,
    hole_diameter: Num,
    crossing_factor: Num,
    floc_variance: Num,
) -> Num:
    """Holes per area that a disc of the given diameter passes, from grammage and furnish.

    Picture: how often light shines straight through. Use for: sheets of one to ten fibres thick; plot it on
    a log axis. Not for: a promise of no holes: it is a statistical floor.
    (share, fibre_length, fibre_width, coarseness: components on the last axis; the other arguments have the
    shape of the result.) Made from: derivation; simulation.
    """
    fibres, edge, flat = _furnish_sums(grammage, share, fibre_length, fibre_width, coarseness)
    blocked = flat + hole_diameter * edge + np.pi * hole_diameter**2 / 4.0 * fibres
    outline = 2.0 * edge + np.pi * hole_diameter * fibres
    return holes_per_area_mixed(blocked, outline, fibres, crossing_factor, floc_variance)


def _furnish_sums(
    grammage: Num, share: Num, fibre_length: Num, fibre_width: Num, coarseness: Num
) -> tuple[Num, Num, Num]:
    """Fibres, half their edge and their area, per area of sheet, over all components."""
    each = share / (fibre_length * coarseness)
    fibres = grammage * np.sum(each, axis=-1)
    edge = grammage * np.sum(each * (fibre_length + fibre_width), axis=-1)
    flat = grammage * np.sum(each * fibre_length * fibre_width, axis=-1)
    return fibres, edge, flat


@derived("hole_area = open_area/holes_per_area", where="definition")
def hole_area_mean(open_area: Num, holes_per_area: Num) -> Num:
    """Mean area of a hole: open area over the number of all holes.

    Picture: the typical pinhole, far smaller than one can see. Use for: holes of any size (diameter 0).
    Not for: holes counted at a diameter. Made from: definition.
    """
    return open_area / holes_per_area


@derived("chance_of_no_hole = exp(-holes_per_area*area)", where="rare holes fall independently")
def chance_of_no_hole(holes_per_area: Num, area: Num) -> Num:
    """Chance that a piece of sheet has no hole of the counted size.

    Picture: the parcel, the tea bag, the cigarette that has none. Use for: rare holes. Not for: many holes or
    clustered ones (flocs). Made from: Poisson statistics.
    """
    return np.exp(-holes_per_area * area)


@derived(
    """
    0 = log(area*holes_per_area_furnish(grammage, share, fibre_length, fibre_width, coarseness,
    largest_hole, crossing_factor, floc_variance));
    found by halving between 1e-9 m and the blended fibre length; 0 where the sheet expects less than one
    hole of any size, the fibre length where it expects more than one that wide
    """,
    gives="largest_hole",
    kind="march",
    where="diameter of which one hole is expected",
)
def largest_hole(
    area: Num,
    grammage: Num,
    share: Num,
    fibre_length: Num,
    fibre_width: Num,
    coarseness: Num,
    crossing_factor: Num,
    floc_variance: Num,
) -> Num:
    """Diameter of the hole of which one is expected in the given area.

    Picture: the worst hole in a square metre. Use for: sheets whose fibres hang together (coverage above
    1).
    Not for: the far tail, which is indicative only.
    (components on the last axis of share, fibre_length, fibre_width, coarseness; the other arguments have
    the shape of the result.) Made from: `holes_per_area_furnish` solved for the diameter, to 1e-12 m.
    """
    weight = share / coarseness
    longest = np.sum(weight * fibre_length, axis=-1) / np.sum(weight, axis=-1)
    fibres, edge, flat = _furnish_sums(grammage, share, fibre_length, fibre_width, coarseness)
    corner = np.asarray(crossing_factor / (4.0 * np.pi))
    v = np.maximum(floc_variance, 1e-12)

    def expected(d: Array) -> Array:
        """Holes expected, by the mixture's closed form; at the least variance it is the random sheet."""
        blocked = flat + d * (edge + np.pi / 4.0 * fibres * d)
        outline = 2.0 * edge + np.pi * fibres * d
        thin = np.log1p(blocked * v)
        once = np.exp(-(1.0 / v + 1.0) * thin)
        count: Array = area * once * (outline**2 * corner * (1.0 + v) * np.exp(-thin) - fibres)
        return count

    shape = np.broadcast_shapes(np.shape(area), np.shape(fibres), np.shape(corner), np.shape(v))
    low, high = np.full(shape, 1e-9), np.broadcast_to(longest, shape).astype(float)
    none = expected(np.zeros(shape)) < 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        above = expected(middle) > 1.0
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return np.where(none, 0.0, 0.5 * (low + high))[()]
