"""One round of readings on one machine: the table read against the machine's own streams and points.

Readings of the balance go to the reconciliation; those beside it (end of forming, steam, gas, exhaust, shell) wait
for the calibration, or say by the heat they carry how dry the sheet went to the dryer. Nothing is filled in.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path
from typing import Any

from thinstock.case import values
from thinstock.case.shapes import shapes
from thinstock.errors import Fault, Refused
from thinstock.machine.line import Machine
from thinstock.survey.edge import edge_unit
from thinstock.survey.faults import SurveyError, nearest, refuse
from thinstock.survey.heat_balance import HeatBalance, evaporation_by_heat
from thinstock.survey.machine_network import MachineNetwork, network_of_machine
from thinstock.survey.table import COLUMNS, Reading, Survey, read_survey
from thinstock.words import address, units
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Fields

BESIDE: Mapping[str, tuple[str, ...]] = {
    "end_of_forming": ("position",),
    "steam": ("flow",),
    "gas": ("flow", "power"),
    "exhaust": ("humidity", "temperature"),
    "make_up": ("temperature",),
    "shell": ("temperature",),
    "hood_air": ("temperature",),
}
"""Points that are no stream of the balance, with what may be read there."""
OF_THE_DRYER = ("steam", "gas", "exhaust", "make_up", "shell", "hood_air")


@dataclass(frozen=True, kw_only=True, eq=False)
class Round:
    """A table of readings on a machine."""

    machine: Machine
    """With the settings the table states for the round."""
    survey: Survey
    """All readings as given."""
    balance: Survey
    """Those of the balance, with what the heat balance adds."""
    beside: tuple[Reading, ...]
    """Those that no balance of the streams can check."""
    network: MachineNetwork
    heat: HeatBalance | None
    """How dry the sheet came to the dryer by the heat that dried it, where its dryness was not read."""
    settings: Mapping[str, Any]
    """Addresses stated in the heading."""

    @property
    def name(self) -> str:
        """What the survey calls itself."""
        stated = self.survey.heading.get("survey", "")
        return stated or (self.survey.origin.name if self.survey.origin is not None else "the survey")


def bundled() -> tuple[str, ...]:
    """Names of the bundled surveys; each belongs to the bundled machine of the same name."""
    folder = files("thinstock").joinpath("library", "surveys")
    return tuple(sorted(f.name[:-4] for f in folder.iterdir() if f.name.endswith(".csv")))


def table_path(name: str | os.PathLike[str]) -> Path:
    """The file of a table: a path, or the name of a bundled survey."""
    if isinstance(name, str) and name in bundled() and not Path(name).is_file():
        return Path(str(files("thinstock").joinpath("library", "surveys", f"{name}.csv")))
    return Path(name)


def points_of(machine: Machine, network: MachineNetwork) -> tuple[str, ...]:
    """Every name that may stand in the column `stream`."""
    dryer = machine.yankee is not None
    gas = machine.hood is not None and machine.hood.heating == "gas"
    beside = [p for p in BESIDE if (dryer or p not in OF_THE_DRYER) and (gas or p != "gas")]
    return (*network.network.streams, *beside)


def read_round(table: str | os.PathLike[str], machine: Machine) -> Round:
    """A table of readings, read for a machine.

    Parameters
    ----------
    table : str or path
        A CSV, XLSX or Parquet file, or the name of a bundled survey.
    machine : Machine
        The machine the readings were taken on; settings that the heading states are put into it.

    Returns
    -------
    Round
        Readings in base SI with their standard uncertainties, and the network of the machine's streams.

    Raises
    ------
    Refused
        Everything wrong with the table at once (`SurveyError`).

    Source: the table.
    """
    path = table_path(table)
    streams = points_of(machine, network_of_machine(machine))
    survey = read_survey(path, streams=streams, skip_blank=True)
    faults = list(_row_faults(survey, path.name))
    settings = {}
    try:
        settings = stated_settings(survey.heading, machine)
    except Refused as refused:
        faults += [replace(f, file=path.name) for f in refused.faults]
    if faults:
        raise SurveyError(faults)
    return round_of(survey, machine.with_(settings) if settings else machine, settings)


def round_of(survey: Survey, machine: Machine, settings: Mapping[str, Any] | None = None) -> Round:
    """A survey on a machine that stands as it stood while the readings were taken."""
    network = network_of_machine(machine, survey.readings)
    inside = [i for i, r in enumerate(survey.readings) if r.stream in network.network.streams]
    beside = tuple(r for r in survey.readings if r.stream not in network.network.streams)
    balance = replace(survey, readings=tuple(survey.readings[i] for i in inside), origin=None)
    heat = evaporation_by_heat(machine, survey, network)
    if heat is not None:
        balance = heat.added_to(balance, survey, inside)
    return Round(
        machine=machine,
        survey=survey,
        balance=balance,
        beside=beside,
        network=network,
        heat=heat,
        settings=settings or {},
    )


def stated_settings(heading: Mapping[str, str], machine: Machine) -> dict[str, Any]:
    """Values of the machine that the heading states: keys with a dot, such as `yankee.speed: 1850 m/min`."""
    faults: list[Fault] = []
    found: dict[str, Any] = {}
    air = float(machine.site.atmospheric_pressure())
    for key, text in heading.items():
        if "." not in key or " " in key:
            continue
        try:
            where = address.resolve(machine, key)
            *owners, last = address.split(where)
            owner = machine.get(address.join(owners)) if owners else machine
            shape = shapes(type(owner)).get(last) if isinstance(owner, Fields) else None
            if shape is None or shape.sort in ("part", "parts"):
                faults.append(fault_in("survey.round.part_machine_not_value", key, text))
                continue
            found[where] = values.read(shape, text, air)[0]
        except values.Unread as wrong:
            faults.append(Fault(field=key, value=wrong.value, bound=wrong.bound, remedy=wrong.remedy))
        except Refused as refused:
            faults += refused.faults
    if not faults and found:
        try:
            machine.with_(found)
        except Refused as refused:
            faults += refused.faults
    if faults:
        raise SurveyError(faults)
    return found


def _row_faults(survey: Survey, file: str) -> Iterator[Fault]:
    """What only the machine can tell: a quantity no such point has, a volume of steam, a row that stands twice."""
    seen: dict[tuple[str, ...], int] = {}
    for number, reading in enumerate(survey.readings, start=1):
        where = f"reading {number} ({reading.stream} {reading.given['quantity']})"
        base = reading.quantity.partition(":")[0]
        allowed = BESIDE.get(reading.stream)
        if allowed is not None and base not in allowed:
            remedy = phrase("survey.round.at_can_be_read", stream=reading.stream, allowed=", ".join(allowed))
            yield Fault(
                file=file, field=where, value=base, bound=phrase("survey.round.cannot_be_read_there"), remedy=remedy
            )
        elif allowed is None and base in ("power", "humidity", "position"):
            places = ", ".join(p for p, q in BESIDE.items() if base in q)
            yield Fault(
                file=file,
                field=where,
                value=base,
                bound=phrase("survey.round.cannot_be_read_there"),
                remedy=phrase("survey.round.read_it_at", places=places),
            )
        elif base == "flow" and _kind(reading) == "volume flow" and reading.stream in (*OF_THE_DRYER, "vapour"):
            remedy = phrase("survey.round.give_it_as_mass_for")
            yield Fault(
                file=file,
                field=where,
                value=reading.given["unit"],
                bound=phrase("survey.round.no_unit_its_flow"),
                remedy=remedy,
            )
        elif base == "flow" and _kind(reading) == "gas flow" and reading.stream != "gas":
            yield Fault(file=file, field=where, value=reading.given["unit"], bound=phrase("survey.round.unit_gas_flow"))
        row = tuple(str(reading.given[c]) for c in COLUMNS)
        if row in seen:
            remedy = phrase("survey.round.second_reading_same_thing_says")
            yield Fault(
                file=file,
                field=where,
                bound=phrase("survey.round.stands_twice_as_reading", seen=seen[row]),
                remedy=remedy,
            )
        seen.setdefault(row, number)


def _kind(reading: Reading) -> str:
    unit = edge_unit(str(reading.given["unit"]), "flow")
    return "" if isinstance(unit, str) else unit.kind


def check_same_machine(before: Round, after: Round) -> None:
    """Two rounds can be compared only on the same network."""
    a, b = before.network.network.streams, after.network.network.streams
    if a != b:
        other = next((s for s in b if s not in a), next((s for s in a if s not in b), ""))
        raise refuse("after", other, phrase("survey.round.stream_one_round_only"), nearest(other, a))


def shown(value: float, quantity: str) -> tuple[float, str]:
    """A value of a survey in the unit of the mill."""
    base = quantity.partition(":")[0]
    if base in ("consistency", "share") or quantity == "position:share":
        return 100.0 * value, "%"
    if base == "temperature":
        return value - 273.15, "°C"
    if base == "power":
        return value / 1e6, "MW"
    if quantity == "position:angle":
        return units.from_si(value, "deg", "angle"), "deg"
    return value, {"flow": "kg/s", "solids": "kg/s", "humidity": "kg/kg", "position": "m"}[base]
