"""How much a study runs: its time is in machines and regressions, which are counted; clocks drift."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from scipy import special, stats

import thinstock
from thinstock.evidence import cases
from thinstock.kernels.compiled import distinct
from thinstock.studies import decision, knowing
from thinstock.studies.matters import matters
from thinstock.studies.prices import load_prices
from thinstock.studies.rebuild import rebuild
from thinstock.studies.sobol import Sobol, design_of, indices_of, sobol_indices

BASE = 16


@pytest.fixture(scope="module")
def roll():
    return thinstock.load("facial-roll")


def counting(monkeypatch, place, name):
    """Calls of a function from now on: what each was given first."""
    given = []
    function = getattr(place, name)
    monkeypatch.setattr(place, name, lambda *a, **k: given.append(a[0]) or function(*a, **k))
    return given


def test_what_matters_for_many_results_is_one_run_of_all_points(roll, monkeypatch):
    runs = counting(monkeypatch, cases, "run_machine")
    found = matters(roll, ["grammage_on_wire", "gas_per_product", "end_of_forming"], base=BASE)
    (run,) = runs
    assert run.cases() == BASE * (found.inputs + 2) + 2 * found.inputs


def test_a_rebuild_runs_machines_at_found_speeds_once(roll, monkeypatch):
    runs = counting(monkeypatch, cases, "run_machine")
    regressions = [counting(monkeypatch, place, "regressed") for place in (knowing, decision)]
    found = rebuild(roll, thinstock.load("facial-shoe"), load_prices("example"), draws=200)
    many = [one for one in runs if (one.cases() or 1) >= 100]
    assert not any(one.hold_reel_dryness_by == "speed" for one in runs)
    # draws that run, twice; before, then same and speed with either rewet; two links
    assert len(many) <= 2 + 5 + 2
    things = len(found.factors) + len(roll_inputs(roll)) + 1
    assert sum(map(len, regressions)) <= things + 4  # each thing once, the gain for each link and in all


def roll_inputs(machine):
    from thinstock.evidence.machine_inputs import input_distributions

    return input_distributions(machine)


def test_indices_from_points_evaluated_at_once_are_those_evaluated_in_parts(monkeypatch):
    inputs = {name: thinstock.studies.Rectangular(0.0, 1.0) for name in "abc"}

    def function(a, b, c):
        return a + 2.0 * b**2 + a * c

    design = design_of(inputs, base=64, seed=3)
    whole = indices_of(design, function(**design.columns))
    monkeypatch.setattr("thinstock.studies.sobol.TOGETHER", 64)
    parts = sobol_indices(function, inputs, base=64, seed=3)
    assert isinstance(whole, Sobol) and whole == parts
    assert design.columns["b"][3 * 64 : 4 * 64] == pytest.approx(design.columns["b"][64:128], rel=0)


def test_ranks_and_scores_are_those_of_a_general_library():
    column = np.round(np.random.default_rng(2).normal(size=700), 2)
    expected = special.ndtri((stats.rankdata(column) - 0.5) / column.size)
    np.testing.assert_allclose(knowing._normal_ranks(column), expected, rtol=1e-13)


def test_knowing_what_does_not_change_the_decision_is_worth_nothing_and_no_trace_of_rounding():
    thing = np.random.default_rng(4).normal(size=500)
    assert knowing.value_of_knowing_input(4.9e6 + 1e5 * thing, thing) == 0.0


def test_what_a_decision_is_worth_is_reckoned_without_the_library_of_statistics():
    script = (
        "import sys, numpy as np; from thinstock.studies.decision import _trial; from thinstock.studies.knowing import"
        " value_of_knowing_input as worth; x = np.arange(300.0); worth(x - 100, x); _trial(x - 100, x);"
        "assert 'scipy.stats' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", script], check=True)


@pytest.mark.parametrize("cases", [900, 9000])
def test_cases_alike_are_run_once_however_many_there_are(cases):
    random = np.random.default_rng(5)
    columns = [random.normal(size=cases)[np.arange(cases) // 3 * 3] for _ in range(4)]
    kept, back = distinct([*columns, np.full(cases, 7.0)], cases)
    assert list(kept) == list(range(0, cases, 3)) and list(back) == [k // 3 for k in range(cases)]


def test_cases_that_all_differ_are_left_as_they_are():
    assert distinct([np.arange(5.0), np.ones(5)], 5) == (slice(None), slice(None))
    kept, back = distinct([np.ones(5), np.zeros(5)], 5)
    assert list(kept) == [0] and list(back) == [0] * 5
