"""What the survey part refuses, and what it says when a nonlinear balance does not settle.

A `SurveyError` carries every fault found in a file, each with its row, its column, what was given and what
would work. It is not about remarks on a survey that was accepted: those are notes.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from thinstock.errors import Fault, Refused, Unsettled
from thinstock.words.phrase import phrase


class SurveyError(Refused):
    """A table of readings, a network or a request that cannot be worked with; holds all faults found."""


class NothingToCheck(SurveyError):
    """Readings of which none is checked by another."""


class NotConverged(Unsettled):
    """The reconciliation did not settle; the text names the balance that closes worst."""


def refuse(field: str, value: object = "", bound: str = "", remedy: str = "") -> SurveyError:
    """One fault as an error ready to raise."""
    return SurveyError(Fault(field=field, value=str(value), bound=bound, remedy=remedy))


def nothing_checked(remedy: str, *, value: str = "", more: str = "") -> NothingToCheck:
    """The refusal of readings without redundancy, with what would help."""
    return NothingToCheck(
        Fault(
            field="readings",
            value=value,
            bound=phrase("survey.faults.nothing_can_be_checked", more=more),
            remedy=remedy,
        )
    )


def nearest(name: str, known: Iterable[str]) -> str:
    """ "Nearest: a, b" for a name nobody knows, or all names when there are few, or nothing."""
    names = [str(k) for k in known]
    close = difflib.get_close_matches(name, names, n=3, cutoff=0.5)
    if close:
        return f"Nearest known: {', '.join(close)}."
    if names and len(names) <= 12:
        return f"Known: {', '.join(names)}."
    return ""


def check_share(field: str, value: float) -> None:
    """Refuse a probability that is not strictly between 0 and 1."""
    if not 0.0 < value < 1.0:
        raise refuse(
            field,
            value,
            phrase("survey.faults.must_lie_between"),
            phrase("survey.faults.usual_for_significance_for_power"),
        )
