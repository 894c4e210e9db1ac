"""The speed that gives the reel dryness: found near the machine's own, told where there is none, in few machines."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.optimize import brentq

import thinstock
from thinstock.machine import holding

AIR = np.linspace(560.0, 750.0, 60)
MOST_OF_ONE, MOST_OF_EACH = 10, 8


@pytest.fixture(scope="module")
def plain():
    return thinstock.load("facial-roll")


@pytest.fixture(scope="module")
def machine(plain):
    return dataclasses.replace(plain, hold_reel_dryness_by="speed")


@pytest.fixture
def looked_at(monkeypatch):
    """How many machines are run down to their dryer each time."""
    many = []
    look = holding._Gaps.__call__

    def counted(self, speed, rows):
        many.append(len(rows))
        return look(self, speed, rows)

    monkeypatch.setattr(holding._Gaps, "__call__", counted)
    return many


@pytest.mark.parametrize("air", [560.0, 700.0, 740.0])
def test_the_speed_is_the_one_that_a_search_of_the_whole_range_finds(plain, machine, air):
    still = dataclasses.replace(plain, hold_reel_dryness_by="nothing").with_({"hood.air_temperature": air})

    def too_dry(speed):
        return float(still.with_({"yankee.speed": speed}).run()["reel_dryness_reached"] - plain.grade.reel_dryness)

    speed = brentq(too_dry, 5.0, float(plain.yankee.speed_limit), xtol=1e-9, rtol=1e-12)
    held = machine.with_({"hood.air_temperature": air}).run()
    assert held["hold_status"] == 0
    assert float(held.machine.speed) == pytest.approx(speed, rel=1e-7)


def test_from_whatever_speed_the_search_begins_it_ends_at_the_same(machine):
    speeds = np.array([0.2, 4.0, 12.0, 29.0, 33.0, 58.0])
    held = machine.with_({"yankee.speed": speeds, "yankee.speed_limit": 59.0}).run()
    assert np.all(held["hold_status"] == 0)
    assert np.ptp(held.machine.speed) < 1e-6 * held.machine.speed.mean()


def test_few_machines_are_run_to_find_a_speed(machine, looked_at):
    machine.run()
    assert sum(looked_at) <= MOST_OF_ONE
    looked_at.clear()
    held = machine.with_({"hood.air_temperature": AIR, "yankee.speed_limit": 30.5}).run()
    assert set(held["hold_status"]) == {0, 1}
    assert sum(looked_at) <= MOST_OF_EACH * AIR.size


def test_how_the_stock_resists_is_looked_up_once_for_all_speeds(machine, monkeypatch):
    looked = []
    look = type(machine.stock).specific_resistance
    monkeypatch.setattr(type(machine.stock), "specific_resistance", lambda self: looked.append(1) or look(self))
    machine.with_({"hood.air_temperature": AIR}).run()
    assert len(looked) <= 2  # for the search, and for the run at its answer


def test_a_machine_dry_enough_at_its_highest_speed_stays_there(machine):
    held = machine.with_({"yankee.speed_limit": 20.0}).run()
    assert held["hold_status"] == 1 and held.machine.speed == 20.0
    assert held["reel_dryness_reached"] > machine.grade.reel_dryness


def test_a_machine_too_wet_at_the_lowest_speed_stays_there_and_says_so(machine, monkeypatch):
    monkeypatch.setattr(holding, "SPEEDS_TRIED", (32.0, 60.0))
    held = machine.run()
    assert held["hold_status"] == -1 and held.machine.speed == 32.0
    assert held["reel_dryness_reached"] < machine.grade.reel_dryness


def test_where_faster_stock_forms_no_sheet_the_fastest_sheet_is_taken(machine):
    thin = machine.with_({"headbox.consistency": 2e-4})
    held = thin.run()
    assert held["hold_status"] == 0 and held["formed"]
    assert held["reel_dryness_reached"] > machine.grade.reel_dryness
    still = dataclasses.replace(thin, hold_reel_dryness_by="nothing")
    assert not still.with_({"yankee.speed": held.machine.speed * (1 + 1e-5)}).run()["formed"]


def test_a_machine_that_forms_no_sheet_at_any_speed_is_told_so(machine):
    held = machine.with_({"headbox.consistency": 2e-4, "stock.resistance_factor": np.array([1.0, 50.0])}).run()
    assert held["hold_status"][0] == 0
    assert held["hold_status"][1] == -1 and not held["formed"][1]


def test_each_case_finds_what_it_finds_alone(machine):
    cases = {
        "hood.air_temperature": np.array([450.0, 700.0, 740.0]),
        "yankee.speed_limit": np.array([30.0, 33.0, 20.0]),
    }
    many = machine.with_(cases).run()
    for k in range(3):
        one = machine.with_({name: column[k] for name, column in cases.items()}).run()
        assert many["hold_status"][k] == one["hold_status"]
        assert float(many.machine.speed[k]) == pytest.approx(float(one.machine.speed), rel=1e-6)
