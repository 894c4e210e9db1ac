"""A formula with the numbers of one use put in, in the units of one set, with digits from which it can be worked again.

Where the formula scales with its units (products, quotients, sums of like things) the numbers stand in the units of the
set and the constant that this asks for is shown; elsewhere they stand in base SI and the result is given in both. The
constant is found from the factors of the units, never written down by hand.
"""

from __future__ import annotations

import ast
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import Any

import numpy as np

from thinstock.errors import ThinstockError
from thinstock.formula import expression, typeset
from thinstock.formula.label import Label
from thinstock.formula.typeset import Fraction, Negative, Number, Product, Row, Shape, Sum, Symbol
from thinstock.words import constants, nomenclature, units
from thinstock.words.phrase import phrase

MOST = 6
"""Digits shown of a number that goes into a line, at most."""
RESULT = (5, 4, 3)
"""Digits of a result, the first that the shown numbers lead to."""
REMARK = phrase("tell.filled.worked_out_with_more_digits")


class Mixed(ThinstockError, ValueError):
    """The formula does not scale with its units."""


@dataclass(frozen=True, kw_only=True)
class Put:
    """One number that goes into a line."""

    name: str
    """Word of the formula."""
    symbol: Shape
    meaning: str
    shown: Shape
    """As it stands in the line."""
    unit: str
    """Unit of what stands in the line; empty for a plain number."""
    also: str
    """The same in the unit of the set, where the line is in base SI."""


@dataclass(frozen=True, kw_only=True)
class FilledLine:
    """One line of a formula with its numbers and what they come to."""

    left: Shape
    right: Shape
    result: Shape | None
    """None where the result stands alone on the right already, or for a residual."""
    unit: str
    also: str
    """The result in the unit of the set, where the line is in base SI."""
    remark: str
    residual: bool = False


@dataclass(frozen=True, kw_only=True)
class Filled:
    """One use of one formula in numbers."""

    lines: tuple[FilledLine, ...]
    puts: tuple[Put, ...]
    scaled: tuple[typeset.Line, ...] = ()
    """The formula for numbers in these units, where a constant makes it differ from the formula itself."""
    constant: float = 1.0
    in_base: bool = True
    """True where the numbers are base SI."""
    numbers: Mapping[str, float] = field(default_factory=dict)


# -- units of a word ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Scale:
    """SI value = number · factor."""

    unit: str
    factor: float


BASE = _Scale("", 1.0)


def base_unit(name: str) -> str:
    """Base SI unit of a word; empty for a plain number."""
    unit = nomenclature.word(name).unit if name in nomenclature.words() else ""
    return "" if unit in ("1", "kg/kg") else unit


def _scale(name: str, unit_set: units.UnitSet, fractions: bool) -> _Scale:
    """The scale of a word in the set; base SI where the unit has a zero of its own (°C) or there is none."""
    if name not in nomenclature.words():
        return BASE
    word = nomenclature.word(name)
    base = _Scale(base_unit(name), 1.0)
    edge = word.edge.get(unit_set, "1")
    if word.kind in nomenclature.PLAIN_KINDS or (word.kind == "fraction" and not fractions):
        return base
    found = units.find(edge, word.kind)
    if found is None or found.offset or found.gauge or found.higher:
        return base
    return _Scale("" if edge == "1" else edge, found.factor)


def scale_of(node: ast.expr, scales: Mapping[str, float]) -> float:
    """Factor by which an expression of numbers must be multiplied to give base SI; Mixed where there is none."""
    if isinstance(node, ast.Constant):
        return 1.0
    if isinstance(node, ast.Name):
        return scales.get(node.id, 1.0)
    if isinstance(node, ast.UnaryOp):
        return scale_of(node.operand, scales)
    if isinstance(node, ast.Compare):
        _like(scale_of(node.left, scales), scale_of(node.comparators[0], scales))
        return 1.0
    if isinstance(node, ast.BinOp):
        return _scale_of_operation(node, scales)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        return _scale_of_call(node.func.id, node.args, scales)
    raise Mixed


def _scale_of_operation(node: ast.BinOp, scales: Mapping[str, float]) -> float:
    left = scale_of(node.left, scales)
    if isinstance(node.op, ast.Pow):
        _like(scale_of(node.right, scales), 1.0)
        power = node.right.operand if isinstance(node.right, ast.UnaryOp) else node.right
        if isinstance(power, ast.Constant):
            exponent = float(power.value)  # type: ignore[arg-type]
            negative = isinstance(node.right, ast.UnaryOp) and isinstance(node.right.op, ast.USub)
            return float(left ** (-exponent if negative else exponent))
        _like(left, 1.0)
        return 1.0
    right = scale_of(node.right, scales)
    if isinstance(node.op, ast.Mult):
        return left * right
    if isinstance(node.op, ast.Div):
        return left / right
    return _like(left, right)


def _scale_of_call(name: str, arguments: list[ast.expr], scales: Mapping[str, float]) -> float:
    found = [scale_of(argument, scales) for argument in arguments]
    if name == "sqrt":
        return math.sqrt(found[0])
    if name in ("abs", "sum"):
        return found[0]
    if name in ("min", "max"):
        return _like(*found)
    if name == "where":
        return _like(*found[1:])
    _like(1.0, *found)
    if name not in expression.FUNCTIONS:
        raise Mixed
    return 1.0


def _like(first: float, *others: float) -> float:
    for other in others:
        if abs(other / first - 1.0) > 1e-12:
            raise Mixed
    return first


# -- filling in --------------------------------------------------------------------------------------------------------


def filled(
    label: Label,
    inputs: Mapping[str, Any],
    answer: Mapping[str, Any],
    unit_set: units.UnitSet,
    words: Mapping[str, str] | None = None,
) -> Filled:
    """The formula with `inputs` put in; `answer` is what an equation was solved for (empty for a formula).

    `words` says which word stands behind a name, where that is another one than its own.
    """
    given = {**inputs, **answer}
    key = (
        label.name,
        label.formula,
        label.gives,
        unit_set,
        tuple((words or {}).items()),
        tuple(inputs),
        *(_key(v) for v in given.values()),
    )
    if key not in _FILLED:
        if len(_FILLED) >= MOST_KEPT:
            _FILLED.clear()
        known = {name: np.asarray(value, dtype=float)[()] for name, value in given.items()}
        _FILLED[key] = _filled(label, known, unit_set, words or {})
    return _FILLED[key]


MOST_KEPT = 4096
_FILLED: dict[tuple[Any, ...], Filled] = {}
"""Formulas filled in before: workings of one run share most of their steps."""


def _key(value: Any) -> Any:
    numbers = np.asarray(value, dtype=float)
    return numbers.shape, numbers.tobytes()


def _filled(label: Label, known: dict[str, Any], unit_set: units.UnitSet, words: Mapping[str, str]) -> Filled:
    """The same, made anew."""
    if label.kind == "formula" and not label.in_units and unit_set != "si":
        for fractions in (True, False):
            try:
                return _in_set(label, known, unit_set, fractions, words)
            except Mixed:
                continue
    return _in_base(label, known, unit_set, words)


def _in_set(
    label: Label, known: dict[str, Any], unit_set: units.UnitSet, fractions: bool, words: Mapping[str, str]
) -> Filled:
    """One line in the units of the set, with its constant."""
    parsed = expression.parse(label.formula)
    if len(parsed) != 1 or len(label.gives) != 1 or any(np.ndim(value) > 1 for value in known.values()):
        raise Mixed
    node = parsed[0][1]
    names = [name for name in _in_order(node) if name in known]
    scales = {name: _scale(words.get(name, name), unit_set, fractions) for name in names}
    gives = _scale(words.get(label.gives[0], label.gives[0]), unit_set, True)
    constant = scale_of(node, {name: scale.factor for name, scale in scales.items()}) / gives.factor
    if all(scale.factor == 1.0 for scale in scales.values()) and gives.factor == 1.0:
        raise Mixed
    numbers = {name: known[name] / scales[name].factor for name in names}
    exact = _worked(node, {name: known[name] for name in names}, label) / gives.factor
    if np.ndim(exact) or not math.isfinite(exact):
        raise Mixed
    constant = 1.0 if abs(constant - 1.0) < 1e-12 else float(constant)
    turned = _turned(constant)

    def again(digits: int) -> Any:
        rounded = {name: _rounded(number, digits) for name, number in numbers.items()}
        return _worked(node, {**rounded, **_constants(node, known, digits)}, label) * _applied(turned, digits)

    digits, places, remark = _digits(exact, again)
    shown = {name: typeset.number(number, digits) for name, number in numbers.items()}
    shown |= {name: typeset.number(value, digits) for name, value in _constants(node, known, digits).items()}
    symbols = typeset.symbols_of(label)
    line = typeset.lines(label, shown)[0]
    own = typeset.lines(label)[0]
    puts = tuple(_put(name, words, symbols[name], shown[name], scales[name].unit, "") for name in names)
    return Filled(
        lines=(
            FilledLine(
                left=line.left,
                right=with_constant(tidy(line.right), turned, digits),
                result=Number(exact, places),
                unit=gives.unit,
                also="",
                remark=remark,
            ),
        ),
        puts=puts,
        scaled=() if constant == 1.0 else (typeset.Line(own.name, own.left, with_constant(own.right, turned, digits)),),
        constant=constant,
        in_base=False,
        numbers=numbers,
    )


def _in_base(label: Label, known: dict[str, Any], unit_set: units.UnitSet, words: Mapping[str, str]) -> Filled:
    """All lines in base SI; results also in the unit of the set."""
    symbols = typeset.symbols_of(label)
    given = list(dict.fromkeys(n for _, node in expression.parse(label.formula) for n in _in_order(node)))
    # an input is shown with the fewest digits that serve every line; what a line gives goes on with all it has
    values = dict(known)
    made: list[FilledLine] = []
    most: dict[str, int] = {}
    for number, (name, node) in enumerate(expression.parse(label.formula)):
        last = number == len(expression.parse(label.formula)) - 1
        used = [n for n in expression.names(node) if n in values]
        exact = _worked(node, {n: values[n] for n in used}, label)

        def again(digits: int, node: ast.expr = node, used: list[str] = used) -> Any:
            rounded = {n: _rounded(values[n], digits) for n in used}
            return _worked(node, {**rounded, **_constants(node, values, digits)}, label)

        if name == "0":
            made.append(_residual(label, number, node, values))
            break
        wanted = RESULT if last else (MOST, *RESULT)
        digits, places, remark = _digits(exact, again, wanted)
        for n in used:
            most[n] = max(most.get(n, 0), digits)
        shown = {n: typeset.number(values[n], digits) for n in used}
        shown |= {n: typeset.number(v, digits) for n, v in _constants(node, values, digits).items()}
        line = typeset.lines(label, shown)[number]
        values[name] = exact
        unit, also = ("", "")
        if last and len(label.gives) == 1 and not np.ndim(exact):
            word = words.get(label.gives[0], label.gives[0])
            unit, also = base_unit(word), _also(word, float(exact), unit_set, places)
        result = typeset.number(exact, places)
        alone = not isinstance(line.right, Row) and line.right == typeset.number(exact, digits)
        made.append(
            FilledLine(
                left=line.left,
                right=tidy(line.right),
                result=None if alone else result,
                unit=unit,
                also=also,
                remark=remark,
            )
        )
    puts = tuple(
        _put(
            name,
            words,
            symbols[name],
            typeset.number(known[name], most.get(name, MOST)),
            base_unit(words.get(name, name)),
            ""
            if np.ndim(known[name])
            else _also(words.get(name, name), float(known[name]), unit_set, most.get(name, MOST)),
        )
        for name in given
        if name in known
    )
    return Filled(lines=tuple(made), puts=puts)


def _in_order(node: ast.expr) -> list[str]:
    """The names of an expression as they are read from left to right."""
    known = set(expression.names(node))
    found = sorted((n.col_offset, n.id) for n in ast.walk(node) if isinstance(n, ast.Name) and n.id in known)
    return list(dict.fromkeys(name for _, name in found))


def tidy(shape: Shape) -> Shape:
    """A shape in which nothing is added that is below 0: a + −b is a − b."""
    if isinstance(shape, Sum):
        terms = []
        for minus, term in shape.terms:
            term = tidy(term)
            if isinstance(term, Number) and term.value < 0:
                minus, term = not minus, Number(-term.value, term.digits)
            terms.append((minus, term))
        return Sum(tuple(terms))
    if not is_dataclass(shape) or isinstance(shape, Symbol | Number | Row):
        return shape
    changed: dict[str, Any] = {}
    for one in fields(shape):
        inside = getattr(shape, one.name)
        if isinstance(inside, tuple):
            changed[one.name] = tuple(tidy(part) for part in inside)
        elif is_dataclass(inside):
            changed[one.name] = tidy(inside)  # type: ignore[arg-type]
    return replace(shape, **changed) if changed else shape


def _residual(label: Label, number: int, node: ast.expr, values: Mapping[str, Any]) -> FilledLine:
    """The last line of an equation with the answer put back."""
    shown = {n: typeset.number(values[n], MOST) for n in expression.names(node) if n in values}
    shown |= {n: typeset.number(v, MOST) for n, v in _constants(node, values, MOST).items()}
    line = typeset.lines(label, shown)[number]
    return FilledLine(
        left=line.left,
        right=tidy(line.right),
        result=None,
        unit="",
        also="",
        remark=phrase("tell.filled.to_digits_shown"),
        residual=True,
    )


def _put(name: str, words: Mapping[str, str], symbol: Shape, shown: Shape, unit: str, also: str) -> Put:
    word = words.get(name, name)
    meaning = nomenclature.word(word).meaning if word in nomenclature.words() else name.replace("_", " ")
    return Put(name=name, symbol=symbol, meaning=meaning, shown=shown, unit=unit, also=also)


def _also(name: str, value: float, unit_set: units.UnitSet, digits: int) -> str:
    """A base SI value in the unit of the set, where that differs."""
    if name not in nomenclature.words():
        return ""
    word = nomenclature.word(name)
    edge = units.edge_unit(name, unit_set)
    if edge in ("1", word.unit) or word.kind in nomenclature.PLAIN_KINDS or not math.isfinite(value):
        return ""
    return as_written(units.write(value, edge, digits, kind=word.kind))


SUPER = dict(zip("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹", strict=True))


def as_written(text: str) -> str:
    """A number with its minus and its power of ten as people write them."""
    made = re.sub(r"(?<=\d)e(-?\d+)\b", lambda m: "·10" + "".join(SUPER[c] for c in m[1]), text)
    return f"−{made[1:]}" if made.startswith("-") else made


def _worked(node: ast.expr, values: Mapping[str, Any], label: Label) -> Any:
    values = {name: np.float64(value) if np.ndim(value) == 0 else value for name, value in values.items()}
    with np.errstate(all="ignore"):
        return expression.work_out(node, values, label.name.split(".", 1)[0])


def _constants(node: ast.expr, known: Mapping[str, Any], digits: int) -> dict[str, float]:
    """Constants of constants.toml that an expression uses, rounded as shown."""
    names = [n for n in expression.names(node) if n not in known and n in constants.TABLE]
    return {name: _rounded(constants.value(name), digits) for name in names}


def _rounded(value: Any, digits: int) -> Any:
    """A number (or a row of them) as it reads when shown with so many digits."""
    if np.ndim(value):
        return np.array([_rounded(v, digits) for v in np.ravel(value)])
    return float(f"{float(value):.{digits - 1}e}") if math.isfinite(value) else float(value)


def _digits(exact: Any, again: Any, wanted: tuple[int, ...] = RESULT) -> tuple[int, int, str]:
    """Digits of the inputs and of the result, such that the shown numbers give the shown result."""
    for places in wanted:
        for digits in sorted({max(places, 4), 5, MOST}):
            if digits >= places and _same(exact, again(digits), places):
                return digits, places, ""
    return MOST, RESULT[1], REMARK


def _same(a: Any, b: Any, places: int) -> bool:
    """Whether two numbers read alike with so many digits."""
    if np.ndim(a) or np.ndim(b):
        a, b = np.broadcast_arrays(np.ravel(a), np.ravel(b))
        return all(_same(float(x), float(y), places) for x, y in zip(a, b, strict=True))
    first, second = float(a), float(b)
    if not math.isfinite(first) or not math.isfinite(second):
        return str(first) == str(second)
    if first == 0.0:
        return abs(second) < 1e-12
    return f"{first:.{places - 1}e}" == f"{second:.{places - 1}e}"


# -- the constant of a set of units ------------------------------------------------------------------------------------


def _turned(constant: float) -> tuple[bool, float]:
    """(stands below the line, number): a constant as a factor, or as a divisor where that is the simpler number."""
    if constant == 1.0:
        return False, 1.0
    short, inverse = (len(_mantissa(v)) for v in (constant, 1.0 / constant))
    below = constant < 1.0 if short == inverse else inverse < short
    return (True, 1.0 / constant) if below else (False, constant)


def _mantissa(value: float) -> str:
    return f"{value:.9e}".split("e")[0].rstrip("0").rstrip(".")


def _applied(turned: tuple[bool, float], digits: int) -> float:
    below, number = turned
    shown = float(_rounded(number, max(digits, MOST)))
    return 1.0 / shown if below else shown


def with_constant(shape: Shape, turned: tuple[bool, float], digits: int) -> Shape:
    """A shape times a constant (or over it)."""
    below, number = turned
    if number == 1.0:
        return shape
    if isinstance(shape, Negative):
        return Negative(with_constant(shape.inside, turned, digits))
    shown = Number(number, max(digits, MOST))
    top, bottom = (shape.top, shape.bottom) if isinstance(shape, Fraction) else (shape, None)
    if below:
        return Fraction(top, shown if bottom is None else _times(shown, bottom))
    return _times(shown, top) if bottom is None else Fraction(_times(shown, top), bottom)


def _times(number: Number, shape: Shape) -> Shape:
    factors = shape.factors if isinstance(shape, Product) else (shape,)
    return number if factors == (Number(1.0),) else Product((number, *factors))
