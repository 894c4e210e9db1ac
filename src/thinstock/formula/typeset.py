"""From the text of a formula to a tree of shapes: sums, products, fractions, powers, roots, calls.

The shapes know nothing of how they are written; writing.py sets them as plain text, markup.py as MathML and
typst. Symbols come from the nomenclature; where two words of a formula share a symbol, one stays a word.
"""

from __future__ import annotations

import ast
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from thinstock.formula import expression
from thinstock.formula.label import Label, label_of
from thinstock.words import constants, nomenclature


@dataclass(frozen=True)
class Symbol:
    """A letter (or a few) with an index, or whole words where there is no letter."""

    base: str
    index: str = ""
    words: bool = False


@dataclass(frozen=True)
class Number:
    """A number; a literal of the text or a value put in."""

    value: float
    digits: int | None = None
    """Significant digits for a value put in; a literal is written as it is."""


@dataclass(frozen=True)
class Row:
    """Several numbers put in for one word (components)."""

    numbers: tuple[Number, ...]


@dataclass(frozen=True)
class Sum:
    terms: tuple[tuple[bool, Shape], ...]
    """(True for minus, term)."""


@dataclass(frozen=True)
class Product:
    factors: tuple[Shape, ...]


@dataclass(frozen=True)
class Fraction:
    top: Shape
    bottom: Shape


@dataclass(frozen=True)
class Power:
    base: Shape
    exponent: Shape


@dataclass(frozen=True)
class Root:
    inside: Shape


@dataclass(frozen=True)
class Negative:
    inside: Shape


@dataclass(frozen=True)
class Size:
    """Absolute value."""

    inside: Shape


@dataclass(frozen=True)
class Call:
    name: Symbol
    arguments: tuple[Shape, ...]


@dataclass(frozen=True)
class Total:
    """Sum over the components."""

    inside: Shape


@dataclass(frozen=True)
class Comparison:
    sign: str
    left: Shape
    right: Shape


@dataclass(frozen=True)
class Cases:
    condition: Shape
    then: Shape
    otherwise: Shape


Shape = (
    Symbol
    | Number
    | Row
    | Sum
    | Product
    | Fraction
    | Power
    | Root
    | Negative
    | Size
    | Call
    | Total
    | Comparison
    | Cases
)


@dataclass(frozen=True)
class Line:
    """One line: what is on the left (None for the 0 of a residual) and what it equals."""

    name: str
    left: Shape
    right: Shape


GREEK: Final = {
    **{
        "alpha": "α",
        "beta": "β",
        "gamma": "γ",
        "delta": "δ",
        "epsilon": "ε",
        "zeta": "ζ",
        "eta": "η",
        "theta": "θ",
    },
    **{
        "kappa": "κ",
        "lambda": "λ",
        "mu": "μ",
        "nu": "ν",
        "xi": "ξ",
        "pi": "π",
        "rho": "ρ",
        "sigma": "σ",
        "tau": "τ",
    },
    **{"phi": "φ", "chi": "χ", "psi": "ψ", "omega": "ω"},
}

CONSTANTS: Final = {
    "pi": "π",
    "inf": "∞",
    "gravity": "g",
    "standard_pressure": "p_n",
    "gas_constant_molar": "R_u",
    "molar_mass_water": "M_w",
    "molar_mass_air": "M_a",
    "vapour_gas_constant": "R_v",
    "stefan_boltzmann": "σ_B",
    "water_heat_capacity_sheet": "c_w",
    "fibre_heat_capacity_dry": "c_f",
    "ice_point": "T_ice",
    "boiling_point": "T_b",
    "vaporisation_enthalpy_ice_point": "h_ice",
    "mat_reference_pressure": "p_1",
}
"""Symbols of constants; one that is not here is written as words."""

FUNCTION_NAMES: Final = {
    "log": "ln",
    "asin": "arcsin",
    "acos": "arccos",
    "atan": "arctan",
    "atan2": "arctan",
    "atanh": "artanh",
    "gammainc": "P",
}
SPECIAL: Final = ("erf", "gammaln", "k0", "gammainc", "xlogy")
SIGNS: Final = {ast.Lt: "<", ast.LtE: "≤", ast.Gt: ">", ast.GtE: "≥", ast.Eq: "="}
_SUBSCRIPTS: Final = "₀₁₂₃₄₅₆₇₈₉"


def symbol(text: str) -> Symbol:
    """A symbol of the nomenclature: what follows `_` and small digits at the end are the index."""
    base, _, index = text.partition("_")
    tail = re.search(f"[{_SUBSCRIPTS}∞]+$", base)
    if tail and tail.start() > 0:
        small = "".join(unicodedata.normalize("NFKC", c) for c in tail[0])
        base, index = base[: tail.start()], small + (f",{index}" if index else "")
    return Symbol(base, index)


def symbols_of(label: Label) -> dict[str, Shape]:
    """How every name in the text of a formula is written; no two names are written alike.

    A formula called by name goes by the symbol of its result, under its name with `()` behind it.
    """
    parsed = () if label.kind == "march" else expression.parse(label.formula)
    lets = [name for name, _ in parsed if name != "0"]
    own = (*label.gives, *label.arguments, *lets)
    written: dict[str, Shape] = {}
    taken: set[tuple[str, str]] = set()
    for name in dict.fromkeys((*own, *(used for _, node in parsed for used in expression.names(node)))):
        written[name] = _untaken(_symbol_of_name(name, constant=name not in own), name, taken)
    home = label.name.split(".", 1)[0]
    for name in dict.fromkeys(called for _, node in parsed for called in _called(node)):
        inner = label_of(expression._lookup(name, home))
        written[f"{name}()"] = _untaken(_symbol_of_name(inner.gives[0], constant=False), name, taken)
    return written


def _untaken(shape: Symbol, name: str, taken: set[tuple[str, str]]) -> Symbol:
    if (shape.base, shape.index) in taken:
        shape = Symbol(name.replace("_", " "), words=True)
    while (shape.base, shape.index) in taken:
        shape = Symbol(f"{shape.base}′", shape.index, words=len(shape.base) > 1)
    taken.add((shape.base, shape.index))
    return shape


def _called(node: ast.expr) -> list[str]:
    """The labelled formulas that an expression calls by name."""
    calls = [n.func.id for n in ast.walk(node) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)]
    return [name for name in calls if name not in expression.FUNCTIONS and name not in SPECIAL]


def _symbol_of_name(name: str, constant: bool) -> Symbol:
    if constant and name in CONSTANTS:
        return symbol(CONSTANTS[name])
    if name in nomenclature.words() and not (constant and name in constants.TABLE):
        given = nomenclature.word(name).symbol
        return symbol(given) if given else Symbol(name.replace("_", " "), words=True)
    first, _, rest = name.partition("_")
    letters = first.rstrip("0123456789")
    if not constant and (letters in GREEK or len(letters) == 1):
        index = ",".join(part for part in (first[len(letters) :], rest.replace("_", ",")) if part)
        return Symbol(GREEK.get(letters, letters), index)
    return Symbol(name.replace("_", " "), words=True)


def lines(label: Label, values: Mapping[str, Shape] | None = None) -> list[Line]:
    """The lines of a formula as shapes; `values` puts numbers in the place of names on the right."""
    own = symbols_of(label)
    shown = {**own, **(values or {})}
    parsed = expression.parse(label.formula)
    made = []
    for number, (name, node) in enumerate(parsed):
        last = number == len(parsed) - 1 and len(label.gives) == 1
        word = label.gives[0] if last and name != "0" else name
        left = Number(0.0) if name == "0" else _answer(own[word], own) if word in label.arguments else own[word]
        made.append(Line(name, left, shape_of(node, shown)))
    return made


def _answer(shape: Shape, own: Mapping[str, Shape]) -> Shape:
    """The symbol of a result that bears the name of an argument, with a stroke to tell them apart."""
    assert isinstance(shape, Symbol)
    while shape in own.values():
        shape = Symbol(f"{shape.base}′", shape.index, shape.words)
    return shape


def shape_of(node: ast.expr, symbols: Mapping[str, Shape]) -> Shape:
    """The shape of an expression."""
    if isinstance(node, ast.Constant):
        return Number(float(node.value))  # type: ignore[arg-type]
    if isinstance(node, ast.Name):
        return symbols[node.id]
    if isinstance(node, ast.UnaryOp):
        inside = shape_of(node.operand, symbols)
        return _negative(inside) if isinstance(node.op, ast.USub) else inside
    if isinstance(node, ast.BinOp):
        return _operation(node, symbols)
    if isinstance(node, ast.Compare):
        left, right = shape_of(node.left, symbols), shape_of(node.comparators[0], symbols)
        return Comparison(SIGNS[type(node.ops[0])], left, right)
    assert isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    return _call(node.func.id, tuple(shape_of(a, symbols) for a in node.args), symbols)


def _operation(node: ast.BinOp, symbols: Mapping[str, Shape]) -> Shape:
    left, right = shape_of(node.left, symbols), shape_of(node.right, symbols)
    if isinstance(node.op, ast.Add | ast.Sub):
        minus = isinstance(node.op, ast.Sub)
        if isinstance(right, Negative):
            minus, right = not minus, right.inside
        return Sum((*(left.terms if isinstance(left, Sum) else ((False, left),)), (minus, right)))
    if isinstance(node.op, ast.Pow):
        return Root(left) if right == Number(0.5) else Power(left, right)
    sign = isinstance(left, Negative)
    if isinstance(left, Negative):
        left = left.inside
    both = isinstance(node.op, ast.Mult)
    made = Product((*_factors(left), *_factors(right))) if both else Fraction(left, right)
    return Negative(made) if sign else made


def _negative(inside: Shape) -> Shape:
    """Minus a shape; minus a difference is turned round, and two of them cancel."""
    if isinstance(inside, Negative):
        return inside.inside
    if isinstance(inside, Sum) and [minus for minus, _ in inside.terms] == [False, True]:
        return Sum(((False, inside.terms[1][1]), (True, inside.terms[0][1])))
    return Negative(inside)


def _factors(shape: Shape) -> tuple[Shape, ...]:
    return shape.factors if isinstance(shape, Product) else (shape,)


def _call(name: str, arguments: tuple[Shape, ...], symbols: Mapping[str, Shape]) -> Shape:
    first = arguments[0] if arguments else Number(0.0)
    if name == "sqrt":
        return Root(first)
    if name == "abs":
        return Size(first)
    if name == "sum":
        return Sum(tuple((False, part) for part in first.numbers)) if isinstance(first, Row) else Total(first)
    if name == "where":
        return Cases(*arguments)
    if name == "expm1":
        return Sum(((False, Call(Symbol("exp"), arguments)), (True, Number(1.0))))
    if name == "log1p":
        minus, term = (True, first.inside) if isinstance(first, Negative) else (False, first)
        return Call(Symbol("ln"), (Sum(((False, Number(1.0)), (minus, term))),))
    if name == "gammaln":
        return Call(Symbol("ln"), (Call(Symbol("Γ"), arguments),))
    if name == "xlogy":
        return Product((first, Call(Symbol("ln"), arguments[1:])))
    if name == "k0":
        return Call(Symbol("K", "0"), arguments)
    if name == "atan2":
        return Call(Symbol("arctan"), (Fraction(*arguments),))
    found = symbols.get(f"{name}()", Symbol(FUNCTION_NAMES.get(name, name)))
    assert isinstance(found, Symbol)
    return Call(found, arguments)


def number(value: Any, digits: int) -> Shape:
    """A value put in for a name: one number, or a row of them."""
    import numpy as np

    if np.ndim(value):
        return Row(tuple(Number(float(v), digits) for v in np.ravel(value)))
    return Number(float(value), digits)
