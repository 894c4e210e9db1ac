"""A machine by whatever names it, and its run in one call."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from thinstock.case.read import load
from thinstock.machine.line import Machine
from thinstock.machine.result import Result


def machine_of(machine: Machine | str | Path) -> Machine:
    """The machine itself, or the one of this bundled name or file."""
    return machine if isinstance(machine, Machine) else load(machine)


def run(machine: Machine | str | Path, changes: Mapping[str, Any] | None = None, *, fast: bool = False) -> Result:
    """Run a machine: how much water, which part takes it out, what it costs in energy.

    Parameters
    ----------
    machine : Machine, str or Path
        A machine, the name of a bundled one, or the path of a machine file.
    changes : mapping, optional
        Values by address, base SI, made before the run. An array is one value per case; all arrays have one shape.
    fast : bool
        Coarse dryer steps made for sweeps (error of dryness about 2e-4).

    Returns
    -------
    Result
        Numbers by name, base SI: plain floats, or arrays of shape (cases,).

    Raises
    ------
    Refused
        A file, an address or a value that cannot be, all faults at once; a machine whose sheet cannot be dried as it
        says.

    Source: the formulas of the run, `thinstock.formulas`; those used are listed on the result's worksheet.
    """
    found = machine_of(machine)
    return (found.with_(changes) if changes else found).run(fast=fast)
