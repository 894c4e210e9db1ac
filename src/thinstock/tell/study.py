"""How sure the numbers are, which input matters, the best setting: told once, of what was just found or of its record.

Functions that end in `_table` take a study as plain data (`record.plain` with its ends said), so that a page can set
what was kept; `sure`, `matters` and `best` are whole pages.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from thinstock.evidence.outputs import label
from thinstock.machine.numbers import number as told_of
from thinstock.tell.blocks import (
    Bar,
    Block,
    Cell,
    Column,
    Group,
    Paragraph,
    Table,
    lined,
    marked,
    words,
)  # fmt: skip
from thinstock.tell.record import number, plain
from thinstock.words.figures import NONE, Edge, figure
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Q, show

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.studies.best import Best
    from thinstock.studies.best_draws import BestDrawn
    from thinstock.studies.machine_uncertainty import Uncertainty
    from thinstock.studies.matters import Matters

Plain = Mapping[str, Any]
MOVERS = 8
"""So many inputs stand in a table of what matters; on a terminal five."""


def edge_of(machine: Machine, unit_set: Any) -> Edge:
    """The units at the edge, gauge pressures over the air of the machine's site."""
    return Edge(unit_set=unit_set, air=float(machine.site.atmospheric_pressure()))


def notes(texts: Iterable[str]) -> tuple[Paragraph, ...]:
    """What to be wary of."""
    return marked(phrase("study.note", text=text) for text in texts)


# -- how sure --------------------------------------------------------------------------------------------------------


class Sure:
    """One result with its uncertainty, in its unit; a difference counts from zero."""

    def __init__(self, row: Plain, edge: Edge, *, differ: bool) -> None:
        self.name, self.word, self.edge, self.differ = row["name"], told_of(row["name"]).word, edge, differ
        self.value, self.mean = self.shown(number(row["value"])), number(row["mean"])
        ends = (row["low"], row["high"]) if row.get("low") is not None else row["shortest"]
        self.low, self.high = (self.shown(number(end)) for end in ends)
        self.median = self.shown(number(row["median"])) if row.get("median") is not None else self.value
        self.u, self.slopes = (
            edge.spread(self.word, self.mean, number(row[key])) for key in ("standard_uncertainty", "first_order")
        )

    def shown(self, value: float) -> float:
        """A value in its unit."""
        if not self.differ:
            return self.edge.number(self.word, value)
        return self.edge.number(self.word, 1.0 + value) - self.edge.number(self.word, 1.0)

    def cells(self) -> tuple[str, ...]:
        """Name, unit, median, value as it stands, u, both ends in one, the ends, u by slopes."""
        first = (label(self.name), self.edge.unit(self.word), figure(self.median, 3), figure(self.value, 4))
        if not math.isfinite(self.mean):
            return (*first, NONE, phrase("study.too_few"), NONE, NONE, NONE)
        low, high = figure(self.low, 3), figure(self.high, 3)
        return (*first, figure(self.u, 2), phrase("study.ends", low=low, high=high), low, high, figure(self.slopes, 2))


def sure_table(found: Plain, edge: Edge, *, differ: bool) -> Table:
    """Values with their intervals; `ends` has both ends in one cell, `low` and `high` one each."""
    share = phrase("study.share", share=f"{100 * found.get('central', found['share']):.0f}")
    made = (
        Column(key="name", head=phrase("study.number"), short="", sort="word"),
        Column(key="unit", head=phrase("study.unit"), short="", sort="word"),
        Column(key="median", head=phrase("study.median"), sort="end", bold=True),
        Column(key="value", head=phrase("study.value"), sort="end"),
        Column(key="u", head=phrase("study.u"), sort="end"),
        Column(key="ends", head=share, sort="end", bold=True),
        Column(key="low", head=phrase("study.from"), unit=share, sort="end"),
        Column(key="high", head=phrase("study.to"), unit=share, sort="end"),
        Column(key="slopes", head=phrase("study.u_slopes"), sort="end"),
    )
    rows = tuple(Sure(row, edge, differ=differ).cells() for row in found["rows"])
    caption = phrase("study.sure.caption_two") if differ else phrase("study.sure.caption")
    return Table(key="sure", columns=made, rows=rows, caption=caption)


def firm(found: Plain) -> str:
    """Whether the digits stand firm."""
    return phrase("study.firm") if found["settled"] else phrase("study.not_firm")


def sure(first: Machine, second: Machine | None, found: Uncertainty, edge: Edge) -> list[Block]:
    """Values of a machine, or differences of two, with their intervals."""
    about = plain(found, ends=True)
    head = [words(first.title)]
    if second is not None:
        common = phrase("study.sure.common_of", common=found.common, inputs=len(found.inputs))
        head = [
            words(phrase("study.sure.first", title=first.title)),
            Paragraph(text=phrase("study.sure.second", title=second.title)),
            words(common),
        ]
    table = sure_table(about, edge, differ=second is not None).only(
        "name", "unit", "median", "ends", "value", "u", "slopes"
    )
    foot = phrase(
        "study.sure.foot", draws=found.draws, inputs=len(found.inputs), firm=firm(about), seed=found.seed
    )  # fmt: skip
    return [Group(blocks=tuple(head)), table, Group(blocks=(words(foot), *notes(found.notes)))]


# -- what matters ----------------------------------------------------------------------------------------------------


def matters_table(row: Plain, named: Callable[[str], str], edge: Edge) -> Table:
    """What moves one result most: shares of what is uncertain, and what an input does alone."""
    word = told_of(row["name"]).word
    weighed = row["movers"] if row["movers"] and row["movers"][0]["first"] is not None else alone(row)
    rows = []
    for mover in weighed[:MOVERS]:
        shares = (number(mover[key]) for key in ("first", "total"))
        said = [f"{max(100 * s, 0.0):.0f}" if math.isfinite(s) else NONE for s in shares]
        ends = (edge.figure(word, number(mover[end]), 4) for end in ("low", "high"))
        rows.append((named(mover["input"]["address"]), mover["input"]["status"], *said, *ends))
    unit = edge.unit(word)
    units = {"input": "", "known": "", "own": "%", "with_others": "%", "at_5": unit, "at_95": unit}
    heads = [(phrase(f"study.matters.{key}"), of) for key, of in units.items()]
    caption = phrase("study.matters.table", name=label(row["name"]))
    return lined(key=row["name"], heads=heads, rows=rows, words=2, caption=caption)


def alone(row: Plain) -> list[Plain]:
    """Inputs by what each does when it moves alone, the most first."""
    movers = [m for m in row["movers"] if math.isfinite(number(m["low"])) and math.isfinite(number(m["high"]))]
    return sorted(movers, key=lambda m: -abs(number(m["high"]) - number(m["low"])))


def matters(machine: Machine, found: Matters, edge: Edge) -> list[Block]:
    """What to measure better first, then the shares."""
    blocks: list[Block] = [words(machine.title)]
    for row in found.rows:
        word = told_of(row.name).word
        value = edge.text(word, row.value, 3, row.standard_deviation)
        advice = Paragraph(text=phrase("study.note", text=row.advice), lead="  ")
        said = (words(phrase("study.matters.head", name=label(row.name), value=value)), advice)
        blocks.append(Group(blocks=(*said, *_movers(plain(row, ends=True), word, edge))))
    foot = phrase("study.matters.foot", runs=found.evaluations, inputs=found.inputs, seed=found.seed)
    return [*blocks, Group(blocks=(words(foot), *notes(found.notes)))]


def _movers(row: Plain, word: str, edge: Edge) -> list[Table]:
    rows: list[tuple[Cell, ...]] = []
    for mover in row["movers"][:5]:
        first, total = number(mover["first"]), number(mover["total"])
        if math.isfinite(first) and total < 0.01:
            continue
        shares = [f"{100 * share:.0f}" if math.isfinite(share) else NONE for share in (first, total)]
        low, high = (figure(edge.number(word, number(mover[end])), 3) for end in ("low", "high"))
        ends = phrase("study.ends", low=low, high=high)
        rows.append(
            (f"    {mover['input']['address']}", Bar(first, length=10), *shares, ends, mover["input"]["status"])
        )
    if not rows:
        return []
    units = {"own_short": "%", "others_short": "%", "from_to": edge.unit(word)}
    made = (
        Column(head=f"    {phrase('study.matters.input')}", sort="word"), Column(sort="word"),
        *(Column(head=phrase(f"study.matters.{key}"), unit=unit, sort="end") for key, unit in units.items()),
        Column(head=phrase("study.matters.from"), sort="word"),
    )  # fmt: skip
    return [Table(columns=made, rows=tuple(rows), indented=False)]


# -- the best setting ------------------------------------------------------------------------------------------------


def best(machine: Machine, found: Best, edge: Edge, drawn: BestDrawn | None = None) -> list[Block]:
    """The setting, what it gives, what it is over the draws, what it leans on and what it is blind to."""
    settings = []
    for where, value in found.setting.items():
        about = machine.declaration(where).about
        assert isinstance(about, Q)
        there = phrase("study.best.idle") if where in found.idle else show(value, about)
        settings.append((where, show(float(machine.get(where)), about), there))
    given = []
    for name, pair in {found.result: (found.before, found.value), **found.others}.items():
        given.append((label(name), *(edge.text(told_of(name).word, value, 3) for value in pair)))
    now, sought = phrase("study.best.now"), phrase("study.best.for", sought=found.sought, name=label(found.result))
    held = [phrase("study.best.held_back_one", part=part, count=count) for part, count in found.held_back.items()]
    lists = (("leans_on", found.leans_on), ("held_back", held), ("blind_spots", found.blind_spots))
    return [
        words(machine.title),
        _both(phrase("study.best.setting"), (now, sought), settings),
        _both(phrase("study.best.gives"), (now, phrase("study.best.there")), given),
        *([] if drawn is None else _best_drawn(machine, found, drawn, edge)),
        *(Group(title=phrase(f"study.best.{key}"), blocks=marked(texts)) for key, texts in lists if texts),
        Group(blocks=(
            words(phrase("study.best.cases", cases=found.cases, feasible=found.feasible)),
            words(phrase("study.not_known")),
        )),
    ]  # fmt: skip


def _best_drawn(machine: Machine, found: Best, drawn: BestDrawn, edge: Edge) -> list[Block]:
    """The draws' own best settings: middle and ends; and in how many draws the one setting holds."""
    word = told_of(found.result).word
    rows = []
    for where, ends in drawn.setting.items():
        about = machine.declaration(where).about
        assert isinstance(about, Q)
        rows.append((where, *(show(float(f"{v:.3g}"), about) if math.isfinite(v) else NONE for v in ends)))
    for text, ends in ((label(found.result), drawn.value), (phrase("study.best.with_found"), drawn.value_there)):
        rows.append((text, *(edge.text(word, v, 3) if math.isfinite(v) else NONE for v in ends)))
    heads = tuple(phrase(f"study.best.{name}") for name in ("low", "median", "high"))
    said = phrase("study.best.drawn", origin=drawn.origin, draws=drawn.draws)
    told = [
        phrase("study.best.holds", share=f"{100.0 * drawn.holds:.0f}"),
        phrase("study.best.without", share=f"{100.0 * drawn.without:.2g}"),
        *drawn.said,
    ]
    order = [(row[0], row[2], row[1], row[3]) for row in rows]
    return [_both(said, (heads[1], heads[0], heads[2]), order), Group(blocks=tuple(words(text) for text in told))]


def _both(head: str, heads: Sequence[str], rows: Iterable[tuple[str, ...]]) -> Table:
    made = (Column(head=head, sort="word"), *(Column(head=text, sort="end") for text in heads))
    return Table(columns=made, rows=tuple(rows))
