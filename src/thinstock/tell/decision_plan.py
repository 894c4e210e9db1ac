"""A measuring plan for an answer of a rebuild, told once: how sure it is, what each reading brings and is worth."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from thinstock.survey.round import shown
from thinstock.tell.blocks import Block, Column, Table, points, words
from thinstock.tell.measuring import MOST, name_of
from thinstock.tell.record import FORMAT, plain
from thinstock.words.figures import NONE, figure, grouped
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.studies.decision_plan import DecisionPlan, RankedForDecision


def told(found: DecisionPlan) -> list[Block]:
    """The whole plan."""
    ends = {name: _answer(found, getattr(found, name)) for name in ("median", "low", "high")}
    now = phrase(
        f"history.plan.for_{found.target}", **ends, money=found.currency, before=found.before, after=found.after
    )
    rest = phrase("history.plan.decided", pays=f"{100.0 * found.pays:.0f}", knowing=_money(found.knowing),
                  money=found.currency, origin=found.origin, draws=found.draws)  # fmt: skip
    best = found.telling[:MOST]
    if not best:
        return [words(now, rest), words(phrase("history.plan.no_reading_answers"))]
    order = phrase("history.plan.by_net" if found.by_cost else "history.plan.by_narrowing")
    blocks: list[Block] = [words(now, rest, order), _table(found, best)]
    silent = [name_of(r.candidate) for r in found.ranked if r not in found.telling]
    left = [name_of(c) for c in found.left_out]
    lines = [phrase("history.plan.silent", list=", ".join(silent))] if silent else []
    lines += [phrase("history.plan.left_out", list=", ".join(left))] if left else []
    return [*blocks, *([points(lines)] if lines else []), words(phrase("history.plan.decision_foot"))]


def _answer(found: DecisionPlan, value: float) -> str:
    if found.target == "payback":
        return figure(value, 2) if math.isfinite(value) else phrase("history.plan.never")
    return figure(value, 2) if found.target == "dryness_gained" else _money(value)


def _money(amount: float) -> str:
    return grouped(amount, 3) if math.isfinite(amount) else NONE


def _table(found: DecisionPlan, best: tuple[RankedForDecision, ...]) -> Table:
    heads = [("reading", ""), ("to", ""), ("narrower", "%"), ("worth", found.currency)]
    costs = any(r.candidate.cost is not None for r in best)
    if costs:
        heads += [("cost", found.currency), ("net", found.currency)]
    columns = tuple(
        Column(head=phrase(f"history.plan.{key}"), unit=unit, sort="word" if key == "reading" else "end",
               grows=key == "reading")
        for key, unit in heads
    )  # fmt: skip
    return Table(key="plan", columns=columns, rows=tuple(_row(r, costs) for r in best), indented=False)


def _row(one: RankedForDecision, costs: bool) -> tuple[str, ...]:
    near, unit = shown(one.predicted, one.candidate.quantity)
    far, _ = shown(one.predicted + one.reading_uncertainty, one.candidate.quantity)
    row = (name_of(one.candidate), f"± {figure(abs(far - near), 2)} {unit}", figure(100.0 * one.narrowing, 2),
           _money(one.value))  # fmt: skip
    if not costs:
        return row
    cost = one.candidate.cost
    return (*row, NONE if cost is None else _money(cost), _money(one.net))


def record(found: DecisionPlan) -> dict[str, Any]:
    """The same as one object; money in the currency of the prices."""
    made: dict[str, Any] = plain({
        "format": FORMAT, "target": found.target, "before": found.before, "after": found.after,
        "currency": found.currency, "population": found.origin, "draws": found.draws, "low_05": found.low,
        "median": found.median, "high_95": found.high, "share_that_pays": found.pays,
        "value_of_knowing_everything": found.knowing,
        "readings": [
            {
                "stream": r.candidate.stream, "quantity": r.candidate.quantity, "at": r.candidate.at,
                "repeats": r.candidate.repeats, "predicted": r.predicted,
                "standard_uncertainty": r.reading_uncertainty, "narrowing": r.narrowing, "value": r.value,
                "cost": r.candidate.cost, "value_less_cost": r.net,
            }
            for r in found.ranked
        ],
        "left_out": [name_of(c) for c in found.left_out],
    })  # fmt: skip
    return made
