"""How even a sheet will be and how many holes it will have: the computed answer.

Joins the relations of suspension, flocs, random sheet and holes for one furnish; no fibre is drawn here. One
number or one array of cases per argument. How well a headbox disperses stock is never predicted:
`suspension_variation` is fitted from one measured sheet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from thinstock.errors import Refused
from thinstock.formula.label import Array, Num, recall, worksheet
from thinstock.relations import flocs, light_sheet, network, pores, suspension
from thinstock.sheet.furnish import Furnish, as_text, check_ranges
from thinstock.sheet.ratio_series import MANY, ratio_of_many, ratio_of_zones
from thinstock.words.fault import fault_in
from thinstock.words.note import Level, Note, in_order
from thinstock.words.phrase import phrase

ZONE = 1e-3
HOLE_DIAMETER = 100e-6
RETENTION = 1.0
DENSITY = 1000.0
FLOC_RATIO = 3.0
GEL_CROWDING = 16.0
SELF_HEALING_FACTOR = 1.0
ORIENTATION = 0.0
EXCESS_REFERENCE = 0.0
DECAY_EXPONENT = 2.0
GRAMMAGE_REFERENCE = 4e-3
EXCESS_SPREAD = 1e-3
REFERENCE_ZONE = 1e-3
"""Zone at which the excess of a light sheet over chance is told."""

DEFAULTS: dict[str, tuple[float, str]] = {
    "zone": (ZONE, "common practice"),
    "hole_diameter": (HOLE_DIAMETER, "assumed"),
    "retention": (RETENTION, "assumed"),
    "density": (DENSITY, "assumed"),
    "floc_ratio": (FLOC_RATIO, "assumed"),
    "gel_crowding": (GEL_CROWDING, "published"),
    "self_healing_factor": (SELF_HEALING_FACTOR, "assumed"),
    "orientation": (ORIENTATION, "assumed"),
    "excess_reference": (EXCESS_REFERENCE, "assumed"),
    "decay_exponent": (DECAY_EXPONENT, "assumed"),
    "grammage_reference": (GRAMMAGE_REFERENCE, "published"),
    "excess_spread": (EXCESS_SPREAD, "assumed"),
}
"""What is taken where nothing is given, and its status."""

LEAST_COVERAGE = 0.3
_ONE_SQUARE_METRE = 1.0

RANDOM_FLOOR = phrase("sheet.formation.sheet_as_even_as_chance")
LIGHT_FLOOR = phrase("sheet.formation.sheet_as_even_as_its")
EXCESS_IN_USE = phrase("sheet.formation.unevenness_that_no_dilution_removes")
NUMBER_IGNORES_GRAMMAGE = phrase("sheet.formation.formation_number_ignores_that_thick")
STATISTICAL_FLOOR = phrase("sheet.formation.holes_statistical_floor_those_made")


@dataclass(frozen=True, kw_only=True, eq=False)
class Formation:
    """The computed sheet: crowding of the stock, evenness, holes. Numbers, or arrays of cases."""

    furnish: Furnish
    grammage: Num
    consistency: Num
    suspension_variation: Num
    zone: Num
    hole_diameter: Num
    retention: Num
    density: Num
    floc_ratio: Num
    gel_crowding: Num
    self_healing_factor: Num
    orientation: Num
    excess_reference: Num
    decay_exponent: Num
    grammage_reference: Num
    excess_spread: Num
    fibre_length: Num
    """Length-weighted mean of the blend."""
    coarseness: Num
    fibre_grammage: Num
    crowding_number: Num
    crowding_regime: Num
    suspension_depth: Num
    floc_diameter: Num
    floc_spread: Num
    suspension_cv: Num
    layer_share: Num
    intensity_variance: Num
    floc_variance: Num
    """Squared CV of local mean coverage (components by their share of the coverage)."""
    floc_variance_zone: Num
    variance_excess: Num
    """Variance above that of chance over that of chance, at `REFERENCE_ZONE`, without flocs."""
    excess_variance_zone: Num
    excess_variance_point: Num
    """Adds to `floc_variance` in open area and holes."""
    coverage: Num
    open_area: Num
    variance_ratio: Num
    """Per component, on the last axis."""
    cv_random: Num
    cv_floor: Num
    """What dilution cannot go below: `cv_random` with its healing and the excess of a light sheet."""
    cv: Num
    formation_number: Num
    specific_formation: Num
    crossing_factor: Num
    holes_per_area: Num
    holes_per_area_random: Num
    largest_hole: Num
    """Diameter of the hole of which one is expected in one square metre."""

    @property
    def notes(self) -> tuple[Note, ...]:
        """What is unusual, outside the tested range, or not in the model."""
        return _notes(self)


def _lift(value: Num) -> Num:
    """A value per case made ready to meet components on the last axis."""
    return value if np.ndim(value) == 0 else np.asarray(value)[..., None]


@lru_cache(maxsize=256)
def _kept_ratio(zone: float, fibre_length: tuple[float, ...], fibre_width: tuple[float, ...]) -> Array:
    with worksheet(False):
        ratio = np.asarray(network.variance_ratio_dodson(zone, np.array(fibre_length), np.array(fibre_width)))
    ratio.flags.writeable = False
    return ratio


def variance_ratio(furnish: Furnish, zone: Num) -> Num:
    """Variance ratio of each fibre at a zone; that of one zone and one furnish is worked out once and kept."""
    c = furnish.components
    if np.ndim(zone) or not isinstance(furnish.fibre_length, tuple) or not isinstance(furnish.fibre_width, tuple):
        if not np.ndim(zone) and np.shape(c.fibre_length)[0] > MANY:
            columns = (np.moveaxis(v, -1, 0) for v in np.broadcast_arrays(c.fibre_length, c.fibre_width))
            return np.stack([ratio_of_many(float(zone), *pair) for pair in zip(*columns, strict=True)], axis=-1)
        if np.ndim(zone) == 1 and np.ndim(c.fibre_length) == np.ndim(c.fibre_width) == 1 and np.size(zone) > MANY:
            return ratio_of_zones(np.asarray(zone, dtype=float), c.fibre_length, c.fibre_width)
        return network.variance_ratio_dodson(_lift(zone), c.fibre_length, c.fibre_width)
    kept = _kept_ratio(float(zone), furnish.fibre_length, furnish.fibre_width)
    return recall(network.variance_ratio_dodson, kept, zone, c.fibre_length, c.fibre_width)


class RandomSheet(NamedTuple):
    """The part of the answer that knows nothing of consistency: the furnish and the random sheet."""

    fibre_length: Num
    coarseness: Num
    fibre_grammage: Num
    coverage_share: Num
    coverage: Num
    variance_ratio: Num
    cv_random: Num
    floc_diameter: Num
    floc_spread: Num
    crossing_factor: Num


def random_sheet(furnish: Furnish, grammage: Num, zone: Num, floc_ratio: Num, orientation: Num) -> RandomSheet:
    c = furnish.components
    length = suspension.fibre_length_blend(c.share, c.fibre_length, c.coarseness)
    coarse = suspension.coarseness_blend(c.share, c.coarseness)
    blended = suspension.fibre_grammage_blend(c.share, c.fibre_grammage)
    covered = network.coverage(grammage, blended)
    ratio = variance_ratio(furnish, zone)
    cv_random = network.cv_random_blend(grammage, c.share, c.fibre_grammage, ratio)
    diameter = flocs.floc_diameter(length, floc_ratio)
    return RandomSheet(
        length,
        coarse,
        blended,
        c.share * _lift(blended) / c.fibre_grammage,
        covered,
        ratio,
        cv_random,
        diameter,
        flocs.floc_spread(diameter),
        network.crossing_factor_cauchy(orientation),
    )


class Flocs(NamedTuple):
    """The part that consistency decides."""

    crowding_number: Num
    suspension_depth: Num
    suspension_cv: Num
    layer_share: Num
    intensity_variance: Num


def flocs_of(
    sheet: RandomSheet,
    grammage: Num,
    consistency: Num,
    suspension_variation: Num,
    retention: Num,
    density: Num,
    gel_crowding: Num,
) -> Flocs:
    crowding = suspension.crowding_number(consistency, density, sheet.fibre_length, sheet.coarseness)
    depth = suspension.suspension_depth(grammage, consistency, density, retention)
    uneven = flocs.suspension_cv(crowding, suspension_variation, gel_crowding)
    share = flocs.layer_share(depth, sheet.floc_spread)
    return Flocs(crowding, depth, uneven, share, flocs.intensity_variance(uneven, share))


class LightSheet(NamedTuple):
    """How far a light sheet of very dilute stock is above chance."""

    excess_reference: Num
    decay_exponent: Num
    grammage_reference: Num
    excess_spread: Num


CHANCE = LightSheet(EXCESS_REFERENCE, DECAY_EXPONENT, GRAMMAGE_REFERENCE, EXCESS_SPREAD)
"""A light sheet as even as chance."""


class Excess(NamedTuple):
    """What a light sheet has above chance, whatever the consistency."""

    variance_excess: Num
    in_zones: Num
    in_points: Num


def excess_of(furnish: Furnish, grammage: Num, zone: Num, cv_random: Num, light: LightSheet) -> Excess:
    """Variance above chance in zones and at a point; `cv_random` is that of `zone`. No formula is used for none."""
    if not np.any(light.excess_reference):
        return Excess(0.0, 0.0, 0.0)
    at_reference = cv_random
    if np.ndim(zone) or zone != REFERENCE_ZONE:
        c = furnish.components
        ratio = variance_ratio(furnish, REFERENCE_ZONE)
        at_reference = network.cv_random_blend(grammage, c.share, c.fibre_grammage, ratio)
    excess = light_sheet.variance_excess_light(
        grammage, light.grammage_reference, light.excess_reference, light.decay_exponent
    )
    return Excess(
        excess,
        light_sheet.excess_variance_zone(at_reference, excess, zone, REFERENCE_ZONE, light.excess_spread),
        light_sheet.excess_variance_point(at_reference, excess, REFERENCE_ZONE, light.excess_spread),
    )


def cv_and_floor(cv_random: Num, floc_variance_zone: Num, excess: Excess, self_healing_factor: Num) -> tuple[Num, Num]:
    """Evenness of the sheet, and what dilution cannot go below."""
    if not np.any(excess.variance_excess):
        cv = flocs.cv_flocculated(cv_random, floc_variance_zone, self_healing_factor)
        return cv, np.sqrt(self_healing_factor) * cv_random
    return (
        light_sheet.cv_sheet(cv_random, floc_variance_zone, excess.in_zones, self_healing_factor),
        light_sheet.cv_floor(cv_random, excess.in_zones, self_healing_factor),
    )


def cv_at_zone(sheet: Formation, zone: Num) -> Num:
    """Coefficient of variation of the same sheet in square zones of another side (m)."""
    s, c = sheet, sheet.furnish.components
    faults = check_ranges({"zone": zone})
    if faults:
        raise Refused(faults)
    ratio = variance_ratio(s.furnish, zone)
    cv_random = network.cv_random_blend(s.grammage, c.share, c.fibre_grammage, ratio)
    in_zones = flocs.floc_variance_zone_blend(s.intensity_variance, s.floc_spread, c.share, c.fibre_length, zone)
    light = LightSheet(s.excess_reference, s.decay_exponent, s.grammage_reference, s.excess_spread)
    excess = excess_of(s.furnish, s.grammage, zone, cv_random, light)
    return cv_and_floor(cv_random, in_zones, excess, s.self_healing_factor)[0]


def formation(
    furnish: Furnish,
    grammage: Num,
    consistency: Num,
    suspension_variation: Num,
    *,
    zone: Num = ZONE,
    hole_diameter: Num = HOLE_DIAMETER,
    retention: Num = RETENTION,
    density: Num = DENSITY,
    floc_ratio: Num = FLOC_RATIO,
    gel_crowding: Num = GEL_CROWDING,
    self_healing_factor: Num = SELF_HEALING_FACTOR,
    orientation: Num = ORIENTATION,
    excess_reference: Num = EXCESS_REFERENCE,
    decay_exponent: Num = DECAY_EXPONENT,
    grammage_reference: Num = GRAMMAGE_REFERENCE,
    excess_spread: Num = EXCESS_SPREAD,
) -> Formation:
    """Evenness and holes of a sheet from its furnish, its grammage on the wire and the headbox consistency.

    Crowding and flocs follow the blended fibre, evenness goes by mass share, holes by share of the coverage.
    `cv_random` is that of chance alone, without healing; `cv_floor` is what dilution cannot go below. With
    `excess_reference` above 0 a light sheet is less even than chance, as handsheets were; 0 leaves it out.

    Parameters
    ----------
    furnish : Furnish
        The fibres.
    grammage : float or array
        Fibre on the wire, kg/m². Any argument may be an array of shape (cases,).
    consistency : float or array
        Consistency in the headbox, kg/kg.
    suspension_variation : float or array
        Variation of the suspension over a floc, 1.
    zone, hole_diameter : float or array
        Side of the zone looked at, and the smallest hole counted, m.
    retention, floc_ratio, gel_crowding, self_healing_factor, orientation : float or array
        Plain ratios, 1; their defaults are in `thinstock.sheet.DEFAULTS` with where they come from.
    excess_reference, decay_exponent : float or array
        Variance above that of chance at `grammage_reference` over that of chance, falling by this power of grammage, 1.
    grammage_reference, excess_spread : float or array
        Where the excess is given, kg/m², and the size of its clouds, m.
    density : float or array
        Density of the suspension, kg/m³.

    Returns
    -------
    Formation
        Numbers of the shape of the cases, base SI.

    Raises
    ------
    Refused
        Every value outside its range at once.

    Source: named on the formulas of flocs, mat and network that it calls.
    """
    given = dict(locals())
    faults = check_ranges({word: value for word, value in given.items() if word != "furnish"})
    if faults:
        raise Refused(faults)
    c = furnish.components
    r = random_sheet(furnish, grammage, zone, floc_ratio, orientation)
    check_coverage(r, grammage)
    f = flocs_of(r, grammage, consistency, suspension_variation, retention, density, gel_crowding)
    in_zones = flocs.floc_variance_zone_blend(f.intensity_variance, r.floc_spread, c.share, c.fibre_length, zone)
    in_points = flocs.floc_variance_blend(f.intensity_variance, r.floc_spread, r.coverage_share, c.fibre_length)
    light = LightSheet(excess_reference, decay_exponent, grammage_reference, excess_spread)
    x = excess_of(furnish, grammage, zone, r.cv_random, light)
    return _computed(given, r, f, x, in_zones, in_points)


def _computed(
    given: Mapping[str, Any], r: RandomSheet, f: Flocs, x: Excess, in_zones: Num, in_points: Num
) -> Formation:
    """The sheet from its parts: what was given, the random sheet, the flocs and the excess of a light sheet."""
    grammage, c = given["grammage"], given["furnish"].components
    hole_diameter = given["hole_diameter"]
    cv, cv_floor = cv_and_floor(r.cv_random, in_zones, x, given["self_healing_factor"])
    patchy = in_points + x.in_points if np.any(x.in_points) else in_points
    fibres = (c.share, c.fibre_length, c.fibre_width, c.coarseness)
    return Formation(
        **given,
        fibre_length=r.fibre_length,
        coarseness=r.coarseness,
        fibre_grammage=r.fibre_grammage,
        crowding_number=f.crowding_number,
        crowding_regime=suspension.crowding_regime(f.crowding_number),
        suspension_depth=f.suspension_depth,
        floc_diameter=r.floc_diameter,
        floc_spread=r.floc_spread,
        suspension_cv=f.suspension_cv,
        layer_share=f.layer_share,
        intensity_variance=f.intensity_variance,
        floc_variance=in_points,
        floc_variance_zone=in_zones,
        variance_excess=x.variance_excess,
        excess_variance_zone=x.in_zones,
        excess_variance_point=x.in_points,
        coverage=r.coverage,
        open_area=pores.open_area_mixed(r.coverage, patchy),
        variance_ratio=r.variance_ratio,
        cv_random=r.cv_random,
        cv_floor=cv_floor,
        cv=cv,
        formation_number=network.formation_number(cv, r.cv_random),
        specific_formation=network.specific_formation(cv, grammage),
        crossing_factor=r.crossing_factor,
        holes_per_area=pores.holes_per_area_furnish(grammage, *fibres, hole_diameter, r.crossing_factor, patchy),
        holes_per_area_random=pores.holes_per_area_furnish(grammage, *fibres, hole_diameter, r.crossing_factor, 0.0),
        largest_hole=pores.largest_hole(_ONE_SQUARE_METRE, grammage, *fibres, r.crossing_factor, patchy),
    )


def cv_alone(
    furnish: Furnish,
    grammage: Num,
    consistency: Num,
    suspension_variation: Num,
    *,
    zone: Num = ZONE,
    retention: Num = RETENTION,
    density: Num = DENSITY,
    light: LightSheet = CHANCE,
) -> Num:
    """The `cv` of `formation` without its holes, its checks and its other results: for use inside a run."""
    c = furnish.components
    r = random_sheet(furnish, grammage, zone, FLOC_RATIO, ORIENTATION)
    f = flocs_of(r, grammage, consistency, suspension_variation, retention, density, GEL_CROWDING)
    in_zones = flocs.floc_variance_zone_blend(f.intensity_variance, r.floc_spread, c.share, c.fibre_length, zone)
    excess = excess_of(furnish, grammage, zone, r.cv_random, light)
    return cv_and_floor(r.cv_random, in_zones, excess, SELF_HEALING_FACTOR)[0]


def check_coverage(sheet: RandomSheet, grammage: Num) -> None:
    """Refuse a sheet so thin that its fibres do not hang together."""
    if np.any(np.asarray(sheet.coverage) < LEAST_COVERAGE):
        least = float(np.min(np.asarray(sheet.fibre_grammage))) * LEAST_COVERAGE
        raise Refused(
            fault_in(
                "sheet.formation.grammage",
                "grammage",
                phrase(
                    "sheet.formation.kg_m_coverage",
                    as_text=as_text(grammage),
                    as_text_2=as_text(np.min(sheet.coverage)),
                ),
                least_coverage=LEAST_COVERAGE,
                least=f"{least:.4g}",
            )
        )


def _notes(sheet: Formation) -> tuple[Note, ...]:
    found: list[Note] = []

    def when(condition: Num, level: Level, text: str) -> None:
        mask = np.asarray(condition)
        if mask.any():
            found.append(Note(part="formation", level=level, text=text, cases=int(mask.sum()) if mask.ndim else None))

    depth = as_text(np.max(sheet.suspension_depth))
    when(
        np.greater(sheet.crowding_number, 130.0),
        "range",
        phrase("sheet.formation.crowding_number_above_beyond_tested"),
    )
    when(np.less(sheet.coverage, 1.0), "unusual", phrase("sheet.formation.less_than_one_fibre_thick"))
    when(
        np.greater(np.add(sheet.floc_variance, sheet.excess_variance_point), 0.06),
        "range",
        phrase("sheet.formation.flocs_so_strong_that_hole"),
    )
    when(np.greater(sheet.suspension_depth, 1.0), "unusual", phrase("sheet.formation.m_water_per_m_sheet", depth=depth))
    when(np.less(sheet.formation_number, 1.02), "blind spot", RANDOM_FLOOR)
    at_floor = np.less(np.square(sheet.cv), 1.02 * np.square(sheet.cv_floor))
    when(np.logical_and(np.greater(sheet.variance_excess, 0.0), at_floor), "blind spot", LIGHT_FLOOR)
    when(np.greater(sheet.variance_excess, 0.0), "assumed", EXCESS_IN_USE)
    when(np.True_, "information", STATISTICAL_FLOOR)
    return tuple(in_order(found))
