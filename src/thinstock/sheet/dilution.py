"""How dilute the stock must be for a wanted sheet, and how good the headbox is from one measured sheet.

Both turn `formation` round. A target that even chance cannot reach is refused, not approximated; `dilution_answer`
says it in words instead, and never gives an end of its search for an answer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from thinstock.errors import NotFound, Refused
from thinstock.formula.label import Num, worksheet
from thinstock.relations import flocs, network, pores
from thinstock.sheet.formation import (
    CHANCE,
    DECAY_EXPONENT,
    DENSITY,
    EXCESS_IN_USE,
    EXCESS_REFERENCE,
    EXCESS_SPREAD,
    FLOC_RATIO,
    GEL_CROWDING,
    GRAMMAGE_REFERENCE,
    HOLE_DIAMETER,
    NUMBER_IGNORES_GRAMMAGE,
    ORIENTATION,
    RANDOM_FLOOR,
    RETENTION,
    SELF_HEALING_FACTOR,
    ZONE,
    Excess,
    Formation,
    LightSheet,
    check_coverage,
    cv_and_floor,
    excess_of,
    flocs_of,
    formation,
    random_sheet,
)
from thinstock.sheet.furnish import Furnish, as_text, check_ranges
from thinstock.words.fault import fault_in
from thinstock.words.nomenclature import word as word_of
from thinstock.words.phrase import phrase

POINTS = 33
"""Consistencies at which a property is looked at first: it has to rise steadily over them."""
FINER = 4
"""Tables of as many consistencies, each in the step of the one before that holds the target: then it is straight."""
LEAST_BLOCKED = 2.0 + np.sqrt(2.0)
"""Blocked area above which the count of holes only rises with flocs."""
NEAR_FLOOR = 1e-9
FREE_CONSISTENCY = phrase("sheet.dilution.formation_does_not_limit_consistency")


@dataclass(frozen=True, kw_only=True, eq=False)
class FoundConsistency:
    """The thickest stock that still gives the wanted sheet."""

    consistency: float
    limited: bool
    """False where formation does not limit the consistency at all."""
    note: str
    formation: Formation


Answer = Literal["dilute to", "not limited", "not by dilution"]
REMEDIES = phrase("sheet.dilution.more_grammage_finer_fibre_layered")


@dataclass(frozen=True, kw_only=True)
class DilutionAnswer:
    """What dilution can do for a target: one of three answers."""

    kind: Answer
    consistency: float | None
    """The thickest stock that still gives the wanted sheet; None but for "dilute to"."""
    floor: float
    """What the target's measure is without any flocs: dilution cannot go below it."""
    note: str


_UNITS = {"cv": "", "formation_number": "", "specific_formation": " kg^½/m", "holes_per_area": " per m²"}


def consistency_for_formation(
    furnish: Furnish,
    grammage: float,
    suspension_variation: float,
    *,
    cv: float | None = None,
    formation_number: float | None = None,
    specific_formation: float | None = None,
    holes_per_area: float | None = None,
    zone: float = ZONE,
    hole_diameter: float = HOLE_DIAMETER,
    lowest: float = 1e-7,
    highest: float = 0.05,
    retention: float = RETENTION,
    density: float = DENSITY,
    floc_ratio: float = FLOC_RATIO,
    gel_crowding: float = GEL_CROWDING,
    self_healing_factor: float = SELF_HEALING_FACTOR,
    orientation: float = ORIENTATION,
) -> FoundConsistency:
    """The highest consistency at which the sheet still reaches the one target given. One case at a time.

    A target at or below that of the random sheet is refused: no dilution reaches it.
    """
    given = locals()
    word, target = _one_target({name: given[name] for name in _UNITS})
    settings: dict[str, float] = {name: given[name] for name in SETTINGS if name in given}
    _check_search(grammage, suspension_variation, lowest, highest, settings)
    with worksheet(False):
        value = _target_law(word, furnish, grammage, suspension_variation, settings | CHANCE._asdict())
        found, limited = _search(word, target, value, lowest, highest)
    answer = formation(furnish, grammage, found, suspension_variation, **settings)
    words = [] if limited else [FREE_CONSISTENCY]
    if word == "formation_number":
        words.append(NUMBER_IGNORES_GRAMMAGE)
    if answer.formation_number < 1.02:
        words.append(RANDOM_FLOOR)
    return FoundConsistency(consistency=found, limited=limited, note="; ".join(words), formation=answer)


SETTINGS = (
    "zone", "hole_diameter", "retention", "density", "floc_ratio", "gel_crowding", "self_healing_factor", "orientation",
    "excess_reference", "decay_exponent", "grammage_reference", "excess_spread",
)  # fmt: skip
"""What a sheet is computed with besides its furnish, grammage and headbox."""


def dilution_answer(
    furnish: Furnish,
    grammage: float,
    suspension_variation: float,
    *,
    cv: float | None = None,
    formation_number: float | None = None,
    specific_formation: float | None = None,
    holes_per_area: float | None = None,
    zone: float = ZONE,
    hole_diameter: float = HOLE_DIAMETER,
    lowest: float = 1e-7,
    highest: float = 0.05,
    retention: float = RETENTION,
    density: float = DENSITY,
    floc_ratio: float = FLOC_RATIO,
    gel_crowding: float = GEL_CROWDING,
    self_healing_factor: float = SELF_HEALING_FACTOR,
    orientation: float = ORIENTATION,
    excess_reference: float = EXCESS_REFERENCE,
    decay_exponent: float = DECAY_EXPONENT,
    grammage_reference: float = GRAMMAGE_REFERENCE,
    excess_spread: float = EXCESS_SPREAD,
) -> DilutionAnswer:
    """Whether dilution can meet the one target given, and how thick the stock may be. One case at a time.

    Targets and settings as in `consistency_for_formation` and `formation` (SI). "dilute to": the highest
    consistency that still meets the target; "not limited": the target is met however thick the stock;
    "not by dilution": the target lies at or below the floor of this sheet, or so near it that no stock above
    `lowest` meets it. An end of the search is never the answer.
    """
    given = locals()
    word, target = _one_target({name: given[name] for name in _UNITS})
    settings: dict[str, float] = {name: given[name] for name in SETTINGS}
    _check_search(grammage, suspension_variation, lowest, highest, settings)
    with worksheet(False):
        value = _target_law(word, furnish, grammage, suspension_variation, settings)
        floor = float(value(0.0))
        near = target <= max(floor * (1.0 + NEAR_FLOOR), float(value(lowest)))
        found, limited = (highest, False) if near else _search(word, target, value, lowest, highest)
    kind: Answer = "not by dilution" if near else "dilute to" if limited else "not limited"
    notes = [_floor_text(word, target, floor, grammage, settings), REMEDIES] if near else _notes_on(found, limited)
    if word == "formation_number":
        notes.append(NUMBER_IGNORES_GRAMMAGE)
    if excess_reference > 0.0:
        notes.append(EXCESS_IN_USE)
    return DilutionAnswer(kind=kind, consistency=found if limited else None, floor=floor, note="; ".join(notes))


def _notes_on(found: float, limited: bool) -> list[str]:
    """What is unusual in an answer that dilution gives."""
    if not limited:
        return [FREE_CONSISTENCY]
    usual = word_of("consistency").usual or (0.0, np.inf)
    if usual[0] <= found <= usual[1]:
        return []
    low, high = (100.0 * end for end in usual)
    return [phrase("sheet.dilution.outside_usual_range_headbox_to", low=f"{low:.3g}", high=f"{high:.3g}")]


def _floor_text(word: str, target: float, floor: float, grammage: float, settings: dict[str, float]) -> str:
    """Why dilution does not help, with the floor in the units of the mill."""
    sheet = phrase("sheet.dilution.not_by_dilution_at_g", value=f"{1000.0 * grammage:.1f}")
    zone, hole = (
        f"at {1e3 * settings['zone']:.3g} mm",
        phrase("sheet.dilution.that_pass_m", value=f"{1000000.0 * settings['hole_diameter']:.3g}"),
    )
    text = {
        "cv": phrase("sheet.dilution.be_more_even_than", sheet=sheet, value=f"{100.0 * floor:.1f}", zone=zone),
        "formation_number": phrase(
            "sheet.dilution.have_formation_number_below", sheet=sheet, floor=f"{floor:.3g}", zone=zone
        ),
        "specific_formation": phrase(
            "sheet.dilution.have_specific_formation_below_g",
            sheet=sheet,
            sqrt=f"{np.sqrt(1000.0) * floor:.3g}",
            zone=zone,
        ),
        "holes_per_area": phrase(
            "sheet.dilution.have_fewer_than_holes_per", sheet=sheet, floor=f"{floor:.3g}", hole=hole
        ),
    }[word]
    if target > floor * (1.0 + NEAR_FLOOR):
        text += phrase("sheet.dilution.target_lies_too_near_that")
    return text


def _one_target(given: dict[str, float | None]) -> tuple[str, float]:
    named = {word: value for word, value in given.items() if value is not None}
    if len(named) != 1:
        raise Refused(
            fault_in("sheet.dilution.target", "target", ", ".join(named) or "nothing", given=", ".join(given))
        )
    word, target = next(iter(named.items()))
    if not np.isfinite(target) or target <= 0.0:
        raise Refused(fault_in("sheet.dilution.must_be_above", word, as_text(target)))
    return word, float(target)


def _check_search(
    grammage: float, suspension_variation: float, lowest: float, highest: float, settings: dict[str, float]
) -> None:
    values: dict[str, Num] = {
        "grammage": grammage,
        "suspension_variation": suspension_variation,
        "consistency": highest,
        **settings,
    }
    faults = [
        fault_in("sheet.dilution.one_case_at_time", word, as_text(value))
        for word, value in values.items()
        if np.ndim(value)
    ]
    faults = faults or check_ranges(values)
    if not faults and not 0.0 < lowest < highest:
        faults = [fault_in("sheet.dilution.lowest", "lowest", as_text(lowest), highest=f"{highest:.6g}")]
    if faults:
        raise Refused(faults)


def _target_law(
    word: str, furnish: Furnish, grammage: float, suspension_variation: float, s: dict[str, float]
) -> Callable[[Num], Num]:
    """The target's value as a function of consistency; consistency 0 is the random sheet."""
    c = furnish.components
    r = random_sheet(furnish, grammage, s["zone"], s["floc_ratio"], s["orientation"])
    check_coverage(r, grammage)
    fibres = (c.share, c.fibre_length, c.fibre_width, c.coarseness)
    in_zones = flocs.floc_variance_zone_blend(1.0, r.floc_spread, c.share, c.fibre_length, s["zone"])
    in_points = flocs.floc_variance_blend(1.0, r.floc_spread, r.coverage_share, c.fibre_length)
    light = LightSheet(s["excess_reference"], s["decay_exponent"], s["grammage_reference"], s["excess_spread"])
    excess: Excess = excess_of(furnish, grammage, s["zone"], r.cv_random, light)
    if word == "holes_per_area":
        _check_hole_size(furnish, grammage, s["hole_diameter"])

    def variance(consistency: Num) -> Num:
        positive = np.maximum(consistency, 1e-30)
        f = flocs_of(r, grammage, positive, suspension_variation, s["retention"], s["density"], s["gel_crowding"])
        return np.where(np.greater(consistency, 0.0), f.intensity_variance, 0.0)[()]

    def value(consistency: Num) -> Num:
        uneven = variance(consistency)
        if word == "holes_per_area":
            return pores.holes_per_area_furnish(
                grammage, *fibres, s["hole_diameter"], r.crossing_factor, uneven * in_points + excess.in_points
            )
        cv, _ = cv_and_floor(r.cv_random, uneven * in_zones, excess, s["self_healing_factor"])
        if word == "formation_number":
            return network.formation_number(cv, r.cv_random)
        return network.specific_formation(cv, grammage) if word == "specific_formation" else cv

    return value


def _check_hole_size(furnish: Furnish, grammage: float, hole_diameter: float) -> None:
    """Below a certain size the count falls when flocs merge small holes, so it cannot be a target."""
    c = furnish.components
    number = network.fibre_number(c.share * grammage, c.fibre_length, c.coarseness)
    blocked = float(np.sum(number * pores.dilated_area(c.fibre_length, c.fibre_width, hole_diameter)))
    if blocked <= LEAST_BLOCKED:
        raise Refused(
            fault_in(
                "sheet.dilution.hole_diameter",
                "hole_diameter",
                f"{hole_diameter:.6g} m (blocked {blocked:.4g})",
                least_blocked=f"{LEAST_BLOCKED:.4g}",
            )
        )


def _search(word: str, target: float, value: Callable[[Num], Num], lowest: float, highest: float) -> tuple[float, bool]:
    floor = float(value(0.0))
    unit = _UNITS[word]
    if target <= floor * (1.0 + NEAR_FLOOR):
        raise NotFound(
            fault_in(
                "sheet.dilution.random_sheet_which_no_dilution",
                word,
                f"{target:.6g}{unit}",
                floor=f"{floor:.6g}",
                unit=unit,
            ),
            nearest={word: floor, "consistency": 0.0},
            obstacle=phrase("sheet.dilution.random_sheet"),
        )
    at_lowest, at_highest = float(value(lowest)), float(value(highest))
    if at_lowest > target:
        raise NotFound(
            fault_in(
                "sheet.dilution.at_lowest_consistency_allowed_it",
                word,
                f"{target:.6g}{unit}",
                lowest=f"{lowest:.6g}",
                at_lowest=f"{at_lowest:.6g}",
                unit=unit,
            ),
            nearest={word: at_lowest, "consistency": lowest},
            obstacle="lowest consistency",
        )
    if at_highest <= target:
        return highest, False
    points = value(np.geomspace(lowest, highest, POINTS))
    if np.any(np.diff(points) < -1e-12 * np.abs(points[1:])):
        raise NotFound(
            fault_in("sheet.dilution.does_not_rise_steadily_with", word, f"{target:.6g}{unit}"),
            obstacle=phrase("sheet.dilution.no_single_answer"),
        )
    places = np.linspace(np.log(lowest), np.log(highest), POINTS)
    for _ in range(FINER):
        above = min(max(int(np.searchsorted(points, target, side="right")), 1), POINTS - 1)
        places = np.linspace(places[above - 1], places[above], POINTS)
        points = value(np.exp(places))
    return float(np.exp(np.interp(target, points, places))), True


class FittedVariation(float):
    """The suspension variation that explains a measured sheet, and how well it is known."""

    sensitivity: float
    """Change of the suspension variation per change of the measured cv."""
    cv: float
    cv_random: float

    @property
    def suspension_variation(self) -> float:
        return float(self)


def fit_suspension_variation(
    furnish: Furnish,
    grammage: float,
    consistency: float,
    *,
    cv: float,
    zone: float = ZONE,
    retention: float = RETENTION,
    density: float = DENSITY,
    floc_ratio: float = FLOC_RATIO,
    gel_crowding: float = GEL_CROWDING,
    self_healing_factor: float = SELF_HEALING_FACTOR,
) -> FittedVariation:
    """The suspension variation of a headbox and furnish from one measured sheet.

    A cv near that of the random sheet tells nothing: its `sensitivity` grows without bound.
    """
    faults = check_ranges(
        {
            "grammage": grammage,
            "consistency": consistency,
            "zone": zone,
            "retention": retention,
            "density": density,
            "floc_ratio": floc_ratio,
            "gel_crowding": gel_crowding,
            "self_healing_factor": self_healing_factor,
        }
    )
    if faults:
        raise Refused(faults)
    c = furnish.components
    r = random_sheet(furnish, grammage, zone, floc_ratio, ORIENTATION)
    f = flocs_of(r, grammage, consistency, 1.0, retention, density, gel_crowding)
    unit = float(flocs.floc_variance_zone_blend(f.intensity_variance, r.floc_spread, c.share, c.fibre_length, zone))
    excess = cv**2 / self_healing_factor - float(r.cv_random) ** 2
    floor = float(r.cv_random) * float(np.sqrt(self_healing_factor))
    if not excess > 0.0:
        raise Refused(fault_in("sheet.dilution.cv", "cv", as_text(cv), floor=f"{floor:.6g}"))
    fitted = FittedVariation(np.sqrt(excess / unit))
    if fitted > 1.0:
        largest = float(np.sqrt(self_healing_factor * (float(r.cv_random) ** 2 + unit)))
        raise Refused(
            fault_in("sheet.dilution.must_not_exceed_which_takes", "cv", as_text(cv), largest=f"{largest:.6g}")
        )
    fitted.sensitivity = cv / (self_healing_factor * float(fitted) * unit)
    fitted.cv, fitted.cv_random = float(cv), float(r.cv_random)
    return fitted
