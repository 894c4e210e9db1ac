"""The worked calculation of a number: the chain of formulas that led to it, as a good teacher writes it on the board.

Every number remembers the formula or the arithmetic that made it. Inputs first, then each step in symbols and in
numbers, with source, status and a note where a stated range was left; a march is shown by its equations and what
happens on the way. How it is written (terminal, page, paper) is the business of `explained`.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.formula import typeset, writing
from thinstock.formula.label import ARITHMETIC, RELATIONS, Label, Step, Worksheet
from thinstock.formula.typeset import Line
from thinstock.machine.line import Machine
from thinstock.machine.result import Result
from thinstock.studies.truth import of_number, told_points
from thinstock.tell.asked import about as about
from thinstock.tell.asked import asked
from thinstock.tell.asked import names_of as names_of
from thinstock.tell.asked import numbers_of as numbers_of
from thinstock.tell.chain import Chain, about_of
from thinstock.tell.filled import FilledLine, Put, as_written, base_unit, filled
from thinstock.tell.press_parts import press_parts
from thinstock.tell.short_working import in_short
from thinstock.tell.steps import Use as Use
from thinstock.tell.steps import WorkedStep as WorkedStep
from thinstock.tell.ways import table_of
from thinstock.words import nomenclature, units
from thinstock.words.figures import Edge
from thinstock.words.phrase import capital, phrase

TOTAL = "balance.sum_of"
"""The formula whose terms have the unit of their sum."""
DIGITS = 6
"""Digits of a given value."""


@dataclass(frozen=True, kw_only=True)
class WorkedInput:
    """A number the chain starts from."""

    name: str
    """Address in the machine file, or what kind of number it is."""
    symbol: typeset.Shape | None
    meaning: str
    value: float
    text: str
    """Value with its unit in the chosen unit set."""
    status: str
    source: str


@dataclass(frozen=True, kw_only=True)
class Worked:
    """The whole working of one number."""

    title: str
    """The machine's."""
    name: str
    label: str
    text: str
    """With the digits the number deserves."""
    value: float
    unit: str
    """Base SI unit of the value."""
    unit_set: str
    inputs: tuple[WorkedInput, ...]
    steps: tuple[WorkedStep, ...]
    parts: tuple[str, ...] = ()
    """The working in three lines."""
    judged: str = ""
    """By which published points the number is judged, in a sentence."""


def judged_by(name: str) -> str:
    """The published points that judge a number, in a sentence."""
    said = told_points(of_number(name))
    return phrase("truth.sentence", judged=capital(said)) if said else ""


def worked(result: Result, name: str, unit_set: units.UnitSet = "mill") -> Worked:
    """The working of one named number of a single-case run."""
    name = asked(result, name)
    value = numbers_of(result)[name]
    assert result.worksheet is not None
    known = about(name)
    word = known.word
    chain = Chain(result.worksheet, result.machine, value, word)
    edge = Edge(unit_set=unit_set, air=float(result.machine.site.atmospheric_pressure()))
    steps = _steps(result, chain, edge, word)
    return Worked(
        title=result.machine.title,
        name=name,
        label=known.label,
        text=edge.text(word, value, known.digits) if word else _bare(known.unit, value),
        value=float(value),
        unit=known.unit,
        unit_set=unit_set,
        inputs=tuple(_inputs(result, chain, edge)),
        steps=steps,
        parts=tuple(press_parts(result, edge) if name == "dryness_press" else in_short(steps)),
        judged=judged_by(name),
    )


def end_of(result: Result, name: str, unit_set: units.UnitSet = "mill") -> WorkedStep | None:
    """The last step of a working alone; None for a number of the machine file."""
    name = asked(result, name)
    assert result.worksheet is not None
    word = about(name).word
    chain = Chain(result.worksheet, result.machine, numbers_of(result)[name], word)
    edge = Edge(unit_set=unit_set, air=float(result.machine.site.atmospheric_pressure()))
    step = chain.end_step()
    return None if step is None else _step(result, chain, len(chain.steps), step, edge, word)


def _steps(result: Result | None, chain: Chain, edge: Edge, word: str = "") -> tuple[WorkedStep, ...]:
    """All steps of a chain; the one that gives the number itself ends in the unit of `word`."""
    end = chain.end_step()
    return tuple(
        _step(result, chain, number, step, edge, word if step is end else "")
        for number, step in enumerate(chain.steps, start=1)
    )


def _bare(unit: str, value: float) -> str:
    return f"{units.number_text(float(value), 4)} {unit}" if unit != "1" else units.number_text(float(value), 4)


def _text(word: str, value: float, edge: Edge, digits: int = DIGITS) -> str:
    """A value of a word in the units of the set, without zeros at its end."""
    if word not in nomenclature.words() or nomenclature.word(word).kind in nomenclature.PLAIN_KINDS:
        return as_written(units.number_text(value, digits))
    return as_written(units.write_word(word, value, edge.unit_set, digits, atmospheric_pressure=edge.air))


def _inputs(result: Result, chain: Chain, edge: Edge) -> Iterator[WorkedInput]:
    machine = result.machine
    words: dict[str, str] = {}
    for step in chain.steps:
        for argument, origin in step.origins.items():
            if isinstance(origin, str):
                words.setdefault(origin, argument)
    for address, value in chain.leaves.items():
        if value is None:
            try:
                value = machine.get(address)
            except Refused:
                continue
        if not isinstance(value, float):
            continue
        about = about_of(machine, address)
        argument = words.get(address, address.rsplit(".", 1)[-1])
        word = argument if about is None else about.word
        known = word in nomenclature.words()
        status, source = _provenance(machine, address)
        symbol = nomenclature.word(word).symbol if known else ""
        meaning = nomenclature.word(word).meaning if known else argument.replace("_", " ")
        yield WorkedInput(
            name=address,
            symbol=typeset.symbol(symbol) if symbol else None,
            meaning=meaning if about is None or not about.label else about.label,
            value=float(value),
            text=_text(word, float(value), edge),
            status=status,
            source=source,
        )


def _provenance(machine: Machine, address: str) -> tuple[str, str]:
    """Status and source of an input: from the file, the field's default, or what kind of number it is."""
    for kind in ("constants.", "convention: ", phrase("tell.worked.found_by_search"), "library: "):
        if address.startswith(kind):
            return kind.rstrip(": .").removesuffix("s"), ""
    given = machine.given.get(address)
    if given is not None:
        return given.status, given.source
    about = about_of(machine, address)
    return ("", "") if about is None else (about.status or "assumed", about.source)


def title_of(label: Label, word: str = "") -> str:
    """What a formula gives, in the first line of its own words; of arithmetic the meaning of its word."""
    if label.name == ARITHMETIC:
        name = word or label.gives[0]
        told = nomenclature.word(name).meaning if name in nomenclature.words() else name.replace("_", " ")
        return told[:1].upper() + told[1:]
    first = " ".join((RELATIONS[label.name].__doc__ or label.name).strip().split("\n\n")[0].split())
    told = re.split(r"\. |; |, over the last axis", first)[0].rstrip(".")
    found = re.search(r", ([^,()]+?)( \(definition\))?$", told)
    if found and units.find(found[1]) is not None:
        told = told[: found.start()] + (found[2] or "")
    return re.sub(r"`([^`]*)`", lambda m: m[1].replace("_", " "), told).replace("*", "")


def steps_of(sheet: Worksheet, value: Any, edge: Edge) -> tuple[WorkedStep, ...]:
    """The steps that led to a value of a worksheet that no machine stands behind (a problem to be set)."""
    return _steps(None, Chain(sheet, None, value), edge)


def _step(result: Result | None, chain: Chain, number: int, step: Step, edge: Edge, word: str) -> WorkedStep:
    """One step; `word` is what the asked number is called, where this step gives it."""
    label = step.label
    wanted = chain.asked.get(number, set())
    scalars = {n: v for n, v in step.inputs.items() if isinstance(v, float | int) and not isinstance(v, bool)}
    rows = {n: v for n, v in step.inputs.items() if isinstance(v, np.ndarray) and v.ndim <= 1}
    march = label.kind == "march"
    lines: tuple[FilledLine, ...] = ()
    scaled: tuple[Line, ...] = ()
    if march:
        puts = _march_puts(label, scalars, edge)
    else:
        answer = {} if label.kind == "formula" else _answers(label, step.output)
        made = filled(label, {**scalars, **rows}, answer, edge.unit_set, _words(chain, step, word))
        lines, scaled = _with_units(chain, step, made.lines, edge), made.scaled
        lines = _ending(lines, step, word, edge)
        puts = tuple(put for put in made.puts if put.name not in answer)
    return WorkedStep(
        number=number,
        name=label.name,
        title=title_of(label, word),
        label=label,
        symbols=() if march else tuple(typeset.lines(label)),
        equations=tuple(writing.plain(label)) if march else (),
        scaled=scaled,
        uses=tuple(_use(chain, step, put, edge) for put in puts),
        further=tuple(
            (argument.replace("_", " "), place)
            for argument, origin in step.origins.items()
            if argument not in {put.name for put in puts} and not isinstance(step.inputs[argument], float)
            for place in [chain.place(origin)]
            if place
        ),
        after=tuple(sorted(set(chain.before(step)))),
        lines=lines,
        results=_results(label, step.output, edge, wanted, {chain.end_word(): word} if word else {}),
        solved=writing.shape_text(typeset.symbols_of(label)[label.gives[0]]) if label.kind == "equation" else "",
        source=label.source,
        where=label.where,
        status=label.status,
        note="; ".join(_range_note(step, argument, edge) for argument in step.outside),
        calls=() if march else tuple(_calls(label)),
        table=table_of(result, step, edge) if march and result is not None else None,
        inputs={**scalars, **rows},
        output=step.output,
    )


def _with_units(chain: Chain, step: Step, lines: tuple[FilledLine, ...], edge: Edge) -> tuple[FilledLine, ...]:
    """Lines whose result may be anything, with the unit of what went in."""
    word = step.label.gives[0]
    if not lines or not isinstance(step.output, float) or len(step.label.gives) > 1 or lines[-1].unit:
        return lines
    if word not in nomenclature.words() or nomenclature.word(word).kind not in ("any", "as the value"):
        return lines
    real = chain.word((step.number, word))
    last = lines[-1]
    if not real or not isinstance(last.result, typeset.Number) or last.result.value != float(step.output):
        return lines
    shown = _text(real, float(step.output), edge, last.result.digits or 4)
    unit = base_unit(real)
    also = "" if shown == f"{writing.shape_text(last.result)} {unit}".rstrip() else shown
    return (*lines[:-1], dataclasses.replace(last, unit=unit, also=also))


def _words(chain: Chain, step: Step, word: str) -> dict[str, str]:
    """Words of inputs and of the result where the formula's own names have another unit, or are no words."""
    found = {step.label.gives[0]: word} if word and len(step.label.gives) == 1 else {}
    if step.label.name == ARITHMETIC and not word and (real := chain.word((step.number, step.label.gives[0]))):
        found[step.label.gives[0]] = real
    if step.label.name == TOTAL:
        real = word or chain.word((step.number, step.label.gives[0]))
        found |= dict.fromkeys((*step.inputs, *step.label.gives), real) if real else {}
    known, plain_kinds = nomenclature.words(), nomenclature.PLAIN_KINDS
    for name in step.inputs:
        real = chain.word(step.origins.get(name))
        if name not in known or (real and known[name].kind not in plain_kinds and _unit(name) != _unit(real)):
            found[name] = real
    return found


def _unit(word: str) -> str:
    unit = nomenclature.word(word).unit
    return "1" if unit in ("", "kg/kg") else unit


def _ending(lines: tuple[FilledLine, ...], step: Step, word: str, edge: Edge) -> tuple[FilledLine, ...]:
    """Lines that end in the unit in which the number is asked for."""
    if not word or not lines or len(step.label.gives) > 1 or lines[-1].residual:
        return lines
    last, unit = lines[-1], edge.unit(word)
    if last.unit == unit or (last.also and last.also.partition(" ")[2] == unit):
        return lines
    digits = last.result.digits if isinstance(last.result, typeset.Number) else None
    also = _text(word, float(step.output), edge, digits or 4)
    if last.result is not None and not last.unit and also.partition(" ")[0] == writing.shape_text(last.result):
        return (*lines[:-1], dataclasses.replace(last, unit=unit))
    return (*lines[:-1], dataclasses.replace(last, also=also))


def _use(chain: Chain, step: Step, put: Put, edge: Edge) -> Use:
    """A number that goes in, with its origin; a word that may be anything takes the unit of where it comes from."""
    origin = step.origins.get(put.name)
    if (
        put.unit == ""
        and put.name in nomenclature.words()
        and nomenclature.word(put.name).kind in ("any", "as the value")
    ):
        word = chain.word(origin)
        unit = base_unit(word) if word else ""
        value = step.inputs.get(put.name)
        if unit and isinstance(value, float):
            shown = _text(word, float(value), edge, 5)
            put = dataclasses.replace(put, unit=unit, also="" if shown.endswith(f" {unit}") else shown)
    return Use(put=put, origin=chain.place(origin))


def _march_puts(label: Label, scalars: Mapping[str, Any], edge: Edge) -> tuple[Put, ...]:
    symbols = typeset.symbols_of(label)
    puts = []
    for name, value in scalars.items():
        if name not in nomenclature.words() or nomenclature.word(name).kind == "structure":
            continue
        shown = _text(name, float(value), edge, 5)
        number, _, unit = shown.partition(" ")
        puts.append(
            Put(
                name=name, symbol=symbols[name], meaning=nomenclature.word(name).meaning,
                shown=typeset.Symbol(number), unit=unit, also="",
            )
        )  # fmt: skip
    return tuple(puts)


def _range_note(step: Step, argument: str, edge: Edge) -> str:
    low, high = step.outside[argument]
    value = _text(argument, float(step.inputs[argument]), edge, 4)
    bounds = f"{_text(argument, low, edge, 4)} to {_text(argument, high, edge, 4)}"
    return phrase(
        "tell.worked.outside_range_in_which_this", replace=argument.replace("_", " "), value=value, bounds=bounds
    )


def _calls(label: Label) -> Iterator[str]:
    from thinstock.formula import expression

    home = label.name.split(".", 1)[0]
    for name in dict.fromkeys(
        called for _, node in expression.parse(label.formula) for called in typeset._called(node)
    ):
        yield expression._lookup(name, home).label.name  # type: ignore[attr-defined]


def _answers(label: Label, output: Any) -> dict[str, Any]:
    if isinstance(output, tuple):
        return dict(zip(getattr(output, "_fields", label.gives), output, strict=False))
    return {label.gives[0]: output}


def _results(
    label: Label, output: Any, edge: Edge, wanted: set[str], called: Mapping[str, str]
) -> tuple[tuple[str, str], ...]:
    """What a step gives; of many results those that the chain goes on with; `called`: the word for one of them."""
    if dataclasses.is_dataclass(output):  # a record of many streams: the steps behind it say which they take
        return ()
    if not isinstance(output, tuple):
        number = np.asarray(output, dtype=float).ravel()
        word = label.gives[0]
        if number.size != 1:
            return ()
        return ((word.replace("_", " "), _with_unit(called.get(word, word), float(number[0]), edge)),)
    found = []
    for word, value in zip(getattr(output, "_fields", label.gives), output, strict=False):
        if np.ndim(value) > 1 or word not in nomenclature.words() or (wanted and word not in wanted):
            continue
        number = np.asarray(value, dtype=float).ravel()
        if number.size == 1 and np.isfinite(number[0]):
            found.append((word.replace("_", " "), _with_unit(called.get(word, word), float(number[0]), edge)))
    return tuple(found)


def _with_unit(word: str, value: float, edge: Edge) -> str:
    shown = _text(word, value, edge, 5)
    return shown if " " in shown else f"{shown} {base_unit(word)}".rstrip()
