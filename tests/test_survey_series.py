"""Series whose neighbours are related: check values worked apart with numpy and scipy, limits, and alarms kept."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.signal import lfilter

from thinstock.survey import (
    SurveyError,
    autocorrelation,
    cautious,
    change_of_means,
    effective_size,
    mean_of_window,
    random_walk,
    random_walk_mixed,
    trend_test,
    usual_walk,
    walk_size,
)
from thinstock.survey.series import means_of_windows, trends

X = np.array([5, 5.2, 4.9, 5.1, 5.3, 5, 5.2, 5.4, 5.3, 5.5])
ROUNDS = ([1.0, 1.2, 0.9, 1.5], [0.1] * 4, [0.0, 1.0, 2.0, 4.0])


def related(generator: np.random.Generator, runs: int, n: int, r: float) -> np.ndarray:
    """Steady series of spread 1 whose neighbours are correlated by r."""
    noise = generator.standard_normal((runs, n)) * np.sqrt(1 - r * r)
    noise[:, 0] /= np.sqrt(1 - r * r)
    return np.asarray(lfilter([1.0], [1.0, -r], noise, axis=1))


def test_the_correlation_of_neighbours_is_the_known_one():
    assert autocorrelation(X) == pytest.approx(0.3508467216673904, rel=1e-9)
    assert autocorrelation(X, trend=True) == 0.0
    assert cautious(0.8, 120) == pytest.approx(0.8273861278752583, rel=1e-9)
    assert cautious(0.995, 4) == 0.995


def test_related_values_count_for_fewer():
    assert effective_size(120, 0.8) == pytest.approx(13.846153846152593, rel=1e-9)
    assert effective_size(10, 0.5) == pytest.approx(3.845576085323719, rel=1e-9)
    assert effective_size(10, 0.0) == 10.0


@given(n=st.integers(2, 300), r=st.floats(0.0, 0.99))
@settings(max_examples=40, deadline=None)
def test_the_closed_sum_is_the_sum(n, r):
    k = np.arange(1, n)
    assert effective_size(n, r) == pytest.approx(n / (1.0 + 2.0 * np.sum((1.0 - k / n) * r**k)), rel=1e-8)


def test_the_mean_of_a_window_carries_what_its_neighbours_share():
    assert_allclose(mean_of_window(X), [5.19, 0.10735522007811658, 3.8546282858576095], rtol=1e-9)


def test_a_trend_is_judged_by_what_the_values_are_worth():
    assert_allclose(trend_test(X), [0.42834965473411, 0.1740122968065687, 0.052565873761892035], rtol=1e-9)


def test_a_change_of_means_keeps_only_what_the_meter_does_not_share():
    assert_allclose(change_of_means(X, X + 0.4), [0.4, 0.15182320822602072, 0.04068867249040997], rtol=1e-9)
    found = change_of_means(X, X + 0.4, calibration=0.1)
    assert_allclose(found, [0.4, 0.18179737774797977, 0.07236067928727315], rtol=1e-9)


def test_a_level_that_walks_is_followed():
    level, u, likelihood = random_walk(*ROUNDS, walk=0.2)
    assert_allclose(level, [1.02732558, 1.13662791, 0.99244186, 1.44360465], atol=5e-9)
    assert_allclose(u, [0.09102134, 0.08439249, 0.08710459, 0.09477636], atol=5e-9)
    assert likelihood == pytest.approx(-1.275195102806951, rel=1e-9)


def test_without_a_walk_the_level_is_the_weighted_mean():
    level, u, _ = random_walk([1.0, 2.0, 4.0], [1.0, 0.5, 2.0], [0.0, 1.0, 3.0], walk=0.0)
    weight = np.array([1.0, 4.0, 0.25])
    assert_allclose(level, weight @ [1.0, 2.0, 4.0] / weight.sum())
    assert_allclose(u, weight.sum() ** -0.5)


def test_the_likeliest_walk_and_its_chance_are_the_known_ones():
    walk, ratio, probability = walk_size(*ROUNDS)
    assert walk == pytest.approx(0.27252, abs=1e-5)
    assert ratio == pytest.approx(11.893410986, abs=5e-9)
    assert probability == pytest.approx(0.000281664, abs=5e-10)
    assert walk_size([1.0, 1.01, 0.99, 1.0], [0.1] * 4, [0.0, 1.0, 2.0, 3.0]) == (0.0, 0.0, 1.0)


def test_the_walk_is_the_same_in_another_unit():
    value, u, t = (np.array(a) for a in ROUNDS)
    walk, ratio, _ = walk_size(value, u, t)
    other = walk_size(1000.0 * value, 1000.0 * u, 3600.0 * t)
    assert other[0] == pytest.approx(1000.0 / 60.0 * walk, rel=1e-5)
    assert other[1] == pytest.approx(ratio, rel=1e-9)


def test_walks_are_mixed_by_what_the_readings_say_of_them():
    level, u, probability, walks = random_walk_mixed(*ROUNDS, scale=0.1)
    assert_allclose(level, [1.0263847, 1.1462326, 0.9851645, 1.4422182], atol=1e-6)
    assert_allclose(u, [0.0929847, 0.0891503, 0.1015199, 0.1055854], atol=1e-6)
    assert probability.sum() == pytest.approx(1.0)
    assert walks[0] == 0.0 and walks.size == 61
    assert usual_walk([0.1, 0.3], [0.0, 4.0]) == pytest.approx(0.1)


@pytest.mark.parametrize(("n", "r"), [(120, 0.8), (240, 0.5), (120, 0.0)])
def test_a_steady_series_is_not_called_drifting_more_often_than_stated(n, r):
    runs = related(np.random.default_rng(20), 600, n, r)
    alarms = np.mean(trends(runs)[2] < 0.05)
    assert 0.015 < alarms < 0.07
    assert_allclose(trends(runs[:2]), np.transpose([trend_test(x) for x in runs[:2]]), rtol=1e-9)


def test_a_real_drift_is_found():
    runs = related(np.random.default_rng(21), 200, 240, 0.8) + np.linspace(0.0, 3.0, 240)
    assert np.mean(trends(runs)[2] < 0.05) > 0.96


def test_the_mean_of_a_window_covers_the_truth_as_often_as_stated():
    from scipy.stats import t

    mean, u, m = means_of_windows(related(np.random.default_rng(22), 600, 120, 0.8))
    assert 0.92 < np.mean(np.abs(mean) < t.ppf(0.975, m - 1.0) * u) < 0.98


def test_what_cannot_be_judged_is_refused_or_left_open():
    for wrong in (
        lambda: autocorrelation([1.0, 1.0, 1.0, 1.0]),
        lambda: mean_of_window([1.0, 2.0, np.nan, 3.0]),
        lambda: trend_test([1.0, 2.0, 3.0]),
        lambda: change_of_means(X, X, calibration=-1.0),
        lambda: random_walk([1.0, 2.0], [0.1, 0.0], [0.0, 1.0], walk=0.1),
        lambda: random_walk([1.0, 2.0], [0.1, 0.1], [1.0, 0.0], walk=0.1),
        lambda: random_walk([1.0, 2.0], [0.1, 0.1], [0.0, 1.0], walk=-0.1),
        lambda: random_walk_mixed(*ROUNDS, scale=0.0),
        lambda: random_walk_mixed(*ROUNDS, scale=0.1, count=1),
    ):
        with pytest.raises(SurveyError):
            wrong()
    slow = np.sin(np.linspace(0.0, 6.0, 40))
    assert np.isnan(trend_test(slow)[2])
