"""The circulation: the reference machine, closure of every node, dynamics against integrators."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from thinstock.relations import circulation, pressing, retention

REFERENCE = tomllib.loads((Path(__file__).parent / "data/reference_tissue_machine.toml").read_text(encoding="utf-8"))
SHARE = np.array([0.90, 0.10])
GIVEN = {
    "web_solids": 13.6e-3 * 30.0 * 2.8 * SHARE,
    "retention": np.array([0.95, 0.45]),
    "press_loss": np.array([0.002, 0.02]),
    "jet_consistency": 0.0018,
    "thick_consistency": 0.03,
    "forming_dryness": 0.17,
    "press_dryness": 0.40,
    "wire_shower_flow": 9.0,
    "felt_shower_flow": 5.0,
    "reject_share": 0.015,
}
shares = st.floats(0.05, 0.98)


def test_the_given_values_are_those_of_the_data_file() -> None:
    assert REFERENCE["given"]["retention"] == list(GIVEN["retention"])
    assert REFERENCE["given"]["share"] == list(SHARE)
    assert REFERENCE["given"]["reject_share"] == GIVEN["reject_share"]


@pytest.mark.parametrize("row", REFERENCE["stream"], ids=lambda row: row["name"])
def test_streams_of_the_reference_machine(row: dict[str, object]) -> None:
    wet_end = circulation.wet_end_balance(**GIVEN)
    flow = wet_end.flow[row["name"]]
    assert flow == pytest.approx(row["flow"], rel=5e-9)
    assert wet_end.solids[row["name"]] / flow == pytest.approx(row["consistency"], rel=5e-9, abs=1e-18)


def test_outcome_of_the_reference_machine() -> None:
    wet_end = circulation.wet_end_balance(**GIVEN)
    outcome = REFERENCE["outcome"]
    total = circulation.retention_total(wet_end.solids["jet"], GIVEN["retention"])
    assert total == pytest.approx(outcome["retention_total"], rel=1e-9)
    tray = wet_end.solids["forming_water"].sum() / wet_end.flow["forming_water"]
    assert circulation.retention_two_consistencies(0.0018, tray) == pytest.approx(
        outcome["retention_two_consistencies"], rel=1e-9
    )
    by_flows = circulation.retention_flows(wet_end.flow["jet"], 0.0018, wet_end.flow["forming_water"], tray)
    assert by_flows == pytest.approx(0.853591547863578, rel=1e-12)
    share = wet_end.flow["white_water"] / wet_end.flow["forming_water"]
    assert share == pytest.approx(outcome["return_share"], rel=1e-9)


def closes(wet_end: circulation.WetEnd) -> None:
    ends = {row["name"]: (row["from"], row["to"]) for row in REFERENCE["stream"]}
    for node in ("mixing", "screens", "forming", "silo", "press"):
        for amounts in (wet_end.flow, wet_end.solids):
            signed = [
                (1.0 if to == node else -1.0) * np.asarray(amounts[name])
                for name, (start, to) in ends.items()
                if node in (start, to)
            ]
            left = np.abs(sum(signed))
            assert np.all(left <= 1e-12 * np.max([np.max(np.abs(s)) for s in signed]))


def test_every_node_and_component_closes() -> None:
    closes(circulation.wet_end_balance(**GIVEN))


@given(
    jet=st.floats(5e-4, 5e-3),
    kept=shares,
    fines=shares,
    formed=st.floats(0.08, 0.25),
    reject=st.floats(0.0, 0.05),
)
def test_every_node_closes_whatever_the_machine(
    jet: float, kept: float, fines: float, formed: float, reject: float
) -> None:
    closes(
        circulation.wet_end_balance(
            **{
                **GIVEN,
                "jet_consistency": jet,
                "retention": np.array([kept, fines]),
                "forming_dryness": formed,
                "reject_share": reject,
            }
        )
    )


def test_the_thick_stock_sent_round_the_loop_gives_the_jet_back() -> None:
    wet_end = circulation.wet_end_balance(**GIVEN)
    share = wet_end.flow["white_water"] / wet_end.flow["forming_water"]
    jet = circulation.jet_solids_short_circulation(wet_end.solids["thick"], GIVEN["retention"], share, 0.015)
    assert jet == pytest.approx(wet_end.solids["jet"], rel=1e-12)
    back = circulation.thick_solids_for_web(wet_end.solids["web_formed"], GIVEN["retention"], share, 0.015)
    assert back == pytest.approx(wet_end.solids["thick"], rel=1e-12)


def test_halving_the_jet_consistency() -> None:
    flow = circulation.wet_end_balance(**{**GIVEN, "jet_consistency": 0.0009}).flow
    wanted = {
        "jet": 1492.767,
        "forming_water": 1495.021,
        "white_water": 1476.510,
        "thick": 38.990,
        "reject": 22.733,
        "overflow": 18.511,
    }
    for name, value in wanted.items():
        assert flow[name] == pytest.approx(value, abs=0.00051)
    assert flow["white_water"] / flow["forming_water"] == pytest.approx(0.987618, abs=6e-7)
    solids = circulation.wet_end_balance(**{**GIVEN, "jet_consistency": 0.0009}).solids["white_water"]
    assert 1e3 * solids / flow["white_water"] == pytest.approx([0.0363, 0.0953], abs=6e-5)


def test_as_many_cases_as_components_are_not_mixed_up() -> None:
    jets, showers = np.array([0.0018, 0.0009]), np.array([9.0, 4.0])
    both = circulation.wet_end_balance(**{**GIVEN, "jet_consistency": jets, "wire_shower_flow": showers})
    for k in range(2):
        alone = circulation.wet_end_balance(**{**GIVEN, "jet_consistency": jets[k], "wire_shower_flow": showers[k]})
        for name in alone.flow:
            assert np.broadcast_to(both.flow[name], 2)[k] == pytest.approx(alone.flow[name], rel=1e-14)
            assert np.broadcast_to(both.solids[name], (2, 2))[k] == pytest.approx(
                alone.solids[name], rel=1e-14, abs=1e-16
            )


def test_what_has_its_home_elsewhere_is_the_same_number() -> None:
    assert circulation.retention_two_consistencies(0.0018, 0.0003) == retention.retention_first_pass(0.0018, 0.0003)
    flows = (746.0, 0.0018, 748.0, 0.00026)
    assert circulation.retention_flows(*flows) == retention.retention_first_pass_balance(*flows)
    assert circulation.water_removed(0.17, 0.40) == pressing.evaporation_per_fibre(0.17, 0.40)


# --- solids


@given(kept=shares, back=shares, rejected=st.floats(0.0, 0.1), saved=shares)
def test_what_goes_in_comes_out(kept: float, back: float, rejected: float, saved: float) -> None:
    jet = circulation.jet_solids_short_circulation(1.0, kept, back, rejected)
    out = (
        circulation.web_solids(jet, kept)
        + circulation.overflow_solids(jet, kept, back)
        + circulation.reject_solids(jet, rejected)
    )
    assert out == pytest.approx(1.0, rel=1e-12)
    jet = circulation.jet_solids_long_circulation(1.0, kept, back, rejected, saved)
    out = (
        circulation.web_solids(jet, kept)
        + circulation.effluent_solids(jet, kept, back, saved)
        + circulation.reject_solids(jet, rejected)
    )
    assert out == pytest.approx(1.0, rel=1e-12)
    whole = circulation.system_retention_long_circulation(kept, back, rejected, saved)
    assert whole == pytest.approx(circulation.web_solids(jet, kept), rel=1e-12)


@given(kept=shares, back=shares, rejected=st.floats(0.0, 0.1))
def test_the_loop_is_the_sum_of_its_passes(kept: float, back: float, rejected: float) -> None:
    jet, load = 0.0, 1.0
    for _ in range(2000):
        fan = load * (1 - rejected)
        jet += fan
        load = fan * (1 - kept) * back
    assert circulation.jet_solids_short_circulation(1.0, kept, back, rejected) == pytest.approx(jet, rel=1e-12)
    far = circulation.web_share_plug_loop(5000.0, kept, back, rejected)
    assert far == pytest.approx(circulation.web_solids(jet, kept), rel=1e-12)


def test_a_loop_without_loss_keeps_everything() -> None:
    kept = np.array([0.05, 0.5, 0.95])
    jet = circulation.jet_solids_short_circulation(1.0, kept, 1.0, 0.0)
    assert circulation.web_solids(jet, kept) == pytest.approx(np.ones(3), rel=1e-14)
    assert jet == pytest.approx(1.0 / kept, rel=1e-14)


@given(
    fan=st.floats(0.0005, 0.01),
    above=st.floats(1.1, 30.0),
    below=st.floats(0.0, 0.9),
    flow=st.floats(1.0, 2e3),
)
def test_the_two_dilution_flows_make_the_mixture(fan: float, above: float, below: float, flow: float) -> None:
    streams = (flow, fan, fan * above, fan * below)
    white, thick = circulation.white_water_flow_dilution(*streams), circulation.thick_flow_dilution(*streams)
    assert white + thick == pytest.approx(flow, rel=1e-12)
    mixed = circulation.consistency_mixed(np.array([white, thick]), np.array([fan * below, fan * above]))
    assert mixed == pytest.approx(fan, rel=1e-12)


def test_lists_of_components_are_read_as_arrays() -> None:
    assert circulation.retention_total([0.8, 0.2], [0.95, 0.45]) == pytest.approx(0.85, rel=1e-15)
    assert circulation.consistency_mixed([3, 1], [0.01, 0.03]) == pytest.approx(0.015, rel=1e-15)
    assert circulation.temperature_mixed([10, 5], 4190.0, [313.15, 328.15], 314250.0, 0.0) == pytest.approx(323.15)


# --- dynamics

LOOP = {"retention": 0.45, "return_share": 0.96, "reject_share": 0.015}
SILO = {"silo_mass": 6e4, "silo_flow": 748.64}


def silo_slope(c: np.ndarray, thick: float, kept: float) -> np.ndarray:
    into = (1 - kept) * (1 - LOOP["reject_share"]) * (thick + LOOP["return_share"] * SILO["silo_flow"] * c)
    return (into - SILO["silo_flow"] * c) / SILO["silo_mass"]


def test_a_step_of_thick_stock_against_an_integrator() -> None:
    kept = LOOP["retention"]
    loop = (LOOP["return_share"], kept, LOOP["reject_share"])
    start = circulation.silo_consistency_steady(1.0, SILO["silo_flow"], *loop)
    end = circulation.silo_consistency_steady(1.2, SILO["silo_flow"], *loop)
    times = np.array([0.0, 30.0, 100.0, 400.0])
    run = solve_ivp(
        lambda _, c: silo_slope(c, 1.2, kept), (0.0, 400.0), [start], t_eval=times, rtol=1e-11, atol=1e-16
    ).y[0]

    def web(c: np.ndarray, thick: float) -> np.ndarray:
        return kept * (1 - LOOP["reject_share"]) * (thick + LOOP["return_share"] * SILO["silo_flow"] * c)

    done = (web(run, 1.2) - web(start, 1.0)) / (web(end, 1.2) - web(start, 1.0))
    tau = circulation.silo_time_constant(SILO["silo_mass"], SILO["silo_flow"], *loop)
    assert circulation.step_share_thick_stock(times, tau, *loop) == pytest.approx(done, abs=1e-8)
    assert silo_slope(end, 1.2, kept) == pytest.approx(0.0, abs=1e-18)


@given(remaining=st.floats(1e-4, 0.4))
def test_the_time_to_a_remaining_share_is_the_inverse_of_the_share_done(remaining: float) -> None:
    loop = (LOOP["return_share"], LOOP["retention"], LOOP["reject_share"])
    time = circulation.step_time_thick_stock(remaining, 170.0, *loop)
    assert 1.0 - circulation.step_share_thick_stock(time, 170.0, *loop) == pytest.approx(remaining, rel=1e-10)
    assert circulation.step_time_thick_stock(0.99, 170.0, *loop) == 0.0


def test_a_fall_of_retention_makes_the_web_light_and_then_it_recovers() -> None:
    step = (1.0, 0.85, 0.80, LOOP["return_share"], LOOP["reject_share"], SILO["silo_mass"], SILO["silo_flow"])
    times = np.linspace(0.0, 900.0, 7)
    web = circulation.web_solids_retention_step(times, *step)
    loop = (LOOP["return_share"], 0.85, LOOP["reject_share"])
    start = circulation.silo_consistency_steady(1.0, SILO["silo_flow"], *loop)
    run = solve_ivp(
        lambda _, c: silo_slope(c, 1.0, 0.80), (0.0, 900.0), [start], t_eval=times, rtol=1e-11, atol=1e-16
    ).y[0]
    exact = 0.80 * (1 - LOOP["reject_share"]) * (1.0 + LOOP["return_share"] * SILO["silo_flow"] * run)
    assert web == pytest.approx(exact, rel=1e-8)
    assert np.all(np.diff(web) > 0.0)
    before = circulation.jet_solids_short_circulation(1.0, 0.85, LOOP["return_share"], LOOP["reject_share"])
    assert web[0] < 0.96 * circulation.web_solids(before, 0.85)


NET = {
    "tank_mass": np.array([6e4, 2e4, 5e3]),
    "transfer": np.array([[395.219, 30.0, 5.0], [50.0, 0.0, 2.0], [10.0, 3.0, 0.0]]),
    "outflow": np.array([748.64, 80.0, 20.0]),
    "feed": np.array([0.07, 0.02, 0.001]),
    "start": np.array([2e-4, 1e-3, 0.0]),
}


def test_a_network_of_tanks_against_a_stiff_integrator() -> None:
    def slope(_: float, c: np.ndarray) -> np.ndarray:
        return (NET["transfer"] @ c - NET["outflow"] * c + NET["feed"]) / NET["tank_mass"]

    times = np.array([0.0, 40.0, 100.0, 400.0, 3000.0])
    run = solve_ivp(slope, (0.0, 3000.0), NET["start"], method="Radau", t_eval=times, rtol=1e-11, atol=1e-15).y.T
    found = circulation.tank_network_response(**NET, elapsed=times)
    assert found == pytest.approx(run, abs=1e-8 * run.max())
    assert found[0] == pytest.approx(NET["start"], abs=1e-18)
    assert circulation.tank_network_response(**NET, elapsed=100.0) == pytest.approx(found[2], rel=1e-13)


def test_a_chain_is_a_network_of_equal_tanks() -> None:
    flow, mass, count = 10.0, 400.0, 3
    times = np.array([5.0, 40.0, 120.0, 500.0])
    found = circulation.tank_network_response(
        np.full(count, mass),
        np.diag([flow, flow], -1),
        np.full(count, flow),
        [flow, 0.0, 0.0],
        np.zeros(count),
        times,
    )
    assert found[:, -1] == pytest.approx(circulation.step_share_tank_chain(times, count, mass / flow, 0.0), abs=1e-12)


def test_power_per_pass_and_per_loop_differ_by_the_rounds_made() -> None:
    a_pass = circulation.temperature_rise_power(200e3, 750.0, 4190.0)
    loop = circulation.temperature_rise_power(200e3, 40.0, 4190.0)
    assert loop / a_pass == pytest.approx(750.0 / 40.0, rel=1e-12)


def test_low_retention_is_poorly_known() -> None:
    tray = np.array([0.0003, 0.0006, 0.0012])
    doubt = circulation.retention_uncertainty_two_consistencies(0.0018, tray, 0.03, 0.10)
    assert np.all(np.diff(doubt) > 0.0)
    off = circulation.retention_two_consistencies(0.0018, 0.00033) - circulation.retention_two_consistencies(
        0.0018, 0.0003
    )
    assert 100 * off == pytest.approx(-1.7, abs=0.05)
