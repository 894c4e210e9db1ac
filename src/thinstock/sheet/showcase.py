"""Sheets of several grades at several consistencies, side by side and to one scale, each with its numbers.

The grades, their furnish and the consistencies come from the library (common practice). The brightness of each grade
is set by its own most dilute sheet; a board and a tissue cannot share one, the sheets of one grade must.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from thinstock import library
from thinstock.errors import Refused
from thinstock.formula.label import worksheet
from thinstock.sheet.cast import simulate
from thinstock.sheet.formation import Formation, formation
from thinstock.sheet.furnish import Furnish
from thinstock.sheet.look import SCATTERING, look_through
from thinstock.sheet.pictures import (
    INK,
    Image,
    count_text,
    draw_lines,
    gain_of,
    percent,
    picture,
    side_by_side,
)
from thinstock.sheet.strip import Progress
from thinstock.words import units
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

GRADES = ("board ply", "newsprint", "cigarette", "facial", phrase("sheet.showcase.tea_bag_type"))
SUSPENSION_VARIATION = 0.20
TOO_HIGH = 5.0
"""Much too high a consistency, as a multiple of the usual one."""
HIGHEST = 0.05
SIZE, PIXEL = 48e-3, 50e-6
_SCATTERING = {"board ply": SCATTERING["coarse softwood"], "newsprint": SCATTERING["mechanical"]}


class GradeSheet(NamedTuple):
    """One grade as the library has it."""

    name: str
    furnish: Furnish
    grammage: float
    usual: float
    lowest: float
    scattering: float

    @property
    def consistencies(self) -> tuple[tuple[str, float], ...]:
        """The lowest quoted, the usual and a much too high consistency."""
        high = min(TOO_HIGH * self.usual, HIGHEST)
        return (("lowest quoted", self.lowest), ("usual", self.usual), (phrase("sheet.showcase.much_too_high"), high))


def floor_of_light_sheets() -> dict[str, Any]:
    """What no dilution removes on a light sheet, at the library's base: a wire like that of measured handsheets."""
    base = library.evenness()["base"]
    return dict(zip(("excess_reference", "decay_exponent"), base[1:], strict=True)) | library.light_sheet()


def library_furnish(name: str, parts: Sequence[dict[str, Any]]) -> Furnish:
    """A furnish from library fibres and shares given as text."""
    fibres = library.table("furnishes")
    words = {"fibre_length": "length", "fibre_width": "length", "coarseness": "coarseness"}
    rows = [fibres[part["fibre"]] for part in parts]
    values = {word: tuple(units.parse(row[word]["value"], kind) for row in rows) for word, kind in words.items()}
    return Furnish(name, tuple(units.parse(part["share"], "fraction") for part in parts), **values)


def library_grade(name: str) -> GradeSheet:
    """A grade of the library by name."""
    grades = library.table("grades")
    if name not in grades:
        raise Refused(fault_in("sheet.showcase.grade", "grade", repr(name), grades=", ".join(grades)))
    row = grades[name]
    return GradeSheet(
        name,
        library_furnish(name, row["furnish"]),
        units.parse(row["wire_grammage"]["value"], "grammage"),
        units.parse(row["consistency"]["value"], "fraction"),
        units.parse(row["lowest_quoted"]["value"], "fraction"),
        _SCATTERING.get(name, SCATTERING["tissue"]),
    )


def gallery(
    grades: Sequence[str] = GRADES,
    mode: str = "diffuse",
    *,
    suspension_variation: float = SUSPENSION_VARIATION,
    size: float = SIZE,
    pixel: float = PIXEL,
    across: int = 420,
    seed: int = 1,
    on_progress: Progress | None = None,
) -> Image:
    """Every grade at its lowest quoted, its usual and a much too high consistency; a column for each grade."""
    columns = []
    light = floor_of_light_sheets()
    total, done = 3 * len(grades), 0
    for name in grades:
        grade = library_grade(name)
        column: list[Image] = []
        gain = None
        for label, consistency in grade.consistencies:
            sheet = simulate(
                grade.furnish,
                grade.grammage,
                consistency,
                suspension_variation,
                size,
                pixel,
                0.2,
                seed,
                **light,
            )
            if gain is None:
                block = max(1, sheet.coverage.shape[1] // across)
                gain = gain_of(look_through(sheet, mode, scattering=grade.scattering, block=block), mode)
            made = picture(sheet, mode, across=across, gain=gain, scattering=grade.scattering)
            column.append(_captioned(made, grade, label, consistency, suspension_variation))
            done += 1
            if on_progress is not None:
                on_progress(done, total)
        columns.append(column)
    shows = (
        phrase("sheet.showcase.diffuse_light_shows_clouds")
        if mode == "diffuse"
        else phrase("sheet.showcase.direct_light_bare_places_shine")
    )
    head = f"One headbox (suspension variation {suspension_variation:g}), one scale; {shows}"
    foot = [
        phrase("sheet.showcase.simulated_fibre_data_consistencies_common")
        + (phrase("sheet.showcase.each_grade_has_brightness_its") if mode == "diffuse" else ""),
        phrase("sheet.showcase.wire_mark_air_fines_filler"),
    ]
    return side_by_side([list(row) for row in zip(*columns, strict=True)], [head], foot)


def _captioned(made: Image, grade: GradeSheet, label: str, consistency: float, suspension_variation: float) -> Image:
    with worksheet(False):
        sheet: Formation = formation(
            grade.furnish, grade.grammage, consistency, suspension_variation, **floor_of_light_sheets()
        )
    above = [
        (f"{grade.name}, {1e3 * grade.grammage:.3g} g/m²", 1.0),
        (f"{label}: {percent(consistency)}", 1.0),
    ]
    below = [
        (f"crowding number {_short(sheet.crowding_number)}", 0.9),
        (f"formation number {_short(sheet.formation_number)}", 0.9),
        (
            phrase("sheet.showcase.cv_at_mm_open", short=_short(100 * sheet.cv), short_2=_short(100 * sheet.open_area)),
            0.9,
        ),
        (
            phrase(
                "sheet.showcase.holes_above_mm_per_m",
                hole=f"{1e3 * float(sheet.hole_diameter):.2g}",
                count_text=count_text(float(sheet.holes_per_area)),
            ),
            0.9,
        ),
    ]
    return draw_lines(made, above, below, INK)


def _short(value: Any) -> str:
    """Three digits without powers of ten."""
    number = float(value)
    return f"{number:#.3g}".rstrip(".") if number >= 1e-3 else "under 0.001"
