"""Numbers of a run as texts, as numbers.toml has them: those with a line of their own in terminal, page or paper."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from thinstock.machine.numbers import number, told_in
from thinstock.words.figures import HELD_TOGETHER, NONE, between, figure
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.evidence.uncertain import Uncertain
    from thinstock.machine.numbers import Number
    from thinstock.machine.result import Result
    from thinstock.words.figures import Edge


def text(about: Number, value: Any, edge: Edge) -> str:
    """A value with its unit."""
    if value is None:
        return NONE
    if about.word:
        return edge.text(about.word, value, about.digits)
    if about.unit == "true or false":
        return phrase("numbers.yes") if value else phrase("numbers.no")
    return figure(float(value), about.digits)


def more(result: Result, place: str, edge: Edge, spreads: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Label and text of each number that has a line of its own in this place: "terminal", "page" or "paper"."""
    made = []
    for about in told_in(place, result.values):
        ends = ends_of(edge, about.name, spreads.get(about.name))
        made.append((about.label, f"{text(about, result.values[about.name], edge)} {ends}".strip(" ")))
    return made


def ends_of(edge: Edge, name: str, one: Uncertain | None) -> str:
    """The ends of the central 90 % of a number's draws, in brackets and in its unit; empty where there are none."""
    word = number(name).word
    if one is None or not word or not math.isfinite(one.low + one.high):
        return ""
    said = between(edge.number(word, one.low), edge.number(word, one.high))
    return f"({said})".replace(" ", HELD_TOGETHER) if said else ""
