"""What dilution can do for a target of evenness, said once for the run, the sheet, the page and the handout."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from thinstock.machine.dilution import Say
from thinstock.machine.dilution import answer_text as answer_text
from thinstock.machine.dilution import answers_text as answers_text
from thinstock.sheet.dilution import DilutionAnswer
from thinstock.words.figures import figure
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.studies.formation_worth import Worth


def worth_lines(worth: Sequence[Worth], say: Say) -> list[str]:
    """The change cards of a more even sheet: what each change saves at best, base and worst."""
    lines = []
    for one in worth:
        key = "headbox" if one.change == "better headbox" else "consistency"
        lines.append(phrase("evenness.worth.title", change=phrase(f"evenness.worth.{key}")))
        for s in one.savings:
            slots = {
                "end": phrase(f"evenness.end.{s.end}"), "gas": say("specific_energy", s.gas, 2),
                "steam": say("specific_energy", s.steam, 2),
            }  # fmt: skip
            if s.held:
                lines.append(phrase("evenness.worth.row", **slots))
            else:
                lines.append(phrase("evenness.worth.wet", points=figure(-100 * s.moisture, 2), **slots))
    return lines


def helpless(answers: Sequence[DilutionAnswer]) -> bool:
    """Whether dilution fails at any end."""
    return any(one.kind == "not by dilution" for one in answers)
