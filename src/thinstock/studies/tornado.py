"""One input at a time from low to high, the others at their median: the plain picture of what moves a result.

It does not see interactions, and it is no uncertainty: see `propagate` and `sobol_indices`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.evidence.inputs import Inputs, call, check_inputs
from thinstock.formula.label import Array
from thinstock.words.fault import fault_in


def tornado(function: Callable[..., Any], inputs: Inputs, *, low: float, high: float) -> dict[str, tuple[float, float]]:
    """{input: (result at its low quantile, result at its high one)}, the largest difference first.

    Source: COMMON_PRACTICE. Status: common practice.
    """
    at = end_points(inputs, low=low, high=high)
    return ends_of(tuple(inputs), call(function, at, 2 * len(inputs)))


def end_points(inputs: Inputs, *, low: float, high: float) -> dict[str, Array]:
    """The points of `tornado`: each input at its low and its high quantile."""
    check_inputs(inputs)
    if not 0.0 < low < high < 1.0:
        raise Refused(fault_in("studies.tornado.low_high", "low, high", f"{low}, {high}"))
    at = {}
    for i, (name, one) in enumerate(inputs.items()):
        at[name] = np.full(2 * len(inputs), float(one.quantile(0.5)))
        at[name][[2 * i, 2 * i + 1]] = [float(one.quantile(p)) for p in (low, high)]
    return at


def ends_of(names: tuple[str, ...], answer: Array) -> dict[str, tuple[float, float]]:
    """What was found at the points of `tornado`, the largest difference first."""
    ends = {name: (float(answer[2 * i]), float(answer[2 * i + 1])) for i, name in enumerate(names)}
    return dict(sorted(ends.items(), key=lambda item: -abs(item[1][1] - item[1][0])))
