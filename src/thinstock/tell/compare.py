"""Machines side by side at equal reel dryness, told once: sheet, parts, energy, and what differs from the first.

`told` is the whole in blocks; the page sets single tables of `Side`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from thinstock.machine.numbers import Number, headline, numbers, told_in
from thinstock.machine.numbers import number as told_of
from thinstock.tell import limits as speeds_told
from thinstock.tell.blocks import Beside, Block, Cell, Column, Group, Paragraph, Table, lined, marked
from thinstock.tell.cells import finite
from thinstock.words.figures import NONE, Edge, between, figure, rounded
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.studies.compare import Comparison, Difference, PressSplit, Row

LETTERS = "ABCD"
SPLIT = {"dryness_press": "", "evaporation": "evaporation", "steam_per_product": "specific_energy",
         "gas_per_product": "specific_energy", "drying_speed": "speed"}  # fmt: skip
"""Words of what a change of press is split into; dryness is told in points."""


def told(found: Comparison, edge: Edge, *, card: bool) -> list[Block]:
    """The comparison, with the change cards from the first machine where they are wanted."""
    side = Side(found, edge)
    blocks: list[Block] = [Group(blocks=(*side.machines(), *marked(found.notes))), *side.headline()]
    blocks.append(
        Beside(left=(Group(blocks=side.sheet()),), right=(side.parts(), side.energy()), free=True)
    )  # fmt: skip
    blocks += [side.split(index) for index, one in enumerate(found.splits, start=1) if one]
    if card:
        blocks += [Group(blocks=side.card(index)) for index in range(1, len(found.machines))]
    return blocks


@dataclass(frozen=True, kw_only=True)
class Compared:
    """One number of one machine, and how it differs from the first's."""

    text: str
    difference: str = ""
    sure: bool = False
    share: float = 0.0
    """The difference over the first's value, at most half of it either way: a bar's length."""


class Side:
    """A comparison and the units it is told in."""

    def __init__(self, found: Comparison, edge: Edge) -> None:
        self.found, self.edge = found, edge
        self.letters = LETTERS[: len(found.machines)]

    # -- parts of the whole --------------------------------------------------------------------------------------

    def machines(self) -> list[Paragraph]:
        """What each is, what gives out first, what holds its reel dryness."""
        said = []
        for letter, machine, limits in zip(LETTERS, self.found.machines, self.found.limits, strict=False):
            first = limits.binding
            if first is None:
                gives = phrase("compare.nothing_gives_out")
            elif first.over or first.speed is None:
                gives = phrase("compare.gives_out", part=speeds_told.first_out(limits, self.edge))
            else:
                speed = self.edge.text("speed", first.speed, 4)
                gives = phrase("compare.gives_out_at", part=first.part, speed=speed)
            text = phrase("compare.machine", title=machine.title, gives=gives, holder=_holder(machine))
            said.append(Paragraph(text=text, lead=f"{letter}  "))
        return said

    def headline(self) -> list[Table]:
        """The numbers of the first lines of a run, with differences; those of three or four machines apart."""
        values, differences, labels = [], [], []
        found = {row.name: row for row in self.found.numbers}
        for about in told_in("compare", found):
            row, word, digits = found[about.name], about.word, about.digits
            first = row.values[0]
            labels.append((about.short, self.edge.unit(word)))
            values.append([self._figure(word, value, digits) for value in row.values])
            apart = row.differences[1:]
            differences.append([NONE if first is None else self._difference(word, first, one) for one in apart])
        against = [phrase("compare.against", letter=letter) for letter in self.letters[1:]]
        if len(self.letters) == 2:
            rows = [(*a, *b, *c) for a, b, c in zip(labels, values, differences, strict=True)]
            return [_table(phrase("compare.headline"), [*self.letters, *against], rows, foot=phrase("compare.draws"))]
        return [
            _table(phrase("compare.headline"), self.letters, [(*a, *b) for a, b in zip(labels, values, strict=True)]),
            _table(phrase("compare.differences"), against,
                   [(*a, *b) for a, b in zip(labels, differences, strict=True)], foot=phrase("compare.draws")),
        ]  # fmt: skip

    def sheet(self) -> tuple[Table, Table]:
        """Dryness at the places every machine has; what each stage takes and at what price."""
        places = self._rows([(place, dryness) for place, dryness, _ in self.found.stations], "dryness", 3)
        taken = [(phrase("compare.takes", stage=stage), water) for stage, water, _ in self.found.water]
        price = [(phrase("compare.energy_of", stage=stage), energy) for stage, _, energy in self.found.water]
        rows = [*self._rows(taken, "water_per_fibre", 3), *self._rows(price, "heat_per_water", 2)]
        return (
            _table(phrase("compare.sheet"), self.letters, places),
            _table(phrase("compare.water"), self.letters, rows),
        )

    def parts(self) -> Table:
        """Highest speed of every part that has one; an arrow at what gives out first."""
        rows = [(part, self.edge.unit("speed"), *cells) for part, cells in self._speeds("{} ←")]
        return _table(phrase("compare.parts"), self.letters, rows, words=2 + len(self.letters))

    def _speeds(self, mark: str) -> list[tuple[str, list[str]]]:
        first = [limits.binding.part if limits.binding is not None else "" for limits in self.found.limits]
        rows = []
        for part, speeds in self.found.parts:
            texts = [self._figure("speed", speed, 4) for speed in speeds]
            rows.append((part, [
                mark.format(text) if one == part and speed is not None else text
                for one, text, speed in zip(first, texts, speeds, strict=True)
            ]))  # fmt: skip
        return rows

    def energy(self) -> Table:
        """Every consumer per product."""
        rows = self._rows([(name, values) for name, _, values in self.found.consumers], "specific_energy", 3)
        return _table(phrase("compare.energy"), self.letters, rows)

    def split(self, index: int) -> Table:
        """What a change of press brings: from load, from the assumed rewet, from the rest."""
        rows = []
        for one in self.found.splits[index - 1]:
            word = SPLIT[one.name]
            cells = [self._moved(word, value) for value in (one.total, one.load, one.rewet, one.rest)]
            rows.append((phrase(f"compare.press.{one.name}"), self.edge.unit(word) if word else "", *cells))
        heads = [phrase("compare.against", letter=LETTERS[index]),
                 *(phrase(f"compare.{key}") for key in ("from_load", "from_rewet", "rest"))]  # fmt: skip
        foot = phrase("compare.split_foot", letter=LETTERS[index])
        return _table(phrase("compare.split"), heads, rows, foot=foot)

    def card(self, index: int) -> tuple[Paragraph, ...]:
        """The change card to another machine."""
        return tuple(Paragraph(text=text, hang=3) for text in self.found.card(index).lines())

    # -- tables of the page --------------------------------------------------------------------------------------

    def numbers(self, *, everything: bool, equal: str) -> list[tuple[str, str, list[Compared]]]:
        """Label, unit and cells of the numbers: those of the headline, or all others."""
        known, found = headline(), {row.name: row for row in self.found.numbers}
        names = [n for n in found if n not in known] if everything else [n for n in known if n in found]
        rows = []
        for about in map(told_of, names):
            if about.word:
                rows.append((about.label, self.edge.unit(about.word), self._compared(found[about.name], about, equal)))
        return rows

    def _compared(self, row: Row, about: Number, equal: str) -> list[Compared]:
        cells, first, word = [], row.values[0], about.word
        for value, apart in zip(row.values, row.differences, strict=True):
            text = self._figure(word, value, about.digits)
            if value is None or apart is None or first is None or apart.value == 0:
                cells.append(Compared(text=text, difference=equal if value is not None and apart is not None else ""))
                continue
            move = self.edge.number(word, value) - self.edge.number(word, first)
            signed = self._signed(word, value, apart, move, 3)
            share = max(-0.5, min(0.5, move / abs(self.edge.number(word, first) or 1.0)))
            cells.append(Compared(text=text, difference=signed, sure=apart.sure, share=share))
        return cells

    @cached_property
    def _per_cent(self) -> list[tuple[str, ...]]:
        return [
            (place, *(NONE if v is None else figure(100 * v, 3) for v in dryness))
            for place, dryness, _ in self.found.stations
        ]

    def speeds_table(self, part: str, caption: str) -> Table:
        """Highest speed of every part in every machine; an arrow before what gives out first."""
        rows = [(name, *cells) for name, cells in self._speeds("→ {}")]
        return lined(key="speeds", heads=self._heads([part], self.edge.unit("speed")), rows=rows, caption=caption)

    def stations_table(self, place: str, caption: str) -> Table:
        """Dryness at the places every machine has."""
        return lined(key="stations", heads=self._heads([place], "%"), rows=self._per_cent, caption=caption)

    def consumers_table(self, heads: Sequence[str], caption: str) -> Table:
        """Energy of every consumer, with its kind."""
        rows = [
            (name, kind, *(rounded(self.edge.number("specific_energy", v)) for v in values))
            for name, kind, values in self.found.consumers
        ]
        unit = self.edge.unit("specific_energy")
        return lined(key="energy", heads=self._heads(heads, unit), rows=rows, words=2, caption=caption)

    def splits_tables(self, heads: Sequence[str]) -> list[tuple[str, Table]]:
        """Where the change of a press comes from, per machine; by the names of the headline."""
        made = []
        for number, split in enumerate(self.found.splits, start=1):
            rows = [row for one in split if (row := self._split_row(one)) is not None]
            if rows:
                table = lined(key=f"split-{number}", heads=[(head, "") for head in heads], rows=rows)
                made.append((LETTERS[number], table))
        return made

    def _split_row(self, one: PressSplit) -> tuple[str, ...] | None:
        about = numbers().get(one.name)
        if about is None or not finite(one.total):
            return None
        cells = []
        for value in (one.total, one.load, one.rewet, one.rest):
            moved = self.edge.number(about.word, value) - self.edge.number(about.word, 0.0)
            cells.append(f"+{figure(moved, 2)}" if moved > 0 else figure(moved, 2))
        return (f"{about.label}, {self.edge.unit(about.word)}", *cells)

    def _heads(self, words: Sequence[str], unit: str) -> list[tuple[str, str]]:
        return [*((word, "") for word in words), *((letter, unit) for letter in self.letters)]

    # -- numbers ---------------------------------------------------------------------------------------------------

    def _rows(
        self, rows: Iterable[tuple[str, Sequence[float | None]]], word: str, digits: int
    ) -> list[tuple[str, ...]]:
        unit = self.edge.unit(word)
        return [(name, unit, *(self._figure(word, value, digits) for value in values)) for name, values in rows]

    def _figure(self, word: str, value: float | None, digits: int) -> str:
        return NONE if value is None else self.edge.figure(word, value, digits)

    def _difference(self, word: str, first: float, one: Difference | None) -> str:
        """A difference with the ends of its draws, in the unit of its value."""
        if one is None:
            return NONE
        step = self.edge.number(word, first + one.value) - self.edge.number(word, first)
        if step == 0 and one.standard_uncertainty == 0:
            return "0"
        return self._signed(word, first, one, step, 2)

    def _signed(self, word: str, near: float, one: Difference, step: float, digits: int) -> str:
        low, high = (self.edge.number(word, near + end) - self.edge.number(word, near) for end in (one.low, one.high))
        said, ends = figure(step, digits), between(low, high)
        signed = said if step <= 0 else f"+{said}"
        return f"{signed} ({ends})" if ends else signed

    def _moved(self, word: str, value: float) -> str:
        moved = self.edge.number(word, value) if word else 100 * value
        return figure(moved, 2) if math.isfinite(moved) and abs(moved) >= 1e-9 else "0"


def _holder(machine: Machine) -> str:
    return phrase("compare.definition") if machine.yankee is None else machine.hold_reel_dryness_by


def _table(
    title: str, heads: Iterable[str], rows: Sequence[Sequence[Cell]], *, words: int = 2, foot: str = ""
) -> Table:  # fmt: skip
    """A table whose first column has the title for a head, the second the units."""
    columns = [Column(head=title, sort="word", bold=True), Column(sort="word")]
    columns += [Column(head=head, sort="word" if k < words else "number") for k, head in enumerate(heads, start=2)]
    return Table(columns=tuple(columns), rows=tuple(tuple(row) for row in rows), foot=foot)
