"""Chapters at the back of a handout: worked calculations, words, sources and assumptions, what can hurt."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from thinstock.formula import writing
from thinstock.formula.label import ARITHMETIC
from thinstock.machine.numbers import headline
from thinstock.machine.provenance import assumed, parted
from thinstock.studies.truth import told_count
from thinstock.tell import blocks
from thinstock.tell.blocks import Block, Chapter
from thinstock.tell.explained import step_view
from thinstock.tell.teller import Teller
from thinstock.tell.worked import numbers_of, worked
from thinstock.words import nomenclature
from thinstock.words.cautions import cautions_for
from thinstock.words.phrase import capital, phrase

if TYPE_CHECKING:
    from thinstock.tell.worked import Worked

# -- worked calculations ---------------------------------------------------------------------------------------------

SHOWN: dict[str, tuple[str, ...]] = {
    "flow_per_width": ("jet.grammage_on_wire", "jet.flow_per_width"),
    "headbox_head": ("jet.headbox_head_for_jet",),
    "end_of_forming": ("drainage.pressure_forming_roll", "joints.share_of_zone"),
    "dryness_press": ("nip.impulse", "pressing.moisture_pressed_decreasing_permeability",
                      "pressing.moisture_ratio_rewetted", "pressing.dryness_from_moisture_ratio"),
    "steam_per_product": ("joints.steam_heat_yankee", "creping.production_reel", ARITHMETIC),
}  # fmt: skip
"""Numbers worked in a handout, and the formulas of their chain that are shown there (of arithmetic the last)."""


def working(teller: Teller) -> Chapter:
    """Chosen steps of a few chains."""
    known = numbers_of(teller.result)
    told: list[Block] = [blocks.words(phrase("handout.working.last"), phrase("handout.working.whole"))]
    for name, formulas in SHOWN.items():
        if name not in known or not teller.known(name):
            continue
        made = worked(teller.result, name, teller.unit_set)
        views = chosen_steps(made, formulas)
        if views:
            told.append(blocks.steps(views, capital(made.label), made.text))
    return Chapter(key="working", title=phrase("handout.title.working"), blocks=tuple(told))


def chosen_steps(made: Worked, formulas: tuple[str, ...]) -> list[dict[str, Any]]:
    """Views of the last use of each of these formulas in a chain, numbered anew."""
    last = {step.name: step for step in made.steps if step.name in formulas}
    kept = sorted(last.values(), key=lambda step: step.number)
    again = {f"step {step.number}": f"step {k}" for k, step in enumerate(kept, start=1)}
    titles = {f"step {step.number}": step.title for step in made.steps}
    views = []
    for k, step in enumerate(kept, start=1):
        view = step_view(step)
        view["number"] = k
        view["further"] = []
        view["table"] = None
        for use in view["uses"]:
            origin = use["origin"]
            use["origin"] = again.get(origin) or (phrase("handout.working.before") if origin in titles else origin)
        views.append(view)
    return views


# -- words, sources, cautions ----------------------------------------------------------------------------------------

BESIDE_HEADLINE = ("crowding_number", "coverage", "cv", "formation_number", "moisture_ratio", "press_impulse", "rewet",
                   "crepe", "wrap", "fabric_tension", "drainage_impulse", "freeness", "line_load",
                   "first_pass_retention")  # fmt: skip
"""Words told beside those of the headline numbers, where there are such."""


def glossary(teller: Teller) -> Chapter:
    """The words used, with symbol and unit."""
    names = {about.word for about in headline().values()} | set(BESIDE_HEADLINE) & set(nomenclature.words())
    rows = []
    for name in sorted(names):
        word = nomenclature.word(name)
        rows.append([name.replace("_", " "), _pretty(word.symbol), teller.edge.unit(name), word.meaning])
    heads = [phrase(f"handout.glossary.{key}") for key in ("word", "symbol", "unit", "meaning")]
    told = blocks.table(heads, rows, texts=(0, 1, 2, 3), wide=(3,), small=True)
    return Chapter(key="glossary", title=phrase("handout.title.glossary"), blocks=(told,))


def _pretty(symbol: str) -> str:
    from thinstock.formula.typeset import symbol as shape

    return writing.shape_text(shape(symbol)) if symbol else ""


NO_PRINT = ("DERIVED", "ASSUMED", "COMMON_PRACTICE")
"""Sources that are none in print."""


def sources(teller: Teller) -> Chapter:
    """Where the formulas are from, and what is assumed."""
    used: dict[str, set[str]] = {}
    for step in teller.result.worksheet.steps if teller.result.worksheet is not None else ():
        used.setdefault(step.label.source, set()).add(step.label.status)
    held = {key: row.get("held", "") for key, row in writing.sources().items()}
    cited = [
        [writing.citation(key), ", ".join(sorted(statuses)), held.get(key, "")]
        for key, statuses in sorted(used.items())
        if key not in NO_PRINT
    ]
    formulas = teller.result.formulas()
    derived, assumptions, practice = (sum(_source_of(name) == key for name, _ in formulas) for key in NO_PRINT)
    values = assumed(teller.machine)
    told_of: dict[str, list[str]] = {}
    for one in values:
        what, part = parted(teller.machine, one.address)
        told_of.setdefault(part, []).append(f"{what}\u00a0{teller.given(one.about.word, one.value)}")
    made = phrase("handout.sources.made", count=len(formulas), derived=derived, assumed=assumptions, practice=practice)
    heads = [phrase(f"handout.sources.{key}") for key in ("source", "formula", "held")]
    told: list[Block] = [
        blocks.words(made),
        blocks.words(phrase("truth.sentence", judged=capital(told_count()))),
        blocks.table(heads, cited, texts=(0, 1, 2), wide=(0,), small=True),
        blocks.words(phrase("handout.sources.values", count=len(values))),
        blocks.table([phrase("handout.sources.part"), phrase("handout.sources.assumed")],
                     [[part, "; ".join(told)] for part, told in told_of.items()], texts=(0, 1), wide=(1,), small=True),
    ]  # fmt: skip
    return Chapter(key="sources", title=phrase("handout.title.sources"), blocks=tuple(told))


def _source_of(name: str) -> str:
    from thinstock.formula.label import RELATIONS, label_of

    return label_of(RELATIONS[name]).source


def cautions(teller: Teller) -> Chapter:
    """What can hurt, part by part."""
    parts = (caution.part for caution in cautions_for(teller.machine.cautions()))
    told = blocks.care(*parts, "formation", "survey")
    return Chapter(key="cautions", title=phrase("handout.title.cautions"), blocks=tuple(told))
