"""One step of a working: a formula of the chain with what goes in and what comes out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from thinstock.formula.label import Label
from thinstock.formula.typeset import Line
from thinstock.tell.filled import FilledLine, Put
from thinstock.tell.ways import Table


@dataclass(frozen=True, kw_only=True)
class Use:
    """One number that goes into a step, and where it is from."""

    put: Put
    origin: str
    """"step 3", the address of a machine value, or empty."""


@dataclass(frozen=True, kw_only=True)
class WorkedStep:
    """One formula of the chain."""

    number: int
    name: str
    """Registry key, for the formula's own page."""
    title: str
    label: Label
    symbols: tuple[Line, ...]
    """Empty for a march, which has `equations`."""
    equations: tuple[str, ...]
    scaled: tuple[Line, ...]
    """The formula for numbers in these units, where that needs a constant."""
    uses: tuple[Use, ...]
    further: tuple[tuple[str, str], ...]
    """(what, where it is from) of what goes in and is no single number: elements, rows."""
    after: tuple[int, ...]
    """Steps whose results go in."""
    lines: tuple[FilledLine, ...]
    results: tuple[tuple[str, str], ...]
    """(word, value with unit); several where a formula gives several."""
    solved: str
    """Symbol of what an equation was solved for."""
    source: str
    where: str
    status: str
    note: str
    calls: tuple[str, ...]
    """Formulas that this one calls by name."""
    table: Table | None
    inputs: Mapping[str, Any]
    output: Any

    @property
    def result(self) -> str:
        """The result as text."""
        if len(self.results) == 1:
            return self.results[0][1]
        return ", ".join(f"{word} {text}" for word, text in self.results)
