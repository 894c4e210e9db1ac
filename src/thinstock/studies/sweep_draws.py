"""A sweep over a population: every case at its settings and in one draw of the machine.

A case carries the number of its draw; what the draws hold stands once beside the parts (`population.csv`). On a grid
every setting meets every draw, and `bands.csv` has the middle and the central 90 % of each setting.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np

from thinstock.evidence.cases import limits_of, machine_function, machine_of, run_cases
from thinstock.evidence.chosen import Drawn, at_settings
from thinstock.evidence.population import Population
from thinstock.files.write import put
from thinstock.formula.label import Array
from thinstock.machine.line import Machine
from thinstock.studies.intervals import SHARE, central_interval
from thinstock.studies.plan import Plan, grid_plan, random_plan, sobol_plan
from thinstock.studies.sweep import sweep_parts

DRAW = "draw"
"""Column of the number of the draw."""
BESIDE, BANDS = "population.csv", "bands.csv"
FEW = 20


@dataclass(frozen=True)
class DrawnFunction:
    """A machine over columns of settings and the number of a draw; what the draws hold travels with it."""

    text: str
    results: tuple[str, ...]
    limits: bool
    values: Mapping[str, Array] = field(repr=False)
    standing: Mapping[str, float]
    surveyed: Mapping[str, float]
    held: tuple[str, ...]

    def __call__(self, **columns: Any) -> dict[str, Any]:
        machine = machine_of(self.text)
        rows = np.asarray(columns[DRAW]).astype(int)
        settings = {where: column for where, column in columns.items() if where != DRAW}
        cases = at_settings(self.values, rows, settings, self.standing, self.surveyed, self.held)
        found = run_cases(machine, cases, tuple(n for n in self.results if n not in settings))
        out: dict[str, Any] = {**found.columns, **found.flags}
        return out | limits_of(machine, cases, found) if self.limits else out

    def __repr__(self) -> str:
        """What decides the numbers, short enough for a manifest."""
        text = sha256(self.text.encode()).hexdigest()
        whole = sha256(b"".join(a.encode() + np.ascontiguousarray(v).tobytes() for a, v in self.values.items()))
        return (
            f"DrawnFunction(machine {text}, results {', '.join(self.results)}, limits {self.limits}, "
            f"draws {whole.hexdigest()}, surveyed {sorted(self.surveyed.items())})"
        )


def drawn_function(machine: Machine, drawn: Population, results: tuple[str, ...], *, limits: bool) -> DrawnFunction:
    """The machine in the draws of a population as a function of columns."""
    plain, runs = machine_function(machine, results), Drawn(machine, drawn)
    return DrawnFunction(
        plain.text, plain.results, limits, runs.values, runs.standing, dict(runs.surveyed), runs.held
    )  # fmt: skip


def drawn_plan(plan: Plan, draws: int) -> Plan:
    """The plan with the draws beside it: on a grid every setting in every draw, else one draw a case."""
    axes = {**plan.axes, DRAW: tuple(range(draws))}
    if plan.kind == "grid":
        return grid_plan(axes)
    return (random_plan if plan.kind == "random" else sobol_plan)(axes, plan.cases, plan.seed)


def beside(drawn: Population) -> str:
    """What the draws hold, as CSV in base SI: one row a draw."""
    values = drawn.values()
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\n")
    writer.writerow([DRAW, *values])
    for row in range(drawn.draws):
        writer.writerow([row, *(f"{column[row]:.9g}" for column in values.values())])
    return held.getvalue()


def write_bands(folder: Path, plan: Plan, names: tuple[str, ...]) -> Path | None:
    """The middle and the central 90 % of every setting of a grid, over the draws that run; nothing for other plans."""
    if plan.kind != "grid" or DRAW not in plan.axes:
        return None
    axis = plan.axes[DRAW]
    assert isinstance(axis, tuple)
    count = len(axis)
    settings = [where for where in plan.axes if where != DRAW]
    kept = [n for n in names if n not in plan.axes]
    wanted = [*settings, *kept, "possible", "formed", "reached"]
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\n")
    ends = ("median", "low", "high")
    writer.writerow([*settings, "share_that_runs", *(f"{name}_{end}" for name in kept for end in ends)])
    rest: dict[str, Any] = {}
    for part in sweep_parts(folder, wanted):
        rest = {n: np.concatenate([rest[n], part[n]]) if rest else part[n] for n in wanted}
        whole = len(rest["formed"]) // count * count
        for start in range(0, whole, count):
            writer.writerow(_band({n: c[start : start + count] for n, c in rest.items()}, settings, kept))
        rest = {n: c[whole:] for n, c in rest.items()}
    return put(folder / BANDS, held.getvalue())


def _band(part: Mapping[str, Any], settings: list[str], kept: list[str]) -> list[str]:
    usable = part["possible"] & part["formed"] & part["reached"]
    row = [f"{float(part[where][0]):.9g}" for where in settings] + [f"{float(usable.mean()):.4g}"]
    for name in kept:
        sample = part[name][usable]
        sample = sample[np.isfinite(sample)]
        low, middle, high = central_interval(sample, SHARE) if sample.size >= FEW else (np.nan,) * 3
        row += [f"{middle:.6g}", f"{low:.6g}", f"{high:.6g}"]
    return row
