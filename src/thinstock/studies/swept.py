"""The sweep of a machine as one public call: texts say what varies, a folder takes the parts."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from concurrent.futures import Executor

from thinstock.machine.line import Machine
from thinstock.studies.machine_axes import plan_of, varied
from thinstock.studies.machine_sweep import SIZE, Running, machine_sweep
from thinstock.studies.sweep import SweepReport


def sweep(
    machine: Machine,
    vary: Sequence[str],
    results: Iterable[str] = (),
    *,
    folder: str | os.PathLike[str],
    cases: int | None = None,
    size: int = SIZE,
    executor: Executor | None = None,
) -> SweepReport:
    """Run a machine at very many cases, in parts on disk that can be taken up again.

    Parameters
    ----------
    machine : Machine
        One case; what does not vary stays as it is there.
    vary : sequence of str
        What varies, as behind `--vary`: "yankee.speed=1700..1900 m/min x 40" (so many steps) or without the steps.
    results : iterable of str
        Names of the results to keep; the usual ones where none is given.
    folder : path
        Where the parts go. Parts of the same sweep that are there and whole are kept.
    cases : int, optional
        How many cases where a range has no steps (Sobol points); a grid has as many as its steps make.
    size : int
        Cases in a part.
    executor : Executor, optional
        Who works the parts out: any executor of concurrent.futures, a cluster's too; this process where none is given.

    Returns
    -------
    SweepReport
        Parts and cases, how many were written now, the folder.

    Raises
    ------
    Refused
        Unknown names, ranges that are none, a folder with another sweep in it; all at once.

    Source: the runs of the machine, case by case; low-discrepancy points after Sobol (1967).
    """
    plan = plan_of(varied(machine, list(vary)), None, cases, 1)
    return machine_sweep(machine, plan, results, folder=folder, running=Running(size=size, executor=executor))
