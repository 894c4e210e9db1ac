"""Solving for one setting: the answer gives the result, no limit is passed, and no answer is said to be none."""

from __future__ import annotations

import dataclasses
import json

import pytest

import thinstock
from thinstock.errors import NotFound, Refused
from thinstock.studies.solve import solve

NIP = "press.nip.suction_pressure_roll"


@pytest.fixture(scope="module")
def machine():
    return thinstock.load("facial-roll")


@pytest.mark.parametrize(
    "unknown, aim, result",
    [
        ("headbox.consistency", "flow_per_width = 14000 L/(min·m)", "flow_per_width"),
        ("headbox.consistency", "end_of_forming = 30 %", "end_of_forming"),
        (f"{NIP}.line_load", "dryness_press = 39.7 %", "dryness_press"),
        (f"{NIP}.rewet", "dryness_press = 42 %", "dryness_press"),
        ("yankee.speed", "gas_per_product = 600 kWh/t", "gas_per_product"),
        ("yankee.steam_pressure", "gas_per_product = 735 kWh/t", "gas_per_product"),
        ("stock.freeness", "end_of_forming = 21 %", "end_of_forming"),
        ("headbox.jet_ratio", "headbox_head = 550 kPa", "headbox_head"),
    ],
)
def test_the_answer_put_back_gives_what_was_wanted(machine, unknown, aim, result):
    found = solve(machine, unknown, aim)
    again = machine.with_({found.address: found.value}).run()
    assert float(again[result]) == pytest.approx(found.wanted, rel=1e-5)
    assert found.before == pytest.approx(float(machine.run()[result]))
    assert int(again["hold_status"]) == 0 and found.notes in ((), found.notes)


def test_text_and_number_ask_the_same(machine):
    text = solve(machine, "headbox.consistency", "stock_depth = 7 mm")
    number = solve(machine, "headbox.consistency", ("stock_depth", 7e-3))
    assert text.value == pytest.approx(number.value, rel=1e-9)


def test_a_result_solved_for_its_present_value_gives_the_present_setting(machine):
    now = float(machine.run()["flow_per_width"])
    assert solve(machine, "headbox.consistency", ("flow_per_width", now)).value == pytest.approx(0.0019, rel=1e-6)


def test_what_cannot_be_reached_names_the_nearest_and_stops_at_the_certificate(machine):
    with pytest.raises(NotFound) as none:
        solve(machine, f"{NIP}.line_load", "dryness_press = 45 %")
    text = str(none.value)
    assert "105 kN/m" in text and "line_load_limit" in text
    limit = machine.with_({f"{NIP}.line_load": 105e3}).run()
    assert f"{float(limit['dryness_press']) * 100:.2f} %" in text


def test_the_edge_of_forming_counts_as_reachable(machine):
    found = solve(machine, "headbox.consistency", "end_of_forming = 99 %")
    assert found.reached == pytest.approx(0.99, rel=1e-5)
    assert any("fan pump" in text for text in found.passed)


def test_a_result_that_does_not_answer_is_told_so(machine):
    with pytest.raises(NotFound, match="is not moved by yankee"):
        solve(machine, "yankee.steam_pressure", "end_of_forming = 30 %")


@pytest.mark.parametrize(
    "field, unknown",
    [
        (f"{NIP}.line_load_limit", f"{NIP}.line_load"),
        ("yankee.steam_pressure_limit", "yankee.steam_pressure"),
        ("yankee.speed_limit", "yankee.speed"),
        ("headbox.headbox_pressure_limit", "headbox.jet_ratio"),
        ("headbox.headbox_pressure_limit", "yankee.speed"),
    ],
)
def test_where_people_or_a_vessel_are_at_stake_a_limit_that_is_not_given_stops_the_search(machine, field, unknown):
    with pytest.raises(Refused, match=r"certificate|nameplate") as refused:
        solve(machine.with_({field: None}), unknown, "dryness_press = 41 %")
    assert not isinstance(refused.value, NotFound)
    assert field in str(refused.value)


def test_hood_air_without_its_limit_is_not_searched(machine):
    free = dataclasses.replace(machine.with_({"hood.air_temperature_limit": None}), hold_reel_dryness_by="nothing")
    with pytest.raises(Refused, match="nameplate"):
        solve(free, "hood.air_temperature", "gas_per_product = 600 kWh/t")


def test_no_answer_lies_past_the_headbox_pressure_that_was_entered(machine):
    with pytest.raises(NotFound, match="600 kPa"):
        solve(machine, "headbox.jet_ratio", "headbox_head = 700 kPa")


@pytest.mark.parametrize(
    "unknown, aim, said",
    [
        ("hood.air_temperature", "gas_per_product = 600 kWh/t", "holds the reel dryness"),
        ("yankee.speed_limit", "gas_per_product = 600 kWh/t", "never searched"),
        ("forming.former", "gas_per_product = 600 kWh/t", "no number"),
        ("press.felt", "gas_per_product = 600 kWh/t", "a part of the machine"),
        ("yankee.sped", "gas_per_product = 600 kWh/t", "yankee.speed"),
        ("yankee.speed", "gas_per_prodct = 600 kWh/t", "gas_per_product"),
        ("yankee.speed", "gas_per_product = 600 kPa", "energy per mass"),
        ("yankee.speed", "gas_per_product", "RESULT = VALUE"),
        ("forming.transfers", "gas_per_product = 600 kWh/t", "whole number"),
    ],
)
def test_wrong_questions_are_refused_in_words(machine, unknown, aim, said):
    with pytest.raises(Refused, match=said):
        solve(machine, unknown, aim)


def test_the_record_is_plain_data(machine):
    text = json.dumps(solve(machine, "headbox.consistency", "stock_depth = 7 mm").record(), allow_nan=False)
    assert "headbox.consistency" in text


@pytest.mark.parametrize("name", ["board-three-nips", "cigarette-flat-wire-foils", "tea-bag-inclined-wire"])
def test_values_that_the_physics_refuses_do_not_end_the_search(name):
    heavy = thinstock.load(name)
    now = float(heavy.run()["headbox_flow"])
    found = solve(heavy, "headbox.consistency", ("headbox_flow", 1.2 * now))
    assert found.reached == pytest.approx(1.2 * now, rel=1e-5)
    assert found.value < float(heavy.headbox.consistency)


def test_how_dilute_is_the_same_in_run_sheet_and_solver(machine):
    from thinstock.studies import sheets

    asked = machine.with_({"grade.formation_target.cv": 0.11})
    run = asked.run().evenness()
    found = solve(machine, "headbox.consistency", "cv = 11 %")
    sheet = sheets.target_answers(sheets.subject_of(asked), 0.11)
    assert found.value == run.answers[1].consistency == pytest.approx(sheet[1].consistency, rel=1e-9)
    assert "not by dilution" in found.notes[0] and "dilute to" in found.notes[0]
    assert found.reached == pytest.approx(0.11, rel=2e-3)


def test_a_target_below_the_floor_has_no_consistency_and_says_the_floor(machine):
    with pytest.raises(NotFound, match=r"not by dilution, the floor is 10\.1 %") as told:
        solve(machine, "headbox.consistency", "cv = 9.5 %")
    assert told.value.obstacle == "not by dilution"
    with pytest.raises(NotFound, match="formation does not limit") as told:
        solve(machine, "headbox.consistency", "cv = 40 %")
    assert told.value.obstacle == "not limited"


def test_evenness_is_found_over_another_setting_too(machine):
    found = solve(machine, "grade.reel_grammage", "cv = 11 %")
    assert found.reached == pytest.approx(0.11, rel=1e-5)
    assert found.value != pytest.approx(float(machine.grade.reel_grammage))
