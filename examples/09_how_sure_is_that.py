"""How sure is that?

Every input with an uncertainty is moved once, and the results move with it. What is common to two machines cancels in
their difference: differences are surer than numbers.
"""

from __future__ import annotations

import sys
from pathlib import Path

import thinstock


def numbers() -> dict[str, float]:
    """Standard uncertainty of four headline numbers, and the input that matters most for each."""
    machine = thinstock.load("facial-roll")
    spreads = thinstock.study(machine)
    found = {}
    for name in ("flow_per_width", "dryness_press", "gas_per_product", "electricity_per_product"):
        one = spreads[name]
        found[f"{name}, relative standard uncertainty"] = float(one.standard_uncertainty / one.value)
        address, share = one.largest(1)[0]
        found[f"{name}, of which by {address}"] = abs(float(share)) / float(one.value)
    return found


def plot(path: str | Path) -> None:
    """Drainage along the former with its band."""
    Path(path).write_text(thinstock.chart("drainage", thinstock.run("facial-roll")), encoding="utf-8")


if __name__ == "__main__":
    for name, value in numbers().items():
        print(f"{name:<80}{value:10.4g}")
    if len(sys.argv) > 1:
        plot(sys.argv[1])
