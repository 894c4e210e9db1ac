"""What the tool brings along: testers, fibres, fabrics, grades. Every value carries its source and status
in its file.

Only values with units are read here; nothing is worked out.
"""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib.resources import files
from typing import Any

from thinstock import units
from thinstock.errors import Fault, Refused
from thinstock.relations.freeness import Tester

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


@lru_cache(maxsize=16)
def table(name: str) -> dict[str, Any]:
    """A library file as it stands, with sources and status."""
    return tomllib.loads(files("thinstock.library").joinpath(f"{name}.toml").read_text(encoding="utf-8"))


@lru_cache(maxsize=8)
def tester(name: str) -> Tester:
    """A drainage tester by name: "CSF" or "SR"."""
    rows = table("testers")
    if name not in rows:
        bound = "known testers are " + ", ".join(rows)
        raise Refused(Fault(field="tester", value=name, bound=bound, remedy="Choose one of these"))
    values = {
        field: units.parse(rows[name][field]["value"], kind, field=f"testers.{name}.{field}")
        for field, kind in _TESTER_KINDS.items()
    }
    return Tester(**values)
