"""How long the work takes that people feel, beside what it must reach, a plain chain and drawing libraries; in one run.

Run it by hand: `.venv/bin/python benchmarks/run.py [--cases 100000]`, or with `--against PATH` beside an older
checkout, in turns (`paired.py`). Nothing here is a timed test; ratios and counts are what carries over from machine to
machine. Other benchmarks stand beside this one (drying, reconciliation, sheet).
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from paired import HERE, sweep, table
from plain_chain import as_plain, differences, dried_as_even, plain_chain
from sheet import against_libraries

import thinstock

MACHINE = "facial-roll"


def median(work: Callable[[], Any], times: int) -> float:
    """Median time of several runs after one that warms up, s."""
    work()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def command(*args: str) -> Callable[[], Any]:
    """A call of the command line in a new process."""
    return lambda: subprocess.run([sys.executable, "-m", "thinstock", *args], capture_output=True, check=True)


def python(code: str) -> Callable[[], Any]:
    """A new process that runs a line of Python."""
    return lambda: subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)


def row(name: str, seconds: float, target: float) -> None:
    """One line: what was measured, what must be reached, how much there is to spare."""
    print(f"  {name:<58} {_time(seconds):>10} {_time(target):>10} {target / seconds:>8.1f}")


def _time(seconds: float) -> str:
    return f"{seconds * 1e3:.1f} ms" if seconds < 1 else f"{seconds:.1f} s"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="What people feel, beside what it must reach.")
    parser.add_argument("--cases", type=int, default=100_000, help="cases of the long sweep")
    parser.add_argument("--against", type=Path, help="an older checkout to compare with, in turns")
    parser.add_argument("--rounds", type=int, default=3, help="rounds of the comparison")
    asked = parser.parse_args()
    cases = asked.cases
    table((HERE,) if asked.against is None else (asked.against.resolve(), HERE), asked.rounds)
    print()
    machine = thinstock.load(MACHINE)
    print(f"{MACHINE}, {os.cpu_count()} cores, numpy {np.__version__}, Python {sys.version.split()[0]}\n")
    print(f"  {'work':<58} {'measured':>10} {'target':>10} {'to spare':>8}")

    one = median(machine.run, 30)
    row("one run of a complete machine, warm", one, 3e-3)
    row("all speed limits of one machine, warm", median(lambda: thinstock.limits(machine), 7), 30e-3)
    row("command line, new process, caches warm, one run", median(command("run", MACHINE), 5), 1.5)
    row("command line, new process, --help", median(command("--help"), 5), 0.3)
    bare = median(python("pass"), 5)
    more = median(python("import thinstock"), 5) - bare
    print(f"  {'import thinstock, beyond a bare interpreter':<58} {_time(more):>10}")

    sweep(machine, max(cases // 10, 1000))
    short, long = sweep(machine, max(cases // 5, 1000)), sweep(machine, cases)
    row("a million cases (stations, streams, energy), scaled", long / cases * 1e6, 20.0)
    growth = (long / cases) / (short / max(cases // 5, 1000))
    print(f"  {'growth: time per case, long sweep over a fifth of it':<58} {growth:>10.2f} {'1.00':>10}")

    machine = as_plain(machine)
    with dried_as_even():
        result = machine.run()
    plain = median(lambda: plain_chain(machine, result.wet), 7)
    print(f"\n  the same chain with scipy's solvers, one case at a time: {_time(plain)} a case")
    print(f"  one run of the package takes its {plain / one:.0f}th part, a case of the sweep its "
          f"{plain / (long / cases):.0f}th")  # fmt: skip
    apart = differences(plain_chain(machine, result.wet), result)
    worst = max(apart, key=lambda name: apart[name])
    print(f"  the two agree within {max(apart.values()):.1e} (worst: {worst})\n")
    against_libraries(20_000)


if __name__ == "__main__":
    main()
