"""The worked calculation of a number: the chain of formulas that led to it, as a good teacher writes it on the board.

Which formula made which input is known by object identity from the worksheet of the run. Inputs first, then each
formula in symbols and in numbers, with source, status and a note where a stated range was left; a march is shown by its
equations and what happens on the way. How it is written (terminal, page, paper) is the business of `explained`.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.errors import Fault, Refused
from thinstock.formula import typeset, writing
from thinstock.formula.label import RELATIONS, Label, Merged, Origin, Step, Worksheet
from thinstock.formula.typeset import Line
from thinstock.machine.numbers import number as told_of
from thinstock.machine.result import Result
from thinstock.tell.filled import FilledLine, Put, as_written, base_unit, filled
from thinstock.words import nomenclature, units
from thinstock.words.figures import Edge
from thinstock.words.quantity import Q

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
class Use:
    """One number that goes into a step, and where it is from."""

    put: Put
    origin: str
    """"step 3", the address of a machine value, or empty."""


@dataclass(frozen=True, kw_only=True)
class Table:
    """What happens on the way of a march."""

    caption: str
    heads: tuple[tuple[str, str], ...]
    """Words and unit of each column."""
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, kw_only=True)
class WorkedStep:
    """One formula of the chain."""

    number: int
    name: str
    """Registry key, for the formula's own page."""
    title: str
    label: Label
    symbols: tuple[Line, ...]
    """Empty for a march, which has `equations`."""
    equations: tuple[str, ...]
    scaled: tuple[Line, ...]
    """The formula for numbers in these units, where that needs a constant."""
    uses: tuple[Use, ...]
    further: tuple[tuple[str, str], ...]
    """(what, where it is from) of what goes in and is no single number: elements, rows."""
    after: tuple[int, ...]
    """Steps whose results go in."""
    lines: tuple[FilledLine, ...]
    results: tuple[tuple[str, str], ...]
    """(word, value with unit); several where a formula gives several."""
    solved: str
    """Symbol of what an equation was solved for."""
    source: str
    where: str
    status: str
    note: str
    calls: tuple[str, ...]
    """Formulas that this one calls by name."""
    table: Table | None
    inputs: Mapping[str, Any]
    output: Any

    @property
    def result(self) -> str:
        """The result as text."""
        if len(self.results) == 1:
            return self.results[0][1]
        return ", ".join(f"{word} {text}" for word, text in self.results)


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


# -- what can be explained -------------------------------------------------------------------------------------------


def numbers_of(result: Result) -> dict[str, Any]:
    """Every number of a run whose working can be shown, by name: headline numbers, stations, consumers, stages."""
    sheet = result.worksheet
    if sheet is None:
        return {}
    found: dict[str, Any] = dict(result.values)
    for station in result.stations:
        for field in ("dryness", "moisture_ratio", "grammage", "temperature", "speed"):
            found[f"stations.{_slug(station.name)}.{field}"] = getattr(station, field)
    for user in result.energy:
        found[f"energy.{_slug(user.name)}.power"] = user.power
        found[f"energy.{_slug(user.name)}.per_product"] = user.per_mass
    for price in result.water_prices:
        found[f"water.{price.stage}.water_per_fibre"] = price.water_per_fibre
        found[f"water.{price.stage}.share"] = price.share
    return {n: v for n, v in found.items() if isinstance(v, float) and sheet.origin(v) is not None}


def names_of(result: Result) -> list[str]:
    """Names of the numbers whose working can be shown."""
    return list(numbers_of(result))


def _slug(name: str) -> str:
    return re.sub(r"[^0-9a-z]+", "_", name.lower()).strip("_")


WORDS = {"power": "contact_heat", "per_product": "specific_energy", "water_per_fibre": "water_per_fibre"}


def word_of(name: str) -> str:
    """The word of a number that can be explained; empty where none has its unit."""
    if "." not in name:
        return told_of(name).word
    last = name.rsplit(".", 1)[-1]
    return WORDS.get(last, last)


def label_of(name: str) -> str:
    """A number in plain words."""
    if "." not in name:
        return told_of(name).label
    kind, which, last = name.split(".")
    said = last.replace("_", " ")
    return f"{said} of the {which.replace('_', ' ')}" if kind != "stations" else f"{said} at {which.replace('_', ' ')}"


def _digits_of(name: str) -> int:
    return 4 if "." in name else told_of(name).digits


def asked(result: Result, name: str) -> str:
    """The full name of a number; refused with the names that exist where there is none."""
    if result.worksheet is None:
        raise Refused(Fault(field=name, bound="a working is kept for one case only, not for a run over many"))
    known = names_of(result)
    tried = re.sub(r"[\s-]+", "_", name.strip())
    if tried in known:
        return tried
    by_label = {label_of(n): n for n in known}
    if name.strip() in by_label:
        return by_label[name.strip()]
    from thinstock.words.address import nearest as near_names

    near = near_names(tried, known)
    first = f"Nearest: {', '.join(near)}. " if near else ""
    held = " (this machine forms no sheet: what lies behind the former does not exist)" if _no_sheet(result) else ""
    raise Refused(Fault(field=name, bound=f"no number of this name{held}", remedy=f"{first}All: {', '.join(known)}."))


def _no_sheet(result: Result) -> bool:
    formed = result.values.get("formed")
    return formed is not None and not bool(formed)


# -- the chain -------------------------------------------------------------------------------------------------------


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
    step = _outermost(sheet, origin)
    if step.number in found:
        return
    found[step.number] = step
    for argument, given in step.inputs.items():
        _steps_of(sheet, step.origins[argument], found, leaves, given if isinstance(given, float) else None)


def _outermost(sheet: Worksheet, origin: tuple[int, str]) -> Step:
    step = sheet.steps[origin[0]]
    while step.parent is not None:
        step = sheet.steps[step.parent]
    return step


def _key(step: Step) -> Any:
    """Two uses of a formula with the same numbers are one step."""
    parts: list[Any] = [step.label.name]
    for name, value in step.inputs.items():
        if isinstance(value, float | int | str):
            parts.append((name, value))
        elif isinstance(value, np.ndarray):
            parts.append((name, value.tobytes()))
        else:
            parts.append((name, id(value)))
    return tuple(parts)


GIVEN = "given "
"""Origin of a number of a set problem; its word follows."""


class _Chain:
    """The steps one number hangs on, numbered from 1; equal steps have one number."""

    def __init__(self, sheet: Worksheet, machine: Any, value: Any) -> None:
        self.sheet, self.machine = sheet, machine
        found: dict[int, Step] = {}
        self.leaves: dict[str, Any] = {}
        _steps_of(sheet, sheet.origin(value), found, self.leaves, value)
        self.steps: list[Step] = []
        self.numbers: dict[int, int] = {}
        first: dict[Any, int] = {}
        for number in sorted(found):
            step = found[number]
            key = _key(step)
            if key not in first:
                self.steps.append(step)
                first[key] = len(self.steps)
            self.numbers[number] = first[key]
        self.asked = self._asked(value)

    def _asked(self, value: Any) -> dict[int, set[str]]:
        """Which of its results each step is needed for."""
        wanted: dict[int, set[str]] = {}

        def note(origin: Origin) -> None:
            if isinstance(origin, Merged):
                for part in origin.parts:
                    note(part)
            elif isinstance(origin, tuple):
                step = _outermost(self.sheet, origin)
                if step.number in self.numbers:
                    wanted.setdefault(self.numbers[step.number], set()).add(origin[1])

        note(self.sheet.origin(value))
        for step in self.steps:
            for origin in step.origins.values():
                note(origin)
        return wanted

    def place(self, origin: Origin) -> str:
        """Where a number comes from, in words."""
        if isinstance(origin, Merged):
            return ", ".join(dict.fromkeys(p for p in (self.place(part) for part in origin.parts) if p))
        if isinstance(origin, str):
            return GIVEN.rstrip() if origin.startswith(GIVEN) else origin
        if origin is None:
            return ""
        step = _outermost(self.sheet, origin)
        return f"step {self.numbers[step.number]}" if step.number in self.numbers else ""

    def before(self, step: Step) -> Iterator[int]:
        """Numbers of the steps whose results go into this one."""
        for origin in step.origins.values():
            for part in origin.parts if isinstance(origin, Merged) else (origin,):
                if isinstance(part, tuple):
                    number = self.numbers.get(_outermost(self.sheet, part).number)
                    if number is not None:
                        yield number

    def word(self, origin: Origin) -> str:
        """The word of a number by where it comes from; empty where that is not known."""
        if isinstance(origin, tuple):
            given = self.sheet.steps[origin[0]]
            word = origin[1]
            if word in nomenclature.words() and nomenclature.word(word).kind not in nomenclature.PLAIN_KINDS:
                return word
            inner = [w for w in (self.word(o) for o in given.origins.values()) if w]
            whole = [w for w in inner if nomenclature.word(w).kind not in ("fraction", "number")]
            return next(iter(whole or inner), "")
        if isinstance(origin, str) and origin.startswith(GIVEN):
            return origin.removeprefix(GIVEN)
        if isinstance(origin, str):
            about = _about(self.machine, origin)
            return about.word if about is not None else ""
        return ""


def worked(result: Result, name: str, unit_set: units.UnitSet = "mill") -> Worked:
    """The working of one named number of a single-case run."""
    name = asked(result, name)
    value = numbers_of(result)[name]
    assert result.worksheet is not None
    chain = _Chain(result.worksheet, result.machine, value)
    edge = Edge(unit_set=unit_set, air=float(result.machine.site.atmospheric_pressure()))
    word = word_of(name)
    return Worked(
        title=result.machine.title,
        name=name,
        label=label_of(name),
        text=edge.text(word, value, _digits_of(name)) if word else _bare(name, value),
        value=float(value),
        unit=nomenclature.word(word).unit if word else _unit_of(name),
        unit_set=unit_set,
        inputs=tuple(_inputs(result, chain, edge)),
        steps=tuple(_step(result, chain, number, step, edge) for number, step in enumerate(chain.steps, start=1)),
    )


def _unit_of(name: str) -> str:
    return "1" if "." in name else told_of(name).unit


def _bare(name: str, value: float) -> str:
    unit = _unit_of(name)
    return f"{units.number_text(float(value), 4)} {unit}" if unit != "1" else units.number_text(float(value), 4)


def _text(word: str, value: float, edge: Edge, digits: int = DIGITS) -> str:
    """A value of a word in the units of the set, without zeros at its end."""
    if word not in nomenclature.words() or nomenclature.word(word).kind in nomenclature.PLAIN_KINDS:
        return as_written(units.number_text(value, digits))
    return as_written(units.write_word(word, value, edge.unit_set, digits, atmospheric_pressure=edge.air))


def _inputs(result: Result, chain: _Chain, edge: Edge) -> Iterator[WorkedInput]:
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
        about = _about(machine, address)
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


def _about(machine: Any, address: str) -> Q | None:
    """What is declared of the field at an address; None for a number from elsewhere."""
    if machine is None:
        return None
    try:
        about = machine.declaration(address).about
    except (Refused, StopIteration):
        return None
    return about if isinstance(about, Q) else None


def _provenance(machine: Any, address: str) -> tuple[str, str]:
    """Status and source of an input: from the file, the field's default, or what kind of number it is."""
    for kind in ("constants.", "convention: ", "found by search: ", "library: "):
        if address.startswith(kind):
            return kind.rstrip(": .").removesuffix("s"), ""
    given = machine.given.get(address)
    if given is not None:
        return given.status, given.source
    about = _about(machine, address)
    return ("", "") if about is None else (about.status or "assumed", about.source)


def title_of(label: Label) -> str:
    """What a formula gives, in the first line of its own words."""
    first = " ".join((RELATIONS[label.name].__doc__ or label.name).strip().split("\n\n")[0].split())
    told = first.split(". ")[0].rstrip(".")
    found = re.search(r", ([^,()]+?)( \(definition\))?$", told)
    if found and units.find(found[1]) is not None:
        told = told[: found.start()] + (found[2] or "")
    return re.sub(r"`([^`]*)`", lambda m: m[1].replace("_", " "), told).replace("*", "")


def steps_of(sheet: Worksheet, value: Any, edge: Edge) -> tuple[WorkedStep, ...]:
    """The steps that led to a value of a worksheet that no machine stands behind (a problem to be set)."""
    chain = _Chain(sheet, None, value)
    return tuple(_step(None, chain, number, step, edge) for number, step in enumerate(chain.steps, start=1))


def _step(result: Result | None, chain: _Chain, number: int, step: Step, edge: Edge) -> WorkedStep:
    label = step.label
    scalars = {n: v for n, v in step.inputs.items() if isinstance(v, float | int) and not isinstance(v, bool)}
    rows = {n: v for n, v in step.inputs.items() if isinstance(v, np.ndarray) and v.ndim <= 1}
    march = label.kind == "march"
    lines: tuple[FilledLine, ...] = ()
    scaled: tuple[Line, ...] = ()
    if march:
        puts = _march_puts(label, scalars, edge)
    else:
        answer = {} if label.kind == "formula" else _answers(label, step.output)
        made = filled(label, {**scalars, **rows}, answer, edge.unit_set)
        lines, scaled = _with_units(chain, step, made.lines, edge), made.scaled
        puts = tuple(put for put in made.puts if put.name not in answer)
    return WorkedStep(
        number=number,
        name=label.name,
        title=title_of(label),
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
        results=_results(label, step.output, edge, chain.asked.get(number, set())),
        solved=writing.shape_text(typeset.symbols_of(label)[label.gives[0]]) if label.kind == "equation" else "",
        source=label.source,
        where=label.where,
        status=label.status,
        note="; ".join(_range_note(step, argument, edge) for argument in step.outside),
        calls=() if march else tuple(_calls(label)),
        table=_table(result, step, edge) if march and result is not None else None,
        inputs={**scalars, **rows},
        output=step.output,
    )


def _with_units(chain: _Chain, step: Step, lines: tuple[FilledLine, ...], edge: Edge) -> tuple[FilledLine, ...]:
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


def _use(chain: _Chain, step: Step, put: Put, edge: Edge) -> Use:
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
    return f"{argument.replace('_', ' ')} {value} is outside the range {bounds} in which this formula is known to hold"


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


def _results(label: Label, output: Any, edge: Edge, wanted: set[str]) -> tuple[tuple[str, str], ...]:
    """What a step gives; of many results those that the chain goes on with."""
    if not isinstance(output, tuple):
        number = np.asarray(output, dtype=float).ravel()
        word = label.gives[0]
        if number.size != 1:
            return ()
        return ((word.replace("_", " "), _with_unit(word, float(number[0]), edge)),)
    found = []
    for word, value in zip(getattr(output, "_fields", label.gives), output, strict=False):
        if np.ndim(value) > 1 or word not in nomenclature.words() or (wanted and word not in wanted):
            continue
        number = np.asarray(value, dtype=float).ravel()
        if number.size == 1 and np.isfinite(number[0]):
            found.append((word.replace("_", " "), _with_unit(word, float(number[0]), edge)))
    return tuple(found)


def _with_unit(word: str, value: float, edge: Edge) -> str:
    shown = _text(word, value, edge, 5)
    return shown if " " in shown else f"{shown} {base_unit(word)}".rstrip()


# -- what happens on the way -----------------------------------------------------------------------------------------

ROWS = 13
"""Rows of a table on the way, at most."""


def _table(result: Result, step: Step, edge: Edge) -> Table | None:
    """The profile of a march, where there is one to read."""
    if step.label.name == "drainage.drain" and not bool(result.wet.boxes_formed):
        return _former_table(result, edge)
    if step.label.name == "dryer.dry":
        return _yankee_table(result, edge)
    return None


def _heads(edge: Edge, first: str, columns: tuple[tuple[str, str], ...]) -> tuple[tuple[str, str], ...]:
    return ((first, ""), *((said, edge.unit(word)) for said, word in columns))


def _former_table(result: Result, edge: Edge) -> Table:
    from thinstock.drawing.profiles import drainage

    found = drainage(result)
    end = found.dry_line if np.isfinite(found.dry_line) else found.length
    wanted = np.append(np.linspace(0.0, end, ROWS - 1), found.length)
    keep = list(dict.fromkeys(int(np.argmin(np.abs(found.place - place))) for place in wanted))
    columns = (("from the jet", "dry_line"), ("time", "dwell"), ("pressure drop", "pressure_drop"),
               ("drained", "drained"), ("fibre laid down", "deposited"))  # fmt: skip
    time = found.place / float(result.wet.wire_speed)
    values = (found.place, time, found.pressure[:, 0], found.drained, found.deposited)
    said = f"forming ends {edge.text('dry_line', found.dry_line, 3)} from the first element"
    if not np.isfinite(found.dry_line):
        said = "forming does not end in the former"
    return Table(
        caption=f"On the way: {said}",
        heads=_heads(edge, "element", columns),
        rows=tuple((found.element[i], *_figures(edge, columns, values, i)) for i in keep),
    )


def _yankee_table(result: Result, edge: Edge) -> Table:
    from thinstock.drawing.profiles import STEPS, drying

    found = drying(result)
    keep = sorted({round(i * (len(found.position) - 1) / (ROWS - 1)) for i in range(ROWS)})
    names = ("before the hood", "under the hood", "behind the hood")
    stretch = [name for name, count in zip(names, STEPS, strict=True) for _ in range(count)]
    columns = (("from the nip", "dry_line"), ("water per fibre", "moisture_ratio"), ("sheet", "sheet_temperature"),
               ("evaporated so far", "evaporation"), ("heat from the shell", "contact_heat"),
               ("heat from the air", "convective_heat"))  # fmt: skip
    air = found.convective_heat + found.radiative_heat
    values = (found.position, found.moisture_ratio, found.sheet_temperature, found.evaporation, found.contact_heat, air)
    return Table(
        caption="On the way from the nip to the doctor, heats and water counted up",
        heads=_heads(edge, "stretch", columns),
        rows=tuple((stretch[max(i - 1, 0)], *_figures(edge, columns, values, i)) for i in keep),
    )


def _figures(edge: Edge, columns: tuple[tuple[str, str], ...], values: tuple[Any, ...], i: int) -> Iterator[str]:
    for (_, word), value in zip(columns, values, strict=True):
        yield edge.figure(word, value[i], 3)
