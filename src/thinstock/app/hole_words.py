"""Numbers of holes per m² in the words of the Sheet page: small ones as they are, large ones in thousands and more."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from thinstock.app.words import say
from thinstock.words.figures import NONE, figure, plus_minus


def plus_minus_count(value: float, error: float) -> str:
    """A number of holes with its error, in one unit."""
    if value < 1e4:
        return plus_minus(value, error, 2)
    scale, key = (1e3, "sheet.thousand") if value < 1e6 else (1e6, "sheet.million")
    return say(key, number=plus_minus(value / scale, error / scale, 2))


def counts(low: float, high: float, key: str) -> str:
    """Two numbers of holes in the unit of the second: from one to the other, or one with its error."""
    words = [count(low), count(high)]
    if high >= 1e4 and math.isfinite(low) and low > 0.0:
        scale = 1e3 if high < 1e6 else 1e6
        first, last = figure(low / scale, 2), words[1]
        words = [first if float(first) > 0.0 else words[0], last]
    return say(key, low=words[0], high=words[1])


def count(value: Any) -> str:
    """A number of holes: small ones as they are, large ones with powers in words."""
    number = float(value)
    if not np.isfinite(number):
        return NONE
    if number < 0.01:
        return say("sheet.hardly")
    if number < 1e4:
        return figure(number, 2)
    return (
        say("sheet.thousand", number=figure(number / 1e3, 2)) if number < 1e6
        else say("sheet.million", number=figure(number / 1e6, 2))
    )  # fmt: skip
