"""Whether a sheet of a size can be cast in pixels of a size."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from thinstock.errors import Fault
from thinstock.sheet.furnish import Furnish, as_text
from thinstock.words.phrase import phrase

WIDEST_PIXEL = 20.0
MOST_PIXELS = 30000


def faults_of_raster(furnish: Furnish, size: tuple[float, ...], pixel: float) -> Iterator[Fault]:
    """What is wrong with size and pixel (m)."""
    if len(size) != 2 or not all(np.isfinite(s) and s > 0.0 for s in size):
        yield Fault(
            field="size",
            value=as_text(size),
            bound=phrase("sheet.cast_raster.one_side_or_along_across"),
            remedy=phrase("sheet.cast_raster.for_example"),
        )
        return
    if not (np.isfinite(pixel) and pixel > 0.0):
        yield Fault(
            field="pixel",
            value=as_text(pixel),
            bound=phrase("sheet.cast_raster.must_be_above_m"),
            remedy=phrase("sheet.cast_raster.for_example_e"),
        )
        return
    widest = WIDEST_PIXEL * float(np.min(furnish.components.fibre_width))
    if pixel > widest:
        yield Fault(
            field="pixel",
            value=f"{pixel:.6g} m",
            bound=phrase(
                "sheet.cast_raster.must_not_exceed_fibre_widths",
                widest_pixel=f"{WIDEST_PIXEL:.0f}",
                widest=f"{widest:.6g}",
            ),
            remedy=phrase("sheet.cast_raster.take_smaller_pixel"),
        )
    for side in size:
        number = side / pixel
        if number > MOST_PIXELS:
            yield Fault(
                field="size",
                value=f"{side:.6g} m, {number:.0f} pixels",
                bound=phrase("sheet.cast_raster.must_not_exceed_pixels_side", most_pixels=MOST_PIXELS),
                remedy=phrase("sheet.cast_raster.take_larger_pixel_or_smaller"),
            )
            return
        if abs(number - round(number)) > 1e-6 * max(number, 1.0) or round(number) < 1:
            yield Fault(
                field="size",
                value=f"{side:.6g} m, {number:.6g} pixels",
                bound=phrase("sheet.cast_raster.must_be_whole_number_pixels"),
                remedy=phrase("sheet.cast_raster.for_example_m", number=f"{max(round(number), 1) * pixel:.6g}"),
            )
