"""How sure is a result: Monte Carlo over stated input uncertainties, and the first-order estimate beside it.

The interval holds for uncertain inputs only; the uncertainty of the model's form is not in it, and every report says
so beside it. Source: JCGM_100, JCGM_101. Status: from memory, checked against their printed examples.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from thinstock.errors import Fault, Refused
from thinstock.evidence.distributions import Distribution, Normal
from thinstock.evidence.inputs import Correlation, Drawer, Inputs, call, check_inputs, correlation_matrix, philox
from thinstock.formula.label import Array, Num
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase


class Known(Protocol):
    """Values by (stream, quantity) with their uncertainties, such as a reconciled survey."""

    @property
    def value(self) -> Mapping[tuple[str, str], float]: ...

    @property
    def standard_uncertainty(self) -> Mapping[tuple[str, str], float]: ...

    def covariance(self, keys: Iterable[tuple[str, str]]) -> Array:
        """Covariance of some of the values."""


DISAGREE = 0.1
"""First order and Monte Carlo further apart than this share is worth a note."""


@dataclass(frozen=True, kw_only=True)
class Propagated:
    """A result with its uncertainty."""

    mean: float
    standard_uncertainty: float
    symmetric: tuple[float, float]
    """Interval that leaves out equal shares on both sides."""
    shortest: tuple[float, float]
    """Shortest interval that holds the share."""
    draws: int
    first_order_value: float
    """The result at the means of the inputs."""
    first_order_uncertainty: float
    """By slopes alone; nan where an input has no finite spread."""
    settled: bool
    """False: the most draws were reached before the digits stood firm."""
    share: float = 0.95
    seed: int = 0

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader should know of it."""
        found = []
        if not self.settled:
            found.append(phrase("studies.propagate.after_draws_digits_do_not", draws=self.draws))
        if abs(self.first_order_uncertainty - self.standard_uncertainty) > DISAGREE * self.standard_uncertainty:
            found.append(phrase("studies.propagate.first_order_monte_carlo_disagree"))
        return (*found, phrase("studies.propagate.uncertainty_model_s_form_not"))


def _sorted(sample: Num, share: float) -> tuple[Any, int]:
    if not 0.0 < share < 1.0:
        raise Refused(fault_in("studies.propagate.share", "share", str(share)))
    ordered = np.sort(np.asarray(sample, dtype=float).ravel())
    inside = math.floor(share * ordered.size + 0.5)
    if not 1 <= inside < ordered.size:
        raise Refused(fault_in("studies.propagate.sample", "sample", size=ordered.size, share=f"{share:g}"))
    return ordered, inside


def interval_symmetric(sample: Num, share: float) -> tuple[float, float]:
    """The interval that holds a share of the sample and leaves out equal parts below and above.

    q = share * M rounded, r = (M - q)/2 rounded up: from the r-th to the (r + q)-th smallest.
    Source: JCGM_101, 7.7. Status: from memory.
    """
    ordered, inside = _sorted(sample, share)
    first = math.ceil((ordered.size - inside) / 2)
    return float(ordered[first - 1]), float(ordered[first + inside - 1])


def interval_shortest(sample: Num, share: float) -> tuple[float, float]:
    """The shortest interval that holds a share of the sample.

    Source: JCGM_101, 7.7. Status: from memory.
    """
    ordered, inside = _sorted(sample, share)
    width = ordered[inside:] - ordered[: ordered.size - inside]
    first = int(np.argmin(width))
    return float(ordered[first]), float(ordered[first + inside])


def first_order(
    function: Callable[..., Any], inputs: Inputs, correlation: Correlation | None = None
) -> tuple[float, float]:
    """(Value at the means, standard uncertainty by slopes): u^2 = c R c with c_i = [f(x + u_i) - f(x - u_i)]/2.

    Refused for an input without a finite spread (Student below 3 degrees of freedom).
    Source: JCGM_100, 5.1.3 and 5.2.2. Status: from memory.
    """
    check_inputs(inputs, correlation)
    for name, distribution in inputs.items():
        if not math.isfinite(distribution.standard_deviation):
            raise Refused(fault_in("studies.propagate.has_no_finite_spread", str(name), str(distribution)))
    names = tuple(inputs)
    count = len(names)
    at = {name: np.full(2 * count + 1, float(inputs[name].mean)) for name in names}
    for i, name in enumerate(names):
        at[name][1 + 2 * i] += inputs[name].standard_deviation
        at[name][2 + 2 * i] -= inputs[name].standard_deviation
    answer = call(function, at, 2 * count + 1)
    slope = 0.5 * (answer[1::2] - answer[2::2])
    variance = slope @ correlation_matrix(names, correlation) @ slope
    return float(answer[0]), math.sqrt(max(float(variance), 0.0))


def propagate(
    function: Callable[..., Any],
    inputs: Inputs,
    *,
    seed: int,
    draws: int | None = None,
    share: float = 0.95,
    digits: int = 2,
    correlation: Correlation | None = None,
    batch: int = 10_000,
    most: int = 5_000_000,
) -> Propagated:
    """Distribution of function(**inputs) by Monte Carlo.

    The function takes each input by name as an array. With `draws` given, so many; else batches are drawn until
    twice the standard error of mean, uncertainty and both ends is below half a unit of the last of `digits`
    significant digits of the uncertainty. `correlation` {(a, b): r} joins inputs by a Gaussian copula.
    Source: JCGM_101, 7.9. Status: from memory.
    """
    drawer = Drawer(inputs, correlation)
    if draws is not None:
        sample = _draw(function, drawer, philox(seed), draws, batch)
        settled = True
    else:
        sample, settled = _adaptive(function, drawer, seed, share, digits, batch, most)
    try:
        value, slope = first_order(function, inputs, correlation)
    except Refused:
        value, slope = math.nan, math.nan
    return Propagated(
        mean=float(sample.mean()),
        standard_uncertainty=float(sample.std(ddof=1)),
        symmetric=interval_symmetric(sample, share),
        shortest=interval_shortest(sample, share),
        draws=sample.size,
        first_order_value=value,
        first_order_uncertainty=slope,
        settled=settled,
        share=share,
        seed=seed,
    )


def _draw(function: Any, drawer: Drawer, generator: np.random.Generator, draws: int, batch: int) -> Any:
    if draws < 2:
        raise Refused(fault_in("studies.propagate.draws", "draws", str(draws)))
    parts = []
    for start in range(0, draws, batch):
        size = min(batch, draws - start)
        parts.append(call(function, drawer.draw(generator, size), size))
    return np.concatenate(parts)


def _adaptive(
    function: Any, drawer: Drawer, seed: int, share: float, digits: int, batch: int, most: int
) -> tuple[Any, bool]:
    """Batches until four numbers stand firm."""
    if digits < 1 or batch < 100 or most < 2 * batch:
        value = phrase("studies.propagate.digits_batch_most", digits=digits, batch=batch, most=most)
        raise Refused(fault_in("studies.propagate.propagate", "propagate", value))
    generator = philox(seed)
    parts: list[Any] = []
    rows: list[tuple[float, ...]] = []
    while len(parts) * batch + batch <= most:
        part = call(function, drawer.draw(generator, batch), batch)
        parts.append(part)
        rows.append((part.mean(), part.std(ddof=1), *interval_symmetric(part, share)))
        if len(parts) > 1 and _firm(np.array(rows), digits):
            return np.concatenate(parts), True
    return np.concatenate(parts), False


def _firm(rows: Any, digits: int) -> bool:
    """Whether twice the standard error of each mean over batches is below half a unit of the last digit."""
    spread = math.sqrt(float(np.mean(rows[:, 1] ** 2)))
    error = 2.0 * rows.std(axis=0, ddof=1) / math.sqrt(len(rows))
    return bool(np.all(error <= _tolerance(spread, digits)))


def _tolerance(spread: float, digits: int) -> float:
    """Half of 10**l where the uncertainty is written as a whole number of `digits` digits times 10**l."""
    if spread == 0.0:
        return 0.0
    text = f"{spread:.{digits - 1}e}"
    return 0.5 * 10.0 ** (int(text.partition("e")[2]) - digits + 1)


def inputs_from_reconciliation(
    reconciliation: Known, keys: Iterable[tuple[str, str]] | Mapping[str, tuple[str, str]]
) -> tuple[dict[str, Distribution], dict[tuple[str, str], float]]:
    """Inputs and correlation of reconciled values, so that they are never drawn as if independent.

    `keys` are (stream, quantity); the inputs are then named stream_quantity with marks as underscores
    ("jet_flow", "jet_consistency_fines"), or a mapping gives names of your own.
    Source: JCGM_101. Status: from memory.
    """
    named = dict(keys) if isinstance(keys, Mapping) else {_name(key): key for key in keys}
    unknown = [key for key in named.values() if key not in reconciliation.value]
    blind = [
        k for k in named.values() if k not in unknown and not math.isfinite(reconciliation.standard_uncertainty[k])
    ]
    for bad, bound in (
        (unknown, phrase("studies.propagate.no_reconciled_value")),
        (blind, phrase("studies.propagate.cannot_be_observed")),
    ):
        if bad:
            raise Refused(Fault(field="keys", value=" ".join(bad[0]), bound=bound))
    covariance = reconciliation.covariance(named.values())
    spread = np.sqrt(np.diag(covariance))
    fixed = np.flatnonzero(spread == 0.0)
    if fixed.size:
        raise Refused(fault_in("studies.propagate.keys", "keys", list(named)[int(fixed[0])]))
    inputs: dict[str, Distribution] = {
        name: Normal(reconciliation.value[key], float(u)) for (name, key), u in zip(named.items(), spread, strict=True)
    }
    names = list(named)
    correlation = {
        (names[i], names[j]): float(np.clip(covariance[i, j] / (spread[i] * spread[j]), -1.0, 1.0))
        for i in range(len(names))
        for j in range(i + 1, len(names))
    }
    return inputs, correlation


def _name(key: tuple[str, str]) -> str:
    return "_".join(key).replace(":", "_").replace(" ", "_").replace("-", "_")
