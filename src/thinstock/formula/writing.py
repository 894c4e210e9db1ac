"""Formulas as people read them, in plain text: with symbols, with numbers, as a card with words and source.

One line per line of the formula; fractions stand on one line, powers and indices use the small letters there
are.
MathML for the page and typst for paper are made from the same shapes (markup.py) and can be had from here.
"""

from __future__ import annotations

import ast
import math
import re
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files
from typing import Any, Final

from thinstock.formula import expression, typeset
from thinstock.formula.label import RELATIONS, Label, label_of
from thinstock.formula.markup import mathml as mathml
from thinstock.formula.markup import typst_math as typst_math
from thinstock.formula.typeset import (
    Call,
    Cases,
    Comparison,
    Fraction,
    Negative,
    Number,
    Power,
    Product,
    Root,
    Row,
    Shape,
    Size,
    Sum,
    Symbol,
    Total,
)
from thinstock.words import nomenclature, units

SUPER: Final = dict(zip("0123456789+-=()nimkxyabcdeprstuvw", "⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻⁼⁽⁾ⁿⁱᵐᵏˣʸᵃᵇᶜᵈᵉᵖʳˢᵗᵘᵛʷ", strict=True))
SUPER["−"] = "⁻"
SUB: Final = dict(zip("0123456789aehijklmnoprstuvx", "₀₁₂₃₄₅₆₇₈₉ₐₑₕᵢⱼₖₗₘₙₒₚᵣₛₜᵤᵥₓ", strict=True))

SUM, SIGN, PRODUCT, POWER, ATOM = range(5)


def as_label(what: Label | str) -> Label:
    """A label, or the label of the formula of this name."""
    return label_of(RELATIONS[what]) if isinstance(what, str) else what


def shape_text(shape: Shape) -> str:
    """A shape on one line."""
    return _text(shape)


def plain(what: Label | str) -> list[str]:
    """The lines of a formula with symbols for its words."""
    label = as_label(what)
    if label.kind == "march":
        return _march(label)
    return [f"{_text(line.left)} = {_text(line.right)}" for line in typeset.lines(label)]


def plain_with_numbers(
    what: Label | str, inputs: Mapping[str, Any], unit_set: units.UnitSet = "mill", digits: int = 5
) -> list[str]:
    """The lines of a formula with base SI numbers in the place of words, each with what it comes to.

    The last line also gives the result in the edge unit. Of an equation the answer must be among the inputs.
    """
    label = as_label(what)
    if label.kind == "march":
        return _march(label)
    written: list[str] = []
    last: Any = None
    known = _numbers(inputs)
    for number, (name, node) in enumerate(expression.parse(label.formula)):
        shown = {word: typeset.number(value, digits) for word, value in known.items()}
        line = typeset.lines(label, shown)[number]
        last = known[name] = _worked_out(node, known, label)
        text = f"{_text(line.left)} = {_text(line.right)}"
        if name == "0":
            return [*written, f"{text}, which comes to {_value_text(last, 2)}"]
        value = typeset.number(last, digits)
        written.append(text if line.right == value else f"{text} = {_text(value)}")
    if len(label.gives) == 1 and not _is_row(last):
        written[-1] += _in_units(label.gives[0], float(last), unit_set, digits)
    return written


def inputs(
    what: Label | str, values: Mapping[str, Any], unit_set: units.UnitSet = "mill", digits: int = 5
) -> list[str]:
    """What goes in: symbol, value in the edge unit and in base SI, meaning."""
    label = as_label(what)
    symbols = typeset.symbols_of(label)
    written = []
    for name in label.arguments:
        if name not in values:
            continue
        word = nomenclature.word(name)
        text = f"{_text(symbols[name])} = {_value_text(values[name], digits)}"
        if not _is_row(values[name]):
            text += _in_units(name, float(values[name]), unit_set, digits)
        written.append(f"{text}, {word.meaning}")
    return written


def card(what: Label | str) -> list[str]:
    """A formula on a card: name, lines, words, where it holds, where it is from."""
    label = as_label(what)
    symbols = typeset.symbols_of(label)
    title = label.name.rsplit(".", 1)[-1].replace("_", " ")
    summary = (label.function.__doc__ or "").strip().splitlines()
    written = [
        title,
        *([summary[0].strip()] if summary else []),
        "",
        *(f"  {line}" for line in plain(label)),
        "",
    ]
    for name in dict.fromkeys((*label.gives, *label.arguments)):
        word = nomenclature.word(name)
        unit = f" [{word.unit}]" if word.unit not in ("", "1") else ""
        written.append(f"  {_text(symbols[name])}: {word.meaning}{unit}")
    for name, (low, high) in label.holds.items():
        written.append(f"holds for {_text(symbols[name])} {_bounds(name, low, high)}")
    if label.in_units:
        stripped = ", ".join(f"{_text(symbols[n])} in {u}" for n, u in label.in_units.items() if n in symbols)
        written.append(f"numbers in it are for {stripped}")
    where = f", {label.where}" if label.where else ""
    written.append(f"{label.status}: {citation(label.source)}{where}")
    return written


@lru_cache(maxsize=1)
def _sources() -> dict[str, dict[str, str]]:
    return tomllib.loads(files("thinstock.words").joinpath("sources.toml").read_text(encoding="utf-8"))


def sources() -> dict[str, dict[str, str]]:
    """All sources by key."""
    return _sources()


def citation(key: str) -> str:
    """The citation of a source."""
    return _sources()[key]["citation"]


def _bounds(name: str, low: float, high: float) -> str:
    unit = units.edge_unit(name)
    if not math.isfinite(high):
        return f"from {units.write(low, unit)}"
    if not math.isfinite(low):
        return f"up to {units.write(high, unit)}"
    return f"{units.write(low, unit)} to {units.write(high, unit)}"


def _march(label: Label) -> list[str]:
    """The lines of a march as they are, with symbols for words where the symbol stands for nothing else."""
    text = label.formula
    for name, shape in sorted(typeset.symbols_of(label).items(), key=lambda item: -len(item[0])):
        shown = _text(shape)
        if re.search(rf"(?<!\w){re.escape(shown)}(?!\w)", label.formula) is None:
            text = re.sub(rf"(?<![\w.]){re.escape(name)}(?![\w(])", shown, text)
    rows = text.replace(";", "\n").replace("**", "^").replace("*", "·").splitlines()
    return [row.strip() for row in rows if row.strip()]


def _numbers(given: Mapping[str, Any]) -> dict[str, Any]:
    import numpy as np

    return {name: np.asarray(value, dtype=float)[()] for name, value in given.items()}


def _worked_out(node: ast.expr, known: Mapping[str, Any], label: Label) -> Any:
    import numpy as np

    with np.errstate(all="ignore"):
        return expression.work_out(node, known, label.name.split(".", 1)[0])


def _is_row(value: Any) -> bool:
    return getattr(value, "ndim", 0) > 0 or isinstance(value, list | tuple)


def _value_text(value: Any, digits: int) -> str:
    return _text(typeset.number(value, digits))


def _in_units(name: str, value: float, unit_set: units.UnitSet, digits: int) -> str:
    """The unit behind a number in base SI, and the value in the edge unit where that differs."""
    word = nomenclature.word(name)
    base = f" {word.unit}" if word.unit not in ("", "1", "kg/kg") else ""
    edge = units.edge_unit(name, unit_set)
    if edge in ("1", word.unit) or word.kind in nomenclature.PLAIN_KINDS or not math.isfinite(value):
        return base
    return f"{base} = {units.write(value, edge, digits, kind=word.kind)}"


def _level(shape: Shape) -> int:
    """How tightly a shape holds together on one line."""
    if isinstance(shape, Sum | Comparison):
        return SUM
    if isinstance(shape, Negative):
        return SIGN
    if isinstance(shape, Number):
        if shape.value < 0:
            return SIGN
        return PRODUCT if "·" in _number(shape) else ATOM
    if isinstance(shape, Product | Fraction):
        return PRODUCT
    if isinstance(shape, Power):
        return POWER
    return ATOM


def _grouped(shape: Shape, level: int) -> str:
    text = _text(shape)
    return text if _level(shape) >= level else f"({text})"


def _text(shape: Shape) -> str:
    if isinstance(shape, Symbol):
        return _symbol(shape)
    if isinstance(shape, Number):
        return _number(shape)
    if isinstance(shape, Row):
        return f"({'; '.join(_number(n) for n in shape.numbers)})"
    if isinstance(shape, Sum):
        return _sum(shape)
    if isinstance(shape, Product):
        return _product(shape)
    if isinstance(shape, Fraction):
        return f"{_grouped(shape.top, PRODUCT)}/{_grouped(shape.bottom, POWER)}"
    if isinstance(shape, Power):
        return _power(shape)
    if isinstance(shape, Root):
        return f"√{_grouped(shape.inside, ATOM)}"
    if isinstance(shape, Negative):
        return f"−{_grouped(shape.inside, PRODUCT)}"
    if isinstance(shape, Size):
        return f"|{_text(shape.inside)}|"
    if isinstance(shape, Total):
        return f"Σ({_text(shape.inside)})"
    if isinstance(shape, Call):
        return f"{_symbol(shape.name)}({', '.join(_text(a) for a in shape.arguments)})"
    if isinstance(shape, Comparison):
        return f"{_text(shape.left)} {shape.sign} {_text(shape.right)}"
    assert isinstance(shape, Cases)
    return f"{{{_text(shape.then)} where {_text(shape.condition)}, else {_text(shape.otherwise)}}}"


def _sum(shape: Sum) -> str:
    text = ""
    for number, (minus, term) in enumerate(shape.terms):
        if number == 0:
            text = _grouped(term, SIGN) if not minus else f"−{_grouped(term, PRODUCT)}"
        else:
            text += f" {'−' if minus else '+'} {_grouped(term, PRODUCT)}"
    return text


def _product(shape: Product) -> str:
    parts = []
    for number, factor in enumerate(shape.factors):
        tight = isinstance(factor, Fraction) and number > 0
        parts.append(f"({_text(factor)})" if tight else _grouped(factor, PRODUCT))
    return "·".join(parts)


def _power(shape: Power) -> str:
    base = _grouped(shape.base, ATOM)
    exponent = _text(shape.exponent)
    if all(c in SUPER for c in exponent.replace(" ", "")):
        return base + "".join(SUPER[c] for c in exponent.replace(" ", ""))
    return f"{base}^{_grouped(shape.exponent, ATOM)}"


def _symbol(shape: Symbol) -> str:
    if not shape.index:
        return shape.base
    if all(c in SUB for c in shape.index):
        return shape.base + "".join(SUB[c] for c in shape.index)
    return f"{shape.base}_{shape.index}"


def _number(shape: Number) -> str:
    text = repr(shape.value) if shape.digits is None else units.number_text(shape.value, shape.digits)
    if shape.digits is None and float(shape.value).is_integer() and abs(shape.value) < 1e15:
        text = str(int(shape.value))
        if len(text.rstrip("0")) <= 2 and len(text) > 5:
            text = f"{shape.value:.1e}"
    mantissa, _, exponent = text.partition("e")
    mantissa = mantissa.replace("-", "−")
    if not exponent:
        return mantissa
    power = "10" + "".join(SUPER[c] for c in str(int(exponent)))
    return power if mantissa in ("1", "1.0") else f"{mantissa.removesuffix('.0')}·{power}"
