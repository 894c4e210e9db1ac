"""Whether a sheet of a size can be cast in pixels of a size."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from thinstock.errors import Fault
from thinstock.sheet.furnish import Furnish, as_text
from thinstock.words.fault import fault_in

WIDEST_PIXEL = 20.0
MOST_PIXELS = 30000


def faults_of_raster(furnish: Furnish, size: tuple[float, ...], pixel: float) -> Iterator[Fault]:
    """What is wrong with size and pixel (m)."""
    if len(size) != 2 or not all(np.isfinite(s) and s > 0.0 for s in size):
        yield fault_in("sheet.cast_raster.size", "size", as_text(size))
        return
    if not (np.isfinite(pixel) and pixel > 0.0):
        yield fault_in("sheet.cast_raster.pixel", "pixel", as_text(pixel))
        return
    widest = WIDEST_PIXEL * float(np.min(furnish.components.fibre_width))
    if pixel > widest:
        yield fault_in(
            "sheet.cast_raster.must_not_exceed_fibre_widths",
            "pixel",
            f"{pixel:.6g} m",
            widest_pixel=f"{WIDEST_PIXEL:.0f}",
            widest=f"{widest:.6g}",
        )
    for side in size:
        number = side / pixel
        if number > MOST_PIXELS:
            yield fault_in(
                "sheet.cast_raster.must_not_exceed_pixels_side",
                "size",
                f"{side:.6g} m, {number:.0f} pixels",
                most_pixels=MOST_PIXELS,
            )
            return
        if abs(number - round(number)) > 1e-6 * max(number, 1.0) or round(number) < 1:
            yield fault_in(
                "sheet.cast_raster.must_be_whole_number_pixels",
                "size",
                f"{side:.6g} m, {number:.6g} pixels",
                number=f"{max(round(number), 1) * pixel:.6g}",
            )
