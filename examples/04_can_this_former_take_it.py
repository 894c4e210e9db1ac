"""Can this former take it?

One sheet, one wire, every former of the trade: the lowest consistency each could run at one speed, as a band until
the end of forming was seen on a machine.
"""

from __future__ import annotations

import sys
from pathlib import Path

import thinstock

SPEED = 1500 / 60
"""m/s."""


def numbers() -> dict[str, tuple[float | None, float | None, str]]:
    """Lowest consistency of every former, with the mat as in the tester and five times as tight; what stops it."""
    ladder = thinstock.formers(thinstock.load("facial-roll"), speeds=[SPEED])
    found = {}
    for rung in ladder.rungs:
        answer = rung.at(SPEED)
        found[rung.name] = (answer.lowest.consistency, answer.lowest_slow.consistency, answer.lowest.first)
    return found


def plot(path: str | Path) -> None:
    """Lowest consistency by speed, former by former."""
    Path(path).write_text(
        thinstock.chart("lowest_consistency", thinstock.formers(thinstock.load("facial-roll"))), encoding="utf-8"
    )


if __name__ == "__main__":
    for name, (low, high, stop) in numbers().items():
        band = " to ".join("none" if c is None else f"{100 * c:.3f} %" for c in (low, high))
        print(f"{name:<32}{band:<24}{stop}")
    if len(sys.argv) > 1:
        plot(sys.argv[1])
