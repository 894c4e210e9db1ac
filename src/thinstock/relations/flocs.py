"""From suspension to sheet: how uneven the stock is, how much a sheet keeps of it, how it shows in zones.

The headbox delivers a concentration field of a given variation and floc size; a column of it drains into
the sheet, so floc layers average out, and the length of the fibres smears the rest. Dilution works twice:
fewer flocs and more layers. How good a headbox is cannot be predicted here; its `suspension_variation` is
fitted from one measured sheet.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.bell import erf
from thinstock.formula.label import Num, assumed, derived

_SMALL = 1e-3


def _layer_mean(z: Num) -> Num:
    """Mean of exp(-(s - t)²) for s and t drawn evenly from 0 to z."""
    z = np.asarray(z, dtype=float)
    safe = np.maximum(z, _SMALL)
    mean = np.sqrt(np.pi) * erf(safe) / safe + np.expm1(-(safe**2)) / safe**2
    return np.where(z > _SMALL, mean, 1.0 - z**2 / 6.0)[()]


@assumed(
    "suspension_cv = suspension_variation*crowding_number/sqrt(crowding_number**2 + gel_crowding**2)",
    where="shape: nothing well below the gel point, constant well above it",
    holds={"crowding_number": (0.0, 130.0)},
)
def suspension_cv(crowding_number: Num, suspension_variation: Num, gel_crowding: Num) -> Num:
    """Coefficient of variation of the local consistency that the headbox delivers.

    Picture: below the gel point fibres let go of each other, above it flocs are there and stay.
    Use for: one headbox and furnish whose suspension_variation has been fitted. Not for: predicting a
    headbox.
    Made from: an assumed shape that vanishes for dilute stock and saturates for crowded stock.
    """
    return suspension_variation * crowding_number / np.sqrt(crowding_number**2 + gel_crowding**2)


@assumed("floc_diameter = floc_ratio*fibre_length", where="flocs measure a few fibre lengths")
def floc_diameter(fibre_length: Num, floc_ratio: Num) -> Num:
    """Diameter of a floc in fibre lengths (of the blend).

    Picture: a floc is a few fibre lengths across. Use for: a first picture; test the ratio with a second
    zone size.
    Not for: strings and spangles of very long fibre. Made from: assumption, ratio near 3.
    """
    return floc_ratio * fibre_length


@derived("floc_spread = floc_diameter/sqrt(20)", where="root mean square per axis of a uniform ball")
def floc_spread(floc_diameter: Num) -> Num:
    """Standard deviation per axis of the fibre centres in a floc.

    Picture: a ball of even density and its cloud of the same spread. Use for: turning a diameter into the
    width of a correlation. Not for: shapes. Made from: second moment of a ball.
    """
    return floc_diameter / np.sqrt(20.0)


@derived(
    "sheet_spread = sqrt(floc_spread**2 + fibre_length**2/24)",
    where="second moment of a straight fibre in a random direction",
)
def sheet_spread(floc_spread: Num, fibre_length: Num) -> Num:
    """Spread of the mass of a floc in the sheet: that of the fibre centres and that of each fibre.

    Picture: a straight fibre carries its mass out of the floc. Use for: evenness of zones. Not for: coiled
    fibre.
    Made from: derivation; simulation.
    """
    return np.sqrt(floc_spread**2 + fibre_length**2 / 24.0)


@derived(
    """
    z = depth/(2*floc_spread)
    safe = max(z, 1e-3)
    mean = sqrt(pi)*erf(safe)/safe + expm1(-safe**2)/safe**2
    layer_share = where(z > 1e-3, mean, 1 - z**2/6)
    """,
    where="mean of the correlation exp(-r²/4σ²) over a column",
)
def layer_share(depth: Num, floc_spread: Num) -> Num:
    """Share of the suspension's variance left after a column of the given depth has drained into one sheet.

    Picture: floc upon gap upon floc: a deep column averages. Use for: depth of stock used
    (`suspension_depth`).
    Not for: stock that is mixed again on the wire. Tall columns: 3.545 floc_spread/depth.
    Made from: exact for this correlation.
    """
    return _layer_mean(depth / (2.0 * floc_spread))


@derived("intensity_variance = suspension_cv**2*layer_share", where="variance of the column mean")
def intensity_variance(suspension_cv: Num, layer_share: Num) -> Num:
    """Squared coefficient of variation of the mean density of fibre centres in the sheet.

    Picture: what is left of the flocs when the column has drained. Use for: simulated and computed sheets
    alike.
    Not for: the suspension itself. Made from: derivation.
    """
    return suspension_cv**2 * layer_share


@derived(
    """
    z = zone/(2*spread)
    safe = max(z, 1e-3)
    mean = sqrt(pi)*erf(safe)/safe + expm1(-safe**2)/safe**2
    zone_share = where(z > 1e-3, mean, 1 - z**2/6)**2
    """,
    where="mean of exp(-r²/4σ²) over a square",
)
def zone_share(zone: Num, spread: Num) -> Num:
    """Share of the floc variance that square zones of this side still see.

    Picture: a small zone sees flocs whole, a large one averages over many. Use for: square zones. Not for:
    lines.
    Made from: exact for this correlation: one factor per side.
    """
    return np.square(_layer_mean(zone / (2.0 * spread)))


@derived(
    "pair_density_zone = zone_share(zone, spread)/(4*pi*spread**2)", where="mean density of companions over a square"
)
def pair_density_zone(zone: Num, spread: Num) -> Num:
    """Mean density with which two members of one cluster share a square zone.

    Picture: how likely a fibre's floc companions fall into its own zone. Use for: clusters of Gaussian
    spread.
    Not for: hard-edged flocs. Made from: derivation.
    """
    return zone_share(zone, spread) / (4.0 * np.pi * spread**2)


@derived(
    "floc_variance = intensity_variance*floc_spread**2/(floc_spread**2 + fibre_length**2/24)",
    where="smearing by straight fibres",
)
def floc_variance(intensity_variance: Num, floc_spread: Num, fibre_length: Num) -> Num:
    """Squared coefficient of variation of the local mean coverage.

    Picture: flocs of centres, blurred by the length of the fibres. Use for: one kind of fibre. Not for:
    blends
    (`floc_variance_blend`). Made from: derivation.
    """
    return intensity_variance * floc_spread**2 / (floc_spread**2 + fibre_length**2 / 24.0)


def _pair_sum(share: Num, weight: Num) -> Num:
    """Double sum over components of share_i share_j weight_ij; weight has two component axes at the end."""
    share = np.asarray(share, dtype=float)
    return np.sum(share[..., :, None] * share[..., None, :] * weight, axis=(-2, -1))


def _pair_spread_squared(floc_spread: Num, fibre_length: Num) -> Num:
    """Squared spread between a fibre of component i and one of component j; two component axes at the end."""
    squared = np.square(np.asarray(fibre_length, dtype=float))
    pairs = (squared[..., :, None] + squared[..., None, :]) / 48.0
    return np.square(np.asarray(floc_spread, dtype=float))[..., None, None] + pairs


@derived(
    """
    floc_variance = intensity_variance*floc_spread**2 times the sum over all pairs i, j of components of
    share_i*share_j/(floc_spread**2 + (fibre_length_i**2 + fibre_length_j**2)/48)
    """,
    gives="floc_variance",
    kind="march",
    where="smearing by straight fibres, pair by pair",
)
def floc_variance_blend(intensity_variance: Num, floc_spread: Num, share: Num, fibre_length: Num) -> Num:
    """Squared coefficient of variation of the local mean coverage of a blend that flocs together.

    Picture: all components follow the same flocs, the long ones blur them more. Use for: holes with coverage
    shares, grammage with mass shares. Not for: components that floc apart.
    (share, fibre_length: components on the last axis.) Made from: derivation; simulation.
    """
    squared = _pair_spread_squared(floc_spread, fibre_length)
    return intensity_variance * np.square(floc_spread) * _pair_sum(share, 1.0 / squared)


@derived(
    """
    seen = zone_share(zone, sheet_spread(floc_spread, fibre_length))
    floc_variance_zone = floc_variance(intensity_variance, floc_spread, fibre_length)*seen
    """,
    where="floc variance averaged over square zones",
)
def floc_variance_zone(intensity_variance: Num, floc_spread: Num, fibre_length: Num, zone: Num) -> Num:
    """Variance that flocs add to square zones, relative to the mean squared.

    Picture: the clouds one sees at arm's length. Use for: one kind of fibre. Not for: blends
    (`floc_variance_zone_blend`). Made from: derivation; simulation.
    """
    seen = zone_share(zone, sheet_spread(floc_spread, fibre_length))
    return floc_variance(intensity_variance, floc_spread, fibre_length) * seen


@derived(
    """
    floc_variance_zone = intensity_variance*floc_spread**2 times the sum over all pairs i, j of components of
    share_i*share_j*zone_share(zone, spread_ij)/spread_ij**2,
    spread_ij = sqrt(floc_spread**2 + (fibre_length_i**2 + fibre_length_j**2)/48)
    """,
    gives="floc_variance_zone",
    kind="march",
    where="floc variance averaged over square zones, pair by pair",
)
def floc_variance_zone_blend(
    intensity_variance: Num, floc_spread: Num, share: Num, fibre_length: Num, zone: Num
) -> Num:
    """Variance that flocs add to square zones of a blend, relative to the mean squared.

    Picture: as `floc_variance_zone`, for components that floc together. Use for: mass shares.
    Not for: components that floc apart. (share, fibre_length: components on the last axis.)
    Made from: derivation; simulation.
    """
    squared = _pair_spread_squared(floc_spread, fibre_length)
    zone = np.asarray(zone, dtype=float)[..., None, None]
    seen = np.square(_layer_mean(zone / (2.0 * np.sqrt(squared))))
    return intensity_variance * np.square(floc_spread) * _pair_sum(share, seen / squared)


@derived(
    "floc_companions = intensity_variance*fibre_number*4*pi*floc_spread**2", where="equal variance of a Thomas process"
)
def floc_companions(intensity_variance: Num, fibre_number: Num, floc_spread: Num) -> Num:
    """Mean number of fibres in a floc of the cluster process with the same variance.

    Picture: how many fibres would have to stick together to make this unevenness. Use for: teaching, and for
    simulating flocs as clusters. Not for: counting real flocs. Made from: derivation.
    """
    return intensity_variance * fibre_number * 4.0 * np.pi * floc_spread**2


@derived(
    "intensity_variance = floc_companions/(fibre_number*4*pi*floc_spread**2)", where="variance of a Thomas process"
)
def intensity_variance_thomas(floc_companions: Num, fibre_number: Num, floc_spread: Num) -> Num:
    """Squared coefficient of variation of the density of fibre centres when fibres come in clusters.

    Picture: `floc_companions` backwards. Use for: clusters of Poisson number and Gaussian spread.
    Not for: hard-edged flocs. Made from: derivation.
    """
    return floc_companions / (fibre_number * 4.0 * np.pi * floc_spread**2)


@derived("cv = sqrt(self_healing_factor*(cv_random**2 + floc_variance_zone))", where="compound Poisson sheet")
def cv_flocculated(cv_random: Num, floc_variance_zone: Num, self_healing_factor: Num) -> Num:
    """Coefficient of variation of zone grammage: chance, flocs, and what drainage has evened out.

    Picture: chance and flocs add as variances; water that seeks thin spots takes some of both away.
    Use for: zones above the fibre length and the depth of stock. Not for: point coverage and holes, which
    keep a factor of 1. Made from: derivation; simulation.
    """
    return np.sqrt(self_healing_factor * (cv_random**2 + floc_variance_zone))


@derived(
    "wire_resistance_grammage = fabric_resistance/specific_filtration_resistance",
    where="grammage whose resistance equals the fabric's",
)
def wire_resistance_grammage(fabric_resistance: Num, specific_filtration_resistance: Num) -> Num:
    """Grammage of the mat that resists drainage as much as the bare fabric.

    Picture: until that much has formed, the wire decides where water goes, not the thin spots.
    Use for: `self_healing_factor`. Not for: felts and closed fabrics. Made from: definition.
    """
    return fabric_resistance / specific_filtration_resistance


@derived(
    """
    m = 2*healing_exponent + 1
    growth = log1p(grammage/wire_resistance_grammage)
    self_healing_factor = expm1(-m*growth)/(m*expm1(-growth))
    """,
    where="flow that follows the local resistance",
)
def self_healing_factor(grammage: Num, wire_resistance_grammage: Num, healing_exponent: Num) -> Num:
    """Share of the variance left by drainage that prefers thin spots.

    Picture: water avoids heavy spots and carries fibre to the light ones; a light sheet gets little of it
    because the wire resists more than the mat. Use for: zones above the fibre length and the depth of
    stock; exponent 1 for Darcy drainage, 0 for none. Not for: point coverage, holes. Takes the grammage on
    the wire. In plain form: (β + W)/(m W)·(1 - (β/(β + W))^m). Made from: derivation; simulation of layered
    deposition.
    """
    m = 2.0 * np.asarray(healing_exponent, dtype=float) + 1.0
    with np.errstate(divide="ignore"):
        growth = np.log1p(np.divide(grammage, wire_resistance_grammage))
    return (np.expm1(-m * growth) / (m * np.expm1(-growth)))[()]
