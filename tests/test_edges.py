"""The search of where an answer turns over in many cases at once: close, on the good side, in few marches."""

from __future__ import annotations

import numpy as np
import pytest

import thinstock
from thinstock import library
from thinstock.case.formers import former
from thinstock.kernels import drainage
from thinstock.studies import trials
from thinstock.studies.edges import Edges, crossed
from thinstock.studies.ladder import SPEEDS, formers

PLACES = np.linspace(-2.9, 2.9, 40)


def searched(margin, low=-3.0, high=3.0, close=1e-6):
    """The edges of a margin of place and case, and at how many places each case was asked."""
    asked = np.zeros(PLACES.size)

    def counted(at, k):
        np.add.at(asked, k, 1)
        return margin(at, PLACES[k])

    every = np.arange(PLACES.size)
    places = np.repeat([low, high], PLACES.size).reshape(2, -1)
    known = counted(places.ravel(), np.tile(every, 2)).reshape(2, -1)
    return crossed(counted, Edges.among(places, known), close), asked


MARGINS = {
    "straight": lambda x, edge: x - edge,
    "bent": lambda x, edge: np.expm1(0.3 * (x - edge)),
    "kinked": lambda x, edge: np.where(x < edge - 0.2, 0.1 * (x - edge) - 0.3, 1.6 * (x - edge)),
    "with a jump": lambda x, edge: np.where(x < edge, np.tanh(x - edge), 2.0),
    "nothing but a jump": lambda x, edge: np.where(x < edge, -1.0, 1.0),
}


@pytest.mark.parametrize("margin", MARGINS.values(), ids=MARGINS)
def test_an_edge_is_found_on_its_good_side(margin):
    found, _ = searched(margin)
    assert np.all(margin(found, PLACES) >= 0.0)
    assert np.all(margin(found - 1e-6, PLACES) < 0.0)


@pytest.mark.parametrize(("name", "most"), [("straight", 8), ("bent", 16), ("kinked", 24), ("with a jump", 20)])
def test_a_smooth_margin_is_asked_few_times(name, most):
    _, asked = searched(MARGINS[name])
    assert asked.max() <= most


def test_an_edge_may_lie_the_other_way_round():
    found, _ = searched(lambda x, edge: np.where(x > edge, -np.tanh(x - edge), 1.0), low=3.0, high=-3.0)
    assert found == pytest.approx(PLACES, abs=1e-6) and np.all(found <= PLACES)


def test_of_several_places_the_bad_ones_next_to_the_edge_are_known():
    places = np.arange(4.0)[:, None] * np.ones(3)
    margins = np.array([[-3.0, 1.0, -3.0], [-2.0, -2.0, 1.0], [-1.0, -1.0, -1.0], [1.0, 1.0, 1.0]])
    edges = Edges.among(places, margins)
    assert np.array_equal(edges.good, [3.0, 3.0, 3.0])
    expected = [[2.0, 2.0, 2.0], [1.0, 1.0, np.nan], [0.0, np.nan, np.nan]]
    assert np.array_equal(edges.bad, expected, equal_nan=True)


@pytest.fixture
def cases(monkeypatch):
    """The cases of every drainage march."""
    found: list[int] = []
    march = drainage.march

    def counted(*given):
        found.append(given[3] - given[2])
        march(*given)

    monkeypatch.setattr(drainage, "march", counted)
    return found


def test_a_ladder_takes_few_marches(cases):
    formers(thinstock.load("facial-roll"), keys=library.NINE)
    rungs = len(library.NINE) + 1
    assert len(cases) <= 20 * rungs
    assert sum(cases) <= 20 * 3 * len(SPEEDS) * rungs


@pytest.mark.parametrize("key", ["flat_wire_foils", "wire_felt_s"])
def test_a_lowest_consistency_drains_and_a_hair_less_does_not(key):
    machine = thinstock.load("facial-roll")
    sheet, forming = trials.sheet_of(machine), former(key)
    speed = np.repeat([8.0, 20.0], 3)
    factor, memory = np.tile([1.0, 5.0, 1.0], 2), np.tile([0.0, 0.0, 1.0], 2)
    lowest = trials.lowest_consistency(sheet, forming, speed, factor, memory)
    at, below = (trials.trial(sheet, forming, speed, share * lowest, factor, memory) for share in (1.0, 1.0 - 2e-6))
    assert np.all(at.formed) and np.all(at.margin >= 0.0)
    assert not np.any(below.formed) and np.all(below.margin < 0.0)
