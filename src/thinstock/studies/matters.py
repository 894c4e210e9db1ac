"""Which input is worth measuring better: shares of a result's variance, and what one input alone does to it.

Shares are Sobol indices over the uncertain inputs, which must be independent; the plain picture beside them moves one
input at a time from its 5 % to its 95 % point. Both say what the models make of the inputs, not whether they are right.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.evidence.apply import columns, population
from thinstock.evidence.cases import Cases, run_cases
from thinstock.evidence.coupling import anchored, coupled, rewet_address
from thinstock.evidence.inputs import Correlation
from thinstock.evidence.links import groups_of
from thinstock.evidence.machine_inputs import distribution_of, uncertain
from thinstock.evidence.outputs import checked, label, numbers
from thinstock.evidence.population import AS_BELIEVED, DRAWS, Population
from thinstock.evidence.uncertain import UncertainInput
from thinstock.formula.label import Array
from thinstock.machine.line import Machine
from thinstock.machine.result import Result
from thinstock.studies.bands import share_by
from thinstock.studies.knowing import regressed
from thinstock.studies.sobol import design_of, indices_of
from thinstock.studies.tornado import end_points, ends_of
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

ASKED = (
    "flow_per_width",
    "end_of_forming",
    "dryness_press",
    "air_temperature",
    "steam_per_product",
    "gas_per_product",
    "electricity_per_product",
)
"""Results looked at where none are named."""
LOW, HIGH = 0.05, 0.95
BASE = 512
SMALL = 0.02
TIED, MOST_TIED = 0.5, 4
"""Correlation above which two inputs count as one row, and of how many of the weightiest that is told."""
FEWEST = 100
"""Share of the variance below which an input is not worth a word."""


@dataclass(frozen=True, kw_only=True)
class Mover:
    """One input and what it does to one result."""

    input: UncertainInput
    first: float
    """Share of the variance that goes away if this input alone were known."""
    total: float
    """Share that stays if all others were known."""
    low: float
    high: float
    """The result with this input at its 5 % and its 95 % point, the others at their median."""


@dataclass(frozen=True, kw_only=True)
class Matter:
    """One result: its spread, and its inputs by weight."""

    name: str
    value: float
    mean: float
    standard_deviation: float
    movers: tuple[Mover, ...]
    """The weightiest first."""
    together: float
    """Share of the variance that belongs to no input alone (they act together); a little below 0 is sampling."""
    why_not: str = ""
    """Why there are no shares."""
    tied: tuple[str, ...] = ()
    """Inputs that hang together, with their common share."""

    @property
    def advice(self) -> str:
        """What to measure better first."""
        worth = [m for m in self.movers if m.first >= SMALL]
        if not worth:
            return self.why_not or phrase("studies.matters.no_single_input_stands_out")
        first = worth[0]
        text = phrase(
            "studies.matters.measure_better_first_variance_its",
            address=first.input.address,
            value=f"{100 * first.first:.0f}",
        )
        if len(worth) > 1:
            rest = ", ".join(f"{m.input.address} ({100 * m.first:.0f} %)" for m in worth[1:4])
            text += f"; then {rest}"
        return "; ".join((text, *self.tied))


SET_ASIDE = 0.05
"""Most of the evaluations of a run that may give no sheet before the shares are refused."""


@dataclass(frozen=True, kw_only=True)
class Matters:
    """What matters for the results asked about."""

    rows: tuple[Matter, ...]
    evaluations: int
    base: int
    seed: int
    inputs: int
    too_wet: int
    """Of the evaluations: those that what holds the dryness could not dry."""
    set_aside: int = 0
    """Base points left out because a machine of theirs formed no sheet."""
    origin: str = AS_BELIEVED
    """Of the population; shares of one that was read or runs are by its draws."""

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader must know."""
        found = []
        if self.too_wet:
            found.append(
                phrase(
                    "studies.matters.in_evaluations_sheet_cannot_be", too_wet=self.too_wet, evaluations=self.evaluations
                )
            )
        if self.set_aside:
            found.append(
                phrase("studies.matters.base_points_set_aside_machine", set_aside=self.set_aside, base=self.base)
            )
        if self.origin != AS_BELIEVED:
            found.append(phrase("studies.matters.by_draws", origin=self.origin))
        found.append(phrase("studies.matters.shares_inputs_uncertainty_uncertainty_models"))
        return tuple(found)


def matters(
    machine: Machine,
    names: Iterable[str] | None = None,
    *,
    base: int = BASE,
    seed: int = 1,
    correlation: Correlation | None = None,
) -> Matters:
    """What moves each result most. Correlated inputs are refused: their shares cannot be told apart."""
    result = machine.run()
    wanted = _wanted(result, names)
    known = {one.address: one for one in uncertain(machine)}
    if not known:
        raise Refused(fault_in("studies.matters.machine", "machine"))
    inputs: dict[str, Any] = {where: distribution_of(machine, one) for where, one in known.items()}
    drawn = population(machine, draws=DRAWS, seed=seed)
    if drawn.origin != AS_BELIEVED or len(groups_of(machine)) > 1:
        return _by_draws(machine, result, drawn, wanted, seed)
    design = design_of(inputs, base=base, seed=seed, correlation=correlation)
    at = end_points(inputs, low=LOW, high=HIGH)
    both = {where: np.concatenate([column, at[where]]) for where, column in design.columns.items()}
    cases = _cases(machine, both, wanted)
    points, outer = cases.take(slice(0, len(design))), cases.take(slice(len(design), None))
    ends = {name: _ends(outer[name], at) for name in wanted}
    rows = []
    evaluations = set_aside = 0
    for name in wanted:
        value = float(result.values[name])
        try:
            found = indices_of(design, points[name], allowed=SET_ASIDE)
        except Refused as refused:
            rows.append(_without(name, value, known, ends[name], refused))
            continue
        evaluations = found.evaluations
        set_aside = max(set_aside, found.set_aside)
        movers = sorted(
            (
                Mover(input=known[w], first=found.first[w], total=found.total[w], low=ends[name][w][0],
                      high=ends[name][w][1])
                for w in inputs
            ),
            key=lambda m: -m.first,
        )  # fmt: skip
        rows.append(
            Matter(name=name, value=value, mean=found.mean, standard_deviation=float(np.sqrt(found.variance)),
                   movers=tuple(movers), together=1.0 - sum(found.first.values()))
        )  # fmt: skip
    wet = int(np.sum(points.flags["formed"] & ~points.flags["reached"]))
    return Matters(rows=tuple(rows), evaluations=evaluations, base=base, seed=seed, inputs=len(inputs), too_wet=wet,
                   set_aside=set_aside)  # fmt: skip


def _by_draws(machine: Machine, result: Result, drawn: Population, names: tuple[str, ...], seed: int) -> Matters:
    """Shares by what the draws say of each input with all that is tied to it; they do not add up."""
    cases = run_cases(machine, columns(drawn, machine), names)
    rows = []
    for name in names:
        good = np.isfinite(cases[name])
        sample, scores = cases[name][good], drawn.scores[good]
        value = float(result.values[name])
        if good.sum() < FEWEST or not sample.std() > 1e-9 * max(abs(value), 1e-300):
            continue
        movers = [_drawn_mover(machine, drawn, sample, scores, k) for k in range(len(drawn.addresses))]
        movers.sort(key=lambda m: -m.first)
        weighty = [m for m in movers if m.first >= SMALL]
        rows.append(
            Matter(name=name, value=value, mean=float(sample.mean()), standard_deviation=float(sample.std(ddof=1)),
                   movers=tuple(movers), together=0.0, tied=_tied(drawn, sample, scores, weighty))
        )  # fmt: skip
    wet = int(np.sum(cases.flags["formed"] & ~cases.flags["reached"]))
    return Matters(rows=tuple(rows), evaluations=len(cases), base=0, seed=seed, inputs=len(drawn.addresses),
                   too_wet=wet, origin=drawn.origin)  # fmt: skip


def _drawn_mover(machine: Machine, drawn: Population, sample: Array, scores: Array, k: int) -> Mover:
    """One input: what knowing it exactly would take away, and the result at its 5 and 95 % point, others tied."""
    address = drawn.addresses[k]
    score = scores[:, [k]]
    said = regressed(sample, score, 3)
    order = np.argsort(score[:, 0])
    low, high = (float(said[order[int(p * (len(order) - 1))]]) for p in (LOW, HIGH))
    value = float("nan") if address.startswith("response.") else float(machine.get(address))
    known = UncertainInput(address=address, value=value, standard_uncertainty=float(score.std()), status=drawn.origin)
    return Mover(input=known, first=share_by(sample, score), total=float("nan"), low=low, high=high)


def _tied(drawn: Population, sample: Array, scores: Array, weighty: Sequence[Mover]) -> tuple[str, ...]:
    """Inputs that hang together so much that they count as one row, with the share of both."""
    places = {address: k for k, address in enumerate(drawn.addresses)}
    found = []
    matrix = np.atleast_2d(np.corrcoef(scores, rowvar=False))
    for mover in weighty[:MOST_TIED]:
        k = places[mover.input.address]
        for other in np.flatnonzero(np.abs(matrix[k]) > TIED):
            if other != k:
                share = share_by(sample, scores[:, [k, int(other)]])
                names = tuple(sorted((mover.input.address, drawn.addresses[int(other)])))
                found.append(phrase("studies.matters.tied", a=names[0], b=names[1], share=f"{100 * share:.0f}"))
    return tuple(dict.fromkeys(found))


def _wanted(result: Result, names: Iterable[str] | None) -> tuple[str, ...]:
    known = numbers(result)
    if names is None:
        return tuple(n for n in ASKED if n in known)
    found = checked(result, names)
    unfit = [n for n in found if n not in known]
    if unfit:
        raise Refused([fault_in("studies.matters.no_named_number_run", n) for n in unfit])
    return found


def _without(name: str, value: float, known: Mapping[str, Any], ends: Mapping[str, Any], refused: Refused) -> Matter:
    """A result without shares, and why."""
    fault = refused.faults[0]
    movers = tuple(
        Mover(input=known[w], first=float("nan"), total=float("nan"), low=low, high=high)
        for w, (low, high) in ends.items()
    )
    why = (
        phrase("studies.matters.no_shares", label=label(name), value=fault.value, bound=fault.bound)
        .replace("  ", " ")
        .strip()
    )
    nan = float("nan")
    return Matter(name=name, value=value, mean=nan, standard_deviation=nan, movers=movers, together=nan, why_not=why)


def _ends(answer: Array, at: Mapping[str, Array]) -> dict[str, tuple[float, float]]:
    """A result with each input at its low and its high end; not a number where any of them gives none."""
    if not np.all(np.isfinite(answer)):
        return {where: (float("nan"), float("nan")) for where in at}
    return ends_of(tuple(at), answer)


def _cases(machine: Machine, values: Mapping[str, Array], names: tuple[str, ...]) -> Cases:
    """The machine at all points, for all results at once."""
    if anchored(machine):
        values = coupled(machine, values, float(machine.get(rewet_address(machine))))
    return run_cases(machine, values, names)
