"""Holes that an eye sees, looked for on a simulated sheet: where they are, and how many with their error.

The smallest hole seen is far smaller than what a coarse raster finds, and rare ones need room. A pixel that no fibre
touches is the probe: fibres are widened until such a pixel is as likely as room for the disc that the eye sees. What
is found is counted by its room, of which each hole has so much on average; that does not hang on the pixel.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from scipy.optimize import brentq
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from thinstock.errors import Refused
from thinstock.formula.label import worksheet
from thinstock.relations import network, pores
from thinstock.sheet.cast import SheetMap
from thinstock.sheet.formation import Formation
from thinstock.sheet.openings import most_counted

PATCHES = ((25.2e-3, 8e-6), (48e-3, 16e-6))
"""Side and pixel, m, on which holes are looked for: the second where the first is too small for the flocs."""
LOOKED = 12e-6
"""Pixel of the sheet that is looked at, m."""
UNTOUCHED = 1e-6
Lay = Callable[[float, float, float], SheetMap]
"""Lays the same sheet at a side, a pixel and a dilation."""


class Counted(NamedTuple):
    """What was found of the holes above one size."""

    per_area: float
    """Per m², by their room."""
    error: float
    """Standard error of it."""
    at_most: float
    """Upper bound (95 %), also where none was found, per m²."""
    places: tuple[tuple[float, float], ...]
    """Where the untouched pieces are, as shares of the side, across and down."""


def patch(lay: Lay) -> tuple[float, float, SheetMap]:
    """Side, pixel of the count, and the sheet that is looked at; the larger patch where flocs need it."""
    for number, (side, pixel) in enumerate(PATCHES):
        try:
            return side, pixel, lay(side, LOOKED, 0.0)
        except Refused:
            if number == len(PATCHES) - 1:
                raise
    raise AssertionError


def count_seen(
    lay: Lay, theory: Formation, smallest: float, holes_per_area: float, side: float, pixel: float
) -> Counted:
    """Look for the holes that pass a disc of diameter `smallest`, m, of which theory has `holes_per_area`, 1/m²."""
    with worksheet(False):
        widened = probe_dilation(theory, smallest, pixel)
        room = mean_room(theory, _touching(theory, widened, pixel), holes_per_area)
    sizes, places = pieces(lay(side, pixel, widened).coverage)
    area, one = side**2, pixel**2 / room
    found = float(sizes.sum()) * one / area
    met = room / (room + pixel**2)
    return Counted(
        per_area=found,
        error=float(np.sqrt(np.sum(sizes.astype(float) ** 2))) * one / area,
        at_most=max(found, most_counted(len(sizes)) / area / met),
        places=tuple((float(x) / (side / pixel), float(y) / (side / pixel)) for x, y in places),
    )


def _numbers(theory: Formation) -> Any:
    c = theory.furnish.components
    return np.asarray(network.fibre_number(c.share * theory.grammage, c.fibre_length, c.coarseness))


def _blocked(theory: Formation, diameter: float) -> float:
    """Mean number of fibres that touch a disc."""
    c = theory.furnish.components
    return float(np.sum(_numbers(theory) * pores.dilated_area(c.fibre_length, c.fibre_width, diameter)))


def _touching(theory: Formation, widened: float, pixel: float) -> float:
    """Mean number of fibres, widened by so much, that touch a pixel."""
    c = theory.furnish.components
    long, wide = c.fibre_length + widened, c.fibre_width + widened
    return float(-np.log(network.bare_pixel_share_strip(_numbers(theory), long, wide, pixel)).sum())


def mean_room(theory: Formation, touching: float, holes_per_area: float) -> float:
    """Area in which a probe fits that so many fibres touch on average, per hole that it passes, m²."""
    variance = float(np.asarray(theory.floc_variance + theory.excess_variance_point))
    return float(pores.hole_area_mean(pores.gamma_moment(0, touching, variance), holes_per_area))


def probe_dilation(theory: Formation, diameter: float, pixel: float) -> float:
    """How far fibres are widened so that an untouched pixel is as likely as room for the disc, m; never below 0."""
    wanted = _blocked(theory, diameter)

    def lacking(widened: float) -> float:
        return _touching(theory, widened, pixel) - wanted

    return 0.0 if lacking(0.0) >= 0.0 else float(brentq(lacking, 0.0, diameter + pixel))


def pieces(coverage: Any) -> tuple[Any, Any]:
    """Sizes in pixels of the untouched pieces, corners included, and their middles (across, down)."""
    down, across = np.nonzero(coverage < UNTOUCHED)
    if not len(down):
        return np.zeros(0, np.int64), np.zeros((0, 2))
    points = np.column_stack((across, down)).astype(float)
    pairs = cKDTree(points).query_pairs(1.5, output_type="ndarray")
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points),) * 2)
    number, which = connected_components(links, directed=False)
    sizes = np.bincount(which, minlength=number)
    middles = np.column_stack([np.bincount(which, points[:, k], number) / sizes for k in (0, 1)]) + 0.5
    return sizes, middles
