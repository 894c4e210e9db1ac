"""What does it cost?

Forming takes nearly all the water for little energy; the last fraction of a per cent is the bill. Money comes from
the prices in the machine file.
"""

from __future__ import annotations

import sys
from pathlib import Path

import thinstock


def numbers() -> dict[str, float]:
    """Energy and money per stage and kind."""
    result = thinstock.run("facial-roll")
    found = {}
    for row in result.water_prices:
        found[f"{row.stage}: kJ per kg of water"] = float(row.energy_per_water) / 1e3
        found[f"{row.stage}: money per tonne of paper"] = float(row.money_per_mass) * 1e3
    for kind in ("steam", "gas", "electricity"):
        found[f"{kind}, kWh per tonne"] = float(result[f"{kind}_per_product"]) / 3600
    for user in result.energy:
        found[f"{user.name}, kWh per tonne"] = float(user.per_mass) / 3600
    return found


def plot(path: str | Path) -> None:
    """Energy by consumer."""
    Path(path).write_text(thinstock.chart("energy", thinstock.run("facial-roll")), encoding="utf-8")


if __name__ == "__main__":
    for name, value in numbers().items():
        print(f"{name:<55}{value:10.4g}")
    if len(sys.argv) > 1:
        plot(sys.argv[1])
