"""The benchmarks' plain chain, made with a general solver, is a second opinion on the compiled one."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

import thinstock

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "benchmarks"))

from plain_chain import as_plain, differences, dried_as_even, plain_chain


@pytest.mark.parametrize("name", ["facial-roll", "facial-shoe"])
def test_a_chain_made_with_general_solvers_gives_the_same_machine(name: str) -> None:
    machine = as_plain(thinstock.load(name))
    with dried_as_even():
        result = machine.run()
    apart = differences(plain_chain(machine, result.wet), result)
    assert len(apart) == 5
    assert max(apart.values()) < 2e-3, apart


def test_the_chains_move_together_when_the_machine_is_changed() -> None:
    machine = as_plain(thinstock.load("facial-roll")).with_({"yankee.speed": 28.0, "headbox.consistency": 0.0023})
    with dried_as_even():
        result = machine.run()
    apart = differences(plain_chain(machine, result.wet), result)
    assert max(apart.values()) < 2e-3, apart


@pytest.mark.parametrize("name", ["facial-roll", "facial-shoe"])
def test_spots_dried_apart_and_air_warmed_by_the_exhaust_give_the_same_machine(name: str) -> None:
    machine = as_plain(thinstock.load(name), heat_recovery=0.6)
    result = machine.run()
    apart = differences(plain_chain(machine, result.wet, float(result["drying_cv"]) ** 2), result)
    assert max(apart.values()) < 2e-3, apart


def test_the_benchmark_measures_what_it_says() -> None:
    import run as benchmark

    assert benchmark.sweep(thinstock.load(benchmark.MACHINE), 200) > 0
    assert benchmark.median(lambda: None, 3) >= 0
