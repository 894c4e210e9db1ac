"""The one place where the survey table meets the units of the edge.

A stated number becomes SI by the closed table of `thinstock.words.units`; here it is only said which kinds of unit
a quantity of the survey may carry. No other file of the package converts units.
"""

from __future__ import annotations

from dataclasses import dataclass

from thinstock.words import units
from thinstock.words.phrase import phrase

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
    "flow": phrase("survey.edge.kg_s_t_h_or"),
    "solids": '"kg/s" or "t/h"',
    "temperature": '"degC" or "K"',
    "power": phrase("survey.edge.mw_or_kw_fuel_lower"),
    "humidity": phrase("survey.edge.kg_kg_or_g_kg"),
    "position": phrase("survey.edge.m_or_mm_from_first"),
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
        return phrase("survey.edge.unit_not", kind_of=units.kind_of(unit), base=base)
    except ValueError:
        return phrase("survey.edge.unknown_unit")


def density(text: str) -> float:
    """A density such as "990 kg/m3" in kg/m3."""
    return units.parse(text, "density", field="water_density")
