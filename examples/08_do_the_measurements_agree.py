"""Do the measurements agree?

Reconciliation moves every reading by no more than it is unsure, until the balance closes, and says whom to doubt.
First four flow meters in a row, which can be checked by hand; then the bundled round of an invented machine, in which
one reading was made wrong on purpose.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

import thinstock

BALANCE = np.array([[1.0, 1.0, -1.0, 0.0], [0.0, 0.0, 1.0, -1.0]])
"""Thick stock + white water = fan pump; fan pump = screens, kg/s."""
READ = np.array([70.0, 1500.0, 1605.0, 1590.0])
UNSURE = np.array([2.0, 30.0, 15.0, 25.0])
"""One standard deviation of each reading."""
NAMES = ("thick stock", "white water", "fan pump", "screens")


def numbers() -> dict[str, float]:
    """Flows that close, and what remains unsure of them."""
    found = thinstock.survey.reconcile_linear(BALANCE, READ, UNSURE)
    out = {f"{name}, kg/s": float(value) for name, value in zip(NAMES, found.value, strict=True)}
    out |= {f"{name}, still unsure": float(u) for name, u in zip(NAMES, found.standard_uncertainty, strict=True)}
    out["worst imbalance left"] = float(np.max(np.abs(BALANCE @ found.value)))
    return out


def whole_machine() -> tuple[bool, str]:
    """Whether the bundled round agrees with itself, and the reading that explains most if it does not."""
    findings = thinstock.survey("facial-roll", thinstock.load("facial-roll"))
    first = findings.doubts[0].sets[0] if findings.doubts else ()
    return findings.passed, ", ".join(" ".join(findings.rows[i].key) for i in first)


def plot(path: str | Path) -> None:
    """Readings and what they became, as lines of text: nothing more is needed for four numbers."""
    found = numbers()
    rows = [f"{name:<14}{read:9.1f} -> {found[f'{name}, kg/s']:9.1f}" for name, read in zip(NAMES, READ, strict=True)]
    Path(path).write_text("\n".join(rows) + "\n", encoding="utf-8")


if __name__ == "__main__":
    for name, value in numbers().items():
        print(f"{name:<30}{value:10.4g}")
    passed, doubted = whole_machine()
    print(f"{'the bundled round agrees':<30}{passed}, most doubtful: {doubted}")
    if len(sys.argv) > 1:
        plot(sys.argv[1])
