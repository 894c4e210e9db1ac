"""A class sheet of problems around one machine, and its key with full working: text, page or paper.

The sheet has room to write; the key prints the formulas of every answer in symbols and in numbers. The same machine,
seed, levels and count make the same sheet.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from thinstock.errors import Refused
from thinstock.formula import writing
from thinstock.formula.label import ARITHMETIC
from thinstock.machine.line import Machine
from thinstock.tell.explained import spaced, step_lines, step_view, symbol_line
from thinstock.tell.problems import KINDS, LEVELS, Order, Problem, problems
from thinstock.tell.steps import WorkedStep
from thinstock.tell.teller import Teller
from thinstock.words import units
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

FORMATS = ("text", "html", "pdf")
MOST = 60
"""Problems on one sheet, at most."""


def order(levels: str = "1-3", count: int = 8, seed: int = 1, kinds: Sequence[str] = ()) -> Order:
    """An order from what people write: "2", "1-3", "1,3"."""
    faults = []
    chosen: set[int] = set()
    for part in levels.replace(" ", "").split(","):
        found = re.fullmatch(r"([1-3])(?:-([1-3]))?", part)
        if found is None:
            faults.append(fault_in("tell.exercises.level", "level", levels, levels=LEVELS[0], levels_2=LEVELS[-1]))
            break
        low, high = int(found[1]), int(found[2] or found[1])
        chosen |= set(range(min(low, high), max(low, high) + 1))
    if not 1 <= count <= MOST:
        faults.append(fault_in("tell.exercises.count", "count", str(count), most=MOST))
    if not 0 <= seed < 2**32:
        faults.append(fault_in("tell.exercises.seed", "seed", str(seed)))
    unknown = [kind for kind in kinds if kind not in KINDS]
    faults += [fault_in("tell.exercises.kind", "kind", kind, kinds=", ".join(KINDS)) for kind in unknown]
    if faults:
        raise Refused(faults)
    return Order(levels=tuple(sorted(chosen)), count=count, seed=seed, kinds=tuple(kinds))


def exercises(
    machine: Machine,
    form: str = "text",
    what: Order | Mapping[str, Any] | None = None,
    unit_set: units.UnitSet = "mill",
    *,
    key: bool = False,
    paper: str = "a4",
    width: int = 100,
) -> str | bytes:
    """Problems around a machine for a class, or their key with full working.

    Parameters
    ----------
    machine : Machine
        One case, as `thinstock.load` gives it; arrays are refused.
    form : {"text", "html", "pdf"}
        How it is written.
    what : Order or mapping, optional
        What is ordered: levels ("1-3"), count, seed, kinds. The same order makes the same sheet.
    unit_set : {"mill", "si", "us"}
        Units of what is printed.
    key : bool
        The key in place of the sheet.
    paper : {"a4", "letter"}
        Size of paper of a PDF.
    width : int
        Columns of a text.

    Returns
    -------
    str or bytes
        The text or page; bytes of a PDF.

    Raises
    ------
    Refused
        An unknown form, an order that cannot be, or a library of an extra that is not installed.

    Source: the formulas asked about, named in the key.
    """
    if form not in FORMATS:
        raise Refused(fault_in("tell.exercises.format", "format", form, formats=", ".join(FORMATS)))
    teller = Teller(machine, unit_set)
    asked = what if isinstance(what, Order) else order(**(what or {}))
    made = problems(teller, asked)
    head = _head(teller, asked, key)
    if form == "text":
        return plain(head, made, key, width)
    view = {"head": head, **sheet_view(made, key=key)}
    if form == "html":
        from thinstock.tell.page import render

        return render("exercises.html.j2", title=head["title"], **view)
    from thinstock.tell.paper import document

    return document("exercises", view, title=head["title"], paper=paper)


def sheet_view(made: Sequence[Problem], *, key: bool) -> dict[str, Any]:
    """What a page or a sheet of paper sets: the problems or their key, and the formulas the answers need."""
    return {
        "key": key, "problems": [problem_view(n, one) for n, one in enumerate(made, start=1)],
        "formulas": [] if key else [step_view(step) for step in formula_sheet(made)],
        "formulas_head": phrase("tell.exercises.formulas"),
    }  # fmt: skip


def _head(teller: Teller, asked: Order, key: bool) -> dict[str, str]:
    levels = ", ".join(str(level) for level in asked.levels)
    return {
        "title": f"{'Key to the exercises' if key else 'Exercises'} around {teller.machine.title}",
        "machine": phrase(
            "tell.exercises.machine_runs_at_makes_every",
            value=teller.value("speed"),
            value_2=teller.value("reel_grammage"),
        ),
        "sheet": f"Sheet {asked.seed}, level {levels}",
        "digits": phrase("tell.exercises.three_digits_enough_in_answer"),
    }


def formula_sheet(made: Sequence[Problem]) -> list[WorkedStep]:
    """Every formula that the answers need, once, in the order of the problems."""
    found = {step.name: step for one in made for step in one.steps if step.label.name != ARITHMETIC}
    return list(found.values())


def _formula_lines(step: WorkedStep, width: int) -> list[str]:
    """A formula with what its letters mean."""
    meanings = "; ".join(f"{writing.shape_text(use.put.symbol)} {use.put.meaning}" for use in step.uses)
    texts = [step.title, *map(symbol_line, step.symbols), *step.equations]
    rows = [
        row for text in texts for row in textwrap.wrap(text, width, initial_indent="   ", subsequent_indent="     ")
    ]
    return [*rows, *textwrap.wrap(meanings, width, initial_indent="     ", subsequent_indent="     ")]


def problem_view(number: int, one: Problem) -> dict[str, Any]:
    """A problem with its key as plain data for page and paper."""
    return {
        "number": number,
        "level": one.level,
        "title": one.title,
        "text": one.text,
        "asked": [{"what": a.what, "text": a.text, "unit": a.unit} for a in one.asked],
        "steps": [step_view(step) for step in one.steps],
        "remark": one.remark,
    }


def plain(head: dict[str, str], made: Sequence[Problem], key: bool, width: int = 100) -> str:
    """The sheet or its key as text."""
    rows = [head["title"], "", *textwrap.wrap(head["machine"], width), head["sheet"]]
    if not key:
        rows += textwrap.wrap(head["digits"], width)
    for number, one in enumerate(made, start=1):
        rows += ["", f"{number}. {one.title} (level {one.level})"]
        rows += textwrap.wrap(one.text, width, initial_indent="   ", subsequent_indent="   ")
        if not key:
            rows += [f"   {a.what}: ____________ {a.unit}".rstrip() for a in one.asked]
            continue
        rows += [f"   {a.what}: {a.text}" for a in one.asked]
        for step in one.steps:
            rows += [f"  {line}" if line else "" for line in step_lines(step, width - 2)]
        rows += ["", *textwrap.wrap(one.remark, width, initial_indent="   ", subsequent_indent="   ")]
    if not key:
        rows += ["", phrase("tell.exercises.formulas")]
        for step in formula_sheet(made):
            rows += ["", *_formula_lines(step, width)]
    return spaced("\n".join(rows))
