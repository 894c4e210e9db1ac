"""Numbers of a run as texts, as numbers.toml has them: those with a line of their own in terminal, page or paper."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from thinstock.machine.numbers import told_in
from thinstock.words.figures import NONE, figure
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.machine.numbers import Number
    from thinstock.machine.result import Result
    from thinstock.words.figures import Edge


def text(about: Number, value: Any, edge: Edge, spread: float | None = None) -> str:
    """A value with its unit, and its standard uncertainty where that is given."""
    if value is None:
        return NONE
    if about.word:
        return edge.text(about.word, value, about.digits, spread)
    if about.unit == "true or false":
        return phrase("numbers.yes") if value else phrase("numbers.no")
    return figure(float(value), about.digits)


def more(result: Result, place: str, edge: Edge, spreads: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Label and text of each number that has a line of its own in this place: "terminal", "page" or "paper"."""
    made = []
    for about in told_in(place, result.values):
        spread = spreads.get(about.name)
        uncertain = None if spread is None else spread.standard_uncertainty
        made.append((about.label, text(about, result.values[about.name], edge, uncertain)))
    return made
