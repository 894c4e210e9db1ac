"""What can be switched off, and what a lower freeness costs: single changes, each equal to a run of its own."""

from __future__ import annotations

import pytest

import thinstock
from thinstock.cli import status
from thinstock.studies.wet_end_costs import freeness_cost, switched_off, vacuum_addresses


def test_each_place_switched_off_is_a_run_of_its_own() -> None:
    machine = thinstock.load("facial-suction-breast-roll")
    found = switched_off(machine)
    assert [case.name for case in found.cases] == list(vacuum_addresses(machine))
    for case in found.cases:
        alone = machine.with_({case.name: 0.0}).run()
        assert case.values["dryness_press"] == pytest.approx(float(alone["dryness_press"]), abs=1e-9)
        assert case.values["electricity_per_product"] == pytest.approx(
            float(alone["electricity_per_product"]), rel=1e-9
        )
        assert case.changes["electricity_per_product"] < 0
        assert case.changes["dryness_press"] <= 1e-12
    boxes = next(case for case in found.cases if case.name == "press.felt.boxes.vacuum")
    assert boxes.money is not None and boxes.money > 0, "this machine has no other vacuum behind its boxes"
    assert "felt_exponent" in found.hangs_on


def test_a_lower_freeness_costs_between_fines_alone_and_most_swelling() -> None:
    own, fines, most = freeness_cost(thinstock.load("facial-roll")).cases
    lost = [case.changes["dryness_press"] for case in (fines, own, most)]
    assert lost[0] > lost[1] > lost[2] and abs(lost[0]) < 1e-3
    assert fines.changes["end_of_forming"] == pytest.approx(own.changes["end_of_forming"], rel=0.05)
    assert own.money is not None and own.money > 0
    assert most.short and not own.short, "the hood is at its bound: speed is lost, energy does not say it"
    alone = thinstock.load("facial-roll").with_({"stock.freeness": 470e-6}).run()
    assert own.values["dryness_press"] == pytest.approx(float(alone["dryness_press"]), abs=1e-9)


def test_stock_without_a_freeness_is_refused() -> None:
    machine = thinstock.load("facial-roll").with_({"stock.freeness": None, "stock.resistance_coefficient": 1e9})
    with pytest.raises(thinstock.Refused, match="freeness"):
        freeness_cost(machine)


@pytest.mark.parametrize("study", ["vacuum", "freeness"])
def test_the_command_tells_the_machine_as_it_stands_and_every_change(study: str, capsys: pytest.CaptureFixture) -> None:
    assert status(["study", study, "facial-roll"]) == 0
    out = capsys.readouterr().out
    assert "as it stands" in out and "press" in out
    assert status(["study", study, "facial-roll", "--json"]) == 0
    assert '"cases"' in capsys.readouterr().out
