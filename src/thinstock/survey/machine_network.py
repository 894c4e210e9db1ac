"""The network of a machine, taken from its own run: streams and nodes, what carries no fibre, what is alike.

The nodes from thick stock to reel are balanced in flow, long fibre and fines, and in heat where temperatures were
read. The hood's air is not part of it; what the hood says of the sheet comes in as one reading (`heat_balance`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.formula.label import worksheet
from thinstock.machine.line import Machine
from thinstock.machine.result import Result
from thinstock.machine.told import Stream
from thinstock.survey.faults import SurveyError
from thinstock.survey.network import HEAT, OUTSIDE, Network, kind_of, network_from_streams
from thinstock.survey.table import Reading
from thinstock.words.constants import water_heat_capacity_sheet
from thinstock.words.fault import fault_in

NODES = ("mixing", "screens", "headbox", "forming", "silo", "vacuum", "press", "felt", "yankee")
"""Nodes of the balance, in the order of the sheet."""
COMPONENTS = ("fibre", "fines")
"""Long fibre and fines; together they are the consistency. Fibre alone, where nothing was read of fines, is both."""
SCREENED = ("fan", "accept", "jet", "reject")
"""Screens and headbox change no composition."""
STIRRED = ("white_water", "overflow")
"""What is drawn from the silo is what stands in it."""
MAY_CARRY = ("vacuum_water", "nip_water", "felt_water", "forming_water")
"""Waters that the machine gives as free of fibre, and that carry some in a mill."""
EASIER = (1.0, 0.3, 0.1)
"""Shares of the resistance factor tried, in turn, for a machine that forms no sheet as it stands."""


@dataclass(frozen=True, kw_only=True, eq=False)
class MachineNetwork:
    """A machine as a network with values to start from."""

    network: Network
    start: dict[tuple[str, str], float]
    """(stream, quantity) -> value of the machine's run, whole width, SI."""
    width: float
    free_of_fibre: tuple[str, ...]
    """Waters taken as free of fibre because no reading says otherwise."""
    result: Result
    """The run it was taken from."""


def run_with_sheet(machine: Machine) -> Result:
    """A run that forms a sheet; where the machine as given forms none, with less resistance of the mat."""
    factor = float(machine.stock.resistance_factor)
    with worksheet(False):
        for share in EASIER:
            result = machine.with_({"stock.resistance_factor": share * factor}).run() if share < 1 else machine.run()
            if bool(result.values["formed"]):
                return result
    raise SurveyError(fault_in("survey.machine_network.machine", "machine", machine.title))


def network_of_machine(machine: Machine, readings: Iterable[Reading] = ()) -> MachineNetwork:
    """The network of a machine; what was read decides what is balanced and which waters may carry fibre.

    Fines are balanced where something was read of them, heat where temperatures were.
    Source: DERIVED. Status: derived.
    """
    result = run_with_sheet(machine)
    rows = [s for s in result.streams if _belongs(s)]
    names = [s.name for s in rows]
    given = [r for r in readings if r.stream in names]
    clean = _clean(rows, given)
    components = _components(given)
    sources = {"mixing": {HEAT: _fan_power(result) * float(machine.width)}} if HEAT in components else {}
    network = network_from_streams(
        [(s.name, s.source if s.source in NODES else OUTSIDE, s.sink if s.sink in NODES else OUTSIDE) for s in rows],
        components,
        clean=clean,
        same_composition=_alike(rows),
        sources=sources,
    )
    return MachineNetwork(
        network=network,
        start=_start(rows, components, float(machine.width)),
        width=float(machine.width),
        free_of_fibre=tuple(n for n in clean if kind_of(n) in MAY_CARRY),
        result=result,
    )


def flow_of(stream: Stream) -> Any:
    """Mass flow per metre of width, kg/(s m)."""
    return stream.fibre + stream.water + stream.air


def _belongs(stream: Stream) -> bool:
    """Whether a stream is one of the balance: it carries stock, web or water between its nodes."""
    inside = stream.source in NODES or stream.sink in NODES
    return inside and float(np.max(np.abs(flow_of(stream)))) > 0.0 and stream.name != "combustion"


def _components(given: list[Reading]) -> tuple[str, ...]:
    apart = any(r.quantity.partition(":")[2] for r in given)
    heat = any(r.quantity == "temperature" for r in given)
    return (*(COMPONENTS if apart else COMPONENTS[:1]), *((HEAT,) if heat else ()))


def _clean(rows: list[Stream], given: list[Reading]) -> tuple[str, ...]:
    """Streams without fibre in the run, less those whose solids were read; nips and felt go together."""
    solids = {r.stream for r in given if r.quantity not in ("flow", "temperature")}
    felt = any(s.name in solids for s in rows if s.id in ("nip_water", "felt_water"))
    return tuple(
        s.name
        for s in rows
        if float(np.max(np.abs(s.fibre))) == 0.0
        and not (s.id in MAY_CARRY and (s.name in solids or (felt and s.id != "vacuum_water")))
    )


def _alike(rows: list[Stream]) -> list[tuple[str, str]]:
    """Pairs of the same composition."""
    groups = [SCREENED, STIRRED]
    names = [s.name for s in rows]
    forming = [s.name for s in rows if s.id == "forming_water"]
    if len(forming) == 1:
        groups[1] = (*forming, *STIRRED)
    pairs = []
    for group in groups:
        there = [n for n in group if n in names]
        pairs += [(there[0], other) for other in there[1:]]
    return pairs


def _start(rows: list[Stream], components: tuple[str, ...], width: float) -> dict[tuple[str, str], float]:
    found: dict[tuple[str, str], float] = {}
    for s in rows:
        flow = float(flow_of(s))
        found[s.name, "flow"] = flow * width
        fines = float(s.fines) if COMPONENTS[1] in components else 0.0
        found[s.name, "consistency:fibre"] = (float(s.fibre) - fines) / flow
        if COMPONENTS[1] in components:
            found[s.name, "consistency:fines"] = fines / flow
        if HEAT in components and s.temperature is not None:
            found[s.name, f"consistency:{HEAT}"] = float(s.temperature) * water_heat_capacity_sheet
    return found


def _fan_power(result: Result) -> float:
    return next((float(s.heat) for s in result.streams if s.id == "fan_power"), 0.0)
