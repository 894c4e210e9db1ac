"""What dilution can do for a target of evenness, in words: for run, sheet, solver, page and handout."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from thinstock.sheet.dilution import DilutionAnswer
from thinstock.words.figures import figure
from thinstock.words.phrase import phrase

Say = Callable[[str, float, int], str]
"""A word, its value in SI and digits, as text with its unit."""
BEST, BASE, WORST, CHANCE = "best", "base", "worst", "chance"


def answer_text(answer: DilutionAnswer, measure: str, say: Say) -> str:
    """One of the three answers; no end of a search is ever a number here."""
    if answer.kind == "dilute to":
        assert answer.consistency is not None
        return phrase("evenness.answer.dilute_to", consistency=say("consistency", answer.consistency, 3))
    if answer.kind == "not limited":
        return phrase("evenness.answer.not_limited")
    return phrase("evenness.answer.not_by_dilution", floor=floor_text(answer, measure, say))


def floor_text(answer: DilutionAnswer, measure: str, say: Say) -> str:
    """The floor of a target's measure in the units of the reader."""
    return say("cv", answer.floor, 3) if measure == "cv" else figure(answer.floor, 3)


def answers_text(answers: Sequence[DilutionAnswer], measure: str, calibrated: bool, say: Say) -> str:
    """The answers at best, base and worst as one line; base and worst together where no dilution helps either."""
    names, group = (BEST, BASE, WORST, CHANCE)[: len(answers)], "measured" if calibrated else "end"
    said = [answer_text(one, measure, say) for one in answers]
    parts: list[tuple[str, str]] = []
    for name, text in zip(names, said, strict=True):
        if parts and text == said[names.index(name) - 1]:
            continue
        parts.append((name, text))
    if answers[1].kind == answers[2].kind == "not by dilution" and len(parts) == len(answers):
        up_to = phrase("evenness.answer.up_to", answer=said[1], floor=floor_text(answers[2], measure, say))
        parts = [parts[0], (BASE, up_to), *parts[3:]]
    return "; ".join(phrase("evenness.answer.one", end=phrase(f"evenness.{group}.{n}"), answer=t) for n, t in parts)
