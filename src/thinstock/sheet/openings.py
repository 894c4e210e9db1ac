"""Counts the holes of a map: pieces of pixels below a threshold that hang together, corners included.

Both borders are periodic. Works on runs of pixels row by row and joins them; no image of labels is made. To count the
holes that a disc of a diameter passes, simulate the sheet with that `dilation` and take the threshold 0.5.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from thinstock.errors import Refused
from thinstock.kernels.compiled import machine
from thinstock.sheet.strip import Raster
from thinstock.words.fault import fault_in

HALF = 0.5
"""Threshold for dilated maps."""
_NONE, _ALL = np.uint64(0), np.uint64(0x0101010101010101)


@machine
def _root(parent: Any, i: int) -> int:
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@machine
def _join(parent: Any, a: int, b: int) -> None:
    a, b = _root(parent, a), _root(parent, b)
    if a < b:
        parent[b] = a
    elif b < a:
        parent[a] = b


@machine
def _grown(array: Any) -> Any:
    larger = np.empty(2 * array.size, array.dtype)
    for i in range(array.size):
        larger[i] = array[i]
    return larger


@machine
def _join_rows(
    starts: Any, ends: Any, parent: Any, above: int, above_end: int, here: int, here_end: int, columns: int
) -> None:
    """Join the runs of two neighbouring rows that touch, corners and the periodic side border included."""
    a, b = above, here
    while a < above_end and b < here_end:
        if ends[a] < starts[b]:
            a += 1
        elif ends[b] < starts[a]:
            b += 1
        else:
            _join(parent, a, b)
            if ends[a] < ends[b]:
                a += 1
            else:
                b += 1
    if above < above_end and here < here_end:
        if ends[here_end - 1] == columns and starts[above] == 0:
            _join(parent, here_end - 1, above)
        if ends[above_end - 1] == columns and starts[here] == 0:
            _join(parent, above_end - 1, here)


@machine
def _runs_of_row(row: Any, threshold: Any, marks: Any, words: Any, starts: Any, ends: Any, runs: int) -> int:
    """Runs of pixels below the threshold; there must be room for half a row of them. Returns the new number."""
    columns = row.size
    for q in range(columns):
        marks[q] = np.uint8(row[q] < threshold)
    state = np.uint8(0)
    for k in range(words.size):
        if words[k] == (_ALL if state else _NONE):
            continue
        for q in range(8 * k, 8 * k + 8):
            if marks[q] != state:
                state = marks[q]
                if state:
                    starts[runs] = q
                else:
                    ends[runs] = q
                    runs += 1
    if state:
        ends[runs] = columns
        runs += 1
    return runs


@machine
def _pieces(raster: Any, threshold: Any) -> Any:
    rows, columns = raster.shape
    starts = np.empty(4096, np.int32)
    ends = np.empty(4096, np.int32)
    parent = np.empty(4096, np.int64)
    marks = np.zeros(8 * ((columns + 7) // 8), np.uint8)
    words = marks.view(np.uint64)
    runs = 0
    above = above_end = first_end = 0
    for i in range(rows):
        here = runs
        while runs + columns // 2 + 1 > starts.size:
            starts, ends, parent = _grown(starts), _grown(ends), _grown(parent)
        runs = _runs_of_row(raster[i], threshold, marks, words, starts, ends, runs)
        for run in range(here, runs):
            parent[run] = run
        if runs > here + 1 and starts[here] == 0 and ends[runs - 1] == columns:
            _join(parent, here, runs - 1)
        if i == 0:
            first_end = runs
        else:
            _join_rows(starts, ends, parent, above, above_end, here, runs, columns)
        above, above_end = here, runs
    if rows > 1:
        _join_rows(starts, ends, parent, above, above_end, 0, first_end, columns)
    areas = np.zeros(runs, np.int64)
    for run in range(runs):
        areas[_root(parent, run)] += ends[run] - starts[run]
    number = 0
    for run in range(runs):
        if areas[run] > 0:
            areas[number] = areas[run]
            number += 1
    return areas, number


def holes(raster: Raster, threshold: float) -> NDArray[np.int64]:
    """Areas, in pixels, of all pieces below the threshold; corners touch, borders are periodic."""
    if raster.ndim != 2 or raster.size == 0:
        raise Refused(fault_in("sheet.openings.raster", "raster", str(raster.shape)))
    areas, number = _pieces(np.ascontiguousarray(raster), raster.dtype.type(threshold))
    found: NDArray[np.int64] = areas[:number].copy()
    return found


def most_counted(count: int) -> float:
    """The largest mean number that still gives so few in one case of twenty; 3.0 where none was counted."""
    from scipy.special import chdtri

    return 0.5 * float(chdtri(2 * (count + 1), 0.05))
