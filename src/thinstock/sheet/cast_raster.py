"""Whether a sheet of a size can be cast in pixels of a size."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from thinstock.errors import Fault
from thinstock.sheet.furnish import Furnish, as_text

WIDEST_PIXEL = 20.0
MOST_PIXELS = 30000


def faults_of_raster(furnish: Furnish, size: tuple[float, ...], pixel: float) -> Iterator[Fault]:
    """What is wrong with size and pixel (m)."""
    if len(size) != 2 or not all(np.isfinite(s) and s > 0.0 for s in size):
        yield Fault(
            field="size",
            value=as_text(size),
            bound="one side, or (along, across the machine), above 0 m",
            remedy="For example 0.05.",
        )
        return
    if not (np.isfinite(pixel) and pixel > 0.0):
        yield Fault(field="pixel", value=as_text(pixel), bound="must be above 0 m", remedy="For example 25e-6.")
        return
    widest = WIDEST_PIXEL * float(np.min(furnish.components.fibre_width))
    if pixel > widest:
        yield Fault(
            field="pixel",
            value=f"{pixel:.6g} m",
            bound=f"must not exceed {WIDEST_PIXEL:.0f} fibre widths, {widest:.6g} m",
            remedy="Take a smaller pixel.",
        )
    for side in size:
        number = side / pixel
        if number > MOST_PIXELS:
            yield Fault(
                field="size",
                value=f"{side:.6g} m, {number:.0f} pixels",
                bound=f"must not exceed {MOST_PIXELS} pixels a side",
                remedy="Take a larger pixel or a smaller sheet.",
            )
            return
        if abs(number - round(number)) > 1e-6 * max(number, 1.0) or round(number) < 1:
            yield Fault(
                field="size",
                value=f"{side:.6g} m, {number:.6g} pixels",
                bound="must be a whole number of pixels",
                remedy=f"For example {max(round(number), 1) * pixel:.6g} m.",
            )
