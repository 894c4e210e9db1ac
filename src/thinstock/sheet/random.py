"""Random numbers that depend on nothing but their address: seed, stream, cell, draw.

The same sheet comes out whatever the number of threads and the order of the work. The mixing function is the
finaliser of a published splittable generator; it is not fit for secrets.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from thinstock.formula.label import Array, Num
from thinstock.kernels.compiled import machine

FIELD, COUNTS, FIBRES, PARENTS, CHILDREN = range(5)
"""Streams: noise of the floc field, number of fibres per cell, the fibres themselves; clusters and their members."""

_GOLDEN = np.uint64(0x9E3779B97F4A7C15)
_FIRST = np.uint64(0xBF58476D1CE4E5B9)
_SECOND = np.uint64(0x94D049BB133111EB)
_S30, _S27, _S31, _S11, _ONE = np.uint64(30), np.uint64(27), np.uint64(31), np.uint64(11), np.uint64(1)
_SCALE = 2.0**-53


@machine
def mix(z: Any) -> Any:
    """Scramble 64 bits (source key STEELE_2014); every input gives another output."""
    z = (z ^ (z >> _S30)) * _FIRST
    z = (z ^ (z >> _S27)) * _SECOND
    return z ^ (z >> _S31)


@machine
def cell_key(seed: Any, stream: Any, cell: Any) -> Any:
    """The key of one cell of one stream."""
    key = mix(np.uint64(seed) + _GOLDEN)
    key = mix(key + (np.uint64(stream) + _ONE) * _GOLDEN)
    return mix(key + (np.uint64(cell) + _ONE) * _GOLDEN)


@machine
def draw(key: Any, number: Any) -> Any:
    """Number `number` of a cell, evenly between 0 and 1 and never either."""
    bits = mix(key + (np.uint64(number) + _ONE) * _GOLDEN) >> _S11
    return (np.float64(np.int64(bits)) + 0.5) * _SCALE


@machine
def _fill(seed: Any, stream: Any, cell: Any, number: Any, out: Any) -> None:
    for i in range(out.size):
        out[i] = draw(cell_key(seed[i], stream[i], cell[i]), number[i])


def uniform(seed: Num, stream: Num, cell: Num, draw: Num) -> Num:
    """Numbers between 0 and 1 by their address; all four arguments broadcast and are whole numbers from 0 up."""
    parts = np.broadcast_arrays(*(np.asarray(v).astype(np.uint64) for v in (seed, stream, cell, draw)))
    out: Array = np.empty(parts[0].size)
    _fill(*(np.ascontiguousarray(p).ravel() for p in parts), out)
    return out.reshape(parts[0].shape)[()]
