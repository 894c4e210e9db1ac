"""Points to look at in a range, and the spans between them in which a root lies."""

from __future__ import annotations

from typing import Any

import numpy as np


def spaced(low: float, high: float, count: int) -> Any:
    """Even steps, or even ratios where the range spans decades; the ends exactly."""
    if low > 0 and high / low > 20:
        points = np.geomspace(low, high, count)
    else:
        points = np.linspace(low, high, count)
    points[0], points[-1] = low, high
    return points


def brackets(values: Any, gaps: Any, close: float) -> list[tuple[float, float]]:
    """Neighbours between which the gap changes sign; a value that is close enough by itself counts."""
    spans = [(float(v), float(v)) for v, g in zip(values, gaps, strict=True) if np.isfinite(g) and abs(g) <= close]
    for k in range(len(values) - 1):
        a, b = gaps[k], gaps[k + 1]
        if np.isfinite(a) and np.isfinite(b) and a * b < 0 and abs(a) > close and abs(b) > close:
            spans.append((float(values[k]), float(values[k + 1])))
    return spans
