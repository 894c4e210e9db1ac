"""Formation of the sheet on the wire of a machine: a floor, a band until calibrated, and what a target asks for."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import thinstock
from thinstock.machine.evenness import BAND, furnish_of
from thinstock.machine.grade import FormationTarget
from thinstock.sheet import formation
from thinstock.sheet.eye import visible_holes


@pytest.fixture(scope="module")
def machine():
    return thinstock.load("facial-roll")


@pytest.fixture(scope="module")
def even(machine):
    return machine.run().evenness()


def test_it_is_the_sheet_on_the_wire_that_is_judged(machine, even):
    result = machine.run()
    direct = formation(
        furnish_of(machine),
        result["grammage_on_wire"],
        machine.headbox.consistency,
        BAND[0][0],
        zone=even.low.zone,
        hole_diameter=even.low.hole_diameter,
        retention=result["retention"],
        density=result.wet.water.density,
    )
    assert float(direct.cv) == pytest.approx(float(even.low.cv))


def test_an_uncalibrated_headbox_gives_a_band_above_the_random_floor(even):
    values = even.values()
    assert not even.calibrated
    assert values["cv_random"] < values["cv_low"] < values["cv_high"]
    assert 1 < values["holes_ratio_low"] < values["holes_ratio_high"]


def test_a_calibrated_headbox_leaves_what_the_wire_does(machine):
    even = machine.with_({"stock.suspension_variation": 0.1}).run().evenness()
    assert even.calibrated
    assert {float(f.suspension_variation) for f in (even.low, even.base, even.high)} == {0.1}
    assert float(even.low.cv) < float(even.base.cv) < float(even.high.cv)


def test_a_stock_without_a_light_sheets_floor_is_as_even_as_its_flocs(machine):
    even = machine.with_({"stock.suspension_variation": 0.1, "stock.light_sheet": "none"}).run().evenness()
    assert float(even.low.cv) == float(even.base.cv) == float(even.high.cv)


def test_more_dilution_never_makes_a_less_even_sheet(machine):
    cvs = [float(machine.with_({"headbox.consistency": c}).run().evenness().high.cv) for c in (0.0012, 0.0019, 0.003)]
    assert cvs == sorted(cvs)


def aimed(machine, **target):
    grade = dataclasses.replace(machine.grade, formation_target=FormationTarget(**target))
    return dataclasses.replace(machine, grade=grade)


def test_a_target_is_answered_at_both_ends_and_between(machine):
    even = aimed(machine, cv=0.10).run().evenness()
    assert [one.kind for one in even.target_consistency] == ["not limited", "not by dilution", "not by dilution"]
    assert [one.floor for one in even.target_consistency] == pytest.approx([0.0724, 0.1014, 0.1220], abs=1e-4)
    assert all(one.consistency is None for one in even.target_consistency)
    assert 100 * even.answers[3].consistency == pytest.approx(0.135, abs=5e-4)


def test_a_consistency_that_is_answered_gives_the_sheet_that_was_asked_for(machine):
    wanted = aimed(machine, cv=0.12)
    answer = wanted.run().evenness().answers[1]
    assert answer.kind == "dilute to"
    check = wanted.with_({"headbox.consistency": answer.consistency}).run().evenness()
    assert float(check.base.cv) == pytest.approx(0.12, rel=2e-3)


def test_a_wire_as_even_as_chance_and_no_dispersion_at_all_ask_for_real_dilution(machine):
    changes = {"stock.light_sheet": "none", "stock.suspension_variation": 0.40}
    answer = aimed(machine, cv=0.10).with_(changes).run().evenness().answers[1]
    assert 100 * answer.consistency == pytest.approx(0.135, abs=5e-4)


def test_a_target_below_the_random_floor_is_refused_in_words(machine):
    even = aimed(machine, cv=0.02).run().evenness()
    assert {one.kind for one in even.answers} == {"not by dilution"}
    assert "not by dilution" in even.target_note


def test_no_answer_carries_an_end_of_its_search(machine):
    for cv in (0.03, 0.08, 0.1015, 0.11, 0.13, 0.3):
        for one in aimed(machine, cv=cv).run().evenness().answers:
            assert one.consistency is None or 1e-6 < one.consistency < 0.0499


def test_pinholes_are_counted_at_three_sizes_beside_each_other(even):
    assert even.holes["best"] == pytest.approx([3.18e5, 125, 2.9e-6], rel=0.02)
    assert even.holes["base"] == pytest.approx([3.80e5, 253, 5.8e-5], rel=0.02)
    assert even.holes["worst"] == pytest.approx([5.83e5, 1190, 0.0137], rel=0.02)


def test_an_eye_sees_what_the_page_says_on_a_sheet_as_even_as_chance_allows(even):
    window, lamp = visible_holes(even.low)
    assert 1e6 * window == pytest.approx(92, abs=1)
    assert 1e6 * lamp == pytest.approx(55, abs=1)


def test_the_block_says_that_it_is_a_floor(even):
    assert "crepe and fines come on top" in even.label
    assert even.regime
    numbers = [v for v in even.values().values() if v is not None and not isinstance(v, str)]
    assert all(np.isfinite(v) for v in numbers)
