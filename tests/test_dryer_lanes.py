"""Dryers side by side end where each ends alone, whatever holds the moisture and wherever its bounds lie."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from drying_cases import CIRCUMFERENCE, DRYER
from thinstock.kernels import dryer as kernel
from thinstock.kernels.dryer_input import in_columns
from thinstock.kernels.dryer_lanes import alike, dry_lanes
from thinstock.kernels.dryer_march import CONVERGED, MARCHES, ROW, STATUS
from thinstock.kernels.dryer_search import Way, dry_cases
from thinstock.kernels.dryer_start import TOGETHER, no_start, surface_of
from thinstock.kernels.lane_numbers import lane_numpy

STEPS = np.array([6, 8, 2])


def rows_of(cases: int, **changed: Any) -> Any:
    """Random dryers near the reference one."""
    random = np.random.default_rng(7)
    given = {name: DRYER.get(name, 0.0) for name in ROW} | {"heat_recovery": -1.0, "uneven_variance": 0.02}
    given |= {"lowest": 373.15, "highest": 793.15}
    spread = ("moisture_ratio", "yankee_speed", "hood_factor", "grammage", "jet_velocity", "exhaust_humidity")
    given |= {name: given[name] * random.uniform(0.93, 1.07, cases) for name in spread}
    _, columns = in_columns(given | changed)
    return np.stack([np.broadcast_to(column, (cases,)) for column in columns], axis=1)


def both_ways(rows: Any, hold: int, tolerance: float = 1e-5) -> tuple[Any, Any]:
    """Results side by side and one by one."""
    way = Way(STEPS, tolerance, hold, 0)
    assert alike(rows, way)
    found = []
    for dry in (dry_lanes, dry_cases):
        out = np.empty((len(rows), len(kernel.FIELDS)))
        dry(rows.copy(), way, no_start(len(rows)), out)
        found.append(out)
    return found[0], found[1]


@pytest.mark.parametrize(
    ("cases", "hold", "changed"),
    [
        (10_000, 1, {}),
        (500, 1, {"isotherm": 1.0}),
        (500, 2, {"lowest": 2e5, "highest": 1.1e6}),
        (500, 0, {}),
        (500, 1, {"highest": 690.0}),
        (500, 1, {"lowest": 700.0}),
        (500, 1, {"heat_recovery": 0.6, "gas_fired": 0.0}),
        (500, 1, {"uneven_variance": 0.0, "open_length_before": 0.0}),
        (500, 2, {"hood_length": 0.0, "lowest": 2e5, "highest": 1.6e6, "open_length_after": 0.6 * CIRCUMFERENCE}),
        (37, 1, {"moisture_ratio": 0.6}),
    ],
)
def test_a_case_among_others_side_by_side_ends_as_it_does_alone(cases: int, hold: int, changed: Any) -> None:
    side_by_side, alone = both_ways(rows_of(cases, **changed), hold)
    np.testing.assert_array_equal(side_by_side[:, [STATUS, CONVERGED, MARCHES]], alone[:, [STATUS, CONVERGED, MARCHES]])
    np.testing.assert_allclose(side_by_side, alone, rtol=1e-9, atol=1e-9)


def test_bounds_of_both_kinds_are_among_what_is_compared() -> None:
    for bound, wanted in (({"highest": 690.0}, 1.0), ({"lowest": 700.0}, -1.0)):
        side_by_side, _ = both_ways(rows_of(100, **bound), 1)
        assert wanted in side_by_side[:, STATUS] and 0.0 in side_by_side[:, STATUS]


def test_cases_of_unlike_stretches_or_isotherms_are_not_put_side_by_side() -> None:
    way = Way(STEPS, 1e-5, 1, 0)
    assert not alike(rows_of(2, open_length_before=np.array([0.0, 0.5])), way)
    assert not alike(rows_of(2, isotherm=np.array([0.0, 1.0])), way)
    assert not alike(rows_of(2), way._replace(spots=5))


def test_the_numbers_of_lanes_are_those_of_numpy() -> None:
    own = lane_numpy()
    for x in [0.0, *np.geomspace(1e-9, 600.0, 60)]:
        for signed in (x, -x):
            assert own.exp(float(signed)) == pytest.approx(np.exp(signed), rel=3e-15, abs=1e-300)
            assert own.expm1(float(signed)) == pytest.approx(np.expm1(signed), rel=3e-15, abs=1e-300)
    for x in np.geomspace(1e-12, 1e12, 97):
        assert own.log(float(x)) == pytest.approx(np.log(x), rel=2e-15, abs=2e-16)
        assert own.power(float(x), 1.877) == pytest.approx(x**1.877, rel=3e-14)
        assert own.sqrt(float(x)) == np.sqrt(x)


def test_a_surface_tells_of_each_case_what_it_tells_of_all_together() -> None:
    rows = rows_of(2600)
    surface = surface_of(list(rows.T), Way(STEPS, 1e-5, 1, 0))
    assert surface is not None and max(fit.order for fit in surface.fits.values()) == 3
    together = surface.at(rows)
    for case in (0, 1, TOGETHER - 1, TOGETHER, 2599):
        np.testing.assert_allclose(together[case], surface.at(rows[case : case + 1])[0], rtol=1e-10)
    found = np.empty((len(rows), len(kernel.FIELDS)))
    solved = together.copy()
    dry_lanes(rows, Way(STEPS, 1e-5, 1, 0), solved, found)
    inside = (found[:, STATUS] == 0.0) & (found[:, CONVERGED] > 0.0)
    assert inside.sum() > 1000 and np.median(np.abs(solved[inside, 0] - together[inside, 0])) < 0.05
