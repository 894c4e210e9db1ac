"""Named inputs: checked, correlated, and drawn together.

Correlated inputs are joined by a Gaussian copula: each keeps its own distribution, and their normal scores have the
stated correlation.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.evidence.distributions import Distribution, Normal
from thinstock.formula.bell import below
from thinstock.formula.label import Array
from thinstock.words.fault import fault_in

Inputs = Mapping[str, Distribution]
Correlation = Mapping[tuple[str, str], float]


def check_inputs(inputs: Inputs, correlation: Correlation | None = None) -> None:
    """Refuse no inputs, names nobody gave, and correlations that cannot be."""
    faults = []
    if not inputs:
        faults.append(fault_in("studies.inputs.inputs", "inputs"))
    for (a, b), r in (correlation or {}).items():
        for name in (a, b):
            if name not in inputs:
                faults.append(
                    fault_in("studies.inputs.no_input", "correlation", str(name), map=", ".join(map(str, inputs)))
                )
        if a == b or not -1.0 <= r <= 1.0:
            faults.append(fault_in("studies.inputs.must_lie_between", f"correlation of {a} and {b}", str(r)))
    if faults:
        raise Refused(faults)
    matrix = correlation_matrix(tuple(inputs), correlation)
    if correlation and np.linalg.eigvalsh(matrix)[0] < -1e-10:
        pairs = ", ".join(f"{a}-{b} {r:g}" for (a, b), r in correlation.items())
        raise Refused(fault_in("studies.inputs.correlation", "correlation", pairs))


def correlation_matrix(names: tuple[str, ...], correlation: Correlation | None) -> Array:
    """The matrix of stated correlations in the order of names."""
    matrix = np.eye(len(names))
    place = {name: i for i, name in enumerate(names)}
    for (a, b), r in (correlation or {}).items():
        matrix[place[a], place[b]] = matrix[place[b], place[a]] = r
    return matrix


class Drawer:
    """Draws all inputs together, as often as wanted."""

    def __init__(self, inputs: Inputs, correlation: Correlation | None) -> None:
        check_inputs(inputs, correlation)
        self.inputs = dict(inputs)
        linked = {name for pair, r in (correlation or {}).items() if r != 0.0 for name in pair}
        self.linked = tuple(name for name in inputs if name in linked)
        if self.linked:
            kept = {pair: r for pair, r in (correlation or {}).items() if r != 0.0}
            size, direction = np.linalg.eigh(correlation_matrix(self.linked, kept))
            self.root: Array = direction * np.sqrt(np.maximum(size, 0.0))

    def draw(self, generator: np.random.Generator, size: int) -> dict[str, Array]:
        """`size` values of every input."""
        drawn: dict[str, Array] = {}
        if self.linked:
            score = generator.standard_normal((size, len(self.linked))) @ self.root.T
            for i, name in enumerate(self.linked):
                drawn[name] = _from_score(self.inputs[name], score[:, i])
        return {
            name: drawn[name] if name in drawn else distribution.sample(generator, size)
            for name, distribution in self.inputs.items()
        }


def _from_score(distribution: Distribution, score: Array) -> Array:
    if isinstance(distribution, Normal):
        return distribution.centre + distribution.spread * score
    return np.asarray(distribution.quantile(below(score)))


def call(function: Any, values: Mapping[str, Any], size: int, *, allowed: float = 0.0) -> Array:
    """The function's answers as `size` numbers; refused where more than the `allowed` share of them are none."""
    return answers(function(**values), values, size, allowed=allowed)


def answers(answer: Any, values: Mapping[str, Any], size: int, *, allowed: float = 0.0) -> Array:
    """What a function of these values said as `size` numbers, refused as by `call`."""
    said = np.asarray(answer, dtype=float)
    if said.shape not in ((), (size,)):
        raise Refused(fault_in("studies.inputs.function", "function", str(said.shape), size=size))
    said = np.broadcast_to(said, (size,))
    bad = int(np.sum(~np.isfinite(said)))
    if bad > allowed * size:
        i = int(np.flatnonzero(~np.isfinite(said))[0])
        case = ", ".join(f"{k} = {np.broadcast_to(v, (size,))[i]:.6g}" for k, v in values.items())
        raise Refused(fault_in("studies.inputs.give_no_number", "function", f"{bad} of {size} cases", case=case))
    return said


def philox(seed: int, stream: int = 0) -> np.random.Generator:
    """A generator that is a pure function of (seed, stream)."""
    if not 0 <= seed < 2**64:
        raise Refused(fault_in("studies.inputs.seed", "seed", str(seed)))
    return np.random.Generator(np.random.Philox(key=np.array([seed, stream], dtype=np.uint64)))
