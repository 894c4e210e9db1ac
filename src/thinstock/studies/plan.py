"""Which cases a sweep runs: a grid, random draws or Sobol points, any chunk of it made on its own and always the same.

A plan is small and can be sent to workers; it holds no case. It does not run anything.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.evidence.distributions import Distribution
from thinstock.evidence.inputs import philox
from thinstock.formula.label import Array
from thinstock.words.fault import fault_in

Axis = Distribution | tuple[Any, ...]
LARGEST_SOBOL = 2**32


@dataclass(frozen=True)
class Plan:
    """The cases of a sweep."""

    axes: Mapping[str, Axis]
    """Name -> values or distribution."""
    kind: str
    """`grid`, `random` or `sobol`."""
    cases: int
    seed: int = 0

    def key(self) -> str:
        """A hash of everything that decides the cases."""
        text = json.dumps(self.described(), sort_keys=True, ensure_ascii=True)
        return hashlib.sha256(text.encode()).hexdigest()

    def described(self) -> dict[str, Any]:
        """The plan in plain words and exact numbers."""
        axes = [[name, _described(axis)] for name, axis in self.axes.items()]
        return {"axes": axes, "kind": self.kind, "cases": self.cases, "seed": self.seed}

    def __hash__(self) -> int:
        return hash(self.key())


def _described(axis: Axis) -> Any:
    if isinstance(axis, tuple):
        return [float(v).hex() if isinstance(v, float) else v for v in axis]
    fields = {f.name: float(getattr(axis, f.name)).hex() for f in dataclasses.fields(axis)}  # type: ignore[arg-type]
    return {"distribution": type(axis).__name__, **fields}


def _axes(axes: Mapping[str, Any], values_only: bool) -> dict[str, Axis]:
    faults = [] if axes else [fault_in("studies.plan.axes", "axes")]
    checked: dict[str, Axis] = {}
    for name, axis in axes.items():
        if hasattr(axis, "quantile") and not isinstance(axis, np.ndarray):
            if values_only:
                faults.append(fault_in("studies.plan.no_list_values", name, str(axis)))
            elif not dataclasses.is_dataclass(axis):
                faults.append(fault_in("studies.plan.must_be_dataclass_plain_numbers", name, str(axis)))
            checked[name] = axis
            continue
        values = tuple(v.item() if isinstance(v, np.generic) else v for v in _listed(axis))
        kinds = {"number" if isinstance(v, int | float) else type(v).__name__ for v in values}
        if not values:
            faults.append(fault_in("studies.plan.has_no_values", name))
        elif len(kinds) > 1 or not kinds <= {"number", "str"}:
            faults.append(fault_in("studies.plan.must_be_all_numbers_or", name, ", ".join(sorted(kinds))))
        elif any(isinstance(v, float) and not math.isfinite(v) for v in values):
            faults.append(fault_in("studies.plan.holds_value_that_no_number", name))
        checked[name] = values
    if faults:
        raise Refused(faults)
    return checked


def _listed(axis: Any) -> Sequence[Any]:
    if isinstance(axis, str) or not hasattr(axis, "__iter__"):
        return (axis,)
    return tuple(axis)


def _count(cases: int) -> int:
    if cases < 1:
        raise Refused(fault_in("studies.plan.cases", "cases", str(cases)))
    return int(cases)


def grid_plan(axes: Mapping[str, Any]) -> Plan:
    """Every combination of the values, the last axis fastest."""
    checked = _axes(axes, values_only=True)
    return Plan(checked, "grid", math.prod(len(a) for a in checked.values() if isinstance(a, tuple)))


def random_plan(axes: Mapping[str, Any], cases: int, seed: int) -> Plan:
    """Independent draws; from a list of values each is equally likely."""
    philox(seed)
    return Plan(_axes(axes, values_only=False), "random", _count(cases), int(seed))


def sobol_plan(axes: Mapping[str, Any], cases: int, seed: int) -> Plan:
    """Scrambled Sobol points: the same room filled more evenly."""
    philox(seed)
    if cases > LARGEST_SOBOL:
        raise Refused(fault_in("studies.plan.must_be_at_most", "cases", str(cases), largest_sobol=LARGEST_SOBOL))
    return Plan(_axes(axes, values_only=False), "sobol", _count(cases), int(seed))


def chunk_count(plan: Plan, size: int) -> int:
    """How many chunks of `size` cases a plan has."""
    if size < 1:
        raise Refused(fault_in("studies.plan.size", "size", str(size)))
    return -(-plan.cases // size)


def chunk_inputs(plan: Plan, number: int, size: int) -> dict[str, Array]:
    """The inputs of chunk `number` (from 0): cases number*size up to number*size + size, the last chunk shorter.

    Grid and Sobol cases do not depend on the size of chunks; random ones do (one stream per seed and chunk).
    """
    chunks = chunk_count(plan, size)
    if not 0 <= number < chunks:
        raise Refused(fault_in("studies.plan.number", "number", str(number), chunks=chunks - 1))
    start = number * size
    count = min(size, plan.cases - start)
    if plan.kind == "grid":
        return _grid_chunk(plan, start, count)
    if plan.kind == "random":
        generator = philox(plan.seed, number)
        return {
            name: np.asarray(axis)[generator.integers(0, len(axis), count)]
            if isinstance(axis, tuple)
            else axis.sample(generator, count)
            for name, axis in plan.axes.items()
        }
    return _sobol_chunk(plan, start, count)


def _grid_chunk(plan: Plan, start: int, count: int) -> dict[str, Array]:
    index = np.arange(start, start + count)
    out: dict[str, Array] = {}
    for name, axis in reversed(list(plan.axes.items())):
        values = np.asarray(axis)
        index, place = np.divmod(index, len(values))
        out[name] = values[place]
    return {name: out[name] for name in plan.axes}


def _sobol_chunk(plan: Plan, start: int, count: int) -> dict[str, Array]:
    from scipy.stats import qmc

    engine = qmc.Sobol(len(plan.axes), scramble=True, rng=np.random.default_rng(np.random.Philox(plan.seed)), bits=32)
    parts = []
    if start:
        engine.fast_forward(start)
    else:
        parts.append(engine.random(1))
    if count > len(parts):
        parts.append(engine.random(count - len(parts)))
    points = np.clip(np.concatenate(parts), 2.0**-33, 1.0 - 2.0**-33)
    out: dict[str, Array] = {}
    for (name, axis), share in zip(plan.axes.items(), points.T, strict=True):
        if isinstance(axis, tuple):
            out[name] = np.asarray(axis)[np.minimum((share * len(axis)).astype(int), len(axis) - 1)]
        else:
            out[name] = np.asarray(axis.quantile(share))
    return out
