"""Simulated sheets: random numbers by address, and the floc field with its laws."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from thinstock.sheet import uniform
from thinstock.sheet.field import cell_grid, counts, intensity
from thinstock.sheet.random import mix

GOLDEN = 0x9E3779B97F4A7C15


def test_the_mixing_function_gives_the_known_sequence() -> None:
    got = [int(mix(np.uint64((1234567 + i * GOLDEN) % 2**64))) for i in (1, 2, 3)]
    assert got == [6457827717110365317, 3203168211198807973, 9817491932198370423]


def test_numbers_by_address_are_those_agreed_on() -> None:
    assert uniform(1, 0, 0, 0) == pytest.approx(0.8847898165349133, abs=1e-16)
    assert uniform(1, 2, 7, 0) == pytest.approx(0.053405604480454894, abs=1e-16)


def test_a_plain_twin_gives_the_same_numbers() -> None:
    word = 2**64 - 1

    def plain_mix(z: int) -> int:
        z ^= z >> 30
        z = z * 0xBF58476D1CE4E5B9 & word
        z ^= z >> 27
        z = z * 0x94D049BB133111EB & word
        return z ^ (z >> 31)

    def plain(seed: int, stream: int, cell: int, draw: int) -> float:
        key = plain_mix(seed + GOLDEN & word)
        key = plain_mix(key + (stream + 1) * GOLDEN & word)
        key = plain_mix(key + (cell + 1) * GOLDEN & word)
        return ((plain_mix(key + (draw + 1) * GOLDEN & word) >> 11) + 0.5) * 2.0**-53

    for address in ((0, 0, 0, 0), (1, 2, 3, 4), (2**63 + 5, 1, 10**9, 77), (2**64 - 1, 4, 2**40, 3)):
        assert uniform(*address) == plain(*address)


def test_numbers_are_even_and_unrelated() -> None:
    drawn = uniform(3, 1, np.arange(2000)[:, None], np.arange(20))
    assert drawn.shape == (2000, 20)
    assert drawn.min() > 0.0 and drawn.max() < 1.0
    assert stats.kstest(drawn.ravel(), "uniform").pvalue > 1e-3
    assert len(np.unique(drawn)) == drawn.size
    neighbours = [
        np.corrcoef(a.ravel(), b.ravel())[0, 1] for a, b in ((drawn[1:], drawn[:-1]), (drawn[:, 1:], drawn[:, :-1]))
    ]
    assert np.abs(neighbours).max() < 4.0 / np.sqrt(drawn.size)


def test_counts_are_poisson_numbers() -> None:
    mean = 6.3
    number = counts(np.full((200, 200), mean), seed=5)
    assert abs(number.mean() - mean) < 4 * np.sqrt(mean / number.size)
    observed = np.bincount(number.ravel(), minlength=20)[:20]
    wanted = stats.poisson(mean).pmf(np.arange(20)) * number.size
    keep = wanted > 5
    assert (
        stats.chisquare(
            np.append(observed[keep], observed[~keep].sum()), np.append(wanted[keep], number.size - wanted[keep].sum())
        ).pvalue
        > 1e-3
    )
    assert np.all(counts(np.zeros((3, 3)), seed=1) == 0)


@pytest.mark.parametrize("law", ["lognormal", "gamma"])
def test_the_floc_field_has_its_variance_and_its_correlation(law: str) -> None:
    size, spread, variance = (0.06, 0.06), 1e-3, 0.09
    grid = cell_grid(size, spread)
    assert grid == (240, 240)
    fields = np.stack([intensity(grid, size, spread, variance, law, seed) for seed in range(6)])
    assert fields.min() > 0.0
    assert fields.mean(axis=(1, 2)) == pytest.approx(1.0, abs=1e-12)
    part = fields - 1.0
    assert part.var() == pytest.approx(variance, rel=0.06)
    step = size[0] / grid[0]
    for lag in (2, 4, 8):
        wanted = np.exp(-((lag * step) ** 2) / (4 * spread**2))
        for axis in (1, 2):
            got = np.mean(part * np.roll(part, lag, axis=axis)) / part.var()
            assert got == pytest.approx(wanted, abs=0.03)


def test_the_floc_field_does_not_depend_on_threads_and_is_flat_without_flocs() -> None:
    size = (0.03, 0.05)
    grid = cell_grid(size, 1e-3)
    one, two = (intensity(grid, size, 1e-3, 0.05, "lognormal", 7, threads) for threads in (1, 3))
    assert np.array_equal(one, two)
    assert np.array_equal(counts(one * 5, 7, 1), counts(one * 5, 7, 3))
    assert not np.array_equal(one, intensity(grid, size, 1e-3, 0.05, "lognormal", 8))
    assert np.all(intensity(grid, size, 1e-3, 0.0, "lognormal", 7) == 1.0)


def test_a_small_field_still_has_eight_cells() -> None:
    assert cell_grid((1e-3, 4e-3), 2e-3) == (8, 8)
