"""What a point of dryness into the dryer saves there: a card of the dryer before and after, and the range per point."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from thinstock.tell.blocks import Block, Column, Table, words
from thinstock.words.figures import NONE, Edge, figure, signed
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.studies.point_worth import PointWorth

ROWS = {
    "dryness": "dryness", "evaporation": "evaporation", "steam": "specific_energy", "gas": "specific_energy",
    "electricity": "specific_energy", "fuel": "specific_energy",
}  # fmt: skip
"""What is told of either side, with its word."""
DIGITS = 3


def told(found: PointWorth, edge: Edge) -> Iterator[Block]:
    """The card, and per cent per point as a range."""
    heads = [phrase(f"point_worth.{key}") for key in ("before", "after", "change")]
    names = [phrase(f"point_worth.{key}") for key in ("number", "unit")]
    columns = [*(Column(head=text, sort="word") for text in names), *(Column(head=text) for text in heads)]
    rows = [_row(name, word, found, edge) for name, word in ROWS.items() if _used(name, found)]
    money = NONE if found.money is None else signed(edge.number("money_per_mass", found.money), 2)
    rows.append((phrase("point_worth.money"), edge.unit("money_per_mass"), "", "", money))
    yield Table(columns=tuple(columns), rows=tuple(rows), caption=phrase("point_worth.card"), key="costs")
    yield words(_range(found))


def _row(name: str, word: str, found: PointWorth, edge: Edge) -> tuple[str, ...]:
    before, after = (edge.number(word, getattr(side, name)) for side in (found.before, found.after))
    shown = figure(before, DIGITS)
    places = len(shown.partition(".")[2]) + 1
    return phrase(f"point_worth.{name}"), edge.unit(word), shown, figure(after, DIGITS), signed(after - before, places)


def _used(name: str, found: PointWorth) -> bool:
    return bool(getattr(found.before, name) or getattr(found.after, name))


def _range(found: PointWorth) -> str:
    """How much heat a point takes off, from evaporation alone to what holds the reel here."""
    water, heat = (figure(-100 * share, 2) for share in (found.water_per_point, found.heat_per_point))
    if water == heat:
        return phrase("point_worth.alike", heat=heat)
    held = phrase(f"point_worth.held.{found.machine.hold_reel_dryness_by.replace(' ', '_')}")
    return phrase("point_worth.range", water=water, heat=heat, held=held)
