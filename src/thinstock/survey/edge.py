"""The one place where the survey table meets the units of the edge.

A stated number becomes SI by the closed table of `thinstock.words.units`; here it is only said which kinds of unit
a quantity of the survey may carry. No other file of the package converts units.
"""

from __future__ import annotations

from dataclasses import dataclass

from thinstock.words import units

FRACTIONS = ("consistency", "dryness", "moisture", "share")
ALLOWED = {
    **dict.fromkeys(FRACTIONS, ("fraction",)),
    "flow": ("mass flow", "volume flow", "gas flow"),
    "solids": ("mass flow",),
    "temperature": ("temperature",),
    "power": ("power",),
    "humidity": ("humidity",),
    "position": ("length", "angle", "fraction"),
}
SPELLINGS = {
    **dict.fromkeys(FRACTIONS, '"%" or "1"'),
    "flow": '"kg/s", "t/h" or, with a stated water_density, "m3/h", "L/s"',
    "solids": '"kg/s" or "t/h"',
    "temperature": '"degC" or "K"',
    "power": '"MW" or "kW" (of a fuel: lower heating value)',
    "humidity": '"kg/kg" or "g/kg" of dry air',
    "position": '"m" or "mm" from the first forming element, "deg" of wrap, or "%" of the forming zone',
}


@dataclass(frozen=True)
class EdgeUnit:
    """A unit of the table: SI value = scale * number + offset."""

    kind: str
    scale: float
    offset: float = 0.0


def edge_unit(unit: str, base: str) -> EdgeUnit | str:
    """Kind, scale and offset of a spelling for a quantity of the survey, or why it will not do."""
    for kind in ALLOWED[base]:
        found = units.find(unit, kind)
        if found is not None:
            return EdgeUnit(kind, found.factor, found.offset)
    try:
        return f"is a unit of {units.kind_of(unit)}, not of {base}"
    except ValueError:
        return "is an unknown unit"


def density(text: str) -> float:
    """A density such as "990 kg/m3" in kg/m3."""
    return units.parse(text, "density", field="water_density")
