"""What a machine says each reading of a round should be, for many values of its constants in one run.

The dryer stands at its settings (nothing is held), so that the dryness at the reel is an answer and can be compared
with what was read. It knows no uncertainties.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from thinstock.formula.label import Array, worksheet
from thinstock.machine.line import Machine
from thinstock.machine.result import Result
from thinstock.machine.told import Stream

UNBOUND = ("yankee.steam_pressure_limit", "hood.air_temperature_limit")
"""Limits that a trial value may step over by a hair while slopes are taken; never in the machine that is given back."""


class MachineModel:
    """The readings of one round as a function of values at addresses of the machine."""

    def __init__(self, machine: Machine, rows: Sequence[tuple[str, str]]) -> None:
        self.machine = _standing(machine)
        self.rows = tuple(rows)
        self.width = float(machine.width)

    def at(self, values: Mapping[str, Any]) -> MachineModel:
        """The same readings on the machine with other values."""
        return MachineModel(self.machine.with_(dict(values)) if values else self.machine, self.rows)

    def of(self, rows: Sequence[tuple[str, str]]) -> MachineModel:
        """Other readings on the same machine."""
        return MachineModel(self.machine, rows)

    def readings(self, values: Mapping[str, Any], *, fast: bool = False) -> Array:
        """Cases x readings; nan where a case forms no sheet."""
        cases = max((np.size(v) for v in values.values()), default=1)
        columns = {name: np.broadcast_to(np.asarray(v, dtype=float), (cases,)) for name, v in values.items()}
        if not columns:
            columns = {"stock.temperature": np.broadcast_to(float(self.machine.stock.temperature), (cases,))}
        with worksheet(False):
            result = self.machine.with_(columns).run(fast=fast)
        streams = {s.name: s for s in result.streams}
        out = np.full((cases, len(self.rows)), np.nan)
        for i, (stream, quantity) in enumerate(self.rows):
            value = self._one(result, streams, stream, quantity)
            if value is not None:
                out[:, i] = np.broadcast_to(np.asarray(value, dtype=float), (cases,))
        return out

    def _one(self, result: Result, streams: Mapping[str, Stream], stream: str, quantity: str) -> Any:
        beside = BESIDE_BALANCE.get((stream, quantity))
        if beside is not None:
            return beside(result, streams, self.width)
        found = streams.get(stream)
        if found is None:
            return None
        return of_stream(found, quantity, self.width)


def of_stream(stream: Stream, quantity: str, width: float) -> Any:
    """A quantity of a stream, whole width, SI."""
    base, _, name = quantity.partition(":")
    flow = stream.fibre + stream.water + stream.air
    part = {"": stream.fibre, "fines": stream.fines, "fibre": stream.fibre - stream.fines}.get(name)
    with np.errstate(invalid="ignore", divide="ignore"):
        if base == "flow":
            return flow * width
        if base == "solids":
            return stream.fibre * width
        if base == "consistency" and part is not None:
            return part / flow
        if base == "share" and part is not None:
            return part / stream.fibre
    return stream.temperature if base == "temperature" else None


def _standing(machine: Machine) -> Machine:
    """The machine with its dryer at its settings, and without limits that a trial could touch."""
    free = {name: None for name in UNBOUND if _has(machine, name)}
    stood = machine.with_(free) if free else machine
    return dataclasses.replace(stood, hold_reel_dryness_by="nothing")


def _has(machine: Machine, name: str) -> bool:
    part = name.partition(".")[0]
    return getattr(machine, part, None) is not None


Pick = Callable[[Result, Mapping[str, Stream], float], Any]


def _value(name: str) -> Pick:
    return lambda result, streams, width: result.values.get(name)


def _per_width(name: str) -> Pick:
    return lambda result, streams, width: _times(result.values.get(name), width)


def _times(value: Any, factor: Any) -> Any:
    return None if value is None else value * factor


def _temperature(name: str) -> Pick:
    return lambda result, streams, width: streams[name].temperature if name in streams else None


def _gas_flow(result: Result, streams: Mapping[str, Stream], width: float) -> Any:
    power = result.values.get("gas_power")
    hood = result.machine.hood
    return None if power is None or hood is None else power / hood.lower_heating_value


def _dry_line(result: Result, streams: Mapping[str, Stream], width: float) -> Any:
    return result.parts.forming.dry_line


BESIDE_BALANCE: Mapping[tuple[str, str], Pick] = {
    ("end_of_forming", "position"): _dry_line,
    ("end_of_forming", "position:angle"): _value("end_of_forming_wrap"),
    ("end_of_forming", "position:share"): _value("end_of_forming"),
    ("steam", "flow"): _per_width("steam_flow"),
    ("gas", "flow"): _gas_flow,
    ("gas", "power"): _value("gas_power"),
    ("exhaust", "humidity"): _value("exhaust_humidity"),
    ("exhaust", "temperature"): _temperature("exhaust"),
    ("make_up", "temperature"): _temperature("make_up"),
    ("shell", "temperature"): _value("surface_temperature"),
    ("hood_air", "temperature"): _value("air_temperature"),
}
"""Points beside the balance."""
