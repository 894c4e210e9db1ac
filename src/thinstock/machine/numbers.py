"""Every number of a run, read once from numbers.toml: its word or unit, where it exists, how it is shown.

A new result number is one value in the run and one table in that file.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Final

EXISTS: Final = ("always", "sheet", "yankee")
"""Where a number exists: in every run; where a sheet is formed; where a sheet is formed and dried on a Yankee."""


@lru_cache(maxsize=1)
def numbers() -> Mapping[str, Mapping[str, Any]]:
    """Every number by name: exists and word (or unit, where no word has it); label, digits, strip of the headline."""
    text = files("thinstock.machine").joinpath("numbers.toml").read_text(encoding="utf-8")
    return MappingProxyType(tomllib.loads(text))


@lru_cache(maxsize=1)
def headline() -> Mapping[str, Mapping[str, Any]]:
    """The headline numbers in their order: label, word, digits, strip."""
    return MappingProxyType({name: row for name, row in numbers().items() if "label" in row})


@lru_cache(maxsize=len(EXISTS))
def existing(where: str) -> frozenset[str]:
    """Names of the numbers that exist there: "always", "sheet" or "yankee"."""
    return frozenset(name for name, row in numbers().items() if row["exists"] == where)
