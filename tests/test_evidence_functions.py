"""The functions of evidence: worked numbers, limits and properties. Numbers were worked apart with numpy and scipy."""

from __future__ import annotations

import numpy as np
import pytest

from thinstock.errors import Refused
from thinstock.evidence import (
    conditional_normal,
    constant_at,
    digest,
    fixing_share,
    population_walk,
    randomised_fits,
    score_posterior,
    shapley_variance,
    walk,
)
from thinstock.studies import (
    LogUniform,
    TwoPiece,
    central_interval,
    gain_for,
    link_correlation,
    position_in_draws,
    spread_removed,
    uncertainty_after,
    value_of_knowing,
    value_of_knowing_input,
    value_of_knowing_normal,
    value_of_reading_normal,
)
from thinstock.survey import (
    joint_change,
    noncentrality_for,
    power_global,
    power_largest,
    separation,
    smallest_error_found,
    step_down_change,
    suspect_odds,
    suspect_set,
)

EXACT = 1e-9
R93 = [[1.0, -0.93], [-0.93, 1.0]]
THREE = ([1.0, 2.0, 0.5], [[1.0, 0.5, 0.0], [0.5, 1.0, 0.0], [0.0, 0.0, 4.0]])


def generator(seed: int = 1) -> np.random.Generator:
    return np.random.Generator(np.random.Philox(key=seed))


def close(found: object, wanted: object, rel: float = EXACT) -> None:
    np.testing.assert_allclose(np.asarray(found, dtype=float), np.asarray(wanted, dtype=float), rtol=rel, atol=1e-15)


# -- beliefs and intervals -------------------------------------------------------------------------------------------


def test_a_range_of_a_factor_has_its_moments_and_points() -> None:
    wide, even = LogUniform(1, 5), LogUniform(0.5, 2)
    close([wide.mean, wide.standard_deviation], [2.4853397382384474, 1.1309755082441828])
    close(wide.quantile([0.05, 0.5, 0.95]), [1.0837983867343681, 2.23606797749979, 4.613404172952941])
    close(
        [even.mean, even.standard_deviation, even.quantile(0.25)],
        [1.0820212806667227, 0.4263291557209624, 0.7071067811865476],
    )


def test_a_middle_with_unequal_ends_has_its_moments_and_points() -> None:
    plain, factor = TwoPiece(2, 3, 7), TwoPiece(2, 3, 7, True)
    close([plain.mean, plain.standard_deviation], [3.727619054725535, 1.6162513237983682])
    close(plain.quantile([0.25, 0.75]), [2.5899393483138295, 4.640242606744682])
    close([factor.mean, factor.standard_deviation], [3.63206457338843, 1.7183062642886906])
    close(factor.quantile([0.25, 0.75]), [2.5404646622708884, 4.246333061615755])
    rewet = TwoPiece(0.0025, 0.005, 0.01, True)
    close(
        [rewet.mean, rewet.standard_deviation, rewet.quantile(0.025)],
        [0.00546425830040623, 0.0024087697055298596, 0.002189125401793485],
    )


def test_one_side_of_a_middle_may_be_nothing() -> None:
    one = TwoPiece(3, 3, 7)
    assert one.quantile(0.2) == 3.0
    assert one.quantile(0.0) == 3.0
    close(one.quantile(0.95), 7.0)
    with pytest.raises(Refused):
        TwoPiece(4, 3, 7)
    with pytest.raises(Refused):
        TwoPiece(-1, 3, 7, True)


def test_an_interval_is_three_order_statistics_and_takes_never() -> None:
    squares = np.arange(1, 101) ** 2 / 100
    assert central_interval(squares, 0.90) == (0.25, 25.0, 90.25)
    assert central_interval(squares, 0.95) == (0.09, 25.0, 96.04)
    assert central_interval([1, 2, 3, np.inf], 0.9) == (1.0, 2.0, np.inf)
    with pytest.raises(Refused):
        central_interval([1.0, np.nan], 0.9)


def test_the_interval_is_the_same_on_the_logarithm() -> None:
    draws = generator().standard_normal(501)
    low, middle, high = central_interval(draws, 0.9)
    close(central_interval(np.exp(draws), 0.9), np.exp([low, middle, high]))


def test_the_place_of_a_value_counts_half_of_its_equals() -> None:
    assert position_in_draws(40.3, [38, 40.3, 41, 42]) == 0.375


def test_two_inputs_are_linked_by_the_groups_both_are_in() -> None:
    close(link_correlation({"web": 0.5, "felt": 0.25}, {"web": 0.5, "felt": 0.25}), 0.75)
    close(link_correlation("web @ 0.5; felt @ 0.25", "web @ 0.5; nip @ 0.5"), 0.5)
    close(link_correlation({"a": 0.36}, {"a": -0.25}), -0.3)
    with pytest.raises(Refused):
        link_correlation("web @ 0.8; felt @ 0.4", {"web": 1.0})
    with pytest.raises(Refused):
        link_correlation("web", {"web": 1.0})


# -- normal laws -----------------------------------------------------------------------------------------------------


def test_what_is_known_of_a_normal_law_moves_the_rest() -> None:
    mean, covariance = conditional_normal([1, 2], [[4, 1.8], [1.8, 1]], [0], [3])
    close(mean, [3, 2.9])
    np.testing.assert_allclose(covariance, [[0, 0], [0, 0.19]], atol=1e-12)
    mean, covariance = conditional_normal([1, 2], [[4, 1.8], [1.8, 1]], np.array([[1.0, -1.0]]), 0, 0.5)
    close(mean, [2.1578947368421053, 2.4210526315789473])
    close(covariance, [[1.452631578947368, 0.8736842105263158], [0.8736842105263158, 0.6631578947368422]])


def test_readings_make_a_normal_law_narrower() -> None:
    mean, covariance = score_posterior([[1, 2], [0, 3]], np.diag([0.25, 1]), [1, -2])
    close(mean, [4 / 3, -1 / 3])
    close(covariance, [[0.3939393939393939, -0.12121212121212122], [-0.12121212121212122, 0.07575757575757576]])
    mean, covariance = score_posterior([[1, 2]], [[0.01]], [0.5], prior=[[1, 0.6], [0.6, 1]])
    close(mean, [0.14844804318489, 0.175438596491227], 1e-12)
    close(
        covariance,
        [[0.346828609986504, -0.171929824561403], [-0.171929824561403, 0.087719298245614]],
        1e-11,
    )


def test_readings_that_say_nothing_leave_the_prior() -> None:
    prior = np.array([[1.0, 0.6], [0.6, 1.0]])
    mean, covariance = score_posterior([[1, 2]], [[1e18]], [0.5], prior=prior)
    np.testing.assert_allclose(mean, 0, atol=1e-15)
    close(covariance, prior)


def test_shares_of_variance_of_correlated_inputs() -> None:
    close(fixing_share([1, 1], R93, [0]), 0.035)
    close(fixing_share([1, 1], R93, [0, 1]), 1.0)
    close(fixing_share(*THREE, [1]), 0.78125)
    close(shapley_variance(*THREE), [0.296875, 0.578125, 0.125])
    close(shapley_variance([1, 1], R93), [0.5, 0.5])
    with pytest.raises(Refused):
        shapley_variance(np.ones(13), np.eye(13))


def test_a_constant_moves_with_the_settings_by_its_exponents() -> None:
    close(constant_at(9.45e-15, [0.25, -0.5], [29.25, 0.0183], [32.5, 0.0155]), 8.470962127774317e-15)
    assert constant_at(9.45e-15, [0.25, -0.5], [32.5, 0.0155], [32.5, 0.0155]) == 9.45e-15


def test_the_fingerprint_of_values_knows_no_order() -> None:
    values = {"press.nip.a.rewet": 0.005, "stock.resistance_factor": 2.19}
    assert digest(values) == digest(dict(reversed(values.items()))) == "56e797f57927d2a6"


# -- draws that fit readings -----------------------------------------------------------------------------------------


def test_randomised_fits_are_exact_for_a_linear_model() -> None:
    slopes, covariance, misfit = np.array([[1.0, 2.0], [0.0, 3.0]]), np.diag([0.25, 1.0]), np.array([1.0, -2.0])
    centre, _ = score_posterior(slopes, covariance, misfit)
    draws = randomised_fits(
        lambda z: z @ slopes.T, misfit, covariance, centre=centre, slopes=slopes, draws=200_000, passes=1,
        generator=generator(),
    )  # fmt: skip
    np.testing.assert_allclose(draws.mean(axis=0), [4 / 3, -1 / 3], atol=0.005)
    np.testing.assert_allclose(
        np.cov(draws, rowvar=False), [[0.3939393939, -0.1212121212], [-0.1212121212, 0.0757575758]], atol=0.005
    )


def bent(scores: np.ndarray) -> np.ndarray:
    return np.exp(0.3 * scores[:, :1] + 0.1 * scores[:, 1:])


def test_fits_and_a_walk_follow_a_model_that_bends_little() -> None:
    centre = np.array([0.95, 0.3167])
    slopes = bent(centre[None, :]) * np.array([[0.3, 0.1]])
    draws = randomised_fits(
        bent, [1.4], [[0.01]], centre=centre, slopes=slopes, draws=20_000, passes=5, generator=generator(2)
    )
    np.testing.assert_allclose(draws.mean(axis=0), [0.93693, 0.31231], atol=0.03)

    def energy(scores: np.ndarray) -> np.ndarray:
        return 0.5 * np.sum(scores**2, axis=1) + 0.5 * ((1.4 - bent(scores)[:, 0]) / 0.1) ** 2

    moved, accepted = population_walk(energy, draws, steps=15, generator=generator(3))
    assert 0.5 < accepted < 1.0
    np.testing.assert_allclose(moved.mean(axis=0), [0.93693, 0.31231], atol=0.02)
    np.testing.assert_allclose(moved.std(axis=0), [0.38344, 0.95143], atol=0.02)
    assert np.corrcoef(moved, rowvar=False)[0, 1] == pytest.approx(-0.77937, abs=0.01)


def test_a_walk_about_a_normal_law_reaches_it_and_never_what_cannot_be() -> None:
    def energy(scores: np.ndarray) -> np.ndarray:
        return np.where(scores[:, 0] > 0.0, 0.5 * np.sum(scores**2, axis=1), np.inf)

    draws, _ = walk(energy, [0.0, 0.0], np.eye(2), draws=20_000, steps=6, pace=0.5, generator=generator(4))
    assert np.all(draws[:, 0] > 0.0)
    assert draws[:, 0].mean() == pytest.approx(np.sqrt(2 / np.pi), abs=0.02)
    with pytest.raises(Refused):
        walk(lambda z: np.full(len(z), np.inf), [0.0], [[1.0]], draws=10, steps=1, pace=0.5, generator=generator())


@pytest.mark.slow
def test_intervals_of_invented_mills_hold_the_truth_as_often_as_they_say() -> None:
    """Five inputs, three readings that bend, two answers away from them: 95 % of 400 intervals, give or take chance."""
    draw = generator(11)

    def reads(z: np.ndarray) -> np.ndarray:
        x = np.exp(0.25 * z)
        return np.stack([x[:, 0] * x[:, 1], x[:, 1] / x[:, 2] + 0.3 * x[:, 3], x[:, 0] + x[:, 2]], axis=1)

    def answers(z: np.ndarray) -> np.ndarray:
        x = np.exp(0.25 * z)
        return np.stack([x[:, 0] ** 2 * x[:, 4] ** 0.3, x[:, 1] * x[:, 2] + x[:, 3]], axis=1)

    spread = np.array([0.05, 0.08, 0.06])
    inside = []
    for _ in range(200):
        truth = draw.standard_normal((1, 5))
        read = reads(truth)[0] + spread * draw.standard_normal(3)
        centre = np.zeros(5)
        for _ in range(6):
            step = 1e-4 * np.eye(5)
            slopes = (reads(centre + step) - reads(centre - step)).T / 2e-4
            centre, _ = score_posterior(slopes, np.diag(spread**2), read - reads(centre[None, :])[0] + slopes @ centre)
        fits = randomised_fits(reads, read, np.diag(spread**2), centre=centre, slopes=slopes, draws=300, passes=5,
                               generator=draw)  # fmt: skip

        def energy(z: np.ndarray, read: np.ndarray = read) -> np.ndarray:
            return 0.5 * np.sum(z**2, axis=1) + 0.5 * np.sum(((read - reads(z)) / spread) ** 2, axis=1)

        found, _ = population_walk(energy, fits, steps=9, generator=draw)
        low, high = np.quantile(answers(found), [0.025, 0.975], axis=0)
        inside += list((low <= answers(truth)[0]) & (answers(truth)[0] <= high))
    assert 0.92 <= np.mean(inside) <= 0.98


# -- detection -------------------------------------------------------------------------------------------------------


def test_power_of_the_global_test_and_its_inverse() -> None:
    close(power_global(10, 3, 0.05), 0.7610630637366885)
    close(power_global(18, 13, 0.05), 0.8042591494436573)
    close(power_global(0, 5, 0.05), 0.05)
    close(
        [noncentrality_for(0.8, dof, 0.05) for dof in (1, 8, 13)],
        [7.848860509326196, 15.022138420031522, 17.847176702681345],
    )
    close(noncentrality_for(0.5, 13, 0.05), 10.234884560741358)


def test_the_smallest_error_found_is_that_of_the_test_that_is_run() -> None:
    close(smallest_error_found(1, 1, 8, 0.05, 0.8), 3.8758403501733043)
    close(smallest_error_found(2, 0.25, 13, 0.05, 0.8), 16.89836759106931)
    assert np.isinf(smallest_error_found(1, 0.0, 8, 0.05, 0.8))
    close(power_largest(15, 19, 0.05), 0.808547300884514)


TIED = [9.6, 36.1, 36.1, 3.2666666666666666]


def test_odds_of_suspects_that_cannot_be_told_apart_are_equal() -> None:
    odds = suspect_odds(TIED, 100 * np.array([0.6, 0.4, 0.4, 0.6]), 0.05)
    close(odds, [1.0358949e-6, 0.4999988828, 0.4999988828, 4.5982772e-8, 1.1525534e-6], 1e-6)
    assert suspect_set(TIED, 3.84) == (1, 2)


def test_odds_add_up_and_follow_priors_and_reach() -> None:
    odds = suspect_odds([12, 9.5, 2], [50, 20, 80], [0.05, 0.1, 0.02])
    close(odds, [0.4685963703545998, 0.3754018833349392, 0.001113424796270014, 0.15488832151419094])
    assert odds.sum() == pytest.approx(1.0, abs=1e-15)
    assert suspect_set([12, 9.5, 2], 3.84) == (0, 1)
    reach_nothing = suspect_odds([12, 9.5, 2], [0, 0, 0], [0.05, 0.1, 0.02])
    close(reach_nothing, [0.05, 0.1, 0.02, 0.83])
    assert suspect_odds([12, 9.5, 2], np.full(3, 1e300), [0.05, 0.1, 0.02])[-1] == pytest.approx(1.0)


def test_a_reading_that_separates_suspects() -> None:
    close(separation([58.5, 67.5], [1, 1], [0.5, 0.5]), 20.25)
    close(separation([1, 2, 4], [1, 2, 1], [0.5, 0.3, 0.2]), 1.245)
    assert separation([3, 3], [1, 1], [0.5, 0.5]) == 0.0


def test_one_test_of_all_changes_together() -> None:
    statistic, rank, probability = joint_change([1, 2, 3], [[1, 0.5, 0], [0.5, 1, 0], [0, 0, 4]])
    close([statistic, probability], [6.25, 0.10006083311939494])
    assert rank == 3
    tied = [[1.0, 1.0], [1.0, 1.0]]
    assert joint_change([1, 1], tied)[1] == 1
    with pytest.raises(Refused):
        joint_change([1, 2], tied)


def test_changes_are_said_one_after_another() -> None:
    assert step_down_change([3.3, -1, 2.6], np.eye(3), significance=0.05, draws=20_000, seed=1).tolist() == [
        True, False, True,
    ]  # fmt: skip
    assert step_down_change([3.3, -1, 2.2], np.eye(3), significance=0.05, draws=20_000, seed=1).tolist() == [
        True, False, False,
    ]  # fmt: skip


# -- what knowing is worth -------------------------------------------------------------------------------------------


def test_what_knowing_is_worth_where_worth_is_normal() -> None:
    close(value_of_knowing_normal(1e6, 2e6), 395593.11480261217)
    close(value_of_knowing_normal(-3, 1), 0.0003821543170477275)
    close(spread_removed(2, 1), 1.7888543819998317)
    close(value_of_reading_normal(1e6, 2e6, 1.5, 0.5), 704784.3943712985)
    assert spread_removed(2, 1e12) < 1e-11
    assert value_of_knowing_normal(5, 0) == 0.0


def test_what_knowing_is_worth_over_draws() -> None:
    close([value_of_knowing([-2, 1, 4]), value_of_knowing([-2, -1, 2])], [2 / 3, 2 / 3])
    drawn = generator(5).standard_normal((20_000, 2))
    worth = 1 + 2 * drawn[:, 0] + drawn[:, 1]
    one = value_of_knowing_input(worth, drawn[:, 0])
    assert one == pytest.approx(0.3955931, abs=0.03)
    assert one <= value_of_knowing_input(worth, drawn) + 1e-9
    assert value_of_knowing_input(worth, drawn) == pytest.approx(value_of_knowing(worth), rel=0.02)


def test_a_reading_narrows_what_it_is_tied_to() -> None:
    close(uncertainty_after([1, 2, 3, 4], [2, 1, 4, 3], 1), 1.136515141415488)
    now = np.std([1, 2, 3, 4], ddof=1)
    close(uncertainty_after([1, 2, 3, 4], [7, 7, 7, 7], 1), now)
    assert uncertainty_after([1, 2, 3, 4], [1, 2, 3, 4], 0) == pytest.approx(0.0, abs=1e-9)
    both = uncertainty_after([1, 2, 3, 4], [[2, 1, 4, 3], [1, 2, 2, 4]], [1, 1])
    assert both <= uncertainty_after([1, 2, 3, 4], [2, 1, 4, 3], 1)


def test_the_gain_that_pays_often_enough() -> None:
    close(gain_for([0, 1, 2, 3], [0.1, 0.4, 0.8, 0.95], 0.9), 8 / 3)
    assert np.isinf(gain_for([0, 1], [0.1, 0.4], 0.9))
    assert gain_for([0.5, 1], [0.95, 1.0], 0.9) == 0.5
