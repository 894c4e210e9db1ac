"""What is usual for a reading and a method, offered to a surveyor who asks; nothing is ever filled in from it."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files


@dataclass(frozen=True, kw_only=True)
class Typical:
    """A usual standard uncertainty (one standard deviation) of one kind of reading."""

    reading: str
    quantity: str
    method: str
    low: str
    """As the survey table would have it in the column `uncertainty`."""
    high: str
    unit: str
    """Of numbers that are no per cent of the value; empty if there are none."""
    remark: str
    status: str
    source: str


@lru_cache(maxsize=1)
def _rows() -> tuple[Typical, ...]:
    raw = tomllib.loads(files("thinstock.survey").joinpath("typical.toml").read_text(encoding="utf-8"))
    return tuple(
        Typical(
            reading=row["reading"],
            quantity=row["quantity"],
            method=row["method"],
            low=row["uncertainty"][0],
            high=row["uncertainty"][1],
            unit=row.get("unit", ""),
            remark=row["remark"],
            status=raw["status"],
            source=raw["source"],
        )
        for row in raw["row"]
    )


def typical_uncertainties(about: str = "") -> tuple[Typical, ...]:
    """All rows, or those whose reading, quantity or method holds every word of `about` ("fan flow", "consistency").

    Source: ASSUMED. Status: assumed (judgement of the trade).
    """
    words = about.lower().split()
    return tuple(
        row for row in _rows() if all(w in f"{row.reading} {row.quantity} {row.method}".lower() for w in words)
    )
