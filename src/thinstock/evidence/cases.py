"""A machine as a function of columns: many cases in, named numbers and flags out, in batches of even size.

What cannot be is flagged, never dropped: `possible` (the parts may be built so), `formed` (there is a sheet), `reached`
(the reel dryness wanted, within what holds it), `in_range` (every formula inside its stated range). A case that gives
no number carries nan.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from thinstock.errors import Fault, Refused
from thinstock.evidence.outputs import checked, pick
from thinstock.formula.label import Array
from thinstock.machine.limits import margins as margins_of
from thinstock.machine.line import Machine
from thinstock.machine.result import Result
from thinstock.machine.run import at_speed_held, run_machine
from thinstock.words import address
from thinstock.words.fault import fault_in

Out = TypeVar("Out")
FLAGS = ("possible", "formed", "reached", "over_dried", "in_range")
BATCH = 16_384
SLOW_END = "end_of_forming_slow"
"""A result that takes a drainage march of its own: made only where it is asked for."""
HAIR = 1e-9
"""Share of a limit that rounding may take."""
TOO_WET = 2e-4
"""Dryness by which a sheet may miss what is wanted at the reel and still counts as reached (that of fast steps)."""


@dataclass(frozen=True, kw_only=True)
class Cases:
    """Columns and flags of many cases, each an array as long as there are cases."""

    columns: Mapping[str, Array]
    flags: Mapping[str, Any]
    margins: Mapping[str, Array]
    """By part, how far from its limit as a share of it; nan where unknown. Empty unless asked for."""

    def __getitem__(self, name: str) -> Array:
        return self.columns[name]

    @property
    def usable(self) -> Any:
        """Cases that gave a sheet as dry as wanted."""
        return self.flags["possible"] & self.flags["formed"] & self.flags["reached"]

    @property
    def beyond(self) -> Any:
        """Cases in which a part is beyond a limit that was entered."""
        found = np.zeros(len(self), dtype=bool)
        for margin in self.margins.values():
            found |= margin < -HAIR
        return found

    def take(self, rows: Any) -> Cases:
        """Some of the cases."""
        parts = (
            {name: column[rows] for name, column in kept.items()} for kept in (self.columns, self.flags, self.margins)
        )
        columns, flags, margins = parts
        return Cases(columns=columns, flags=flags, margins=margins)

    def __len__(self) -> int:
        return int(self.flags["formed"].size)


STEPS, LEAST = 12, 100
"""Into so many parts work is cut while somebody watches it, each of so many cases at least."""
_WATCH: ContextVar[Callable[[int], None] | None] = ContextVar("watch", default=None)


@contextmanager
def watched(told: Callable[[int], None]) -> Iterator[None]:
    """Within, `told` hears of every part of cases that was run, with their number."""
    held = _WATCH.set(told)
    try:
        yield
    finally:
        _WATCH.reset(held)


def run_cases(
    machine: Machine,
    values: Mapping[str, Any],
    names: tuple[str, ...],
    *,
    batch: int = BATCH,
    margins: bool = False,
    fast: bool = True,
) -> Cases:
    """The machine at every row of the columns `values` (full addresses); `names` are the results kept.

    `fast` takes the coarse dryer steps made for sweeps.
    """
    count = _count(values)
    columns: dict[str, Any] = {name: np.full(count, np.nan) for name in names}
    flags: dict[str, Any] = {name: np.zeros(count, dtype=bool) for name in FLAGS}
    kept: dict[str, Any] = {}

    def run(part: Machine) -> Result:
        return run_machine(part, fast=fast, band=SLOW_END in names)

    for at, result in _batches(machine, values, batch, run):
        _note(result, at, names, columns, flags)
        if margins:
            for part_name, margin in margins_of(result).items():
                kept.setdefault(part_name, np.full(count, np.nan))[at] = margin
    return Cases(columns=columns, flags=flags, margins=kept)


def held_speeds(machine: Machine, values: Mapping[str, Any], *, fast: bool = True) -> Array:
    """Speed that gives the reel dryness with hood and steam as set, at every row of the columns.

    Not a number where a machine cannot be built.
    """
    found = np.full(_count(values), np.nan)
    for at, speed in _batches(machine, values, BATCH, lambda part: at_speed_held(part, fast=fast)[0].speed):
        found[at] = speed
    return found


def _count(values: Mapping[str, Any]) -> int:
    return max((np.shape(column)[0] for column in values.values() if np.ndim(column)), default=1)


def _batches(
    machine: Machine, values: Mapping[str, Any], batch: int, run: Callable[[Machine], Out]
) -> Iterator[tuple[Any, Out]]:
    """Runs of all rows that can be built, in batches of even size; who watches hears of each."""
    arrays = {where: np.asarray(column, dtype=float) for where, column in values.items()}
    count, watch = _count(arrays), _WATCH.get()
    batch = batch if watch is None else min(batch, max(LEAST, -(-count // STEPS)))
    batch = max(1, -(-count // max(1, -(-count // batch))))  # even ones: a small rest would have to start from nothing
    for start in range(0, count, batch):
        rows = slice(start, min(start + batch, count))
        part = {where: np.broadcast_to(a, (count,))[rows] for where, a in arrays.items()}
        yield from _possible(machine, part, np.arange(rows.start, rows.stop), run)
        if watch is not None:
            watch(rows.stop - rows.start)


def _possible(
    machine: Machine, part: Mapping[str, Any], at: Any, run: Callable[[Machine], Out]
) -> Iterator[tuple[Any, Out]]:
    """Runs of the rows that can be built; those refused are told apart, or halved until only they are left out."""
    try:
        result = run(machine.with_(part))
    except Refused as refused:
        for rows in _left(refused, len(at)):
            yield from _possible(machine, {where: column[rows] for where, column in part.items()}, at[rows], run)
        return
    yield at, result


def _left(refused: Refused, count: int) -> list[Any]:
    """Rows to be tried on their own after a refusal of all."""
    if np.shape(refused.cases) == (count,) and 0 < np.sum(refused.cases) < count:
        return [np.flatnonzero(~refused.cases), np.flatnonzero(refused.cases)]
    middle = count // 2
    return [slice(0, middle), slice(middle, None)] if middle else []


def _note(result: Result, at: Any, names: tuple[str, ...], columns: dict[str, Any], flags: dict[str, Any]) -> None:
    """Write what one run over rows found."""
    formed = np.broadcast_to(np.asarray(result.values["formed"]), at.shape)
    flags["possible"][at] = True
    flags["formed"][at] = formed
    flags["reached"][at], flags["over_dried"][at] = _reached(result, formed)
    flags["in_range"][at] = ~_outside(result, len(at)) & formed
    for name in names:
        columns[name][at] = pick(result, name)


def _reached(result: Result, formed: NDArray[np.bool_]) -> tuple[Any, Any]:
    """Whether the sheet is as dry as wanted, and whether it is drier than that at the bound of least drying."""
    values = result.values
    status = np.broadcast_to(np.asarray(values.get("hold_status", 0)), formed.shape)
    dryness = np.asarray(values.get("reel_dryness_reached", np.nan))
    wanted = np.asarray(result.machine.grade.reel_dryness)
    with np.errstate(invalid="ignore"):
        dry_enough = np.broadcast_to(dryness >= wanted - TOO_WET, formed.shape)
    dried = None if result.dry is None else result.dry.dried
    settled = True if dried is None else np.asarray(dried.converged)
    return formed & dry_enough & settled, formed & (status < 0)


def _outside(result: Result, count: int) -> Any:
    """Cases in which any formula left its stated range."""
    found = np.zeros(count, dtype=bool)
    watch = result.watch
    for mask in () if watch is None else watch.outside.values():
        array = np.asarray(mask)
        if array.ndim == 0:
            found |= bool(array)
        elif array.shape[0] == count:
            found |= array if array.ndim == 1 else array.reshape(count, -1).any(axis=1)
        else:
            found |= bool(array.any())
    return found


# -- a function that travels ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class MachineFunction:
    """A machine as a function that can be sent to workers: its text and the results wanted; read once per worker."""

    text: str
    """The machine file."""
    results: tuple[str, ...]
    limits: bool = False
    """Also the speed limits of every case, one after another (slow: some 50 ms a case)."""

    def __call__(self, **columns: Any) -> dict[str, Any]:
        machine = machine_of(self.text)
        inputs = set(columns)
        found = run_cases(machine, columns, tuple(n for n in self.results if n not in inputs))
        out: dict[str, Any] = {**found.columns, **found.flags}
        if self.limits:
            out |= limits_of(machine, columns, found)
        return out

    def __repr__(self) -> str:
        """What decides the numbers, short enough for a manifest."""
        text = hashlib.sha256(self.text.encode()).hexdigest()
        return f"MachineFunction(machine {text}, results {', '.join(self.results)}, limits {self.limits})"


@lru_cache(maxsize=8)
def machine_of(text: str) -> Machine:
    """The machine of a text."""
    from thinstock.case import loads

    return loads(text, "machine")


def machine_function(machine: Machine, results: tuple[str, ...], *, limits: bool = False) -> MachineFunction:
    """A machine as a function of columns; the results are looked up in a run first."""
    from thinstock.case import dumps

    names = checked(machine.run(), results)
    return MachineFunction(dumps(machine), names, limits)


def limits_of(machine: Machine, columns: Mapping[str, Any], found: Cases) -> dict[str, Any]:
    """The lowest speed limit of each case and the part it belongs to."""
    from thinstock.machine.limits import limits

    speed = np.full(len(found), np.nan)
    part = np.full(len(found), "", dtype=object)
    for row in np.flatnonzero(found.flags["possible"]):
        one = machine.with_({where: np.float64(np.asarray(column)[row]) for where, column in columns.items()})
        binding = limits(one).binding
        if binding is not None:
            speed[row], part[row] = np.nan if binding.speed is None else binding.speed, binding.part
    return {"limit_speed": speed, "limit_part": part.astype(str)}


def resolved(machine: Machine, values: Mapping[str, Any]) -> dict[str, Any]:
    """Values by their full address; what is unknown or no plain number is refused together."""
    found: dict[str, Any] = {}
    faults: list[Fault] = []
    for name, value in values.items():
        try:
            where = address.resolve(machine, name)
            current = machine.get(where)
        except Refused as refused:
            faults += refused.faults
            continue
        if where in found:
            faults.append(fault_in("studies.cases.varied_twice", where))
        if isinstance(current, str | bool) or (current is not None and not np.isscalar(current)):
            faults.append(fault_in("studies.cases.no_number_that_can_be", where, str(current)))
        found[where] = value
    if faults:
        raise Refused(faults)
    return found
