"""Doubtful readings: planted errors found or honestly not found, ties called ties, the worth of one more reading."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from survey_cases import R1, R3, R5, raised_bypass
from thinstock.survey import (
    SurveyError,
    critical_score,
    culprit_sets,
    leak_test,
    reconcile_linear,
    serial_elimination,
    smallest_detectable_bias,
    smallest_error_found,
    value_of_measurement,
)

PAIR = np.array([[1, -1, -1, 0], [0, 1, 1, -1]], dtype=float)


def test_a_raised_reading_has_the_known_scores():
    found = reconcile_linear(R1["balance"], raised_bypass(), np.ones(6))
    assert_allclose(found.statistic, 31.954167, rtol=1e-7)
    assert_allclose(found.score, [0.436826, 1.571756, 5.221496, 1.26557, -2.38417, -3.274151], rtol=2e-6)
    assert_allclose(found.bias[2], 6.395, rtol=1e-10)


def test_a_raised_reading_is_eliminated_first():
    removed, left = serial_elimination(R1["balance"], raised_bypass(), np.ones(6), significance=0.05)
    assert removed == (2,)
    assert left.probability > 0.05 and left.degrees_of_freedom == 3


def test_the_culprit_sets_of_the_bypass_are_known():
    sets = culprit_sets(R1["balance"], raised_bypass(), np.ones(6), largest=3, significance=0.05, lower=0.0)
    assert [s.members for s in sets] == [(2,), (0, 4, 5)]
    assert_allclose([s.statistic for s in sets], [4.69015, 0.03125], rtol=1e-6)
    assert [s.degrees_of_freedom for s in sets] == [3, 1]
    assert sets[0].group != sets[1].group


@pytest.mark.parametrize("row", R3["injected"], ids=lambda r: f"stream {r['stream']}")
def test_a_planted_error_in_the_steam_network_has_the_known_outcome(row):
    value, u = R3["value"].copy(), np.array(R3["standard_uncertainty"])
    i = row["stream"] - 1
    value[i] += row["multiple"] * u[i]
    found = reconcile_linear(R3["balance"], value, u)
    assert_allclose(found.statistic, row["statistic"], rtol=1e-5)
    assert_allclose(found.probability, row["probability"], rtol=1e-3)
    assert int(np.argmax(np.abs(found.score))) + 1 == row["highest_score_stream"]
    assert_allclose(found.score[i], row["score_of_stream"], rtol=1e-3)
    assert_allclose(found.likelihood_ratio[i], row["likelihood_ratio_of_stream"], rtol=1e-3)
    assert_allclose(found.bias[i], row["bias_of_stream"], rtol=1e-3)
    removed, _ = serial_elimination(R3["balance"], value, u, significance=0.05)
    assert [k + 1 for k in removed] == row["eliminated"]


def test_no_set_of_three_explains_the_water_balance_and_eight_sets_of_four_do():
    u = np.sqrt(R5["variance"])
    assert culprit_sets(R5["balance"], R5["value"], u, largest=3, significance=0.05) == ()
    sets = culprit_sets(R5["balance"], R5["value"], u, largest=4, significance=0.05, lower=0.0)
    assert [[i + 1 for i in s.members] for s in sets] == [row["streams"] for row in R5["culprit_set"]]
    assert_allclose([s.statistic for s in sets], [row["statistic"] for row in R5["culprit_set"]], rtol=1e-4)
    assert_allclose([s.probability for s in sets], [row["probability"] for row in R5["culprit_set"]], rtol=1e-3)
    removed, _ = serial_elimination(R5["balance"], R5["value"], u, significance=0.05)
    assert [i + 1 for i in removed] == R5["computed"]["eliminated_serially"]


def test_two_readings_that_cannot_be_told_apart_are_reported_as_a_tie():
    found = reconcile_linear(PAIR, [100, 62, 48, 101], np.ones(4))
    assert_allclose(found.statistic, 36.6, rtol=1e-12)
    assert_allclose(found.score, [-3.098387, 6.008328, 6.008328, -1.807392], rtol=1e-6)
    sets = culprit_sets(PAIR, [100, 62, 48, 101], np.ones(4), largest=2, significance=0.05)
    assert [s.members for s in sets] == [(1,), (2,)]
    assert sets[0].group == sets[1].group
    assert_allclose([s.statistic for s in sets], 0.5, rtol=1e-9)
    assert_allclose([s.bias[0] for s in sets], 9.5, rtol=1e-12)


def test_every_culprit_set_lets_the_rest_pass_and_is_minimal():
    u = np.array(R3["standard_uncertainty"])
    value = R3["value"].copy()
    value[[7, 14]] += [6 * u[7], -7 * u[14]]
    sets = culprit_sets(R3["balance"], value, u, largest=2, significance=0.05)
    assert sets
    for s in sets:
        measured = ~np.isin(np.arange(28), s.members)
        again = reconcile_linear(R3["balance"], value, u, measured=measured)
        assert_allclose(again.statistic, s.statistic, rtol=1e-8)
        assert again.probability >= 0.05
        assert "unobservable" not in again.classification.tolist()
        for other in sets:
            assert other is s or not set(other.members) < set(s.members)


def test_no_culprits_are_named_when_the_readings_agree():
    assert culprit_sets(R1["balance"], R1["value"], np.ones(6), largest=3, significance=0.05) == ()


def test_bounds_rule_out_a_culprit():
    value = [10.0, 2.0, 12.0, 10.0]
    loose = culprit_sets(PAIR, value, np.full(4, 0.3), largest=1, significance=0.05)
    tight = culprit_sets(PAIR, value, np.full(4, 0.3), largest=1, significance=0.05, lower=0.0)
    assert [s.members for s in loose] == [(1,), (2,)] and loose[0].value[1] < 0.0
    assert [s.members for s in tight] == [(2,)]


def test_too_many_subsets_are_refused_with_their_count():
    value = R3["value"] * np.where(np.arange(28) == 7, 1.5, 1.0)
    with pytest.raises(SurveyError, match="24157 sets"):
        culprit_sets(R3["balance"], value, R3["standard_uncertainty"], largest=4, significance=0.05)


def test_a_leak_has_the_known_size_and_ratio():
    size, ratio = leak_test(R1["balance"], R1["value"], np.ones(6), node=0)
    assert_allclose((size, ratio), (2.535, 4.28415), rtol=1e-9)


def test_a_leak_is_the_loss_from_its_node():
    """Water lost at the first node: what is read behind it is short by the loss."""
    value = np.array([100.0, 60.0, 30.0, 60.0, 30.0, 90.0])
    size, ratio = leak_test(R1["balance"], value, np.ones(6), node=0)
    assert size == pytest.approx(10.0) and ratio > 10.0
    unread = np.array([True, False, True, True, True, True])
    blind = leak_test(np.eye(1, 6) * 0 + R1["balance"], value, np.ones(6), node=0, measured=unread)
    assert np.all(np.isfinite(blind))


def test_a_leak_that_no_reading_could_show_is_not_a_number():
    measured = np.array([True, False, False, True])
    size, ratio = leak_test([[1, -1, 0, 0], [0, 0, 1, -1]], [5.0, 0, 0, 5.0], np.ones(4), node=0, measured=measured)
    assert np.isnan(size) and np.isnan(ratio)


def test_the_critical_score_is_that_of_many_tests_at_once():
    assert_allclose(critical_score(28, 0.05), 3.11648, rtol=2e-6)
    assert_allclose(critical_score(20, 0.05), 3.01599, rtol=2e-6)
    assert_allclose(critical_score(1, 0.05), 1.959964, rtol=1e-6)
    assert np.all(np.diff(critical_score(np.array([1, 5, 50, 500]), 0.05)) > 0)


def test_the_largest_score_passes_its_limit_as_seldom_as_stated():
    generator = np.random.default_rng(30)
    runs, limit, true = 2000, critical_score(6, 0.05), np.array(R1["true"], dtype=float)
    passed = 0
    for _ in range(runs):
        found = reconcile_linear(R1["balance"], true + generator.standard_normal(6), np.ones(6))
        passed += np.max(np.abs(found.score)) > limit
    share = passed / runs
    assert share < 0.05 + 3 * np.sqrt(0.05 * 0.95 / runs), "correlated scores make the limit safe, never loose"
    assert share > 0.02


def test_the_smallest_detectable_bias_is_known_and_found_at_its_power():
    assert_allclose(smallest_detectable_bias(1.0, 1.0, 0.001, 0.8), 4.132148, rtol=1e-6)
    assert_allclose(smallest_detectable_bias(1.0, 1.0, 0.05, 0.8), 2.801585, rtol=1e-6)
    assert np.isinf(smallest_detectable_bias(1.0, 0.0, 0.05, 0.8))
    generator = np.random.default_rng(31)
    bias = smallest_detectable_bias(1.0, 2 / 3, 0.05, 0.8)
    true, runs, hits = np.array(R1["true"], dtype=float), 2000, 0
    for _ in range(runs):
        value = true + generator.standard_normal(6)
        value[2] += bias
        hits += abs(reconcile_linear(R1["balance"], value, np.ones(6)).score[2]) > 1.959964
    assert abs(hits / runs - 0.8) < 3 * np.sqrt(0.8 * 0.2 / runs)


@pytest.mark.parametrize("significance", [0.0, 1.0, -0.1, 5.0])
def test_a_significance_outside_zero_and_one_is_refused(significance):
    with pytest.raises(SurveyError, match="significance"):
        critical_score(3, significance)
    with pytest.raises(SurveyError, match="significance"):
        culprit_sets(PAIR, [1, 1, 1, 1], np.ones(4), largest=1, significance=significance)
    with pytest.raises(SurveyError, match="significance"):
        serial_elimination(PAIR, [1, 1, 1, 1], np.ones(4), significance=significance)


def test_one_more_reading_is_worth_what_is_known():
    measured = np.array([True, False, False, True])
    (gain,) = value_of_measurement(PAIR, np.ones(4), candidates=[(1, 1.0)], targets=range(4), measured=measured)
    assert_allclose(gain.before, [0.707107, np.inf, np.inf, 0.707107], rtol=1e-6)
    assert_allclose(gain.after, [0.707107, 1, 1.224745, 0.707107], rtol=1e-6)
    measured[2] = True
    (gain,) = value_of_measurement(PAIR, np.ones(4), candidates=[(1, 1.0)], targets=range(4), measured=measured)
    assert_allclose(gain.after, [0.632456, 0.774597, 0.774597, 0.632456], rtol=1e-6)
    assert_allclose([gain.redundancy_before[0], gain.redundancy_after[0]], [0.5, 0.6])


def test_a_second_reading_of_the_same_stream_counts_as_independent():
    (gain,) = value_of_measurement(PAIR, np.ones(4), candidates=[(0, 1.0)], targets=[0])
    u = np.array([np.sqrt(0.5), 1, 1, 1])
    want = reconcile_linear(PAIR, [100, 62, 48, 101], u).standard_uncertainty[0]
    assert_allclose(gain.after, [want], rtol=1e-12)
    assert gain.redundancy_after[0] > gain.redundancy_before[0]


def test_no_reading_ever_makes_anything_less_sure():
    for gain in value_of_measurement(
        R3["balance"],
        R3["standard_uncertainty"],
        candidates=[(i, 1.0) for i in range(28)],
        targets=range(28),
        measured=np.arange(28) % 5 != 0,
    ):
        both = np.isfinite(gain.before)
        assert np.all(gain.after[both] <= gain.before[both] * (1 + 1e-9))


# -- power of the test that is run -----------------------------------------------------------------------------------

THREE_NODES = np.array([[1, 1, -1, 0, 0, 0, 0], [0, 0, 1, -1, -1, 0, 0], [0, 0, 0, 0, 1, -1, -1]], dtype=float)
SEVEN = np.array([60.0, 40.0, 100.0, 30.0, 70.0, 50.0, 20.0])
SEVEN_SPREAD = np.array([1.0, 2.0, 3.0, 1.5, 2.0, 1.0, 1.0])


@pytest.mark.parametrize("reading", [0, 3, 6])
def test_an_error_of_the_stated_size_is_found_in_four_rounds_of_five(reading):
    """Simulated rounds through the test that decides; one score alone, stated for the same, finds it more rarely."""
    generator = np.random.Generator(np.random.Philox(key=reading))
    redundancy = reconcile_linear(THREE_NODES, SEVEN, SEVEN_SPREAD).redundancy
    wrong = np.zeros(7)
    wrong[reading] = smallest_error_found(SEVEN_SPREAD[reading], redundancy[reading], 3, 0.05, 0.8)
    alone = np.zeros(7)
    alone[reading] = smallest_detectable_bias(SEVEN_SPREAD, redundancy, significance=0.05, power=0.8)[reading]
    rounds = SEVEN + SEVEN_SPREAD * generator.standard_normal((1000, 7))
    found, found_alone, false = (
        np.mean([reconcile_linear(THREE_NODES, one + error, SEVEN_SPREAD).probability < 0.05 for one in rounds])
        for error in (wrong, alone, np.zeros(7))
    )
    assert found == pytest.approx(0.8, abs=0.04)
    assert 0.6 < found_alone < 0.7
    assert false == pytest.approx(0.05, abs=0.025)
