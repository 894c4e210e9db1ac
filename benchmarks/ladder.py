"""How long the ladder takes: nine formers and the machine's own at twelve speeds, at both ends of the mat.

Run it by hand; nothing here is a timed test. The aim is the time of 120 runs of the machine, indicators and all.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import thinstock
from thinstock.kernels import drainage
from thinstock.library import KEYS, NINE
from thinstock.studies.ladder import SPEEDS, formers
from thinstock.studies.reasons import indicators


def least(work: Callable[[], object], times: int) -> float:
    """Processor seconds of the quickest of several."""
    taken = []
    for _ in range(times):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return min(taken)


def marches(work: Callable[[], object]) -> tuple[int, int]:
    """Calls of the drainage march in some work, and the cases of all of them."""
    found: list[int] = []
    march = drainage.march
    drainage.march = lambda *given: (found.append(given[3] - given[2]), march(*given))
    try:
        work()
    finally:
        drainage.march = march
    return len(found), sum(found)


def main() -> None:
    """Print the time of the whole ladder, with and without each former's own time, and of the indicators alone."""
    machine = thinstock.load("facial-roll")
    machine.run()
    formers(machine, speeds=[5.0], keys=["flat_wire"], era=True)
    run = least(machine.run, 40)
    for era in (False, True):
        taken = least(lambda era=era: formers(machine, keys=NINE, era=era), 5)
        told = " and in its own time" if era else ""
        print(
            f"{len(NINE)} formers and the machine's own at {len(SPEEDS)} speeds{told}: {taken:.2f} s of one core,"
            f" {taken / run:.0f} runs of the machine"
        )
    calls, cases = marches(lambda: formers(machine, keys=NINE))
    print(f"{cases} marches in {calls} calls, at the tester's resistance, five times that, and packed")
    start = time.process_time()
    for key in KEYS:
        indicators(machine, key, speed=10.0, consistency=2e-3, resistance_factor=1.0)
    print(f"indicators of {len(KEYS)} formers, one by one: {1e3 * (time.process_time() - start):.0f} ms of one core")


if __name__ == "__main__":
    main()
