"""A sheet as an eye sees it at arm's length: blurred as the eye blurs, against a window and against a lamp.

A hole smaller than the blur is a point of light: it is seen where it beats the sheet's own grain. Against a window the
paper beside a hole is bright and hides it; against a lamp only bare places let the light straight through.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy.ndimage import center_of_mass, gaussian_filter, label

from thinstock import library
from thinstock.formula.label import worksheet
from thinstock.sheet.cast import SheetMap, simulate
from thinstock.sheet.eye import SPREAD_ANGLE, VIEWING_DISTANCE, visible_holes
from thinstock.sheet.formation import formation
from thinstock.sheet.look import SCATTERING, grey, look_through
from thinstock.sheet.openings import HALF
from thinstock.sheet.pictures import INK, SHINE, count_text, draw_lines, framed, percent, rings, side_by_side
from thinstock.sheet.showcase import GRADES, GradeSheet, floor_of_light_sheets, library_grade
from thinstock.sheet.strip import Raster
from thinstock.words.phrase import phrase

LIGHTS = {"window": "diffuse", "lamp": "direct"}
HALF_HEIGHT = 2.0 * float(np.sqrt(2.0 * np.log(2.0)))
"""Width at half height of a Gaussian over its standard deviation."""
GREY = 0.5
"""Where a sheet's own mean stands against a window; the lamp is one lamp for all sheets."""
ORIENTATION = 0.2


def seen(
    sheet_map: SheetMap,
    light: str,
    *,
    distance: float = VIEWING_DISTANCE,
    scattering: float = SCATTERING["tissue"],
) -> Raster:
    """Share of the light that comes through, blurred as at this distance (m); `light` is "window" or "lamp"."""
    through = look_through(sheet_map, LIGHTS[light], scattering=scattering)
    blur = distance * SPREAD_ANGLE / HALF_HEIGHT / sheet_map.pixel
    blurred: Raster = gaussian_filter(through, blur, mode="wrap")
    return blurred


def eye_view(
    sheet_map: SheetMap,
    light: str,
    *,
    across: int = 900,
    scattering: float = SCATTERING["tissue"],
    part: float = 1.0,
    circled: Raster | None = None,
) -> Any:
    """What is seen, as a picture with a scale bar: the eye gets used to the window, the lamp is the same for all.

    `part` of its side is shown, from a corner; bare pieces of `circled`, a map of the same sheet with dilated fibres,
    get a ring.
    """
    through = seen(sheet_map, light, scattering=scattering)
    bright = grey(through, GREY / float(through.mean()) if light == "window" else SHINE, 1.0)
    count = round(part * bright.shape[1])
    shown = np.repeat(bright[:count, :count, None], 3, axis=2)
    made = framed(shown, sheet_map.pixel, across)
    if circled is not None:
        bare, found = label(circled[:count, :count] < HALF)
        places = np.array(center_of_mass(bare > 0, bare, np.arange(1, found + 1))).reshape(-1, 2) * across / count
        rings(made, [(x, y) for y, x in places])
    return made


def eye_picture(
    sheet_map: SheetMap,
    light: str,
    places: Sequence[tuple[float, float]],
    *,
    across: int = 800,
    scattering: float = SCATTERING["tissue"],
) -> Any:
    """What is seen in one light, with a ring round each hole at these places (shares of the side)."""
    made = eye_view(sheet_map, light, across=across, scattering=scattering)
    rings(made, [(x * across, y * across) for x, y in places])
    return made


def light_table(
    grades: Sequence[str] = GRADES, *, size: float = 48e-3, pixel: float = 24e-6, across: int = 420, seed: int = 1,
    part: float = 1.0, circled: bool = False,
) -> Any:  # fmt: skip
    """Grades at their usual consistency beside each other, as an eye sees them against a window and against a lamp.

    Their unevenness is the library's base: a normal headbox, and a wire like that of measured handsheets. With
    `circled` the holes that an eye sees in that light have a ring.
    """
    columns = [_column(library_grade(name), (size, pixel, seed), across, part, circled) for name in grades]
    heads = [phrase("sheet.seen.head", mm=f"{1e3 * size * part:.2g}", distance=f"{VIEWING_DISTANCE:g}")]
    feet = [phrase("sheet.seen.circled")] if circled else []
    feet += [phrase("sheet.seen.base"), phrase("sheet.seen.not_in")]
    return side_by_side([list(row) for row in zip(*columns, strict=True)], heads, feet)


def _column(grade: GradeSheet, laid: tuple[float, float, int], across: int, part: float, circled: bool) -> list[Any]:
    """One grade against the window, with its name above, and against the lamp, with its numbers below."""
    base, (size, pixel, seed) = library.evenness()["base"], laid
    light: dict[str, Any] = floor_of_light_sheets()

    def lay(dilation: float = 0.0) -> SheetMap:
        return simulate(grade.furnish, grade.grammage, grade.usual, base.suspension_variation, size, pixel,
                        ORIENTATION, seed, dilation=dilation, **light)  # fmt: skip

    made = lay()
    with worksheet(False):
        sheet = formation(grade.furnish, grade.grammage, grade.usual, base.suspension_variation, **light)
    smallest = [float(d) for d in visible_holes(sheet, scattering=grade.scattering)]
    views = [
        eye_view(made, one, across=across, scattering=grade.scattering, part=part,
                 circled=lay(least).coverage if circled else None)
        for one, least in zip(LIGHTS, smallest, strict=True)
    ]  # fmt: skip
    titles = [phrase(f"sheet.seen.{one}", least=_millimetres(d)) for one, d in zip(LIGHTS, smallest, strict=True)]
    named = f"{grade.name}, {1e3 * grade.grammage:.3g} g/m², {percent(grade.usual)}"
    numbers = (
        phrase("sheet.seen.cv", cv=f"{100 * sheet.cv:.3g}", floor=f"{100 * sheet.cv_floor:.3g}"),
        phrase("sheet.seen.holes", count=count_text(float(sheet.holes_per_area))),
    )
    above = draw_lines(views[0], [(named, 1.0), (titles[0], 0.9)], [], INK)
    return [above, draw_lines(views[1], [(titles[1], 0.9)], [(text, 0.9) for text in numbers], INK)]


def _millimetres(length: float) -> str:
    """Two digits; what is far below the blur only as that."""
    return f"{1e3 * length:.2g}" if length >= 1e-5 else phrase("sheet.seen.tiny")
