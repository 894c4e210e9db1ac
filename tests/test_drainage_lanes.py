"""Stock that drains side by side with other cases ends where it ends alone, on every machine and with any mat."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

import thinstock
from test_drainage_march import FABRIC, SHEET, roll, table
from thinstock.kernels import drainage, drainage_lanes
from thinstock.kernels.drainage import Element, Law, drain
from thinstock.kernels.drainage_core import march
from thinstock.kernels.drainage_lanes import LANES, march_side_by_side
from thinstock.studies import bands

CASES = 45
"""Not a multiple of the lanes."""


def apart(found: Any, alone: Any) -> float:
    """By how much two results differ at most, of the largest of each number."""
    assert np.array_equal(np.isnan(found), np.isnan(alone))
    largest = np.max(np.abs(np.nan_to_num(alone)), axis=0) + 1e-3
    return float(np.max(np.nan_to_num(np.abs(found - alone)) / largest))


@pytest.fixture
def seen(monkeypatch: pytest.MonkeyPatch) -> list[tuple[int, int, float]]:
    """Of every march of several cases: how many, how many of them are formed, and what the two ways differ by."""
    found: list[tuple[int, int, float]] = []

    def both(given: Any, materials: Any, first: int, stop: int, *made: Any) -> None:
        march(given, materials, first, stop, *made)
        if stop - first > 1:
            beside = [np.full_like(one, 7.0) for one in made]
            march_side_by_side(given, materials, first, stop, *beside)
            by = max(apart(one[first:stop], alone[first:stop]) for one, alone in zip(beside, made, strict=True))
            found.append((stop - first, int(np.isfinite(made[0][first:stop, 5]).sum()), by))

    monkeypatch.setattr(drainage, "march", both)
    return found


@pytest.mark.parametrize("memory", [0.0, 0.6])
@pytest.mark.parametrize("name", [one.name for one in thinstock.machines()])
def test_draws_of_a_machine_drain_side_by_side_as_one_by_one(name: str, memory: float, seen: Any) -> None:
    bands.uncertainty(thinstock.load(name).with_({"stock.mat_memory": memory}), draws=CASES)
    assert sum(many == CASES for many, _, _ in seen) >= 2
    assert max(by for *_, by in seen) < 1e-12


@pytest.mark.parametrize("cases", [1, LANES - 1, LANES, 200])
@pytest.mark.parametrize("memory", [0.0, 1.0])
def test_short_wraps_foils_table_rolls_and_full_felts_drain_side_by_side(cases: int, memory: float, seen: Any) -> None:
    random = np.random.default_rng(4)
    varied = {"grammage": SHEET["grammage"] * random.uniform(0.7, 1.3, max(cases, 2))}
    felt = Law(load=9e3, uptake=random.uniform(2e-4, 2e-3, max(cases, 2)), **FABRIC)
    formers = [
        roll(back="open"),
        roll(wrap=25.0),
        roll(wrap=8.0),
        table(),
        [Element(length=0.3, wire_side=Law(load=8e3, head=2e3, **FABRIC), back_side=felt), Element(length=0.1)],
        [*roll(wrap=15.0), Element(length=0.2, wire_side=Law(load=2e3, gravity=1.0, **FABRIC))],
    ]
    for former in formers:
        drain(former, **{**SHEET, **varied, "mat_memory": memory})
    assert len(seen) == len(formers)
    assert max(by for *_, by in seen) < 1e-12
    if cases == 200:
        assert any(0 < formed < many for many, formed, _ in seen) and any(formed == 0 for _, formed, _ in seen)


def test_cases_go_in_lanes_whatever_stretch_of_them_is_asked_for() -> None:
    kept: list[Any] = []
    drainage_march = drainage.march

    def noted(*given: Any) -> None:
        kept.append(given)
        drainage_march(*given)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(drainage, "march", noted)
        drain(roll(), **{**SHEET, "grammage": np.linspace(0.01, 0.016, 60)})
    ((given, materials, _, _, *made),) = kept
    parts = [np.full_like(one, 7.0) for one in made]
    march_side_by_side(given, materials, 10, 33, *parts)
    for part, whole in zip(parts, made, strict=True):
        assert np.all(part[:10] == 7.0) and np.all(part[33:] == 7.0)
        np.testing.assert_allclose(part[10:33], whole[10:33], rtol=1e-12, atol=1e-15)


def test_kept_machine_code_is_fetched_when_so_many_cases_have_drained_that_it_pays(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(drainage_lanes, "wanted", lambda: False)
    monkeypatch.setattr(drainage_lanes.march_lanes, "made", None)
    monkeypatch.setattr(drainage_lanes.march_lanes, "at_hand", lambda: True)
    monkeypatch.setattr(drainage_lanes.Waited, "cases", 0)
    calls = 0
    while not drainage_lanes.side_by_side(400, 400):
        calls += 1
    assert calls == drainage_lanes.WORTH // 400 - 1
    assert not drainage_lanes.side_by_side(LANES, LANES)


def test_a_sweep_drains_in_lanes_and_a_single_run_does_not(monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[int] = []
    lanes = drainage_lanes.march_side_by_side

    def counted(given: Any, materials: Any, first: int, stop: int, *made: Any) -> None:
        calls.append(stop - first)
        lanes(given, materials, first, stop, *made)

    monkeypatch.setattr(drainage_lanes, "march_side_by_side", counted)
    machine = thinstock.load("facial-roll")
    machine.run()
    assert not calls
    swept = machine.with_({"yankee.speed": np.linspace(26.0, 33.0, 300)})
    beside = swept.run(fast=True)
    assert sum(calls) == 3 * 300
    monkeypatch.setattr(drainage_lanes, "side_by_side", lambda cases, of: False)
    alone = swept.run(fast=True)
    for word, within in {"end_of_forming": 1e-12, "drainage_impulse": 1e-12, "gas_per_product": 1e-6}.items():
        np.testing.assert_allclose(beside[word], alone[word], rtol=within)
