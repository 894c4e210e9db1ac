"""What a very light sheet has of unevenness that no dilution removes, and which of its holes the eye sees.

Handsheets of very dilute stock were found far above chance at 4 g/m² and near chance at 50. Whether a machine's
wire does the same is not known: take both ends, with and without. The variance above chance is told relative to
the furnish's own random variance at a stated zone and added to that of the flocs.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, assumed, derived, relation
from thinstock.relations.flocs import zone_share


@relation(
    """
    heavier = max(grammage, grammage_reference)/grammage_reference
    variance_excess = excess_reference*heavier**(-decay_exponent)
    """,
    source="HYDRODYNAMIC_SMOOTHING_1995",
    where="form assumed; ends as in the abstract: over 10 times random at 4 g/m², about random above 50",
    status="assumed",
    holds={"grammage": (0.004, 0.12)},
)
def variance_excess_light(grammage: Num, grammage_reference: Num, excess_reference: Num, decay_exponent: Num) -> Num:
    """Variance above that of chance over that of chance, of a sheet made from very dilute stock.

    Picture: the first fibres lie as the wire wants them; later ones fill the thin spots. Use for: the floor of a
    light sheet, as one end of a band whose other end is 0. Not for: a sheet lighter than grammage_reference,
    which gets the value of that grammage; a promise for one's own wire. In print: handsheets of one laboratory,
    read as variance. Made from: a power law between two printed ends.
    """
    heavier = np.maximum(grammage, grammage_reference) / grammage_reference
    return excess_reference * heavier ** (-decay_exponent)


@derived(
    "decay_exponent = log(excess_reference/excess_end)/log(grammage_end/grammage_reference)",
    where="power law through two points",
)
def decay_exponent_ends(excess_reference: Num, excess_end: Num, grammage_reference: Num, grammage_end: Num) -> Num:
    """Power of grammage with which the excess falls from one known sheet to another.

    Picture: a straight line on paper with two log axes. Use for: `variance_excess_light`. Not for: an end that is
    exactly random. In print: "about random" at the heavy end, to be read with judgement. Made from: derivation.
    """
    return np.log(excess_reference / excess_end) / np.log(grammage_end / grammage_reference)


@derived(
    "cv = wire_variation*wire_resistance_grammage/(wire_resistance_grammage + grammage)",
    where="growth that follows the local resistance of wire and mat",
)
def wire_pattern_cv(wire_variation: Num, grammage: Num, wire_resistance_grammage: Num) -> Num:
    """Coefficient of variation that a wire of uneven resistance leaves in the sheet.

    Picture: water takes the open places of the wire until the mat there resists as much as elsewhere. Use for:
    seeing why the excess falls with grammage to the power 1 to 3. Not for: the floor itself; wire marks as a
    pattern. In print: nowhere. Made from: derivation, to first order in the variation.
    """
    return wire_variation * wire_resistance_grammage / (wire_resistance_grammage + grammage)


@assumed(
    """
    seen = zone_share(zone, excess_spread)/zone_share(reference_zone, excess_spread)
    excess_variance_zone = cv_random_reference**2*variance_excess*seen
    """,
    where="a Gaussian field like that of the flocs",
)
def excess_variance_zone(
    cv_random_reference: Num, variance_excess: Num, zone: Num, reference_zone: Num, excess_spread: Num
) -> Num:
    """Variance of square zones that no dilution removes, from what is known at one zone.

    Picture: the same clouds seen through a smaller or a larger window. Use for: another zone than the one
    measured; cv_random_reference is that of reference_zone. Not for: stripes. In print: nowhere. Made from: an
    assumed width of the clouds.
    """
    seen = zone_share(zone, excess_spread) / zone_share(reference_zone, excess_spread)
    return cv_random_reference**2 * variance_excess * seen


@assumed(
    "excess_variance_point = cv_random_reference**2*variance_excess/zone_share(reference_zone, excess_spread)",
    where="a Gaussian field like that of the flocs",
)
def excess_variance_point(
    cv_random_reference: Num, variance_excess: Num, reference_zone: Num, excess_spread: Num
) -> Num:
    """Variance of the local mean coverage that no dilution removes; it is added to that of the flocs.

    Picture: the clouds seen through a window of no size. Use for: open area and holes. Not for: zones. In print:
    nowhere. Made from: an assumed width of the clouds.
    """
    return cv_random_reference**2 * variance_excess / zone_share(reference_zone, excess_spread)


@derived(
    "cv_floor = sqrt(self_healing_factor*cv_random**2 + excess_variance_zone)",
    where="independent parts; what was measured on made sheets is healed already",
)
def cv_floor(cv_random: Num, excess_variance_zone: Num, self_healing_factor: Num) -> Num:
    """Coefficient of variation of zones that dilution cannot go below.

    Picture: the sheet of a perfect headbox on a given wire. Use for: saying whether a target can be met by
    dilution at all. Not for: another zone than that of its parts. In print: nowhere. Made from: variances of
    independent parts.
    """
    return np.sqrt(self_healing_factor * cv_random**2 + excess_variance_zone)


@derived(
    "cv = sqrt(self_healing_factor*(cv_random**2 + floc_variance_zone) + excess_variance_zone)",
    where="independent parts; what was measured on made sheets is healed already",
)
def cv_sheet(cv_random: Num, floc_variance_zone: Num, excess_variance_zone: Num, self_healing_factor: Num) -> Num:
    """Coefficient of variation of zone grammage: chance, flocs, and what no dilution removes.

    Picture: three causes that know nothing of each other add as variances. Use for: zones above the fibre length
    and the depth of stock. Not for: point coverage and holes. In print: nowhere. Made from: `cv_flocculated`
    with the excess beside it.
    """
    return np.sqrt(self_healing_factor * (cv_random**2 + floc_variance_zone) + excess_variance_zone)


@derived("floc_variance = sum(layer_share**2*floc_variance)", where="variance of a sum of independent layers")
def floc_variance_layers(layer_share: Num, floc_variance: Num) -> Num:
    """Squared coefficient of variation of the local mean coverage of a sheet made in layers.

    Picture: two clouds of their own, one upon the other, hide each other's gaps. Use for: headboxes with
    channels of their own; each layer's variance from its own grammage, furnish and consistency. (Layers on the
    last axis of both.) Not for: what the wire does, which is common to all layers. In print: nowhere. Made from:
    derivation; shares add up to 1.
    """
    return np.sum(np.square(layer_share) * floc_variance, axis=-1)


@derived(
    "holes_per_area = spots_per_area*(1 - exp(-holes_per_area_spot*pi*spot_diameter**2/4))",
    where="rare, separate round spots",
)
def holes_from_spots(spots_per_area: Num, spot_diameter: Num, holes_per_area_spot: Num) -> Num:
    """Thin spots that have a hole, per area: bubbles, strings, slime and the shadow of shives.

    Picture: a spot counts once, however many holes it has. Use for: causes that have nothing to do with dilution;
    holes_per_area_spot from the grammage left in the spot. Not for: spots that overlap. In print: nowhere; number
    and size of spots are for the mill to count. Made from: Poisson statistics.
    """
    return spots_per_area * -np.expm1(-holes_per_area_spot * np.pi * spot_diameter**2 / 4.0)


@relation(
    "transmittance = 1/(1 + scattering*grammage)",
    source="KUBELKA_MUNK",
    where="no absorption, black behind",
    status="from memory",
)
def transmittance_diffuse(grammage: Num, scattering: Num) -> Num:
    """Share of the light of a window that comes through the sheet.

    Picture: light that is thrown about until it finds its way. Use for: white sheets before a bright sky. Not
    for: a lamp, dyed sheets. In print: paint theory. Made from: two streams of light without absorption.
    """
    return 1.0 / (1.0 + scattering * grammage)


@assumed("transmittance = exp(-extinction*coverage)", where="each fibre layer takes the same share")
def transmittance_direct(coverage: Num, extinction: Num) -> Num:
    """Share of the light of a lamp that comes straight through the sheet.

    Picture: only what meets no fibre keeps its way. Use for: a lamp behind the sheet. Not for: a window. In
    print: nowhere. Made from: an assumed share per fibre layer.
    """
    return np.exp(-extinction * coverage)


@derived(
    "grain_contrast = where(direct > 0, -log(transmittance)*cv, (1 - transmittance)*cv)",
    where="first order in the local grammage",
    holds={"direct": (0.0, 1.0)},
)
def grain_contrast(transmittance: Num, cv: Num, direct: Num) -> Num:
    """Contrast of the sheet's own grain against light, which a hole must beat to be seen.

    Picture: clouds hide a star. Use for: cv at the zone the eye resolves, 0.886 times its blur. Not for: cv above
    about one third. In print: nowhere. Made from: change of transmittance with grammage, for the light of a
    window (direct 0) and of a lamp (direct 1).
    """
    lamp = -np.log(np.asarray(transmittance, dtype=float)) * cv
    return np.where(np.greater(direct, 0.0), lamp, (1.0 - transmittance) * cv)[()]


@derived(
    """
    blur = viewing_distance*spread_angle
    visible_hole_diameter = blur*sqrt(contrast_needed*transmittance/(1 - transmittance))
    """,
    where="a hole smaller than the eye's blur is a point",
)
def visible_hole_diameter(viewing_distance: Num, spread_angle: Num, transmittance: Num, contrast_needed: Num) -> Num:
    """Diameter of the smallest hole the eye sees against light.

    Picture: a pinhole is a bright point smeared over the eye's blur. Use for: choosing the size at which holes
    are counted. Not for: holes wider than the blur, which are seen as holes. In print: nowhere. Made from: light
    added to the blur spot over the light that comes through it, against the contrast needed.
    """
    blur = viewing_distance * spread_angle
    return blur * np.sqrt(contrast_needed * transmittance / (1.0 - transmittance))
