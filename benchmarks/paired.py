"""The same work in two checkouts, in turns: `benchmarks/run.py --against PATH` prints the ratios.

Run as a script it measures the checkout on its `PYTHONPATH` and writes one record (JSON). Times are processor times of
the process, so that other work on the computer disturbs them little; counts do not drift at all.
"""

from __future__ import annotations

import importlib
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).resolve().parent.parent
RUNS = ("facial-roll", "facial-shoe", "board-three-nips")
LIMITS = ("facial-roll", "cigarette-flat-wire-foils")
CASES = 20_000
SLIDER = "machine=facial-roll&set=headbox.consistency=0.{} %"
KERNELS = (
    ("drainage", "thinstock.kernels.drainage", "march"),
    ("dryer", "thinstock.kernels.dryer", "dry_cases"),
    ("dryer", "thinstock.kernels.dryer", "dry_many"),
)
"""What compiled code is called: the module that calls it, and its name there; older trees have not all of them."""

Record = dict[str, dict[str, float]]


def least(work: Callable[[], Any], times: int) -> float:
    """Least processor time of several runs after two that warm up, s."""
    work(), work()
    taken = []
    for _ in range(times):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return min(taken)


@contextmanager
def counted() -> Iterator[dict[str, int]]:
    """Counts how often compiled code is called, and the cases and marches in it."""
    found: dict[str, int] = {}
    before = []
    marches = importlib.import_module("thinstock.kernels.dryer").FIELDS.index("evaluations")
    for name, module, attribute in KERNELS:
        place = importlib.import_module(module)
        kernel = getattr(place, attribute, None)
        if kernel is None:
            continue
        before.append((place, attribute, kernel))

        def called(*given: Any, name: str = name, kernel: Any = kernel) -> Any:
            made = kernel(*given)
            found[f"{name} calls"] = found.get(f"{name} calls", 0) + 1
            if name == "dryer":
                found["dryings"] = found.get("dryings", 0) + len(given[0])
                found["dryer marches"] = found.get("dryer marches", 0) + int(given[-1][:, marches].sum())
            return made

        setattr(place, attribute, called)
    try:
        yield found
    finally:
        for place, attribute, kernel in before:
            setattr(place, attribute, kernel)


def sweep(machine: Any, cases: int) -> float:
    """Time of one run over many cases, s."""
    random = np.random.default_rng(1)
    changed = machine.with_(
        {
            "yankee.speed": random.uniform(26.0, 33.0, cases),
            "headbox.consistency": random.uniform(0.0016, 0.0024, cases),
            "grade.reel_grammage": random.uniform(0.0145, 0.0165, cases),
            "stock.resistance_factor": random.uniform(1.0, 3.0, cases),
            "hood.hood_factor": random.uniform(0.5, 0.6, cases),
        }
    )
    start = time.perf_counter()
    result = changed.run(fast=True)
    assert len(result.streams) > 10 and len(result.energy) > 5 and np.shape(result["gas_per_product"]) == (cases,)
    return time.perf_counter() - start


def slider(checkout: Path) -> float:
    """Processor time of an answer to a moved slider, in process, s."""
    sys.path.insert(0, str(checkout / "tests"))
    client = importlib.import_module("app_client").Client(Path(tempfile.mkdtemp()))
    steps = iter(range(190, 230))
    structure = client.answer(SLIDER.format(189), "quick").json().get("structure", "")

    def move() -> None:
        answer = client.answer(SLIDER.format(next(steps)), "quick", structure=structure)
        assert answer.status_code == 200 and "form" not in answer.json()

    try:
        return least(move, 25)
    finally:
        client.close()


def record(checkout: Path) -> Record:
    """Times (s) and counts of the checkout that is imported."""
    start = time.process_time()
    import thinstock

    thinstock.load("facial-roll")
    times = {"import thinstock and read a machine": time.process_time() - start}
    counts: dict[str, float] = {}
    for name in RUNS:
        machine = thinstock.load(name)
        times[f"one run, {name}"] = least(machine.run, 40)
        with counted() as found:
            result = machine.run()
        counts |= {f"{what} in one run, {name}": many for what, many in found.items()}
        counts[f"recorded steps, {name}"] = len(result.worksheet.steps)
    for name in LIMITS:
        machine = thinstock.load(name)
        times[f"limits, {name}"] = least(lambda machine=machine: thinstock.limits(machine), 5)
        with counted() as found:
            thinstock.limits(machine)
        counts |= {f"{what} in limits, {name}": many for what, many in found.items()}
    roll = thinstock.load("facial-roll")
    with counted() as found:
        sweep(roll, 4000)
    counts["marches per drying, 4000 cases"] = found["dryer marches"] / found["dryings"]
    times[f"{CASES} cases, facial-roll"] = least(lambda: sweep(roll, CASES), 1)
    times["answer to a moved slider"] = slider(checkout)
    return {"times": times, "counts": counts}


FIRST = """
import os, time, thinstock
from pathlib import Path
thinstock.load("facial-roll").run()
print(len(list(Path(os.environ["THINSTOCK_CACHE"]).rglob("*.nbi"))), time.process_time())
"""


def first_answer(checkout: Path) -> tuple[float, float]:
    """Functions compiled for a first run where nothing is cached, and the processor time of that process, s."""
    with tempfile.TemporaryDirectory() as empty:
        env = os.environ | {"PYTHONPATH": str(checkout / "src"), "THINSTOCK_CACHE": empty}
        env.pop("THINSTOCK_MACHINE_CODE", None)
        said = subprocess.run([sys.executable, "-c", FIRST], capture_output=True, text=True, env=env, check=True)
    made, took = said.stdout.split()
    return float(made), float(took)


def measured(checkout: Path, bytecode: str) -> Record:
    """The record of a checkout, made by a process of its own; Python's own compiled files stand in `bytecode`."""
    env = os.environ | {"PYTHONPATH": str(checkout / "src"), "OMP_NUM_THREADS": "1", "PYTHONPYCACHEPREFIX": bytecode}
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    script = [sys.executable, str(Path(__file__).resolve()), str(checkout)]
    said = subprocess.run(script, capture_output=True, text=True, env=env, check=True)
    made: Record = json.loads(said.stdout.splitlines()[-1])
    return made


def compare(other: Path, rounds: int) -> None:
    """Measure this checkout and the other in turns, and print what each took beside the other."""
    with tempfile.TemporaryDirectory() as kept:
        measured(other, kept), measured(HERE, kept)  # compiles what has to be
        pairs = [(measured(other, kept), measured(HERE, kept)) for _ in range(rounds)]
    print(
        f"  {'processor time, least of ' + str(rounds) + ' rounds in turns':<58} {'other':>9} {'this':>9} {'ratio':>7}"
    )
    for name in pairs[0][1]["times"]:
        old, new = (min(pair[k]["times"][name] for pair in pairs) for k in (0, 1))
        print(f"  {name:<58} {old * 1e3:>6.1f} ms {new * 1e3:>6.1f} ms {new / old:>7.2f}")
    print(f"\n  {'count':<58} {'other':>9} {'this':>9}")
    before, after = (record["counts"] for record in pairs[0])
    firsts = [first_answer(checkout) for checkout in (other, HERE)]
    print(f"  {'compilations at a first answer, nothing cached':<58} {firsts[0][0]:>9.0f} {firsts[1][0]:>9.0f}")
    print(f"  {'its processor time, s':<58} {firsts[0][1]:>9.1f} {firsts[1][1]:>9.1f}")
    for name in after:
        print(f"  {name:<58} {before.get(name, 0):>9.1f} {after[name]:>9.1f}")


if __name__ == "__main__":
    print(json.dumps(record(Path(sys.argv[1]))))
