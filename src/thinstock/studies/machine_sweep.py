"""A machine at very many cases: any inputs over ranges, any results, in parts on disk that can be taken up again.

The folder holds the manifest, the machine file as it was swept, what the columns mean, and one Parquet part per chunk.
Each case carries its flags; no case is left out.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import Executor
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from thinstock.errors import Refused, needs
from thinstock.evidence.cases import FLAGS, MachineFunction, machine_function, run_cases
from thinstock.evidence.outputs import checked
from thinstock.evidence.population import Population
from thinstock.formula.label import Array
from thinstock.kernels.compiled import FAST, can_compile
from thinstock.machine.limits import words_of
from thinstock.machine.line import Machine
from thinstock.machine.numbers import told_in
from thinstock.studies.machine_axes import Varied
from thinstock.studies.plan import Plan, chunk_inputs
from thinstock.studies.sweep import SweepReport, run_sweep
from thinstock.studies.sweep_draws import BESIDE, DrawnFunction, drawn_function, write_bands
from thinstock.studies.sweep_draws import beside as drawn_values
from thinstock.words.fault import fault_in

SIZE = 50_000
"""Cases in a part."""
LARGEST_MAP = 1_000_000
MOST_PLAIN = 20_000
"""Cases up to which a sweep goes on without a compiler: some minutes."""


@dataclass(frozen=True, kw_only=True)
class Running:
    """How a sweep is run, as in `run_sweep`: size of parts, executor, who hears of it, texts beside, share; draws."""

    size: int = SIZE
    executor: Executor | None = None
    told: Callable[[Mapping[str, Any]], None] | None = None
    beside: Mapping[str, str] = field(default_factory=dict)
    share: tuple[int, int] = (1, 1)
    drawn: Population | None = None
    """Draws that every case is one of; the plan then has them beside it (`drawn_plan`)."""


def results_of(machine: Machine, names: Iterable[str]) -> tuple[str, ...]:
    """The results to keep: those asked for, or the usual ones."""
    result = machine.run()
    asked = tuple(names)
    if asked:
        return checked(result, asked)
    return tuple(one.name for one in told_in("study") if result.values.get(one.name) is not None)


def machine_sweep(
    machine: Machine,
    plan: Plan,
    results: Iterable[str] = (),
    *,
    folder: str | os.PathLike[str],
    limits: bool = False,
    running: Running = Running(),
) -> SweepReport:
    """Run all cases of the plan that are not in the folder yet."""
    if plan.cases > MOST_PLAIN and not can_compile():
        needs("numba", FAST)
    names = tuple(n for n in results_of(machine, results) if n not in plan.axes)
    clash = [n for n in (*FLAGS, "case") if n in plan.axes]
    drawn = running.drawn
    if clash:
        raise Refused(fault_in("studies.machine_sweep.name_column_its_own", ", ".join(clash)))
    function: MachineFunction | DrawnFunction = machine_function(machine, names, limits=limits)
    beside = {"machine.toml": function.text, **running.beside}
    if drawn is not None:
        function = drawn_function(machine, drawn, names, limits=limits)
        beside[BESIDE] = drawn_values(drawn)
    how = {name: value for name, value in vars(running).items() if name != "drawn"}
    found = run_sweep(plan, function, folder=folder, **{**how, "beside": beside})
    if drawn is not None and running.share[1] == 1:
        write_bands(found.folder, plan, names)
    return found


def cluster(address: str) -> AbstractContextManager[Executor]:
    """The workers behind a scheduler of dask.distributed as an executor."""
    distributed = needs("distributed", "cluster")
    from contextlib import contextmanager

    @contextmanager
    def opened() -> Any:
        client_of: Any = distributed.Client
        try:
            client = client_of(address, timeout="10s")
        except (OSError, TimeoutError, ValueError) as wrong:
            raise Refused(
                fault_in("studies.machine_sweep.scheduler", "--scheduler", address, name=type(wrong).__name__)
            ) from None
        with client:
            yield client.get_executor(pure=False)

    found: AbstractContextManager[Executor] = opened()
    return found


# -- two inputs, one result --------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class MachineMap:
    """One result over two inputs."""

    x: str
    y: str
    result: str
    x_values: Array
    y_values: Array
    value: Array
    """By y, then x; nan where there is no number."""
    state: Any
    """By y, then x: "runs", "too wet", "no sheet", "impossible" or "beyond a limit"."""
    beyond: Mapping[str, int]
    """How many cases each part's limit holds back."""


RUNS, TOO_WET, NO_SHEET, IMPOSSIBLE, BEYOND = "runs", "too wet", "no sheet", "impossible", "beyond a limit"


def machine_map(machine: Machine, x: Varied, y: Varied, result: str) -> MachineMap:
    """A result over two inputs, with the region in which the machine runs inside all limits that were entered."""
    faults = [
        fault_in("studies.machine_sweep.map_needs_number_values", one.address) for one in (x, y) if one.values is None
    ]
    if x.address == y.address:
        faults.append(fault_in("studies.machine_sweep.stands_on_both_sides_map", x.address))
    if faults:
        raise Refused(faults)
    assert x.values is not None and y.values is not None
    plan = Plan({y.address: y.values, x.address: x.values}, "grid", len(x.values) * len(y.values))
    if plan.cases > LARGEST_MAP:
        raise Refused(fault_in("studies.machine_sweep.map", "map", str(plan.cases), largest_map=LARGEST_MAP))
    (name,) = checked(machine.run(), [result])
    inputs = chunk_inputs(plan, 0, plan.cases)
    found = run_cases(machine, inputs, (name,), margins=True)
    state = np.full(plan.cases, RUNS, dtype=object)
    beyond = found.beyond
    for mask, word in (
        (beyond, BEYOND),
        (~found.flags["reached"], TOO_WET),
        (~found.flags["formed"], NO_SHEET),
        (~found.flags["possible"], IMPOSSIBLE),
    ):
        state[mask] = word
    shape = (len(y.values), len(x.values))
    return MachineMap(
        x=x.address,
        y=y.address,
        result=name,
        x_values=np.asarray(x.values),
        y_values=np.asarray(y.values),
        value=found[name].reshape(shape),
        state=state.reshape(shape),
        beyond={
            words_of(part): int(np.sum(margin < 0)) for part, margin in found.margins.items() if np.any(margin < 0)
        },
    )
