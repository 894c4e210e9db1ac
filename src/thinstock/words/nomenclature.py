"""The words of the project by name, read once from nomenclature.toml when the first one is asked for.

One word is one quantity with one unit; a formula's arguments and results, a machine's fields and a report's
columns all go by these words. Nothing here converts a value: units.py does that with the edge units given.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Final


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


class Words(Mapping[str, Word]):
    """The words of a file of tables; the table of a word is read when it is asked for."""

    def __init__(self, text: str) -> None:
        heads = list(re.finditer(r"^\[(\w+)\]$", text, re.MULTILINE))
        ends = [*(one.start() for one in heads[1:]), len(text)]
        self.tables = {one[1]: text[one.end() : end] for one, end in zip(heads, ends, strict=False)}
        self.read: dict[str, Word] = {}
        if len(self.tables) != len(heads):
            tomllib.loads(text)  # says which one stands there twice

    def __getitem__(self, name: str) -> Word:
        found = self.read.get(name)
        if found is None:
            found = self.read[name] = _word(name, tomllib.loads(self.tables[name]))
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(self.tables)

    def __len__(self) -> int:
        return len(self.tables)

    def __contains__(self, name: object) -> bool:
        return name in self.tables


@lru_cache(maxsize=1)
def words() -> Words:
    """All words by name, in the order of the file."""
    return Words(files("thinstock.words").joinpath("nomenclature.toml").read_text(encoding="utf-8"))


def _word(name: str, row: Mapping[str, Any]) -> Word:
    low_high = row.get("usual")
    return Word(
        name=name,
        symbol=row.get("symbol", ""),
        unit=row.get("unit", ""),
        meaning=row.get("meaning", ""),
        kind=row.get("kind", ""),
        edge=MappingProxyType(_edge(row.get("edge", {}))),
        usual=None if low_high is None else (float(low_high[0]), float(low_high[1])),
    )


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
