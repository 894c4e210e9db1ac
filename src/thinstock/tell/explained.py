"""A worked calculation as people read it: in a terminal, on a page (MathML), on paper, as data. All from one text.

Nothing is worked out here; `worked` has the chain and `filled` the numbers. Text from a machine file is escaped in HTML
and goes to paper as data.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

from thinstock.errors import Refused
from thinstock.formula import markup, writing
from thinstock.formula.typeset import Line, Shape
from thinstock.machine.result import Result
from thinstock.tell.filled import FilledLine
from thinstock.tell.short_working import folded
from thinstock.tell.worked import Use, Worked, WorkedStep, worked
from thinstock.words import nomenclature, units
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

FORMATS = ("text", "html", "pdf", "json")
DIGITS_NOTE = phrase("tell.explained.every_line_gives_what_it")
MACHINE_WORDS = {"convention": phrase("tell.explained.convention_tool"), "constant": "constant", "library": "library"}


def explain(
    result: Result, name: str, form: str = "text", unit_set: units.UnitSet = "mill", *, paper: str = "a4"
) -> str | bytes:
    """The working of one number: every formula in symbols and in numbers, back to the machine file.

    Parameters
    ----------
    result : Result
        A run of one case.
    name : str
        Name of the number, such as "flow_per_width".
    form : {"text", "html", "pdf", "json"}
        How it is written; JSON holds base SI.
    unit_set : {"mill", "si", "us"}
        Units of what is printed.
    paper : {"a4", "letter"}
        Size of paper of a PDF.

    Returns
    -------
    str or bytes
        The text, the page or the JSON; bytes of a PDF.

    Raises
    ------
    Refused
        An unknown number, form or unit set, a run over arrays, or a library of an extra that is not installed.

    Source: each step's own, written beside it.
    """
    if form not in FORMATS:
        raise Refused(fault_in("tell.explained.format", "format", form, formats=", ".join(FORMATS)))
    if unit_set not in units.UNIT_SETS:
        raise Refused(fault_in("tell.explained.units", "units", unit_set, unit_sets=", ".join(units.UNIT_SETS)))
    made = worked(result, name, unit_set)
    if form == "json":
        import json

        return spaced(json.dumps(record(made), indent=1, ensure_ascii=False, allow_nan=False))
    if form == "html":
        from thinstock.tell.page import render

        return render("working.html.j2", title=made.label, working=view(made))
    if form == "pdf":
        from thinstock.tell.paper import document

        return document("working", {"working": view(made)}, title=f"{made.label}, worked", paper=paper)
    return plain(made)


# -- words that all forms share --------------------------------------------------------------------------------------


def provenance(step: WorkedStep) -> str:
    """Where a formula comes from and how it is known."""
    return provenance_of(step.source, step.status, step.where)


def provenance_of(source: str, status: str, where: str) -> str:
    """Source, place and status of a formula in one line."""
    if source == "DERIVED":
        return phrase("tell.explained.derived_in_this_project", value=": " + where if where else "")
    if source == "ASSUMED":
        return phrase("tell.explained.assumed_in_this_project_to", value=": " + where if where else "")
    if source == "COMMON_PRACTICE":
        return phrase("tell.explained.common_practice_no_single_source", value=": " + where if where else "")
    cited = writing.citation(source).rstrip(".")
    place = f", {where}" if where and where not in cited else ""
    return f"{status}; {cited}{place}"


def line_text(line: FilledLine) -> str:
    """A line with its numbers, on one line."""
    text = f"{writing.shape_text(line.left)} = {writing.shape_text(line.right)}"
    if line.result is not None:
        text += f" = {writing.shape_text(line.result)}"
    text += f" {line.unit}".rstrip()
    if line.also:
        text += f" = {line.also}"
    return f"{text}   ({line.remark})" if line.remark else text


def symbol_line(line: Line) -> str:
    """A line with its symbols."""
    return f"{writing.shape_text(line.left)} = {writing.shape_text(line.right)}"


def use_text(use: Use) -> str:
    """One number that goes in, with where it is from."""
    shown = f"{writing.shape_text(use.put.symbol)} {writing.shape_text(use.put.shown)} {use.put.unit}".rstrip()
    if use.put.also:
        shown += f" = {use.put.also}"
    return f"{shown} ({use.origin})" if use.origin else shown


# -- terminal --------------------------------------------------------------------------------------------------------


def plain(what: Worked, width: int = 110) -> str:
    """The working as plain text."""
    rows = [f"{what.label}: {what.text}", *_wrapped(what.title, width), ""]
    for part in what.parts:
        rows += _wrapped(part, width, "  ")
    rows += ["", "Given"] if what.parts else ["Given"]
    rows += _given(what, width)
    rows += ["", "Working", *_wrapped(DIGITS_NOTE, width)]
    for stage, steps in folded(what.steps):
        rows += ["", _stage(stage, steps)] if stage else []
        for step in steps:
            rows += step_lines(step, width)
    rows += ["", *_wrapped(what.judged, width, "  ")] if what.judged else []
    return spaced("\n".join(rows))


def _given(what: Worked, width: int) -> Iterator[str]:
    """What the chain starts from; a name too long for its column has a line of its own."""
    values = max((len(i.text) for i in what.inputs), default=0)
    sorts = max((len(i.status) for i in what.inputs), default=0)
    names = min(max((len(i.name) for i in what.inputs), default=0), max(width - values - sorts - 6, 20))
    for i in what.inputs:
        *above, name = textwrap.wrap(i.name, names, break_on_hyphens=False)
        yield from (f"  {one}" for one in above)
        yield f"  {name:<{names}}  {i.text:<{values}}  {i.status}".rstrip()


def _stage(stage: str, steps: Sequence[WorkedStep]) -> str:
    return phrase("explain.stage.steps", stage=stage, first=steps[0].number, last=steps[-1].number)


def short(what: Worked, width: int = 110) -> str:
    """The number with its three lines alone."""
    return spaced("\n".join([f"{what.label}: {what.text}", *(r for p in what.parts for r in _wrapped(p, width, "  "))]))


def spaced(text: str) -> str:
    """Plain text, in which a number and its unit are kept apart by an ordinary space."""
    return text.replace("\u00a0", " ")


def step_lines(step: WorkedStep, width: int) -> Iterator[str]:
    """One step as lines of plain text."""
    yield ""
    yield from _wrapped(f"{step.number:>3}. {step.title}", width, "     ")
    indent, then = " " * 5, " " * 9
    for symbols in step.symbols:
        yield from _wrapped(symbol_line(symbols), width, then, indent)
    for equation in step.equations:
        yield from _wrapped(equation, width, then, indent)
    for scaled in step.scaled:
        said = phrase("tell.explained.for_numbers_in_these_units", indent="", symbol_line=symbol_line(scaled))
        yield from _wrapped(said, width, then, indent)
    if step.uses:
        yield from _wrapped("with " + "; ".join(use_text(use) for use in step.uses), width, indent, indent)
    for what, origin in step.further:
        yield from _wrapped(f"{what} from {origin}", width, indent + "  ", indent)
    for line in step.lines:
        yield from _wrapped(line_text(line), width, then, indent)
    if step.solved:
        yield f"{indent}solved by {step.solved} = {step.result}"
    elif step.label.kind == "march" and step.results:
        yield from _wrapped(f"gives {step.result}", width, indent + "  ", indent)
    if step.table is not None:
        yield indent + step.table.caption
        yield from (indent + "  " + row for row in _columns(step.table.heads, step.table.rows))
    for name in step.calls:
        yield phrase("tell.explained.inside_it_thinstock_formulas", indent=indent, name=name)
    yield from _wrapped(f"[{provenance(step)}]", width, indent + " ", indent)
    if step.note:
        yield from _wrapped(f"Note: {step.note}.", width, indent + "  ", indent)


def _columns(heads: tuple[tuple[str, str], ...], rows: tuple[tuple[str, ...], ...]) -> list[str]:
    table = [tuple(said for said, _ in heads), tuple(unit for _, unit in heads), *rows]
    widths = [max(len(row[k]) for row in table) for k in range(len(heads))]
    lines = []
    for row in table:
        cells = [row[0].ljust(widths[0]), *(cell.rjust(w) for cell, w in zip(row[1:], widths[1:], strict=True))]
        lines.append("  ".join(cells).rstrip())
    return lines


def _wrapped(text: str, width: int, then: str = "", first: str = "") -> list[str]:
    return textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=then, break_long_words=False, break_on_hyphens=False
    )


# -- page and paper --------------------------------------------------------------------------------------------------


def view(what: Worked) -> dict[str, Any]:
    """The working as plain data for the templates of page and paper: texts, MathML and typst mathematics."""
    return {
        "name": what.name,
        "label": what.label,
        "text": what.text,
        "title": what.title,
        "parts": list(what.parts),
        "judged": what.judged,
        "digits_note": DIGITS_NOTE,
        "given": [
            {
                "name": i.name,
                "meaning": i.meaning,
                "text": i.text,
                "status": MACHINE_WORDS.get(i.status, i.status),
                "source": writing.citation(i.source) if i.source and i.source in writing.sources() else "",
            }
            for i in what.inputs
        ],
        "steps": [step_view(step) for step in what.steps],
        "stages": [
            {"name": _stage(stage, steps) if stage else "", "steps": [step_view(step) for step in steps]}
            for stage, steps in folded(what.steps)
        ],
    }


def step_view(step: WorkedStep) -> dict[str, Any]:
    """One step as plain data for the templates."""
    return {
        "number": step.number,
        "name": step.name,
        "title": step.title,
        "kind": step.label.kind,
        "symbols": [_both(symbol_line(line), (line.left, line.right)) for line in step.symbols],
        "equations": list(step.equations),
        "scaled": [_both(symbol_line(line), (line.left, line.right)) for line in step.scaled],
        "uses": [
            {
                "symbol": _both(writing.shape_text(use.put.symbol), (use.put.symbol,)),
                "meaning": use.put.meaning,
                "value": f"{writing.shape_text(use.put.shown)} {use.put.unit}".rstrip(),
                "also": use.put.also,
                "origin": use.origin,
            }
            for use in step.uses
        ],
        "lines": [_line_view(line) for line in step.lines],
        "solved": f"{step.solved} = {step.result}" if step.solved else "",
        "results": [{"word": word, "text": text} for word, text in step.results] if step.label.kind == "march" else [],
        "table": None
        if step.table is None
        else {
            "caption": step.table.caption,
            "heads": [{"said": said, "unit": unit} for said, unit in step.table.heads],
            "rows": [list(r) for r in step.table.rows],
        },
        "result": step.result if len(step.results) < 3 else "",
        "from": ", ".join(str(number) for number in step.after),
        "further": [{"what": what, "origin": origin} for what, origin in step.further],
        "provenance": provenance(step),
        "status": step.status,
        "note": step.note,
        "calls": list(step.calls),
    }


def _line_view(line: FilledLine) -> dict[str, str]:
    shapes: tuple[Shape, ...] = (line.left, line.right)
    if line.result is not None:
        shapes = (*shapes, line.result)
    tail = f" {line.unit}".rstrip() + (f" = {line.also}" if line.also else "")
    return {**_both(line_text(line), shapes, tail.strip()), "remark": line.remark}


def _both(text: str, shapes: tuple[Shape, ...], tail: str = "") -> dict[str, str]:
    """One chain of equals signs as text, MathML and typst mathematics."""
    from html import escape

    middle = "<mo>=</mo>".join(f"<mrow>{markup.shape_mathml(shape)}</mrow>" for shape in shapes)
    unit = f"<mtext>&#160;{escape(tail)}</mtext>" if tail else ""
    block = ' display="block"' if len(shapes) > 1 else ""
    mathml = f'<math xmlns="http://www.w3.org/1998/Math/MathML"{block}><mrow>{middle}{unit}</mrow></math>'
    typst = " = ".join(markup.shape_typst(shape) for shape in shapes)
    if tail:
        typst += f" {markup.quoted(' ' + tail)}"
    return {"text": text, "mathml": mathml, "typst": typst}


# -- data ------------------------------------------------------------------------------------------------------------


def record(what: Worked) -> dict[str, Any]:
    """The working as data: values in base SI beside the texts."""
    return {
        "format": 1,
        "machine": what.title,
        "number": what.name,
        "label": what.label,
        "value": what.value,
        "unit": what.unit,
        "text": what.text,
        **({"parts": list(what.parts)} if what.parts else {}),
        **({"judged": what.judged} if what.judged else {}),
        "units": what.unit_set,
        "given": [
            {"name": i.name, "meaning": i.meaning, "value": i.value, "text": i.text, "status": i.status,
             "source": i.source}
            for i in what.inputs
        ],
        "steps": [
            {
                "number": step.number,
                "formula": step.name,
                "kind": step.label.kind,
                "title": step.title,
                "symbols": [symbol_line(line) for line in step.symbols] or list(step.equations),
                "in_these_units": [symbol_line(line) for line in step.scaled],
                "numbers": [line_text(line) for line in step.lines],
                "uses": [
                    {"word": use.put.name, "text": use_text(use), "from": use.origin,
                     "value": _finite(step.inputs.get(use.put.name)), "unit": _unit(use.put.name)}
                    for use in step.uses
                ],
                "results": [{"word": word, "text": text} for word, text in step.results],
                "source": step.source,
                "citation": writing.citation(step.source),
                "where": step.where,
                "status": step.status,
                "note": step.note,
            }
            for step in what.steps
        ],
    }  # fmt: skip


def _unit(word: str) -> str:
    return nomenclature.word(word).unit if word in nomenclature.words() else "1"


def _finite(value: Any) -> Any:
    from thinstock.tell.record import plain as as_json

    return as_json(value)
