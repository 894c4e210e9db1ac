"""How long the ladder takes: nine formers at twelve speeds, with lowest consistencies, speed intervals and the band.

Run it by hand; nothing here is a timed test. The aim is one second warm on two cores.
"""

from __future__ import annotations

import time

import thinstock
from thinstock.library import NINE
from thinstock.studies import trials
from thinstock.studies.ladder import SPEEDS, formers


def main() -> None:
    """Print the time of the whole ladder, of a single former, and of one march of all its trials."""
    machine = thinstock.load("facial-roll")
    formers(machine, speeds=[5.0], keys=["flat_wire"])
    taken = []
    for _ in range(5):
        start = time.perf_counter()
        found = formers(machine, keys=NINE)
        taken.append(time.perf_counter() - start)
    count = len(NINE) * len(SPEEDS)
    print(f"{len(NINE)} formers and the machine's own at {len(SPEEDS)} speeds: {min(taken):.2f} s warm")
    marches = count * 2 * trials.HALVINGS
    print(f"{count} answers, {marches} marches of bisections alone: {1e6 * min(taken) / marches:.0f} µs each at most")
    for key in ("wire_felt_c", "flat_wire_foils"):
        start = time.perf_counter()
        formers(machine, keys=[key])
        print(f"{found[key].name} alone: {1e3 * (time.perf_counter() - start):.0f} ms")


if __name__ == "__main__":
    main()
