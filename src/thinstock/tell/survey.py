"""A reconciled round, and what changed between two, told once: verdict, readings, whom to doubt, what to read next.

In sentences for a superintendent. Ties are told as ties, and what nothing checks is said so; every number comes from
the findings.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from thinstock.survey.network import kind_of
from thinstock.survey.round import shown
from thinstock.survey.suspected import slipped
from thinstock.tell.blocks import Block, Column, Group, Paragraph, Table, marked, points, words
from thinstock.words.figures import NONE, figure, plus_minus
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.survey.change import Change
    from thinstock.survey.findings import Doubt, Findings, Imbalance, Row
    from thinstock.survey.next_reading import Next
    from thinstock.survey.table import Reading

SIGNIFICANCE = 0.05
FAR = 2.5
"""Balances of the readings that miss by more standard uncertainties than this are told."""
MOST = 4
NOTES_SHOWN = 3
WEBS = ("web_formed", "web_vacuum", "web_pressed", "reel")
"""Streams whose consistency is called dryness."""
SHOWN_VALUES = (
    ("white_water", "flow"), ("white_water", "consistency:fibre"), ("fan", "flow"), ("jet", "flow"),
    ("web_formed", "consistency:fibre"), ("web_vacuum", "consistency:fibre"), ("web_pressed", "consistency:fibre"),
    ("vapour", "flow"),
)  # fmt: skip
"""Values worth telling where nobody read them."""


# -- names and numbers -------------------------------------------------------------------------------------------------


def in_words(stream: str, quantity: str) -> str:
    """A quantity as the trade calls it at that stream."""
    if quantity in ("consistency", "consistency:fibre") and kind_of(stream) in WEBS:
        return phrase("survey.dryness")
    return quantity.removesuffix(":fibre")


def named(stream: str, quantity: str) -> str:
    """A reading as one calls it."""
    return phrase("survey.reading_of", stream=stream, quantity=in_words(stream, quantity))


class Names:
    """What streams, nodes and readings are called and in which unit they are told: here as the table's own columns."""

    def stream(self, stream: str) -> str:
        """A stream."""
        return stream

    def node(self, nodes: str) -> str:
        """The nodes a balance is drawn around."""
        return nodes

    def component(self, component: str) -> str:
        """What a balance is of."""
        return component

    def reading(self, stream: str, quantity: str) -> str:
        """A reading as one calls it."""
        return named(stream, quantity)

    def shown(self, value: float, quantity: str, reading: Reading | None = None) -> tuple[float, str]:
        """A value and its unit; of a reading where it is known."""
        return shown(value, quantity)


COLUMNS = Names()


def told_value(value: float, spread: float, quantity: str, digits: int = 4) -> str:
    """A value with its standard uncertainty in the unit of the mill, without the unit."""
    number, _ = shown(value, quantity)
    if not math.isfinite(number):
        return NONE
    return plus_minus(number, abs(shown(value + spread, quantity)[0] - number), digits)


def signed(value: float) -> str:
    """A number of standard uncertainties with its sign."""
    return f"{value:+.1f}".replace("-", "−")


# -- sentences -------------------------------------------------------------------------------------------------------


def verdict(findings: Findings, names: Names = COLUMNS) -> str:
    """One sentence on the whole."""
    tested, chance = _tested(findings, names)
    if findings.passed:
        high = ", ".join(names.reading(*row.key) for row in findings.rows if abs(row.score) > findings.critical)
        but = phrase("survey.but", list=high) if high else ""
        return phrase("survey.verdict_agree", tested=tested, chance=chance, but=but)
    return phrase("survey.verdict_disagree", tested=tested, chance=chance, odds=_odds(findings))


def stands_on(findings: Findings, names: Names = COLUMNS) -> str:
    """What the verdict stands on, without it."""
    tested, chance = _tested(findings, names)
    if findings.passed:
        return phrase("survey.stands_on", tested=tested, chance=chance)
    return phrase("survey.stands_against", tested=tested, chance=chance, odds=_odds(findings))


def _odds(findings: Findings) -> str:
    rare = findings.reconciliation.result.probability
    return phrase("survey.once_in", count=figure(1 / rare, 1)) if rare > 1e-9 else phrase("survey.never")


def _tested(findings: Findings, names: Names) -> tuple[str, str]:
    result = findings.reconciliation.result
    aside = ", ".join(names.reading(*key) for key in findings.set_aside)
    checks = int(result.degrees_of_freedom)
    tested = phrase(
        "survey.tested_one" if checks == 1 else "survey.tested", count=len(findings.rows), checks=checks,
        aside=phrase("survey.aside", list=aside) if aside else "",
    )  # fmt: skip
    chance = phrase("survey.chance", statistic=figure(result.statistic, 3), checks=checks)
    return tested, chance


def imbalance_lines(findings: Findings, names: Names = COLUMNS) -> list[str]:
    """Balances that do not close from readings alone, the worst first."""
    bad = [b for b in findings.imbalances if abs(b.score) > FAR]
    return [_imbalance(b, names) for b in bad[:MOST]] + _more(len(bad) - MOST, "survey.and_more")


def _imbalance(one: Imbalance, names: Names) -> str:
    missing, unit = names.shown(abs(one.missing), "flow")
    return phrase(
        "survey.more_in" if one.missing > 0 else "survey.more_out", component=names.component(one.component),
        node=names.node(one.node), missing=figure(missing, 3), spread=figure(names.shown(one.spread, "flow")[0], 2),
        unit=unit, score=figure(abs(one.score), 2), streams=", ".join(map(names.stream, one.streams)),
    )  # fmt: skip


def _more(count: int, key: str) -> list[str]:
    return [phrase(key, count=count)] if count > 0 else []


def closing_line(findings: Findings) -> str:
    """What to say where no balance of readings misses by much; empty where none can be drawn."""
    closed = len(findings.imbalances)
    if not closed:
        return ""
    worst = figure(max(abs(b.score) for b in findings.imbalances), 2)
    return phrase("survey.closed_one" if closed == 1 else "survey.closed", count=closed, worst=worst)


def doubt_lines(findings: Findings, names: Names = COLUMNS) -> list[str]:
    """Whom to doubt; empty where the test passes."""
    if findings.passed:
        return []
    if findings.reconciliation.result.degrees_of_freedom == 1:
        each = ", ".join(names.reading(*row.key) for row in findings.rows if row.redundancy > 1e-10)
        return [phrase("survey.one_check", list=each)]
    if not findings.doubts:
        return [*slip_lines(findings, names), phrase("survey.nothing_explains")]
    lines = [_doubt(findings, doubt, names, first=rank == 0) for rank, doubt in enumerate(findings.doubts[:MOST])]
    return suspect_lines(findings, names) + lines + _more(len(findings.doubts) - MOST, "survey.and_more_sets")


def slip_lines(findings: Findings, names: Names) -> list[str]:
    """Readings that may be in another unit than was written."""
    return [
        phrase("survey.slipped", reading=names.reading(*findings.rows[one.place].key),
               factor=figure(max(one.factor, 1.0 / one.factor), 3), way="high" if one.factor > 1.0 else "low")
        for one in slipped(findings.round, findings.reconciliation)
    ]  # fmt: skip


def _share(probability: float) -> str:
    """A probability in per cent; what is nearly sure is not called sure."""
    return phrase("survey.nearly_sure") if probability > 0.99 else figure(100 * probability, 2)


def suspect_lines(findings: Findings, names: Names = COLUMNS) -> list[str]:
    """If one reading is wrong: who it may be, with odds; nothing where no single reading explains the misfit."""
    found = findings.suspected
    if found is None:
        return []
    told = []
    for one in found.suspects:
        who = _members(findings, (one.place,), (one.bias,), names)
        slip = phrase("survey.slip", factor=figure(one.slip if one.slip > 1 else 1 / one.slip, 2)) if one.slip else ""
        told.append(phrase("survey.suspect", reading=who, odds=_share(one.probability), slip=slip))
    lines = [phrase("survey.suspects_one" if len(told) == 1 else "survey.suspects_some", list="; ".join(told))]
    if findings.apart:
        best = [phrase("survey.apart_reading", reading=names.reading(a.stream, a.quantity),
                       uncertainty=figure(100 * a.uncertainty, 2)) for a in findings.apart]  # fmt: skip
        lines.append(phrase("survey.apart", list=", ".join(best)))
    return lines


def _doubt(findings: Findings, doubt: Doubt, names: Names, *, first: bool) -> str:
    sets = [_members(findings, m, b, names) for m, b in zip(doubt.sets, doubt.biases, strict=True)]
    key, p = "survey.without" if first else "survey.or_without", figure(doubt.probability, 2)
    if len(sets) == 1:
        return phrase(key, set=sets[0], p=p)
    return phrase(f"{key}_tie", sets="; ".join(sets), p=p, count=len(sets))


def _members(findings: Findings, members: tuple[int, ...], biases: tuple[float, ...], names: Names) -> str:
    parts = []
    for i, bias in zip(members, biases, strict=True):
        row = findings.rows[i]
        number, unit = names.shown(row.reading.value, row.reading.quantity, row.reading)
        other, _ = names.shown(row.reading.value - bias, row.reading.quantity, row.reading)
        true = row.reading.value - bias
        share = 100 * abs(bias / true) if true else 0.0
        key = "reads_where_none" if not true else "reads_high" if bias > 0 else "reads_low"
        parts.append(phrase(
            f"survey.{key}", reading=names.reading(*row.key),
            amount=figure(abs(number - other), 2), unit=unit, share=figure(share, 2),
        ))  # fmt: skip
    return phrase("survey.and").join(parts)


def next_lines(findings: Findings, names: Names = COLUMNS) -> list[str]:
    """What to measure next time, best first."""
    seen = {row.key for row in findings.rows}
    return [_next(n, names, again=(n.stream, n.quantity) in seen) for n in findings.next_readings]


def _next(one: Next, names: Names, *, again: bool) -> str:
    uncertainty, before, after = (figure(100 * share, 2) for share in (one.uncertainty, one.before, one.after))
    return phrase(
        "survey.next_again" if again else "survey.next", reading=names.reading(one.stream, one.quantity),
        uncertainty=uncertainty, target=names.reading(*one.target), before=before, after=after,
    )  # fmt: skip


# -- tables ----------------------------------------------------------------------------------------------------------


def follow_rows(findings: Findings, names: Names | None = None) -> list[tuple[str, ...]]:
    """Values nobody read that the balance gives: stream, quantity, value, unit; with `names` a reading, value, unit."""
    found = findings.reconciliation
    total = f"consistency:{found.network.components[0]}"
    read = {row.key for row in findings.rows}
    read |= {(stream, total) for stream, quantity in read if quantity == "consistency"}
    single = len(found.network.solids) == 1
    rows: list[tuple[str, ...]] = []
    for key in SHOWN_VALUES:
        stream, quantity = key
        if key in read or not math.isfinite(found.value.get(key, math.nan)) or (":" in quantity and not single):
            continue
        value, spread = found.value[key], found.standard_uncertainty[key]
        if names is not None:
            (near, unit), (far, _) = (names.shown(v, quantity) for v in (value, value + spread))
            rows.append((names.reading(*key), plus_minus(near, abs(far - near), 4), unit))
            continue
        rows.append(
            (stream, in_words(stream, quantity), told_value(value, spread, quantity), shown(value, quantity)[1])
        )
    return rows


def detectable(row: Row) -> str:
    """Smallest error of a reading that would be seen, per cent; none where none would."""
    return figure(100 * row.detectable, 2) if row.detectable < 1 else phrase("survey.none")


def score(row: Row) -> str:
    """How far a reading is from what chance allows."""
    return f"{abs(row.score):.1f}" if math.isfinite(row.score) else NONE


def readings_table(findings: Findings) -> Table:
    """Readings before and after; an arrow at those that are doubtful."""
    rows = []
    for row in findings.rows:
        stream, quantity = row.key
        rows.append((
            str(row.number or ""), stream if row.number else phrase("survey.by_heat", stream=stream),
            in_words(stream, quantity), shown(row.reading.value, quantity)[1],
            told_value(row.reading.value, row.reading.standard_uncertainty, quantity),
            told_value(row.value, row.standard_uncertainty, quantity), signed(row.adjustment),
            score(row) + (" ←" if row.doubtful else "  "), detectable(row),
        ))  # fmt: skip
    heads = {"reading": "", "": "", "unit": "", "read": "", "reconciled": "", "moved": "u", "score": "",
             "smallest": phrase("survey.page.smallest_unit")}  # fmt: skip
    made = [Column(sort="end")]
    for k, (key, unit) in enumerate(heads.items()):
        head = phrase(f"survey.page.{key}") if key else ""
        made.append(Column(head=head, unit=unit, sort="word" if k < 3 else "end"))
    return Table(key="readings", columns=tuple(made), rows=tuple(rows), indented=False)


# -- pages -----------------------------------------------------------------------------------------------------------


def told(rounds: Sequence[Findings], moved: Sequence[Change], *, all_notes: bool = False) -> list[Block]:
    """One round, or two with what changed."""
    machine = rounds[0].round.machine
    blocks: list[Block] = [Group(title=machine.title, blocks=_some(machine.scenario))]
    for findings in rounds:
        blocks += _round(findings, all_notes)
    if moved:
        blocks.append(changes(moved))
    return [*blocks, words(phrase("survey.page.caution"))]


def _some(*texts: str) -> tuple[Paragraph, ...]:
    return tuple(words(text) for text in texts if text)


def _listed(key: str, lines: Iterable[str]) -> list[Group]:
    """Sentences under a heading; nothing where there are none."""
    items = points(lines)
    return [Group(title=phrase(key), blocks=(items,))] if items.items else []


def _round(findings: Findings, all_notes: bool) -> list[Block]:
    notes = findings.notes if all_notes else findings.notes[:NOTES_SHOWN]
    said: list[Block] = list(marked(map(str, notes), "* "))
    said += _some(*_more(len(findings.notes) - len(notes), "survey.page.more_notes"))
    bad = imbalance_lines(findings)
    follows = follow_rows(findings)
    made = (Column(sort="word"), Column(sort="word"), Column(sort="end"), Column(sort="word"))
    return [
        Group(title=findings.round.name, blocks=(words(verdict(findings)),)),
        readings_table(findings),
        words(phrase("survey.page.legend", critical=figure(findings.critical, 2))),
        *(_listed("survey.page.does_not_close", bad) if bad else _some(closing_line(findings))),
        *_listed("survey.page.doubtful", doubt_lines(findings)),
        *([Table(columns=made, rows=tuple(follows), title=phrase("survey.page.follows"))] if follows else []),
        *_listed("survey.page.next", next_lines(findings)),
        *([Group(blocks=tuple(said))] if said else []),
    ]


def changes(moved: Sequence[Change]) -> Group:
    """What changed between two rounds: all that is claimed, and some of the rest."""
    real = sum(c.claimed for c in moved)
    ranked = sorted(moved, key=lambda c: -abs(c.difference) / max(c.claimable, 1e-300))
    chosen: list[Change] = []
    for one in ranked:
        if one.claimed or len(chosen) < max(real, 10):
            chosen.append(one)
    columns = [Column(sort="word"), Column(sort="word"), Column(head=phrase("survey.changes.unit"), sort="word")]
    columns += [Column(head=phrase(f"survey.changes.{key}"), sort="end")
                for key in ("before", "after", "difference", "least")]  # fmt: skip
    table = Table(
        key="changes", columns=tuple(columns), rows=tuple(map(_change, chosen)),
        marked=frozenset(k for k, one in enumerate(chosen) if one.claimed),
    )  # fmt: skip
    surer = sum(c.standard_uncertainty < 0.9 * c.independent for c in moved)
    p = figure(moved[0].together, 2) if moved[0].together >= 1e-4 else "< 0.0001"
    joint = phrase("survey.changes.something" if moved[0].together < SIGNIFICANCE else "survey.changes.nothing", p=p)
    first = Paragraph(text=joint, lead="  ")
    foot = phrase("survey.changes.foot", surer=surer, all=len(moved))
    return Group(title=phrase("survey.changes.title"), blocks=(first, table, words(foot)))


def _change(one: Change) -> tuple[str, ...]:
    before, unit = shown(one.before, one.quantity)
    after = shown(one.after, one.quantity)[0]
    spread = shown(one.before + one.claimable, one.quantity)[0] - before
    apart = plus_minus(after - before, spread / 1.96, 3) if spread > 0 else figure(after - before, 2)
    return (
        one.stream, in_words(one.stream, one.quantity), unit, figure(before, 4), figure(after, 4), apart,
        figure(spread, 2),
    )  # fmt: skip
