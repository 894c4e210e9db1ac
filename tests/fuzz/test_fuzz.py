"""A few attacks of every kind, and every seed that ever found something."""

from __future__ import annotations

from pathlib import Path

import pytest
from attacks import KINDS, SLOW, attack

SEEDS = Path(__file__).parent / "seeds.txt"
KEPT = [tuple(line.split()) for line in SEEDS.read_text(encoding="utf-8").splitlines() if line and line[0] != "#"]


@pytest.mark.parametrize("kind", [pytest.param(k, marks=pytest.mark.slow) if k in SLOW else k for k in KINDS])
def test_a_few_attacks_of_each_kind_find_nothing(kind: str, tmp_path: Path) -> None:
    for seed in range(1 if kind in SLOW else 2 if kind in ("machine", "sweep") else 5):
        attack(kind, seed, tmp_path)


@pytest.mark.parametrize(("kind", "seed"), KEPT, ids=lambda one: str(one))
def test_what_was_found_once_is_found_no_more(kind: str, seed: str, tmp_path: Path) -> None:
    attack(kind, int(seed), tmp_path)
