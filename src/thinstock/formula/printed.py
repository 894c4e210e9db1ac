"""The check values of formulas, printed or computed elsewhere, and how close the formula comes to each.

Reads the very files that the tests hold the formulas against; in an installed package they lie beside the code.
Nothing is judged here: the tests do that.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from thinstock.formula.label import Label
from thinstock.words import units
from thinstock.words.phrase import phrase

FOLDERS = ("published", "checks")
LIBRARIES = "library_checks.toml"
EXACT = 1e-13
"""Relative difference below which a formula and a library are the same."""
HERE = Path(__file__).resolve().parent.parent


@dataclass(frozen=True, kw_only=True)
class Check:
    """One check value and what the formula gives for it, in the unit in which it is told."""

    where: str
    status: str
    """Status of the check value, not of the formula."""
    unit: str
    told: tuple[str, ...]
    """As told, digit by digit."""
    got: tuple[float, ...]
    because: str
    """Why it may differ by more than the digits, where it may."""
    source: str = ""
    """Key of the source in which it is printed; empty for a value worked apart."""
    read: str = ""
    """How the printed value was read."""
    misses: bool = False
    """The formula does not come as close as the digits, and that is known."""

    def heard(self) -> str:
        """Status and, for print, how it was read."""
        how = self.read if self.read and self.read != self.status else ""
        return ", ".join(part for part in (self.status, how, "misses" if self.misses else "") if part)

    def lines(self) -> list[str]:
        """What is given there and what the formula gives here."""
        unit = "" if self.unit in ("", "1") else f" {self.unit}"
        return [f"given {told}{unit}, here {_like(told, got)}{unit}" for told, got in zip(self.told, self.got)]


def _like(told: str, got: float) -> str:
    """A number with one digit more than the told one has."""
    digits = len(told.lower().split("e")[0].replace(".", "").lstrip("+-0")) + 1
    return f"{got:.{max(digits, 2)}g}"


def checks_of(label: Label) -> list[Check]:
    """The check values of a formula, published ones first."""
    return [_check(label, row) for row in _rows().get(label.name, ())]


@dataclass(frozen=True, kw_only=True)
class LibraryCheck:
    """How close a formula comes to a general property library; the tests hold it to that."""

    against: str
    over: str
    difference: float
    """Largest relative difference in that range."""

    def told(self) -> str:
        """Which library, over what, to how many digits."""
        slots = {"against": self.against, "over": self.over}
        if self.difference < EXACT:
            return phrase("checks.library_all", **slots)
        return phrase("checks.library", **slots, digits=f"{-math.log10(self.difference):.1f}")


def library_checks_of(label: Label) -> list[LibraryCheck]:
    """The libraries that a formula was held against."""
    return [LibraryCheck(against=row["against"], over=row["over"], difference=row["difference"])
            for row in _libraries() if row["relation"] == label.name]  # fmt: skip


@lru_cache(maxsize=1)
def _libraries() -> list[dict[str, Any]]:
    for place in (HERE / "check_values" / LIBRARIES, HERE.parent.parent / "tests" / LIBRARIES):
        if place.is_file():
            rows: list[dict[str, Any]] = tomllib.loads(place.read_text(encoding="utf-8"))["library"]
            return rows
    return []


def _folder(name: str) -> Path | None:
    """The files of an installed package, else those of the working copy."""
    for place in (HERE / "check_values" / name, HERE.parent.parent / "tests" / name):
        if place.is_dir():
            return place
    return None


@lru_cache(maxsize=1)
def _rows() -> dict[str, list[dict[str, Any]]]:
    found: dict[str, list[dict[str, Any]]] = {}
    for row in _all_rows():
        if "relation" in row:
            found.setdefault(row["relation"], []).append(row)
    return found


def _all_rows() -> Iterator[dict[str, Any]]:
    for name in FOLDERS:
        folder = _folder(name)
        if folder is None:
            continue
        for path in sorted(folder.glob("*.toml")):
            yield from rows_of(tomllib.loads(path.read_text(encoding="utf-8")))


def rows_of(text: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The check rows of a file: each `check`, then each `table.row`.

    A table has the keys of a check but `printed`; each row of it gives the arguments that change from row to row, and
    the printed value.
    """
    yield from text.get("check", ())
    for table in text.get("table", ()):
        common = {key: value for key, value in table.items() if key != "row"}
        for row in table["row"]:
            changed = {name: value for name, value in row.items() if name != "printed"}
            at = ", ".join(f"{name} {value:g}" for name, value in changed.items())
            given = {**table.get("given", {}), **changed}
            yield {**common, "given": given, "printed": row["printed"], "where": f"{table['where']}: {at}"}


def _check(label: Label, row: dict[str, Any]) -> Check:
    given = {name: np.asarray(v, dtype=float) if isinstance(v, list) else v for name, v in row["given"].items()}
    with np.errstate(all="ignore"):
        result = label.function(**given)
    if "field" in row:
        result = getattr(result, row["field"])
    elif isinstance(result, tuple) and not isinstance(row["printed"], list):
        result = result[0]
    told = row["printed"] if isinstance(row["printed"], list) else [row["printed"]]
    unit = row.get("unit", "1")
    factor, offset = row.get("in_si", 1.0), 0.0
    if unit not in ("", "1") and "in_si" not in row:
        known = units.find(unit)
        if known is not None:
            factor, offset = known.factor, known.offset
    got = (np.ravel(np.asarray(result, dtype=float)) - offset) / factor
    return Check(
        where=row["where"],
        status=row["status"],
        unit=unit,
        told=tuple(str(t) for t in told),
        got=tuple(float(g) for g in got),
        because=row.get("because", ""),
        source=row.get("source", ""),
        read=row.get("read", ""),
        misses=row.get("misses", False),
    )
