"""The few steps of a sweep give what many give: within 5e-3 in gas and within 3e-4 in every other number of a run.

What hangs on the wettest tenth of the sheet, and a steam pressure that is held, answer to any small change by more.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

import thinstock
from thinstock.evidence.cases import run_cases
from thinstock.evidence.outputs import numbers
from thinstock.kernels import drainage, dryer
from thinstock.kernels.drainage_input import DrainageInput
from thinstock.kernels.dryer_search import Way

SPREAD = {
    "yankee.speed": (0.93, 1.07),
    "headbox.consistency": (0.85, 1.15),
    "grade.reel_grammage": (0.93, 1.07),
    "stock.resistance_factor": (0.7, 1.4),
    "hood.hood_factor": (0.93, 1.07),
}
WITHIN = {"gas_power": 5e-3, "gas_per_product": 5e-3, "reel_moisture_area_above_10": 6e-3, "steam_pressure": 1e-3}
STRIDE = DrainageInput.order().index("stride")


def fine(monkeypatch: pytest.MonkeyPatch) -> None:
    """Many steps everywhere, the spots read off the course as in a sweep."""
    march = drainage.march

    def slowly(table: Any, materials: Any, *more: Any) -> Any:
        materials = materials.copy()
        materials[:, STRIDE] = 0.25
        return march(table, materials, *more)

    monkeypatch.setattr(drainage, "march", slowly)
    monkeypatch.setattr(dryer, "whole_steps", lambda steps, stretches: np.array([60, 100, 20]))
    monkeypatch.setattr(dryer, "Way", lambda steps, tolerance, *more: Way(steps, 1e-9, *more))


@pytest.mark.parametrize(
    "name", ["facial-roll", "facial-shoe", "facial-suction-breast-roll", "facial-flat-wire", "facial-twin-wire-c"]
)
def test_the_few_steps_of_a_sweep_give_what_many_give(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    machine = thinstock.load(name)
    names = tuple(numbers(machine.run()))
    random = np.random.default_rng(5)
    columns = {where: float(machine.get(where)) * random.uniform(*by, 120) for where, by in SPREAD.items()}
    few = run_cases(machine, columns, names)
    fine(monkeypatch)
    many = run_cases(machine, columns, names)
    np.testing.assert_array_equal(few.usable, many.usable)
    assert few.usable.sum() > 60
    for word in names:
        a, b = few[word][few.usable], many[word][few.usable]
        there = np.isfinite(b)
        size = np.maximum(np.abs(b[there]), 1e-3 * np.median(np.abs(b[there])) if there.any() else 0.0)
        assert np.all(np.abs(a[there] - b[there]) <= WITHIN.get(word, 3e-4) * size), word
