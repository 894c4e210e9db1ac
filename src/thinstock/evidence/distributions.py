"""What is believed of an uncertain input: eight distributions with mean, spread, quantile and sample.

They are frozen and can be sent to workers and hashed. Nothing here knows what the input is.
Source: JCGM_101. Status: from memory, checked by quadrature and sampling.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from thinstock.errors import Fault, Refused
from thinstock.formula.bell import score_at
from thinstock.formula.label import Array, Num
from thinstock.words.phrase import phrase


class Distribution(Protocol):
    """Anything with these four can be an input."""

    @property
    def mean(self) -> float: ...
    @property
    def standard_deviation(self) -> float: ...
    def quantile(self, p: Num) -> Num: ...
    def sample(self, generator: np.random.Generator, size: Any) -> Array: ...


def _refuse(kind: object, field: str, value: object, bound: str) -> Refused:
    return Refused(Fault(field=f"{type(kind).__name__}.{field}", value=str(value), bound=bound))


def _finite(kind: object, **values: float) -> None:
    for name, value in values.items():
        if not math.isfinite(value):
            raise _refuse(kind, name, value, phrase("studies.distributions.must_be_number"))


def _positive(kind: object, name: str) -> None:
    if not getattr(kind, name) > 0.0:
        raise _refuse(kind, name, getattr(kind, name), phrase("studies.distributions.must_be_above"))


def _rising(kind: Rectangular | Arcsine | LogUniform | CurvilinearTrapezoid) -> None:
    if not kind.low < kind.high:
        bound = phrase("studies.distributions.must_lie_below_high_end", high=kind.high)
        raise _refuse(kind, "low", kind.low, bound)


def _shares(kind: object, p: Num) -> Array:
    share = np.asarray(p, dtype=float)
    if not np.all((share >= 0.0) & (share <= 1.0)):
        raise _refuse(kind, "quantile", p, phrase("studies.distributions.share_must_lie_between"))
    return share


def _plain(value: Any) -> Any:
    return value if np.ndim(value) else float(value)


@dataclass(frozen=True)
class Normal:
    """Bell-shaped: many small causes, or a statement of value and standard uncertainty."""

    centre: float
    spread: float

    def __post_init__(self) -> None:
        _finite(self, centre=self.centre, spread=self.spread)
        _positive(self, "spread")

    @property
    def mean(self) -> float:
        return self.centre

    @property
    def standard_deviation(self) -> float:
        return self.spread

    def quantile(self, p: Num) -> Num:
        return _plain(self.centre + self.spread * score_at(_shares(self, p)))

    def sample(self, generator: np.random.Generator, size: Any) -> Array:
        return np.asarray(self.centre + self.spread * generator.standard_normal(size))


@dataclass(frozen=True)
class Rectangular:
    """Between two limits and nothing more known: a tolerance, a resolution, a range from a book."""

    low: float
    high: float

    def __post_init__(self) -> None:
        _finite(self, low=self.low, high=self.high)
        _rising(self)

    @property
    def mean(self) -> float:
        return 0.5 * (self.low + self.high)

    @property
    def standard_deviation(self) -> float:
        return (self.high - self.low) / math.sqrt(12.0)

    def quantile(self, p: Num) -> Num:
        return _plain(self.low + (self.high - self.low) * _shares(self, p))

    def sample(self, generator: np.random.Generator, size: Any) -> Array:
        return np.asarray(generator.uniform(self.low, self.high, size))


@dataclass(frozen=True)
class Triangular:
    """Between two limits with a likeliest value."""

    low: float
    mode: float
    high: float

    def __post_init__(self) -> None:
        _finite(self, low=self.low, mode=self.mode, high=self.high)
        if not (self.low <= self.mode <= self.high and self.low < self.high):
            raise _refuse(
                self, "mode", self.mode, phrase("studies.distributions.must_lie_between", low=self.low, high=self.high)
            )

    @property
    def mean(self) -> float:
        return (self.low + self.mode + self.high) / 3.0

    @property
    def standard_deviation(self) -> float:
        a, c, b = self.low, self.mode, self.high
        return math.sqrt((a * a + b * b + c * c - a * b - a * c - b * c) / 18.0)

    def quantile(self, p: Num) -> Num:
        share = _shares(self, p)
        width, left, right = self.high - self.low, self.mode - self.low, self.high - self.mode
        rising = self.low + np.sqrt(share * width * left)
        falling = self.high - np.sqrt((1.0 - share) * width * right)
        return _plain(np.where(share * width <= left, rising, falling))

    def sample(self, generator: np.random.Generator, size: Any) -> Array:
        return np.asarray(generator.triangular(self.low, self.mode, self.high, size))


@dataclass(frozen=True)
class Arcsine:
    """U-shaped: a quantity that swings as a sine between two limits and is met at any moment."""

    low: float
    high: float

    def __post_init__(self) -> None:
        _finite(self, low=self.low, high=self.high)
        _rising(self)

    @property
    def mean(self) -> float:
        return 0.5 * (self.low + self.high)

    @property
    def standard_deviation(self) -> float:
        return (self.high - self.low) / math.sqrt(8.0)

    def quantile(self, p: Num) -> Num:
        return _plain(self.mean - 0.5 * (self.high - self.low) * np.cos(np.pi * _shares(self, p)))

    def sample(self, generator: np.random.Generator, size: Any) -> Array:
        return np.asarray(self.mean + 0.5 * (self.high - self.low) * np.sin(2.0 * np.pi * generator.random(size)))


@dataclass(frozen=True)
class Student:
    """Mean of a few repeats: like the bell, with wider tails the fewer they were."""

    centre: float
    scale: float
    degrees_of_freedom: float

    def __post_init__(self) -> None:
        _finite(self, centre=self.centre, scale=self.scale, degrees_of_freedom=self.degrees_of_freedom)
        _positive(self, "scale")
        if not self.degrees_of_freedom >= 1.0:
            raise _refuse(
                self, "degrees_of_freedom", self.degrees_of_freedom, phrase("studies.distributions.must_be_at_least")
            )

    @property
    def mean(self) -> float:
        return self.centre if self.degrees_of_freedom > 1.0 else math.nan

    @property
    def standard_deviation(self) -> float:
        if self.degrees_of_freedom < 3.0:
            return math.inf
        return self.scale * math.sqrt(self.degrees_of_freedom / (self.degrees_of_freedom - 2.0))

    def quantile(self, p: Num) -> Num:
        from scipy.special import stdtrit

        share = _shares(self, p)
        with np.errstate(invalid="ignore"):
            inner = self.centre + self.scale * stdtrit(self.degrees_of_freedom, share)
        return _plain(np.where(share <= 0.0, -np.inf, np.where(share >= 1.0, np.inf, inner)))

    def sample(self, generator: np.random.Generator, size: Any) -> Array:
        return np.asarray(self.centre + self.scale * generator.standard_t(self.degrees_of_freedom, size))


@dataclass(frozen=True)
class Lognormal:
    """A factor either way: half to double is a median with factor 2. Always positive."""

    median: float
    factor: float
    """exp of the standard deviation of the logarithm."""

    def __post_init__(self) -> None:
        _finite(self, median=self.median, factor=self.factor)
        _positive(self, "median")
        if not self.factor > 1.0:
            raise _refuse(self, "factor", self.factor, phrase("studies.distributions.must_be_above_2"))

    @property
    def mean(self) -> float:
        return self.median * math.exp(0.5 * math.log(self.factor) ** 2)

    @property
    def standard_deviation(self) -> float:
        return self.mean * math.sqrt(math.expm1(math.log(self.factor) ** 2))

    def quantile(self, p: Num) -> Num:
        return _plain(self.median * np.exp(math.log(self.factor) * score_at(_shares(self, p))))

    def sample(self, generator: np.random.Generator, size: Any) -> Array:
        return np.asarray(self.median * np.exp(math.log(self.factor) * generator.standard_normal(size)))


@dataclass(frozen=True)
class LogUniform:
    """Between two limits, with no decade likelier than another: a factor of which only the range is believed."""

    low: float
    high: float

    def __post_init__(self) -> None:
        _finite(self, low=self.low, high=self.high)
        _positive(self, "low")
        _rising(self)

    @property
    def mean(self) -> float:
        return (self.high - self.low) / math.log(self.high / self.low)

    @property
    def standard_deviation(self) -> float:
        square = (self.high**2 - self.low**2) / (2.0 * math.log(self.high / self.low))
        return math.sqrt(square - self.mean**2)

    def quantile(self, p: Num) -> Num:
        within = self.low * (self.high / self.low) ** _shares(self, p)
        return _plain(np.clip(within, self.low, self.high))

    def sample(self, generator: np.random.Generator, size: Any) -> Array:
        return np.asarray(self.quantile(generator.random(size)))


@dataclass(frozen=True)
class CurvilinearTrapezoid:
    """Between two limits that are themselves not exactly known, each to plus or minus `inexactness`."""

    low: float
    high: float
    inexactness: float

    def __post_init__(self) -> None:
        _finite(self, low=self.low, high=self.high, inexactness=self.inexactness)
        _rising(self)
        if not 0.0 < self.inexactness < self._half_width:
            bound = phrase("studies.distributions.must_lie_between_half_width", half_width=self._half_width)
            raise _refuse(self, "inexactness", self.inexactness, bound)

    @property
    def _half_width(self) -> float:
        return 0.5 * (self.high - self.low)

    @property
    def mean(self) -> float:
        return 0.5 * (self.low + self.high)

    @property
    def standard_deviation(self) -> float:
        return math.sqrt((self.high - self.low) ** 2 / 12.0 + self.inexactness**2 / 9.0)

    def share_below(self, value: Num) -> Num:
        """Probability of a value at most this large."""
        w, d = self._half_width, self.inexactness
        off = np.asarray(value, dtype=float) - self.mean
        t = np.minimum(np.abs(off), w + d)
        inner = t * math.log((w + d) / (w - d)) / (4.0 * d)
        outer = (t - w + d + t * np.log((w + d) / np.maximum(t, w - d))) / (4.0 * d)
        return _plain(0.5 + np.sign(off) * np.where(t <= w - d, inner, outer))

    def quantile(self, p: Num) -> Num:
        share = _shares(self, p)
        low = np.full(share.shape, self.low - self.inexactness)
        high = np.full(share.shape, self.high + self.inexactness)
        for _ in range(60):
            middle = 0.5 * (low + high)
            below = np.asarray(self.share_below(middle)) < share
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return _plain(0.5 * (low + high))

    def sample(self, generator: np.random.Generator, size: Any) -> Array:
        half = self._half_width + self.inexactness * generator.uniform(-1.0, 1.0, size)
        return np.asarray(self.mean + half * generator.uniform(-1.0, 1.0, size))


END_SCORE = 1.6448536269514722
"""Standard normal score of 95 %."""


@dataclass(frozen=True)
class TwoPiece:
    """A middle with its own 5 and 95 % ends: half a bell on each side, of the value or of its logarithm.

    `low` and `high` are the 5 and 95 % points, `middle` the median; one side may be nothing.
    Source: DERIVED. Status: derived.
    """

    low: float
    middle: float
    high: float
    by_factor: bool = False

    def __post_init__(self) -> None:
        _finite(self, low=self.low, middle=self.middle, high=self.high)
        if self.by_factor and not self.low > 0.0:
            raise _refuse(self, "low", self.low, phrase("studies.distributions.must_be_above"))
        if not (self.low <= self.middle <= self.high and self.low < self.high):
            bound = phrase("studies.distributions.must_lie_between", low=self.low, high=self.high)
            raise _refuse(self, "middle", self.middle, bound)

    @property
    def _sides(self) -> tuple[float, float]:
        """Spread of the value, or of its logarithm, below and above the middle."""
        if self.by_factor:
            return math.log(self.middle / self.low) / END_SCORE, math.log(self.high / self.middle) / END_SCORE
        return (self.middle - self.low) / END_SCORE, (self.high - self.middle) / END_SCORE

    def _power(self, k: int) -> float:
        """Mean of the k-th power, by factor."""
        below, above = self._sides
        halves = [math.exp(0.5 * (k * s) ** 2) * 0.5 * math.erfc(sign * k * s / math.sqrt(2.0))
                  for s, sign in ((below, 1.0), (above, -1.0))]  # fmt: skip
        return self.middle**k * sum(halves)

    @property
    def mean(self) -> float:
        if self.by_factor:
            return self._power(1)
        below, above = self._sides
        return self.middle + (above - below) / math.sqrt(2.0 * math.pi)

    @property
    def standard_deviation(self) -> float:
        if self.by_factor:
            return math.sqrt(max(self._power(2) - self._power(1) ** 2, 0.0))
        below, above = self._sides
        return math.sqrt(0.5 * (below**2 + above**2) - (above - below) ** 2 / (2.0 * math.pi))

    def quantile(self, p: Num) -> Num:
        score = score_at(_shares(self, p))
        below, above = self._sides
        with np.errstate(over="ignore", invalid="ignore"):
            move = np.where(score < 0.0, below * score if below else 0.0 * np.sign(score),
                            above * score if above else 0.0 * np.sign(score))  # fmt: skip
            return _plain(self.middle * np.exp(move) if self.by_factor else self.middle + move)

    def sample(self, generator: np.random.Generator, size: Any) -> Array:
        return np.asarray(self.quantile(generator.random(size)))
