"""The value of one setting that gives a wanted result, told once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thinstock.studies.solve_evenness import word_of
from thinstock.tell.blocks import Block, Group, Head, Paragraph, marked
from thinstock.words.figures import Edge, figure
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Q, show

if TYPE_CHECKING:
    from thinstock.studies.solve import Solved


def told(found: Solved, title: str, edge: Edge) -> list[Block]:
    """The answer, what it gives, where it was searched, and what is passed there."""
    about = found.machine.declaration(found.address).about
    assert isinstance(about, Q)
    reached, before = (_result(found, value, edge) for value in (found.reached, found.before))
    low, high = (show(end, about) for end in found.searched)
    lines: list[Block] = [
        Paragraph(text=title),
        Head(text=phrase("solve.answer", address=found.address, text=found.text)),
        Paragraph(text=phrase("solve.gives", name=found.name, reached=reached, before=before)),
        Paragraph(text=phrase("solve.searched", low=low, high=high)),
    ]
    if found.others:
        lines.append(Paragraph(text=phrase("solve.others", list=", ".join(show(v, about) for v in found.others))))
    passed = (phrase("solve.passed", text=one) for one in found.passed)
    return [Group(blocks=(*lines, *marked([*found.notes, *passed], "* ")))]


def _result(found: Solved, value: float | None, edge: Edge) -> str:
    if value is None:
        return phrase("solve.none")
    word = word_of(found.name)
    return edge.text(word, value, 4) if word else figure(value, 4)
