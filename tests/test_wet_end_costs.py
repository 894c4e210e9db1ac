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


@pytest.mark.parametrize(("study", "first"), [("vacuum", "as it stands"), ("freeness", "before")])
def test_the_command_tells_the_machine_as_it_stands_and_every_change(
    study: str, first: str, capsys: pytest.CaptureFixture
) -> None:
    assert status(["study", study, "facial-roll"]) == 0
    out = capsys.readouterr().out
    assert first in out and "press" in out
    assert status(["study", study, "facial-roll", "--json"]) == 0
    assert '"cases"' in capsys.readouterr().out


def test_a_change_card_holds_the_runs_before_and_after_and_both_ends() -> None:
    from thinstock.tell.wet_end_costs import card
    from thinstock.words.figures import Edge

    machine = thinstock.load("facial-roll")
    found = freeness_cost(machine, 5e-5)
    table, *_ = card(found, Edge(unit_set="mill", air=101325.0), 5e-5)
    rows = {row[0]: [str(cell) for cell in row[2:]] for row in table.rows}  # type: ignore[union-attr]
    after = machine.with_({"stock.freeness": 470e-6}).run()
    for label, name in (
        ("dryness out of the press", "dryness_press"),
        ("dryness into the press", "dryness_into_press"),
    ):
        before, then, *changes = rows[label]
        assert float(before) == pytest.approx(100 * float(machine.run()[name]), abs=0.05)
        assert float(then) == pytest.approx(100 * float(after[name]), abs=0.05)
        ends = [100 * case.changes[name] for case in found.cases]
        assert [float(text.replace("−", "-")) for text in changes] == pytest.approx(ends, abs=0.0051)
    assert rows["money"][:2] == ["", ""] and rows["money"][2].startswith("+")


def test_a_slot_and_a_box_are_called_by_their_names() -> None:
    from thinstock.tell.wet_end_costs import told
    from thinstock.words.figures import Edge

    found = switched_off(thinstock.load("facial-roll"))
    table, *_ = told(found, Edge(unit_set="mill", air=101325.0))
    names = [str(row[0]) for row in table.rows]  # type: ignore[union-attr]
    assert names == ["as it stands", "felt vacuum", "suction pressure roll", "felt boxes"]
