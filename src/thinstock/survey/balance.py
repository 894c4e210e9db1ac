"""A survey on its network: the readings reconciled until flow and every component close at every node.

It turns readings of totals, shares and solids into variables tied to flows and component consistencies, and hands the
whole to the bilinear solver. Values come back by (stream, quantity).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.label import Array
from thinstock.survey.bilinear import over_free, reconcile_constraints, stream_constraints, stream_start
from thinstock.survey.constraints import Constraints
from thinstock.survey.faults import SurveyError, nearest
from thinstock.survey.linear import LinearProblem
from thinstock.survey.network import HEAT, Network
from thinstock.survey.reconciled import FIXED, Readings, Reconciled, cholesky, readings
from thinstock.survey.remarks import remarks
from thinstock.survey.settle import typical_size
from thinstock.survey.table import Survey
from thinstock.words import constants
from thinstock.words.fault import fault_in
from thinstock.words.note import Note
from thinstock.words.phrase import phrase

Key = tuple[str, str]
"""(stream, quantity)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Reconciliation:
    """A reconciled survey."""

    network: Network
    survey: Survey
    value: dict[Key, float]
    standard_uncertainty: dict[Key, float]
    classification: dict[Key, str]
    score: Array
    """In the order of the readings."""
    redundancy: Array
    """In the order of the readings."""
    result: Reconciled
    """Over all variables, see `keys`."""
    reading_index: np.ndarray[Any, np.dtype[np.intp]]
    """For each reading its variable in `result`."""
    keys: tuple[Key, ...]
    """What each variable of `result` is."""
    constraints: Constraints
    given: Readings

    @cached_property
    def notes(self) -> tuple[Note, ...]:
        """What a reader should be wary of."""
        return remarks(self.survey, self.network, self.result, self.value, self.reading_index)

    @property
    def closure(self) -> float:
        """Worst imbalance of any balance whose terms are all known, as a share of its largest term."""
        known = np.isfinite(self.result.value)
        x = np.where(known, self.result.value, 0.0)
        open_rows = np.zeros(self.constraints.rows, dtype=bool)
        open_rows[self.constraints.linear_row[~known[self.constraints.linear_column]]] = True
        for side in (self.constraints.product_first, self.constraints.product_second):
            open_rows[self.constraints.product_row[~known[side]]] = True
        return float(np.max(self.constraints.imbalance(x)[~open_rows], initial=0.0))

    def linearised(self) -> tuple[LinearProblem, Any]:
        """(The last linear problem over the variables that are not fixed, their places in `result`)."""
        free = self.result.classification != FIXED
        at = np.where(np.isfinite(self.result.value), self.result.value, 0.0)
        small, x = self.constraints.held(at, free), at[free]
        balance = small.jacobian(x).toarray()
        given = over_free(self.given, free)
        size = np.empty(x.size)
        size[given.measured] = given.uncertainty
        size[~given.measured] = typical_size(x, given.measured)
        return LinearProblem(balance, balance @ x - small.residual(x), given, size), np.flatnonzero(free)

    def covariance(self, keys: Any) -> Array:
        """Covariance of some reconciled values."""
        if self.result.covariance is None:
            raise SurveyError(fault_in("survey.balance.covariance", "covariance"))
        place = {key: i for i, key in reversed(list(enumerate(self.keys)))}
        rows = [place[key] for key in keys]
        return self.result.covariance[np.ix_(rows, rows)]


@dataclass(eq=False)
class _Variables:
    """The variables of a survey on a network: flows, consistencies, then what was read besides."""

    network: Network
    keys: list[Key] = field(default_factory=list)
    place: dict[Key, int] = field(default_factory=dict)
    reading_index: list[int] = field(default_factory=list)
    extra: list[tuple[int, Key, bool]] = field(default_factory=list)
    """(variable, what it is, whether it is a further reading of a quantity that already has one)."""

    def __post_init__(self) -> None:
        for quantity in ("flow", *(f"consistency:{name}" for name in self.network.components)):
            for stream in self.network.streams:
                self.place[stream, quantity] = len(self.keys)
                self.keys.append((stream, quantity))

    def take(self, survey: Survey) -> None:
        base = len(self.keys)
        used: set[int] = set()
        for reading in survey.readings:
            key = (reading.stream, reading.quantity)
            known = self.place.get(key)
            if known is None or known in used:
                new = len(self.keys)
                self.extra.append((new, key, known is not None))
                self.place.setdefault(key, new)
                self.keys.append(key)
                used.add(new)
                self.reading_index.append(new)
            else:
                used.add(known)
                self.reading_index.append(known)
        self.base = base


def reconcile(network: Network, survey: Survey, *, start: Mapping[Key, float] | None = None) -> Reconciliation:
    """Reconcile a survey on its network.

    `start` gives values of (stream, flow) and (stream, consistency:NAME) to begin with, for example a machine's.
    Source: NARASIMHAN_JORDACHE_2000, CROWE_1983. Status: from memory.
    """
    _check(network, survey)
    variables = _Variables(network)
    variables.take(survey)
    count = len(variables.keys)
    given = _readings(variables, survey, count)
    fixed, held = _fixed(variables, count)
    constraints = _constraints(variables, fixed, held, count)
    begin = _start(variables, survey, given, fixed, held, start)
    found = reconcile_constraints(
        constraints,
        given,
        fixed,
        begin,
        lambda i: " ".join(reversed(variables.keys[i])).replace("consistency:", ""),
    )
    index = np.array(variables.reading_index)
    return Reconciliation(
        network=network,
        survey=survey,
        value={key: float(found.value[i]) for key, i in variables.place.items()},
        standard_uncertainty={key: float(found.standard_uncertainty[i]) for key, i in variables.place.items()},
        classification={key: str(found.classification[i]) for key, i in variables.place.items()},
        score=found.score[index],
        redundancy=found.redundancy[index],
        result=found,
        reading_index=index,
        keys=tuple(variables.keys),
        constraints=constraints,
        given=given,
    )


def _check(network: Network, survey: Survey) -> None:
    faults = []
    for number, reading in enumerate(survey.readings, start=1):
        where = f"reading {number} ({reading.stream} {reading.quantity})"
        base, _, name = reading.quantity.partition(":")
        if reading.stream not in network.streams:
            remedy = nearest(reading.stream, network.streams)
            faults.append(
                Fault(
                    field=where, value=reading.stream, bound=phrase("survey.balance.no_stream_network"), remedy=remedy
                )
            )
        elif base == "temperature":
            if HEAT not in network.components:
                remedy = phrase("survey.balance.name_component_to_balance_temperatures", heat=HEAT)
                faults.append(Fault(field=where, bound=phrase("survey.balance.network_carries_no_heat"), remedy=remedy))
        elif base != "flow":
            if name and (name not in network.components or name == HEAT):
                remedy = nearest(name, network.components)
                faults.append(
                    Fault(field=where, value=name, bound=phrase("survey.balance.no_component_network"), remedy=remedy)
                )
            if not network.solids:
                faults.append(fault_in("survey.balance.network_carries_no_component_only", where))
            elif reading.stream in network.clean:
                remedy = phrase("survey.balance.take_stream_out_clean_or")
                faults.append(
                    Fault(field=where, bound=phrase("survey.balance.stream_stated_to_carry_no"), remedy=remedy)
                )
    if not survey.readings:
        faults.append(fault_in("survey.balance.readings", "readings"))
    if faults:
        raise SurveyError(faults)


def _readings(variables: _Variables, survey: Survey, count: int) -> Readings:
    index = np.array(variables.reading_index)
    order = np.argsort(index)
    value, spread = np.full(count, np.nan), np.ones(count)
    value[index] = [r.value for r in survey.readings]
    spread[index] = [r.standard_uncertainty for r in survey.readings]
    measured = np.zeros(count, dtype=bool)
    measured[index] = True
    plain = readings(value, spread, measured, count)
    if not any(r.group for r in survey.readings) and not survey.shared:
        return plain
    covariance = survey.covariance()[np.ix_(order, order)]
    _check_positive(survey, covariance, order)
    correlation = covariance / np.outer(plain.uncertainty, plain.uncertainty)
    np.fill_diagonal(correlation, 1.0)
    root = cholesky(correlation)
    return Readings(
        measured=measured,
        value=plain.value,
        uncertainty=plain.uncertainty,
        correlation=correlation,
        root=root,
    )


def _check_positive(survey: Survey, covariance: Array, order: Any) -> None:
    """Refuse groups that make two readings one, naming the pair by stream and quantity."""
    try:
        readings(np.zeros(len(order)), covariance, None, len(order))
    except SurveyError as error:
        numbers = [int(word) for word in error.faults[0].field.split() if word.isdigit()]
        pair = [survey.readings[order[i]] for i in numbers]
        names = " and ".join(f"{r.stream} {r.quantity}" for r in pair)
        fault = error.faults[0]
        raise SurveyError(
            Fault(field=f"group of {names}", value=fault.value, bound=fault.bound, remedy=fault.remedy)
        ) from None


def _fixed(variables: _Variables, count: int) -> tuple[Any, Array]:
    fixed, held = np.zeros(count, dtype=bool), np.zeros(count)
    for stream in variables.network.clean:
        for k in variables.network.solids:
            fixed[variables.place[stream, f"consistency:{variables.network.components[k]}"]] = True
    return fixed, held


def _constraints(variables: _Variables, fixed: Any, held: Array, count: int) -> Constraints:
    network, place = variables.network, variables.place
    streams = len(network.streams)
    base = streams * (1 + len(network.components))
    number = {name: j for j, name in enumerate(network.streams)}
    equal = [
        (streams * (1 + k) + number[a], streams * (1 + k) + number[b])
        for a, b in network.same_composition
        for k in range(len(network.components))
    ]
    rows = stream_constraints(
        network.incidence(),
        len(network.components),
        equal,
        fixed[:base],
        held[:base],
        list(network.nodes),
        list(network.components),
        network.added(),
    )
    for variable, (stream, quantity), again in variables.extra:
        name = f"{quantity} of {stream}"
        if again:
            rows.same(name, variable, place[stream, quantity])
            continue
        flow = place[stream, "flow"]
        parts = [streams * (1 + k) + number[stream] for k in network.solids]
        kind, _, component = quantity.partition(":")
        if kind == "consistency":
            rows.add(name, [(variable, 1.0), *((c, -1.0) for c in parts)])
        elif kind == "share":
            rows.add(name, [(place[stream, f"consistency:{component}"], 1.0)], [(variable, c, -1.0) for c in parts])
        elif kind == "solids":
            rows.add(name, [(variable, 1.0)], [(flow, c, -1.0) for c in parts])
        else:
            heat = place[stream, f"consistency:{HEAT}"]
            rows.add(name, [(heat, 1.0), (variable, -constants.water_heat_capacity_sheet)])
    return rows.build(count)


def _start(
    variables: _Variables,
    survey: Survey,
    given: Readings,
    fixed: Any,
    held: Array,
    start: Mapping[Key, float] | None,
) -> Array:
    """Flows and consistencies by the weak-prior start; what else was read begins at its reading."""
    network, place = variables.network, variables.place
    streams, base = len(network.streams), len(network.streams) * (1 + len(network.components))
    prior = np.full(base, np.nan)
    for key, value in (start or {}).items():
        if place.get(key, base) < base:
            prior[place[key]] = value
    read: dict[Key, float] = {}
    for reading in survey.readings:
        read.setdefault((reading.stream, reading.quantity), reading.value)
    shares = _median_shares(network, read)
    for j, stream in enumerate(network.streams):
        total = read.get((stream, "consistency"))
        solids = read.get((stream, "solids"))
        if total and solids and np.isnan(prior[j]):
            prior[j] = solids / total
        if total is None:
            continue
        for k in network.solids:
            name = network.components[k]
            share = read.get((stream, f"share:{name}"), shares[name])
            if np.isnan(prior[streams * (1 + k) + j]):
                prior[streams * (1 + k) + j] = total * share
    if HEAT in network.components:
        k = list(network.components).index(HEAT)
        warm = [value for (_, quantity), value in read.items() if quantity == "temperature"]
        middle = float(np.median(warm)) if warm else constants.ice_point
        for j, stream in enumerate(network.streams):
            here = streams * (1 + k) + j
            if (stream, "temperature") in read or np.isnan(prior[here]):
                prior[here] = read.get((stream, "temperature"), middle) * constants.water_heat_capacity_sheet
    begin = np.zeros(len(variables.keys))
    pairs = [
        (streams * (1 + k) + network.streams.index(a), streams * (1 + k) + network.streams.index(b))
        for a, b in network.same_composition
        for k in range(len(network.components))
    ]
    begin[:base] = stream_start(
        network.incidence(),
        len(network.components),
        given,
        fixed[:base],
        held[:base],
        pairs,
        prior,
        network.added(),
    )
    for variable, _, _ in variables.extra:
        begin[variable] = survey.readings[variables.reading_index.index(variable)].value
    return begin


def _median_shares(network: Network, read: Mapping[Key, float]) -> dict[str, float]:
    """Share of each component in the solids: the median of what was read, the rest in equal parts."""
    found: dict[str, float] = {}
    names = [network.components[k] for k in network.solids]
    for name in names:
        values = [v for (_, quantity), v in read.items() if quantity == f"share:{name}"]
        if values:
            found[name] = float(np.median(values))
    left = [name for name in names if name not in found]
    rest = max(1.0 - sum(found.values()), 0.05)
    return found | {name: rest / len(left) for name in left}
