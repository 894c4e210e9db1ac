"""Names for numbers that come from no labelled formula, so that a worksheet can say what they are."""

from __future__ import annotations

from typing import Any

import numpy as np

from thinstock.formula.label import Worksheet, recorder
from thinstock.words import constants

FOUND = "found by search: "
CONVENTION = "convention: "
CONSTANT = "constants."
LIBRARY = "library: "


def _named(value: Any, name: str) -> Any:
    sheet = recorder()
    return sheet.given(name, value) if isinstance(sheet, Worksheet) else value


def constant(name: str) -> Any:
    """A constant of constants.toml as its own object."""
    return _named(np.float64(constants.value(name)), CONSTANT + name)


def convention(value: Any, what: str) -> Any:
    """A number of the program's own convention (no fabric behind, per metre of width ...)."""
    array = np.float64(value) if np.ndim(value) == 0 else np.array(value)
    return _named(array, CONVENTION + what)


def from_library(value: Any, what: str) -> Any:
    """A row of the library (a tester, a fabric) as it stands."""
    return _named(value, LIBRARY + what)


def found(what: str, value: Any) -> Any:
    """The answer of a muted search, used once more."""
    return _named(np.float64(value) if np.ndim(value) == 0 else value, FOUND + what)


def named(word: str, value: Any) -> Any:
    """Arithmetic that a working shows as a step of its own, giving this word."""
    sheet = recorder()
    if isinstance(sheet, Worksheet):
        sheet.origin(value, word)
    return value


def picked(word: str, value: Any, whole: Any) -> Any:
    """A number out of what a march gave besides single numbers, as this word of it."""
    sheet = recorder()
    plain = np.float64(value) if np.ndim(value) == 0 else np.asarray(value)
    if not isinstance(sheet, Worksheet):
        return plain
    origin = sheet.origin(whole)
    return sheet.known(plain, (origin[0], word)) if isinstance(origin, tuple) else plain
