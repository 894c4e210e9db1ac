"""How long a sweep of a machine takes, whether it grows in proportion, and whether its memory stays flat.

Run it by hand: `.venv/bin/python benchmarks/sweep.py [--cases 1000000]`. Nothing here is a timed test. Processor time
is printed beside the time on the clock, since other work on the machine stretches only the latter.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import thinstock
from thinstock.studies.machine_axes import plan_of, varied
from thinstock.studies.machine_sweep import SIZE, Running, machine_sweep

RANGES = [
    "yankee.speed=1500..1950 m/min",
    "headbox.consistency=0.15..0.25 %",
    "grade.reel_grammage=14.5..16.5 g/m2",
    "stock.resistance_factor=1..3",
    "hood.hood_factor=0.5..0.6",
]
MUST = 20.0
"""A million cases with all stations, streams and energy, s, on two free cores."""


def sweep(machine: Any, cases: int, workers: int) -> tuple[float, float, float]:
    """Time on the clock, processor time, and largest memory so far (MiB) of one sweep."""
    plan = plan_of(varied(machine, RANGES), "sobol", cases, 1)
    folder = Path(tempfile.mkdtemp(prefix="thinstock-sweep-"))
    try:
        start, spent = time.perf_counter(), time.process_time()
        with ThreadPoolExecutor(workers) as pool:
            machine_sweep(machine, plan, folder=folder, running=Running(size=min(SIZE, cases), executor=pool))
        took, spent = time.perf_counter() - start, time.process_time() - spent
    finally:
        shutil.rmtree(folder)
    return took, spent, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machine", default="facial-roll")
    parser.add_argument("--cases", type=int, default=1_000_000)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--hold", default="", help="what holds the reel dryness; without it as in the machine's file")
    given = parser.parse_args()
    machine = thinstock.load(given.machine)
    if given.hold:
        machine = machine.with_({"hold_reel_dryness_by": given.hold})
    print(f"{machine.title}; reel dryness held by: {machine.hold_reel_dryness_by}; {given.workers} threads")
    sweep(machine, 5_000, given.workers)
    print(f"{'cases':>10} {'clock s':>9} {'µs/case':>9} {'processor s':>12} {'cores used':>11} {'memory MiB':>11}")
    for cases in sorted({given.cases // 10, given.cases // 3, given.cases}):
        took, spent, memory = sweep(machine, cases, given.workers)
        each = 1e6 * took / cases
        print(f"{cases:>10} {took:>9.1f} {each:>9.1f} {spent:>12.1f} {spent / took:>11.2f} {memory:>11.0f}")
    free = spent / min(2, given.workers)
    whole = 1e6 * free / cases
    print(f"on two free cores a million would take at least {whole:.0f} s by processor time (at most {MUST:.0f})")


if __name__ == "__main__":
    main()
