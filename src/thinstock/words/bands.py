"""Where published figures and common practice put a result: read from bands.toml, told where a run leaves them.

A band is no limit and nothing is fitted to it: a result outside says that this machine, or this model, is unlike those
the figures are of.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np

from thinstock.words import units
from thinstock.words.figures import figure


@dataclass(frozen=True, kw_only=True)
class Band:
    """One range of one result, SI; a bound that is not known is infinite."""

    result: str
    part: str
    label: str
    low: float
    high: float
    unit: str
    said: str
    status: str
    press: str
    """Kind of the last nip it is for; empty for any."""

    def text(self, value: float) -> str:
        """The value beside the band, in its own unit."""

        def told(number: float) -> str:
            return figure(float(units.from_si(number, self.unit)), 3)

        low, high = told(self.low) if np.isfinite(self.low) else "", told(self.high)
        where = f"outside {low} to {high}" if low else f"above {high}"
        return f"{self.label} {told(value)} {self.unit} is {where} {self.unit} ({self.said})"


def _bound(row: dict[str, str], name: str, missing: float) -> float:
    return float(units.parse(row[name])) if name in row else missing


@lru_cache(maxsize=1)
def bands() -> tuple[Band, ...]:
    """All bands in the order of the file."""
    rows = tomllib.loads(files("thinstock.words").joinpath("bands.toml").read_text(encoding="utf-8"))["band"]
    return tuple(
        Band(
            **{name: row.get(name, "") for name in ("result", "part", "label", "said", "status", "press")},
            low=_bound(row, "low", -np.inf),
            high=_bound(row, "high", np.inf),
            unit=row["high"].split(" ", 1)[1],
        )
        for row in rows
    )


def of(press: str) -> tuple[Band, ...]:
    """Those that are for a machine with a Yankee, by the kind of its last nip."""
    return tuple(band for band in bands() if band.press in ("", press))
