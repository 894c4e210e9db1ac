"""The circuits of a tissue machine: worked streams, every node closed, limits, refusals."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from thinstock.errors import KernelRefused
from thinstock.relations import circuits, circulation
from thinstock.relations.circuits import NODES, TissueCircuit, tissue_circuit

GIVEN: dict[str, Any] = {
    "web_solids": 0.4, "fresh_shares": [0.85, 0.15, 0.0], "retention": [0.95, 0.42, 0.3], "jet_consistency": 0.0019,
    "thick_consistency": 0.03, "forming_dryness": 0.11, "vacuum_dryness": 0.185, "press_dryness": 0.4,
    "reel_dryness": 0.95, "reject_share": 0.015, "reject_recovered": 0.9, "press_loss": [0.0, 0.0, 0.0],
    "wire_shower": (0.5, 2.0, 0.0, 0.0), "felt_shower": (1.0, 1.0, 0.0, 0.0), "pit_shower": (0.0, 0.5, 0.0, 0.0),
    "seal_water": 1.2, "seal_recovered": 1.0, "chemical_water": 0.4, "vacuum_recovered": 1.0, "felt_recovered": 1.0,
    "pulp_dryness": 0.9, "broke_share": 0.05, "broke_consistency": 0.035, "dilution_water": "cloudy", "saveall": True,
    "recovery": [0.98, 0.85, 0.85], "recovered_consistency": 0.035, "cloudy_ratio": 3.0, "dissolved_per_fibre": 0.005,
    "fresh_dissolved": 1e-4,
}  # fmt: skip
OPEN = {
    "reject_recovered": 0.0, "wire_shower": (2.5, 0.0, 0.0, 0.0), "felt_shower": (2.0, 0.0, 0.0, 0.0),
    "pit_shower": (0.0, 0.0, 0.0, 0.0), "seal_water": 0.0, "chemical_water": 0.0, "broke_share": 0.0,
    "dilution_water": "fresh", "saveall": False,
}  # fmt: skip
WORKED = {
    "pulp": (0.4230997, 323.671289, 57.118463, 1.903949), "felt_water": (3.1621622, 0.000357, 0.012453, 1.693615),
    "thick": (13.6958438, 346.166778, 64.708537, 11.053663), "overflow": (8.5473774, 0.583316, 2.694624, 6.732666),
    "white_water": (253.7776743, 17.319077, 80.005293, 199.897622),
    "saveall_feed": (14.3298594, 0.562125, 2.612331, 9.674861),
    "jet": (263.4614154, 358.033567, 142.543122, 207.787016), "recovered": (0.0791818, 0.550882, 2.220481, 0.051600),
    "reject": (0.4012103, 0.545229, 0.217071, 0.316427), "cloudy": (8.6077355, 0.009226, 0.321578, 5.812611),
    "forming_water": (259.8250518, 17.901678, 82.675011, 205.229698),
    "clear": (5.6429421, 0.002016, 0.070272, 3.810650), "web_pressed": (1.0, 340.131889, 59.868111, 0.474109),
    "effluent": (2.1429421, 0.000766, 0.026686, 1.447118), "reel": (0.4, 323.125294, 56.874706, 0.450404),
    "broke": (0.5749343, 17.028322, 3.094378, 0.397661),
}  # fmt: skip


@pytest.fixture(scope="module")
def closed() -> circuits.Circuit:
    return tissue_circuit(TissueCircuit(**GIVEN))


def unclosed(circuit: circuits.Circuit) -> float:
    """The largest difference at any node, of flow, water, each component and what is dissolved, over its largest."""
    worst = 0.0
    kinds = [lambda s: s.flow, lambda s: s.water, lambda s: s.dissolved]
    kinds += [lambda s, k=k: s.solids[..., k] for k in range(3)]
    for node in NODES:
        for of in kinds:
            into = sum(of(s) for s in circuit.streams if s.sink == node)
            out = sum(of(s) for s in circuit.streams if s.source == node)
            scale = max(float(np.max(np.abs(of(circuit.stream("jet"))))), 1e-30)
            worst = max(worst, float(np.max(np.abs(into - out))) / scale)
    return worst


@pytest.mark.parametrize("name", WORKED)
def test_every_stream_is_as_worked_apart(closed: circuits.Circuit, name: str) -> None:
    flow, long, fines, dissolved = WORKED[name]
    stream = closed.stream(name)
    assert float(stream.flow) == pytest.approx(flow, abs=6e-8)
    assert [1e3 * float(s) for s in stream.solids[:2]] == pytest.approx([long, fines], abs=6e-7)
    assert 1e3 * float(stream.dissolved) == pytest.approx(dissolved, abs=6e-7)


def test_fresh_solids_and_fines_of_the_web_are_as_worked_apart(closed: circuits.Circuit) -> None:
    assert float(closed.fresh_solids) == pytest.approx(0.3807897514, abs=6e-11)
    assert float(closed.web_shares[1]) == pytest.approx(0.1496702784, abs=6e-11)
    assert closed.rounds <= 12


def test_every_node_closes_in_flow_water_each_component_and_dissolved_matter(closed: circuits.Circuit) -> None:
    assert unclosed(closed) < 1e-12
    assert unclosed(tissue_circuit(TissueCircuit(**{**GIVEN, **OPEN}))) < 1e-12


def test_temperatures_and_the_heat_that_holds_one_are_as_worked_apart(closed: circuits.Circuit) -> None:
    temperatures = {"pulp": 298.15, "fresh": 288.15, "dry_broke": 313.15}
    powers = {"mixing": 217e3, "chest": 72e3, "pit": 100e3}
    share, feed, flow, found = circuits.circuit_heat(closed, temperatures, powers, 300.0, 0.0, 1340.0, 4190.0)
    worked = {"forming": 46.159577, "silo": 46.074289, "pit": 42.765826, "felt": 35.232435, "chest": 43.912207,
              "broke": 42.729118}  # fmt: skip
    for node, celsius in worked.items():
        assert found[NODES.index(node)] - 273.15 == pytest.approx(celsius, abs=6e-7)
    at = NODES.index("forming"), NODES.index("silo")
    assert circuits.heat_to_hold(share, feed, flow, 273.15, *at, 313.15) == pytest.approx(-75625.67857, abs=6e-6)


def test_heat_closes_at_every_node_from_the_streams_alone(closed: circuits.Circuit) -> None:
    outside, powers = {"pulp": 298.15, "fresh": 288.15, "dry_broke": 313.15}, {"mixing": 217e3, "pit": 1e5}
    found = circuits.circuit_heat(closed, outside, powers, 300.0, 120.0, 1340.0, 4190.0)[3]
    for number, node in enumerate(NODES):
        if node == "dryer":
            continue
        total, largest = powers.get(node, 0.0), 1.0
        for s in closed.streams:
            capacity = float(np.sum(s.solids)) * 1340.0 + float(s.water) * 4190.0
            if s.sink == node:
                known = outside.get(s.name, outside["fresh"]) if s.source in ("outside", "dryer") else None
                heat = capacity * ((found[NODES.index(s.source)] if known is None else known) - 273.15)
                total, largest = total + heat, max(largest, abs(heat))
            if s.source == node:
                total -= capacity * (found[number] - 273.15)
        total -= 120.0 * (found[number] - 300.0) if node == "pit" else 0.0
        assert abs(total) <= 1e-12 * largest, node


def test_one_temperature_everywhere_stays() -> None:
    one = tissue_circuit(TissueCircuit(**GIVEN))
    same = {"fresh": 305.0, "pulp": 305.0, "dry_broke": 305.0}
    found = circuits.circuit_heat(one, same, {}, 305.0, 250.0, 1340.0, 4190.0)[3]
    assert found == pytest.approx(305.0, abs=1e-9)


def test_water_round_the_whole_machine_closes(closed: circuits.Circuit) -> None:
    came = sum(float(s.water) for s in closed.streams if s.source == "outside")
    left = sum(float(s.water) for s in closed.streams if s.sink == "outside")
    assert came == pytest.approx(left, rel=1e-12)
    of = {s.name: float(s.water) for s in closed.streams}
    fresh = of["wire_shower_fresh"] + of["felt_shower_fresh"] + of["chemicals"] + of["seal_water"]
    assert fresh == pytest.approx(3.1)
    balance = circuits.effluent_flow_balance(fresh, of["pulp"], 0.0, of["vapour"], of["reel"], of["reject"])
    assert balance == pytest.approx(of["effluent"], rel=1e-11)


def test_two_nodes_are_the_short_circulation() -> None:
    share = [[0.0, 0.96 * 0.55], [1.0, 0.0]]
    loads = circuits.circuit_loads(share, [0.2, 0.0])
    assert loads[1] == pytest.approx(circulation.jet_solids_short_circulation(0.2, 0.45, 0.96, 0.0), rel=1e-14)


def test_nodes_without_hold_up_can_be_left_out_without_moving_the_others() -> None:
    share, feed = [[0.0, 0.2, 0.1], [0.9, 0.0, 0.5], [0.05, 0.6, 0.0]], [1.0, 0.2, 0.0]
    left, fed = circuits.prompt_reduction(share, feed, [0, 2])
    assert left == pytest.approx(np.array([[0.18, 0.2], [0.59, 0.3]]), abs=1e-15)
    assert fed == pytest.approx([1.04, 0.12])
    assert circuits.circuit_loads(left, fed) == pytest.approx(circuits.circuit_loads(share, feed)[[0, 2]], rel=1e-14)
    masked = circuits.prompt_reduction(share, feed, np.array([True, False, True]))
    assert np.array_equal(masked[0], left)


def test_a_matrix_of_flows_over_what_leaves_is_a_matrix_of_shares() -> None:
    assert circuits.transfer_shares([[0.0, 3.0], [4.0, 0.0]], [8.0, 6.0]).tolist() == [[0.0, 0.5], [0.5, 0.0]]


def test_what_leaves_all_nodes_is_what_was_fed(closed: circuits.Circuit) -> None:
    left = circuits.circuit_leaving(closed.shares["solids"], closed.loads["solids"])
    assert np.sum(left, axis=-1) == pytest.approx(np.sum(closed.feeds["solids"], axis=-1), rel=1e-12)


def test_with_all_recovered_solids_are_lost_by_rejects_alone() -> None:
    one = tissue_circuit(TissueCircuit(**{**GIVEN, "recovery": [1.0, 1.0, 1.0]}))
    lost = sum(float(np.sum(s.solids)) for s in one.streams if s.sink == "outside" and s.name != "reel")
    assert lost == pytest.approx(float(np.sum(one.stream("reject").solids)), rel=1e-12)


def test_more_recovery_loses_less_fibre_and_brings_more_fines_into_the_web() -> None:
    less, more = (tissue_circuit(TissueCircuit(**{**GIVEN, "recovery": [0.98, r, r]})) for r in (0.7, 0.95))
    assert more.fresh_solids < less.fresh_solids and more.web_shares[1] > less.web_shares[1]


def test_clear_for_fresh_on_the_felt_saves_as_much_effluent_and_raises_what_is_dissolved() -> None:
    part = [tissue_circuit(TissueCircuit(**{**GIVEN, "felt_shower": (f, 2.0 - f, 0.0, 0.0)})) for f in (2.0, 1.0)]
    effluent = [float(c.stream("effluent").flow) for c in part]
    dirt = [float(c.stream("white_water").dissolved / c.stream("white_water").water) for c in part]
    assert effluent[0] - effluent[1] == pytest.approx(1.0, abs=2e-3)
    assert dirt[1] > dirt[0]


def test_arrays_of_cases_give_what_single_cases_give() -> None:
    many = {**GIVEN, "web_solids": np.array([0.3, 0.4, 0.45]), "broke_share": np.array([0.02, 0.05, 0.1])}
    together = tissue_circuit(TissueCircuit(**many))
    for case in range(3):
        one = tissue_circuit(
            TissueCircuit(**{**GIVEN, "web_solids": [0.3, 0.4, 0.45][case], "broke_share": [0.02, 0.05, 0.1][case]})
        )
        for stream in one.streams:
            many_streams = together.stream(stream.name)
            assert (
                many_streams.flow[case]
                if np.ndim(many_streams.flow)
                else many_streams.flow == pytest.approx(stream.flow, rel=1e-12)
            )
            assert np.allclose(np.broadcast_to(many_streams.solids, (3, 3))[case], stream.solids, rtol=1e-11)


REFUSED = [
    ({"felt_shower": (0.0, 9.0, 0.0, 0.0), "felt_recovered": 0.0}, "felt_shower", "more is asked for than there is"),
    ({"saveall": False, "dilution_water": "white"}, "wire_shower", "there is none"),
    ({"pulp_dryness": 0.02}, "pulp_dryness", "wetter than the thick stock"),
    ({"reject_recovered": 1.2}, "reject_recovered", "between 0 and 1"),
    ({"retention": [0.95, 0.0, 0.3]}, "retention", "more than 0"),
    ({"broke_consistency": 1e-4}, "broke_consistency", "thicker than the white water"),
    ({"dilution_water": "grey"}, "dilution_water", "one of fresh"),
    ({"seal_water": -1.0}, "seal_water", "less than nothing"),
]


@pytest.mark.parametrize(("change", "field", "said"), REFUSED, ids=[row[1] for row in REFUSED])
def test_what_cannot_be_is_refused_by_field_and_bound(change: dict[str, Any], field: str, said: str) -> None:
    with pytest.raises(KernelRefused) as refused:
        tissue_circuit(TissueCircuit(**{**GIVEN, **change}))
    assert any(f.field == field and said in f.bound for f in refused.value.faults), refused.value


def test_a_record_lists_its_fields_in_order_and_needs_them_all() -> None:
    assert list(TissueCircuit.order()) == list(TissueCircuit.__dataclass_fields__)
    with pytest.raises(TypeError):
        TissueCircuit(0.4)  # type: ignore[call-arg]
    assert replace(TissueCircuit(**GIVEN), web_solids=0.5).web_solids == 0.5
