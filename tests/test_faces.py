"""A first answer needs no compiler, machine code says the same, and nothing is called oftener than it must be."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import thinstock
from thinstock.kernels import drainage, drainage_core, dryer, dryer_search

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


@pytest.mark.parametrize("name", ["facial-roll", "facial-flat-wire", "napkin-flat-wire-foils", "board-three-nips"])
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


sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "benchmarks"))


def test_a_run_limits_and_a_sweep_call_and_march_no_more_often_than_they_must() -> None:
    from paired import counted, sweep

    machine = thinstock.load("facial-roll")
    with counted() as run:
        machine.run()
    assert run["drainage calls"] == 3 and run["dryings"] == 1 and run["dryer marches"] <= 15
    with counted() as found:
        thinstock.limits(machine)
    assert found["drainage calls"] + found["dryer calls"] <= 18 and found["dryings"] <= 112
    assert found["dryer marches"] <= 440
    with counted() as many:
        sweep(machine, 3000)
    assert many["dryer marches"] / many["dryings"] < 3.5
