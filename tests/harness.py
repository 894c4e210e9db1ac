"""What the tests of formulas share: all labelled functions, random points, check rows, dimensions by pint.

It knows nothing of any single formula. Units of check rows are read by the project's own table where that has
the spelling and by pint everywhere else.
"""

from __future__ import annotations

import ast
import importlib
import math
import operator
import pkgutil
import re
import tomllib
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pint

import thinstock.kernels
import thinstock.relations
from printed_calls import CALLS
from thinstock.formula import expression
from thinstock.formula.label import RELATIONS, Label, label_of
from thinstock.formula.printed import rows_of
from thinstock.words import constants, nomenclature, units

TESTS = Path(__file__).parent
BROKEN: dict[str, Exception] = {}


def _import_all() -> None:
    for package in (thinstock.relations, thinstock.kernels):
        for module in pkgutil.iter_modules(package.__path__, package.__name__ + "."):
            try:
                importlib.import_module(module.name)
            except Exception as error:  # a module that cannot be imported is a failure of its own test
                BROKEN[module.name] = error


_import_all()
LABELS: dict[str, Label] = {name: label_of(function) for name, function in sorted(RELATIONS.items())}
FORMULAS = [name for name, label in LABELS.items() if label.kind == "formula"]
EQUATIONS = [name for name, label in LABELS.items() if label.kind == "equation"]


# -------------------------------------------- random points

COMPONENT_WORDS = ("share", "fibre_length", "fibre_width", "coarseness", "fibre_grammage", "variance_ratio", "value",
                   "resistance_coefficient")  # fmt: skip
"""Words whose values lie on the component axis where a furnish is blended."""


def components(label: Label) -> tuple[str, ...]:
    """The arguments that carry components on their last axis: those of a furnish, else all inside a sum."""
    inside = _names_in_sums(label)
    if not inside:
        return ()
    if "share" in label.arguments:
        return tuple(a for a in label.arguments if a in COMPONENT_WORDS)
    return tuple(a for a in label.arguments if a in inside)


def _names_in_sums(label: Label) -> set[str]:
    """Arguments that a sum reaches, directly or through let-lines."""
    reached: dict[str, set[str]] = {}
    found: set[str] = set()
    for name, node in expression.parse(label.formula):
        below: set[str] = set()
        for used in expression.names(node):
            below |= reached.get(used, {used})
        for call in ast.walk(node):
            if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "sum":
                for used in expression.names(call.args[0]):
                    found |= reached.get(used, {used})
        reached[name] = below
    return found & set(label.arguments)


def bounds(label: Label, argument: str) -> tuple[float, float]:
    """Where random points of an argument are drawn: where the formula holds, else the usual range."""
    typical = nomenclature.word(argument).usual
    if argument in label.holds:
        low, high = label.holds[argument]
        if not math.isfinite(low):
            low = typical[0] if typical else -1.0
        if not math.isfinite(high):
            high = typical[1] if typical and typical[1] > low else max(10.0 * abs(low), 1.0)
        return float(low), float(high)
    if typical is None:
        raise LookupError(f"{label.name}: the word {argument!r} has no usual range to draw from")
    return typical


def random_points(label: Label, count: int = 24, parts: int = 3) -> list[dict[str, Any]]:
    """Seeded random arguments, case by case; components on the last axis where the text adds over them."""
    generator = np.random.default_rng(zlib.crc32(label.name.encode()))
    vectors = components(label)
    return [
        {a: _draw(label, a, generator, parts if a in vectors else None) for a in label.arguments} for _ in range(count)
    ]


def _draw(label: Label, argument: str, generator: np.random.Generator, parts: int | None) -> Any:
    low, high = bounds(label, argument)
    size = () if parts is None else (parts,)
    if low > 0 and high / low > 20:
        value = np.exp(generator.uniform(math.log(low), math.log(high), size))
    else:
        value = generator.uniform(low, high, size)
    if argument in WHOLE:
        value = np.rint(value)
    if argument == "share" and parts is not None:
        value = value + 1e-3
        value = value / value.sum()
    return float(value) if parts is None else np.asarray(value)


WHOLE = ("count", "passes", "order", "harmonic", "cylinder_count", "felted_sides", "sides", "years", "direct")
"""Words that are whole numbers."""


# -------------------------------------------- texts worked out


def lines_worked_out(label: Label, arguments: Mapping[str, Any]) -> dict[str, Any]:
    """The value of every line of a text by its name; the residual of an equation goes by "0"."""
    values: dict[str, Any] = {name: np.asarray(value, dtype=float)[()] for name, value in arguments.items()}
    home = label.name.split(".", 1)[0]
    found: dict[str, Any] = {}
    with np.errstate(all="ignore"):
        for name, node in expression.parse(label.formula):
            found[name] = values[name] = expression.work_out(node, values, home)
    return found


def result_of_text(label: Label, arguments: Mapping[str, Any]) -> tuple[Any, ...]:
    """What the text gives for each word of `gives`: its own line; a single word takes the last."""
    found = lines_worked_out(label, arguments)
    if len(label.gives) == 1:
        return (found[next(reversed(found))],)
    return tuple(found[word] for word in label.gives)


def call(label: Label, arguments: Mapping[str, Any]) -> tuple[Any, ...]:
    """What the function gives, as a tuple in the order of `gives`; keyword-only arguments are minded."""
    with np.errstate(all="ignore"):
        result = RELATIONS[label.name](**arguments)
    return tuple(result) if isinstance(result, tuple) else (result,)


def answered(label: Label, arguments: Mapping[str, Any], result: tuple[Any, ...]) -> dict[str, Any]:
    """Arguments and answers together, for the residual of an equation."""
    values = dict(arguments)
    values.update(zip(label.gives, result, strict=True))
    return values


def good_points(label: Label, count: int = 40) -> Iterator[dict[str, Any]]:
    """Random points at which the function gives finite numbers; those it refuses are left out."""
    for point in random_points(label, count):
        try:
            result = call(label, point)
        except ValueError:
            continue
        if all(np.isfinite(np.asarray(part, dtype=float)).all() for part in result):
            yield point


# -------------------------------------------- check rows


NOT_REACHED = TESTS / "published" / "not_reached.toml"
"""What is printed and cannot be checked, each with its reason."""


def check_rows() -> Iterator[tuple[str, dict[str, Any]]]:
    """Every check row of tests/published and tests/checks with a name for the test."""
    for folder in ("published", "checks"):
        for path in sorted((TESTS / folder).glob("*.toml")):
            rows = rows_of(tomllib.loads(path.read_text(encoding="utf-8")))
            for number, row in enumerate(rows, start=1):
                yield f"{folder}/{path.stem}-{number}-{row.get('relation') or row['call']}", row


def worked_row(row: Mapping[str, Any]) -> Any:
    """What the program gives for a check row: by its formula, or by the function that it calls by name."""
    if "call" in row:
        return CALLS[row["call"]](**row["given"])
    given = {
        name: np.asarray(value, dtype=float) if isinstance(value, list) else value
        for name, value in row["given"].items()
    }
    got = RELATIONS[row["relation"]](**given)
    if "field" in row:
        return getattr(got, row["field"])
    if isinstance(got, tuple) and len(LABELS[row["relation"]].gives) > 1 and not isinstance(row["printed"], list):
        return got[0]
    return got


def half_last_digit(printed: str) -> float:
    """Half a unit of the last digit as printed."""
    digits = Decimal(printed)
    return float(Decimal(5).scaleb(int(digits.as_tuple().exponent) - 1))


def row_factor_offset(unit: str) -> tuple[float, float]:
    """SI value = printed * factor + offset."""
    if unit in ("", "1"):
        return 1.0, 0.0
    found = units.find(unit)
    if found is not None and not found.gauge and not found.higher:
        return found.factor, found.offset
    quantity = quantity_of(unit)
    return float(quantity.to_base_units().magnitude), 0.0


# -------------------------------------------- dimensions


@cache
def registry() -> pint.UnitRegistry:
    made = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    made.define("money = [money]")
    return made


def pint_text(unit: str) -> str:
    """A unit as written in the nomenclature, in pint's words."""
    text = unit.strip()
    for mark, plain in (
        ("²", "**2"),
        ("³", "**3"),
        ("⁴", "**4"),
        ("^½", "**0.5"),
        ("½", "**0.5"),
        ("·", " "),
    ):
        text = text.replace(mark, plain)
    text = re.sub(r"\^(-?[\d.]+)", r"**\1", text)
    text = re.sub(r"µ", "micro", text) if re.fullmatch(r"µ\w+", text) else text
    text = text.replace("°C", "kelvin").replace(" per ", "/")
    text = re.sub(r"\)\s*(?=[A-Za-z])", ")*", text)
    return re.sub(r"(?<=[A-Za-z0-9)])\s+(?=[A-Za-z(])", "*", text)


@cache
def quantity_of(unit: str) -> Any:
    """One of a unit as a pint quantity."""
    if unit in ("", "1"):
        return registry().Quantity(1.0, "")
    return registry().Quantity(1.0, registry().parse_units(pint_text(unit)))


class DimensionError(Exception):
    """A text that adds, compares or raises what cannot be."""


NEEDS_PLAIN = frozenset(expression.FUNCTIONS) - {"max", "min", "atan2", "where", "sqrt", "abs", "sum"} | {
    *("erf", "gammaln", "k0", "gammainc", "xlogy"),
}
OPERATORS: dict[type, Callable[..., Any]] = {ast.Mult: operator.mul, ast.Div: operator.truediv}


@dataclass(frozen=True)
class Reading:
    """How a text is read on quantities."""

    label: Label
    stripped: bool
    """Words of `in_units`, constants and formulas called by name count as plain numbers in base SI."""

    def quantity(self, word: str, value: Any) -> Any:
        if self.stripped and word in self.label.in_units:
            return registry().Quantity(value, "")
        return registry().Quantity(value, quantity_of(nomenclature.word(word).unit).units)

    def constant(self, name: str) -> Any:
        unit = "" if self.stripped else constants.TABLE[name]["unit"]
        return registry().Quantity(constants.value(name), quantity_of(unit).units)

    def called(self, inner: Label, parts: list[Any]) -> Any:
        """Another labelled formula called by the text: its arguments must be what its words say."""
        Quantity = registry().Quantity
        numbers = []
        for part, word in zip(parts, inner.arguments, strict=True):
            unit, quantity = quantity_of(nomenclature.word(word).unit).units, Quantity(part)
            if self.stripped and quantity.dimensionless:
                numbers.append(quantity.to("").magnitude)
            elif quantity.is_compatible_with(unit):
                numbers.append(quantity.to(unit).magnitude)
            else:
                raise DimensionError(f"{inner.name} takes {word} in {unit}, not {quantity.units}")
        unit = "" if self.stripped else nomenclature.word(inner.gives[0]).unit
        return Quantity(inner.function(*numbers), quantity_of(unit).units)


def dimensions_of_text(label: Label, stripped: bool) -> tuple[Any, ...]:
    """The text worked out on quantities at a random point: one per word of `gives` (none for a residual)."""
    reading = Reading(label, stripped)
    point = next(iter(good_points(label)))
    values = {a: reading.quantity(a, point[a]) for a in label.arguments}
    if label.kind == "equation":
        answers = call(label, point)
        values.update({w: reading.quantity(w, v) for w, v in zip(label.gives, answers, strict=True)})
    found: dict[str, Any] = {}
    with np.errstate(all="ignore"):
        for name, node in expression.parse(label.formula):
            found[name] = values[name] = _work(node, values, reading)
    if label.kind == "equation":
        return ()
    if len(label.gives) == 1:
        return (found[next(reversed(found))],)
    return tuple(found[word] for word in label.gives)


def _plain(value: Any) -> Any:
    """The number of a quantity that must have no dimension."""
    quantity = registry().Quantity(value)
    if not quantity.dimensionless:
        raise DimensionError(f"a plain number is needed, not {quantity.units}")
    return quantity.to("").magnitude


def _is_any(node: ast.expr) -> bool:
    """A literal zero or infinity has every dimension."""
    if isinstance(node, ast.UnaryOp):
        return _is_any(node.operand)
    if isinstance(node, ast.Constant):
        return node.value == 0
    return isinstance(node, ast.Name) and node.id in ("inf", "nan")


def _alike(nodes: list[ast.expr], parts: list[Any]) -> tuple[list[Any], Any]:
    """Numbers of several quantities in one unit, and that unit."""
    real = [p for n, p in zip(nodes, parts, strict=True) if not _is_any(n)] or parts
    unit = registry().Quantity(real[0]).to_base_units().units
    out = []
    for node, part in zip(nodes, parts, strict=True):
        quantity = registry().Quantity(part)
        if _is_any(node):
            out.append(quantity.magnitude)
        elif not quantity.is_compatible_with(unit):
            raise DimensionError(f"{quantity.to_base_units().units} meets {unit} in {ast.unparse(node)}")
        else:
            out.append(quantity.to(unit).magnitude)
    return out, unit


def _work(node: ast.expr, values: Mapping[str, Any], reading: Reading) -> Any:
    Quantity = registry().Quantity
    if isinstance(node, ast.Constant):
        return Quantity(float(node.value), "")
    if isinstance(node, ast.Name):
        if node.id in values:
            return values[node.id]
        if node.id in constants.TABLE:
            return reading.constant(node.id)
        return Quantity(float(expression.work_out(node, {})), "")
    if isinstance(node, ast.UnaryOp):
        return expression.OPERATORS[type(node.op)](_work(node.operand, values, reading))
    if isinstance(node, ast.Compare):
        nodes = [node.left, node.comparators[0]]
        numbers, _ = _alike(nodes, [_work(n, values, reading) for n in nodes])
        return expression.OPERATORS[type(node.ops[0])](*numbers)
    if isinstance(node, ast.BinOp):
        return _work_binary(node, values, reading)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        return _work_call(node, node.func.id, values, reading)
    raise DimensionError(f"cannot read {ast.unparse(node)}")


def _work_binary(node: ast.BinOp, values: Mapping[str, Any], reading: Reading) -> Any:
    left, right = (_work(n, values, reading) for n in (node.left, node.right))
    if isinstance(node.op, ast.Pow):
        exponent = _plain(right)
        if registry().Quantity(left).dimensionless:
            return registry().Quantity(_plain(left) ** exponent, "")
        return left ** float(np.ravel(exponent)[0])
    if type(node.op) in OPERATORS:
        return OPERATORS[type(node.op)](left, right)
    numbers, unit = _alike([node.left, node.right], [left, right])
    return registry().Quantity(expression.OPERATORS[type(node.op)](*numbers), unit)


def _work_call(node: ast.Call, name: str, values: Mapping[str, Any], reading: Reading) -> Any:
    Quantity = registry().Quantity
    parts = [_work(n, values, reading) for n in node.args]
    if name in NEEDS_PLAIN:
        return Quantity(expression._lookup(name, "")(*(_plain(p) for p in parts)), "")
    if name in ("max", "min", "atan2"):
        numbers, unit = _alike(list(node.args), parts)
        return Quantity(expression.FUNCTIONS[name](*numbers), "" if name == "atan2" else unit)
    if name == "where":
        numbers, unit = _alike(list(node.args[1:]), parts[1:])
        return Quantity(np.where(parts[0], *numbers), unit)
    if name == "sqrt":
        return parts[0] ** 0.5
    if name == "abs":
        return abs(parts[0])
    if name == "sum":
        return Quantity(np.sum(np.asarray(parts[0].magnitude), axis=-1), parts[0].units)
    return reading.called(label_of(expression._lookup(name, reading.label.name.split(".", 1)[0])), parts)
