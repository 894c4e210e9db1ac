"""The floc field: how the mean density of fibre centres wanders over the sheet, and how many fall into each cell.

Three laws with the same variance and spread: lognormal (exact correlation exp(-r²/4σ²)), gamma, and clusters around
random parents. Every number is drawn by its address, so the field depends on nothing but its seed.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from thinstock.formula.label import Array
from thinstock.kernels.compiled import compiled, machine
from thinstock.relations.network import orientation_angle_cauchy
from thinstock.sheet.random import CHILDREN, COUNTS, FIELD, PARENTS, cell_key, draw
from thinstock.sheet.strip import Fibres

LAWS = ("lognormal", "gamma", "thomas")
_angle = compiled(orientation_angle_cauchy)
_LEAST_CELLS = 8
_MANY_CELLS = 1000
_CELLS_PER_SPREAD = 4


class Kinds(NamedTuple):
    """The components as laid, in pixels: upper ends of their number shares, sizes, weights on the two rasters."""

    upto: Array
    length: Array
    width: Array
    weight: NDArray[np.float32]
    second: NDArray[np.float32]


class Clustering(NamedTuple):
    """How fibres stand in clusters: how many, how many to a cluster, how far apart (pixels), how directed."""

    fibres: float
    companions: float
    spread: float
    orientation: float


def cell_grid(size: tuple[float, float], spread: float) -> tuple[int, int]:
    """Number of cells along and across the machine: a quarter of the spread wide, at least eight.

    In large fields a few more, so that the number has small factors only and the waves are quickly summed.
    """
    along, across = (max(_LEAST_CELLS, int(np.ceil(s / (spread / _CELLS_PER_SPREAD)))) for s in size)
    if max(along, across) > _MANY_CELLS:
        from scipy.fft import next_fast_len

        return next_fast_len(along, real=True), next_fast_len(across, real=True)
    return along, across


@machine
def _noise(seed: Any, first: Any, out: Any) -> None:
    for i in range(out.size):
        out[i] = draw(cell_key(seed, FIELD, first + i), 0)


@machine
def _poisson(key: Any, first: Any, mean: float) -> int:
    """An exact Poisson number: how many unit exponentials fit into the mean; draws from `first` on."""
    count, total = 0, -np.log(draw(key, first))
    while total <= mean:
        count += 1
        total -= np.log(draw(key, first + count))
    return count


@machine
def _counts(seed: Any, first: Any, mean: Any, out: Any) -> None:
    for i in range(out.size):
        out[i] = _poisson(cell_key(seed, COUNTS, first + i), 0, mean[i])


def in_parts(work: Any, total: int, threads: int | None, part: int = 1 << 16) -> None:
    """Call `work(start, stop)` over a range in parts that do not depend on the number of threads."""
    edges = [(start, min(start + part, total)) for start in range(0, total, part)]
    workers = max(1, min(threads or os.cpu_count() or 1, len(edges)))
    if workers == 1:
        for start, stop in edges:
            work(start, stop)
        return
    with ThreadPoolExecutor(workers) as pool:
        for future in [pool.submit(work, start, stop) for start, stop in edges]:
            future.result()


def _even_noise(grid: tuple[int, int], seed: int, threads: int | None) -> Array:
    """One number between 0 and 1 for every cell."""
    out: Array = np.empty(grid[0] * grid[1])
    key = np.uint64(seed)
    in_parts(lambda a, b: _noise(key, np.uint64(a), out[a:b]), out.size, threads)
    return out.reshape(grid)


def intensity(
    grid: tuple[int, int],
    size: tuple[float, float],
    spread: float,
    variance: float,
    law: str,
    seed: int,
    threads: int | None = 1,
) -> Array:
    """The mean density of fibre centres in every cell, relative to the mean of the sheet."""
    if variance == 0.0 or law == "thomas":
        return np.ones(grid)
    from scipy.fft import irfft2, rfft2
    from scipy.special import gammaincinv, ndtr, ndtri

    workers = max(1, threads or os.cpu_count() or 1)
    noise = _even_noise(grid, seed, threads)
    _apply(ndtri, noise, threads)
    waves = rfft2(noise, workers=workers)
    near = [np.minimum(np.arange(n), n - np.arange(n)) * (s / n) for n, s in zip(grid, size, strict=True)]
    along, across = (np.exp(-(r**2) / (4.0 * spread**2)) for r in near)
    wanted = np.outer(along, across)
    wanted = np.log1p(variance * wanted) if law == "lognormal" else wanted
    waves *= np.sqrt(np.maximum(rfft2(wanted, workers=workers).real, 0.0))
    field: Array = irfft2(waves, s=grid, workers=workers)
    shift = 0.5 * np.log1p(variance)
    if law == "lognormal":
        _apply(lambda g: np.exp(g - shift), field, threads)
    else:
        _apply(lambda g: gammaincinv(1.0 / variance, ndtr(g)) * variance, field, threads)
    field /= field.mean()
    return field


def _apply(function: Callable[[Array], Array], values: Array, threads: int | None) -> None:
    """Replace every value by its function, in parts."""
    flat = values.reshape(-1)

    def work(start: int, stop: int) -> None:
        flat[start:stop] = function(flat[start:stop])

    in_parts(work, flat.size, threads)


def counts(mean: Array, seed: int, threads: int | None = 1) -> NDArray[np.int32]:
    """How many fibres (or clusters) fall into every cell of the given mean numbers."""
    flat = np.ascontiguousarray(mean).ravel()
    out = np.empty(flat.size, np.int32)
    key = np.uint64(seed)
    in_parts(lambda a, b: _counts(key, np.uint64(a), flat[a:b], out[a:b]), flat.size, threads)
    return out.reshape(mean.shape)


@machine
def kind_of(upto: Any, u: float) -> int:
    """The component that a number between 0 and 1 falls to."""
    kind = 0
    while kind < upto.size - 1 and u >= upto[kind]:
        kind += 1
    return kind


@machine
def direction(u: float, orientation: float) -> Any:
    """Unit vector (across, along the machine) of a fibre whose direction is drawn by u."""
    turn = np.pi * (u - 0.5) if orientation == 0.0 else _angle(u, orientation)
    return -np.sin(turn), np.cos(turn)


@machine
def _family_sizes(seed: Any, mean: float, out: Any) -> None:
    for parent in range(out.size):
        out[parent] = _poisson(cell_key(seed, PARENTS, parent), 2, mean)


@machine
def _families(
    seed: Any, parents: Any, ends: Any, cell: Any, spread: float, orientation: float, upto: Any, out: Any
) -> None:
    """Members of all clusters: a parent evenly in its cell, children around it with a Gaussian spread."""
    cell_rows, cell_columns = cell
    x, y, angle, kinds = out
    parent = 0
    member = 0
    for row in range(parents.shape[0]):
        for column in range(parents.shape[1]):
            for _ in range(parents[row, column]):
                key = cell_key(seed, PARENTS, parent)
                px = (column + draw(key, 0)) * cell_columns
                py = (row + draw(key, 1)) * cell_rows
                key = cell_key(seed, CHILDREN, parent)
                child = 0
                while member < ends[parent]:
                    kinds[member] = kind_of(upto, draw(key, 4 * child))
                    far = spread * np.sqrt(-2.0 * np.log(draw(key, 4 * child + 1)))
                    turn = 2.0 * np.pi * draw(key, 4 * child + 2)
                    x[member] = px + far * np.cos(turn)
                    y[member] = py + far * np.sin(turn)
                    angle[member] = 0.5 * np.pi + _angle(draw(key, 4 * child + 3), orientation)
                    member += 1
                    child += 1
                parent += 1


def clusters(
    grid: tuple[int, int],
    raster: tuple[int, int],
    how: Clustering,
    kinds: Kinds,
    seed: int,
    threads: int | None = 1,
) -> Fibres:
    """Fibres in clusters; lengths in pixels."""
    cells = grid[0] * grid[1]
    parents = counts(np.full(grid, how.fibres / how.companions / cells), seed, threads)
    sizes = np.empty(int(parents.sum()), np.int64)
    key = np.uint64(seed)
    _family_sizes(key, how.companions, sizes)
    ends = np.cumsum(sizes)
    total = int(ends[-1]) if ends.size else 0
    x, y, angle = (np.empty(total) for _ in range(3))
    kind = np.empty(total, np.int64)
    cell = (raster[0] / grid[0], raster[1] / grid[1])
    _families(key, parents, ends, cell, how.spread, how.orientation, kinds.upto, (x, y, angle, kind))
    second = kinds.second[kind] if kinds.second.size else kinds.second
    return Fibres(x, y, angle, kinds.length[kind], kinds.width[kind], kinds.weight[kind], second)
