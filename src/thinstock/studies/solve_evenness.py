"""Evenness as what is wanted: the measures a solver knows, and the one answer to "how dilute for it?"."""

from __future__ import annotations

import dataclasses

import numpy as np

from thinstock.errors import Fault, NotFound, Refused
from thinstock.formula.label import worksheet
from thinstock.machine.dilution import answers_text
from thinstock.machine.evenness import Evenness, evenness
from thinstock.machine.grade import FormationTarget
from thinstock.machine.numbers import number
from thinstock.machine.result import Result
from thinstock.words import units
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num

MEASURES = {
    "cv": "cv", "formation_number": "formation_number", "holes": "holes_per_area", "holes_per_area": "holes_per_area",
}  # fmt: skip
"""What may be asked for, by the word of the target; told with a normal headbox on a wire like that of handsheets."""
CONSISTENCY = "headbox.consistency"


def word_of(name: str) -> str:
    """The word of what may be asked for."""
    return MEASURES[name] if name in MEASURES else number(name).word


def measured(result: Result, name: str) -> Num:
    """The measure of the sheet on the wire, one number a case."""
    return np.asarray(getattr(_with_target(result, None).base, MEASURES[name]))


def _with_target(result: Result, target: FormationTarget | None) -> Evenness:
    machine = result.machine
    grade = dataclasses.replace(machine.grade, formation_target=target)
    with worksheet(False):
        return evenness(dataclasses.replace(machine, grade=grade), result.parts)


def dilute_to(result: Result, name: str, wanted: float) -> tuple[float, str]:
    """The consistency for a target, as the run tells it, and the range it hangs on; NotFound where there is none."""
    old, word = result.machine.grade.formation_target, MEASURES[name]
    beside = {} if old is None else {"zone": old.zone, "hole_diameter": old.hole_diameter}
    found = _with_target(result, FormationTarget(**{word: np.float64(wanted)}, **beside))
    sought = units.write_word(word, wanted)
    if not found.answers:
        raise Refused(Fault(field=name, value=sought, bound=found.target_note))

    def say(word: str, value: float, digits: int) -> str:
        return units.write_word(word, value, "mill", digits)

    said = answers_text(found.answers, word, found.calibrated, say)
    base = found.answers[1]
    if base.consistency is None:
        raise NotFound(
            Fault(field=name, value=sought, bound=phrase("studies.solve.dilution_no", said=said),
                  remedy=phrase("evenness.answer.remedies") if base.kind == "not by dilution" else ""),
            obstacle=base.kind,
        )  # fmt: skip
    return base.consistency, phrase("studies.solve.dilution_range", said=said)
