"""Distributions, Monte Carlo, first order, indices and the one-at-a-time picture, against printed and exact answers."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import integrate, stats

from thinstock.errors import Refused
from thinstock.evidence.inputs import Drawer, philox
from thinstock.studies import (
    Arcsine,
    CurvilinearTrapezoid,
    Lognormal,
    LogUniform,
    Normal,
    Rectangular,
    Student,
    Triangular,
    first_order,
    inputs_from_reconciliation,
    interval_shortest,
    interval_symmetric,
    propagate,
    sobol_indices,
    tornado,
)
from thinstock.survey import Network, Reading, Survey, network_from_streams, read_survey, reconcile

DATA = Path(__file__).parent / "data"
ALL = [
    Normal(5.0, 0.4),
    Rectangular(-1.0, 3.0),
    Triangular(0.0, 1.0, 4.0),
    Triangular(0.0, 0.0, 2.0),
    Arcsine(-2.0, 5.0),
    Student(1.0, 0.5, 6),
    Lognormal(2.0, 1.6),
    LogUniform(1.0, 5.0),
    CurvilinearTrapezoid(1.0, 5.0, 0.7),
]
ROOT3 = math.sqrt(3.0)
UNIT = Rectangular(-ROOT3, ROOT3)
"""Standard deviation 1."""


def four(distributions):
    return dict(zip("abcd", distributions, strict=True))


def added(a, b, c, d):
    return a + b + c + d


@pytest.mark.parametrize("distribution", ALL, ids=str)
def test_mean_and_spread_are_the_integrals_over_the_quantile(distribution):
    mean = integrate.quad(distribution.quantile, 0, 1, limit=400, epsabs=1e-10)[0]
    square = integrate.quad(lambda p: (distribution.quantile(p) - mean) ** 2, 0, 1, limit=400, epsabs=1e-10)[0]
    assert_allclose(distribution.mean, mean, rtol=1e-5)
    assert_allclose(distribution.standard_deviation, math.sqrt(square), rtol=1e-4)


@pytest.mark.parametrize("distribution", ALL, ids=str)
def test_samples_follow_the_quantile(distribution):
    sample = distribution.sample(philox(11), 20_000)
    assert sample.shape == (20_000,)
    grid = np.linspace(0.0005, 0.9995, 999)
    below = np.searchsorted(np.sort(sample), distribution.quantile(grid)) / sample.size
    assert np.max(np.abs(below - grid)) < 1.95 / math.sqrt(sample.size)
    assert distribution.sample(philox(11), (3, 4)).shape == (3, 4)


@pytest.mark.parametrize("distribution", ALL, ids=str)
def test_quantiles_take_numbers_and_arrays_and_never_fall(distribution):
    p = np.linspace(0.01, 0.99, 25)
    values = distribution.quantile(p)
    assert isinstance(distribution.quantile(0.3), float)
    assert_allclose([distribution.quantile(float(q)) for q in p], values)
    assert np.all(np.diff(values) > 0)
    with pytest.raises(Refused, match="between 0 and 1"):
        distribution.quantile(1.2)


def test_distributions_agree_with_a_general_library():
    p = np.array([0.01, 0.2, 0.5, 0.77, 0.99])
    assert_allclose(Student(1.0, 0.5, 6).quantile(p), 1 + 0.5 * stats.t(6).ppf(p))
    assert_allclose(Triangular(0.0, 1.0, 4.0).quantile(p), stats.triang(0.25, 0, 4).ppf(p))
    assert_allclose(Arcsine(-2.0, 5.0).quantile(p), stats.arcsine(-2, 7).ppf(p))
    assert_allclose(Lognormal(2.0, 1.6).quantile(p), stats.lognorm(math.log(1.6), scale=2).ppf(p))


def test_the_inexact_limits_have_the_stated_variance_and_distribution():
    d = CurvilinearTrapezoid(1.0, 5.0, 0.7)
    assert_allclose(d.standard_deviation**2, 16 / 12 + 0.49 / 9)
    half = np.linspace(1.3, 2.7, 20_001)
    for t in (0.3, 1.3, 1.9, 2.6):
        mixed = np.mean(np.clip(0.5 + t / (2 * half), 0, 1))
        assert_allclose(d.share_below(3.0 + t), mixed, atol=2e-5)
        assert_allclose(d.share_below(3.0 - t), 1 - d.share_below(3.0 + t))
    assert (d.quantile(0.0), d.quantile(1.0)) == pytest.approx((0.3, 5.7), abs=1e-6)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Normal(1.0, 0.0), "Normal.spread"),
        (lambda: Normal(math.nan, 1.0), "Normal.centre"),
        (lambda: Rectangular(2.0, 1.0), "Rectangular.low"),
        (lambda: Triangular(0.0, 5.0, 4.0), "Triangular.mode"),
        (lambda: Arcsine(1.0, 1.0), "Arcsine.low"),
        (lambda: Student(0.0, 1.0, 0.5), "Student.degrees_of_freedom"),
        (lambda: Lognormal(-1.0, 2.0), "Lognormal.median"),
        (lambda: Lognormal(1.0, 1.0), "Lognormal.factor"),
        (lambda: CurvilinearTrapezoid(0.0, 1.0, 0.6), "CurvilinearTrapezoid.inexactness"),
    ],
)
def test_a_distribution_that_cannot_be_is_refused(make, words):
    with pytest.raises(Refused, match=words):
        make()


def test_the_intervals_of_a_small_sample_are_known():
    sample = np.arange(1, 101) ** 2 / 100
    assert interval_symmetric(sample, 0.95) == (0.09, 96.04)
    assert interval_shortest(sample, 0.95) == (0.01, 92.16)


@given(st.lists(st.floats(-1e6, 1e6), min_size=20, max_size=60), st.floats(0.3, 0.9))
def test_the_shortest_interval_is_never_the_longer_one(sample, share):
    symmetric, shortest = interval_symmetric(sample, share), interval_shortest(sample, share)
    assert shortest[1] - shortest[0] <= symmetric[1] - symmetric[0]
    inside = np.sum((np.array(sample) >= shortest[0]) & (np.array(sample) <= shortest[1]))
    assert inside >= math.floor(share * len(sample) + 0.5)


# Printed values of JCGM 101:2008, from memory: u, ends of the 95 % interval, first order.
SUMS = [
    ("9.2.2", four([Normal(0, 1)] * 4), "2.00", "3.92", "2.00"),
    ("9.2.3", four([UNIT] * 4), "2.00", "3.88", "2.00"),
    ("9.2.4", four([UNIT, UNIT, UNIT, Rectangular(-10 * ROOT3, 10 * ROOT3)]), "10.1", "17.0", "10.149"),
]


@pytest.mark.parametrize(("where", "inputs", "spread", "end", "slopes"), SUMS, ids=[row[0] for row in SUMS])
def test_sums_agree_with_the_printed_examples(where, inputs, spread, end, slopes):
    found = propagate(added, inputs, seed=5, draws=1_000_000)
    wide = 5 if spread == "10.1" else 1
    assert abs(found.standard_uncertainty - float(spread)) < 0.01 * wide
    assert abs(found.symmetric[0] + float(end)) < 0.03 * wide and abs(found.symmetric[1] - float(end)) < 0.03 * wide
    assert abs(found.shortest[1] - found.shortest[0] - 2 * float(end)) < 0.1 * wide
    assert abs(found.first_order_uncertainty - float(slopes)) < 5e-4 * (10 if len(slopes) < 5 else 1)
    assert found.draws == 1_000_000 and found.settled


MASS = {
    "m": Normal(100_000, 0.05),
    "delta": Normal(1.234, 0.02),
    "a": Rectangular(1.1, 1.3),
    "rho_w": Rectangular(7000, 9000),
    "rho_r": Rectangular(7950, 8050),
}


def mass(m, delta, a, rho_w, rho_r):
    return (m + delta) * (1 + (a - 1.2) * (1 / rho_w - 1 / rho_r)) - 1e5


def test_the_mass_calibration_agrees_with_the_printed_example():
    found = propagate(mass, MASS, seed=6, draws=1_000_000)
    assert abs(found.mean - 1.2341) < 4e-4
    assert abs(found.standard_uncertainty - 0.0754) < 3e-4
    assert_allclose(found.shortest, [1.0834, 1.3825], atol=2.5e-3)
    assert abs(found.first_order_uncertainty - 0.0539) < 5e-5
    assert any("disagree by more than 10 %" in note for note in found.notes)


def test_draws_go_on_until_the_digits_stand_firm():
    two = propagate(added, four([Normal(0, 1)] * 4), seed=1, digits=2)
    three = propagate(added, four([Normal(0, 1)] * 4), seed=1, digits=3)
    assert two.settled and three.settled and two.draws < three.draws
    assert abs(two.standard_uncertainty - 2.0) < 0.05 and abs(two.symmetric[1] - 3.92) < 0.1
    assert abs(three.standard_uncertainty - 2.0) < 0.01 and abs(three.symmetric[1] - 3.92) < 0.01
    few = propagate(added, four([Normal(0, 1)] * 4), seed=1, digits=3, most=30_000)
    assert not few.settled and few.draws == 30_000
    assert any("do not yet stand firm" in note for note in few.notes)


def test_the_same_seed_gives_the_same_and_another_seed_another_answer():
    first, again, other = (propagate(added, four([Normal(0, 1)] * 4), seed=s, draws=5000) for s in (1, 1, 2))
    assert first == again and first.mean != other.mean


def test_correlation_is_seen_by_both_ways():
    inputs = {"a": Normal(0, 1), "b": Normal(0, 2)}
    for r in (-1.0, -0.5, 0.8):
        found = propagate(lambda a, b: a + b, inputs, seed=3, draws=200_000, correlation={("a", "b"): r})
        want = math.sqrt(1 + 4 + 4 * r)
        assert_allclose(found.first_order_uncertainty, want, rtol=1e-9)
        assert_allclose(found.standard_uncertainty, want, rtol=0.01)


def test_the_copula_keeps_each_inputs_own_distribution():
    inputs = {"a": Rectangular(0, 1), "b": Lognormal(1, 2), "c": Triangular(0, 1, 2)}
    drawn = Drawer(inputs, {("a", "b"): 0.7}).draw(philox(3), 20_000)
    for name, distribution in inputs.items():
        below = np.searchsorted(np.sort(drawn[name]), distribution.quantile(np.linspace(0.05, 0.95, 19))) / 20_000
        assert_allclose(below, np.linspace(0.05, 0.95, 19), atol=0.015)
    rank = stats.spearmanr(drawn["a"], drawn["b"]).statistic
    assert_allclose(rank, 6 / math.pi * math.asin(0.35), atol=0.02)
    assert abs(stats.spearmanr(drawn["a"], drawn["c"]).statistic) < 0.03


@pytest.mark.parametrize(
    ("correlation", "words"),
    [
        ({("a", "z"): 0.5}, "is no input"),
        ({("a", "b"): 1.5}, "between -1 and 1"),
        ({("a", "a"): 0.5}, "between -1 and 1"),
        ({("a", "b"): 0.9, ("b", "c"): 0.9, ("a", "c"): -0.9}, "cannot all hold at once"),
    ],
)
def test_correlations_that_cannot_be_are_refused(correlation, words):
    with pytest.raises(Refused, match=words):
        propagate(added, four([Normal(0, 1)] * 4), seed=1, draws=100, correlation=correlation)


def test_cases_without_a_number_are_refused_with_the_first_of_them():
    with pytest.raises(Refused, match=r"give no number.*First such case: a = -"), np.errstate(invalid="ignore"):
        propagate(lambda a: np.sqrt(a), {"a": Normal(0, 1)}, seed=1, draws=100)
    with pytest.raises(Refused, match="100 numbers"):
        propagate(lambda a: a[:3], {"a": Normal(0, 1)}, seed=1, draws=100)


def test_two_repeats_have_no_finite_spread_for_first_order_but_monte_carlo_goes_on():
    with pytest.raises(Refused, match="no finite spread"):
        first_order(lambda a: a, {"a": Student(0, 1, 2)})
    found = propagate(lambda a: np.arctan(a), {"a": Student(0, 1, 2)}, seed=1, draws=20_000)
    assert math.isnan(found.first_order_uncertainty) and 0.3 < found.standard_uncertainty < 1.2


def test_first_order_is_exact_for_a_straight_line():
    value, spread = first_order(lambda a, b: 3 + 2 * a - b, {"a": Normal(1, 0.1), "b": Rectangular(0, 6)})
    assert value == pytest.approx(2.0)
    assert spread == pytest.approx(math.hypot(0.2, math.sqrt(3)))


def reconciled_machine():
    machine = tomllib.loads((DATA / "reference_tissue_machine.toml").read_text(encoding="utf-8"))
    same = [("forming_water", "white_water"), ("forming_water", "overflow"), ("fan", "jet"), ("fan", "reject")]
    network = network_from_streams(machine["stream"], machine["components"], ["wire_shower", "felt_shower"], same)
    return reconcile(network, read_survey(DATA / "survey_reference_machine.csv"))


def test_reconciled_flows_are_drawn_with_what_ties_them():
    found = reconciled_machine()
    keys = [("fan", "flow"), ("jet", "flow"), ("reject", "flow")]
    inputs, correlation = inputs_from_reconciliation(found, keys)
    assert list(inputs) == ["fan_flow", "jet_flow", "reject_flow"]
    assert inputs["jet_flow"].mean == found.value["jet", "flow"]
    assert correlation["fan_flow", "jet_flow"] > 0.9

    def remainder(fan_flow, jet_flow, reject_flow):
        return fan_flow - jet_flow - reject_flow

    closed = propagate(remainder, inputs, seed=1, draws=20_000, correlation=correlation)
    assert closed.standard_uncertainty < 1e-6 * inputs["jet_flow"].standard_deviation
    loose = propagate(remainder, inputs, seed=1, draws=2000)
    assert loose.standard_uncertainty > inputs["jet_flow"].standard_deviation


def test_reconciled_values_take_names_of_your_own_and_refuse_what_is_not_known():
    network = Network({"one": (["a"], ["b"]), "two": (["c", "d"], ["e"])})
    read = (("a", 5.0), ("b", 5.1), ("c", 2.0))
    found = reconcile(network, Survey(tuple(Reading(s, "flow", v, 0.1) for s, v in read)))
    inputs, correlation = inputs_from_reconciliation(found, {"x": ("a", "flow"), "y": ("b", "flow")})
    assert correlation == {("x", "y"): pytest.approx(1.0)} and inputs["x"].mean == pytest.approx(5.05)
    with pytest.raises(Refused, match="d flow: cannot be observed"):
        inputs_from_reconciliation(found, [("d", "flow")])
    with pytest.raises(Refused, match="no reconciled value"):
        inputs_from_reconciliation(found, [("z", "flow")])


ISHIGAMI = {name: Rectangular(-math.pi, math.pi) for name in ("x", "y", "z")}


def ishigami(x, y, z):
    return np.sin(x) + 7 * np.sin(y) ** 2 + 0.1 * z**4 * np.sin(x)


def test_the_indices_of_a_known_function_are_met():
    found = sobol_indices(ishigami, ISHIGAMI, base=2**13, seed=4)
    assert_allclose(list(found.first.values()), [0.3139052, 0.4424111, 0], atol=0.02)
    assert_allclose(list(found.total.values()), [0.5575889, 0.4424111, 0.2436837], atol=0.02)
    assert_allclose(found.variance, 13.8445879, rtol=0.02)
    assert_allclose(found.mean, 3.5, atol=0.05)
    assert found.evaluations == 5 * 2**13


def test_an_input_that_does_nothing_has_no_share():
    found = sobol_indices(lambda a, b: a + 0 * b, {"a": Normal(0, 1), "b": Normal(0, 1)}, base=256, seed=1)
    assert found.total["b"] == 0.0 and found.total["a"] == pytest.approx(1.0, abs=0.05)


def test_indices_of_correlated_inputs_are_refused():
    with pytest.raises(Refused, match=r"x-y.*independent.*group"):
        sobol_indices(ishigami, ISHIGAMI, base=64, seed=1, correlation={("x", "y"): 0.5})
    with pytest.raises(Refused, match=r"power of two.*Nearest: 128"):
        sobol_indices(ishigami, ISHIGAMI, base=100, seed=1)
    with pytest.raises(Refused, match="does not depend"):
        sobol_indices(lambda x, y, z: 1.0, ISHIGAMI, base=64, seed=1)


def test_one_at_a_time_gives_the_known_ends_largest_first():
    ends = tornado(lambda a, b: a * b, {"a": Normal(2, 0.1), "b": Rectangular(1, 3)}, low=0.05, high=0.95)
    assert list(ends) == ["b", "a"]
    assert_allclose(ends["b"], (2.2, 5.8))
    assert_allclose(ends["a"], (3.671029, 4.328971), atol=5e-7)
    with pytest.raises(Refused, match="0 < low < high < 1"):
        tornado(lambda a: a, {"a": Normal(0, 1)}, low=0.9, high=0.1)


def test_base_points_without_a_number_are_set_aside_whole_and_counted() -> None:
    def sometimes_nothing(a: Any, b: Any) -> Any:
        return np.where(np.asarray(a) > 0.995, np.nan, a + 2.0 * b)

    inputs = {"a": Rectangular(0.0, 1.0), "b": Rectangular(0.0, 1.0)}
    with pytest.raises(Refused, match="give no number"):
        sobol_indices(sometimes_nothing, inputs, base=2048, seed=1)
    found = sobol_indices(sometimes_nothing, inputs, base=2048, seed=1, allowed=0.02)
    assert 0 < found.set_aside < 0.02 * 2048
    assert found.first["a"] == pytest.approx(0.2, abs=0.03)
    assert found.first["b"] == pytest.approx(0.8, abs=0.03)
