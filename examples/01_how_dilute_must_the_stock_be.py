"""How dilute must the stock be?

Fibres that touch their neighbours make flocs, and flocs make clouds and holes. The crowding number says how many
fibres share a sphere one fibre length across; a formation target asks for a consistency.
"""

from __future__ import annotations

import sys
from pathlib import Path

import thinstock


def numbers() -> dict[str, float]:
    """Crowding at four consistencies, and what the grade's target asks for."""
    machine = thinstock.load("facial-roll")
    found = {}
    for percent in (0.10, 0.19, 0.40, 0.80):
        even = machine.with_({"headbox.consistency": percent / 100}).run().evenness()
        found[f"crowding at {percent:.2f} %"] = float(even.low.crowding_number)
        found[f"cv at {percent:.2f} %, worst headbox"] = float(even.high.cv)
    even = machine.run().evenness()
    ends = ("best", "normal", "worst", "no dispersion on an even wire")
    for end, answer in zip(ends, even.answers):
        found[f"floor, {end}"] = answer.floor
        if answer.consistency is not None:  # else the target is met anyhow, or by no dilution: answer.kind says which
            found[f"consistency for the target, {end}"] = answer.consistency
    return found


def plot(path: str | Path) -> None:
    """Unevenness against the size of the zone looked at."""
    result = thinstock.run("facial-roll")
    Path(path).write_text(thinstock.chart("cv_zone", result), encoding="utf-8")


if __name__ == "__main__":
    for name, value in numbers().items():
        print(f"{name:<45}{value:10.4g}")
    if len(sys.argv) > 1:
        plot(sys.argv[1])
