"""The value of one setting that gives a wanted result, told once."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

from thinstock.studies.solve_evenness import word_of
from thinstock.tell.blocks import Block, Group, Head, Paragraph, marked
from thinstock.words.figures import Edge, figure
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Q, show

if TYPE_CHECKING:
    from thinstock.studies.solve import Solved
    from thinstock.studies.solve_draws import Answers


def told(found: Solved, title: str, edge: Edge, drawn: Answers | None = None) -> list[Block]:
    """The answer, what it is over the draws, what it gives, where it was searched, and what is passed there."""
    about = found.machine.declaration(found.address).about
    assert isinstance(about, Q)
    reached, before = (_result(found, value, edge) for value in (found.reached, found.before))
    low, high = (show(end, about) for end in found.searched)
    over = [] if drawn is None else over_draws(drawn, lambda value: show(float(f"{value:.3g}"), about))
    lines: list[Block] = [
        Paragraph(text=title),
        Head(text=phrase("solve.answer", address=found.address, text=found.text)),
        *(Paragraph(text=text) for text in over),
        Paragraph(text=phrase("solve.gives", name=found.name, reached=reached, before=before)),
        Paragraph(text=phrase("solve.searched", low=low, high=high)),
    ]
    if found.others:
        lines.append(Paragraph(text=phrase("solve.others", list=", ".join(show(v, about) for v in found.others))))
    passed = (phrase("solve.passed", text=one) for one in found.passed)
    return [Group(blocks=(*lines, *marked([*found.notes, *passed], "* ")))]


def over_draws(drawn: Answers, said: Callable[[float], str]) -> list[str]:
    """The middle of the draws' own answers, their ends, and how many have none."""
    slots = {"draws": drawn.draws, "origin": drawn.origin}
    if not math.isfinite(drawn.median):
        return [phrase("solve.drawn_few", **slots), *drawn.said]
    ends = {name: said(getattr(drawn, name)) for name in ("median", "low", "high")}
    lines = [phrase("solve.drawn", **slots, **ends)]
    if drawn.without > 0.0:
        lines.append(phrase("solve.drawn_none", share=f"{100.0 * drawn.without:.2g}"))
    if not 0.25 <= drawn.position <= 0.75:
        lines.append(phrase("solve.drawn_off", place=f"{100.0 * drawn.position:.0f}"))
    return [*lines, *drawn.said]


def _result(found: Solved, value: float | None, edge: Edge) -> str:
    if value is None:
        return phrase("solve.none")
    word = word_of(found.name)
    return edge.text(word, value, 4) if word else figure(value, 4)
