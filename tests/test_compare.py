"""Machines side by side: differences that vanish where nothing differs, the split of a press change, change cards."""

from __future__ import annotations

import dataclasses
import json

import pytest

import thinstock
from thinstock.errors import Refused
from thinstock.studies.change import change_card
from thinstock.studies.compare import compare


@pytest.fixture(scope="module")
def roll():
    return thinstock.load("facial-roll")


@pytest.fixture(scope="module")
def shoe():
    return thinstock.load("facial-shoe")


@pytest.fixture(scope="module")
def found(roll, shoe):
    return compare(roll, shoe)


def test_a_machine_less_itself_is_nothing(roll):
    same = compare(roll, roll)
    for row in same.numbers:
        assert row.differences[1] is None or (row.differences[1].value, row.differences[1].standard_uncertainty) == (
            0,
            0,
        )
    assert same.splits == ((),)
    assert same.card().steps == () and same.card().rebuild == ()
    for _, speeds in same.parts:
        assert speeds[0] == speeds[1]


def test_machines_are_compared_at_equal_reel_dryness(found):
    place, dryness, _ = found.stations[-1]
    assert place == "reel"
    assert dryness[0] == pytest.approx(dryness[1], abs=1e-6)
    assert found.notes == ()


def test_a_machine_that_misses_its_reel_dryness_is_told_of(roll):
    wet = roll.with_({"yankee.speed": 33.3})
    notes = compare(roll, wet).notes
    assert any("instead of 95.0 %" in note for note in notes)


def test_every_difference_is_the_difference_of_its_two_numbers(found, roll, shoe):
    a, b = roll.run(), shoe.run()
    for name in ("dryness_press", "gas_per_product", "electricity_per_product", "nip_saturation"):
        row = found[name]
        assert row.values == (pytest.approx(float(a[name])), pytest.approx(float(b[name])))
        assert row.differences[1].value == pytest.approx(float(b[name]) - float(a[name]), abs=1e-9)
    assert found["end_of_forming"].differences[1].standard_uncertainty == 0
    assert found["dryness_press"].differences[1].standard_uncertainty > 0


def test_the_split_of_a_press_change_adds_up_and_most_of_it_is_assumed_rewet(found):
    rows = {one.name: one for one in found.splits[0]}
    assert {"dryness_press", "gas_per_product", "drying_speed"} <= set(rows)
    for one in rows.values():
        assert one.load + one.rewet + one.rest == pytest.approx(one.total, rel=1e-9)
    press = rows["dryness_press"]
    assert press.rest == pytest.approx(0, abs=1e-12)
    assert press.rewet > 2 * press.load > 0


def test_at_equal_load_the_gain_of_the_shoe_is_the_assumed_rewet(roll, shoe):
    equal = shoe.with_({"press.nip.shoe_press.line_load": float(roll.press.nip[0].line_load)})
    press = next(one for one in compare(roll, equal).splits[0] if one.name == "dryness_press")
    assert -3e-3 < press.load < 0, "a lower pressure leaves more in the fibre wall, at the same impulse"
    assert press.rewet > press.total > 0
    again = equal.with_({"press.nip.shoe_press.rewet": float(roll.press.nip[0].rewet)})
    none = next(one for one in compare(roll, again).splits[0] if one.name == "dryness_press")
    assert none.rewet == pytest.approx(0, abs=1e-12)


def test_the_three_nips_and_the_two_shoes_of_the_heavier_grades_stand_side_by_side():
    for grade in ("newsprint", "board"):
        both = compare(thinstock.load(f"{grade}-three-nips"), thinstock.load(f"{grade}-two-shoes"))
        dryness = {place: d for place, d, _ in both.stations}["after the press"]
        assert dryness[1] > dryness[0] + 0.03
        heat = next(values for name, _, values in both.consumers if name == "dryer heat")
        assert heat[1] < heat[0]


def test_four_machines_fit_and_one_or_five_do_not(roll):
    assert len(compare(roll, roll, roll, roll).machines) == 4
    for count in (1, 5):
        with pytest.raises(Refused, match="two to four"):
            compare(*[roll] * count)


def test_the_record_is_plain_data(found):
    text = json.dumps(found.record(), allow_nan=False)
    assert "press_splits" in text and "change_cards" in text


def test_consumers_of_one_kind_stand_in_one_row(found):
    names = [name for name, _, _ in found.consumers]
    assert len(names) == len(set(names))
    row = {name: values for name, _, values in found.consumers}
    assert row["vacuum on the sheet"][1] > row["vacuum on the sheet"][0], "a suction turning roll carries shell air"
    assert row["vacuum in press rolls"][1] is None


# -- the change card -----------------------------------------------------------------------------------------------


def test_a_change_of_consistency_is_a_card_of_slice_and_pump(roll):
    card = change_card(roll, roll.with_({"headbox.consistency": 0.0021}))
    assert [step.name for step in card.steps] == ["slice opening", "fan-pump flow"]
    assert all(step.after < step.before for step in card.steps)
    assert card.rebuild == ()


def test_more_speed_gives_the_heat_first_and_less_takes_the_water_off_first(roll):
    slow = roll.with_({"yankee.speed": 28.0})
    up = [step.name for step in change_card(slow, roll).steps]
    down = [step.name for step in change_card(roll, slow).steps]
    assert up[0] == "hood air" and up[-1] == "speed"
    assert down[-1] == "hood air" and down.index("speed") < down.index("hood air")
    assert {"headbox pressure", "fan-pump flow", "thick-stock flow"} <= set(up)


def test_the_card_names_limits_that_are_passed_and_settles_with_the_silo(roll):
    thin = roll.with_({"headbox.consistency": 0.0014})
    card = change_card(roll, thin)
    assert any("fan pump, flow: passed" in text for text in card.near)
    assert card.settling is not None and 30 < card.settling < 1000
    unknown = thin.with_({"loop.silo_mass": None})
    assert change_card(roll, unknown).settling is None
    assert any("not known" in line for line in change_card(roll, unknown).lines())


def test_the_settling_time_is_three_times_that_of_a_stirred_tank(roll):
    result = roll.run()
    card = change_card(roll, roll.with_({"headbox.consistency": 0.0021}))
    into = sum(float(s.water) + float(s.fibre) for s in result.streams if s.sink == "silo") * float(roll.width)
    hold_up = float(roll.loop.silo_mass) / into
    assert 3 * hold_up < card.settling < 6 * hold_up


def test_what_is_no_setting_is_called_a_rebuild(roll, shoe):
    steel = thinstock.load("facial-shoe-steel")
    assert any("press" in text for text in change_card(roll, shoe).rebuild)
    assert any("shell" in text for text in change_card(shoe, steel).rebuild)
    assert any("former" in text for text in change_card(roll, thinstock.load("facial-twin-wire-c")).rebuild)


def test_the_card_is_half_a_page(roll):
    cards = [change_card(roll, thinstock.load(n)) for n in ("facial-shoe-steel", "facial-wire-felt-s")]
    cards.append(change_card(roll, dataclasses.replace(roll.with_({"yankee.speed": 27.5}), title="slower")))
    for card in cards:
        assert len(card.lines()) <= 30
        assert any("management of change" in line for line in card.lines())
