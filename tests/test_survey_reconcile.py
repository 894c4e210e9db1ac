"""Reconciliation against data and answers from outside: linear, bilinear, nonlinear, bounded, robust, sparse."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import optimize, stats

import thinstock.survey.bilinear as bilinear
import thinstock.survey.linear as linear
from survey_cases import R1, R3, R4, R5, raised_bypass, turbine_covariance
from thinstock.survey import (
    NotConverged,
    SurveyError,
    classify,
    reconcile_bilinear,
    reconcile_bounded,
    reconcile_linear,
    reconcile_nonlinear,
    reconcile_robust_huber,
)


def within_digits(got, printed: list[str]) -> None:
    for number, text in zip(got, printed, strict=True):
        half = 0.5 * 10.0 ** -len(text.partition(".")[2])
        assert abs(number - float(text)) <= half, (number, text)


def test_the_bypass_comes_out_as_printed():
    found = reconcile_linear(R1["balance"], R1["value"], R1["standard_uncertainty"])
    within_digits(found.value, R1["printed"]["reconciled"])


def test_the_bypass_has_the_known_statistics():
    want = R1["computed"]
    found = reconcile_linear(R1["balance"], R1["value"], R1["standard_uncertainty"])
    assert found.degrees_of_freedom == want["degrees_of_freedom"]
    assert_allclose(found.statistic, want["statistic"], rtol=1e-5)
    assert found.probability == pytest.approx(want["probability"], abs=5e-5)
    assert_allclose(found.standard_uncertainty, want["reconciled_uncertainty"], rtol=1e-5)
    assert_allclose(found.score, want["score"], rtol=1e-5)
    assert_allclose(found.node_score, want["node_score"], rtol=1e-5)
    assert_allclose(found.redundancy, want["redundancy"], rtol=1e-5)
    assert_allclose(found.birge_ratio, np.sqrt(want["statistic"] / 4), rtol=1e-6)


@pytest.mark.parametrize("variant", R1["variant"])
def test_the_bypass_with_streams_unread_is_classified(variant):
    measured = np.array([i + 1 not in variant["unmeasured"] for i in range(6)])
    found = reconcile_linear(R1["balance"], R1["value"], R1["standard_uncertainty"], measured=measured)
    assert_allclose(found.value, variant["reconciled"], rtol=1e-5)
    assert found.degrees_of_freedom == variant["degrees_of_freedom"]
    assert_allclose(found.statistic, variant["statistic"], rtol=1e-5)
    if "classification" in variant:
        assert found.classification.tolist() == variant["classification"]
        assert classify(R1["balance"], measured).tolist() == variant["classification"]
    assert np.all(np.isinf(found.standard_uncertainty[np.isnan(found.value)]))
    assert np.all(np.isnan(found.score[~measured])) and np.all(np.isnan(found.bias[~measured]))
    assert np.all(np.isnan(found.score[found.classification == "just measured"]))


def test_the_steam_network_has_the_known_answers():
    want = R3["computed"]
    found = reconcile_linear(R3["balance"], R3["value"], R3["standard_uncertainty"])
    assert_allclose(found.value, want["reconciled"], rtol=1e-5)
    assert_allclose(found.statistic, want["statistic"], rtol=1e-5)
    assert_allclose(found.probability, want["probability"], rtol=1e-4)
    assert_allclose(found.score, want["score"], rtol=1e-4, atol=5e-6)
    assert_allclose(found.redundancy, want["redundancy"], rtol=1e-4)
    assert int(np.argmax(np.abs(found.score))) + 1 == want["largest_score_stream"]
    assert_allclose(found.redundancy.sum(), found.degrees_of_freedom, rtol=1e-12)


@pytest.mark.parametrize("part", ["computed", "computed_without_covariance"])
def test_correlated_meters_are_adjusted_together(part):
    covariance = turbine_covariance(R4)
    if part != "computed":
        covariance = np.diag(np.diag(covariance))
    want = R4[part]
    found = reconcile_linear(R4["balance"], R4["value"], covariance)
    assert_allclose(found.value, want["reconciled"], rtol=1e-5)
    assert_allclose(1.96 * found.standard_uncertainty, want["half_width_95"], rtol=5e-5)
    assert_allclose(found.statistic, want["statistic"], rtol=1e-5)
    assert found.degrees_of_freedom == want["degrees_of_freedom"]
    assert_allclose(found.score, want["score"], rtol=5e-5, atol=1e-8)
    assert_allclose(found.redundancy, want["redundancy"], rtol=2e-5)
    assert np.all(np.abs(found.adjustment) <= 1.96 * found.adjustment_uncertainty)


def test_the_water_balance_that_does_not_close_is_rejected():
    want = R5["computed"]
    found = reconcile_linear(R5["balance"], R5["value"], np.sqrt(R5["variance"]))
    assert_allclose(found.value, want["reconciled"], rtol=1e-5)
    assert_allclose(found.statistic, want["statistic"], rtol=1e-5)
    assert_allclose(found.probability, want["probability"], rtol=1e-3)
    assert_allclose(found.birge_ratio, want["birge_ratio"], rtol=1e-5)
    assert_allclose(found.score, want["score"], rtol=1e-4)
    assert_allclose(found.node_score, want["node_score"], rtol=1e-4)


def plain_reconciliation(balance, value, covariance):
    """The textbook formula with an inverse, as a twin of the singular-value route."""
    inverse = np.linalg.inv(balance @ covariance @ balance.T)
    mismatch = balance @ value
    adjusted = covariance @ balance.T @ inverse @ balance @ covariance
    x = value - covariance @ balance.T @ inverse @ mismatch
    pull, know = balance.T @ inverse @ mismatch, np.diag(balance.T @ inverse @ balance)
    return x, mismatch @ inverse @ mismatch, adjusted, pull / know, pull**2 / know


@pytest.mark.parametrize("data", [R1, R3, R5], ids=["r1", "r3", "r5"])
def test_singular_values_agree_with_the_textbook_inverse(data):
    u = np.array(data["standard_uncertainty"]) if "variance" not in data else np.sqrt(data["variance"])
    found = reconcile_linear(data["balance"], data["value"], u)
    x, statistic, adjusted, bias, ratio = plain_reconciliation(data["balance"], data["value"], np.diag(u**2))
    assert_allclose(found.value, x, rtol=1e-9)
    assert_allclose(found.statistic, statistic, rtol=1e-9)
    assert_allclose(found.adjustment_uncertainty, np.sqrt(np.diag(adjusted)), rtol=1e-6)
    assert_allclose(found.bias, bias, rtol=1e-6, atol=1e-9)
    assert_allclose(found.likelihood_ratio, ratio, rtol=1e-6, atol=1e-12)
    assert_allclose(found.score**2, ratio, rtol=1e-6, atol=1e-12)
    assert_allclose(found.covariance, np.diag(u**2) - adjusted, atol=1e-12 * u.max() ** 2)


def test_bias_and_ratio_hold_for_correlated_meters():
    covariance = turbine_covariance(R4)
    found = reconcile_linear(R4["balance"], R4["value"], covariance)
    x, statistic, _, bias, ratio = plain_reconciliation(R4["balance"], R4["value"], covariance)
    assert_allclose(found.value, x, rtol=1e-12)
    assert_allclose(found.statistic, statistic, rtol=1e-10)
    assert_allclose(found.bias, bias, rtol=1e-9)
    assert_allclose(found.likelihood_ratio, ratio, rtol=1e-9)


def test_known_constants_enter_the_balance():
    found = reconcile_linear([[1, -1]], [10.0, 7.5], [1.0, 1.0], constant=[3.0])
    assert_allclose(found.value, [10.25, 7.25])


def test_readings_of_unread_variables_are_not_looked_at():
    value = np.array([100.0, np.nan, 36.0, 101.0])
    covariance = np.diag([1.0, np.nan, 1.0, 1.0])
    found = reconcile_linear(
        [[1, -1, -1, 0], [0, 1, 1, -1]], value, covariance, measured=np.array([True, False, True, True])
    )
    assert_allclose(found.value, [100.5, 64.5, 36.0, 100.5])
    assert found.classification.tolist() == ["redundant", "observable", "just measured", "redundant"]


def test_a_balance_said_twice_changes_nothing():
    once = reconcile_linear(R1["balance"], R1["value"], R1["standard_uncertainty"])
    twice = reconcile_linear(np.vstack([R1["balance"], R1["balance"].sum(0)]), R1["value"], np.ones(6))
    assert twice.degrees_of_freedom == once.degrees_of_freedom
    assert_allclose(twice.value, once.value, rtol=1e-13)


MIXER = {
    "balance": [[1, 1, -1]],
    "value": [40, 700, 760, 0.030, 0.0003, 0.0018],
    "uncertainty": [0.4, 35, 23, 0.0006, 0.00003, 0.00006],
}
MIXED = [39.9375191, 721.9213245, 761.8588436, 0.0298010240, 0.000291008140, 0.00183795720]


def mixer_constraint(x):
    return np.array([x[0] + x[1] - x[2], x[0] * x[3] + x[1] * x[4] - x[2] * x[5]])


@pytest.mark.parametrize("way", ["bilinear", "complex step", "jacobian"])
def test_the_mixer_has_the_known_answer(way):
    if way == "bilinear":
        found = reconcile_bilinear(**MIXER, components=1)
    elif way == "complex step":
        found = reconcile_nonlinear(mixer_constraint, MIXER["value"], MIXER["uncertainty"])
    else:
        found = reconcile_nonlinear(
            mixer_constraint,
            MIXER["value"],
            MIXER["uncertainty"],
            jacobian=lambda x: np.array([[1, 1, -1, 0, 0, 0], [x[3], x[4], -x[5], x[0], x[1], -x[2]]]),
        )
    assert_allclose(found.value, MIXED, rtol=2e-9)
    assert_allclose(found.statistic, 1.0232337, rtol=1e-7)
    assert found.degrees_of_freedom == 2
    want = [0.8652317, -0.7168900, -0.1205369, 0.8917423, 0.8917423, -0.8917423]
    assert_allclose(found.score, want, rtol=1e-6)


def test_the_mixer_with_an_unread_flow_has_the_known_answer():
    found = reconcile_bilinear(**MIXER, components=1, measured=np.array([1, 0, 1, 1, 1, 1], dtype=bool))
    assert_allclose(found.value[1], 728.6448047, rtol=1e-9)
    assert_allclose(found.standard_uncertainty[1], 19.567221, rtol=1e-7)
    assert_allclose(found.statistic, 0.5108742, rtol=1e-6)
    assert found.degrees_of_freedom == 1


def test_the_mixer_is_the_least_squares_optimum_of_a_general_solver():
    value, u = np.array(MIXER["value"]), np.array(MIXER["uncertainty"])
    general = optimize.minimize(
        lambda z: np.sum(z**2),
        np.zeros(6),
        constraints={"type": "eq", "fun": lambda z: mixer_constraint(value + u * z)},
        method="SLSQP",
        options={"ftol": 1e-14, "maxiter": 500},
    )
    found = reconcile_bilinear(**MIXER, components=1)
    assert_allclose(found.value, value + u * general.x, rtol=2e-5)
    assert_allclose(found.statistic, general.fun, rtol=1e-6)


def test_equal_compositions_and_clean_streams_are_kept():
    """A mixer of stock and clean water, then a splitter into two streams of one composition."""
    balance = [[1, 1, -1, 0, 0], [0, 0, 1, -1, -1]]
    value = [10, 90, 99, 62, 40, 0.030, 0.0, 0.0031, 0.0030, 0.0028]
    u = [0.2, 3, 3, 2, 1, 0.0006, 1, 0.0001, 0.0001, 0.0001]
    fixed = np.arange(10) == 6
    found = reconcile_bilinear(balance, value, u, components=1, fixed=fixed, equal=[(7, 8), (7, 9)])
    assert found.degrees_of_freedom == 5
    assert found.value[6] == 0.0 and found.standard_uncertainty[6] == 0.0
    assert found.classification[6] == "fixed"
    assert_allclose(found.value[[8, 9]], found.value[7], rtol=1e-12)
    assert_allclose(found.value[0] * found.value[5], found.value[2] * found.value[7], rtol=1e-12)

    def constraint(x):
        full = np.insert(x, 6, 0.0)
        flows = np.array(
            [full[0] + full[1] - full[2], full[2] - full[3] - full[4], full[7] - full[8], full[7] - full[9]]
        )
        return np.append(flows, full[0] * full[5] - full[2] * full[7])

    other = reconcile_nonlinear(constraint, np.delete(value, 6), np.delete(u, 6))
    assert_allclose(np.delete(found.value, 6), other.value, rtol=1e-9)
    assert_allclose(found.statistic, other.statistic, rtol=1e-9)


def test_what_does_not_settle_names_the_worst_balance():
    with pytest.raises(NotConverged, match="constraint 0"):
        reconcile_nonlinear(lambda x: np.array([x[0] ** 2 + x[1] ** 2 + 1.0]), [1.0, 1.0], [0.1, 0.1])


def test_a_bound_is_kept_as_known():
    value, at_bound, squares = reconcile_bounded(
        R1["balance"], R1["value"], np.ones(6), lower=0.0, upper=[200, 64, 200, 200, 200, 200]
    )
    assert_allclose(value, [99.97, 64, 35.97, 64, 35.97, 99.97], rtol=1e-12)
    assert at_bound == (1,)
    assert_allclose(squares, 7.1575, rtol=1e-10)


def test_bounds_that_do_not_bind_change_nothing():
    value, at_bound, squares = reconcile_bounded(R1["balance"], R1["value"], np.ones(6), lower=0, upper=200)
    found = reconcile_linear(R1["balance"], R1["value"], np.ones(6))
    assert_allclose(value, found.value, rtol=1e-12)
    assert at_bound == () and squares == pytest.approx(found.statistic)


def test_bounds_that_no_balance_can_keep_are_refused():
    with pytest.raises(SurveyError, match="no balance closes"):
        reconcile_bounded([[1, -1]], [5.0, 5.0], [1.0, 1.0], lower=[0, 10], upper=[4, 20])
    with pytest.raises(SurveyError, match="lower must not exceed"):
        reconcile_bounded([[1, -1]], [5.0, 5.0], [1.0, 1.0], lower=6, upper=4)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_the_bounded_minimum_agrees_with_a_general_solver(seed):
    generator = np.random.default_rng(seed)
    value = generator.uniform(0.0, 10.0, 6) + generator.normal(0, 4, 6)
    u = generator.uniform(0.3, 2.0, 6)
    low, high = np.zeros(6), np.full(6, 8.0)
    found, at_bound, squares = reconcile_bounded(R1["balance"], value, u, lower=low, upper=high)
    assert np.all(found >= low) and np.all(found <= high)
    assert_allclose(R1["balance"] @ found, 0.0, atol=1e-9)
    general = optimize.minimize(
        lambda x: np.sum(((x - value) / u) ** 2),
        np.full(6, 4.0),
        jac=lambda x: 2 * (x - value) / u**2,
        bounds=[(0, 8)] * 6,
        constraints={"type": "eq", "fun": lambda x: R1["balance"] @ x, "jac": lambda x: R1["balance"]},
        method="SLSQP",
        options={"ftol": 1e-13, "maxiter": 500},
    )
    assert squares <= general.fun * (1.0 + 1e-7) + 1e-9
    assert_allclose(found, general.x, atol=2e-4)
    assert all(found[i] in (low[i], high[i]) for i in at_bound)


def test_the_least_distance_fallback_finds_the_same_bounded_minimum(monkeypatch):
    import thinstock.survey.bounded as bounded

    problem = (R1["balance"], R1["value"], np.ones(6))
    limits = {"lower": [0, 0, 38, 0, 0, 0], "upper": [200, 64, 200, 60, 200, 200]}
    first = reconcile_bounded(*problem, **limits)
    monkeypatch.setattr(bounded, "_active_set", lambda *_: None)
    second = reconcile_bounded(*problem, **limits)
    assert_allclose(second[0], first[0], atol=1e-9)
    assert second[1] == first[1] and len(first[1]) >= 2
    assert_allclose(second[2], first[2], rtol=1e-9)


def test_bounds_hold_with_covariances_too():
    covariance = turbine_covariance(R4)
    upper = R4["value"] + 1e3
    upper[0] = 44.0
    value, at_bound, squares = reconcile_bounded(R4["balance"], R4["value"], covariance, lower=0.0, upper=upper)
    tied = np.vstack([R4["balance"], np.eye(10)[0]])
    want = reconcile_linear(tied, R4["value"], covariance, constant=[0, 0, 0, 44.0])
    assert at_bound == (0,)
    assert_allclose(value, want.value, rtol=1e-10)
    assert_allclose(squares, want.statistic, rtol=1e-9)


def test_a_wild_reading_is_given_little_weight():
    value, weight = reconcile_robust_huber(R1["balance"], raised_bypass(), np.ones(6), threshold=1.345)
    within_digits(value[[0, 1, 2]], ["101.183", "64.016", "37.167"])
    within_digits(weight, ["1.000000", "1.000000", "0.245304", "1.000000", "1.000000", "0.584021"])


def test_the_robust_minimum_is_that_of_a_general_solver():
    value, _ = reconcile_robust_huber(R1["balance"], raised_bypass(), np.ones(6), threshold=1.345)
    free = np.array([[1, 1], [1, 0], [0, 1], [1, 0], [0, 1], [1, 1]], dtype=float)

    def huber(p):
        a = np.abs(free @ p - raised_bypass())
        return np.sum(np.where(a <= 1.345, a**2 / 2, 1.345 * a - 1.345**2 / 2))

    general = optimize.minimize(huber, [64, 36], method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-13})
    assert_allclose(value, free @ general.x, atol=1e-6)


def test_a_large_threshold_gives_plain_least_squares():
    value, weight = reconcile_robust_huber(R1["balance"], R1["value"], np.ones(6), threshold=50.0)
    assert_allclose(value, reconcile_linear(R1["balance"], R1["value"], np.ones(6)).value)
    assert_array_equal(weight, 1.0)


def test_correlated_readings_are_refused_by_the_robust_way():
    with pytest.raises(SurveyError, match="without covariances"):
        reconcile_robust_huber(R4["balance"], R4["value"], turbine_covariance(R4), threshold=1.345)


def test_the_global_test_rejects_good_readings_as_often_as_it_says():
    generator = np.random.default_rng(20)
    true, u = np.array(R1["true"], dtype=float), np.ones(6)
    runs = 4000
    statistic = []
    for _ in range(runs):
        statistic.append(reconcile_linear(R1["balance"], true + generator.standard_normal(6), u).statistic)
    rejected = np.mean(np.array(statistic) > stats.chi2.isf(0.05, 4))
    assert abs(rejected - 0.05) < 3.0 * np.sqrt(0.05 * 0.95 / runs)
    assert stats.kstest(statistic, "chi2", args=(4,)).pvalue > 0.01


def test_reconciled_uncertainties_are_those_of_a_simulation():
    generator = np.random.default_rng(21)
    true = np.array(R3["true"])
    true = reconcile_linear(R3["balance"], true, 0.01 * true).value
    u = 0.025 * true
    draws = true + u * generator.standard_normal((1500, 28))
    found = [reconcile_linear(R3["balance"], y, u) for y in draws]
    values = np.array([f.value for f in found])
    spread = found[0].standard_uncertainty
    assert_allclose(values.std(0), spread, rtol=0.08)
    scores = np.array([f.score for f in found])
    assert_allclose(scores.std(0), 1.0, rtol=0.08)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (dict(uncertainty=[1, 0, 1, 1, 1, 1]), "uncertainty of variable 1: must be above 0"),
        (dict(uncertainty=[1, -1, 1, 1, 1, 1]), "uncertainty of variable 1"),
        (dict(uncertainty=[1, np.nan, 1, 1, 1, 1]), "uncertainty of variable 1: must be above 0"),
        (dict(value=[1, 2, np.nan, 4, 5, 6]), "value of variable 2"),
        (dict(value=[1, 2, 3]), "one entry for each of the 6 variables"),
        (dict(uncertainty=np.ones((6, 5))), "6 standard uncertainties or a covariance"),
        (dict(constant=[0.0]), "one number for each of the 4 balances"),
        (dict(measured=[True, False]), "indices|one entry"),
        (dict(balance=[1, -1]), "one row per balance"),
    ],
)
def test_what_cannot_be_reconciled_is_refused(arguments, words):
    given_ = dict(balance=R1["balance"], value=R1["value"], uncertainty=np.ones(6)) | arguments
    with pytest.raises(SurveyError, match=words):
        reconcile_linear(**given_)


def test_a_covariance_that_makes_two_readings_one_is_refused_by_name():
    covariance = np.eye(6)
    covariance[1, 4] = covariance[4, 1] = 1.0
    with pytest.raises(SurveyError, match="readings 1 and 4"):
        reconcile_linear(R1["balance"], R1["value"], covariance)
    covariance[1, 4] = 0.5
    with pytest.raises(SurveyError, match="symmetric"):
        reconcile_linear(R1["balance"], R1["value"], covariance)


def test_a_survey_without_redundancy_is_refused_with_what_would_help():
    measured = np.array([True, True, False, False, False, False])
    with pytest.raises(SurveyError, match=r"nothing can be checked. Add one of: variable [25]"):
        reconcile_linear(R1["balance"], R1["value"], np.ones(6), measured=measured)


def test_balances_that_contradict_each_other_are_refused():
    with pytest.raises(SurveyError, match="contradict"):
        reconcile_linear([[1, -1], [1, -1]], [5.0, 5.0], [1.0, 1.0], constant=[0.0, 2.0])


def same_result(one, other, rtol=1e-7):
    for name in (
        "value",
        "standard_uncertainty",
        "adjustment",
        "redundancy",
        "score",
        "bias",
        "likelihood_ratio",
        "node_score",
    ):
        assert_allclose(getattr(other, name), getattr(one, name), rtol=rtol, atol=1e-9, err_msg=name)
    assert other.classification.tolist() == one.classification.tolist()
    assert other.degrees_of_freedom == one.degrees_of_freedom
    assert_allclose(other.statistic, one.statistic, rtol=1e-9)


@pytest.mark.parametrize("unread", [(), (2, 3, 4), (1, 2, 3, 4)])
def test_the_sparse_route_gives_the_same_as_the_dense(monkeypatch, unread):
    measured = ~np.isin(np.arange(6), unread)
    balance = np.vstack([R1["balance"], R1["balance"].sum(0)])
    dense = reconcile_linear(balance, R1["value"], np.ones(6), measured=measured)
    monkeypatch.setattr(linear, "DENSE_LIMIT", 0)
    same_result(dense, reconcile_linear(balance, R1["value"], np.ones(6), measured=measured))


def test_the_sparse_route_takes_covariances(monkeypatch):
    covariance = turbine_covariance(R4)
    dense = reconcile_linear(R4["balance"], R4["value"], covariance)
    monkeypatch.setattr(linear, "DENSE_LIMIT", 0)
    same_result(dense, reconcile_linear(R4["balance"], R4["value"], covariance))


def test_the_sparse_route_gives_the_same_mixer(monkeypatch):
    dense = reconcile_bilinear(**MIXER, components=1, measured=np.array([1, 0, 1, 1, 1, 1], dtype=bool))
    monkeypatch.setattr(bilinear, "DENSE_LIMIT", 0)
    sparse = reconcile_bilinear(**MIXER, components=1, measured=np.array([1, 0, 1, 1, 1, 1], dtype=bool))
    same_result(dense, sparse)
