"""The words of the project by name, read once from nomenclature.toml when the first one is asked for.

One word is one quantity with one unit; a formula's arguments and results, a machine's fields and a report's
columns all go by these words. Nothing here converts a value: units.py does that with the edge units given.
"""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from types import MappingProxyType
from typing import Final


@dataclass(frozen=True, kw_only=True)
class Word:
    """What a word stands for."""

    name: str
    symbol: str
    """As printed in formulas; empty where only the word is used."""
    unit: str
    """Base SI unit; "1" for a plain number, empty for a thing that is not a quantity."""
    meaning: str
    kind: str
    """Kind of unit, a heading of units.toml; "structure" for a thing that is not a quantity."""
    edge: MappingProxyType[str, str]
    """Unit of the edge per set of units: si, mill, us."""
    usual: tuple[float, float] | None
    """The range usually met in all uses of the word, base SI; a field of a part may narrow it."""


PLAIN_KINDS: Final = ("structure", "any", "as the value")
"""Kinds that have no unit of their own."""


@lru_cache(maxsize=1)
def words() -> MappingProxyType[str, Word]:
    """All words by name, in the order of the file."""
    text = files("thinstock.words").joinpath("nomenclature.toml").read_text(encoding="utf-8")
    found: dict[str, Word] = {}
    for name, row in tomllib.loads(text).items():
        low_high = row.get("usual")
        found[name] = Word(
            name=name,
            symbol=row.get("symbol", ""),
            unit=row.get("unit", ""),
            meaning=row.get("meaning", ""),
            kind=row.get("kind", ""),
            edge=MappingProxyType(_edge(row.get("edge", {}))),
            usual=None if low_high is None else (float(low_high[0]), float(low_high[1])),
        )
    return MappingProxyType(found)


def _edge(given: dict[str, str] | list[str]) -> dict[str, str]:
    """Edge units per set; a list in the file means its first unit for every set."""
    if isinstance(given, dict):
        return dict(given)
    return dict.fromkeys(("si", "mill", "us"), given[0]) if given else {}


def word(name: str) -> Word:
    """The word of this name; an unknown one is a KeyError that names the nearest."""
    try:
        return words()[name]
    except KeyError:
        near = difflib.get_close_matches(name, words(), n=3)
        hint = f"; nearest: {', '.join(near)}" if near else ""
        raise KeyError(f"no word {name!r} in the nomenclature{hint}") from None
