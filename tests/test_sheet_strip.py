"""Fibres on a raster: exact area against polygon clipping, periodic borders, the same bits for any threads."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from thinstock.errors import Refused
from thinstock.relations import network
from thinstock.sheet import deposit

Polygon = list[tuple[float, float]]


def clipped(polygon: Polygon, a: float, b: float, c: float) -> Polygon:
    """The part of a polygon with a x + b y <= c."""
    out: Polygon = []
    for (px, py), (qx, qy) in pairwise([*polygon, *polygon[:1]]):
        p, q = a * px + b * py - c, a * qx + b * qy - c
        if p <= 0:
            out.append((px, py))
        if p * q < 0:
            t = p / (p - q)
            out.append((px + t * (qx - px), py + t * (qy - py)))
    return out


def area(polygon: Polygon) -> float:
    if len(polygon) < 3:
        return 0.0
    return 0.5 * abs(sum(px * qy - py * qx for (px, py), (qx, qy) in pairwise([*polygon, *polygon[:1]])))


def rastered(polygon: Polygon, rows: int, columns: int) -> np.ndarray:
    out = np.zeros((rows, columns))
    low, high = (int(np.floor(f(y for _, y in polygon))) for f in (min, max))
    left, right = (int(np.floor(f(x for x, _ in polygon))) for f in (min, max))
    for i in range(low, high + 1):
        band = clipped(clipped(polygon, 0, 1, i + 1), 0, -1, -i)
        for j in range(left, right + 1):
            out[i % rows, j % columns] += area(clipped(clipped(band, 1, 0, j + 1), -1, 0, -j))
    return out


def strip(x: float, y: float, angle: float, length: float, width: float) -> Polygon:
    """The parallelogram whose ends are cut along the grid."""
    c, s = np.cos(angle), np.sin(angle)
    if abs(c) >= abs(s):
        slope, half, reach = s / c, 0.5 * width / abs(c), 0.5 * length * abs(c)
        ends = [(x - reach, y - slope * reach), (x + reach, y + slope * reach)]
        (ax, ay), (bx, by) = ends
        return [(ax, ay - half), (bx, by - half), (bx, by + half), (ax, ay + half)]
    turned = strip(y, x, np.pi / 2 - angle, length, width)
    return [(b, a) for a, b in turned]


def rectangle(x: float, y: float, angle: float, length: float, width: float) -> Polygon:
    c, s = np.cos(angle), np.sin(angle)
    corners = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    return [
        (x + 0.5 * (u * length * c - v * width * s), y + 0.5 * (u * length * s + v * width * c)) for u, v in corners
    ]


def some_fibres(number: int) -> list[tuple[float, float, float, float, float]]:
    generator = np.random.default_rng(11)
    found = []
    for k in range(number):
        x, y = generator.uniform(0, 40, 2)
        angle = generator.integers(-4, 5) * np.pi / 4 if k % 6 == 0 else generator.uniform(-4, 4)
        length = float(generator.choice([0.3, 2.0, 15.0, 35.0]))
        width = min(length, float(generator.choice([0.1, 1.2, 4.0])))
        found.append((float(x), float(y), float(angle), length, width))
    return found


@pytest.mark.parametrize("fibre", some_fibres(40), ids=str)
def test_a_single_fibre_covers_exactly_its_area_also_across_the_borders(fibre: tuple[float, ...]) -> None:
    drawn = deposit(*fibre, 1.0, 40, 40)
    assert np.abs(drawn - rastered(strip(*fibre), 40, 40)).max() <= 2e-5
    assert drawn.sum(dtype=float) == pytest.approx(fibre[3] * fibre[4], rel=2e-5)


def test_a_fibre_longer_than_the_sheet_winds_round_it() -> None:
    fibre = (7.3, 4.1, 0.4, 90.0, 1.7)
    drawn = deposit(*fibre, 1.0, 24, 31)
    assert np.abs(drawn - rastered(strip(*fibre), 24, 31)).max() <= 3e-5
    assert drawn.sum(dtype=float) == pytest.approx(90.0 * 1.7, rel=2e-5)


def test_a_very_wide_fibre_keeps_its_area() -> None:
    drawn = deposit(50.0, 50.0, 0.7, 60.0, 25.0, 2.0, 100, 100)
    assert drawn.sum(dtype=float) == pytest.approx(2 * 60.0 * 25.0, rel=2e-5)
    assert drawn[50, 50] == pytest.approx(2.0, abs=1e-5)


def test_ends_cut_along_the_grid_move_no_more_mass_than_their_triangles() -> None:
    """Against square ends each end moves a triangle of a quarter of width² tan(angle to the axis) / 2."""
    generator = np.random.default_rng(2)
    moved = []
    for _ in range(40):
        angle, length = generator.uniform(0, np.pi), generator.uniform(42, 98)
        fibre = (*generator.uniform(60, 61, 2), angle, length, 1.2)
        drawn = deposit(*fibre, 1.0, 120, 120)
        share = 0.5 * np.abs(drawn - rastered(rectangle(*fibre), 120, 120)).sum() / (length * 1.2)
        steep = min(abs(np.tan(angle)), abs(1 / np.tan(angle)))
        assert share <= 1.2 * steep / (4 * length) + 2e-5
        moved.append(share)
    assert 0.0005 < np.mean(moved) < 0.003
    assert max(moved) < 0.0094


def many(number: int, side: int, seed: int = 1) -> tuple[np.ndarray, ...]:
    generator = np.random.default_rng(seed)
    x, y = generator.uniform(0, side, (2, number))
    return x, y, generator.uniform(0, np.pi, number), generator.uniform(42, 98, number)


def test_the_same_bits_come_out_for_any_number_of_threads() -> None:
    fibres = many(20000, 900)
    one = deposit(*fibres, 1.2, 1.0, 900, 900, threads=1)
    for threads in (2, 3, 7):
        assert np.array_equal(one, deposit(*fibres, 1.2, 1.0, 900, 900, threads=threads))


def test_fibres_laid_together_are_the_sum_of_fibres_laid_alone() -> None:
    x, y, angle, length = many(60, 500, seed=4)
    together = deposit(x, y, angle, length, 1.2, 0.5, 500, 500, threads=2)
    alone = sum(deposit(x[k], y[k], angle[k], length[k], 1.2, 0.5, 500, 500).astype(float) for k in range(x.size))
    assert np.abs(together - alone).max() < 1e-5


def test_bare_pixels_are_as_many_as_integral_geometry_has_it() -> None:
    """4e5 fibres of 42 to 98 by 1.2 pixels on 4000 by 4000: 0.012440 for strips, 0.012384 for rectangles."""
    fibres = many(400000, 4000)
    drawn = deposit(*fibres, 1.2, 1.0, 4000, 4000, threads=None)
    density = 400000 / 4000**2
    wanted = network.bare_pixel_share_strip(density, 70.0, 1.2, 1.0)
    assert wanted == pytest.approx(0.012440, abs=5e-7)
    assert network.bare_pixel_share_rectangle(density, 70.0, 1.2, 1.0) == pytest.approx(0.012384, abs=5e-7)
    assert np.mean(drawn == 0) == pytest.approx(wanted, abs=4e-4)  # two runs differ by 1e-4
    above = np.mean(drawn < 1e-4) / np.mean(drawn == 0) - 1
    assert 0.01 < above < 0.05
    assert drawn.sum(dtype=float) == pytest.approx(fibres[3].sum() * 1.2, rel=1e-6)
    assert network.bare_pixel_share_rectangle(density, 70.0, 0.0, 1.0) == pytest.approx(0.105066, abs=5e-7)


def test_a_pixel_that_no_fibre_touches_is_exactly_zero() -> None:
    drawn = deposit(20.0, 20.0, 0.3, 20.0, 1.0, 1.0, 40, 40)
    wanted = rastered(strip(20.0, 20.0, 0.3, 20.0, 1.0), 40, 40)
    assert np.all(drawn[wanted == 0] == 0.0)
    assert np.all(drawn[wanted > 2e-6] > 0.0)


@pytest.mark.parametrize(
    ("field", "value"),
    [("fibre_length", 0.0), ("fibre_width", -1.0), ("x", np.nan), ("angle", np.inf), ("rows", 0), ("columns", 0)],
)
def test_an_impossible_fibre_is_refused(field: str, value: float) -> None:
    given = {
        "x": 1.0,
        "y": 1.0,
        "angle": 0.0,
        "fibre_length": 5.0,
        "fibre_width": 1.0,
        "weight": 1.0,
        "rows": 10,
        "columns": 10,
    }
    with pytest.raises(Refused) as refused:
        deposit(**{**given, field: value})
    assert refused.value.faults[0].field == field


def test_no_fibres_make_an_empty_raster() -> None:
    none = np.empty(0)
    assert not deposit(none, none, none, 5.0, 1.0, 1.0, 6, 7).any()
