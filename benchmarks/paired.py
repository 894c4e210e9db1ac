"""The same work in two checkouts, in turns: `benchmarks/run.py --against PATH` prints the ratios beside the targets.

Run as a script with the path of a checkout it measures that one and writes one record (JSON); what an older checkout
does not know is left out. Times are processor times of the process, so that other work on the computer disturbs them
little; those on the clock (in a browser, and of ten users) are marked. Counts do not drift at all.
"""

from __future__ import annotations

import importlib
import json
import math
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).resolve().parent.parent
RUNS = ("facial-roll", "facial-shoe", "board-three-nips")
LIMITS = ("facial-roll", "cigarette-flat-wire-foils", "board-two-shoes", "facial-suction-breast-roll")
CASES = 20_000
SIGHT = ["drawing", "notes", "chart-water_staircase"]
SLIDER = "machine=facial-roll&set=headbox.consistency=0.{} %"
KERNELS = (
    ("drainage", "thinstock.kernels.drainage", "march"),
    ("dryer", "thinstock.kernels.dryer", "dry_cases"),
    ("dryer", "thinstock.kernels.dryer", "dry_many"),
)
"""What compiled code is called: the module that calls it, and its name there; older trees have not all of them."""

COMMANDS = {
    "study uncertainty facial-roll, whole command": ("study", "uncertainty", "facial-roll"),
    "study matters facial-roll, whole command": ("study", "matters", "facial-roll"),
    "rebuild facial-roll to facial-shoe, whole command": ("rebuild", "facial-roll", "facial-shoe"),
}
TARGETS = {
    "first command, nothing cached": 1500.0,
    "one run, facial-roll": 3.0,
    "limits, facial-roll": 30.0,
    "limits, worst of all bundled": 110.0,
    "a million cases, facial-roll, of one core": 40_000.0,
    "answer to a moved slider": 12.0,
    "full answer": 70.0,
    "ladder, nine formers at twelve speeds": 300.0,
    "study uncertainty facial-roll, whole command": 3000.0,
    "study matters facial-roll, whole command": 2500.0,
    "rebuild facial-roll to facial-shoe, whole command": 2500.0,
    "server, a move of headbox.consistency": 12.0,
    "server, a move of yankee.speed": 12.0,
    "ten users, headbox.consistency, 95 in 100 (clock)": 150.0,
    "ten users, yankee.speed, 95 in 100 (clock)": 150.0,
    "move of headbox.consistency to paint (clock)": 50.0,
    "move of yankee.speed to paint (clock)": 50.0,
    "Formers, first paint (clock)": 300.0,
    "Sheet, ready (clock)": 1500.0,
    "base install, MB": 320.0,
    "compilations at a first answer": 0.0,
    "kB of an answer to a moved slider": 35.0,
}
"""What must be reached: ms of processor time, or the count's own unit."""

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


def page(checkout: Path, times: dict[str, float], counts: dict[str, float]) -> None:
    """Answers to a moved slider, quick and full, in process: asked for as the page does, which says what it shows."""
    sys.path.insert(0, str(checkout / "tests"))
    client = importlib.import_module("app_client").Client(Path(tempfile.mkdtemp()))
    steps = iter(range(190, 330))
    shown: dict[str, str] = {}
    structure = ""

    def move(part: str = "quick") -> Any:
        nonlocal structure
        sight = {"sight": SIGHT} if part == "quick" else {}
        answer = client.answer(SLIDER.format(next(steps)), part, structure=structure, shown=dict(shown), **sight)
        assert answer.status_code == 200
        told = answer.json()
        structure = told.get("structure", structure)
        shown.update(told.get("marks", {}))
        return answer

    try:
        move(), move("full")
        times["answer to a moved slider"] = least(move, 25)
        told = move().content
        counts["kB of an answer to a moved slider"] = len(told) / 1e3
        counts["elements of drawing in it"] = len(re.findall(rb"<[a-z]", told))
        times["full answer"] = least(lambda: move("full"), 8)
    finally:
        client.close()


def ladder() -> float:
    """Processor time of the ladder of formers, s."""
    from thinstock.library import NINE
    from thinstock.studies.ladder import formers

    machine = importlib.import_module("thinstock").load("facial-roll")
    return least(lambda: formers(machine, keys=NINE), 3)


def limits_of_all() -> tuple[float, str]:
    """Least processor time of all limits, s, of the bundled machine that takes longest, and its name."""
    import thinstock

    found = {}
    for name in (getattr(one, "name", one) for one in thinstock.machines()):
        machine = thinstock.load(name)
        found[name] = least(lambda machine=machine: thinstock.limits(machine), 2)
    worst = max(found, key=lambda name: found[name])
    return found[worst], worst


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
        with suppress(AttributeError):
            counts[f"recorded steps, {name}"] = len(result.worksheet.steps)
    for name in LIMITS:
        machine = thinstock.load(name)
        times[f"limits, {name}"] = least(lambda machine=machine: thinstock.limits(machine), 5)
        with counted() as found:
            thinstock.limits(machine)
        counts |= {f"{what} in limits, {name}": many for what, many in found.items()}
    times["limits, worst of all bundled"], worst = limits_of_all()
    print(f"worst limits: {worst}", file=sys.stderr)
    roll = thinstock.load("facial-roll")
    with counted() as found:
        sweep(roll, 4000)
    counts["marches per drying, 4000 cases"] = found["dryer marches"] / found["dryings"]
    each = least(lambda: sweep(roll, CASES), 1) / CASES
    times["a million cases, facial-roll, of one core"] = 1e6 * each
    with suppress(ImportError, TypeError):
        times["ladder, nine formers at twelve speeds"] = ladder()
    try:
        page(checkout, times, counts)
    except Exception as error:  # an older checkout may answer otherwise
        print(f"answers of {checkout.name} left out: {error!r:.200}", file=sys.stderr)
    return {"times": times, "counts": counts}


def _around(checkout: Path, bytecode: str, **more: str) -> dict[str, str]:
    """What a process of a checkout is started with; Python's own compiled files stand in `bytecode`."""
    env = os.environ | {"PYTHONPATH": str(checkout / "src"), "PYTHONPYCACHEPREFIX": bytecode}
    for name in ("PYTHONDONTWRITEBYTECODE", "THINSTOCK_MACHINE_CODE"):
        env.pop(name, None)
    return env | more


def command(env: dict[str, str], *args: str) -> float:
    """Processor time of a whole command, s; not a number where the checkout does not know it."""
    before = os.times()
    left = subprocess.run([sys.executable, "-m", "thinstock", *args], capture_output=True, env=env).returncode
    after = os.times()
    took = after.children_user + after.children_system - before.children_user - before.children_system
    return took if left == 0 else math.nan


def commands(checkout: Path, bytecode: str) -> Record:
    """Whole commands: the first where nothing is cached with what it compiled, then the others with what they kept.

    Python's own compiled files are there, as an installer leaves them.
    """
    with tempfile.TemporaryDirectory() as unused, tempfile.TemporaryDirectory() as cache:
        env = _around(checkout, bytecode, OMP_NUM_THREADS="1", THINSTOCK_CACHE=cache)
        command(env | {"THINSTOCK_CACHE": unused}, "run", "facial-roll")
        times = {"first command, nothing cached": command(env, "run", "facial-roll")}
        counts: dict[str, float] = {"compilations at a first answer": len(list(Path(cache).rglob("*.nbi")))}
        times["the same command again"] = command(env, "run", "facial-roll")
        for name, args in COMMANDS.items():
            prices = ("--prices", "example") if args[0] == "rebuild" else ()
            command(env | {"THINSTOCK_MACHINE_CODE": "always"}, *args, *prices)  # machine code is at hand then
            times[name] = command(env, *args, *prices)
    counts["base install, MB"] = importlib.import_module("setup").base_of(checkout)
    return {"times": times, "counts": counts}


def on_the_clock(checkout: Path, bytecode: str) -> dict[str, float]:
    """What a browser shows and ten users feel, s; nothing where there is no browser or the checkout knows it not."""
    env = _around(checkout, bytecode)
    found: dict[str, float] = {}
    for module in ("page", "load"):
        try:
            told = importlib.import_module(module).told(env)
        except Exception as error:
            print(f"{module} of {checkout.name} left out: {error!r:.200}", file=sys.stderr)
            continue
        found |= {name if name.startswith("server") else f"{name} (clock)": one for name, one in told.items()}
    return found


def measured(checkout: Path, bytecode: str) -> Record:
    """The record of a checkout, made by a process of its own."""
    env = _around(checkout, bytecode, OMP_NUM_THREADS="1", THINSTOCK_MACHINE_CODE="always")
    script = [sys.executable, str(Path(__file__).resolve()), str(checkout.resolve())]
    said = subprocess.run(script, stdout=subprocess.PIPE, text=True, env=env, check=True)
    made: Record = json.loads(said.stdout.splitlines()[-1])
    return made


def table(checkouts: tuple[Path, ...], rounds: int) -> None:
    """Measure checkouts in turns and print what each took beside what must be reached; the last is this one."""
    with tempfile.TemporaryDirectory() as kept:
        for checkout in checkouts:
            measured(checkout, kept)  # compiles what has to be
        turns = [[measured(checkout, kept) for checkout in checkouts] for _ in range(rounds)]
        whole = [commands(checkout, kept) for checkout in checkouts]
        seen = [[on_the_clock(checkout, kept) for checkout in checkouts] for _ in range(-(-rounds // 2))]
    _head(f"processor time, least of {rounds} rounds in turns, ms", len(checkouts))
    for name in whole[-1]["times"]:
        _line(name, [1e3 * side["times"][name] for side in whole])
    for name in turns[0][-1]["times"]:
        _line(name, [1e3 * _least([turn[k]["times"] for turn in turns], name) for k in range(len(checkouts))])
    for name in seen[0][-1]:
        _line(name, [1e3 * _least([turn[k] for turn in seen], name) for k in range(len(checkouts))])
    print()
    _head("count", len(checkouts))
    for name in whole[-1]["counts"]:
        _line(name, [side["counts"][name] for side in whole])
    for name in turns[0][-1]["counts"]:
        _line(name, [side["counts"].get(name, math.nan) for side in turns[0]])


def _least(rounds: list[dict[str, float]], name: str) -> float:
    """The least of all rounds; not a number where this work is not known."""
    return min((one[name] for one in rounds if name in one), default=math.nan)


def _head(what: str, columns: int) -> None:
    names = ["measured"] if columns == 1 else ["other", "this", "ratio"]
    print(f"  {what:<58}" + "".join(f" {name:>10}" for name in names) + f" {'to reach':>9}")


def _line(name: str, values: list[float]) -> None:
    ratio = f" {values[1] / values[0] if values[0] else math.nan:>10.2f}" if len(values) == 2 else ""
    target = f" {TARGETS[name]:>9.0f}" if name in TARGETS else ""
    print(f"  {name:<58}" + "".join(f" {value:>10.1f}" for value in values) + ratio + target, flush=True)


if __name__ == "__main__":
    print(json.dumps(record(Path(sys.argv[1]).resolve())))
