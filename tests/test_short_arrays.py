"""What short arrays of the bell curve do without scipy is what scipy says of long ones."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import special

from thinstock.formula import bell

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
