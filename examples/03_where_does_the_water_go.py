"""Where does the water go?

Every kilogram that the jet brings leaves somewhere. The stations say how much is left in the sheet; the streams say
where the rest went, and they close.
"""

from __future__ import annotations

import sys
from pathlib import Path

import thinstock


def numbers() -> dict[str, float]:
    """Shares of the water by stage, and how well the streams close."""
    result = thinstock.run("facial-roll")
    found = {f"share taken by {row.stage}": float(row.share) for row in result.water_prices}
    found |= {f"water left after {s.name}, kg/kg": float(s.moisture_ratio) for s in result.stations}
    found |= {f"imbalance of {what}": worst for what, worst in result.closure().items()}
    return found


def plot(path: str | Path) -> None:
    """The water staircase."""
    Path(path).write_text(thinstock.chart("water_staircase", thinstock.run("facial-roll")), encoding="utf-8")


if __name__ == "__main__":
    for name, value in numbers().items():
        print(f"{name:<45}{value:12.4g}")
    if len(sys.argv) > 1:
        plot(sys.argv[1])
