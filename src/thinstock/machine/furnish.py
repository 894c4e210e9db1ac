"""The furnish behind the headbox: one state of it from former to nip.

Refining opens the fibre: more surface (drains slowly) and more water inside the wall (stays wet in mat, box and nip).
Worked out once a run; former, slots and nips share it, the dryer does not know it.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from thinstock.formula.traced import from_library
from thinstock.relations import swelling
from thinstock.words import units
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.stock import Stock, Water


class Furnish(NamedTuple):
    """What the furnish is behind the headbox, and the reference it is compared with."""

    resistance: Num
    """Specific filtration resistance of the mat at 1 kPa, m/kg, without the machine's own factor."""
    water_retention_value: Num
    swollen_volume: Num
    """Wet fibre per dry mass, m³/kg."""
    mat_coefficient: Num
    """Mat consistency at 1 kPa, kg/m³."""
    specific_surface: Num
    """m²/kg; told, and used in the strong end of the press permeability alone."""
    surface_reference: Num
    volume_reference: Num
    """Specific surface and swollen volume of the chemical furnish the press model is anchored with; None where the
    surface does not count in the press."""


class SwellingRow(NamedTuple):
    """How a kind of pulp swells with its resistance."""

    resistance_reference: Num
    water_retention_reference: Num
    swelling_slope: Num


def swelling_row(name: str) -> SwellingRow:
    """A row of the library, its numbers known by their name."""
    return SwellingRow(
        *(from_library(v, f"swelling, {name}, {f}") for f, v in zip(SwellingRow._fields, _read(name), strict=True))
    )


@lru_cache(maxsize=8)
def _read(name: str) -> tuple[np.float64, ...]:
    from thinstock import library

    row = library.table("swelling")[name]
    return tuple(np.float64(units.parse(row[field]["value"], _KINDS[field])) for field in SwellingRow._fields)


_KINDS = {
    "resistance_reference": phrase("machine.furnish.length_per_mass"),
    "water_retention_reference": "mass ratio",
    "swelling_slope": "mass ratio",
}


def mean_row(stock: Stock) -> SwellingRow:
    """Mass mean of water retention and slope over the fibres; a fibre's own value stands for its row's."""
    retention: Num = 0
    slope: Num = 0
    resistance: Num = None
    for fibre in stock.furnish:
        row = swelling_row(fibre.swelling)
        own = fibre.water_retention_value
        retention = fibre.share * (row.water_retention_reference if own is None else own) + retention
        slope = fibre.share * row.swelling_slope + slope
        resistance = row.resistance_reference if resistance is None else resistance
    return SwellingRow(resistance, retention, slope if stock.swelling_slope is None else stock.swelling_slope)


def water_retention_of(stock: Stock, resistance: Num, row: SwellingRow) -> Num:
    """As entered; away from the resistance it was entered with, by the slope; left out, from the library's row."""
    entered, at = stock.water_retention_value, stock.resistance_reference
    if entered is not None and at is None:
        return entered
    if entered is None:
        entered, at = row.water_retention_reference, row.resistance_reference
    return swelling.water_retention_from_resistance(resistance, at, entered, row.swelling_slope)


def furnish_of(stock: Stock, resistance: Num, water: Water) -> Furnish:
    """The state of this stock."""
    row = mean_row(stock)
    retention = water_retention_of(stock, resistance, row)
    volume = swelling.swollen_volume_from_retention(retention, stock.wall_density, water.density)
    before = swelling.swollen_volume_from_retention(row.water_retention_reference, stock.wall_density, water.density)
    coefficient = swelling.mat_coefficient_swollen(stock.mat_coefficient, before, volume, stock.swelling_share)
    return Furnish(
        resistance=resistance,
        water_retention_value=retention,
        swollen_volume=volume,
        mat_coefficient=coefficient,
        specific_surface=swelling.specific_surface_from_resistance(
            resistance, volume, coefficient, stock.mat_exponent
        ),
        **_anchored(stock, water),
    )  # fmt: skip


def _anchored(stock: Stock, water: Water) -> dict[str, Num]:
    """Surface and volume of the anchor's furnish; worked out only where the surface counts in the press."""
    if not np.any(np.asarray(stock.surface_share) > 0):
        return {"surface_reference": None, "volume_reference": None}
    anchor = swelling_row("chemical")
    volume = swelling.swollen_volume_from_retention(anchor.water_retention_reference, stock.wall_density, water.density)
    surface = swelling.specific_surface_from_resistance(
        anchor.resistance_reference, volume, stock.mat_coefficient, stock.mat_exponent
    )
    return {"surface_reference": surface, "volume_reference": volume}
