"""What a lower freeness costs with the refiner, told: its energy, every station, money, and the range of all of it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from thinstock.machine.numbers import number
from thinstock.tell.blocks import Block, Column, Table, words
from thinstock.words.figures import NONE, Edge, figure, signed
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.studies.refining_cost import Refined, RefiningCost

STATIONS = ("end_of_forming", "retention", "dryness_into_press", "dryness_press", "steam_per_product",
            "gas_per_product", "electricity_per_product", "reel_dryness_reached")  # fmt: skip


def told(found: RefiningCost, edge: Edge) -> Iterator[Block]:
    """One table: as it stands, then low end, middle and high end of what refining is taken to do."""
    heads = ("number", "unit", "before", "low", "value", "high")
    columns = tuple(
        Column(head=phrase(f"refining_cost.{key}"), sort="word" if key in ("number", "unit") else "number")
        for key in heads
    )
    money = edge.unit("money_per_mass")
    rows = [
        _row("net", "specific_energy", "", [case.net for case in found.cases], edge),
        _row("gross", "specific_energy", "", [case.gross for case in found.cases], edge),
        _row("retention", "water_retention_value", found.water_retention,
             [case.water_retention for case in found.cases], edge),
        _row("fines", "fines_share", float(found.machine.stock.fines_share),
             [case.fines_share for case in found.cases], edge),
        *(_station(name, found, edge) for name in STATIONS if name in found.base),
        (phrase("refining_cost.refiner_money"), money, "", *(_money(case.refiner_money, edge) for case in found.cases)),
        (phrase("refining_cost.heat_money"), money, "", *(_money(case.heat_money, edge) for case in found.cases)),
        (phrase("refining_cost.sum"), money, "", *(_sum(case, edge) for case in found.cases)),
    ]  # fmt: skip
    if found.speed is not None:
        speeds = (NONE if v is None else figure(edge.number("speed", v), 4)
                  for v in (found.speed, *(case.speed for case in found.cases)))  # fmt: skip
        rows.append((phrase("wet_end_costs.speed_allowed"), edge.unit("speed"), *speeds))
    before = edge.text("freeness", found.machine.stock.freeness, 3)
    caption = phrase("refining_cost.caption", before=before, drop=edge.text("freeness", found.drop, 2))
    yield Table(columns=columns, rows=tuple(rows), caption=caption, key="refining")
    yield words(phrase("refining_cost.direction"), phrase("refining_cost.range"), phrase("refining_cost.held_vacuum"))
    if any(case.short for case in found.cases):
        yield words(phrase("refining_cost.short"))


def _row(key: str, word: str, before: float | str, values: list[float], edge: Edge) -> tuple[str, ...]:
    first = before if isinstance(before, str) else edge.figure(word, before, 3)
    return (phrase(f"refining_cost.{key}"), edge.unit(word), first, *(edge.figure(word, v, 3) for v in values))


def _station(name: str, found: RefiningCost, edge: Edge) -> tuple[str, ...]:
    """A number as it stands, and its changes."""
    about = number(name)
    before = edge.number(about.word, found.base[name])
    changes = [edge.number(about.word, case.values[name]) - before for case in found.cases]
    share = edge.unit(about.word) in ("%", "")
    label = phrase("refining_cost.air") if name == "electricity_per_product" else about.short
    return (label, edge.unit(about.word), figure(before, 3), *(signed(v, 2 if share else 0) for v in changes))


def _money(value: float | None, edge: Edge) -> str:
    return NONE if value is None else signed(edge.number("money_per_mass", value), 2)


def _sum(case: Refined, edge: Edge) -> str:
    if case.refiner_money is None or case.heat_money is None:
        return NONE
    return _money(case.refiner_money + case.heat_money, edge)
