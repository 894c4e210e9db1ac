"""What a rebuild gains in money, told once: both ways with their intervals, what breaks even, what went in.

Everything is told of a rebuild as plain data (`record.plain` with its ends said), so that a page can set what was kept.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from thinstock.tell.blocks import Block, Column, Group, Table, words
from thinstock.tell.decision import Decided
from thinstock.tell.record import number, plain
from thinstock.tell.study import notes
from thinstock.words.figures import NONE, Edge, figure, grouped
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.studies.rebuild import Rebuild

Plain = Mapping[str, Any]
UNITS = {"J": ("MWh", 1 / 3.6e9), "kg": ("t", 1e-3), "money": ("", 1.0)}
"""Unit and size in which an amount is told, by the unit of its record."""


def told(found: Rebuild, edge: Edge) -> list[Block]:
    """The account; the two ways one below the other."""
    made = Account(plain(found, ends=True), edge)
    prices, dryness, physics = made.lead()
    before, after = phrase("rebuild.before", title=found.before), phrase("rebuild.after", title=found.after)
    ways = made.ways()
    return [
        Group(blocks=(words(before), words(after), words(prices))),
        Group(blocks=(words(dryness), words(physics))),
        Group(blocks=tuple(map(words, made.answer()))),
        replace(ways.only("name", "unit", "same", "same_ends"), foot=""),
        replace(ways.only("name", "unit", "more", "more_ends"), title=""),
        *(replace(table, title=table.caption) for table in made.below()),
        Group(blocks=notes(note.rstrip(".") for note in found.notes)),
    ]


class Account:
    """A rebuild, ready to be set."""

    def __init__(self, found: Plain, edge: Edge) -> None:
        self.found, self.edge, self.prices = found, edge, found["prices"]
        self.money = str(self.prices["currency"])

    def lead(self) -> tuple[str, str, str]:
        """Prices, dryness, and what the water alone would carry."""
        found = self.found
        title = self.prices["title"] or self.prices["file"]
        before, after = (_per_cent(found[key]) for key in ("dryness_before", "dryness_after"))
        said = phrase("rebuild.by_water", speed=f"{100 * number(found['speed_by_water']):.1f}")
        heat = number(found["heat_per_water"])
        if math.isfinite(heat):
            said += phrase("rebuild.by_heat", heat=f"{heat / 1e6:.2f}")
        return (
            phrase("rebuild.prices_lead", title=title, note=self.prices["note"]),
            phrase("rebuild.dryness", before=before, after=after),
            said + phrase("rebuild.held", held=found["held_speed"]),
        )

    def answer(self) -> list[str]:
        """What to have guaranteed, and what knowing is worth."""
        if not self.found.get("decision"):
            return []
        decided = Decided(self.found, self.money)
        return [decided.guarantee(), decided.knowing()]

    def tables(self) -> list[Table]:
        """All tables."""
        return [self.ways(), *self.below()]

    def below(self) -> list[Table]:
        """The tables below the account of a year."""
        spare = [self._spare()] if self.found["without_assumed"] else []
        return [*self.decided(), *spare, self._even(), self._factors()]

    def decided(self) -> list[Table]:
        """The rebuild as a decision; nothing in a record of before it was told."""
        return Decided(self.found, self.money).tables() if self.found.get("decision") else []

    def ways(self) -> Table:
        """Both ways side by side, every number with its interval."""
        ways = self.found["ways"]
        rows = [
            self._row(ways, "speed", phrase("rebuild.speed"), self.edge.unit("speed"),
                      scale=self.edge.number("speed", 1.0), digits=4),
            self._row(ways, "tonnes", phrase("rebuild.tonnes"), "t", scale=1e-3),
        ]  # fmt: skip
        for at, line in enumerate(ways[0]["lines"]):
            unit, scale = UNITS[line["unit"]]
            both, name = [way["lines"][at] for way in ways], line["name"]
            if unit and line["name"] != "tonnes more":
                rows.append(self._row(both, "amount", phrase("rebuild.saved", name=name), unit, scale=scale))
            rows.append(self._row(both, "money", phrase("rebuild.in_money", name=name), self.money))
        npv = phrase("rebuild.npv", years=self.prices["years"], rate=self.prices["rate"]["text"])
        rows += [
            self._row(ways, "yearly_saving", phrase("rebuild.saving"), self.money),
            self._row(ways, "outlay", phrase("rebuild.outlay"), self.money),
            self._row(ways, "net_present_value", npv, self.money),
            self._row(ways, "rate_of_return", phrase("rebuild.irr"), "% a year", scale=100.0),
            *self._paybacks(ways),
            self._row(ways, "carbon", phrase("rebuild.carbon"), "t", scale=1e-3),
        ]
        pays = (f"{100 * number(way['pays']):.0f}" for way in ways)
        rows.append((phrase("rebuild.pays"), "%", *(cell for share in pays for cell in (share, ""))))
        caption = phrase("rebuild.ways", money=f"{self.money} of {self.prices['year']}")
        return self._table("ways", rows, caption, foot=phrase("rebuild.ways_foot"))

    def _spare(self) -> Table:
        """The same if the assumed gain in rewet is nothing, in short."""
        ways = self.found["without_assumed"]
        rows = [
            self._row(ways, "yearly_saving", phrase("rebuild.saving"), self.money),
            self._row(ways, "net_present_value", phrase("rebuild.npv_short"), self.money),
            *self._paybacks(ways),
        ]
        old, new = (figure(1e3 * number(rewet), 2) for rewet in self.found["rewet"])
        return self._table("spare", rows, phrase("rebuild.spare", old=old, new=new))

    def _paybacks(self, ways: Sequence[Plain]) -> list[tuple[str, ...]]:
        return [
            self._row(ways, "payback", phrase("rebuild.payback"), "years", digits=2),
            self._row(ways, "payback_discounted", phrase("rebuild.payback_interest"), "years", digits=2),
        ]

    def _row(
        self, ways: Sequence[Plain], key: str, said: str, unit: str, *, scale: float = 1.0, digits: int = 3
    ) -> tuple[str, ...]:  # fmt: skip
        """A number of both ways, each with its interval unless it is a point."""
        cells: list[str] = []
        for one in (way[key] for way in ways):
            if one is None:
                cells += [NONE, ""]
                continue
            middle = one["value"] if one.get("median") is None else one["median"]
            value, low, high = (number(end) * scale for end in (middle, one["low"], one["high"]))
            ends = phrase("rebuild.ends", low=grouped(low, digits), high=grouped(high, digits))
            cells += [grouped(value, digits), "" if low == high else ends]
        return (said, unit, *cells)

    def _table(self, key: str, rows: Sequence[tuple[str, ...]], caption: str, foot: str = "") -> Table:
        same, more, interval = (phrase(f"rebuild.{name}") for name in ("same", "more", "interval"))
        made = (
            Column(key="name", head=phrase("rebuild.number"), short="", sort="word"),
            Column(key="unit", head=phrase("rebuild.unit"), short="", sort="word"),
            Column(key="same", head=same, sort="end"),
            Column(key="same_ends", head=interval, unit=same.lower(), sort="end"),
            Column(key="more", head=more, sort="end"),
            Column(key="more_ends", head=interval, unit=more.lower(), sort="end"),
        )
        return Table(key=key, columns=made, rows=tuple(rows), caption=caption, title=caption, foot=foot)

    def _even(self) -> Table:
        """Prices at which it neither gains nor loses."""
        ways, money = self.found["ways"], self.money
        known = {"rebuild.contribution": (f"{money}/t", 1e3), "rebuild.investment": (money, 1.0)}
        rows = []
        for name in dict.fromkeys(name for way in ways for name in way["break_even"]):
            unit, scale = known.get(name, (f"{money}/MWh", 3.6e9))
            cells = []
            for way in ways:
                value = number(way["break_even"].get(name))
                some = phrase("rebuild.any") if value < 0 else grouped(value * scale, 3)
                cells.append(some if name in way["break_even"] else NONE)
            rows.append((name.rpartition(".")[2].replace("_", " "), unit, *cells))
        made = (
            Column(head=phrase("rebuild.amount"), short="", sort="word"),
            Column(head=phrase("rebuild.unit"), short="", sort="word"),
            Column(head=phrase("rebuild.same"), sort="end"), Column(head=phrase("rebuild.more"), sort="end"),
        )  # fmt: skip
        return Table(key="even", columns=made, rows=tuple(rows), caption=phrase("rebuild.even"))

    def _factors(self) -> Table:
        """Every amount that went in, its range, and where it comes from."""
        heads = {"amount": "", "likeliest": None, "range": None, "source": None}
        made = tuple(Column(head=phrase(f"rebuild.{key}"), short=short, sort="word") for key, short in heads.items())
        rows = tuple((one["name"], one["text"], self._range(one), one["source"]) for one in self.found["factors"])
        return Table(key="factors", columns=made, rows=rows, caption=phrase("rebuild.went_in"))

    def _range(self, one: Plain) -> str:
        prices = self.prices
        amount = prices["rate"] if one["name"] == "rebuild.rate" else prices["amounts"].get(one["name"])
        if not amount or amount["low"] is None or amount["high"] is None or not amount["value"]:
            return ""
        low, high = (100 * (amount[end] / amount["value"] - 1) for end in ("low", "high"))
        return f"{low:+.0f} / {high:+.0f} %".replace("-", "−")


def _per_cent(one: Plain) -> str:
    middle = one["value"] if one.get("median") is None else one["median"]
    value, low, high = (f"{100 * number(end):.1f}" for end in (middle, one["low"], one["high"]))
    return phrase("rebuild.per_cent", value=value, low=low, high=high)
