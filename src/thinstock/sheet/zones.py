"""Evenness of square zones of a map, as a beta-radiograph or a light table sees it, and the layers over its pixels.

Zones are disjoint and complete; what is left at the edges is dropped. Larger zones are pooled from smaller ones.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.formula.label import Array, Num
from thinstock.kernels.compiled import machine
from thinstock.sheet.strip import Raster
from thinstock.words.fault import fault_in

_LEAST_ZONES = 4


@machine
def _pool(raster: Any, side: int) -> Any:
    """Means of square zones of so many pixels a side."""
    rows, columns = raster.shape[0] // side, raster.shape[1] // side
    out = np.empty((rows, columns))
    held = np.empty(columns * side)
    scale = 1.0 / (side * side)
    for i in range(rows):
        for q in range(held.size):
            held[q] = 0.0
        for r in range(i * side, (i + 1) * side):
            for q in range(held.size):
                held[q] += raster[r, q]
        for j in range(columns):
            total = 0.0
            for q in range(j * side, (j + 1) * side):
                total += held[q]
            out[i, j] = total * scale
    return out


@machine
def _cv(level: Any) -> float:
    """Population standard deviation over mean, column by column first so that nothing is lost in long sums."""
    held = np.zeros(level.shape[1])
    for i in range(level.shape[0]):
        for j in range(held.size):
            held[j] += level[i, j]
    mean = held.sum() / level.size
    for j in range(held.size):
        held[j] = 0.0
    for i in range(level.shape[0]):
        for j in range(held.size):
            held[j] += (level[i, j] - mean) ** 2
    square = held.sum()
    return float(np.sqrt(square / level.size) / mean)


def zone_cv(raster: Raster, pixel: float, zones: Num) -> Num:
    """Coefficient of variation of the means of square zones; one value per zone size, sizes in metres.

    The standard error is about cv/sqrt(2 zones), more where there are flocs: see `zone_cv_error`.
    """
    wanted = np.atleast_1d(np.asarray(zones, dtype=float))
    sides = [_side(raster, pixel, float(zone)) for zone in wanted.ravel()]
    levels: dict[int, Any] = {1: raster}
    for side in sorted(set(sides)):
        if side not in levels:
            below = max(k for k in levels if side % k == 0)
            levels[side] = _pool(levels[below], side // below)
    found = {side: float(_cv(levels[side])) for side in set(sides)}
    return np.array([found[side] for side in sides]).reshape(np.shape(zones))[()]


def zone_cv_error(cv: Num, raster: Raster, pixel: float, zones: Num) -> Num:
    """Standard error of `zone_cv` on a map of this size if zones were independent; flocs make it larger."""
    side = np.rint(np.asarray(zones, dtype=float) / pixel)
    number = (raster.shape[0] // side) * (raster.shape[1] // side)
    return cv / np.sqrt(2.0 * number)


def _side(raster: Raster, pixel: float, zone: float) -> int:
    """A zone in pixels, or a refusal."""
    side = zone / pixel
    whole = round(side) if np.isfinite(side) else 0
    if whole < 1 or abs(side - whole) > 1e-6 * max(side, 1.0):
        raise Refused(
            fault_in(
                "sheet.zones.zone", "zone", f"{zone:.6g} m, {side:.6g} pixels", whole=f"{max(whole, 1) * pixel:.6g}"
            )
        )
    largest = min(raster.shape) // _LEAST_ZONES
    if whole > largest:
        raise Refused(
            fault_in(
                "sheet.zones.must_not_exceed_quarter_map", "zone", f"{zone:.6g} m", largest=f"{largest * pixel:.6g}"
            )
        )
    return whole


@machine
def _layers(raster: Any, out: Any) -> None:
    top = out.size - 1
    for i in range(raster.shape[0]):
        for j in range(raster.shape[1]):
            out[min(int(np.floor(raster[i, j] + np.float32(0.5))), top)] += 1


def coverage_histogram(coverage: Raster, highest: int) -> Array:
    """Shares of the pixels with 0, 1, ... `highest` fibre layers (rounded), the last class open upward.

    For pixels well below the fibre width; show it beside `network.coverage_share` or `pores.coverage_share_mixed`.
    """
    if highest < 1:
        raise Refused(fault_in("sheet.zones.highest", "highest", str(highest)))
    number = np.zeros(highest + 1, np.int64)
    _layers(np.ascontiguousarray(coverage, dtype=np.float32), number)
    return number / coverage.size
