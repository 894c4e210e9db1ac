"""The examples run, and their numbers are right: by closure, by sums done here, or by what must be so."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import thinstock

FOLDER = Path(__file__).parent.parent / "examples"
SCRIPTS = sorted(FOLDER.glob("[0-9]*.py"))


def example(number: int) -> Any:
    path = next(p for p in SCRIPTS if p.name.startswith(f"{number:02}_"))
    spec = importlib.util.spec_from_file_location(f"example_{number}", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_question_has_an_example_with_a_plot_of_its_own() -> None:
    assert [int(p.name[:2]) for p in SCRIPTS] == list(range(1, 11))
    for path in SCRIPTS:
        text = path.read_text(encoding="utf-8")
        question = path.stem[3:].replace("_", " ")
        assert text.splitlines()[0].lower().startswith(f'"""{question}?'), path.name
        assert "def plot(" in text and "def numbers(" in text and len(text.splitlines()) < 90


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda p: p.stem)
def test_the_plots_are_written(path: Path, tmp_path: Path) -> None:
    example(int(path.name[:2])).plot(tmp_path / "plot.svg")
    assert (tmp_path / "plot.svg").stat().st_size > 50


def test_an_example_runs_as_a_script() -> None:
    found = subprocess.run([sys.executable, str(SCRIPTS[1])], capture_output=True, text=True, check=True)
    assert "bathtubs" in found.stdout


def test_crowding_grows_in_proportion_to_consistency_and_the_target_asks_for_dilution() -> None:
    found = example(1).numbers()
    assert found["crowding at 0.80 %"] == pytest.approx(8 * found["crowding at 0.10 %"], rel=1e-6)
    assert found["cv at 0.10 %, worst headbox"] < found["cv at 0.40 %, worst headbox"]
    asked = [value for name, value in found.items() if name.startswith("consistency for the target")]
    assert asked and all(value < float(thinstock.load("facial-roll").headbox.consistency) for value in asked)
    assert found["floor, best"] < found["floor, normal"] < found["floor, worst"]


def test_water_per_fibre_follows_from_the_consistency_alone() -> None:
    found, result = example(2).numbers(), thinstock.load("facial-roll").run()
    assert found["water per fibre, kg/kg"] == pytest.approx(1 / 0.0019 - 1)
    by_hand = result["grammage_on_wire"] * 30.0 / (result["retention"] * 0.0019 * result.wet.water.density)
    assert found["flow per metre, L/(min·m)"] == pytest.approx(60e3 * by_hand, rel=1e-9)
    # retention changes a little with dilution: the flow is not quite doubled
    assert found["flow at half the consistency, over flow now"] == pytest.approx(2, rel=0.02)
    assert found["fan-pump power then, over power now"] > found["flow at half the consistency, over flow now"]
    flows = example(2).many(50)
    assert flows.shape == (50,) and np.all(np.diff(flows) < 0)


def test_all_water_is_accounted_for() -> None:
    found = example(3).numbers()
    left = found["water left after reel, kg/kg"] / found["water left after headbox, kg/kg"]
    shares = sum(v for k, v in found.items() if k.startswith("share taken"))
    assert shares + left == pytest.approx(1, abs=1e-9)
    assert max(v for k, v in found.items() if k.startswith("imbalance")) < 1e-12


def test_no_former_needs_less_consistency_when_its_mat_resists_more() -> None:
    found = example(4).numbers()
    assert len(found) >= 9
    for low, high, _ in found.values():
        assert high is None or (low is not None and high >= low)
    assert found["flat wire, table rolls"][2] == "drainage"


def test_the_bottleneck_is_the_lowest_of_all_limits() -> None:
    found = example(5).numbers()
    rows = [r for r in thinstock.limits(thinstock.load("facial-roll")).rows if r.scope in ("highest", "window")]
    lowest = min(r.speed for r in rows if r.speed is not None)
    assert found["at, m/min"] == pytest.approx(60 * lowest)
    assert found["margin"] == pytest.approx(60 * lowest / 1800 - 1)


def test_energy_adds_up_to_its_kinds() -> None:
    found, result = example(6).numbers(), thinstock.load("facial-roll").run()
    for kind in ("steam", "gas", "electricity"):
        parts = [found[f"{c.name}, kWh per tonne"] for c in result.energy if c.kind == kind]
        assert sum(parts) == pytest.approx(found[f"{kind}, kWh per tonne"], rel=1e-9)
    assert found["evaporation: kJ per kg of water"] > 1000 * found["forming: kJ per kg of water"]


def test_a_rebuild_is_compared_at_equal_reel_dryness() -> None:
    found = example(7).numbers()
    assert found["reel dryness before"] == pytest.approx(found["reel dryness after"], abs=1e-6)
    points = 100 * (found["dryness out of the press after"] - found["dryness out of the press before"])
    assert found["points gained"] == pytest.approx(points) and points > 0
    assert found["gas per tonne, change"] < 0


def test_flow_meters_give_way_by_their_variances() -> None:
    module = example(8)
    found = module.numbers()
    # by hand: two balances a + b - c = 0 and c - d = 0, least squares with weights 1/variance
    normal = module.BALANCE @ np.diag(module.UNSURE**2) @ module.BALANCE.T
    move = np.diag(module.UNSURE**2) @ module.BALANCE.T @ np.linalg.solve(normal, module.BALANCE @ module.READ)
    for name, value in zip(module.NAMES, module.READ - move, strict=True):
        assert found[f"{name}, kg/s"] == pytest.approx(value, rel=1e-9)
    assert found["worst imbalance left"] < 1e-9
    assert all(found[f"{n}, still unsure"] < u for n, u in zip(module.NAMES, module.UNSURE, strict=True))


def test_the_reading_that_was_made_wrong_is_the_one_that_is_doubted() -> None:
    passed, doubted = example(8).whole_machine()
    assert not passed and doubted == "jet flow"


def test_uncertainty_is_told_with_what_it_hangs_on() -> None:
    found = example(9).numbers()
    for name in ("flow_per_width", "dryness_press", "gas_per_product", "electricity_per_product"):
        whole = found[f"{name}, relative standard uncertainty"]
        largest = next(v for k, v in found.items() if k.startswith(f"{name}, of which by"))
        assert 0 < largest <= whole * (1 + 1e-9)
    assert (
        found["gas_per_product, relative standard uncertainty"] > found["flow_per_width, relative standard uncertainty"]
    )


def test_a_number_is_explained_from_what_is_given(tmp_path: Path) -> None:
    module = example(10)
    found = module.numbers()
    assert found["flow_per_width: steps"] < found["dryness_press: steps"] < found["steam_per_product: steps"]
    assert all(
        found[f"{n}: of them assumed"] < found[f"{n}: given numbers"] for n in ("flow_per_width", "dryness_press")
    )
    for name in module.write(tmp_path):
        assert (tmp_path / name).stat().st_size > 1000
