"""The furnish from the wire to the press, what a lower freeness costs, and what can be switched off."""

from __future__ import annotations

from thinstock.tell import blocks, furnish, wet_end_costs
from thinstock.tell.blocks import Block, Chapter
from thinstock.tell.teller import Teller
from thinstock.words.phrase import phrase


def wet_end(teller: Teller) -> Chapter:
    """The same blocks as on a terminal and on the machine page."""
    told: list[Block] = list(furnish.told(teller.result, teller.edge))
    for question in wet_end_costs.QUESTIONS:
        told.append(blocks.head(phrase(f"handout.furnish.{question}")))
        told += wet_end_costs.asked(question, teller.machine, teller.edge)
    return Chapter(key="furnish", title=phrase("handout.title.furnish"), blocks=tuple(told))
