"""What short arrays and single numbers do without scipy is what scipy says of long ones."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize, special

from thinstock.formula import bell
from thinstock.formula.roots import root_between

SCORES = np.linspace(-8.0, 8.0, 401)


@pytest.mark.parametrize("size", [1, 400, bell.FEW + 1])
def test_the_bell_curve_is_the_same_for_short_and_long_arrays(size):
    z = np.resize(SCORES, size)
    assert bell.erf(z) == pytest.approx(special.erf(z), rel=4e-16, abs=1e-300)
    assert bell.below(z) == pytest.approx(special.ndtr(z), rel=4e-15)
    assert bell.above(z) == pytest.approx(special.ndtr(-z), rel=4e-15)
    share = special.ndtr(z)
    assert bell.score_at(share) == pytest.approx(special.ndtri(share), rel=4e-15, abs=1e-15)


def test_a_share_of_nothing_or_all_lies_at_no_end():
    assert bell.score_at([0.0, 0.5, 1.0]).tolist() == [-math.inf, 0.0, math.inf]


def test_one_number_keeps_its_shape():
    assert bell.erf(0.3).shape == () and float(bell.above(0.0)) == 0.5
    assert bell.below(np.zeros((2, 3))).shape == (2, 3)


FUNCTIONS = {
    "bent": (lambda x: math.cos(x) - x, 0.0, 2.0),
    "flat at one end": (lambda x: x**9 - 0.3, 0.0, 5.0),
    "steep at one end": (lambda x: math.exp(20 * x) - 5, -3.0, 3.0),
    "steep in between": (lambda x: math.atan(50 * (x - 0.7)), -10.0, 3.0),
    "falling": (lambda x: 1.3 - math.log(x), 1e-6, 100.0),
    "with a jump": (lambda x: -1.0 if x < 0.123 else 2.0, 0.0, 1.0),
}


@pytest.mark.parametrize(("function", "low", "high"), FUNCTIONS.values(), ids=FUNCTIONS)
def test_a_root_is_found_as_closely_as_by_scipy_and_in_few_steps(function, low, high):
    asked: list[float] = []

    def counted(x: float) -> float:
        asked.append(x)
        return function(x)

    found = root_between(counted, low, high, 1e-12)
    assert found == pytest.approx(optimize.brentq(function, low, high, xtol=1e-13, rtol=1e-14), abs=1e-12)
    assert len(asked) <= 60


def test_two_places_on_the_same_side_are_refused():
    with pytest.raises(ValueError, match="no change of sign"):
        root_between(lambda x: x, 1.0, 2.0, 1e-12)
