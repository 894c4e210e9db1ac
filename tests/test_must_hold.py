"""What must hold whatever is given: balances close without a sheet too, and no energy is below zero unsaid."""

from __future__ import annotations

import math

import numpy as np
import pytest

import thinstock
from thinstock.case import library
from thinstock.errors import Refused
from thinstock.evidence.cases import run_cases
from thinstock.kernels.drainage import drain
from thinstock.machine import forming


def test_a_former_on_a_felt_that_forms_no_sheet_closes_at_the_felt_too() -> None:
    roll = thinstock.load("facial-wire-felt-s").with_({"forming.element.second_roll.outer_uptake": 1.1e-4})
    alone = roll.with_({"headbox.consistency": 4.6e-4}).run()
    assert not alone.values["formed"] and any(s.id == "felt_uptake" for s in alone.streams)
    assert max(alone.closure().values()) < 1e-12
    many = roll.with_({"headbox.consistency": np.array([4.2e-4, 4.6e-4, 1e-3, 2e-3])}).run(fast=True)
    assert list(np.asarray(many.values["formed"])) == [False, False, True, True]
    assert max(many.closure().values()) < 1e-12


def test_closure_leaves_no_flow_out_that_is_no_number() -> None:
    from thinstock.machine.result import closure
    from thinstock.machine.told import Stream

    inflow = Stream(id="thick", source="outside", sink="mixing", water=2.0)
    assert closure((inflow, Stream(id="fan", source="mixing", sink="outside", water=math.nan)))["water"] == math.inf
    assert closure((inflow, Stream(id="fan", source="mixing", sink="outside", water=2.0)))["water"] == 0.0
    nothing = Stream(id="fan", source="mixing", sink="outside", water=math.nan)
    assert closure((nothing,))["water"] == 0.0, "a node that no sheet reaches"


def test_a_press_law_that_cannot_explain_its_own_anchor_is_refused() -> None:
    said = "pressure_exponent = {{ value = 0.{}"
    text = library.machine_text("newsprint-two-shoes").replace(said.format(2), said.format("01"))
    with pytest.raises(Refused, match=r"pressure_exponent = 0\.01: leaves 1\.2\d kg/kg in the pressed sheet"):
        thinstock.loads(text)


def test_steam_that_a_hot_hood_would_send_back_stands_in_the_headline_and_in_a_note() -> None:
    slow = thinstock.load("facial-flat-wire").with_({"yankee.speed": 1.08, "hood.jet_velocity": 145.0})
    found = slow.run()
    steam = next(one for one in found.energy if one.id == "yankee_steam")
    assert float(steam.power) < 0 and found["steam_per_product"] < 0
    assert any("the steam heat is negative" in note.text for note in found.notes)
    assert all(float(one.power) >= 0 for one in found.energy if one.id != "yankee_steam")


def test_a_burner_that_is_off_takes_nothing_off_the_totals() -> None:
    found = thinstock.load("facial-roll").with_({"yankee.speed": 10.0}).run()
    by_kind = {kind: [one for one in found.energy if one.kind == kind] for kind in ("gas", "steam", "electricity")}
    for kind, consumers in by_kind.items():
        assert consumers and all(float(one.power) >= 0 for one in consumers), kind
        total = sum(float(one.per_mass) for one in consumers)
        assert float(found[f"{kind}_per_product"]) == pytest.approx(total, rel=1e-12, abs=1e-9), kind
    assert float(found["gas_per_product"]) == 0.0
    assert found["fuel_with_idle_per_product"] >= found["fuel_per_product"] >= found["steam_per_product"]
    assert any("burner off" in note.text for note in found.notes)


def test_a_nip_that_wets_the_sheet_says_from_what_to_what() -> None:
    pressed = thinstock.load("newsprint-two-shoes").with_({"press.nip.second_shoe_press.line_load": 4e5})
    found = pressed.run()
    first, second = (s for s in found.stations if s.name in ("first shoe press", "second shoe press"))
    assert second.dryness < first.dryness
    ends = f"comes at {100 * first.dryness:.1f} % dryness and leaves at {100 * second.dryness:.1f} %"
    assert any(ends in note.text and note.level == "limit" for note in found.notes), [n.text for n in found.notes]
    loads = np.array([4e5, 8e5])
    many = pressed.with_({"press.nip.second_shoe_press.line_load": loads}).run()
    assert [note.cases for note in many.notes if ends in note.text] == [1]


def test_cases_run_together_give_the_slow_end_of_forming_that_each_gives_alone() -> None:
    for name in ("facial-roll", "tea-bag-inclined-wire"):
        machine = thinstock.load(name)
        values = float(machine.headbox.consistency) * np.array([0.5, 0.8, 1.0, 1.3])
        many = machine.with_({"headbox.consistency": values}).run()
        alone = [machine.with_({"headbox.consistency": float(v)}).run().values["end_of_forming_slow"] for v in values]
        formed = np.asarray(many.values["formed"])
        expected = [math.nan if not on or one is None else float(one) for on, one in zip(formed, alone, strict=True)]
        np.testing.assert_allclose(np.asarray(many.values["end_of_forming_slow"], dtype=float), expected, rtol=1e-12)
        assert np.isfinite(expected).any(), name


def test_many_cases_march_the_slow_end_of_forming_only_where_it_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[int] = []
    marched = forming.marched
    monkeypatch.setattr(forming, "marched", lambda *given: calls.append(1) or marched(*given))
    monkeypatch.setattr(forming, "drain", lambda *given, **words: calls.append(1) or drain(*given, **words))
    roll = thinstock.load("facial-roll")
    values = {"headbox.consistency": float(roll.headbox.consistency) * np.array([0.9, 1.0, 1.1])}
    without = run_cases(roll, values, ("end_of_forming", "gas_per_product"))
    assert len(calls) == 2
    asked = run_cases(roll, values, ("end_of_forming", "gas_per_product", "end_of_forming_slow"))
    assert len(calls) == 5
    np.testing.assert_array_equal(without["end_of_forming"], asked["end_of_forming"])
    np.testing.assert_array_equal(without["gas_per_product"], asked["gas_per_product"])
    assert np.all(asked["end_of_forming_slow"] > asked["end_of_forming"])


def test_cases_run_together_give_the_temperature_of_the_thick_stock_that_each_gives_alone() -> None:
    machine = thinstock.load("facial-roll")
    values = np.array([2e-4, 1.7e-3, 1.9e-3, 2.5e-3])
    many = np.asarray(machine.with_({"headbox.consistency": values}).run().values["thick_temperature"], dtype=float)
    alone = [machine.with_({"headbox.consistency": float(v)}).run().values["thick_temperature"] for v in values]
    assert alone[0] is None and math.isnan(many[0]), "stock that forms no sheet has no such number, alone or together"
    np.testing.assert_allclose(many[1:], np.array(alone[1:], dtype=float), rtol=1e-12)
    assert len(set(alone)) == 4
