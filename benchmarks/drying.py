"""How long drying takes: march, shell balance, joined dryer, searches; each beside a plain Python march in one run.

Run it by hand; nothing here is a timed test. Times are the best of several, in processor time of one thread.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from drying_cases import DRYER, SHEET, VESSEL, segments
from thinstock.kernels import dryer, yankee
from twins import yankee as twin


def best(work: Callable[[], Any], times: int) -> float:
    """Least time of several runs, s."""
    work()
    taken = []
    for _ in range(times):
        start = time.thread_time()
        work()
        taken.append(time.thread_time() - start)
    return min(taken)


def main() -> None:
    plain = best(lambda: twin.march(SHEET, 407.57, segments(), (2, 8, 2)), 2)
    print(f"{'plain Python march, 2+8+2 steps':50s} {1e3 * plain:9.3f} ms")
    under = segments()
    rows: list[tuple[str, Callable[[], Any], int]] = []
    for steps, tolerance in (((4, 40, 4), 1e-8), ((2, 8, 2), 1e-5)):
        given = {**SHEET, **VESSEL, "segments": under, "steps": steps, "tolerance": tolerance}
        search = {name: value for name, value in given.items() if name != "yankee_speed"}
        whole = {**DRYER, "steps": steps, "tolerance": tolerance}
        many = {**whole, "moisture_ratio": np.linspace(1.2, 1.6, 400)}
        name = "+".join(map(str, steps))
        rows += [
            (f"shell balance, {name}", lambda g=given: yankee.balance_mean_flux(**g), 1),
            (f"largest speed, {name}", lambda s=search: yankee.speed_for_dryness(0.95, 5.0, 60.0, **s), 1),
            (f"joined dryer, {name}", lambda w=whole: dryer.dry(**w), 1),
            (f"joined dryer held by hood air, {name}", lambda w=whole: dryer.dry(**{**w, "hold": 1}), 1),
            (f"joined dryer, per case of 400, {name}", lambda m=many: dryer.dry(**m), 400),
            (
                f"joined dryer held, per case of 400, {name}",
                lambda m=many: dryer.dry(**{**m, "hold": 1}),
                400,
            ),
        ]
    for name, work, cases in rows:
        taken = best(work, 20) / cases
        print(f"{name:50s} {1e3 * taken:9.3f} ms   plain march / this: {plain / taken:9.0f}")


if __name__ == "__main__":
    main()
