"""Water circuits as a part of a machine: what a run tells of them, closes, refuses and explains."""

from __future__ import annotations

import dataclasses
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import optimize

import thinstock
from thinstock.errors import Refused
from thinstock.evidence import cases
from thinstock.machine.circuit import Saveall, WaterCircuits
from thinstock.machine.line import Machine
from thinstock.machine.numbers import existing
from thinstock.machine.result import Result
from thinstock.relations import circuits
from thinstock.tell.worked import worked

OPEN: dict[str, Any] = {
    "dilution_water": "fresh", "seal_water": 0.0, "chemical_water": 0.0, "pit_shower": 0.0, "broke_share": 0.0,
    "reject_recovered": 0.0, "chest_energy": 0.0,
}  # fmt: skip
CLOSED: dict[str, Any] = {
    "saveall": Saveall(), "wire_shower_clear": 0.8, "felt_shower_clear": 0.5, "pit_shower_clear": 1.0,
    "dilution_water": "cloudy", "seal_recovered": 1.0,
}  # fmt: skip
EXAMPLE = Path(__file__).parent.parent / "examples" / "water-circuits.toml"


def with_circuits(name: str, **fields: Any) -> Machine:
    return dataclasses.replace(thinstock.load(name), circuit=WaterCircuits(**fields))


@pytest.fixture(scope="module")
def closed() -> Result:
    return with_circuits("facial-roll", **CLOSED).run()


@pytest.mark.parametrize("name", ["facial-roll", "facial-shoe", "facial-twin-wire-c"])
def test_circuits_open_in_every_place_give_the_run_without_circuits(name: str) -> None:
    plain, done = thinstock.load(name).run(), with_circuits(name, **OPEN).run()
    part = done.parts.circuit
    assert float(done["circuit_fines_share"]) == pytest.approx(float(plain["web_fines_share"]), rel=1e-12)
    streams = {s.id: s for s in plain.streams}
    for ours, theirs in (("jet", "jet"), ("white_water", "white_water"), ("thick", "thick"), ("reject", "reject")):
        flow = float(streams[theirs].fibre + streams[theirs].water)
        assert float(part.balance.stream(ours).flow) == pytest.approx(flow, rel=1e-9)


def test_a_machine_without_circuits_runs_as_before_and_one_with_them_changes_no_other_number(closed: Result) -> None:
    plain = thinstock.load("facial-roll").run()
    assert not existing("circuit") & set(plain.values) and existing("circuit") <= set(closed.values)
    told_anew = {"fresh_water_per_product", "shower_heat_per_product"}
    for name, value in plain.values.items():
        if name not in told_anew and value is not None:
            assert float(closed[name]) == float(value), name


def test_every_node_and_the_whole_machine_close(closed: Result) -> None:
    part = closed.parts.circuit
    for node in circuits.NODES:
        for of in (lambda s: s.flow, lambda s: s.water, lambda s: np.sum(s.solids), lambda s: s.dissolved):
            into = sum(float(of(s)) for s in part.balance.streams if s.sink == node)
            out = sum(float(of(s)) for s in part.balance.streams if s.source == node)
            assert abs(into - out) <= 1e-12 * float(of(part.balance.stream("jet"))), node
    by_streams = float(part.balance.stream("effluent").water) + float(part.drained_seal)
    assert float(part.effluent) == pytest.approx(by_streams, rel=1e-10)


def test_the_heat_that_is_told_holds_the_jet(closed: Result) -> None:
    warmth = closed.parts.circuit.warmth
    assert float(warmth.held["forming"]) == pytest.approx(float(closed.machine.stock.temperature), abs=1e-9)
    made = float(closed.parts.circuit.passed.production)
    assert float(closed["heat_to_hold"]) * made == pytest.approx(float(warmth.to_hold), rel=1e-12)


def test_closing_saves_water_and_fibre_and_costs_cleanness_and_warmth_comes_back(closed: Result) -> None:
    half = with_circuits("facial-roll").run()
    assert closed["fresh_water_per_product"] < half["fresh_water_per_product"]
    assert closed["effluent_per_product"] < half["effluent_per_product"]
    assert closed["fibre_loss"] < half["fibre_loss"]
    assert closed["white_water_dissolved"] > half["white_water_dissolved"]
    assert closed["temperature_free"] > half["temperature_free"]


@pytest.mark.parametrize("name", sorted(existing("circuit") | {"fresh_water_per_product", "shower_heat_per_product"}))
def test_every_number_of_the_circuits_can_be_explained_to_its_last_step(closed: Result, name: str) -> None:
    made = worked(closed, name, "mill")
    assert made.steps, name
    assert float(np.ravel(made.steps[-1].output)[0]) == pytest.approx(float(closed[name]), rel=1e-12)
    shown = made.steps[-1].lines[-1]
    assert (shown.also or shown.unit) is not None


def test_cases_give_what_single_runs_give(closed: Result) -> None:
    machine = with_circuits("facial-roll", **CLOSED)
    together = machine.with_(
        {"circuit.felt_shower_clear": np.array([0.0, 0.5]), "loop.wire_shower": np.array([2.0, 2.5])}
    ).run()
    assert float(together["effluent_per_product"][1]) == pytest.approx(float(closed["effluent_per_product"]), rel=1e-9)
    assert float(together["temperature_free"][1]) == pytest.approx(float(closed["temperature_free"]), abs=1e-6)


REFUSED = [
    ({"circuit.wire_shower_clear": 0.9, "circuit.wire_shower_white": 0.2}, "circuit.wire_shower_clear"),
    ({"circuit.felt_recovered": 0.0, "press.felt.shower": 0.5, "circuit.felt_shower_clear": 1.0}, "clear water"),
    ({"circuit.pulp_dryness": 0.02}, "circuit.pulp_dryness"),
    ({"circuit.broke_consistency": 0.002, "circuit.reject_recovered": 1.5}, "circuit.reject_recovered"),
]


@pytest.mark.parametrize(("changes", "said"), REFUSED, ids=[said for _, said in REFUSED])
def test_what_cannot_be_is_refused_at_its_field(changes: dict[str, float], said: str) -> None:
    with pytest.raises(Refused, match=said.replace(".", r"\.")):
        with_circuits("facial-roll", **CLOSED).with_(changes).run()


def test_clear_water_without_a_save_all_is_refused_when_the_file_is_read() -> None:
    with pytest.raises(Refused, match="there is none"):
        WaterCircuits(wire_shower_clear=0.5)


def test_the_example_file_is_read_and_tells_its_water() -> None:
    result = thinstock.load(EXAMPLE).run()
    assert 5.0 < float(result["fresh_water_per_product"]) < 20.0
    assert any(note.id == "circuit_blind" for note in result.notes)


def test_a_run_with_circuits_goes_round_them_few_times(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[float] = []
    search = optimize.brentq

    def counted(misfit: Any, *ends: float, **how: float) -> float:
        def once(temperature: float) -> float:
            asked.append(temperature)
            return float(misfit(temperature))

        return float(search(once, *ends, **how))

    monkeypatch.setattr(optimize, "brentq", counted)
    result = with_circuits("facial-roll", **CLOSED).run()
    assert 0 < len(asked) <= 16
    sheet = result.worksheet
    assert sheet is not None
    uses = Counter(step.label.name for step in sheet.steps)
    assert uses["circuits.tissue_circuit"] == 1 and uses["circuits.circuit_loads"] <= 8


def halved(refused: Refused, count: int) -> list[slice]:
    return [slice(0, count // 2), slice(count // 2, None)] if count > 1 else []


def test_draws_that_are_refused_are_told_apart_at_once_and_flagged_as_one_by_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    runs: list[int] = []
    run = cases.run_machine

    def counted(machine: Machine, **how: Any) -> Result:
        runs.append(machine.cases() or 1)
        return run(machine, **how)

    monkeypatch.setattr(cases, "run_machine", counted)
    machine = thinstock.load(EXAMPLE)
    columns = {"stock.resistance_factor": np.linspace(1.0, 9.0, 12)}
    at_once = cases.run_cases(machine, columns, ("dryness_press",))
    assert not at_once.flags["formed"].all() and at_once.flags["formed"].any()
    assert len(runs) <= 3
    monkeypatch.setattr(cases, "_left", halved)
    one_by_one = cases.run_cases(machine, columns, ("dryness_press",))
    for name, flag in one_by_one.flags.items():
        assert np.array_equal(at_once.flags[name], flag), name
    assert at_once["dryness_press"] == pytest.approx(one_by_one["dryness_press"], rel=1e-5, nan_ok=True)


def test_a_circuit_that_asks_for_too_much_water_says_in_which_cases() -> None:
    wetter = np.linspace(0.9, 0.02, 12)
    with pytest.raises(Refused, match="pulp_dryness") as refused:
        with_circuits("facial-roll", **CLOSED).with_({"circuit.pulp_dryness": wetter}).run()
    beyond = refused.value.cases
    assert beyond.shape == (12,) and 0 < beyond.sum() < 12
    assert beyond.tolist() == sorted(beyond.tolist())


def test_draws_of_closed_circuits_give_ends_though_some_form_no_sheet():
    import thinstock
    from thinstock.studies.bands import uncertainty

    found = uncertainty(thinstock.load(str(EXAMPLE)), draws=60)
    assert found["dryness_press"].low < found["dryness_press"].median < found["dryness_press"].high
