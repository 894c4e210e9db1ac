"""A measuring plan for one answer, told once: how sure it is, what each reading would bring, and for how much money."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from thinstock.machine.numbers import number
from thinstock.survey.round import shown
from thinstock.tell.blocks import Block, Column, Table, points, words
from thinstock.tell.record import FORMAT, plain
from thinstock.tell.survey import named
from thinstock.words.figures import NONE, figure
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.studies.measuring import Candidate, Measuring, Ranked
    from thinstock.words.figures import Edge

MOST = 12


def plan_told(found: Measuring, edge: Edge) -> list[Block]:
    """The whole plan."""
    about = number(found.target)
    size = edge.spread(about.word, found.middle, found.before)
    now = phrase(
        "history.plan.now", label=found.label, value=edge.text(about.word, found.middle, about.digits, found.before),
        low=edge.figure(about.word, found.low, about.digits), high=edge.figure(about.word, found.high, about.digits),
        origin=found.origin, draws=found.draws,
    )  # fmt: skip
    asked = [phrase("history.plan.asked_at", said=found.said)] if found.said else []
    best = found.telling[:MOST]
    if not best:
        return [words(now, *asked), words(phrase("history.plan.nothing"))]
    order = phrase("history.plan.by_cost" if found.by_cost else "history.plan.by_narrowing")
    blocks: list[Block] = [words(now, *asked, order), _table(found, best, size, edge)]
    if found.pair is not None:
        share = 100.0 * (1.0 - found.pair_after / found.before)
        one, other = (name_of(r.candidate) for r in found.pair)
        blocks.append(words(phrase("history.plan.pair", one=one, other=other, share=figure(share, 2))))
    silent = [name_of(r.candidate) for r in found.ranked if r not in best]
    left = [name_of(c) for c in found.left_out]
    lines = [phrase("history.plan.silent", list=", ".join(silent))] if silent else []
    lines += [phrase("history.plan.left_out", list=", ".join(left))] if left else []
    return [*blocks, *([points(lines)] if lines else []), words(phrase("history.plan.foot"))]


def name_of(one: Candidate) -> str:
    """A reading as one calls it, with the settings and repeats it is taken with."""
    name = named(one.stream, one.quantity)
    name = phrase("history.plan.repeated", name=name, count=one.repeats) if one.repeats > 1 else name
    return phrase("history.plan.at", name=name, said=one.said) if one.said else name


def _table(found: Measuring, best: tuple[Ranked, ...], size: float, edge: Edge) -> Table:
    about = number(found.target)
    heads = [("reading", ""), ("to", ""), ("narrower", "%"), ("after", edge.unit(about.word))]
    if any(r.candidate.cost is not None for r in best):
        heads += [("cost", ""), ("per_cost", "%")]
    columns = tuple(
        Column(head=phrase(f"history.plan.{key}"), unit=unit, sort="word" if key == "reading" else "end",
               grows=key == "reading")
        for key, unit in heads
    )  # fmt: skip
    return Table(key="plan", columns=columns, rows=tuple(_row(r, found, size, len(heads) > 4) for r in best),
                 indented=False)  # fmt: skip


def _row(one: Ranked, found: Measuring, size: float, costs: bool) -> tuple[str, ...]:
    quantity = one.candidate.quantity
    near, unit = shown(one.predicted, quantity)
    far, _ = shown(one.predicted + one.reading_uncertainty, quantity)
    row = (
        name_of(one.candidate), f"± {figure(abs(far - near), 2)} {unit}", figure(100.0 * one.narrowing, 2),
        f"± {figure(size * one.after / found.before, 2)}",
    )  # fmt: skip
    if not costs:
        return row
    cost = one.candidate.cost
    per = one.per_cost
    each = NONE if math.isnan(per) else figure(100.0 * per, 2) if math.isfinite(per) else phrase("history.plan.free")
    return (*row, NONE if cost is None else figure(cost, 3), each)


def plan_record(found: Measuring) -> dict[str, Any]:
    """The same as one object in base SI."""
    made: dict[str, Any] = plain({
        "format": FORMAT, "target": found.target, "at": found.said, "population": found.origin, "draws": found.draws,
        "median": found.middle, "low_05": found.low, "high_95": found.high, "standard_uncertainty": found.before,
        "readings": [
            {
                "stream": r.candidate.stream, "quantity": r.candidate.quantity, "at": r.candidate.at,
                "repeats": r.candidate.repeats, "predicted": r.predicted,
                "standard_uncertainty": r.reading_uncertainty, "after": r.after, "narrowing": r.narrowing,
                "cost": r.candidate.cost, "narrowing_per_cost": r.per_cost,
            }
            for r in found.ranked
        ],
        "pair": None if found.pair is None else {
            "readings": [name_of(r.candidate) for r in found.pair], "after": found.pair_after,
        },
        "left_out": [name_of(c) for c in found.left_out],
    })  # fmt: skip
    return made
