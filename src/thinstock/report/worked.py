"""The worked calculation of a number: the chain of formulas that led to it, as a good teacher writes it on the board.

Which formula made which input is known by object identity from the worksheet of the run. Inputs first, then each
formula in symbols and in numbers, with source, status and a note where a stated range was left. Marches are shown by
their differential equation; their profile is a table elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock import nomenclature, units, writing
from thinstock.errors import Fault, Refused
from thinstock.relation import Label, Merged, Origin, Step, Worksheet
from thinstock.result import Result


@dataclass(frozen=True, kw_only=True)
class WorkedInput:
    """A number the chain starts from."""

    name: str
    """Address in the machine file, or what kind of number it is."""
    symbol: str
    meaning: str
    value: float
    text: str
    """Value with its unit in the chosen unit set."""
    status: str
    source: str


@dataclass(frozen=True, kw_only=True)
class WorkedStep:
    """One formula of the chain."""

    number: int
    name: str
    """Registry key, for the formula's own page."""
    title: str
    label: Label
    symbols: tuple[str, ...]
    numbers: tuple[str, ...]
    result: str
    """Result with unit in the chosen unit set."""
    source: str
    where: str
    status: str
    uses: tuple[str, ...]
    """Where each input comes from: a step's number, or an address."""
    note: str
    values: dict[str, Any]
    output: Any


@dataclass(frozen=True, kw_only=True)
class Worked:
    """The whole working of one number."""

    name: str
    label: str
    text: str
    value: float
    inputs: tuple[WorkedInput, ...]
    steps: tuple[WorkedStep, ...]


DIGITS = 6


def names_of(result: Result) -> list[str]:
    """Numbers whose working can be shown."""
    sheet = result.worksheet
    if sheet is None:
        return []
    return [n for n, v in result.values.items() if isinstance(v, float) and sheet.origin(v) is not None]


def _steps_of(sheet: Worksheet, origin: Origin, found: dict[int, Step], leaves: dict[str, Any], value: Any) -> None:
    """Collect the steps (and leaves) a number hangs on; a step inside another is folded into it."""
    if isinstance(origin, Merged):
        for part in origin.parts:
            _steps_of(sheet, part, found, leaves, None)
        return
    if isinstance(origin, str):
        if value is not None or origin not in leaves:
            leaves[origin] = value if value is not None else leaves.get(origin)
        return
    if origin is None:
        return
    step = sheet.steps[origin[0]]
    while step.parent is not None:
        step = sheet.steps[step.parent]
    if step.number in found:
        return
    found[step.number] = step
    for argument, given in step.inputs.items():
        _steps_of(sheet, step.origins[argument], found, leaves, given if isinstance(given, float) else None)


def _edge(word: str, value: float, unit_set: units.UnitSet, digits: int = DIGITS) -> str:
    about = nomenclature.word(word)
    if about.kind in nomenclature.PLAIN_KINDS or not np.isfinite(value):
        return f"{units.number_text(value, digits)}"
    return units.write(value, units.edge_unit(word, unit_set), digits, kind=about.kind)


def worked(result: Result, name: str, unit_set: units.UnitSet = "mill") -> Worked:
    """The working of one named number of a single-case run."""
    sheet = result.worksheet
    if sheet is None:
        raise Refused(Fault(field=name, bound="a working is kept for one case only, not for a run over many"))
    known = names_of(result)
    if name not in known:
        near = nearest(name, known)
        raise Refused(Fault(field=name, bound="no number of this name", remedy=f"Numbers: {near}."))
    value = result[name]
    found: dict[int, Step] = {}
    leaves: dict[str, Any] = {}
    _steps_of(sheet, sheet.origin(value), found, leaves, value)
    ordered = [found[n] for n in sorted(found)]
    numbers = {step.number: i for i, step in enumerate(ordered, start=1)}
    from thinstock.export import headline, word_of

    word = word_of(name)
    label = headline().get(name, {}).get("label", name.replace("_", " "))
    return Worked(
        name=name,
        label=str(label),
        text=_edge(word, float(value), unit_set, 4),
        value=float(value),
        inputs=tuple(_inputs(result, leaves, ordered, unit_set)),
        steps=tuple(_step(sheet, step, numbers, unit_set) for step in ordered),
    )


def nearest(name: str, known: list[str]) -> str:
    """The names nearest to what was asked, or all of them when there are few."""
    from difflib import get_close_matches

    return ", ".join(get_close_matches(name, known, n=5, cutoff=0.3) or known)


def _inputs(
    result: Result, leaves: dict[str, Any], steps: list[Step], unit_set: units.UnitSet
) -> Iterator[WorkedInput]:
    machine = result.machine
    words: dict[str, str] = {}
    for step in steps:
        for argument, origin in step.origins.items():
            if isinstance(origin, str):
                words.setdefault(origin, argument)
    for address, value in leaves.items():
        if value is None:
            try:
                value = machine.get(address)
            except Refused:
                continue
        if not isinstance(value, float):
            continue
        argument = words.get(address, address.rsplit(".", 1)[-1])
        status, source = _provenance(machine, address)
        meaning, symbol, text = argument.replace("_", " "), "", units.number_text(float(value), DIGITS)
        if argument in nomenclature.words():
            about = nomenclature.word(argument)
            meaning, symbol = about.meaning, about.symbol
            text = _edge(argument, float(value), unit_set)
        yield WorkedInput(
            name=address,
            symbol=symbol,
            meaning=meaning,
            value=float(value),
            text=text,
            status=status,
            source=source,
        )


def _provenance(machine: Any, address: str) -> tuple[str, str]:
    """Status and source of an input: from the file, the field's default, or what kind of number it is."""
    for kind in ("constants.", "convention: ", "found by search: ", "library: "):
        if address.startswith(kind):
            return kind.rstrip(": .").removesuffix("s"), ""
    given = machine.given.get(address)
    if given is not None:
        return given.status, given.source
    try:
        about = machine.declaration(address).about
    except (Refused, StopIteration):
        return "", ""
    return getattr(about, "status", ""), getattr(about, "source", "")


def _step(sheet: Worksheet, step: Step, numbers: dict[int, int], unit_set: units.UnitSet) -> WorkedStep:
    label = step.label
    scalars = {n: v for n, v in step.inputs.items() if isinstance(v, float | int) and not isinstance(v, bool)}
    rows = {n: v for n, v in step.inputs.items() if isinstance(v, np.ndarray)}
    title = (label.function.__doc__ or label.name).strip().splitlines()[0].rstrip(".")
    doc = getattr(label, "title", "") or title
    if label.kind == "march":
        written = tuple(writing.plain(label))
        in_numbers: tuple[str, ...] = ()
    else:
        written = tuple(writing.plain(label))
        try:
            answer = {} if label.kind == "formula" else _answers(label, step.output)
            in_numbers = tuple(writing.plain_with_numbers(label, {**scalars, **rows, **answer}, unit_set, DIGITS))
        except (KeyError, NameError, TypeError, ValueError):
            in_numbers = ()
    uses = []
    for argument, origin in step.origins.items():
        place = _place(sheet, origin, numbers)
        if place:
            uses.append(f"{argument}: {place}")
    note = "; ".join(f"{argument} is outside the stated range of this formula" for argument in step.outside)
    return WorkedStep(
        number=numbers[step.number],
        name=label.name,
        title=doc,
        label=label,
        symbols=written,
        numbers=in_numbers,
        result=_result_text(label, step.output, unit_set),
        source=label.source,
        where=label.where,
        status=label.status,
        uses=tuple(uses),
        note=note,
        values={**scalars, **rows},
        output=step.output,
    )


def _answers(label: Label, output: Any) -> dict[str, Any]:
    if isinstance(output, tuple):
        return dict(zip(getattr(output, "_fields", label.gives), output, strict=False))
    return {label.gives[0]: output}


def _result_text(label: Label, output: Any, unit_set: units.UnitSet) -> str:
    if isinstance(output, tuple):
        parts = []
        for word, value in zip(getattr(output, "_fields", label.gives), output, strict=False):
            if np.ndim(value) > 1 or word not in nomenclature.words():
                continue
            number = np.asarray(value, dtype=float).ravel()
            if number.size == 1 and np.isfinite(number[0]):
                parts.append(f"{word.replace('_', ' ')} {_edge(word, float(number[0]), unit_set)}")
        return ", ".join(parts)
    number = np.asarray(output, dtype=float).ravel()
    if number.size != 1:
        return ""
    return _edge(label.gives[0], float(number[0]), unit_set)


def _place(sheet: Worksheet, origin: Origin, numbers: dict[int, int]) -> str:
    if isinstance(origin, Merged):
        return ", ".join(dict.fromkeys(p for p in (_place(sheet, part, numbers) for part in origin.parts) if p))
    if isinstance(origin, str):
        return origin
    if origin is None:
        return ""
    step = sheet.steps[origin[0]]
    while step.parent is not None:
        step = sheet.steps[step.parent]
    return f"step {numbers[step.number]}" if step.number in numbers else ""


def plain(what: Worked) -> str:
    """The working as plain text."""
    rows = [f"{what.label}: {what.text}", "", "Given"]
    width = max((len(i.name) for i in what.inputs), default=0)
    for one in what.inputs:
        status = f"  ({one.status})" if one.status else ""
        rows.append(f"  {one.name:<{width}}  {one.text}{status}")
    rows += ["", "Working"]
    for step in what.steps:
        rows.append(f"{step.number:>3}. {step.title}")
        rows += [f"       {line}" for line in step.symbols]
        rows += [f"       {line}" for line in step.numbers]
        if step.result and not (step.numbers and step.result in step.numbers[-1]):
            rows.append(f"       = {step.result}")
        where = f", {step.where}" if step.where else ""
        rows.append(f"       {step.status}; {writing.citation(step.source)}{where}")
        if step.note:
            rows.append(f"       Note: {step.note}.")
    return "\n".join(rows)
