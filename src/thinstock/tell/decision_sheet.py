"""The decision of a rebuild on one page of paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from thinstock.tell.blocks import Block, Table, points, words
from thinstock.tell.decision import Decided
from thinstock.tell.rebuild import Account
from thinstock.tell.record import plain
from thinstock.words.figures import Edge
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.studies.rebuild import Rebuild


def sheet(found: Rebuild, edge: Edge, *, paper: str = "a4") -> bytes:
    """The decision on one page of paper.

    Source: the rebuild. Raises Refused where the typesetter is not installed.
    """
    from thinstock.tell.paper import block_data, document

    record = plain(found, ends=True)
    account = Account(record, edge)
    made = Decided(record, account.money)
    _, dryness, _ = account.lead()
    question = phrase("rebuild.decision.question", before=found.before, after=found.after)
    population = phrase("rebuild.decision.population", origin=found.origin, draws=found.draws, seed=found.seed)
    failing = phrase("rebuild.decision.failing", share=f"{100 * found.failing:.1f}")
    assumed = points([*found.notes[1:5]])
    not_counted = points(list(found.not_counted) or [phrase("rebuild.decision.all_counted")])
    blocks: list[tuple[str, Sequence[Block]]] = [
        ("question", (words(f"{question} {population}"), words(dryness))),
        ("money", (made.links(), _short(account), words(failing))),
        ("guarantee", (words(made.guarantee()), made.curve())),
        ("moves", (made.movers(), words(made.knowing()))),
        ("assumed", (assumed,)),
        ("left_out", (not_counted,)),
    ]
    chapters = [
        {"title": phrase(f"rebuild.decision.head.{key}"), "blocks": [d for b in inside for d in block_data(b)]}
        for key, inside in blocks
    ]
    data = {"chapters": chapters, "lead": account.lead()[0],
            "signed": [phrase(f"rebuild.decision.sign.{key}") for key in ("mill", "adviser", "date")]}  # fmt: skip
    return document("sheet", data, title=phrase("rebuild.decision.title"), paper=paper)


def _short(account: Account) -> Table:
    """The money of both ways in four rows."""
    table = account.ways()
    wanted = {phrase("rebuild.saving"), phrase("rebuild.payback"), phrase("rebuild.pays"), phrase("rebuild.irr")}
    return replace(table, rows=tuple(row for row in table.rows if row[0] in wanted), foot="")
