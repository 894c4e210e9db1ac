"""What the tool brings along: testers, fibres, fabrics, grades. Every value carries its source and status
in its file.

Only values with units are read here; nothing is worked out, and nothing heavy is imported.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

from thinstock.errors import Fault, Refused
from thinstock.library.former_files import (
    KEYS,
    NINE,
    PLACE,
    former_file,
    former_rows,
    key_of,
    library_file,
)
from thinstock.library.grade_rows import GradeRow, grade, grade_names
from thinstock.words import units
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.relations.freeness import Tester

__all__ = [
    "KEYS",
    "NINE",
    "PLACE",
    "Era",
    "Evenness",
    "GradeRow",
    "era",
    "evenness",
    "former_file",
    "former_rows",
    "grade",
    "grade_names",
    "key_of",
    "light_sheet",
    "table",
    "tester",
]

_TESTER_KINDS = {
    "area": "area",
    "chamber_area": "area",
    "volume": "volume",
    "consistency": "fraction",
    "fabric_resistance": "per length",
    "fabric_inertia": "number",
    "orifice_flow": "volume flow",
    "holdup": "volume",
}


def table(name: str) -> dict[str, Any]:
    """A library file as it stands, with sources and status."""
    return library_file(name)


class Evenness(NamedTuple):
    """How a headbox disperses stock and how far a light sheet is above chance, as they go together."""

    suspension_variation: float
    excess_reference: float
    decay_exponent: float


@lru_cache(maxsize=1)
def evenness() -> dict[str, Evenness]:
    """Ends of what is assumed of a sheet that nobody measured: "best", "base" and "worst"."""
    rows = table("formation")["evenness"]
    return {
        name: Evenness(*(units.parse(row[field], "number", field=f"evenness.{name}") for field in Evenness._fields))
        for name, row in rows.items()
    }


@lru_cache(maxsize=1)
def light_sheet() -> dict[str, float]:
    """Grammage and clouds of a light sheet, SI: grammage_reference, excess_spread."""
    rows = table("formation")["light_sheet"]
    kinds = {"grammage_reference": "grammage", "excess_spread": "length"}
    return {name: units.parse(rows[name]["value"], kind, field=name) for name, kind in kinds.items()}


class Era(NamedTuple):
    """When, how fast (m/s), how thin (kg/kg) and how wide (m) a former ran, and on what (kg/m² at the reel)."""

    years: str
    speed_low: float
    speed_usual: float
    speed_high: float
    reel_grammage: float
    consistency_low: float
    consistency_usual: float
    consistency_high: float
    width_low: float
    width_high: float
    fabric_tension: float | None
    """Of the wires of the time, N/m, where it was another than today's."""
    note: str
    """What of it stands in print; the rest is common practice, from memory."""
    status: dict[str, str]
    """Of each value."""


@lru_cache(maxsize=16)
def era(key: str) -> Era | None:
    """The era of a former by its key; None for one that nobody ran."""
    table = library_file("eras")
    name = next((k for k in table if k == key or (k.endswith("*") and key.startswith(k[:-1]))), None)
    if name is None:
        return None
    row, kinds = table[name], {
        "speed": "speed", "reel": "grammage", "consistency": "fraction", "width": "length", "fabric": "line load",
    }  # fmt: skip
    given = [field for field in Era._fields if field in row and field != "years"]
    values = {
        field: units.parse(row[field]["value"], kinds[field.split("_")[0]], field=f"eras.{name}.{field}")
        for field in given
    }
    status = {field: row[field].get("status", table["status"]) for field in given}
    tension = values.pop("fabric_tension", None)
    return Era(years=row["years"], **values, fabric_tension=tension, note=row["in_print"], status=status)


@lru_cache(maxsize=8)
def tester(name: str) -> Tester:
    """A drainage tester by name: "CSF" or "SR"."""
    from thinstock.relations.freeness import Tester

    rows = table("testers")
    if name not in rows:
        bound = phrase("library.library.known_testers") + ", ".join(rows)
        raise Refused(Fault(field="tester", value=name, bound=bound, remedy=phrase("library.library.choose_one_these")))
    values = {
        field: units.parse(rows[name][field]["value"], kind, field=f"testers.{name}.{field}")
        for field, kind in _TESTER_KINDS.items()
    }
    return Tester(**values)
