"""What is varied on a machine, as one writes it: "headbox.consistency=0.12 %..0.30 % x 40".

A range with a count (a grid), a range without (random or Sobol points), a list of values, or the word "uncertain" for
what is believed of that input. What the field or an entered limit does not allow is refused before anything runs.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.case import values
from thinstock.case.shapes import Shape, shapes
from thinstock.errors import Fault, Refused
from thinstock.evidence.distributions import Distribution, Rectangular
from thinstock.evidence.machine_inputs import distribution_of, held_addresses, limit_of
from thinstock.evidence.uncertain import uncertain_inputs
from thinstock.machine.line import Machine
from thinstock.studies.plan import Plan, grid_plan, random_plan, sobol_plan
from thinstock.words import address
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Fields, Q, show

EXAMPLE = '"headbox.consistency=0.12 %..0.30 % x 40"'
KINDS = ("grid", "random", "sobol")
_COUNT = re.compile(r"^(.*\S)\s*[x×]\s*(\d+)$")
_NUMBER = re.compile(r"^\s*[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")


@dataclass(frozen=True, kw_only=True)
class Varied:
    """One value of the machine that is varied."""

    address: str
    values: tuple[float, ...] | None = None
    """Of a grid or a list."""
    low: float | None = None
    high: float | None = None
    believed: Distribution | None = None

    @property
    def ends(self) -> tuple[float, float]:
        """Lowest and highest value it takes."""
        if self.values is not None:
            return min(self.values), max(self.values)
        if self.believed is not None:
            return float(self.believed.quantile(0.0)), float(self.believed.quantile(1.0))
        assert self.low is not None and self.high is not None
        return self.low, self.high

    @property
    def axis(self) -> Any:
        """As a plan takes it."""
        if self.values is not None:
            return self.values
        if self.believed is not None:
            return self.believed
        assert self.low is not None and self.high is not None
        return Rectangular(self.low, self.high)


def varied(machine: Machine, texts: Sequence[str]) -> tuple[Varied, ...]:
    """What the texts vary; all that is wrong is refused together."""
    faults: list[Fault] = []
    found: dict[str, Varied] = {}
    if not texts:
        faults.append(fault_in("studies.machine_axes.vary", "--vary", "nothing", example=EXAMPLE))
    for text in texts:
        try:
            one = _one(machine, text)
        except Refused as refused:
            faults += refused.faults
            continue
        if one.address in found:
            faults.append(fault_in("studies.machine_axes.varied_twice", one.address))
        found[one.address] = one
    if faults:
        raise Refused(faults)
    return tuple(found.values())


def _one(machine: Machine, text: str) -> Varied:
    name, sign, rest = text.partition("=")
    if not sign or not name.strip() or not rest.strip():
        raise Refused(fault_in("studies.machine_axes.must_be_address_range", "--vary", repr(text), example=EXAMPLE))
    where = address.resolve(machine, name.strip())
    shape = _shape(machine, where)
    if where in held_addresses(machine):
        raise Refused(
            fault_in(
                "studies.machine_axes.found_by_run_holds_reel", where, hold_reel_dryness_by=machine.hold_reel_dryness_by
            )
        )
    rest = rest.strip()
    if rest == "uncertain":
        return _believed(machine, where)
    counted = _COUNT.match(rest)
    count = int(counted[2]) if counted else None
    body = counted[1] if counted else rest
    if ".." not in body:
        if count is not None:
            _fail(where, rest, phrase("studies.machine_axes.count_belongs_to_range"), f"Write {EXAMPLE}.")
        listed = tuple(_value(machine, where, shape, part) for part in body.split(","))
        return Varied(address=where, values=listed)
    low_text, _, high_text = (part.strip() for part in body.partition(".."))
    unit = _NUMBER.sub("", high_text).strip()
    if unit and _NUMBER.fullmatch(low_text):
        low_text = f"{low_text} {unit}"
    low, high = (_value(machine, where, shape, part) for part in (low_text, high_text))
    if not low < high:
        _fail(
            where,
            rest,
            phrase("studies.machine_axes.range_empty"),
            phrase("studies.machine_axes.write_lower_end_first"),
        )
    if count is None:
        return Varied(address=where, low=low, high=high)
    if count < 2:
        _fail(where, rest, phrase("studies.machine_axes.grid_needs_at_least_values"), "")
    steps = np.linspace(low, high, count)
    if shape.q.integer:
        steps = np.unique(np.round(steps))
    return Varied(address=where, values=tuple(float(v) for v in steps))


def _shape(machine: Machine, where: str) -> Shape:
    """The number that stands at an address."""
    *path, last = address.split(where)
    owner = address.get(machine, address.join(path)) if path else machine
    shape = shapes(type(owner)).get(last) if isinstance(owner, Fields) else None
    if shape is None or shape.sort != "quantity":
        raise Refused(fault_in("studies.machine_axes.no_number_that_can_be", where))
    if shape.q.limit:
        raise Refused(
            fault_in("studies.machine_axes.limit_limits_not_varied", where)
        )  # fmt: skip
    return shape


def _value(machine: Machine, where: str, shape: Shape, text: str) -> float:
    try:
        number = values.read(shape, text.strip(), float(machine.site.atmospheric_pressure()))[0]
    except values.Unread as wrong:
        remedy = re.sub(r'^Write \S+ = "(.*)"\.?$', r'Write "\1".', wrong.remedy)
        raise Refused(Fault(field=where, value=text.strip(), bound=wrong.bound, remedy=remedy)) from None
    if number is None:
        _fail(where, text, phrase("studies.machine_axes.number_needed"), "")
    low, high = shape.q.possible
    if not low <= number <= high:
        about = phrase("studies.machine_axes.must_lie_between", low=show(low, shape.q), high=show(high, shape.q))
        _fail(where, text, about, shape.q.remedy)
    limit = limit_of(machine, where)
    if limit is not None and number > limit:
        _fail(
            where,
            text,
            phrase("studies.machine_axes.passes_limit_that_was_entered", limit=show(limit, shape.q)),
            phrase("studies.machine_axes.no_study_passes_limit"),
        )
    return float(number)


def _fail(where: str, text: str, bound: str, remedy: str) -> None:
    raise Refused(Fault(field=where, value=text.strip(), bound=bound, remedy=remedy))


def _believed(machine: Machine, where: str) -> Varied:
    one = next((u for u in uncertain_inputs(machine) if u.address == where), None)
    if one is None:
        raise Refused(fault_in("studies.machine_axes.has_no_uncertainty", where, "uncertain"))
    return Varied(address=where, believed=distribution_of(machine, one))


def plan_of(varies: Iterable[Varied], kind: str | None, cases: int | None, seed: int) -> Plan:
    """The plan: a grid where every value is listed or counted, else Sobol points, unless `kind` says otherwise."""
    listed = list(varies)
    loose = [one.address for one in listed if one.values is None]
    kind = kind or ("sobol" if loose else "grid")
    if kind not in KINDS:
        raise Refused(fault_in("studies.machine_axes.kind", "kind", kind, kinds=", ".join(KINDS)))
    axes = {one.address: one.axis for one in listed}
    if kind == "grid":
        if loose:
            raise Refused(
                [fault_in("studies.machine_axes.grid_needs_number_values", name, example=EXAMPLE) for name in loose]
            )
        plan = grid_plan(axes)
        if cases is not None and cases != plan.cases:
            raise Refused(fault_in("studies.machine_axes.grid_has_cases", "cases", str(cases), cases=plan.cases))
        return plan
    if cases is None:
        raise Refused(fault_in("studies.machine_axes.cases", "cases"))
    return (random_plan if kind == "random" else sobol_plan)(axes, cases, seed)


def unlimited(machine: Machine, where: str) -> bool:
    """Whether a value may hurt people or a vessel and nobody entered its limit."""
    owner, _, last = where.rpartition(".")
    part = machine.get(owner) if owner else machine
    limit = f"{last}_limit"
    if not hasattr(part, limit) or getattr(part, limit) is not None:
        return False
    about = machine.declaration(f"{owner}.{limit}" if owner else limit).about
    return isinstance(about, Q) and about.hurts


__all__ = ["EXAMPLE", "KINDS", "Varied", "plan_of", "unlimited", "varied"]
