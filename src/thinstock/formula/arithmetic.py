"""Arithmetic that numbers remember, written out as the text of a formula with a name for every number in it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from thinstock.formula.remembering import Expression, Remembering

SIZE = 24
"""Operations in one text; what is longer is split where a part of it is long."""
DIGITS = 8
"""Characters of a number that stands in the program as it is (1, 0.5, 273.15); a longer one was computed."""
_RANK = {"+": 1, "-": 1, "*": 2, "/": 2, "**": 4}
WHOLE = {"//": "floor({0}/{1})", "%": "{0} - {1}*floor({0}/{1})"}
_ATOM = 5


def literal(value: Any) -> bool:
    """True for a number of the program's own text: a whole number, pi, or a decimal fraction of few digits."""
    if type(value) is int:
        return True
    return type(value) is float and (value == np.pi or len(repr(value)) <= DIGITS)


class Writer:
    """Writes one expression; `origin` says where a number is from, `word` what it is called."""

    def __init__(self, token: object, origin: Callable[[Any], Any], word: Callable[[Any], str]) -> None:
        self.token, self.origin, self.word = token, origin, word
        self.leaves: dict[str, Any] = {}
        """The number of each name."""
        self._names: dict[Any, str] = {}

    def text(self, what: Expression) -> str:
        """The whole expression."""
        return self._written(what)[0]

    def _written(self, what: Expression) -> tuple[str, int]:
        parts = [self._operand(x, what.size) for x in what.operands]
        sign = what.sign
        if sign in WHOLE:
            left, right = (_bracketed(part, 3) for part in parts)
            return WHOLE[sign].format(left, right), 1
        if sign not in _RANK:
            return f"{sign}({', '.join(text for text, _ in parts)})", _ATOM
        if len(parts) == 1:
            return f"-{_bracketed(parts[0], 3)}", 1
        rank = _RANK[sign]
        left = _bracketed(parts[0], rank + (sign == "**"))
        right = _bracketed(parts[1], rank + (sign in "-/*"))
        return (f"{left}{sign}{right}" if rank > 1 else f"{left} {sign} {right}"), rank

    def _operand(self, value: Any, size: int) -> tuple[str, int]:
        if literal(value):
            text = "pi" if value == np.pi else repr(value).removesuffix(".0")
            return text, _ATOM if value >= 0 else 1
        inner = value.origin if type(value) is Remembering and value.token is self.token else None
        if type(inner) is Expression and inner.step is None and (size <= SIZE or inner.size <= SIZE // 2):
            return self._written(inner)
        return self._name(value), _ATOM

    def _name(self, value: Any) -> str:
        origin = self.origin(value)
        key = ("unknown", id(value)) if origin is None else origin
        if key not in self._names:
            first = name = self.word(origin)
            twin = 1
            while name in self.leaves:
                twin += 1
                name = f"{first}_{twin}"
            self._names[key] = name
            self.leaves[name] = value
        return self._names[key]


def _bracketed(part: tuple[str, int], rank: int) -> str:
    text, own = part
    return text if own >= rank else f"({text})"
