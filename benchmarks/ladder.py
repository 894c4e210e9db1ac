"""How long the ladder takes: nine formers and the machine's own at twelve speeds, at both ends of the mat.

Run it by hand; nothing here is a timed test. The aim is one second of one core warm, indicators and all.
"""

from __future__ import annotations

import time

import thinstock
from thinstock.library import KEYS, NINE
from thinstock.studies import trials
from thinstock.studies.ladder import SPEEDS, formers
from thinstock.studies.reasons import indicators


def main() -> None:
    """Print the time of the whole ladder, with and without each former's own time, and of the indicators alone."""
    machine = thinstock.load("facial-roll")
    formers(machine, speeds=[5.0], keys=["flat_wire"], era=True)
    for era in (False, True):
        taken = []
        for _ in range(5):
            start = time.process_time()
            formers(machine, keys=NINE, era=era)
            taken.append(time.process_time() - start)
        told = " and in its own time" if era else ""
        print(
            f"{len(NINE)} formers and the machine's own at {len(SPEEDS)} speeds{told}: {min(taken):.2f} s of one core"
        )
    marches = (len(NINE) + 1) * len(SPEEDS) * 3 * trials.HALVINGS
    print(f"{marches} marches of bisections at the tester's resistance, five times that, and packed")
    start = time.process_time()
    for key in KEYS:
        indicators(machine, key, speed=10.0, consistency=2e-3, resistance_factor=1.0)
    print(f"indicators of {len(KEYS)} formers, one by one: {1e3 * (time.process_time() - start):.0f} ms of one core")


if __name__ == "__main__":
    main()
