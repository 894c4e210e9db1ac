"""A first answer needs no compiler, machine code says the same, and nothing is called oftener than it must be."""

from __future__ import annotations

import math
import os
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "benchmarks"))
from paired import counted, sweep

import thinstock
from thinstock.kernels import drainage, drainage_core, dryer, dryer_search
from thinstock.kernels.compiled import _cache_folder, innermost
from thinstock.kernels.drainage_input import DrainageInput
from thinstock.studies.bands import uncertainty

FIRST = """
import sys, thinstock
result = thinstock.load("facial-roll").run()
print("numba" in sys.modules, result["gas_per_product"] > 0.0)
"""


def test_a_first_answer_on_a_new_computer_compiles_nothing(tmp_path: Path) -> None:
    fresh = {name: value for name, value in os.environ.items() if name != "THINSTOCK_MACHINE_CODE"}
    env = fresh | {"THINSTOCK_CACHE": str(tmp_path)}
    said = subprocess.run([sys.executable, "-c", FIRST], env=env, capture_output=True, text=True, check=True)
    assert said.stdout.split() == ["False", "True"]
    assert not list(tmp_path.rglob("*.nbi"))


WHOLE = """
import sys
from thinstock.cli import status
left = status(["run", "facial-roll"])
print(left, *sorted({"numba", "llvmlite", "scipy", "pyarrow"} & set(sys.modules)))
print(len([name for name in sys.modules if name.startswith("thinstock")]))
"""


def test_a_whole_run_on_a_new_computer_has_limits_and_ranges_and_brings_no_compiler(tmp_path: Path) -> None:
    fresh = {name: value for name, value in os.environ.items() if name != "THINSTOCK_MACHINE_CODE"}
    env = fresh | {"THINSTOCK_CACHE": str(tmp_path), "PYTHONIOENCODING": "utf-8"}
    said = subprocess.run([sys.executable, "-c", WHOLE], env=env, capture_output=True, encoding="utf-8", check=True)
    last, modules = said.stdout.splitlines()[-2:]
    assert last == "0" and int(modules) <= 225, modules
    assert "gives out first  drying" in said.stdout and "In brackets 90 %" in said.stdout
    assert not list(tmp_path.rglob("*.nbi"))


def test_steps_by_pythons_own_numbers_go_on_where_these_would_stop() -> None:
    def step(a: float, b: float) -> float:
        return np.exp(a) / b

    own = innermost()(step)
    assert isinstance(own(np.float64(1.0), np.float64(2.0)), float) and own(1.0, 2.0) == math.exp(1.0) / 2.0
    with np.errstate(all="ignore"):
        assert own(np.float64(1.0), np.float64(0.0)) == np.inf and own(np.float64(1e4), np.float64(1.0)) == np.inf


def test_machine_code_is_kept_in_its_own_folder_where_two_threads_make_it() -> None:
    from numba.core import config

    inside, left, kept = threading.Event(), threading.Event(), []

    def second() -> None:
        with _cache_folder():
            inside.set()
            left.wait(10.0)
            kept.append(Path(config.CACHE_DIR).name)

    other = threading.Thread(target=second)
    with _cache_folder():
        other.start()
        inside.wait(0.3)
    left.set()
    other.join()
    assert kept[0].startswith("kernels-")


def test_cases_alike_are_marched_once_and_told_for_each() -> None:
    machine = thinstock.load("facial-roll")
    speeds = np.array([28.0, 30.0, 28.0, 29.0, 30.0, 28.0])
    changed = machine.with_({"yankee.speed": speeds})
    with counted() as found:
        many = changed.run(fast=True)
    assert found["dryings"] == 3
    gas = np.asarray(many["gas_per_product"])
    assert gas[0] == gas[2] == gas[5] != gas[1] == gas[4]
    alone = machine.with_({"yankee.speed": 29.0}).run(fast=True)
    assert gas[3] == pytest.approx(float(alone["gas_per_product"]), rel=1e-12)


@pytest.mark.parametrize("name", [one.name for one in thinstock.machines()])
def test_plain_and_compiled_face_agree_to_rounding(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    machine = thinstock.load(name)
    code = machine.run()
    monkeypatch.setattr(dryer, "dry_cases", dryer_search.dry_cases.plain)
    monkeypatch.setattr(drainage, "march", drainage_core.march.plain)
    with np.errstate(all="ignore"):
        plain = machine.run()
    for word, value in code.values.items():
        if value is not None and np.asarray(value).dtype.kind == "f":
            assert float(plain[word]) == pytest.approx(float(value), rel=1e-12, nan_ok=True), word


def test_a_run_limits_and_a_sweep_call_and_march_no_more_often_than_they_must() -> None:
    machine = thinstock.load("facial-roll")
    with counted() as run:
        machine.run()
    assert run["drainage calls"] == 3 and run["dryings"] == 1 and run["dryer marches"] <= 15
    with counted() as found:
        thinstock.limits(machine)
    assert found["drainage calls"] + found["dryer calls"] <= 18 and found["dryings"] <= 112
    assert found["dryer marches"] <= 365
    with counted() as many:
        sweep(machine, 3000)
    assert many["dryer marches"] / many["dryings"] < 3.5


def test_draws_go_side_by_side_and_march_no_more_often_than_they_must(monkeypatch: pytest.MonkeyPatch) -> None:
    machine = thinstock.load("facial-roll")
    alone: list[int] = []
    one_by_one = dryer.dry_cases
    monkeypatch.setattr(dryer, "dry_cases", lambda rows, *more: (alone.append(len(rows)), one_by_one(rows, *more))[1])
    with counted() as found:
        uncertainty(machine)
    assert max(alone) == 1, "what is drawn is not dried one by one"
    assert found["drainage calls"] <= 9 and found["dryer calls"] <= 3
    assert found["dryer marches"] / found["dryings"] < 4.0


def test_slow_stock_of_a_sweep_is_drained_with_the_steps_of_the_sweep(monkeypatch: pytest.MonkeyPatch) -> None:
    machine = thinstock.load("facial-roll").with_({"yankee.speed": np.array([28.0, 29.0, 30.0])})
    strides: list[float] = []
    march = drainage.march

    def noted(table: Any, materials: Any, *more: Any) -> Any:
        strides.append(float(materials[0, DrainageInput.order().index("stride")]))
        return march(table, materials, *more)

    monkeypatch.setattr(drainage, "march", noted)
    few = machine.run(fast=True)
    assert strides == [8.0, 1.5, 1.5]
    fine = machine.run()
    assert strides[3:] == [4.0, 1.0, 1.0]
    np.testing.assert_allclose(few["end_of_forming_slow"], fine["end_of_forming_slow"], rtol=1e-4)


def test_a_whole_run_dries_the_sheet_once_finely_for_itself_and_its_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    machine = thinstock.load("facial-roll")
    runs: list[bool] = []
    run = type(machine).run

    def noted(self: Any, **how: Any) -> Any:
        runs.append(bool(how.get("fast")))
        return run(self, **how)

    monkeypatch.setattr(type(machine), "run", noted)
    result = machine.run()
    with_it = uncertainty(machine, draws=100, result=result)
    assert runs == [False, True]
    assert with_it == uncertainty(machine, draws=100)
