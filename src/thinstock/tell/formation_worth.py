"""What a more even sheet saves at the dryer, as a change card with its ends."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from thinstock.tell.blocks import Block, Column, Table, words
from thinstock.words.figures import NONE, Edge, figure, signed
from thinstock.words.phrase import capital, phrase

if TYPE_CHECKING:
    from thinstock.studies.formation_worth import Saving, Worth

HEADS = ("change", "end", "cv", "gas", "steam", "money", "reel")


def told(worth: Sequence[Worth], edge: Edge) -> Iterator[Block]:
    """A row for each change at each end; in words where no Yankee answers to an uneven sheet."""
    savings = [one for change in worth for one in change.savings]
    if not savings:
        yield words(phrase("formation_worth.none"))
        return
    heat, money = edge.unit("specific_energy"), edge.unit("money_per_mass")
    units = ("", "", "%", heat, heat, money, phrase("formation_worth.points"))
    heads = [phrase(f"formation_worth.{key}") for key in HEADS]
    columns = [
        Column(head=head, unit=unit, sort="word" if key in HEADS[:2] else "number")
        for key, head, unit in zip(HEADS, heads, units, strict=True)
    ]
    rows = [
        (_change(change) if not number else "", *_row(saving, edge))
        for change in worth for number, saving in enumerate(change.savings)
    ]  # fmt: skip
    yield Table(columns=tuple(columns), rows=tuple(rows), caption=phrase("formation_worth.caption"), key="worth",
                heads_low=True)  # fmt: skip
    if not all(one.held for one in savings):
        yield words(phrase("formation_worth.bound"))
    yield words(phrase("formation_worth.hangs_on"))


def _change(one: Worth) -> str:
    key = "headbox" if one.change == "better headbox" else "consistency"
    return capital(phrase(f"evenness.worth.{key}"))


def _row(saving: Saving, edge: Edge) -> tuple[str, ...]:
    gas, steam = (-edge.number("specific_energy", value) for value in (saving.gas, saving.steam))
    money = NONE if saving.money is None else signed(-edge.number("money_per_mass", saving.money), 2)
    cv = f"{figure(100 * saving.cv_before, 3)} → {figure(100 * saving.cv_after, 3)}"
    end = phrase(f"formation_worth.ends.{saving.end}")
    return end, cv, signed(gas, 1), signed(steam, 1), money, signed(100 * saving.moisture, 2)
