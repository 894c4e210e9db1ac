"""A soft layer bonded to a steel roll, pressed by a rigid cylinder: the full solution behind the fits of
`nip`.

Plane strain, no friction on top, linear and static. It is the referee for `line_load_covered_roll` and serves
any Poisson's ratio; a machine run uses the fits.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from thinstock.formula.label import Array, Num, derived


class LayerContact(NamedTuple):
    """A solved nip; `position` and `nip_pressure` hold the cells on their last axis."""

    line_load: Num
    peak_pressure: Num
    position: Num
    """Distance from the nip's centre line, m."""
    nip_pressure: Num
    approach: Num
    """How far the cylinder has sunk in, m."""


def _compliance(half_width: float, cover_thickness: float, poisson_ratio: float, cells: int) -> Array:
    """Surface travel of each cell, times the modulus, per pressure on cell 0 (its neighbours by distance)."""
    width = 2.0 * half_width / cells
    points = 2 ** int(np.ceil(np.log2(30.0 * max(half_width, cover_thickness) / width)))
    wave = 2.0 * np.pi * np.fft.rfftfreq(points, width)
    s = np.minimum(wave[1:] * cover_thickness, 30.0)
    grip = 3.0 - 4.0 * poisson_ratio
    rest = 5.0 - 12.0 * poisson_ratio + 8.0 * poisson_ratio**2
    layer = (grip * np.sinh(2.0 * s) - 2.0 * s) / (grip * np.cosh(2.0 * s) + 2.0 * s**2 + rest)
    response = np.empty_like(wave)
    response[1:] = 2.0 * (1.0 - poisson_ratio**2) * layer / wave[1:]
    response[0] = cover_thickness * (1.0 + poisson_ratio) * (1.0 - 2.0 * poisson_ratio) / (1.0 - poisson_ratio)
    spread: Array = np.fft.irfft(response * np.sinc(wave * width / (2.0 * np.pi)), points)[:cells]
    return spread


def _edge(pressure: Array) -> float:
    """Square of the pressure, carried in a straight line to the edge of the nip."""
    return float(1.5 * pressure[0] * abs(pressure[0]) - 0.5 * pressure[1] * abs(pressure[1]))


def _solve(
    half_width: float,
    cover_thickness: float,
    equivalent_radius: float,
    cover_modulus: float,
    poisson_ratio: float,
    cells: int,
) -> LayerContact:
    width = 2.0 * half_width / cells
    position = (np.arange(cells) + 0.5) * width - half_width
    spread = _compliance(half_width, cover_thickness, poisson_ratio, cells) / cover_modulus
    matrix = spread[np.abs(np.subtract.outer(np.arange(cells), np.arange(cells)))]
    sides = np.stack([np.ones(cells), position**2 / (2.0 * equivalent_radius)], axis=-1)
    flat, curved = np.linalg.solve(matrix, sides).T
    from scipy.optimize import brentq

    middle = curved[0] / flat[0]
    approach = brentq(lambda a: _edge(a * flat - curved), 0.5 * middle, 1.6 * middle, xtol=1e-300, rtol=1e-15)
    pressure = approach * flat - curved
    return LayerContact(float(pressure.sum() * width), float(pressure.max()), position, pressure, float(approach))


@derived(
    """travel of the surface under pressure p of wave number k:
        u = 2*(1 - poisson_ratio**2)/cover_modulus * L(k*cover_thickness)/k * p
        u(x) = approach - x**2/(2*equivalent_radius) for -half_width < x < half_width, p**2 -> 0 at the edges
        u(x) = approach - x**2/(2*equivalent_radius) for -half_width < x < half_width, p**2 -> 0 at the edges
        line_load = integral of p over x""",
    gives=("line_load", "peak_pressure", "position", "nip_pressure", "approach"),
    kind="march",
    where="bonded layer in plane strain, frictionless top, rigid cylinder",
)
def layer_contact(
    half_width: Num,
    cover_thickness: Num,
    equivalent_radius: Num,
    cover_modulus: Num,
    poisson_ratio: Num,
    cells: int,
) -> LayerContact:
    """Load, pressures and approach of a nip of given half width under a bonded soft layer.

    Picture: a carpet glued to the floor; pressed at one place it bulges beside it, the less the thinner it
    is.
    Use for: half width 0.05 to 20 thicknesses, any Poisson's ratio to one half. Not for: machine runs (use
    the fits). The error falls as one over the number of cells (0.25 % at 181); extrapolate as 2 q(2N) - q(N).
    """
    cases = np.broadcast_arrays(half_width, cover_thickness, equivalent_radius, cover_modulus, poisson_ratio)
    solved = [
        _solve(float(a), float(h), float(r), float(e), float(v), int(cells))
        for a, h, r, e, v in zip(*(case.ravel() for case in cases))
    ]
    if cases[0].ndim == 0:
        return solved[0]
    parts = [np.array(part) for part in zip(*solved)]
    return LayerContact(*(part.reshape(cases[0].shape + part.shape[1:]) for part in parts))
