"""The machine's own figures beside published ranges; a range whose boundary differs is told and not compared."""

from __future__ import annotations

from dataclasses import dataclass

from thinstock import library
from thinstock.machine.line import Machine
from thinstock.machine.result import Result
from thinstock.studies.facts import fact

KINDS = {"m³/t": 1.0, "kWh/t": 3600.0, "%": 0.01, "m/s": 1.0, "s": 1.0, "kg/(h m2)": 1.0 / 3600.0}
"""Base SI of a printed unit; a cubic metre of water is taken as a tonne."""


@dataclass(frozen=True, kw_only=True)
class Beside:
    """One published range and the machine's figure."""

    id: str
    kind: str
    of: str
    label: str
    low: float | None
    """In the unit as printed."""
    high: float | None
    unit: str
    scope: str
    status: str
    held: str
    source: str
    differs: str
    """In what its boundary differs; empty where it may be compared."""
    value: float | None
    """The machine's own figure in that unit; None where it has none."""
    measured: bool

    @property
    def verdict(self) -> str:
        """ "inside", "below", "above", or "not compared"."""
        if self.differs or self.value is None:
            return "not compared"
        if self.low is not None and self.value < self.low:
            return "below"
        return "above" if self.high is not None and self.value > self.high else "inside"


def benchmarks(
    machine: Machine, measured: dict[str, float] | None = None, result: Result | None = None
) -> tuple[Beside, ...]:
    """Every published range with the machine's figure beside it.

    Parameters
    ----------
    machine : Machine
        One case.
    measured : dict of float, optional
        Values of a survey, base SI by the name of the result: they stand in the place of the computed ones.
    result : Result, optional
        A run of it that is known already.

    Returns
    -------
    tuple of Beside
        In the order of the file; figures in the printed units.

    Raises
    ------
    Refused
        As a run does.

    Source: library/benchmarks.toml, each range with its source, how it is held, and its boundary.
    """
    found = machine.run() if result is None else result
    read = measured or {}
    rows = []
    for row in library.table("benchmarks")["range"]:
        name = row["of"]
        known = fact(found, name) if name else None
        value = read.get(name, None if known is None else known.value)
        boundary = row["boundary"]
        differs = "" if boundary in ("same", "circuit") else boundary
        if boundary == "circuit" and machine.circuit is None:
            differs = library.table("benchmarks")["without_circuit"]
        rows.append(
            Beside(
                id=row["id"], kind=row["kind"], of=name, label=known.label if known is not None else "",
                low=row.get("low"), high=row.get("high"), unit=row["unit"].replace("m2", "m²"), scope=row["scope"],
                status=row["status"], held=row["held"], source=row["source"], differs=differs,
                value=None if value is None else value / KINDS[row["unit"]], measured=name in read,
            )
        )  # fmt: skip
    return tuple(rows)
