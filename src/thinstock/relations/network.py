"""The random sheet: fibres that land anywhere, in any direction, without noticing each other.

Coverage, evenness of square zones and bare pixels; orientation, polygons between fibres and pores are written out in
`network_lines`. It is the floor that no dilution can beat; flocs come in `flocs`, through-holes in `pores`. Grammage
is always that of the sheet on the wire.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from thinstock.formula.label import Array, Num, derived, relation
from thinstock.relations.network_lines import (
    crossing_factor_cauchy as crossing_factor_cauchy,
)
from thinstock.relations.network_lines import (
    crossings_per_area as crossings_per_area,
)
from thinstock.relations.network_lines import (
    free_fibre_length as free_fibre_length,
)
from thinstock.relations.network_lines import (
    incircle_radius_density_miles as incircle_radius_density_miles,
)
from thinstock.relations.network_lines import (
    orientation_angle_cauchy as orientation_angle_cauchy,
)
from thinstock.relations.network_lines import (
    orientation_cauchy as orientation_cauchy,
)
from thinstock.relations.network_lines import (
    orientation_density_cauchy as orientation_density_cauchy,
)
from thinstock.relations.network_lines import (
    orientation_ratio_cauchy as orientation_ratio_cauchy,
)
from thinstock.relations.network_lines import (
    polygon_area_cv_miles as polygon_area_cv_miles,
)
from thinstock.relations.network_lines import (
    polygon_area_miles as polygon_area_miles,
)
from thinstock.relations.network_lines import (
    polygon_number_miles as polygon_number_miles,
)
from thinstock.relations.network_lines import (
    pore_radius_corte_lloyd as pore_radius_corte_lloyd,
)
from thinstock.relations.network_lines import (
    pore_radius_density_corte_lloyd as pore_radius_density_corte_lloyd,
)
from thinstock.relations.network_lines import (
    pore_radius_layer_sampson as pore_radius_layer_sampson,
)

_NODES = 48
_CHUNK = 2048


@relation("coverage = grammage/fibre_grammage", source="KALLMES_CORTE_1960", status="from memory")
def coverage(grammage: Num, fibre_grammage: Num) -> Num:
    """Mean number of fibres over a point of the sheet.

    Picture: how many fibres thick the sheet is. Use for: any fibrous sheet; of a blend with its blended fibre
    grammage. Not for: fines and filler. In print: c̄ = W/β. Made from: definition; checked by simulation.
    """
    return grammage / fibre_grammage


@relation(
    "coverage_share = exp(xlogy(count, coverage) - coverage - gammaln(count + 1))",
    source="KALLMES_CORTE_1960",
    status="from memory",
)
def coverage_share(count: Num, coverage: Num) -> Num:
    """Share of the sheet's area that is covered by exactly so many fibres (Poisson).

    Picture: count the layers under a pin stuck into the sheet. Use for: random sheets. Not for: flocculated
    ones
    (`pores.coverage_share_mixed`). In print: c̄^k e^(-c̄)/k!. Made from: derivation; checked by simulation.
    """
    from scipy.special import gammaln, xlogy

    return np.exp(xlogy(count, coverage) - coverage - gammaln(np.asarray(count) + 1.0))


@relation("open_area = exp(-coverage)", source="KALLMES_CORTE_1960", status="from memory")
def open_area(coverage: Num) -> Num:
    """Share of the area that no fibre covers.

    Picture: the pin falls through. Use for: random sheets. Not for: counting holes (`pores`): area hardly
    moves with flocs, the number of large holes moves by powers of ten. In print: e^(-c̄). Made from:
    derivation.
    """
    return np.exp(-coverage)


@derived("fibre_number = grammage/(fibre_length*coarseness)", where="grammage over the mass of one fibre")
def fibre_number(grammage: Num, fibre_length: Num, coarseness: Num) -> Num:
    """Fibres per area of sheet.

    Picture: fibre centres on a square metre. Use for: one kind of fibre. Not for: a blend as a whole; take
    each component with its own grammage. Made from: definition.
    """
    return grammage / (fibre_length * coarseness)


@derived("line_density = grammage/coarseness", where="fibre length per area")
def line_density(grammage: Num, coarseness: Num) -> Num:
    """Length of fibre per area of sheet; times fibre width it is the coverage.

    Picture: kilometres of fibre in a square metre. Use for: polygons, pores, crossings; of a blend with its
    blended coarseness. Not for: evenness. Made from: definition.
    """
    return grammage / coarseness


@relation(
    """
    a = separation/fibre_width
    l = separation/fibre_length
    k = fibre_width/fibre_length
    tail = 1/(max(a, 1) + sqrt(max(a, 1)**2 - 1))
    near = 1 - 2/pi*(l + a - l*a/2)
    middle = 2/pi*(asin(1/max(a, 1)) - k/2 - tail)
    corner = asin(1/max(a, 1)) - acos(1/max(l, 1)) - k/2 - (l - 1)**2/(2*k) + sqrt(max(l, 1)**2 - 1) - tail
    inside = where(l <= 1, middle, 2/pi*corner)
    point_autocorrelation = where(a <= 1, near, where(l < sqrt(1 + k**2), inside, 0*l))
    """,
    source="DODSON_1971",
    where="derived again here",
    status="from memory",
)
def point_autocorrelation_dodson(separation: Num, fibre_length: Num, fibre_width: Num) -> Num:
    """Chance that a second point, a separation away, lies under the same fibre as the first.

    Picture: two pins stuck through one straight fibre, turned every way. Use for: straight rectangles with
    width not above length. Not for: curled fibre at separations near its length.
    In print: three branches with square roots of r²/ω² - 1; written here with r/ω - sqrt(r²/ω² - 1) folded
    into one fraction, the same number without loss of digits. Made from: geometry; its integral over the
    plane is λω.
    """
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        a = separation / fibre_width
        l = separation / fibre_length  # noqa: E741
        k = fibre_width / fibre_length
        wide, long = np.maximum(a, 1.0), np.maximum(l, 1.0)
        tail = 1.0 / (wide + np.sqrt(wide**2 - 1.0))
        arc = np.arcsin(1.0 / wide)
        near = 1.0 - 2.0 / np.pi * (l + a - l * a / 2.0)
        middle = 2.0 / np.pi * (arc - k / 2.0 - tail)
        bend = (long - 1.0) ** 2 / (2.0 * k)
        corner = arc - np.arccos(1.0 / long) - k / 2.0 - bend + np.sqrt(long**2 - 1.0) - tail
        inside = np.where(l <= 1.0, middle, 2.0 / np.pi * corner)
        return np.where(a <= 1.0, near, np.where(l < np.sqrt(1.0 + k**2), inside, 0.0))[()]


@relation(
    """
    u = separation/zone
    v = max(u, 1)
    near = pi/2 - 2*u + u**2/2
    far = asin(1/v) - acos(1/v) + 2*sqrt(v**2 - 1) - (v**2 + 2)/2
    zone_distance_density = 4*u/zone*where(u <= 1, near, where(v <= sqrt(2), far, 0*u))
    """,
    source="DODSON_1971",
    where="distance between two random points of a square",
    status="from memory",
)
def zone_distance_density(separation: Num, zone: Num) -> Num:
    """Probability density of the distance between two random points of a square zone.

    Picture: throw two pins into the inspection square. Use for: square zones. Not for: a zone of side 0.
    In print: the same with r and x unreduced. Made from: geometry; integrates to 1.
    """
    u = separation / zone
    v = np.maximum(u, 1.0)
    near = np.pi / 2.0 - 2.0 * u + u**2 / 2.0
    far = np.arcsin(1.0 / v) - np.arccos(1.0 / v) + 2.0 * np.sqrt(v**2 - 1.0) - (v**2 + 2.0) / 2.0
    return 4.0 * u / zone * np.where(u <= 1.0, near, np.where(v <= np.sqrt(2.0), far, 0.0))


@lru_cache(maxsize=1)
def _squared_nodes() -> tuple[Array, Array]:
    """Nodes t² and weights 2 t w on 0..1: square-root starts of an interval become smooth in t."""
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    t = 0.5 * (nodes + 1.0)
    return t**2, weights * t


def _zone_average(zone: Array, length: Array, width: Array) -> Array:
    """The integral of autocorrelation times distance density for arrays of one axis, zone > 0."""
    root = np.sqrt(2.0) * zone
    top = np.minimum(root, np.hypot(length, width))
    marks = np.stack([0.0 * top, 0.2 * width, width, np.sqrt(width * length), length, zone, top], axis=-1)
    marks = np.sort(np.minimum(marks, top[:, None]), axis=-1)
    span = np.diff(marks, axis=-1)[..., None]
    place, weight = _squared_nodes()
    r = marks[:, :-1, None] + span * place
    shape = (-1, 1, 1)
    alpha = point_autocorrelation_dodson.__wrapped__(r, length.reshape(shape), width.reshape(shape))  # type: ignore[attr-defined]
    density = zone_distance_density.__wrapped__(r, zone.reshape(shape))  # type: ignore[attr-defined]
    total: Array = np.sum(alpha * density * span * weight, axis=(-2, -1))
    return total


@relation(
    """
    variance_ratio = integral over separation
    from 0 to min(sqrt(2)*zone, sqrt(fibre_length**2 + fibre_width**2))
    of point_autocorrelation_dodson(separation, fibre_length, fibre_width)
    times zone_distance_density(separation, zone); 1 for zone = 0
    """,
    gives="variance_ratio",
    kind="march",
    source="DODSON_1971",
    where="derived again here",
    status="from memory",
)
def variance_ratio_dodson(zone: Num, fibre_length: Num, fibre_width: Num) -> Num:
    """Variance of the mean grammage of square zones over that of points, random sheet.

    Picture: how much a zone sees of the point-to-point unevenness: a small zone all, a large one little.
    Use for: any zone, straight fibres with width not above length. Not for: anisotropic zones;
    machine-direction orientation and curl hardly change it. Integrated by 48 Gauss points on every stretch
    between the breaks 0, 0.2ω, ω, sqrt(ωλ), λ, x and the upper end, in the square root of the distance:
    1e-11 relative for λ/ω from 1 to 2000. Made from: derivation; simulation.
    """
    shape = np.broadcast_shapes(np.shape(zone), np.shape(fibre_length), np.shape(fibre_width))
    x, length, width = (
        np.broadcast_to(np.asarray(v, dtype=float), shape).ravel() for v in (zone, fibre_length, fibre_width)
    )
    safe = np.where(x > 0.0, x, length)
    found = np.empty(x.size)
    for start in range(0, x.size, _CHUNK):
        part = slice(start, start + _CHUNK)
        found[part] = _zone_average(safe[part], length[part], width[part])
    return np.where(x > 0.0, found, 1.0).reshape(shape)[()]


@derived(
    "variance_ratio = fibre_length*fibre_width/zone**2*(1 - 4*fibre_length/(3*pi*zone))",
    where="first two terms for zones above five fibre lengths",
)
def variance_ratio_large_zone(zone: Num, fibre_length: Num, fibre_width: Num) -> Num:
    """Variance ratio of zones well above the fibre length (more than five times).

    Picture: each zone holds a Poisson number of whole fibres; the second term is for those cut by its edge.
    Use for: checking `variance_ratio_dodson`; quick estimates. Not for: zones below 5 fibre lengths.
    Made from: expansion for narrow fibres.
    """
    return fibre_length * fibre_width / zone**2 * (1.0 - 4.0 * fibre_length / (3.0 * np.pi * zone))


@relation("cv_random = sqrt(variance_ratio/coverage)", source="DODSON_1971", status="from memory")
def cv_random(variance_ratio: Num, coverage: Num) -> Num:
    """Coefficient of variation of zone grammage of a random sheet of one fibre.

    Picture: the floor of evenness: chance alone. Use for: one kind of fibre. Not for: blends
    (`cv_random_blend`). In print: variance = ρ β W. Made from: Poisson statistics; simulation.
    """
    return np.sqrt(variance_ratio / coverage)


@derived("cv_random = sqrt(sum(share*fibre_grammage*variance_ratio)/grammage)", where="independent components")
def cv_random_blend(grammage: Num, share: Num, fibre_grammage: Num, variance_ratio: Num) -> Num:
    """Coefficient of variation of zone grammage of a random sheet of several fibres.

    Picture: the variances of independent layers add. Use for: furnishes by dry mass share. Not for:
    components that floc together. (share, fibre_grammage, variance_ratio: components on the last axis.)
    Made from: derivation; simulation.
    """
    return np.sqrt(np.sum(share * fibre_grammage * variance_ratio, axis=-1) / grammage)


@relation("formation_number = (cv/cv_random)**2", source="DODSON_NOTES", where="definition", status="published")
def formation_number(cv: Num, cv_random: Num) -> Num:
    """Variance of the sheet over that of the random sheet, both at the same zone.

    Picture: how many times worse than chance. Use for: judging headbox and drainage apart from the furnish.
    Not for: comparing sheets of unlike grammage by eye: a thick sheet hides flocs, this number does not
    know it.
    Made from: definition.
    """
    return (cv / cv_random) ** 2


@relation(
    "formation_number = formation_number*zone/reference_zone",
    source="DODSON_NOTES",
    where="given as approximately linear",
    status="published",
    holds={"zone": (1e-3, 5e-3), "reference_zone": (1e-3, 5e-3)},
)
def formation_number_linear(formation_number: Num, reference_zone: Num, zone: Num) -> Num:
    """Formation number at another zone, taken as growing in proportion to the zone.

    Picture: flocs are larger than the zone, so a larger zone sees more of them. Use for: made paper, zones
    of 1 to 5 mm, rough. Not for: sheets near random. In print: "approximately linear". Made from:
    observation.
    """
    return formation_number * zone / reference_zone


@derived("specific_formation = cv*sqrt(grammage)", where="definition")
def specific_formation(cv: Num, grammage: Num) -> Num:
    """Coefficient of variation with the effect of grammage taken out.

    Picture: equal furnish and equal flocs give equal numbers at 30 and at 80 g/m². Use for: comparing
    sheets of unlike grammage. Not for: unlike furnishes. In print: usually in √g/m, 31.6 times this. Made
    from: definition.
    """
    return cv * np.sqrt(grammage)


@derived(
    """
    reach = fibre_length + fibre_width*log(1 + sqrt(2))
    hit = fibre_length*fibre_width + pixel**2 + 4*pixel/pi*reach
    bare_pixel_share = exp(-fibre_number*hit)
    """,
    where="mean Minkowski area of a strip whose ends are cut along the grid",
)
def bare_pixel_share_strip(fibre_number: Num, fibre_length: Num, fibre_width: Num, pixel: Num) -> Num:
    """Share of pixels that no fibre touches, for fibres drawn as strips whose ends follow the pixel grid.

    Picture: a pixel is bare only if no fibre reaches any part of it. Use for: checking a simulated sheet; the
    length may be the mean of a spread; for a blend multiply the shares. Not for: open area at a point.
    Made from: integral geometry; simulation.
    """
    reach = fibre_length + fibre_width * np.log(1.0 + np.sqrt(2.0))
    hit = fibre_length * fibre_width + pixel**2 + 4.0 * pixel / np.pi * reach
    return np.exp(-fibre_number * hit)


@relation(
    """
    hit = fibre_length*fibre_width + pixel**2 + 4*pixel/pi*(fibre_length + fibre_width)
    bare_pixel_share = exp(-fibre_number*hit)
    """,
    source="SANTALO",
    status="from memory",
)
def bare_pixel_share_rectangle(fibre_number: Num, fibre_length: Num, fibre_width: Num, pixel: Num) -> Num:
    """Share of pixels that no fibre touches, for fibres drawn as square-ended rectangles.

    Picture: as `bare_pixel_share_strip`. Use for: rectangles; a line of no width with fibre_width = 0.
    Not for: open area at a point. In print: mean Minkowski area of two convex bodies. Made from: integral
    geometry; simulation.
    """
    hit = fibre_length * fibre_width + pixel**2 + 4.0 * pixel / np.pi * (fibre_length + fibre_width)
    return np.exp(-fibre_number * hit)
