"""What a change that was made is worth, told once: results before and after, then the money of a year."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from thinstock.machine.numbers import number as told_of
from thinstock.tell.blocks import Block, Column, Group, Table, points, words
from thinstock.words.figures import NONE, Edge, grouped
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.studies.worth_of_change import Ends, WorthOfChange


def told(found: WorthOfChange, edge: Edge) -> list[Block]:
    """The whole page."""
    low, middle, high = found.saving
    saving = phrase(
        "history.worth.saving", money=found.currency, median=_money(middle), low=_money(low), high=_money(high),
        share=f"{100.0 * found.saves:.0f}",
    )  # fmt: skip
    drawn = phrase("history.worth.drawn", draws=found.draws, year=found.year)
    return [
        words(phrase("history.worth.spans", before=found.before, after=found.after)),
        _results(found, edge),
        words(saving),
        _lines(found),
        Group(blocks=(words(drawn), points(list(found.notes)))),
    ]


def _results(found: WorthOfChange, edge: Edge) -> Table:
    heads = ("result", "unit", "before", "after", "difference", "rose")
    columns = tuple(
        Column(head=phrase(f"history.worth.{head}"), sort="word" if head in ("result", "unit") else "end",
               unit="%" if head == "rose" else "")
        for head in heads
    )  # fmt: skip
    rows = []
    for one in found.steps:
        about = told_of(one.name)
        scale = _scale(about.word, edge)
        rows.append((
            about.label, edge.unit(about.word), _span(one.before, about.word, edge), _span(one.after, about.word, edge),
            _gap(one.difference, scale), f"{100.0 * one.up:.0f}",
        ))  # fmt: skip
    return Table(key="results", columns=columns, rows=tuple(rows), indented=False)


def _scale(word: str, edge: Edge) -> float:
    """One SI unit of a difference in the unit told."""
    return edge.spread(word, 1.0, 1.0)


def _span(ends: Ends, word: str, edge: Edge) -> str:
    low, middle, high = (edge.figure(word, value, 4) for value in ends)
    return phrase("history.worth.span", low=low, median=middle, high=high)


def _gap(ends: Ends, scale: float) -> str:
    low, middle, high = (f"{scale * value:+.3g}" for value in ends)
    return phrase("history.worth.span", low=low, median=middle, high=high)


def _lines(found: WorthOfChange) -> Table:
    """What is saved in a year, on what."""
    columns = (
        Column(head=phrase("history.worth.on"), sort="word"),
        Column(head=phrase("history.worth.year"), unit=found.currency, sort="end"),
        Column(head=phrase("history.worth.low"), unit=found.currency, sort="end"),
        Column(head=phrase("history.worth.high"), unit=found.currency, sort="end"),
    )
    rows = tuple((name, _money(ends[1]), _money(ends[0]), _money(ends[2])) for name, ends in found.lines.items())
    return Table(key="money", columns=columns, rows=rows, indented=False)


def _money(amount: float) -> str:
    return grouped(amount, 3) if math.isfinite(amount) else NONE
