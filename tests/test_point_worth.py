"""What a point of dryness saves at the dryer, and its heat at the meters, at the fuel and with idle time."""

from __future__ import annotations

import json
from functools import cache

import numpy as np
import pytest

import thinstock
from thinstock.cli import status
from thinstock.machine.result import Result
from thinstock.studies.point_worth import point_worth


@cache
def ran(name: str) -> Result:
    return thinstock.run(name)


def test_a_point_of_dryness_saves_what_a_run_with_a_drier_sheet_saves() -> None:
    """Against two runs of the whole machine whose press differs by a little; the sheet behind it alone changes."""
    machine, found = thinstock.load("facial-roll"), point_worth(thinstock.load("facial-roll"))
    rewet = float(machine.press.nip[0].rewet)
    drier = machine.with_({"press.nip.suction_pressure_roll.rewet": 0.82 * rewet}).run()
    heats = [float(r["steam_per_product"] + r["gas_per_product"]) for r in (ran("facial-roll"), drier)]
    points = 100 * float(drier["dryness_press"] - ran("facial-roll")["dryness_press"])
    assert 0.5 < points < 1.5
    assert found.heat_per_point == pytest.approx(np.log(heats[1] / heats[0]) / points, rel=0.02)
    assert found.changes["dryness"] == pytest.approx(0.01) and found.changes["gas"] < 0 and found.money < 0


def test_evaporation_alone_takes_the_share_of_the_water_balance() -> None:
    found = point_worth(thinstock.load("facial-roll"))
    low, high, reel = found.before.dryness, found.after.dryness, 0.95
    by_hand = np.log((1 / high - 1 / reel) / (1 / low - 1 / reel))
    assert found.water_per_point == pytest.approx(by_hand, rel=1e-4)
    assert found.heat_per_point < found.water_per_point, "the hood gives the dearest heat"


def test_a_dryer_of_stated_heat_saves_in_proportion_to_the_water() -> None:
    found = point_worth(thinstock.load("board-three-nips"))
    assert found.heat_per_point == pytest.approx(found.water_per_point, rel=1e-12)


def test_where_heat_does_not_hold_the_reel_there_is_nothing_to_save() -> None:
    machine = thinstock.load("facial-roll").with_({"hold_reel_dryness_by": "nothing"})
    with pytest.raises(thinstock.Refused, match="not held by heat"):
        point_worth(machine)
    assert machine.run().heat_per_point is None


@pytest.mark.parametrize(
    ("number", "from_file"),
    [
        ("heat_per_point", "yankee.steam_pressure"),
        ("idle_factor", "reel.idle_share"),
        ("fuel_heat", "yankee.boiler_efficiency"),
        ("drying_efficiency_idle", "yankee.distribution_efficiency"),
    ],
)
def test_each_can_be_explained_from_the_machine_file(number: str, from_file: str) -> None:
    told = json.loads(thinstock.explain(ran("facial-roll"), number, "json"))
    if number in thinstock_formulas():
        assert told["steps"][-1]["formula"] == f"dryer_energy.{number}"
    assert from_file in {one["name"] for one in told["given"]}


def thinstock_formulas() -> set[str]:
    return {name.partition(".")[2] for name in thinstock.formulas() if name.startswith("dryer_energy.")}


def test_fuel_and_idle_time_follow_from_the_meters_by_hand() -> None:
    made = ran("facial-roll")
    d = made.parts.yankee
    fuel = float(d.steam_heat) / (0.9 * 0.95) + float(d.dried.gas_power)
    assert float(made["fuel_heat"]) == pytest.approx(fuel, rel=1e-12)
    assert float(made["idle_factor"]) == pytest.approx(1 + (1 / 0.92 - 1) * 0.5, rel=1e-12)
    meters = float(d.steam_heat) + float(d.dried.gas_power)
    at = [float(made[f"drying_efficiency{n}"]) for n in ("", "_fuel", "_idle")]
    assert at[1] / at[0] == pytest.approx(meters / fuel, rel=1e-12) and at[2] == pytest.approx(
        at[1] / float(made["idle_factor"]), rel=1e-12
    )
    assert float(made["fuel_with_idle_per_product"]) == pytest.approx(
        float(made["fuel_per_product"]) * float(made["idle_factor"]), rel=1e-12
    )


def test_a_hood_heated_by_steam_burns_its_fuel_at_the_boiler() -> None:
    made = ran("facial-roll").machine.with_(
        {"hood.heating": "steam", "hood.air_temperature": 433.15, "hood.air_temperature_limit": 473.15,
         "hold_reel_dryness_by": "nothing"}
    ).run()  # fmt: skip
    d = made.parts.yankee
    heat = float(d.steam_heat) + max(float(d.dried.gas_power), 0.0)
    assert float(made["fuel_heat"]) == pytest.approx(heat / (0.9 * 0.95), rel=1e-12)


def test_the_command_tells_the_range_and_keeps_it_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert status(["study", "dryness", "facial-roll"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "one point drier" in out and "4.3 % off the water and 6.7 % off the heat" in out
    assert status(["study", "dryness", "facial-roll", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["heat_per_point"] == pytest.approx(-0.067, abs=0.001)
