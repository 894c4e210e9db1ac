"""Units of the charts' axes, and what every chart asks of a result."""

from __future__ import annotations

from typing import Any

from thinstock.errors import Refused
from thinstock.machine.result import Result
from thinstock.words import units
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

Rows = list[dict[str, Any]]
UnitSet = units.UnitSet


CHART_UNITS: dict[str, dict[UnitSet, str]] = {
    "speed": {"mill": "m/min", "si": "m/s", "us": "ft/min"},
    "flow": {"mill": "m³/(min·m)", "si": "m²/s", "us": "gal/min/in"},
    "energy": {"mill": "kWh/t", "si": "kWh/t", "us": phrase("drawing.chart_units.kwh_short_ton")},
    "consistency": {"mill": "%", "si": "%", "us": "%"},
    "zone": {"mill": "mm", "si": "mm", "us": "mm"},
    "temperature": {"mill": "°C", "si": "°C", "us": "°F"},
    "length": {"mill": "m", "si": "m", "us": "ft"},
    "pressure": {"mill": "kPa", "si": "kPa", "us": "psi"},
    "grammage": {"mill": "g/m²", "si": "g/m²", "us": "lb/3000 ft²"},
}
"""Units of the axes."""
_KINDS = {
    "flow": phrase("drawing.chart_units.volume_flow_per_width"),
    "speed": "speed",
    "energy": phrase("drawing.chart_units.energy_per_mass"),
    "consistency": "fraction",
    "zone": "length",
    "length": "length",
    "temperature": "temperature",
    "pressure": "pressure difference",
    "grammage": "grammage",
}


def edge(value: float, what: str, unit_set: UnitSet) -> float:
    """A value in the unit of an axis."""
    return float(units.from_si(value, CHART_UNITS[what][unit_set], _KINDS[what]))


def single(result: Result) -> None:
    if not result.single:
        raise Refused(fault_in("charts.chart_units.result", "result", phrase("charts.several")))
