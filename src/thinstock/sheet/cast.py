"""Casts a sheet fibre by fibre: furnish, grammage and floc field in, a map of fibre layers per pixel out.

All fibres of a component have its mean length and are straight. Axis 0 of a map is the machine direction, axis 1 the
cross direction; both are periodic. The same inputs give the same bits, whatever the number of threads.
"""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from thinstock.errors import Refused, needs
from thinstock.formula.label import Num, worksheet
from thinstock.kernels.compiled import FAST, can_compile, machine
from thinstock.relations import flocs as floc_relations
from thinstock.relations import network
from thinstock.sheet.cast_raster import faults_of_raster
from thinstock.sheet.field import LAWS, Clustering, Kinds, cell_grid, clusters, counts, direction, intensity, kind_of
from thinstock.sheet.formation import (
    DECAY_EXPONENT,
    EXCESS_REFERENCE,
    EXCESS_SPREAD,
    GRAMMAGE_REFERENCE,
    LightSheet,
    check_coverage,
    excess_of,
    flocs_of,
    random_sheet,
)
from thinstock.sheet.furnish import Furnish, as_text, check_ranges
from thinstock.sheet.random import FIBRES, cell_key, draw
from thinstock.sheet.strip import (
    Progress,
    Raster,
    flush,
    lay,
    lay_strip,
    run_rows,
    scratch_for,
    stride,
    tile_number,
    tile_plan,
)
from thinstock.words.fault import fault_in
from thinstock.words.note import Note
from thinstock.words.phrase import phrase

METHODS = ("strip",)
SPREADS_PER_SIZE = 8.0
FLOC_FIELD = 24e-3
"""Sheets with flocs smaller than this may be far from the mean grammage."""
PIXEL_FOR_HOLES = 0.15
_F0 = np.float32(0.0)
LARGE = 60_000
"""Fibres up to which a sheet is laid without a compiler: a minute or so."""
_SHARE_OF_MEMORY = 0.8


@dataclass(frozen=True, kw_only=True, eq=False)
class SheetMap:
    """A simulated sheet: fibre layers averaged over each pixel, and what it was made from."""

    coverage: Raster
    """Fibre layers; exactly 0 where no fibre touches the pixel."""
    second: Raster
    """Grammage, kg/m², where components differ in fibre grammage; else of no size."""
    fibre_grammage: float
    """Grammage per layer where all components agree in it."""
    pixel: float
    size: tuple[float, float]
    """Along the machine, across the machine."""
    fibres: int
    seed: int
    intensity_variance: float
    floc_spread: float
    furnish: Furnish
    mean_grammage: float
    consistency: float
    suspension_variation: float
    orientation: float
    retention: float
    density: float
    floc_ratio: float
    gel_crowding: float
    flocs: str
    dilation: float
    method: str
    excess_reference: float = EXCESS_REFERENCE
    decay_exponent: float = DECAY_EXPONENT
    grammage_reference: float = GRAMMAGE_REFERENCE
    excess_spread: float = EXCESS_SPREAD

    @property
    def grammage(self) -> Raster:
        """Local grammage of every pixel, kg/m²."""
        if self.second.size:
            return self.second
        made: Raster = self.coverage * np.float32(self.fibre_grammage)
        return made

    @property
    def notes(self) -> tuple[Note, ...]:
        """What one should know before believing numbers read off this map."""
        found = []

        def when(true: Any, text: str) -> None:
            if true:
                found.append(Note(part="sheet map", level="unusual", text=text))

        when(
            self.intensity_variance > 0.0 and min(self.size) < FLOC_FIELD * (1.0 - 1e-9),
            phrase("sheet.cast.field_below_mm_holds_few", floc_field=f"{FLOC_FIELD * 1000.0:.0f}"),
        )
        lines = self.mean_grammage * float(np.sum(self.furnish.components.share / self.furnish.components.coarseness))
        when(
            lines * self.pixel > PIXEL_FOR_HOLES,
            phrase(
                "sheet.cast.pixels_above_m_lose_small", pixel_for_holes=f"{PIXEL_FOR_HOLES / lines * 1000000.0:.3g}"
            ),
        )
        when(
            self.pixel > float(np.min(self.furnish.components.fibre_width)) / 6.0,
            phrase("sheet.cast.pixels_above_sixth_fibre_width"),
        )
        return tuple(found)


@dataclass(frozen=True, kw_only=True, eq=False)
class Recipe:
    """What a sheet is to be cast from, lengths in metres; `size` is along and across the machine."""

    furnish: Furnish
    grammage: float
    consistency: float
    suspension_variation: float
    size: tuple[float, ...]
    pixel: float
    orientation: float
    seed: int
    retention: float
    density: float
    floc_ratio: float
    gel_crowding: float
    flocs: str
    dilation: float
    method: str
    excess_reference: float = EXCESS_REFERENCE
    decay_exponent: float = DECAY_EXPONENT
    grammage_reference: float = GRAMMAGE_REFERENCE
    excess_spread: float = EXCESS_SPREAD


class Clouds(NamedTuple):
    """A field of fibre centres: spread in metres, and squared CV at a point."""

    spread: float
    variance: float


def _other(seed: int) -> int:
    """The seed of clouds that are not flocs."""
    return (int(seed) + (1 << 40)) % 2**64


class _Plan(NamedTuple):
    """Everything a sheet needs, in pixels."""

    rows: int
    columns: int
    size: tuple[float, float]
    grid: tuple[int, int]
    spread: float
    variance: float
    fibres: float
    kinds: Kinds
    fibre_grammage: float
    floc_spread: float
    excess: Clouds | None
    """What a light sheet has above chance; None: nothing."""


def simulate(
    furnish: Furnish,
    grammage: float,
    consistency: float,
    suspension_variation: float,
    size: float | tuple[float, float],
    pixel: float,
    orientation: float,
    seed: int,
    *,
    retention: float = 1.0,
    density: float = 1000.0,
    floc_ratio: float = 3.0,
    gel_crowding: float = 16.0,
    flocs: str = "lognormal",
    dilation: float = 0.0,
    method: str = "strip",
    excess_reference: float = EXCESS_REFERENCE,
    decay_exponent: float = DECAY_EXPONENT,
    grammage_reference: float = GRAMMAGE_REFERENCE,
    excess_spread: float = EXCESS_SPREAD,
    threads: int | None = None,
    on_progress: Progress | None = None,
) -> SheetMap:
    """A simulated sheet of one size (or two: along, across the machine) at one pixel, all in metres.

    `dilation` widens every fibre by that much all round, to count the holes that a disc of the diameter passes.
    With `excess_reference` above 0 a light sheet is uneven beyond chance, as in `formation`: clouds of their own over
    those of the flocs.
    `on_progress(done, total)` is called as rows of tiles are finished and may raise to stop.
    """
    given = dict(locals())
    threads, on_progress = given.pop("threads"), given.pop("on_progress")
    given["size"] = tuple(float(s) for s in (size if isinstance(size, tuple | list) else (size, size)))
    return cast(Recipe(**given), threads, on_progress)


def cast(recipe: Recipe, threads: int | None = None, on_progress: Progress | None = None) -> SheetMap:
    """The sheet of a recipe."""
    _check(recipe)
    _check_words(recipe)
    with worksheet(False):
        plan = _plan(recipe)
        _check_field(plan, recipe)
    raster: Raster = np.zeros((plan.rows, plan.columns), np.float32)
    other: Raster = np.zeros(raster.shape if plan.kinds.second.size else (0, 0), np.float32)
    number = _strew(plan, recipe, (raster, other), threads, on_progress)
    same = {name: value for name, value in vars(recipe).items() if name not in ("grammage", "size")}
    return SheetMap(
        coverage=raster,
        second=other,
        fibre_grammage=plan.fibre_grammage,
        size=plan.size,
        fibres=number,
        intensity_variance=plan.variance,
        floc_spread=plan.floc_spread,
        mean_grammage=recipe.grammage,
        **same,
    )


def _plan(recipe: Recipe) -> _Plan:
    furnish, grammage, pixel, dilation = recipe.furnish, recipe.grammage, recipe.pixel, recipe.dilation
    size = (recipe.size[0], recipe.size[1])
    c = furnish.components
    blend = random_sheet(furnish, grammage, 0.0, recipe.floc_ratio, recipe.orientation)
    check_coverage(blend, grammage)
    state = flocs_of(
        blend, grammage, recipe.consistency, recipe.suspension_variation, recipe.retention, recipe.density,
        recipe.gel_crowding,
    )  # fmt: skip
    number = np.asarray(network.fibre_number(c.share * grammage, c.fibre_length, c.coarseness))
    length, width = c.fibre_length + dilation, c.fibre_width + dilation
    layer = c.coarseness * c.fibre_length / (length * width)
    same = bool(np.all(np.abs(layer - layer[0]) <= 1e-12 * layer[0]))
    second = np.empty(0) if same else layer
    spread = float(blend.floc_spread)
    excess = _excess(recipe)
    finest = spread if excess is None else min(spread, excess.spread)
    rows, columns = (round(s / pixel) for s in size)
    return _Plan(
        rows=rows,
        columns=columns,
        size=size,
        grid=cell_grid(size, finest),
        spread=spread / pixel,
        variance=float(state.intensity_variance),
        fibres=float(number.sum()) * size[0] * size[1],
        kinds=Kinds(
            upto=np.cumsum(number) / number.sum(),
            length=length / pixel,
            width=width / pixel,
            weight=np.ones(number.size, np.float32),
            second=second.astype(np.float32),
        ),
        fibre_grammage=float(layer[0]),
        floc_spread=spread,
        excess=excess,
    )


def _excess(recipe: Recipe) -> Clouds | None:
    """Clouds of fibre centres that give the sheet its excess: fibres smear them by a 24th of their squared length."""
    given = LightSheet(recipe.excess_reference, recipe.decay_exponent, recipe.grammage_reference, recipe.excess_spread)
    found = excess_of(recipe.furnish, recipe.grammage, 0.0, 0.0, given)
    if not found.in_points:
        return None
    c = recipe.furnish.components
    smear = float(np.sum(c.share * c.fibre_length**2)) / 24.0
    wide = recipe.excess_spread**2
    narrow = max(wide - smear, 0.25 * wide)
    return Clouds(float(np.sqrt(narrow)), float(found.in_points) * wide / narrow)


def _strew(
    plan: _Plan,
    recipe: Recipe,
    rasters: tuple[Raster, Raster],
    threads: int | None,
    on_progress: Progress | None,
) -> int:
    """Strew the fibres over the rasters; the number of them."""
    law, seed = recipe.flocs, recipe.seed
    if law == "thomas" and plan.variance > 0.0:
        density = plan.fibres / (plan.rows * plan.columns)
        companions = float(floc_relations.floc_companions(plan.variance, density, plan.spread))
        how = Clustering(plan.fibres, companions, plan.spread, recipe.orientation)
        fibres = clusters(plan.grid, (plan.rows, plan.columns), how, plan.kinds, seed, threads)
        if fibres.x.size:
            lay(fibres, *rasters, threads, on_progress)
        return int(fibres.x.size)
    dense = intensity(plan.grid, plan.size, plan.floc_spread, plan.variance, law, seed, threads)
    if plan.excess is not None:
        own = intensity(plan.grid, plan.size, plan.excess.spread, plan.excess.variance, law, _other(seed), threads)
        dense *= own
        del own
        dense /= dense.mean()
    dense *= plan.fibres / dense.size
    number = counts(dense, seed, threads)
    del dense
    tiles = tile_plan(plan.rows, plan.columns, float(plan.kinds.length.max()), float(plan.kinds.width.max()))
    rows, columns = (
        _cell_edges(cells, pixels, tiles.margin, even)
        for cells, pixels, even in zip(plan.grid, (plan.rows, plan.columns), (True, False), strict=True)
    )

    def work(row: int) -> None:
        drawn = (np.uint64(seed), recipe.orientation)
        _row_of_cells(rows[row], rows[row + 1], columns, number, drawn, plan.kinds, rasters, tiles.needs)

    run_rows(work, rows.size - 1, threads, on_progress)
    return int(number.sum(dtype=np.int64))


def _cell_edges(cells: int, pixels: int, margin: int, even: bool) -> NDArray[np.int64]:
    """Edges of the tiles in cells: tiles of at least twice the margin, an even number of them or one."""
    number = tile_number(pixels, margin, even=even)
    while number > 1 and (cells // number) * pixels / cells < 2 * margin:
        number -= 2 if even and number > 2 else 1
    return np.arange(number + 1, dtype=np.int64) * cells // number


@machine
def _row_of_cells(
    top: int, bottom: int, edges: Any, number: Any, drawn: Any, kinds: Any, rasters: Any, needs: Any
) -> None:
    """All tiles of one row of tiles, in order: the fibres of their cells, cell by cell."""
    seed, orientation = drawn
    upto, lengths, widths, weights, seconds = kinds
    raster, other = rasters
    margin = needs[0]
    room, taps, base = scratch_for(needs)
    down = raster.shape[0] / number.shape[0]
    across = raster.shape[1] / number.shape[1]
    row0 = int(np.floor(top * down)) - margin
    high = int(np.ceil(bottom * down)) + margin - row0
    for tile in range(edges.size - 1):
        column0 = int(np.floor(edges[tile] * across)) - margin
        used = int(np.ceil(edges[tile + 1] * across)) + margin - column0
        wide = stride(used)
        flat = np.zeros(high * wide, np.float32)
        flat_other = np.zeros(flat.size if other.size else 0, np.float32)
        for row in range(top, bottom):
            for column in range(edges[tile], edges[tile + 1]):
                key = cell_key(seed, FIBRES, row * number.shape[1] + column)
                for fibre in range(number[row, column]):
                    kind = kind_of(upto, draw(key, 4 * fibre))
                    along_x, along_y = direction(draw(key, 4 * fibre + 3), orientation)
                    strip = (
                        (column + draw(key, 4 * fibre + 1)) * across - column0,
                        (row + draw(key, 4 * fibre + 2)) * down - row0,
                        along_x,
                        along_y,
                        lengths[kind],
                        widths[kind],
                    )
                    both = (weights[kind], seconds[kind] if other.size else _F0)
                    lay_strip(strip, both, flat, flat_other, wide, room, taps, base)
        flush(flat, wide, used, raster, row0, column0)
        if other.size:
            flush(flat_other, wide, used, other, row0, column0)


def _check(recipe: Recipe) -> None:
    words = ("grammage", "consistency", "suspension_variation", "retention", "density", "floc_ratio", "gel_crowding")
    light = ("orientation", *LightSheet._fields)
    values: dict[str, Num] = {word: getattr(recipe, word) for word in (*words, *light)}
    furnish, seed = recipe.furnish, recipe.seed
    many = [word for word, value in values.items() if np.ndim(value)]
    if many or np.ndim(furnish.share) > 1:
        word = many[0] if many else "furnish"
        raise Refused(fault_in("sheet.cast.one_sheet_at_time", word, "many cases"))
    faults = check_ranges(values)
    faults.extend(faults_of_raster(furnish, recipe.size, recipe.pixel))
    if isinstance(seed, bool) or not isinstance(seed, int | np.integer) or not 0 <= int(seed) < 2**64:
        faults.append(fault_in("sheet.cast.seed", "seed", str(seed)))
    if faults:
        raise Refused(faults)


def _check_words(recipe: Recipe) -> None:
    faults = [
        fault_in("sheet.cast.must_be_one", field, repr(word), known=", ".join(known), known_2=known[0])
        for field, word, known in (("flocs", recipe.flocs, LAWS), ("method", recipe.method, METHODS))
        if word not in known
    ]
    if recipe.flocs == "thomas" and recipe.excess_reference > 0.0:
        faults.append(fault_in("sheet.cast.flocs", "flocs", "thomas"))
    if not (np.isfinite(recipe.dilation) and recipe.dilation >= 0.0):
        faults.append(fault_in("sheet.cast.dilation", "dilation", as_text(recipe.dilation)))
    if faults:
        raise Refused(faults)


def _check_field(plan: _Plan, recipe: Recipe) -> None:
    """Refuse a field too small for its flocs, a map too large for the memory at hand or for having no compiler."""
    if plan.fibres > LARGE and not can_compile():
        needs("numba", FAST)
    size, pixel = recipe.size, recipe.pixel
    least = SPREADS_PER_SIZE * plan.floc_spread
    if plan.variance > 0.0 and min(size) < least:
        raise Refused(
            fault_in(
                "sheet.cast.size",
                "size",
                as_text(size) + " m",
                spreads_per_size=f"{SPREADS_PER_SIZE:.0f}",
                least=f"{least:.6g}",
            )
        )
    need = _bytes_needed(plan, recipe.flocs)
    have = memory_at_hand()
    if need > _SHARE_OF_MEMORY * have:
        raise Refused(
            fault_in(
                "sheet.cast.must_fit_into_gib_memory",
                "size",
                f"{as_text(size)} m at {pixel:.6g} m, {need / 2**30:.3g} GiB",
                share_of_memory=f"{_SHARE_OF_MEMORY * have / 2**30:.3g}",
            )
        )


def _bytes_needed(plan: _Plan, law: str) -> float:
    rasters = 2 if plan.kinds.second.size else 1
    cells = plan.grid[0] * plan.grid[1]
    fibres = 0.0
    if law == "thomas" and plan.variance > 0.0:
        companions = plan.variance * plan.fibres / (plan.rows * plan.columns) * 4.0 * np.pi * plan.spread**2
        fibres = 120.0 * plan.fibres + 16.0 * plan.fibres / companions
    return 4.0 * rasters * plan.rows * plan.columns + 48.0 * cells + fibres


def memory_at_hand() -> float:
    """Bytes of memory that can be had without swapping, as far as the system tells."""
    try:
        with open("/proc/meminfo", encoding="ascii") as lines:
            for line in lines:
                if line.startswith("MemAvailable:"):
                    return 1024.0 * float(line.split()[1])
    except OSError:
        pass
    if sys.platform != "win32" and "SC_PHYS_PAGES" in os.sysconf_names:
        return float(os.sysconf("SC_PHYS_PAGES")) * float(os.sysconf("SC_PAGE_SIZE"))
    return 8.0 * 2**30
