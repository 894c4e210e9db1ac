"""First-order uncertainty of a machine: contributions add up, what is common cancels, limits are not passed."""

from __future__ import annotations

import numpy as np
import pytest

import thinstock
from thinstock.evidence.uncertain import uncertain_inputs
from thinstock.studies.first_order import by_slopes, difference_by_slopes, movers, sensitivities


@pytest.fixture(scope="module")
def machine():
    return thinstock.load("facial-roll")


@pytest.fixture(scope="module")
def found(machine):
    return by_slopes(machine)


def test_the_contributions_add_up_to_the_variance(found):
    for name, one in found.items():
        if np.isfinite(one.standard_uncertainty):
            total = sum(change**2 for _, change in one.contributions)
            assert total == pytest.approx(one.standard_uncertainty**2, rel=1e-12), name


def test_a_machine_less_itself_has_no_difference_and_no_uncertainty(machine):
    for name, one in difference_by_slopes(machine, machine).items():
        if np.isfinite(one.value):
            assert one.value == 0.0, name
            assert one.standard_uncertainty == 0.0, name


def test_what_two_machines_share_cancels_in_their_difference(machine):
    other = machine.with_({"press.nip.suction_pressure_roll.line_load": 100e3})
    gain = difference_by_slopes(machine, other)["dryness_press"]
    alone = by_slopes(machine)["dryness_press"]
    assert gain.value > 0
    assert gain.standard_uncertainty < 0.5 * alone.standard_uncertainty


def test_a_sensitivity_is_the_slope_of_the_machine(machine, found):
    name, step = "stock.temperature", 0.5
    moved = [float(machine.with_({name: float(machine.get(name)) + s * step}).run()["dryness_press"]) for s in (1, -1)]
    by_hand = (moved[0] - moved[1]) / 2
    in_table = dict(found["dryness_press"].contributions)[name]
    assert in_table == pytest.approx(by_hand, rel=1e-4)


def test_an_uncertainty_in_the_file_goes_before_the_library_s(machine):
    inputs = {one.address: one for one in uncertain_inputs(machine)}
    assert inputs["stock.freeness"].status == "the file"
    assert inputs["stock.freeness"].standard_uncertainty == pytest.approx(15e-6)
    assert inputs["stock.resistance_factor"].status == "library, assumed"


def test_moving_an_input_never_passes_a_limit_that_was_given(machine):
    at_limit = machine.with_({"press.nip.suction_pressure_roll.line_load": machine.press.nip[0].line_load_limit})
    found = sensitivities(at_limit)
    assert np.isfinite(found.values["dryness_press"])


def test_the_movers_of_the_answer_are_named(machine, found):
    ranked = movers(machine, found, ["end_of_forming", "dryness_press", "gas_per_product"])
    assert len(ranked) == 3
    assert ranked[0][1] >= ranked[1][1] >= ranked[2][1] > 0


def test_every_default_spread_says_its_status_and_source() -> None:
    from thinstock.evidence.beliefs import belief
    from thinstock.evidence.uncertain import uncertain_inputs
    from thinstock.formula.label import STATUSES
    from thinstock.words.quantity import Q

    seen = set()
    for name in ("facial-roll", "facial-shoe", "board-three-nips", "tea-bag-inclined-wire"):
        machine = thinstock.load(name)
        for one in uncertain_inputs(machine):
            about = machine.declaration(one.address).about
            assert isinstance(about, Q)
            row = belief(about)
            if row is None:
                assert one.status == "the file"
                continue
            assert row.status in STATUSES and row.measured_by
            assert row.source in ("ASSUMED", "COMMON_PRACTICE")
            assert one.status in ("the file", f"library, {row.status}")
            seen.add(one.status)
    assert seen == {"the file", "library, assumed", "library, common practice", "library, from memory"}


def test_heat_of_the_showers_follows_the_fresh_water() -> None:
    machine = thinstock.load("facial-roll")
    cold, warm = (machine.with_({"site.fresh_water_temperature": t}).run() for t in (278.15, 298.15))
    flow = cold["fresh_water_per_product"]
    assert cold["shower_heat_per_product"] - warm["shower_heat_per_product"] == pytest.approx(
        4190 * 20 * flow, rel=1e-9
    )


def test_what_a_run_prints_is_the_middle_and_ends_of_the_population_that_the_study_draws(machine):
    from thinstock.studies.bands import uncertainty
    from thinstock.studies.machine_uncertainty import Sampling, monte_carlo

    names = ["dryness_press", "gas_per_product"]
    printed, study = uncertainty(machine), monte_carlo(machine, names=names, sampling=Sampling(draws=4096))
    for row in study.rows:
        one, spread = printed[row.name], row.standard_uncertainty
        assert one.origin == "as believed"
        assert abs(one.median - row.median) < 0.25 * spread
        assert abs(one.low - row.low) < 0.4 * spread and abs(one.high - row.high) < 0.4 * spread


def test_a_slot_of_another_name_is_the_same_slot_in_a_difference(machine):
    from thinstock.studies.bands import difference

    between = difference(machine, thinstock.load("facial-shoe"))
    assert between["dryness_into_press"].standard_uncertainty == 0.0
    gain = between["dryness_press"]
    assert gain.low < gain.value < gain.high and gain.standard_uncertainty > 0.0


def test_ends_are_told_to_the_digits_that_the_draws_stand_for():
    from thinstock.words.figures import between

    assert between(36.94, 41.03) == "36.9 to 41.0"
    assert between(551.2, 737.4) == "550 to 740"
    assert between(-3.21, 2.68) == "−3.2 to 2.7"
    assert between(3.9, 96.0) == "4 to 100"
    assert between(5.0, 5.0) == "" and between(float("nan"), 1.0) == ""


def test_a_sheet_that_only_the_full_run_forms_has_a_run_to_tell(machine):
    from thinstock.tell.run import told

    edge = machine.with_({
        "yankee.speed": 52.06991344717532, "headbox.consistency": 0.008413026193348354, "grade.reel_grammage": 0.03,
        "stock.resistance_factor": 27.040047149261746, "hold_reel_dryness_by": "speed",
    })  # fmt: skip
    assert told(edge, "mill").facts().rows
