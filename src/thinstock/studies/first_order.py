"""How sure the headline numbers of a machine are by slopes, and which inputs that hangs on; the look beside the draws.

What a run prints is of its draws (`bands`).

Every input with a stated or judged standard uncertainty is moved up and down once, all in one run over cases; what
the machine holds (reel dryness) stays held. Between two machines, inputs they share move together, so that what is
common cancels. Of the models' own errors one is in: the form of the press model, whose equilibrium share is not known;
half of what it can move a number joins in quadrature. Where a population is drawn the share is drawn instead.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.evidence.uncertain import FORM, Uncertain, UncertainInput, uncertain_inputs
from thinstock.formula.label import worksheet
from thinstock.machine.line import Machine
from thinstock.machine.run import run_machine
from thinstock.relations.nip_felt import dryness_form_half_range
from thinstock.words.num import Array
from thinstock.words.quantity import Q

FORMS = (0.0, 0.5, 1.0)


@dataclass(frozen=True, kw_only=True)
class Sensitivities:
    """Values of all results and how each moves with each input."""

    inputs: tuple[UncertainInput, ...]
    values: Mapping[str, float]
    changes: Mapping[str, Any]
    """Per result: change for one standard uncertainty of each input, in the order of `inputs`."""
    forms: Mapping[str, Any]
    """Per result: its value with each of `FORMS`; empty where a permeability was given with its form."""


def _room(machine: Machine, one: UncertainInput) -> tuple[float, float]:
    """How far up and down an input may go: one standard uncertainty, less where a bound or a limit is nearer."""
    about = machine.declaration(one.address).about
    assert isinstance(about, Q)
    low, high = about.possible
    owner, _, last = one.address.rpartition(".")
    part = machine.get(owner) if owner else machine
    limit = getattr(part, f"{last}_limit", None)
    if limit is not None:
        high = min(high, float(limit))
    up = max(0.0, min(one.standard_uncertainty, high - one.value))
    down = max(0.0, min(one.standard_uncertainty, one.value - low))
    return up, down


ENDS = frozenset({"end_of_forming_slow"})
"""Ends of a band: they have no uncertainty of their own, and may have no value where inputs move."""


def sensitivities(machine: Machine) -> Sensitivities:
    """Move every uncertain input up and down and try every form of the press model, all in one run."""
    inputs = tuple(one for one in uncertain_inputs(machine) if one.address != FORM or one.status == "the file")
    pairs = 2 * len(inputs) + 1
    tried = FORMS if _form_open(machine, inputs) else ()
    count = pairs + len(tried)
    columns: dict[str, Any] = {}
    spans = np.empty(len(inputs))
    for i, one in enumerate(inputs):
        up, down = _room(machine, one)
        column = np.full(count, one.value)
        column[2 * i + 1] += up
        column[2 * i + 2] -= down
        columns[one.address] = column
        spans[i] = up + down
    if tried:
        columns[FORM] = np.array([*np.full(pairs, float(machine.get(FORM))), *tried])
    with worksheet(False):
        result = run_machine(machine.with_(columns), chained=True)
    values: dict[str, float] = {}
    changes: dict[str, Any] = {}
    forms: dict[str, Any] = {}
    scale = np.array([one.standard_uncertainty for one in inputs]) / np.where(spans > 0, spans, 1.0)
    for name, value in result.values.items():
        array = np.asarray(value)
        if array.dtype.kind != "f" or name in ENDS:
            continue
        array = np.broadcast_to(array, (count,))
        values[name] = float(array[0])
        changes[name] = (array[1:pairs:2] - array[2:pairs:2]) * scale
        if tried:
            forms[name] = array[pairs:]
    return Sensitivities(inputs=inputs, values=values, changes=changes, forms=forms)


def _form_open(machine: Machine, inputs: tuple[UncertainInput, ...]) -> bool:
    """Whether the form is unknown: no permeability was given with its form, and no uncertainty of the share."""
    return machine.press.dewatering.specific_permeability is None and FORM not in [one.address for one in inputs]


def _of_form(values: Any) -> float:
    """Half of what the form of the press model moves a number, with the sign of a larger share."""
    half = float(dryness_form_half_range(*values))
    return half if values[2] >= values[0] else -half


def _uncertain(name: str, value: float, addresses: list[str], parts: Array) -> Uncertain:
    order = np.argsort(-np.abs(parts), kind="stable")
    rows = tuple((addresses[i], float(parts[i])) for i in order if parts[i] != 0)
    return Uncertain(name=name, value=value, standard_uncertainty=float(np.sqrt(np.sum(parts**2))), contributions=rows)


def by_slopes(machine: Machine, *, known: Sensitivities | None = None) -> dict[str, Uncertain]:
    """Every named number of the run as value, standard uncertainty and contributions, all by slopes."""
    found = known if known is not None else sensitivities(machine)
    addresses = [one.address for one in found.inputs]
    if not found.forms:
        return {n: _uncertain(n, found.values[n], addresses, found.changes[n]) for n in found.values}
    addresses.append(FORM)
    return {
        n: _uncertain(n, found.values[n], addresses, np.append(found.changes[n], _of_form(found.forms[n])))
        for n in found.values
    }


def difference_by_slopes(before: Machine, after: Machine) -> dict[str, Uncertain]:
    """after − before for every named number; inputs that are the same on both sides move together and cancel.

    An input is common when both machines have it at the same value with the same uncertainty; all others are taken
    as independent of each other (named `before: …` and `after: …`).
    """
    a, b = sensitivities(before), sensitivities(after)
    at_a = {one.address: i for i, one in enumerate(a.inputs)}
    found = {}
    common = {
        one.address
        for one in b.inputs
        if one.address in at_a
        and a.inputs[at_a[one.address]].value == one.value
        and a.inputs[at_a[one.address]].standard_uncertainty == one.standard_uncertainty
    }
    for name in a.values:
        if name not in b.values:
            continue
        addresses: list[str] = []
        parts: list[float] = []
        for i, one in enumerate(b.inputs):
            change = float(b.changes[name][i])
            if one.address in common:
                change -= float(a.changes[name][at_a[one.address]])
                addresses.append(one.address)
            else:
                addresses.append(f"after: {one.address}")
            parts.append(change)
        for i, one in enumerate(a.inputs):
            if one.address not in common:
                addresses.append(f"before: {one.address}")
                parts.append(-float(a.changes[name][i]))
        for side, forms in _forms_between(a, b, name):
            addresses.append(side + FORM)
            parts.append(_of_form(forms))
        found[name] = _uncertain(name, b.values[name] - a.values[name], addresses, np.array(parts))
    return found


def _forms_between(a: Sensitivities, b: Sensitivities, name: str) -> Iterator[tuple[str, Any]]:
    """The form's part in a difference: one form for both machines where both leave it open."""
    if a.forms and b.forms:
        yield "", b.forms[name] - a.forms[name]
    elif b.forms:
        yield "after: ", b.forms[name]
    elif a.forms:
        yield "before: ", -a.forms[name]


def movers(machine: Machine, found: dict[str, Uncertain], names: list[str], count: int = 3) -> list[tuple[str, float]]:
    """The inputs that move the named results most: (address, root mean square of their relative changes)."""
    score: dict[str, float] = {}
    for name in names:
        one = found.get(name)
        if one is None or not np.isfinite(one.value) or one.value == 0:
            continue
        for address, change in one.contributions:
            if np.isfinite(change) and not address.startswith("response."):
                score[address] = score.get(address, 0.0) + (change / one.value) ** 2
    ranked = sorted(score.items(), key=lambda item: -item[1])[:count]
    return [(address, float(np.sqrt(total / max(1, len(names))))) for address, total in ranked]
