"""Constants fitted to readings, how far they can go, and whether the machine stood still while it was read."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from thinstock.survey import (
    SurveyError,
    fit,
    mean_uncertainty_batches,
    profile,
    steady_probability_von_neumann,
    typical_uncertainties,
    von_neumann_ratio,
)
from thinstock.survey.table import read_survey

HOURS = np.array([1, 2, 3, 4, 5, 7.0])
DEMAND = np.array([8.3, 10.3, 19.0, 16.0, 15.6, 19.8])
SERIES = [5, 5.2, 4.9, 5.1, 5.3, 5, 5.2, 5.4, 5.3, 5.5]


def saturating(hours):
    return lambda p: p[0] * (1 - np.exp(-p[1] * hours))


def test_the_oxygen_demand_fit_has_the_known_answer():
    found = fit(saturating(HOURS), DEMAND, 1.0, [20.0, 0.5], uncertainty_known=False)
    assert_allclose(found.value, [19.142575, 0.531091], rtol=2e-6)
    assert_allclose(found.standard_uncertainty, [2.4959, 0.20308], rtol=2e-5)
    assert_allclose(found.chi_square, 25.990267, rtol=1e-7)
    assert_allclose(found.residual_deviation, 2.549033, rtol=1e-6)
    assert found.degrees_of_freedom == 4
    assert_allclose(found.residual, DEMAND - saturating(HOURS)(found.value))


def test_the_oxygen_demand_profiles_are_known_and_not_symmetric():
    found = fit(saturating(HOURS), DEMAND, 1.0, [20.0, 0.5], uncertainty_known=False)
    first, second = profile(found, 0, share=0.95), profile(found, 1, share=0.95)
    assert_allclose([first.low, first.high], [14.0494, 38.4562], rtol=1e-5)
    assert_allclose([second.low, second.high], [0.131398, 1.80817], rtol=1e-5)
    assert first.identified and second.identified
    assert first.high - found.value[0] > 3 * (found.value[0] - first.low)
    within = 0.03
    assert_allclose([first.low, first.high, second.low, second.high], [14.05, 37.77, 0.132, 1.77], rtol=within)


def test_a_prior_pulls_and_narrows_as_known():
    found = fit(
        saturating(HOURS),
        DEMAND,
        2.55,
        [20.0, 0.5],
        uncertainty_known=True,
        prior_mean=[0.0, 0.5],
        prior_uncertainty=[np.inf, 0.1],
    )
    assert_allclose(found.value, [19.41631, 0.506291], rtol=1e-6)
    assert_allclose(found.standard_uncertainty, [1.68180, 0.0889426], rtol=3e-6)
    assert found.degrees_of_freedom == 5
    ends = profile(found, 0, share=0.95)
    assert_allclose([ends.low, ends.high], [16.4064, 23.3604], rtol=3e-6)


def product(x):
    return lambda p: p[0] * p[1] * x


def test_only_the_product_is_seen_where_only_the_product_is_read():
    x = np.array([1.0, 2.0, 3.0])
    found = fit(
        product(x), [2, 4.1, 5.9], 0.1, [1, 2], uncertainty_known=True, prior_mean=[1, 2], prior_uncertainty=[0.05, 10]
    )
    assert_allclose(found.value, [0.9999996, 1.992858], rtol=1e-6)
    assert_allclose(found.correlation[0, 1], -0.96586, atol=5e-6)
    blind = fit(product(x), [2, 4.1, 5.9], 0.1, [1, 2], uncertainty_known=True)
    assert np.all(np.isinf(blind.standard_uncertainty))
    assert_allclose(np.prod(blind.value), 1.992857, rtol=1e-6)


def test_a_curve_read_only_where_it_is_flat_bounds_its_rate_on_one_side():
    late = np.array([20.0, 25.0, 30.0])
    found = fit(
        saturating(late), [10.02, 9.97, 10.01], 0.05, [10, 1], uncertainty_known=True, lower=[0, 0], upper=[100, 1e4]
    )
    assert_allclose(found.value[0], 10.000, atol=5e-4)
    ends = profile(found, 1, share=0.95)
    assert_allclose(ends.low, 0.2189, atol=5e-5)
    assert ends.high == np.inf and not ends.identified
    assert profile(found, 0, share=0.95).identified


def test_a_straight_line_agrees_with_the_textbook():
    generator = np.random.default_rng(3)
    x = np.linspace(0, 1, 12)
    y = 2 + 3 * x + 0.1 * generator.standard_normal(12)
    found = fit(lambda p: p[0] + p[1] * x, y, 0.1, [0, 0], uncertainty_known=True)
    design = np.stack([np.ones(12), x], axis=1)
    assert_allclose(found.value, np.linalg.lstsq(design, y, rcond=None)[0], rtol=1e-7)
    assert_allclose(found.covariance, 0.01 * np.linalg.inv(design.T @ design), rtol=1e-6)
    ends = profile(found, 1, share=0.95)
    assert_allclose(ends.high - found.value[1], 1.959964 * found.standard_uncertainty[1], rtol=1e-5)
    assert_allclose(found.value[1] - ends.low, 1.959964 * found.standard_uncertainty[1], rtol=1e-5)


def test_a_covariance_of_the_readings_is_taken_whole():
    x = np.array([0.0, 1.0, 2.0])
    covariance = 0.04 * np.array([[1, 0.5, 0], [0.5, 1, 0], [0, 0, 1]])
    found = fit(lambda p: p[0] + p[1] * x, [1, 2.1, 3.0], covariance, [0, 0], uncertainty_known=True)
    design, weight = np.stack([np.ones(3), x], axis=1), np.linalg.inv(covariance)
    assert_allclose(found.covariance, np.linalg.inv(design.T @ weight @ design), rtol=1e-6)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (dict(uncertainty=0.0), "must be above 0"),
        (dict(start=[20, 5], upper=[100, 1]), "within the bounds"),
        (dict(lower=[1, 1], upper=[0, 2]), "lower bound"),
        (dict(prior_mean=[1, 1]), "mean and an uncertainty"),
        (dict(observed=[1, 2]), "must give the 2 values"),
    ],
)
def test_a_fit_that_cannot_be_is_refused(change, words):
    given = dict(observed=DEMAND, uncertainty=1.0, start=[20.0, 0.5], uncertainty_known=True) | change
    with pytest.raises(SurveyError, match=words):
        fit(saturating(HOURS), **given)


def test_the_steady_series_has_the_known_ratio():
    assert_allclose(von_neumann_ratio(SERIES), 1.4522121, rtol=1e-7)
    assert_allclose(steady_probability_von_neumann(SERIES), 0.1114339, rtol=1e-6)
    assert_allclose(mean_uncertainty_batches(SERIES, 5), 0.0714143, rtol=1e-6)


def test_the_ratio_of_unrelated_values_is_distributed_as_stated():
    generator = np.random.default_rng(7)
    n, runs = 20, 4000
    ratio = np.array([von_neumann_ratio(x) for x in generator.standard_normal((runs, n))])
    mean, variance = 2 * n / (n - 1), 4 * n**2 * (n - 2) / ((n + 1) * (n - 1) ** 3)
    assert abs(ratio.mean() - mean) < 4 * np.sqrt(variance / runs)
    assert_allclose(ratio.var(), variance, rtol=0.1)
    small = np.mean([steady_probability_von_neumann(x) < 0.05 for x in generator.standard_normal((runs, n))])
    assert abs(small - 0.05) < 0.015


def test_a_drift_is_found():
    generator = np.random.default_rng(8)
    drifting = np.linspace(0, 3, 30) + 0.3 * generator.standard_normal(30)
    assert steady_probability_von_neumann(drifting) < 1e-4


def test_what_is_left_over_after_the_batches_is_dropped():
    assert mean_uncertainty_batches([*SERIES, 1e9], 5) == mean_uncertainty_batches(SERIES, 5)


@pytest.mark.parametrize("series", [[1, 2], [1, 1, 1, 1], [1, np.nan, 3]])
def test_a_series_that_says_nothing_is_refused(series):
    with pytest.raises(SurveyError):
        von_neumann_ratio(series)


def test_typical_uncertainties_are_offered_as_assumed_and_in_the_tables_own_words(tmp_path):
    rows = typical_uncertainties()
    assert len(rows) >= 24 and all(r.status == "assumed" for r in rows)
    assert [r.method for r in typical_uncertainties("fan flow")] == ["pump curve and head", "meter", "clamp-on meter"]
    head = "stream,quantity,value,unit,uncertainty,coverage_factor,method,group,note\n"
    for row in rows:
        if row.quantity in ("flow", "consistency", "dryness", "moisture", "solids"):
            unit = row.unit or ("kg/s" if row.quantity in ("flow", "solids") else "%")
            place = tmp_path / "row.csv"
            for stated in (row.low, row.high):
                place.write_text(f"{head}a,{row.quantity},50,{unit},{stated},1,{row.method.replace(',', ';')},,\n")
                assert read_survey(place).readings[0].standard_uncertainty > 0
