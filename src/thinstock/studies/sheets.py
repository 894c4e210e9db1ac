"""Simulated sheets of a machine or grade at several consistencies, what was counted on them, and theory beside it.

The sheet is the one on the wire; the numbers are a statistical floor. Pictures are made from the sheets by the caller.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from thinstock import library
from thinstock.machine.evenness import FLOOR as FLOOR
from thinstock.machine.evenness import REGIMES, SIZES, End, asked_ends, ends_of, furnish_of, holes_above
from thinstock.machine.line import Machine
from thinstock.sheet import formation
from thinstock.sheet.dilution import DilutionAnswer, dilution_answer
from thinstock.sheet.formation import DENSITY, HOLE_DIAMETER, ZONE
from thinstock.sheet.furnish import Furnish

if TYPE_CHECKING:
    from thinstock.sheet.cast import SheetMap
    from thinstock.sheet.eye_count import Counted
    from thinstock.sheet.formation import Formation

ZONES = (0.2e-3, 0.5e-3, 1e-3, 2e-3, 5e-3)
Progress = Callable[[int, int], None]


@dataclass(frozen=True, kw_only=True)
class Subject:
    """What a sheet is made of."""

    name: str
    furnish: Furnish
    grammage: float
    consistency: float
    retention: float
    density: float
    ends: Mapping[str, End]
    """Best, base and worst of headbox and wire; the sheet shown is the base."""
    calibrated: bool
    hole_diameter: float
    zone: float

    @property
    def suspension_variation(self) -> float:
        """Of the sheet shown."""
        return float(self.ends["base"].suspension_variation)

    def with_variation(self, value: float) -> Subject:
        """The same with a measured suspension variation."""
        ends = {name: end._replace(suspension_variation=value) for name, end in self.ends.items()}
        return replace(self, ends=ends, calibrated=True)


@dataclass(frozen=True, kw_only=True)
class ZoneRow:
    """CV at one zone size: counted with its standard error, by theory, and by chance alone."""

    zone: float
    counted: float
    standard_error: float
    theory: float
    random: float


@dataclass(frozen=True, kw_only=True)
class Seen:
    """Holes that an eye sees in one light."""

    light: str
    """"window" or "lamp"."""
    smallest: float
    """Diameter of the smallest one seen, m."""
    theory: float
    """How many there are, per m²."""
    counted: Counted | None = None
    """What was found; None where nobody looked in this light."""

    def record(self) -> dict[str, Any]:
        """The numbers as one object in base SI."""
        found = self.counted
        told: dict[str, Any] = {"light": self.light, "smallest": self.smallest, "theory": self.theory, "counted": None}
        if found is not None:
            told |= {
                "counted": found.per_area, "standard_error": found.error, "at_most": found.at_most,
                "circled": len(found.places),
            }  # fmt: skip
        return told


@dataclass(frozen=True, kw_only=True)
class SheetStudy:
    """One simulated sheet with what was counted on it."""

    consistency: float
    sheet: SheetMap
    theory: Formation
    """`thinstock.sheet.Formation` at the subject's zone."""
    zones: tuple[ZoneRow, ...]
    holes_counted: float
    """Holes that pass hole_diameter, per m²."""
    holes_error: float
    holes_at_most: float
    """Upper bound (95 %) of what was counted, per m²: also where nothing was."""
    holes_above: tuple[float, ...]
    """By theory, above 50, 100 and 200 µm, per m²."""
    largest_counted: float
    """Diameter of the disc as large as the largest bare piece, m (0: none)."""
    coverage: float
    bare: float
    """Share of pixels that no fibre touches."""
    bare_theory: float
    notes: tuple[str, ...]
    seen: tuple[Seen, ...] = ()
    """Against a window and against a lamp."""
    looked: SheetMap | None = None
    """The piece that was looked at as an eye does; None where nobody did."""

    def record(self) -> dict[str, Any]:
        """The numbers as one object in base SI."""
        f = self.theory
        return {
            "consistency": self.consistency,
            "crowding_number": float(f.crowding_number),
            "regime": REGIMES[int(f.crowding_regime)],
            "coverage": {"theory": float(f.coverage), "counted": self.coverage},
            "open_area": float(f.open_area),
            "untouched_pixels": {"counted": self.bare, "theory_of_the_random_sheet": self.bare_theory},
            "formation_number": float(f.formation_number),
            "cv": [
                {
                    "zone": z.zone,
                    "counted": z.counted,
                    "standard_error": z.standard_error,
                    "theory": z.theory,
                    "random": z.random,
                }
                for z in self.zones
            ],
            "holes_per_area": {
                "hole_diameter": float(f.hole_diameter),
                "theory": float(f.holes_per_area),
                "random": float(f.holes_per_area_random),
                "counted": self.holes_counted,
                "standard_error": self.holes_error,
                "at_most": self.holes_at_most,
                "theory_above": dict(zip(("50 µm", "100 µm", "200 µm"), self.holes_above, strict=True)),
            },
            "seen_by_eye": [one.record() for one in self.seen],
            "largest_bare_piece": self.largest_counted,
            "size": list(self.sheet.size),
            "pixel": self.sheet.pixel,
            "fibres": int(self.sheet.fibres),
            "seed": self.sheet.seed,
            "notes": list(self.notes),
        }


def subject_of(what: Machine | str) -> Subject:
    """Furnish, grammage on the wire and headbox of a machine, or of a grade of the library."""
    if isinstance(what, str):
        from thinstock.sheet.showcase import library_grade

        grade = library_grade(what)
        return Subject(
            name=grade.name, furnish=grade.furnish, grammage=grade.grammage, consistency=grade.usual, retention=1.0,
            density=DENSITY, ends=ends_of(None), calibrated=False,
            hole_diameter=HOLE_DIAMETER, zone=ZONE,
        )  # fmt: skip
    result = what.run()
    target = what.grade.formation_target
    given = what.stock.suspension_variation
    return Subject(
        name=what.title,
        furnish=furnish_of(what),
        grammage=float(result["grammage_on_wire"]),
        consistency=float(what.headbox.consistency),
        retention=float(result["retention"]),
        density=float(result.parts.loop.around.water.density),
        ends=ends_of(what.stock),
        calibrated=given is not None,
        hole_diameter=HOLE_DIAMETER if target is None else float(target.hole_diameter),
        zone=ZONE if target is None else float(target.zone),
    )


def is_grade(name: str) -> bool:
    """True for the name of a grade of the library."""
    return name in library.grade_names()


def target_answers(subject: Subject, cv: float) -> tuple[DilutionAnswer, ...]:
    """What dilution can do for a CV at the subject's zone, at best, base and worst."""
    return tuple(
        dilution_answer(
            subject.furnish, subject.grammage, **end.words(), cv=cv, zone=subject.zone,
            retention=subject.retention, density=subject.density,
        )
        for end in asked_ends(subject.ends, subject.calibrated)
    )  # fmt: skip


def zones_that_fit(size: float, pixel: float) -> tuple[float, ...]:
    """The usual zone sizes, as near as whole pixels come, that are small enough for the field."""
    fit = dict.fromkeys(max(1, round(zone / pixel)) for zone in ZONES if zone >= 0.75 * pixel)
    return tuple(number * pixel for number in fit if number * pixel <= size / 4 * (1 + 1e-9))


def study_sheet(
    subject: Subject,
    consistency: float,
    *,
    size: float,
    pixel: float,
    seed: int,
    orientation: float = 0.0,
    lights: Sequence[str] = (),
    on_progress: Progress | None = None,
) -> SheetStudy:
    """Simulate one sheet, count on it, and set theory beside it; in `lights` ("window", "lamp") as an eye sees it."""
    from thinstock.sheet import holes, simulate
    from thinstock.sheet.eye_count import count_seen

    def part(first: float, last: float) -> Progress | None:
        if on_progress is None:
            return None

        def tell(done: int, total: int) -> None:
            on_progress(round(1000 * (first + (last - first) * done / max(total, 1))), 1000)

        return tell

    def lay(dilation: float, first: float, last: float) -> SheetMap:
        return simulate(
            subject.furnish, subject.grammage, consistency, subject.suspension_variation, size, pixel, orientation,
            seed, retention=subject.retention, density=subject.density, dilation=dilation,
            **subject.ends["base"].light._asdict(),
            on_progress=part(first, last),
        )  # fmt: skip

    sheet = lay(0.0, 0.0, 0.5)
    bare_pieces = holes(sheet.coverage, 1e-6)
    largest = 2 * math.sqrt(float(bare_pieces.max()) * pixel**2 / math.pi) if len(bare_pieces) else 0.0
    coverage = float(np.mean(sheet.coverage, dtype=np.float64))
    bare = float(np.mean(sheet.coverage == 0))
    notes = tuple(note.text for note in sheet.notes)
    theory = _theory(subject, consistency, orientation, subject.zone)
    found = count_seen(
        lambda side, dot, widened: lay(widened, 0.5, 1.0), theory, subject.hole_diameter, float(theory.holes_per_area),
        size, pixel,
    )  # fmt: skip
    seen, looked = look(subject, theory, orientation, seed, lights)
    return SheetStudy(
        consistency=consistency,
        sheet=sheet,
        theory=theory,
        zones=_zones(subject, consistency, orientation, sheet, pixel),
        holes_counted=found.per_area,
        holes_error=found.error,
        holes_at_most=found.at_most,
        holes_above=tuple(float(v) for v in holes_above(theory, SIZES)),
        largest_counted=largest,
        coverage=coverage,
        bare=bare,
        bare_theory=_bare_by_chance(subject, pixel),
        notes=notes,
        seen=seen,
        looked=looked,
    )


def look(
    subject: Subject, theory: Formation, orientation: float, seed: int, lights: Sequence[str]
) -> tuple[tuple[Seen, ...], SheetMap | None]:
    """What an eye sees of the sheet in both lights by theory, and what it finds in those asked for."""
    from thinstock.sheet import simulate
    from thinstock.sheet.eye import visible_holes
    from thinstock.sheet.eye_count import count_seen, patch
    from thinstock.sheet.seen import LIGHTS

    def lay(side: float, pixel: float, dilation: float) -> SheetMap:
        return simulate(
            subject.furnish, subject.grammage, float(theory.consistency), subject.suspension_variation, side, pixel,
            orientation, seed, retention=subject.retention, density=subject.density, dilation=dilation,
            **subject.ends["base"].light._asdict(),
        )  # fmt: skip

    smallest = [float(d) for d in visible_holes(theory)]
    known = [
        Seen(light=light, smallest=d, theory=float(n))
        for light, d, n in zip(LIGHTS, smallest, holes_above(theory, smallest), strict=True)
    ]
    if not lights:
        return tuple(known), None
    side, pixel, looked = patch(lay)
    found = [
        replace(one, counted=count_seen(lay, theory, one.smallest, one.theory, side, pixel))
        if one.light in lights
        else one
        for one in known
    ]
    return tuple(found), looked


def _zones(
    subject: Subject, consistency: float, orientation: float, sheet: SheetMap, pixel: float
) -> tuple[ZoneRow, ...]:  # fmt: skip
    """Theory and count in zones of growing size."""
    from thinstock.sheet import zone_cv, zone_cv_error

    rows = []
    for zone in zones_that_fit(min(sheet.size), pixel):
        counted = float(zone_cv(sheet.grammage, pixel, zone))
        theory = _theory(subject, consistency, orientation, zone)
        rows.append(
            ZoneRow(
                zone=zone, counted=counted, standard_error=float(zone_cv_error(counted, sheet.grammage, pixel, zone)),
                theory=float(theory.cv), random=float(theory.cv_random),
            )
        )  # fmt: skip
    return tuple(rows)


def _bare_by_chance(subject: Subject, pixel: float) -> float:
    """Share of pixels that no fibre of the random sheet touches."""
    from thinstock.relations.network import bare_pixel_share_strip, fibre_number

    parts = subject.furnish.components
    numbers = fibre_number(subject.grammage * parts.share, parts.fibre_length, parts.coarseness)
    return float(np.prod(bare_pixel_share_strip(numbers, parts.fibre_length, parts.fibre_width, pixel)))


def _theory(subject: Subject, consistency: float, orientation: float, zone: float) -> Formation:
    return formation(
        subject.furnish, subject.grammage, consistency, **subject.ends["base"].words(), zone=zone,
        hole_diameter=subject.hole_diameter, retention=subject.retention, density=subject.density,
        orientation=orientation,
    )  # fmt: skip


def consistencies_of(subject: Subject, asked: Sequence[float]) -> tuple[float, ...]:
    """What was asked for, or the subject's own."""
    return tuple(asked) or (subject.consistency,)
