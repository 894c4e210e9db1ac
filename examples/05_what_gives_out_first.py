"""What gives out first?

Every part has a highest speed; the lowest of them is the bottleneck. A limit that nobody entered is not known, and is
never taken as unlimited.
"""

from __future__ import annotations

import sys
from pathlib import Path

import thinstock


def numbers() -> dict[str, float | str | None]:
    """The bottleneck, its margin, and what follows when it is widened."""
    machine = thinstock.load("facial-roll")
    limits = thinstock.limits(machine)
    first = limits.binding
    found: dict[str, float | str | None] = {
        "gives out first": first.part,
        "at, m/min": 60 * first.speed,
        "margin": first.margin,
        "parts whose limit is not known": ", ".join(row.part for row in limits.rows if row.scope == "not known"),
    }
    shoe = thinstock.limits(thinstock.load("facial-shoe"))
    found["with a shoe press, first"] = shoe.binding.part
    found["with a shoe press, at, m/min"] = 60 * shoe.binding.speed
    return found


def plot(path: str | Path) -> None:
    """Speed limits of every part."""
    Path(path).write_text(thinstock.chart("limits", thinstock.limits(thinstock.load("facial-roll"))), encoding="utf-8")


if __name__ == "__main__":
    for name, value in numbers().items():
        print(f"{name:<32}{value}")
    if len(sys.argv) > 1:
        plot(sys.argv[1])
