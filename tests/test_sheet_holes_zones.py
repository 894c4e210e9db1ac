"""Holes and zones of a map, against a general labelling routine and against plain averages."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from thinstock.errors import Refused
from thinstock.sheet import coverage_histogram, holes, zone_cv, zone_cv_error


def labelled(raster: np.ndarray, threshold: float) -> list[int]:
    """Areas of the 8-connected pieces on a torus, by a general routine and joins across the borders."""
    bare = raster < threshold
    label, number = ndimage.label(bare, np.ones((3, 3)))
    parent = list(range(number + 1))

    def root(i: int) -> int:
        while parent[i] != i:
            i = parent[i]
        return i

    def join(a: int, b: int) -> None:
        if a and b:
            a, b = root(a), root(b)
            parent[max(a, b)] = min(a, b)

    rows, columns = bare.shape
    for i in range(rows):
        for step in (-1, 0, 1):
            join(label[i, 0], label[(i + step) % rows, -1])
    for j in range(columns):
        for step in (-1, 0, 1):
            join(label[0, j], label[-1, (j + step) % columns])
    area = np.bincount(label.ravel(), minlength=number + 1)
    out: dict[int, int] = {}
    for i in range(1, number + 1):
        out[root(i)] = out.get(root(i), 0) + int(area[i])
    return sorted(out.values())


@pytest.mark.parametrize("share", [0.05, 0.2, 0.4, 0.6, 0.95])
def test_holes_are_those_of_a_general_labelling_routine(share: float) -> None:
    generator = np.random.default_rng(round(100 * share))
    for _ in range(60):
        raster = generator.random(generator.integers(1, 34, 2)).astype(np.float32)
        assert sorted(holes(raster, share).tolist()) == labelled(raster, share)
    large = generator.random((300, 513)).astype(np.float32)
    assert sorted(holes(large, share).tolist()) == labelled(large, share)


def test_holes_join_over_corners_and_borders() -> None:
    corner = np.ones((5, 9), np.float32)
    corner[0, 0] = corner[4, 8] = corner[0, 8] = corner[4, 0] = 0.0
    assert holes(corner, 0.5).tolist() == [4]
    steps = np.ones((6, 6), np.float32)
    steps[[1, 2, 3], [1, 2, 3]] = 0.0
    assert holes(steps, 0.5).tolist() == [3]
    assert holes(np.zeros((4, 7), np.float32), 0.5).tolist() == [28]
    assert holes(np.ones((4, 7), np.float32), 0.5).size == 0


def test_more_holes_than_there_was_room_for_are_all_counted() -> None:
    board = np.ones((400, 400), np.float32)
    board[::2, ::2] = 0.0
    assert holes(board, 0.5).size == 200 * 200


def test_holes_of_something_flat_are_refused() -> None:
    with pytest.raises(Refused):
        holes(np.zeros(5, np.float32), 0.5)


def test_zone_variation_is_that_of_plain_averages() -> None:
    raster = np.random.default_rng(0).random((130, 97)).astype(np.float32)
    zones = [1e-4, 2e-4, 3e-4, 4e-4, 6e-4, 12e-4]
    got = zone_cv(raster, 1e-4, zones)
    for value, zone in zip(got, zones, strict=True):
        k = round(zone / 1e-4)
        rows, columns = 130 // k, 97 // k
        mean = raster[: rows * k, : columns * k].astype(float).reshape(rows, k, columns, k).mean(axis=(1, 3))
        assert value == pytest.approx(mean.std() / mean.mean(), rel=1e-12)
    assert zone_cv(raster, 1e-4, 2e-4) == got[1]
    assert np.ndim(zone_cv(raster, 1e-4, 2e-4)) == 0
    assert zone_cv(raster, 1e-4, zones[::-1]) == pytest.approx(got[::-1], rel=1e-14)


def test_the_error_of_a_variation_is_seen_in_repeated_maps() -> None:
    generator = np.random.default_rng(5)
    maps = [generator.normal(1.0, 0.2, (80, 80)).astype(np.float32) for _ in range(300)]
    values = [zone_cv(m, 1.0, 4.0) for m in maps]
    assert zone_cv_error(np.mean(values), maps[0], 1.0, 4.0) == pytest.approx(np.std(values), rel=0.15)


@pytest.mark.parametrize("zone", [1.5e-4, 0.5e-4, 0.0, 26e-4, float("nan")])
def test_a_zone_that_does_not_fit_is_refused(zone: float) -> None:
    with pytest.raises(Refused) as refused:
        zone_cv(np.ones((100, 100), np.float32), 1e-4, zone)
    (fault,) = refused.value.faults
    assert fault.field == "zone" and fault.bound and fault.remedy


def test_layers_are_counted_with_an_open_last_class() -> None:
    raster = np.array([[0.0, 0.4, 0.6], [1.4, 2.0, 7.0]], np.float32)
    assert coverage_histogram(raster, 2) == pytest.approx(np.array([2, 2, 2]) / 6)
    assert coverage_histogram(raster, 9).sum() == pytest.approx(1.0)
    with pytest.raises(Refused):
        coverage_histogram(raster, 0)
