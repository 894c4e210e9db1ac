"""What would a rebuild gain?

Two machines at equal reel dryness, never at unequal: otherwise a better press shows as over-drying. What nobody has
measured stays a range.
"""

from __future__ import annotations

import sys
from pathlib import Path

import thinstock


def numbers() -> dict[str, float]:
    """A shoe press in place of a roll press on the same Yankee."""
    before, after = thinstock.run("facial-roll"), thinstock.run("facial-shoe")
    speeds = [thinstock.limits(r.machine).binding.speed for r in (before, after)]
    return {
        "dryness out of the press before": before["dryness_press"],
        "dryness out of the press after": after["dryness_press"],
        "points gained": 100 * (after["dryness_press"] - before["dryness_press"]),
        "gas per tonne, change": after["gas_per_product"] / before["gas_per_product"] - 1,
        "steam per tonne, change": after["steam_per_product"] / before["steam_per_product"] - 1,
        "electricity per tonne, change": after["electricity_per_product"] / before["electricity_per_product"] - 1,
        "first limit before, m/min": 60 * speeds[0],
        "first limit after, m/min": 60 * speeds[1],
        "reel dryness before": before["reel_dryness_reached"],
        "reel dryness after": after["reel_dryness_reached"],
    }


def plot(path: str | Path) -> None:
    """The sheet round the Yankee after the rebuild."""
    Path(path).write_text(thinstock.chart("yankee", thinstock.run("facial-shoe")), encoding="utf-8")


if __name__ == "__main__":
    for name, value in numbers().items():
        print(f"{name:<35}{value:10.4g}")
    if len(sys.argv) > 1:
        plot(sys.argv[1])
