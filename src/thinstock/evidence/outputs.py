"""Which numbers of a run a study asks for, and how they are picked out of it, for one case or many.

A name is a headline or other named number ("gas_per_product"), or a place in the run: `stations.felt_vacuum.dryness`,
`streams.white_water.water`, `energy.fan_pump.power`. Nothing is worked out here.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from thinstock.errors import Refused
from thinstock.machine.numbers import PLACES, headline, number
from thinstock.machine.result import Result
from thinstock.words.address import nearest
from thinstock.words.fault import fault_in


def label(name: str) -> str:
    """A result in plain words."""
    return number(name).label


def numbers(result: Result) -> list[str]:
    """Every named number of a run, headline first."""
    found = [name for name, value in result.values.items() if np.asarray(value).dtype.kind == "f"]
    first = [name for name in headline() if name in found]
    return [*first, *(name for name in found if name not in first)]


def places(result: Result) -> list[str]:
    """Every name that can be asked for."""
    names = numbers(result)
    names += [f"stations.{_said(s.name)}.{key}" for s in result.stations for key in PLACES["stations"]]
    names += [f"streams.{_said(s.name)}.{key}" for s in result.streams for key in PLACES["streams"]]
    names += [f"energy.{_said(c.name)}.{key}" for c in result.energy for key in PLACES["energy"]]
    return list(dict.fromkeys(names))


def checked(result: Result, names: Iterable[str]) -> tuple[str, ...]:
    """The names, all of which this run has; unknown ones are refused together with the nearest."""
    wanted = tuple(dict.fromkeys(names))
    known = places(result)
    faults = [
        fault_in("studies.outputs.no_result_this_name", name, nearest=", ".join(nearest(name, known)) or "none")
        for name in wanted
        if name not in known
    ]
    if faults:
        raise Refused(faults)
    return wanted


def pick(result: Result, name: str) -> Any:
    """One number of a run; nan where the run has none."""
    if name in result.values:
        value = result.values[name]
        return np.nan if value is None else value
    kind, _, rest = name.partition(".")
    part, _, key = rest.rpartition(".")
    things: tuple[Any, ...] = {"stations": result.stations, "streams": result.streams, "energy": result.energy}.get(
        kind, ()
    )
    for thing in things:
        if _said(thing.name) == part:
            value = getattr(thing, key)
            return np.nan if value is None else value
    return np.nan


def _said(name: str) -> str:
    return name.replace(":", "").replace(" ", "_").replace(",", "").replace(".", "")
