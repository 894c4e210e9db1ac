"""How much water is that?

Flow per metre of width = grammage on the wire · speed / (retention · consistency · density). Half the consistency is
twice the flow; the fan pump feels it twice, in flow and in what the pipes lose.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

import thinstock


def numbers() -> dict[str, float]:
    """Flow and water per fibre of a machine, and its pump power at half the consistency."""
    machine = thinstock.load("facial-roll")
    result = machine.run()
    thin = float(result["consistency"])
    halved = machine.with_({"headbox.consistency": thin / 2}).run()
    return {
        "flow per metre, L/(min·m)": 60e3 * result["flow_per_width"],
        "water per fibre, kg/kg": result["water_per_fibre"],
        "bathtubs of 150 L a minute": 60 * result["headbox_flow"] / 0.150,
        "flow at half the consistency, over flow now": halved["flow_per_width"] / result["flow_per_width"],
        "fan-pump power then, over power now": halved["fan_power"] / result["fan_power"],
    }


def plot(path: str | Path) -> None:
    """Flow against speed: what grades ask for, over where formers are run."""
    result = thinstock.run("facial-roll")
    Path(path).write_text(thinstock.chart("flow_speed", result), encoding="utf-8")


def many(count: int = 1000) -> np.ndarray:
    """Flow over many consistencies in one run: a value may be an array, one entry a case."""
    consistencies = np.linspace(0.0010, 0.0040, count)
    return thinstock.load("facial-roll").with_({"headbox.consistency": consistencies}).run()["flow_per_width"]


if __name__ == "__main__":
    for name, value in numbers().items():
        print(f"{name:<50}{value:10.4g}")
    if len(sys.argv) > 1:
        plot(sys.argv[1])
