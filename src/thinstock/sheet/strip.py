"""Lays straight fibres on a raster with their exact area in every pixel, tile by tile.

A fibre is a strip: in every column of its major direction (row, where it runs steeply) the exact area of a
parallelogram whose ends are cut along the grid. Pixel units; both directions are periodic. Nothing depends on the
number of threads: tiles of one row are worked in order, even rows of tiles before odd ones.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from thinstock.errors import Fault, Refused
from thinstock.formula.label import Num
from thinstock.kernels.compiled import machine
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

Raster = NDArray[np.float32]
Progress = Callable[[int, int], None]
"""Called as `on_progress(done, total)`; raising in it stops the work cleanly."""

_DUST = np.float32(1e-6)
"""Areas below this are taken as nothing, so that a pixel of exactly 0 is one that no fibre touches."""
_LEAST_SLANT = 1e-4
_F0, _F1 = np.float32(0.0), np.float32(1.0)
_TILE = 320
_NO_RASTER: Raster = np.empty((0, 0), np.float32)


@machine
def taps_needed(width: float) -> int:
    """The most pixels across that a strip of this width can touch in one column."""
    return int(2.0 * (0.5 * width * np.sqrt(2.0) + 0.5)) + 3


@machine
def _below(z: Any, h: Any, s: Any, quarter: Any) -> Any:
    """Area of the strip below height z, per length of column: the running integral of a trapezium."""
    a, b = z + h, z - h
    ca = min(max(a, -s), s) + s
    cb = min(max(b, -s), s) + s
    return (ca * ca - cb * cb) * quarter + (max(a - s, _F0) - max(b - s, _F0))


@machine
def _whole_columns(
    span: tuple[int, int], centre: float, slope: float, half: float, rise: float, room: Any, taps: Any, base: Any
) -> None:
    """Phase one: the area of each of the pixels that the strip may touch in every column, both numbers in `span`.

    `centre` is the strip's height in the middle of the first column; `base` gets the lowest pixel of each.
    """
    count, number = span
    h, s, quarter = np.float32(half), np.float32(rise), np.float32(0.25 / rise)
    start = centre - half - rise
    for i in range(count):
        low = np.floor(start + slope * i)
        base[i] = np.int32(low)
        room[0, i] = np.float32(low - (centre + slope * i))
        room[1, i] = _F0
    for t in range(number):
        step = np.float32(t + 1)
        for i in range(count):
            below = _below(room[0, i] + step, h, s, quarter)
            area = below - room[1, i]
            room[1, i] = below
            taps[t, i] = area if area >= _DUST else _F0


@machine
def _part_column(
    i: int, number: int, centre: float, slope: float, half: float, cover: float, taps: Any, base: Any
) -> None:
    """The same for a column of which only the length `cover`, with the strip at height `centre`, is covered."""
    rise = max(0.5 * abs(slope) * cover, _LEAST_SLANT)
    h, s, quarter = np.float32(half), np.float32(rise), np.float32(0.25 / rise)
    low = np.floor(centre - half - rise)
    base[i] = np.int32(low)
    offset, part = np.float32(low - centre), np.float32(cover)
    last = _F0
    for t in range(number):
        below = _below(offset + np.float32(t + 1), h, s, quarter)
        area = part * (below - last)
        last = below
        taps[t, i] = area if area >= _DUST else _F0


@machine
def _scatter(
    flat: Any, weight: Any, taps: Any, base: Any, first: int, span: tuple[int, int], steps: tuple[int, int]
) -> None:
    """Phase two: add the areas to a tile with the given steps along the strip's major and minor directions."""
    count, number = span
    major, minor = steps
    step = np.uint64(minor)
    t = 0
    while t + 1 < number:
        for i in range(count):
            at = np.uint64((first + i) * major + (base[i] + t) * minor)
            flat[at] += weight * taps[t, i]
            flat[at + step] += weight * taps[t + 1, i]
        t += 2
    if t < number:
        for i in range(count):
            flat[np.uint64((first + i) * major + (base[i] + t) * minor)] += weight * taps[t, i]


@machine
def lay_strip(strip: Any, weights: Any, tile: Any, other: Any, columns: int, room: Any, taps: Any, base: Any) -> None:
    """Add one strip to a tile of so many columns, kept flat, and to another (left out where that is empty).

    A strip is its centre (x, y), its unit vector, its length and width; each weight multiplies its area on its tile.
    """
    x, y, along_x, along_y, length, width = strip
    major, minor = 1, columns
    if abs(along_y) > abs(along_x):
        x, y, along_x, along_y = y, x, along_y, along_x
        major, minor = columns, 1
    slope = along_y / along_x
    reach = 0.5 * length * abs(along_x)
    start, end = x - reach, x + reach
    first, last = int(np.floor(start)), int(np.floor(end))
    count = last - first + 1
    half = 0.5 * width * np.sqrt(1.0 + slope * slope)
    rise = max(0.5 * abs(slope), _LEAST_SLANT)
    number = int(2.0 * (half + rise)) + 2
    if count == 1:
        _part_column(0, number, y, slope, half, end - start, taps, base)
    else:
        middle = y + slope * (first + 0.5 - x)
        _whole_columns((count, number), middle, slope, half, rise, room, taps, base)
        head, tail = first + 1.0 - start, end - last
        _part_column(0, number, y + slope * (start + 0.5 * head - x), slope, half, head, taps, base)
        _part_column(count - 1, number, y + slope * (end - 0.5 * tail - x), slope, half, tail, taps, base)
    _scatter(tile, weights[0], taps, base, first, (count, number), (major, minor))
    if other.size:
        _scatter(other, weights[1], taps, base, first, (count, number), (major, minor))


@machine
def scratch_for(needs: Any) -> Any:
    """Room for the columns of the longest strip: two running areas, the pixels across, the lowest pixel."""
    _, taps, longest = needs
    return np.empty((2, longest), np.float32), np.empty((taps, longest), np.float32), np.empty(longest, np.int32)


class Tiles(NamedTuple):
    """Edges of the tiles in pixels, the margin around each, and the scratch a fibre needs."""

    rows: NDArray[np.int64]
    columns: NDArray[np.int64]
    margin: int
    taps: int
    longest: int

    @property
    def needs(self) -> tuple[int, int, int]:
        """What laying a fibre needs: the margin, the most pixels across and along."""
        return self.margin, self.taps, self.longest


def tile_plan(rows: int, columns: int, longest: float, widest: float) -> Tiles:
    """Tiles of at least twice the margin; an even number of tile rows, or a single one for a small raster."""
    margin = int(np.ceil(0.5 * longest + widest)) + 4
    return Tiles(
        _edges(rows, margin, even=True),
        _edges(columns, margin, even=False),
        margin,
        taps_needed(widest),
        int(np.ceil(longest)) + 3,
    )


def tile_number(pixels: float, margin: int, *, even: bool) -> int:
    """How many tiles go into a side."""
    number = int(pixels // max(2 * margin, _TILE))
    if even:
        number -= number % 2
    return max(number, 1)


def _edges(pixels: int, margin: int, *, even: bool) -> NDArray[np.int64]:
    number = tile_number(pixels, margin, even=even)
    return np.arange(number + 1, dtype=np.int64) * pixels // number


class Fibres(NamedTuple):
    """Fibres in pixel units; one value per fibre."""

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    angle: NDArray[np.float64]
    """From the x axis."""
    length: NDArray[np.float64]
    width: NDArray[np.float64]
    weight: Raster
    second: Raster
    """Weight on the second raster; of no size where there is none."""


@machine
def stride(columns: int) -> int:
    """Pixels from row to row of a board: an odd multiple of a cache line, so that steep fibres do not crowd one set."""
    lines = (columns + 15) // 16
    return 16 * (lines + 1 - lines % 2)


@machine
def flush(flat: Any, wide: int, used: int, raster: Any, row: int, column: int) -> None:
    """Add a board whose first pixel is (row, column) of the raster, wrapping round both borders.

    The board is `used` pixels wide and kept flat, `wide` pixels to a row.
    """
    rows, columns = raster.shape
    for i in range(flat.size // wide):
        done = 0
        while done < used:
            at = (column + done) % columns
            run = min(used - done, columns - at)
            target = raster[(row + i) % rows][at : at + run]
            source = flat[i * wide + done : i * wide + done + run]
            for q in range(run):
                target[q] += source[q]
            done += run


@machine
def _row_of_tiles(
    top: int, bottom: int, edges: Any, starts: Any, order: Any, fibres: Any, rasters: Any, needs: Any
) -> None:
    """All tiles of one row, in order: their fibres, laid on a small board that is then added to the raster."""
    x, y, angle, length, width, weight, second = fibres
    raster, other = rasters
    margin = needs[0]
    held = np.empty((6, np.max(starts[1:] - starts[:-1])))
    room, taps, base = scratch_for(needs)
    row0, high = top - margin, bottom - top + 2 * margin
    for column in range(edges.size - 1):
        number = starts[column + 1] - starts[column]
        if number == 0:
            continue
        column0, used = edges[column] - margin, edges[column + 1] - edges[column] + 2 * margin
        wide = stride(used)
        flat = np.zeros(high * wide, np.float32)
        flat_other = np.zeros(flat.size if other.size else 0, np.float32)
        for k in range(number):
            f = order[starts[column] + k]
            held[0, k], held[1, k] = x[f] - column0, y[f] - row0
            held[2, k], held[3, k] = np.cos(angle[f]), np.sin(angle[f])
            held[4, k], held[5, k] = length[f], width[f]
        for k in range(number):
            f = order[starts[column] + k]
            strip = (held[0, k], held[1, k], held[2, k], held[3, k], held[4, k], held[5, k])
            weights = (weight[f], second[f] if other.size else _F0)
            lay_strip(strip, weights, flat, flat_other, wide, room, taps, base)
        flush(flat, wide, used, raster, row0, column0)
        if other.size:
            flush(flat_other, wide, used, other, row0, column0)


@machine
def _folded(place: Any, pixels: int) -> Any:
    """Positions brought into 0 <= place < pixels."""
    out = place - np.floor(place / pixels) * pixels
    for f in range(out.size):
        if not 0.0 <= out[f] < pixels:
            out[f] = 0.0
    return out


@machine
def _tile_of(place: float, edges: Any) -> Any:
    """The tile that a position falls into: a guess from the mean size, put right."""
    last = edges.size - 2
    tile = min(int(place * (last + 1) / edges[last + 1]), last)
    while place < edges[tile]:
        tile -= 1
    while place >= edges[tile + 1] and tile < last:
        tile += 1
    return tile


@machine
def _sort_by_tile(x: Any, y: Any, row_edges: Any, column_edges: Any) -> Any:
    """A stable order of the fibres by tile, and where each tile starts in it."""
    across = column_edges.size - 1
    tiles = (row_edges.size - 1) * across
    where = np.empty(x.size, np.int64)
    starts = np.zeros(tiles + 1, np.int64)
    for f in range(x.size):
        where[f] = _tile_of(y[f], row_edges) * across + _tile_of(x[f], column_edges)
        starts[where[f] + 1] += 1
    starts = np.cumsum(starts)
    order = np.empty(x.size, np.int64)
    place = starts[:-1].copy()
    for f in range(x.size):
        order[place[where[f]]] = f
        place[where[f]] += 1
    return order, starts


def run_rows(work: Callable[[int], None], rows: int, threads: int | None, on_progress: Progress | None = None) -> None:
    """Call `work(row)` for even rows of tiles, then for odd ones, in threads; tell progress after every row."""
    done = 0
    workers = max(1, min(threads or os.cpu_count() or 1, rows))
    if workers == 1:
        for row in (*range(0, rows, 2), *range(1, rows, 2)):
            work(row)
            done += 1
            if on_progress is not None:
                on_progress(done, rows)
        return
    with ThreadPoolExecutor(workers) as pool:
        for first in (0, 1):
            waiting: set[Future[None]] = {pool.submit(work, row) for row in range(first, rows, 2)}
            try:
                while waiting:
                    ready, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                    for future in ready:
                        future.result()
                        done += 1
                        if on_progress is not None:
                            on_progress(done, rows)
            except BaseException:
                pool.shutdown(wait=True, cancel_futures=True)
                raise


def deposit(
    x: Num,
    y: Num,
    angle: Num,
    fibre_length: Num,
    fibre_width: Num,
    weight: Num,
    rows: int,
    columns: int,
    threads: int | None = 1,
) -> Raster:
    """A raster of `rows` by `columns` pixels with straight fibres laid on it, each adding weight times its area.

    Pixel units: pixel (i, j) covers [j, j+1] by [i, i+1] and both directions are periodic; `angle` is from the
    x axis. Length, width and weight may be single numbers.
    """
    values = [np.asarray(v, dtype=float) for v in (x, y, angle, fibre_length, fibre_width, weight)]
    _check(
        dict(zip(("x", "y", "angle", "fibre_length", "fibre_width", "weight"), values, strict=True)),
        rows,
        columns,
    )
    shape = np.broadcast_shapes(*(v.shape for v in values), (1,))
    px, py, turn, length, width, heavy = (np.ascontiguousarray(np.broadcast_to(v, shape)).ravel() for v in values)
    raster: Raster = np.zeros((rows, columns), dtype=np.float32)
    if px.size == 0:
        return raster
    none = np.empty(0, np.float32)
    lay(Fibres(px, py, turn, length, width, heavy.astype(np.float32), none), raster, _NO_RASTER, threads)
    return raster


def lay(
    fibres: Fibres, raster: Raster, other: Raster, threads: int | None, on_progress: Progress | None = None
) -> None:
    """Lay fibres on one raster, or on two at once (`other` of no size: one)."""
    rows, columns = raster.shape
    x, y = _folded(fibres.x, columns), _folded(fibres.y, rows)
    plan = tile_plan(rows, columns, float(fibres.length.max()), float(fibres.width.max()))
    order, starts = _sort_by_tile(x, y, plan.rows, plan.columns)
    laid = fibres._replace(x=x, y=y)
    across = plan.columns.size - 1

    def work(row: int) -> None:
        _row_of_tiles(
            int(plan.rows[row]),
            int(plan.rows[row + 1]),
            plan.columns,
            starts[row * across : (row + 1) * across + 1],
            order,
            laid,
            (raster, other),
            plan.needs,
        )

    run_rows(work, plan.rows.size - 1, threads, on_progress)


def _check(values: dict[str, NDArray[np.float64]], rows: int, columns: int) -> None:
    faults = []
    for word, value in values.items():
        positive = word in ("fibre_length", "fibre_width")
        if not np.all(np.isfinite(value)) or (positive and np.any(value <= 0.0)):
            faults.append(
                Fault(
                    field=word,
                    value=f"{np.min(value):.6g}",
                    bound=phrase("sheet.strip.must_be_number_above")
                    if positive
                    else phrase("sheet.strip.must_be_number"),
                    remedy=phrase("sheet.strip.give_pixels"),
                )
            )
    for word, number in (("rows", rows), ("columns", columns)):
        if number < 1:
            faults.append(fault_in("sheet.strip.must_be_at_least", word, str(number)))
    if faults:
        raise Refused(faults)
