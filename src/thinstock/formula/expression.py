"""Reads the text of a formula and works it out by walking its syntax tree; nothing is ever handed to `eval`.

The language: + - * / **, comparisons, names (arguments, let-lines, constants), numbers, `pi`, and the functions of
`FUNCTIONS`. `sum(x)` adds over the last axis (components). Another labelled formula may be called by its name.
"""

from __future__ import annotations

import ast
import operator
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

import numpy as np

from thinstock.formula.label import RELATIONS, Label
from thinstock.words import constants

OPERATORS: dict[type, Callable[..., Any]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
    ast.USub: operator.neg,
    ast.UAdd: operator.pos,
    ast.Lt: operator.lt,
    ast.LtE: operator.le,
    ast.Gt: operator.gt,
    ast.GtE: operator.ge,
    ast.Eq: operator.eq,
}

FUNCTIONS: dict[str, Callable[..., Any]] = {
    "exp": np.exp,
    "expm1": np.expm1,
    "log": np.log,
    "log1p": np.log1p,
    "sqrt": np.sqrt,
    "sin": np.sin,
    "cos": np.cos,
    "tan": np.tan,
    "asin": np.arcsin,
    "acos": np.arccos,
    "atan": np.arctan,
    "atan2": np.arctan2,
    "sinh": np.sinh,
    "cosh": np.cosh,
    "tanh": np.tanh,
    "atanh": np.arctanh,
    "abs": np.abs,
    "floor": np.floor,
    "max": np.maximum,
    "min": np.minimum,
    "where": np.where,
    "sum": lambda x: np.sum(x, axis=-1),
}


def _special(name: str) -> Callable[..., Any] | None:
    """erf, gammaln and the Bessel function K0 come from scipy, loaded only when a text asks for them."""
    if name not in ("erf", "gammaln", "k0", "gammainc", "xlogy"):
        return None
    from scipy import special

    function: Callable[..., Any] = getattr(special, name)
    return function


@lru_cache(maxsize=4096)
def parse(text: str) -> tuple[tuple[str, ast.expr], ...]:
    """The lines of a formula text as (name, expression); the name of a residual line is "0"."""
    lines: list[tuple[str, ast.expr]] = []
    for piece in text.replace("\n", ";").split(";"):
        piece = piece.strip()
        if not piece:
            continue
        name, equals, right = piece.partition("=")
        if not equals:
            raise ValueError(f"formula text: {piece!r} has no '='")
        lines.append((name.strip(), ast.parse(right.strip(), mode="eval").body))
    if not lines:
        raise ValueError("formula text is empty")
    return tuple(lines)


def names(node: ast.expr) -> list[str]:
    """The names in an expression that are not functions, in order, each once."""
    called = {id(n.func) for n in ast.walk(node) if isinstance(n, ast.Call)}
    found = [n.id for n in ast.walk(node) if isinstance(n, ast.Name) and id(n) not in called]
    return list(dict.fromkeys(found))


def _lookup(name: str, home: str) -> Callable[..., Any]:
    function = FUNCTIONS.get(name) or _special(name)
    if function is not None:
        return function
    if f"{home}.{name}" in RELATIONS:
        return RELATIONS[f"{home}.{name}"]
    found = [key for key in RELATIONS if key.rsplit(".", 1)[-1] == name]
    if len(found) == 1:
        return RELATIONS[found[0]]
    raise NameError(f"formula text calls {name!r}, which is no known function")


def work_out(node: ast.expr, values: Mapping[str, Any], home: str = "") -> Any:
    """The value of an expression, with `values` for its names."""
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        return node.value
    if isinstance(node, ast.Name):
        if node.id in values:
            return values[node.id]
        if node.id == "pi":
            return np.pi
        if node.id == "inf":
            return np.inf
        if node.id in constants.TABLE:
            return constants.value(node.id)
        raise NameError(f"formula text uses {node.id!r}, which is no argument, let-line or constant")
    if isinstance(node, ast.BinOp):
        left, right = work_out(node.left, values, home), work_out(node.right, values, home)
        return OPERATORS[type(node.op)](left, right)
    if isinstance(node, ast.UnaryOp):
        return OPERATORS[type(node.op)](work_out(node.operand, values, home))
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        left, right = work_out(node.left, values, home), work_out(node.comparators[0], values, home)
        return OPERATORS[type(node.ops[0])](left, right)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and not node.keywords:
        arguments = [work_out(a, values, home) for a in node.args]
        return _lookup(node.func.id, home)(*arguments)
    raise SyntaxError(f"formula text holds {ast.unparse(node)!r}, which the formula language does not know")


def evaluate(label: Label, arguments: Mapping[str, Any]) -> Any:
    """What the text of a formula gives for these arguments (the last line's value)."""
    values: dict[str, Any] = {k: np.float64(v) if type(v) in (int, float) else v for k, v in arguments.items()}
    home = label.name.split(".", 1)[0]
    last: Any = None
    for name, node in parse(label.formula):
        last = values[name] = work_out(node, values, home)
    return last
