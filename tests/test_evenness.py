"""Formation of the sheet on the wire of a machine: a floor, a band until calibrated, and what a target asks for."""

from __future__ import annotations

import numpy as np
import pytest

import thinstock
from thinstock.machine.evenness import BAND, furnish_of
from thinstock.sheet import formation


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
        BAND[0],
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


def test_a_calibrated_headbox_gives_one_number(machine):
    even = machine.with_({"stock.suspension_variation": 0.1}).run().evenness()
    assert even.calibrated
    assert float(even.low.cv) == float(even.high.cv)


def test_more_dilution_never_makes_a_less_even_sheet(machine):
    cvs = [float(machine.with_({"headbox.consistency": c}).run().evenness().high.cv) for c in (0.0012, 0.0019, 0.003)]
    assert cvs == sorted(cvs)


def test_a_target_is_answered_with_the_consistency_it_needs(machine):
    import dataclasses

    from thinstock.machine.grade import FormationTarget

    target = FormationTarget(cv=0.10)
    wanted = dataclasses.replace(machine, grade=dataclasses.replace(machine.grade, formation_target=target))
    even = wanted.run().evenness()
    good, bad = even.target_consistency
    assert bad < good, "a worse headbox needs a thinner stock"
    check = wanted.with_({"headbox.consistency": bad}).run().evenness()
    assert float(check.high.cv) == pytest.approx(0.10, rel=2e-3)


def test_a_target_below_the_random_floor_is_refused_in_words(machine):
    import dataclasses

    from thinstock.machine.grade import FormationTarget

    target = FormationTarget(cv=0.02)
    wanted = dataclasses.replace(machine, grade=dataclasses.replace(machine.grade, formation_target=target))
    even = wanted.run().evenness()
    assert even.target_consistency is None
    assert "floor" in even.target_note or "random" in even.target_note


def test_the_block_says_that_it_is_a_floor(even):
    assert "wire marks" in even.label
    assert even.regime
    assert all(np.isfinite(v) for v in even.values().values() if v is not None)
