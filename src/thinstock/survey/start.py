"""Where a bilinear reconciliation begins: flows first, then with the flows held each component's consistencies.

Each unread variable gets a weak prior (a value with a large uncertainty of its own), so that both steps are linear
and always have an answer. Where a machine's values are at hand they are the better priors.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from thinstock.formula.label import Array

PRIOR_FROM_MACHINE = 0.3
"""Relative uncertainty of a machine's value as prior."""
PRIOR_FROM_MEDIAN = 10.0
"""Relative uncertainty of the median of the readings as prior."""


def weakly(
    balance: Any,
    constant: Array,
    reading: Array,
    uncertainty: Array,
    prior: Array,
    equal: list[tuple[int, int]],
) -> Array:
    """Values that close a linear balance, near the readings and faintly near priors where nothing is read (nan).

    Priors that are nan too are the median of the readings. Negative answers are replaced by the prior.
    """
    from scipy.sparse import csr_array, diags_array, vstack
    from scipy.sparse.linalg import splu

    count = reading.size
    known = np.abs(reading[np.isfinite(reading) & (reading != 0.0)])
    middle = float(np.median(known)) if known.size else 1.0
    centre = np.where(np.isfinite(prior), prior, middle)
    spread = np.where(np.isfinite(prior), PRIOR_FROM_MACHINE * np.abs(prior), PRIOR_FROM_MEDIAN * middle)
    read = np.isfinite(reading)
    target = np.where(read, reading, centre)
    spread = np.where(read, uncertainty, np.where(spread > 0.0, spread, middle))
    rows = csr_array(balance)
    if equal:
        pair = np.array(equal)
        row = np.repeat(np.arange(len(pair)), 2)
        ties = csr_array((np.tile([1.0, -1.0], len(pair)), (row, pair.ravel())), shape=(len(pair), count))
        rows = csr_array(vstack([rows, ties]))
        constant = np.concatenate([constant, np.zeros(len(pair))])
    scaled = csr_array(rows @ diags_array(spread))
    length = np.sqrt(np.asarray(scaled.multiply(scaled).sum(axis=1)).ravel())
    length[length == 0.0] = 1.0
    scaled = csr_array(diags_array(1.0 / length) @ scaled)
    inner = (scaled @ scaled.T + diags_array(np.full(scaled.shape[0], 1e-11))).tocsc()
    mismatch = (rows @ target - constant) / length
    found = target - spread * (scaled.T @ splu(inner).solve(mismatch))
    return np.asarray(np.where(found < 0.0, np.abs(centre), found))
