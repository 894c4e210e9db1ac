"""A float that remembers where it came from: a formula, a field of the machine, or the arithmetic between them.

Only a listening worksheet makes such numbers. Arithmetic with them (`+ - * / // % **`, `-x`, `abs`) and the functions
of numpy in `FUNCTIONS` (`np.maximum`, `np.exp`, `np.sqrt` ...) give remembering numbers too, as an expression that is
written out only when a worksheet is asked for it. Comparisons, `float(x)`, `np.float64(x)`, `round`, copies, pickles
and everything with an array give plain values; so does all arithmetic while nothing listens and inside a formula.
`where` and `clip` here choose between numbers without forgetting them (`np.where` gives an array, which forgets).
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from contextvars import ContextVar
from typing import Any, Protocol, runtime_checkable

import numpy as np


@runtime_checkable
class Recorder(Protocol):
    """What listens while formulas are used."""

    @property
    def quiet(self) -> bool:
        """True while arithmetic need not be remembered (always, or inside a formula)."""

    @property
    def ranges_only(self) -> bool:
        """True where a formula without a stated range need not be told of."""

    @property
    def token(self) -> object:
        """Stands for the recorder in the numbers it made, without keeping it alive."""

    def call(self, label: Any, args: tuple[Any, ...], kwargs: dict[str, Any]) -> Any: ...


listening: ContextVar[Recorder | None] = ContextVar("thinstock_recorder", default=None)
"""The recorder that listens, if any."""


class Expression:
    """Arithmetic that was done: a sign or the name of a function, and what it was done with."""

    __slots__ = ("_size", "operands", "sign", "step")

    def __init__(self, sign: str, operands: tuple[Any, ...]) -> None:
        self.sign = sign
        self.operands = operands
        self.step: int | None = None
        """Number of the step as which a worksheet wrote it out, once it was asked."""
        self._size = 0

    @property
    def size(self) -> int:
        """How many operations it is."""
        if not self._size:
            self._size = 1 + sum(x.origin.size for x in self.operands if _arithmetic(x))
        return self._size


class Remembering(np.float64):
    """A float with the place it came from; everywhere else a float like any other."""

    __slots__ = ("origin", "plain", "token")

    origin: Any
    """(number of a step, word), an address, several of these, or an `Expression`."""
    plain: np.float64
    """The same number without memory."""
    token: object
    """Of the recorder that knows `origin`."""

    def __array_ufunc__(self, ufunc: Any, method: str, *inputs: Any, **kwargs: Any) -> Any:
        if method != "__call__" or kwargs or ufunc not in FUNCTIONS:
            if "out" in kwargs:
                kwargs["out"] = tuple(plain(x) for x in kwargs["out"])
            return getattr(ufunc, method)(*(plain(x) for x in inputs), **kwargs)
        return reckoned(FUNCTIONS[ufunc], ufunc, *inputs)

    def __getitem__(self, key: Any) -> Any:
        return self if key == () else np.asarray(self.plain)[key]

    def __reduce__(self) -> tuple[Any, ...]:
        return np.float64, (float(self.plain),)

    def __reduce_ex__(self, protocol: Any) -> tuple[Any, ...]:
        return self.__reduce__()

    def __copy__(self) -> Any:
        return self.plain

    def __deepcopy__(self, memo: Any) -> Any:
        return self.plain

    def __repr__(self) -> str:
        return repr(self.plain)

    def __hash__(self) -> int:
        return hash(self.plain)


def plain(value: Any) -> Any:
    """A value without memory; what has none is returned as it is."""
    return value.plain if type(value) is Remembering else value


def remembering(value: Any, origin: Any, token: object) -> Remembering:
    """A number with its origin in the recorder of this token."""
    made: Remembering = _new(Remembering, value)
    made.plain = value if type(value) is np.float64 else np.float64(value)
    made.origin = origin
    made.token = token
    return made


_new = np.float64.__new__


def _arithmetic(value: Any) -> bool:
    return type(value) is Remembering and type(value.origin) is Expression


def reckoned(sign: str, function: Callable[..., Any], *operands: Any) -> Any:
    """The result of arithmetic, remembering its operands where a recorder wants that."""
    result = function(*[plain(x) for x in operands])
    recorder = listening.get()
    if recorder is None or recorder.quiet or type(result) is not np.float64:
        return result
    return remembering(result, Expression(sign, operands), recorder.token)


BINARY: dict[str, tuple[str, Callable[[Any, Any], Any]]] = {
    "add": ("+", operator.add),
    "sub": ("-", operator.sub),
    "mul": ("*", operator.mul),
    "truediv": ("/", operator.truediv),
    "floordiv": ("//", operator.floordiv),
    "mod": ("%", operator.mod),
    "pow": ("**", operator.pow),
}
UNARY: dict[str, tuple[str, Callable[[Any], Any]]] = {"neg": ("-", operator.neg), "abs": ("abs", operator.abs)}
FUNCTIONS: dict[Any, str] = {
    np.add: "+", np.subtract: "-", np.multiply: "*", np.divide: "/", np.floor_divide: "//", np.remainder: "%",
    np.power: "**", np.negative: "-", np.absolute: "abs", np.maximum: "max", np.minimum: "min", np.exp: "exp",
    np.expm1: "expm1", np.log: "log", np.log1p: "log1p", np.sqrt: "sqrt", np.sin: "sin", np.cos: "cos", np.tan: "tan",
    np.arcsin: "asin", np.arccos: "acos", np.arctan: "atan", np.arctan2: "atan2", np.sinh: "sinh", np.cosh: "cosh",
    np.tanh: "tanh", np.arctanh: "atanh", np.floor: "floor",
}  # fmt: skip
"""Functions of numpy whose results on single numbers are remembered, and how a formula text calls them."""


def _binary(sign: str, function: Callable[[Any, Any], Any]) -> tuple[Callable[..., Any], Callable[..., Any]]:
    """The two methods of an operation: as the left and as the right operand."""

    def remembered(value: Any, left: Any, right: Any) -> Any:
        recorder = listening.get()
        if recorder is None or recorder.quiet or type(value) is not np.float64:
            return value
        return remembering(value, Expression(sign, (left, right)), recorder.token)

    def forward(self: Remembering, other: Any) -> Any:
        result = function(self.plain, other.plain if type(other) is Remembering else other)
        return remembered(result, self, other)

    def backward(self: Remembering, other: Any) -> Any:
        if sign == "+" and type(other) is int and other == 0:
            return self
        return remembered(function(other, self.plain), other, self)

    return forward, backward


def _unary(sign: str, function: Callable[[Any], Any]) -> Callable[[Remembering], Any]:
    return lambda self: reckoned(sign, function, self)


def _compared(function: Callable[[Any, Any], Any]) -> Callable[[Remembering, Any], Any]:
    return lambda self, other: function(self.plain, plain(other))


for _name, (_sign, _function) in BINARY.items():
    _forward, _backward = _binary(_sign, _function)
    setattr(Remembering, f"__{_name}__", _forward)
    setattr(Remembering, f"__r{_name}__", _backward)
for _name, (_sign, _one) in UNARY.items():
    setattr(Remembering, f"__{_name}__", _unary(_sign, _one))
for _name in ("lt", "le", "gt", "ge", "eq", "ne"):
    setattr(Remembering, f"__{_name}__", _compared(getattr(operator, _name)))


def where(condition: Any, then: Any, otherwise: Any) -> Any:
    """`then` where the condition holds, else `otherwise`: of single numbers the very one that was chosen.

    Shapes: those of `np.where`, but a number (not an array without axes) where all three are single.
    """
    if np.ndim(condition) == 0 and np.ndim(then) == 0 and np.ndim(otherwise) == 0:
        return then if condition else otherwise
    return np.where(condition, plain(then), plain(otherwise))


def clip(value: Any, low: Any, high: Any) -> Any:
    """A value kept between two bounds (numbers or arrays)."""
    return np.minimum(np.maximum(value, low), high)
