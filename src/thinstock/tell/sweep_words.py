"""What the columns of a sweep mean, and what became of its cases, in words; for the command line and the page alike."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from thinstock.studies.sweep_draws import DRAW
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.studies.plan import Plan

FLAG_WORDS = {
    "possible": phrase("tell.sweep_words.parts_can_be_built_so"),
    "formed": phrase("tell.sweep_words.there_sheet_behind_former"),
    "reached": phrase("tell.sweep_words.sheet_as_dry_at_reel"),
    "over_dried": phrase("tell.sweep_words.drier_than_wanted_with_what"),
    "in_range": phrase("tell.sweep_words.every_formula_inside_its_stated"),
    "limit_speed": phrase("tell.sweep_words.lowest_speed_limit_case_m"),
    "limit_part": phrase("tell.sweep_words.part_it_belongs_to"),
    "case": phrase("tell.sweep_words.number_case_from"),
}


def columns(machine: Machine, plan: Plan, names: tuple[str, ...], limits: bool) -> dict[str, dict[str, str]]:
    """What every column is and in which unit."""
    from thinstock.machine.numbers import number
    from thinstock.words import nomenclature
    from thinstock.words.quantity import Q

    found: dict[str, dict[str, str]] = {"case": {"what": FLAG_WORDS["case"], "unit": "1"}}
    for where in plan.axes:
        if where == DRAW:
            found[where] = {"what": phrase("tell.sweep_words.number_draw"), "unit": "1"}
            continue
        about = machine.declaration(where).about
        assert isinstance(about, Q)
        word = nomenclature.word(about.word)
        found[where] = {"what": f"input: {about.label or word.meaning}", "unit": word.unit}
    for name in names:
        found[name] = {"what": number(name).label, "unit": number(name).unit}
    flags = ["possible", "formed", "reached", "over_dried", "in_range"]
    for name in [*flags, *(["limit_speed", "limit_part"] if limits else [])]:
        found[name] = {
            "what": FLAG_WORDS[name],
            "unit": phrase("tell.sweep_words.true_or_false") if name in flags else "",
        }
    return found


def counts(folder: str | os.PathLike[str]) -> str:
    """How many cases ran, by flag; read part by part."""
    from thinstock.studies.sweep import sweep_parts

    names = ("possible", "formed", "reached", "over_dried", "in_range")
    total, whole = dict.fromkeys(names, 0), 0
    for part in sweep_parts(folder, names):
        whole += len(part["formed"])
        for name in names:
            total[name] += int(part[name].sum())
    said = {
        "cannot be built": whole - total["possible"],
        "without a sheet": total["possible"] - total["formed"],
        "not dried as wanted": total["formed"] - total["reached"],
        "over-dried": total["over_dried"],
        "outside a formula's range": total["formed"] - total["in_range"],
    }
    return f"Of {whole} cases: " + "; ".join(f"{count} {what}" for what, count in said.items()) + "."
