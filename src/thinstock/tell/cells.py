"""Numbers as cells and texts, with the digits they deserve; what every narration needs and has here once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, TypeGuard

import numpy as np

from thinstock.machine.numbers import number as about
from thinstock.tell.blocks import Number
from thinstock.tell.numbers import text
from thinstock.words.figures import NONE, Edge, figure, rounded


def finite(value: Any) -> TypeGuard[Any]:
    """Whether there is a number."""
    return value is not None and bool(np.isfinite(value))


def named(edge: Edge, values: Mapping[str, Any], name: str, digits: int = 0) -> str:
    """A named result with its unit; a dash where there is none."""
    known = about(name)
    return text(replace(known, digits=digits or known.digits), values.get(name), edge)


def number(edge: Edge, word: str, value: Any, digits: int = 3) -> Number:
    """A value of a word as a cell, in its unit at the edge; a dash where there is none."""
    at_edge = edge.number(word, value)
    return Number(figure(at_edge, digits), at_edge if np.isfinite(at_edge) else None)


def whole(edge: Edge, word: str, value: Any) -> Number:
    """A value without decimals."""
    at_edge = edge.number(word, value)
    return Number(f"{at_edge:.0f}", at_edge) if np.isfinite(at_edge) else Number(NONE)


def rough(edge: Edge, word: str, value: Any) -> Number:
    """A value of a long table: three digits at most, no decimals from ten on."""
    at_edge = edge.number(word, value)
    return Number(rounded(at_edge), at_edge if np.isfinite(at_edge) else None)


def per_cent(share: Any, digits: int = 3) -> Number:
    """A share in per cent, without the sign."""
    value = 100 * float(share)
    return Number(figure(value, digits), value if np.isfinite(value) else None)
