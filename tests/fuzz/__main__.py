"""Attacks for as long as one wants: `scripts/fuzz --minutes 10`. A finding is printed and kept by its seed."""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parent), str(Path(__file__).resolve().parent.parent)]

import numpy as np  # noqa: E402
from attacks import KINDS, attack  # noqa: E402

SEEDS = Path(__file__).resolve().parent / "seeds.txt"
PATIENCE = 60
"""Longest time of one attack, s."""


class Hang(Exception):
    """An attack that takes too long."""


@contextlib.contextmanager
def bounded(seconds: int) -> Iterator[None]:
    def late(number: int, frame: object) -> None:
        raise Hang(f"more than {seconds} s")

    if hasattr(signal, "SIGALRM"):
        signal.signal(signal.SIGALRM, late)
        signal.alarm(seconds)
    try:
        yield
    finally:
        if hasattr(signal, "SIGALRM"):
            signal.alarm(0)


def made_ready() -> None:
    """Compile what the attacks use before any is bounded: a bound that ends a compiler takes the process with it."""
    import thinstock
    from thinstock.case import library

    os.environ["THINSTOCK_MACHINE_CODE"] = "always"
    for name in library.machine_names():
        made = thinstock.load(name)
        made.run()
        several = float(made.headbox.consistency) * np.array([1.0, 1.01])
        made.with_({"headbox.consistency": several}).run(fast=True)
    thinstock.limits(thinstock.load("facial-roll"))


def main() -> int:
    """Attack until the time is over; 1 where something was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--seed", type=int, help="where the numbers begin; without it by the clock")
    parser.add_argument("--kind", choices=list(KINDS), action="append", help="only this kind; several may be given")
    parser.add_argument("--most", type=int, default=10, help="findings after which it stops")
    given = parser.parse_args()
    seed = given.seed if given.seed is not None else time.time_ns() % 10**9
    kinds = given.kind or list(KINDS)
    draw = random.Random(seed)
    weights = [KINDS[kind][1] for kind in kinds]
    done, found, spent = Counter[str](), [], Counter[str]()
    print("making the machine code ready (on a clean checkout a minute or two; not counted)", flush=True)
    made_ready()
    until = time.monotonic() + 60 * given.minutes
    print(f"attacks from seed {seed} for {given.minutes:g} min", flush=True)
    with tempfile.TemporaryDirectory(prefix="thinstock-fuzz-") as folder:
        while time.monotonic() < until and len(found) < given.most:
            (kind,) = draw.choices(kinds, weights)
            number = draw.randrange(10**9)
            begun = time.monotonic()
            try:
                with bounded(PATIENCE):
                    attack(kind, number, Path(folder))
            except BaseException as wrong:
                if isinstance(wrong, KeyboardInterrupt) and kind != "writing":
                    raise
                found.append((kind, number))
                last = "".join(traceback.format_exception(wrong)[-3:])
                print(f"FOUND {kind} {number}: {type(wrong).__name__}: {str(wrong)[:500]}\n{last}", flush=True)
            done[kind] += 1
            spent[kind] += int(1000 * (time.monotonic() - begun))
    for kind in kinds:
        print(f"{kind:14}{done[kind]:7} attacks {spent[kind] / 1000:8.1f} s")
    if found:
        kept = SEEDS.read_text(encoding="utf-8") if SEEDS.exists() else ""
        SEEDS.write_text(kept + "".join(f"{kind} {number}\n" for kind, number in found), encoding="utf-8")
        print(f"{len(found)} found; their seeds stand in {SEEDS.name}")
    else:
        print(f"nothing found in {sum(done.values())} attacks")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
