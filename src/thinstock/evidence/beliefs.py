"""What is believed of a value whose uncertainty nobody stated: the rows of `library/beliefs.toml` as distributions.

A row has a status, a source and the reading that would take its place. A field without a row has no spread: it is taken
as exact.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from thinstock import library
from thinstock.case.values import spread_kind
from thinstock.evidence.distributions import Distribution, LogUniform, Normal, Rectangular, Triangular, TwoPiece
from thinstock.formula.label import Array, Num
from thinstock.words import units
from thinstock.words.nomenclature import word
from thinstock.words.quantity import Q


@dataclass(frozen=True, kw_only=True)
class Belief:
    """A row, its numbers in base SI."""

    key: str
    kind: str
    status: str
    source: str
    measured_by: str
    spread: float | None = None
    relative: float | None = None
    factor: float = 1.0
    low: float = math.nan
    middle: float = math.nan
    high: float = math.nan
    by_factor: bool = False
    value: float = math.nan
    other: tuple[Belief, ...] = ()

    def nearest(self, value: float) -> Belief:
        """The row of the kind of part whose value is nearest."""
        if not self.other:
            return self
        own = self.middle if math.isfinite(self.middle) else math.inf
        rows = [(abs(value - one.value), one) for one in self.other]
        if self.kind == "bell":
            closest = min(rows, key=lambda pair: pair[0])
            return closest[1] if closest[0] <= 1e-9 + 0.25 * abs(closest[1].value) else self
        return min([(abs(value - own), self), *rows], key=lambda pair: pair[0])[1]

    @property
    def setting(self) -> bool:
        """Whether it is the error of an instrument that the mill reads, not of a constant."""
        return self.status == "common practice"


@dataclass(frozen=True)
class Within:
    """A distribution kept between what is possible."""

    base: Distribution
    low: float
    high: float

    @property
    def mean(self) -> float:
        return float(np.mean(self._even))

    @property
    def standard_deviation(self) -> float:
        return float(np.std(self._even))

    @property
    def _even(self) -> Array:
        return np.asarray(self.quantile((np.arange(2000) + 0.5) / 2000))

    def quantile(self, p: Num) -> Num:
        found = np.clip(self.base.quantile(p), self.low, self.high)
        return found if np.ndim(p) else float(found)

    def sample(self, generator: np.random.Generator, size: Any) -> Array:
        return np.clip(self.base.sample(generator, size), self.low, self.high)


def belief(about: Q) -> Belief | None:
    """The row of a field; None where it is taken as exact."""
    return _row(about.key, about.word)


@lru_cache(maxsize=512)
def _row(key: str, name: str) -> Belief | None:
    row = library.table("beliefs").get(key)
    return None if row is None else _read(key, row, word(name).kind)


def _read(key: str, row: Mapping[str, Any], kind: str) -> Belief:
    def number(name: str, of: str) -> Any:
        return units.parse(str(row[name]), of, field=f"{key}.{name}") if name in row else None

    ends = {name: number(name, kind) for name in ("low", "middle", "high", "value")}
    shared = {name: row[name] for name in ("kind", "status", "source", "measured_by", "relative", "factor", "by_factor")
              if name in row}  # fmt: skip
    below: dict[str, Any] = {name: shared[name] for name in ("status", "source", "measured_by") if name in shared}
    return Belief(
        key=key,
        **shared,
        **{name: value for name, value in ends.items() if value is not None},
        spread=number("spread", spread_kind(kind)),
        other=tuple(_read(key, {**below, **one}, kind) for one in row.get("other", ())),
    )


def standard_uncertainty(row: Belief, value: float) -> float:
    """One standard uncertainty of a value by a row."""
    row = row.nearest(value)
    if row.spread is not None:
        return row.spread
    if row.relative is not None:
        return row.relative * abs(value)
    found = distribution(row, value)
    return 0.0 if found is None else found.standard_deviation


def distribution(row: Belief, value: float, *, untouched: bool = False) -> Distribution | None:
    """What a row makes of a value; None where nothing is uncertain. `untouched`: nobody has said another value."""
    row = row.nearest(value)
    if row.kind == "limits":
        return Rectangular(row.low, row.high)
    if row.kind == "triangle":
        return Triangular(row.low, min(max(value, row.low), row.high), row.high)
    if row.kind == "factors" and (untouched or row.relative is None):
        return LogUniform(row.low, row.high)
    if row.kind == "ends":
        return _ends(row, value)
    if row.kind == "factor":
        return TwoPiece(value / row.factor, value, value * row.factor, True) if value > 0.0 else None
    spread = row.spread if row.spread is not None else (row.relative or 0.0) * abs(value)
    return Normal(value, spread) if spread > 0.0 else None


def _ends(row: Belief, value: float) -> Distribution | None:
    """The ends about a value: as they stand while it lies between them, else moved along."""
    low, high = row.low, row.high
    if not low < value < high:
        if not row.middle > 0.0 or not value > 0.0:
            return None
        low, high = low * value / row.middle, high * value / row.middle
    return TwoPiece(low, value, high, row.by_factor)
