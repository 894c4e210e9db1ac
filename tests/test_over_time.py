"""A machine over time: closed forms, a general solver, both steady circuits at the ends, mass, events, refusals."""

from __future__ import annotations

import time as clock
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

import thinstock
from thinstock.errors import Refused
from thinstock.machine.events import event_of
from thinstock.machine.line import Machine
from thinstock.machine.over_time import OverTime, setting_of, tank_masses
from thinstock.machine.timeline import Net
from thinstock.relations import circulation_steps, transients

EXAMPLE = Path(__file__).parent.parent / "examples" / "water-circuits.toml"


@pytest.fixture(scope="module")
def machine() -> Machine:
    return thinstock.load(EXAMPLE)


@pytest.fixture(scope="module")
def thicker(machine: Machine) -> OverTime:
    return machine.over_time(["thick=+5 %"], 30.0)


@pytest.fixture(scope="module")
def broken(machine: Machine) -> OverTime:
    return machine.over_time(["break=doctor for 20 min @ 2"], 30.0)


def test_the_exponential_agrees_with_a_general_solver(machine: Machine) -> None:
    first, after = setting_of(machine, 0.0), setting_of(machine.with_({"headbox.consistency": 0.0021}), 0.0)
    before = Net.of(first.balance, tank_masses(first), first.result.parts.circuit)
    net = Net.of(after.balance, tank_masses(after), after.result.parts.circuit)
    start = before.steady()
    for kind in range(2):
        out = net.outflow[kind, net.held]
        transfer = net.reduced[kind] * out[None, :]

        def slope(
            _: float, c: np.ndarray, kind: int = kind, transfer: np.ndarray = transfer, out: np.ndarray = out
        ) -> np.ndarray:
            return (transfer @ c - out * c + net.fed[kind]) / net.mass[kind]

        wanted = solve_ivp(slope, (0.0, 1800.0), start[kind], method="LSODA", rtol=1e-10, atol=1e-16).y[:, -1]
        matrix, state = net.step(10.0)[kind], np.append(start[kind], 1.0)
        for _ in range(180):
            state = matrix @ state
        assert state[:-1] == pytest.approx(wanted, rel=1e-8)
        once = net.step(1800.0)[kind] @ np.append(start[kind], 1.0)
        assert state == pytest.approx(once, rel=1e-11), "splitting an interval changes nothing"
        library = circulation_steps.tank_network_response(
            net.mass[kind], transfer, out, net.fed[kind], start[kind], 1800.0
        )
        assert once[:-1] == pytest.approx(library, rel=1e-11)


def test_start_and_end_are_the_two_steady_circuits(machine: Machine, thicker: OverTime) -> None:
    plain = machine.run()
    assert thicker.before["web_fines"] == pytest.approx(float(plain["circuit_fines_share"]), rel=1e-12)
    assert thicker.before["white_water"] == pytest.approx(float(plain["white_water_solids"]), rel=1e-9)
    later = machine.over_time(["headbox.consistency=0.21 %"], 720.0, 60.0)
    settled = machine.with_({"headbox.consistency": 0.0021}).run()
    assert later.final["white_water"] == pytest.approx(float(settled["white_water_solids"]), rel=1e-9)
    assert later.lines["white_water"][-1] == pytest.approx(later.final["white_water"], rel=2e-4), "broke is slow"


def test_most_of_a_thick_stock_step_comes_at_once_and_the_rest_with_the_silo(thicker: OverTime) -> None:
    web = thicker.lines["web"]
    assert web[0] == pytest.approx(1.04353, abs=3e-4)
    assert web[[30, 60, 300]] == pytest.approx([1.04564, 1.04694, 1.04927], abs=4e-4)
    assert thicker.final["web"] == pytest.approx(1.0495, abs=2e-4)
    share = (web - 1.0) / (thicker.final["web"] - 1.0)
    assert np.all(np.diff(share[:120]) > 0)


def test_mass_is_kept_and_the_moisture_answers(thicker: OverTime, broken: OverTime) -> None:
    assert max(thicker.mass_error, broken.mass_error) < 1e-9
    assert thicker.lines["moisture"][0] > thicker.before["moisture"] + 0.01
    assert thicker.passed and thicker.passed[0][0] == "too_wet"


def test_a_break_stops_the_reel_fills_the_broke_tank_and_draws_on_the_pit(broken: OverTime, machine: Machine) -> None:
    at = {minute: int(np.searchsorted(broken.time, 60 * minute + 1)) for minute in (1, 10, 25)}
    grammage = broken.lines["grammage"]
    assert grammage[at[10]] == 0 and grammage[at[1]] == pytest.approx(grammage[at[25]])
    assert broken.lines["broke_level"][at[10]] > broken.lines["broke_level"][0]
    assert broken.lines["pit_level"][at[10]] < broken.lines["pit_level"][0]
    balance, given = machine.run().parts.circuit.balance, setting_of(machine, 0.0).given
    white = balance.stream("overflow")
    web = float(np.sum(balance.stream("web_pressed").solids))
    asked = transients.break_water_draw(web, float(given.reel_dryness), 0.035, float(np.sum(white.solids) / white.flow))
    supply = float(balance.stream("effluent").flow)
    rate = -(broken.lines["pit_level"][at[25]] - broken.lines["pit_level"][0]) / 1200.0 / float(machine.width)
    assert rate == pytest.approx(float(asked) - supply, rel=1e-9)
    assert broken.clearing is not None and 1 < broken.clearing / 3600 < 6


def test_a_grade_change_and_a_lower_freeness_move_what_they_should(machine: Machine) -> None:
    heavier = machine.over_time(["grade.reel_grammage=17 g/m2 @ 1"], 20.0)
    assert heavier.final["grammage"] == pytest.approx(0.017, rel=1e-9)
    slower = machine.over_time(["stock.freeness=470 mL CSF"], 60.0)
    moisture = slower.lines["moisture"]
    assert moisture[0] == pytest.approx(slower.before["moisture"], abs=2e-3) and moisture[-1] > moisture[0] + 0.01


def test_start_up_begins_with_clean_water_and_a_failure_draws_on_the_clear_tank(machine: Machine) -> None:
    clean = machine.over_time(["start-up"], 10.0)
    assert clean.lines["white_water"][0] == 0 and clean.lines["white_water"][-1] > 3e-4
    short = machine.over_time(["fresh=off for 8 min"], 10.0)
    assert short.lines["clear_level"][-1] < short.lines["clear_level"][0]


def test_a_ramp_is_made_of_steps_and_events_are_read_from_text(machine: Machine) -> None:
    event = event_of(machine, "yankee.speed=1750 m/min over 1 min @ 2 min")
    assert event.over == 60 and event.at == 120 and event.changes["yankee.speed"] == pytest.approx(1750 / 60)
    found = machine.over_time([event], 10.0)
    assert np.sum(np.diff(found.lines["web"]) < -1e-3) >= 5
    for wrong in ("thick=much", "nonsense", "break=moon", "yankee.speed"):
        with pytest.raises(Refused):
            event_of(machine, wrong)


def test_without_circuits_it_is_refused_with_what_to_do() -> None:
    with pytest.raises(Refused, match="no \\[circuit\\]"):
        thinstock.load("facial-roll").over_time(["thick=+5 %"])


def test_half_an_hour_in_seconds_is_quick(machine: Machine) -> None:
    start = clock.process_time()
    machine.over_time(["thick=+5 %"], 30.0)
    assert clock.process_time() - start < 2.0, "1 s on a quiet machine"
