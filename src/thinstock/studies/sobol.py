"""Which input matters: shares of the result's variance, each input alone and with all its interactions.

Works for independent inputs only; correlated ones belong into one group that is varied together.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.errors import Fault, Refused
from thinstock.evidence.inputs import Correlation, Inputs, answers, check_inputs
from thinstock.formula.label import Array
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase


@dataclass(frozen=True, kw_only=True)
class Sobol:
    """Shares of variance by input."""

    first: dict[str, float]
    """Share that goes away if that input alone were known."""
    total: dict[str, float]
    """Share that stays if all others were known."""
    mean: float
    variance: float
    evaluations: int
    set_aside: int = 0
    """Base points left out because an evaluation of theirs gave no number."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Design:
    """Points to evaluate for the indices: those of two halves, then those of the first with one input of the second."""

    names: tuple[str, ...]
    base: int
    columns: dict[str, Array]
    """(inputs + 2) * base values of each input."""

    def run(self, number: int) -> slice:
        """The points of one half, or of one mixed run."""
        return slice(number * self.base, (number + 1) * self.base)

    def __len__(self) -> int:
        return (len(self.names) + 2) * self.base


TOGETHER = 65_536
"""Most evaluations asked for at once."""


def sobol_indices(
    function: Callable[..., Any],
    inputs: Inputs,
    *,
    base: int,
    seed: int,
    correlation: Correlation | None = None,
    allowed: float = 0.0,
) -> Sobol:
    """First-order and total indices from scrambled Sobol points; (inputs + 2) * base evaluations.

    first: mean[(f_B - mu)(f_ABi - f_A)]/V; total: mean[(f_A - f_ABi)^2]/(2 V). `base` is a power of two.
    `allowed`: share of each run of evaluations that may give no number; their base points are then set aside
    whole and counted, and the indices are those of the inputs for which there is a number.
    Source: SALTELLI_2010, JANSEN_1999. Status: from memory, checked on a function with exact indices.
    """
    design = design_of(inputs, base=base, seed=seed, correlation=correlation)
    step = max(1, TOGETHER // base) * base
    found = []
    for first in range(0, len(design), step):
        part = {name: column[first : first + step] for name, column in design.columns.items()}
        found.append(answers(function(**part), part, min(step, len(design) - first), allowed=1.0))
    return indices_of(design, np.concatenate(found), allowed=allowed)


def design_of(inputs: Inputs, *, base: int, seed: int, correlation: Correlation | None = None) -> Design:
    """The points of `sobol_indices`."""
    check_inputs(inputs, correlation)
    if correlation and any(correlation.values()):
        pairs = ", ".join(f"{a}-{b}" for (a, b), r in correlation.items() if r)
        remedy = phrase("studies.sobol.put_them_into_one_group")
        raise Refused(
            Fault(
                field="correlation",
                value=pairs,
                bound=phrase("studies.sobol.indices_need_independent_inputs"),
                remedy=remedy,
            )
        )
    if base < 2 or base & (base - 1):
        remedy = f"Nearest: {1 << max(base - 1, 1).bit_length()}."
        raise Refused(
            Fault(field="base", value=str(base), bound=phrase("studies.sobol.must_be_power_two"), remedy=remedy)
        )
    names = tuple(inputs)
    columns = {}
    for i, (name, a, b) in enumerate(zip(names, *(half.T for half in _points(len(names), base, seed)), strict=True)):
        first, second = (np.asarray(inputs[name].quantile(half), dtype=float) for half in (a, b))
        columns[name] = np.concatenate([first, second, np.tile(first, len(names))])
        columns[name][(i + 2) * base : (i + 3) * base] = second
    return Design(names=names, base=base, columns=columns)


def indices_of(design: Design, answer: Array, *, allowed: float = 0.0) -> Sobol:
    """The indices from what was evaluated at the points of a design."""
    runs = []
    for number in range(len(design.names) + 2):
        rows = design.run(number)
        part = {name: column[rows] for name, column in design.columns.items()}
        runs.append(answers(answer[rows], part, design.base, allowed=allowed))
    kept = np.all(np.isfinite(runs), axis=0)
    f_a, f_b, *mixed = (run[kept] for run in runs)
    both = np.concatenate([f_a, f_b])
    mean, variance = float(both.mean()), float(both.var())
    if variance == 0.0:
        raise Refused(fault_in("studies.sobol.function", "function"))
    first, total = {}, {}
    for name, f_i in zip(design.names, mixed, strict=True):
        first[name] = float(np.mean((f_b - mean) * (f_i - f_a)) / variance)
        total[name] = float(0.5 * np.mean((f_a - f_i) ** 2) / variance)
    return Sobol(first=first, total=total, mean=mean, variance=variance, evaluations=len(design),
                 set_aside=int(np.sum(~kept)))  # fmt: skip


def _points(count: int, base: int, seed: int) -> tuple[Array, Array]:
    from scipy.stats import qmc

    points = qmc.Sobol(
        2 * count, scramble=True, rng=np.random.default_rng(np.random.Philox(seed)), bits=53
    ).random_base2(base.bit_length() - 1)
    points = np.clip(points, 2.0**-54, 1.0 - 2.0**-53)
    return points[:, :count], points[:, count:]
