"""What is believed of a machine's uncertain inputs: a distribution for each, within what its field allows.

Bell-shaped where the uncertainty is small, a factor either way where a strictly positive value is uncertain by more
than a fifth, both cut off at what is possible and at a limit somebody entered. What the run itself finds (hood
temperature while it holds the dryness, say) is no input.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.evidence.beliefs import Within, belief, distribution
from thinstock.evidence.distributions import Distribution, Normal
from thinstock.evidence.uncertain import UncertainInput, between, uncertain_inputs
from thinstock.formula.bell import score_at
from thinstock.formula.label import Array, Num
from thinstock.machine.holders import HOLDERS
from thinstock.machine.line import Machine
from thinstock.words.fault import fault_in
from thinstock.words.quantity import Q

WIDE = 0.2
"""Relative standard uncertainty from which a strictly positive value is uncertain by a factor."""


@dataclass(frozen=True)
class Bounded:
    """A bell, of the value or of its logarithm, cut off at both ends."""

    centre: float
    """Of the value, or of its logarithm."""
    spread: float
    low: float
    high: float
    by_factor: bool = False

    def __post_init__(self) -> None:
        numbers = {"centre": self.centre, "spread": self.spread}
        faults = [
            fault_in("studies.machine_inputs.must_be_number", f"Bounded.{name}", str(value))
            for name, value in numbers.items()
            if not math.isfinite(value)
        ]
        if not self.spread > 0:
            faults.append(fault_in("studies.machine_inputs.spread", "Bounded.spread", str(self.spread)))
        if not self.low < self.high:
            faults.append(fault_in("studies.machine_inputs.low", "Bounded.low", str(self.low), high=self.high))
        if not faults and not self._top > self._bottom:
            faults.append(fault_in("studies.machine_inputs.centre", "Bounded.centre", str(self.centre)))
        if faults:
            raise Refused(faults)

    def _score(self, value: float) -> float:
        if self.by_factor:
            value = -math.inf if value <= 0 else math.log(value) if value < math.inf else math.inf
        return (value - self.centre) / self.spread

    @property
    def _bottom(self) -> float:
        return _below(self._score(self.low))

    @property
    def _top(self) -> float:
        return _below(self._score(self.high))

    @property
    def mean(self) -> float:
        return self._moments[0]

    @property
    def standard_deviation(self) -> float:
        return self._moments[1]

    @property
    def _moments(self) -> tuple[float, float]:
        """Mean and standard deviation: moments of a cut bell, or of a cut bell of the logarithm."""
        a, b, whole = self._score(self.low), self._score(self.high), self._top - self._bottom
        if not self.by_factor:
            ends = [0.0 if math.isinf(z) else z * _density(z) for z in (a, b)]
            shift = (_density(a) - _density(b)) / whole
            square = 1.0 + (ends[0] - ends[1]) / whole - shift**2
            return self.centre + self.spread * shift, self.spread * math.sqrt(max(square, 0.0))
        first, second = (
            math.exp(k * self.centre + 0.5 * (k * self.spread) ** 2)
            * (_below(b - k * self.spread) - _below(a - k * self.spread))
            / whole
            for k in (1, 2)
        )
        return first, math.sqrt(max(second - first**2, 0.0))

    def quantile(self, p: Num) -> Num:
        share = np.asarray(p, dtype=float)
        if not np.all((share >= 0.0) & (share <= 1.0)):
            raise Refused(fault_in("studies.machine_inputs.quantile", "Bounded.quantile", str(p)))
        bottom, top = self._bottom, self._top
        with np.errstate(over="ignore"):
            value = self.centre + self.spread * score_at(bottom + share * (top - bottom))
            value = np.exp(value) if self.by_factor else value
        value = np.clip(value, self.low, self.high)
        return value if np.ndim(p) else float(value)

    def sample(self, generator: np.random.Generator, size: Any) -> Array:
        return np.asarray(self.quantile(generator.random(size)))


def _below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def _density(z: float) -> float:
    return math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)


def held_addresses(machine: Machine) -> tuple[str, ...]:
    """Values the run finds by itself."""
    return HOLDERS[machine.hold_reel_dryness_by].addresses


def uncertain(machine: Machine) -> tuple[UncertainInput, ...]:
    """The uncertain inputs without those the run finds."""
    return tuple(one for one in uncertain_inputs(machine) if one.address not in held_addresses(machine))


def bounds(machine: Machine, address: str) -> tuple[float, float]:
    """What a value may be: the field's possible range and the limit that was entered for it."""
    about = machine.declaration(address).about
    assert isinstance(about, Q)
    low, high = about.possible
    limit = limit_of(machine, address)
    return low, high if limit is None else min(high, limit)


def limit_of(machine: Machine, address: str) -> float | None:
    """The limit entered for a value, if there is one."""
    owner, _, last = address.rpartition(".")
    limit = getattr(machine.get(owner) if owner else machine, f"{last}_limit", None)
    return None if limit is None else float(limit)


def distribution_of(machine: Machine, one: UncertainInput) -> Distribution:
    """What is believed of one input."""
    low, high = bounds(machine, one.address)
    about = machine.declaration(one.address).about
    assert isinstance(about, Q)
    row = belief(about)
    given = machine.given.get(one.address)
    if given is not None and given.ends is not None:
        wide = low > 0.0 and given.ends[0] > 0.0 and one.standard_uncertainty > WIDE * abs(one.value)
        return Within(between(one.value, given.ends, hard=given.hard, by_factor=wide), low, high)
    if one.status != "the file" and row is not None:
        found = distribution(row, one.value, untouched=_untouched(machine, one))
        if isinstance(found, Normal):
            return _bell(one, about, low, high)
        if found is not None:
            return Within(found, low, high)
    return _bell(one, about, low, high)


def _bell(one: UncertainInput, about: Q, low: float, high: float) -> Bounded:
    """A bell of the value, or of its logarithm where a positive value is uncertain by much."""
    relative = one.standard_uncertainty / abs(one.value) if one.value else math.inf
    if about.possible[0] > 0 and relative > WIDE:
        spread = math.sqrt(math.log1p(relative**2))
        return Bounded(math.log(one.value) - 0.5 * spread**2, spread, low, high, True)
    return Bounded(one.value, one.standard_uncertainty, low, high)


def _untouched(machine: Machine, one: UncertainInput) -> bool:
    """True where nobody read or fitted the value, or said another than the default."""
    given = machine.given.get(one.address)
    default = machine.declaration(one.address).default
    return one.value == default and (given is None or given.status not in ("measured", "calibrated"))


def input_distributions(machine: Machine) -> dict[str, Distribution]:
    """Every uncertain input by its address."""
    return {one.address: distribution_of(machine, one) for one in uncertain(machine)}


@dataclass(frozen=True, kw_only=True)
class Joined:
    """Inputs of two machines drawn together: what both have alike is drawn once."""

    inputs: Mapping[str, Distribution]
    before: Mapping[str, str]
    """Address on the machine before -> name of the input."""
    after: Mapping[str, str]

    def side(self, drawn: Mapping[str, Any], which: str) -> dict[str, Any]:
        """The drawn values by the addresses of one side."""
        return {where: drawn[name] for where, name in getattr(self, which).items()}


def joined(before: Machine, after: Machine) -> Joined:
    """The inputs of two machines. One is common where value and uncertainty are the same on both.

    The others are named `before: address` and `after: address` and are independent of each other.
    """
    a, b = ({one.address: one for one in uncertain(m)} for m in (before, after))
    inputs: dict[str, Distribution] = {}
    names: dict[str, dict[str, str]] = {"before": {}, "after": {}}
    for where in {**a, **b}:
        one, other = a.get(where), b.get(where)
        if one is not None and other is not None and _alike(one, other):
            low_a, high_a = bounds(before, where)
            low_b, high_b = bounds(after, where)
            common = distribution_of(before, one)
            low, high = max(low_a, low_b), min(high_a, high_b)
            if isinstance(common, Bounded):
                common = Bounded(common.centre, common.spread, low, high, common.by_factor)
            inputs[where] = common
            names["before"][where] = names["after"][where] = where
            continue
        for side, machine, mine in (("before", before, one), ("after", after, other)):
            if mine is not None:
                inputs[f"{side}: {where}"] = distribution_of(machine, mine)
                names[side][where] = f"{side}: {where}"
    return Joined(inputs=inputs, before=names["before"], after=names["after"])


def _alike(one: UncertainInput, other: UncertainInput) -> bool:
    return one.value == other.value and one.standard_uncertainty == other.standard_uncertainty
