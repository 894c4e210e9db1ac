"""Facts of a run that print speaks of and that are no number of their own: shares of heat, dwell, air, drained shares.

Each is read off the parts of the run by its name; nothing is modelled here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Final

import numpy as np

from thinstock.library import table
from thinstock.machine.elements import TableRolls
from thinstock.machine.limits import limits
from thinstock.machine.result import Result
from thinstock.words.quantity import Num

VACUUM: Final = ("vacuum", "roll_vacuum", "felt_boxes")
"""Users of energy that are vacuum pumps."""


def _heat(result: Result, id: str) -> Num:
    return sum(stream.heat for stream in result.streams if stream.id == id)


def _reel_speed(result: Result) -> Num:
    return result.parts.dryer.around.demand.reel_speed


def _of_users(result: Result, ids: tuple[str, ...]) -> Num:
    return sum(user.per_mass for user in result.energy if user.id in ids)


def _box_air(result: Result) -> Num:
    flows = [nip.box_air_flow for nip in result.parts.press.nips if nip.box_air_flow]
    return max(flows) / result.machine.press.felt.boxes.slot_width


def _gravity(result: Result) -> Num:
    """Share of the former's water that drains between the rolls of a table, under the weight of the stock alone."""
    formed = result.parts.forming
    water = np.asarray(formed.drained.white_water)[0].sum(axis=-1)
    rolls = {one.name for one in result.machine.forming.element if isinstance(one, TableRolls)}
    free = sum(float(water[first:last:2].sum()) for name, first, last in formed.rows if name in rolls)
    return free / float(water.sum()) if rolls else np.nan


def _drying_limit(result: Result) -> Num:
    speeds = [row.speed for row in limits(result.machine) if row.id == "drying"]
    return np.nan if not speeds or speeds[0] is None else speeds[0]


def _before_last_slot(result: Result) -> Num:
    """Dryness before the last slot under the wire."""
    slots = [slot for slot in result.parts.vacuum.slots if slot.carrier == "wire"]
    return 1.0 / (1.0 + slots[-1].moisture_ratio_in)


def _contact_coefficient_dry(result: Result) -> Num:
    yankee = result.machine.yankee
    return np.nan if yankee is None else yankee.contact_coefficient_dry


FACTS: Final[Mapping[str, Callable[[Result], Num]]] = {
    "contact_heat": lambda r: _heat(r, "contact_heat"),
    "hood_heat": lambda r: _heat(r, "sheet_heat"),
    "hood_fans": lambda r: _of_users(r, ("hood_fans",)),
    "reel_speed": _reel_speed,
    "latent_heat": lambda r: r.parts.dryer.latent_heat,
    "vacuum_electricity": lambda r: _of_users(r, VACUUM),
    "felt_box_dwell": lambda r: r.machine.press.felt.boxes.slot_width / r.machine.speed,
    "felt_box_air": _box_air,
    "gravity_share": _gravity,
    "drying_limit": _drying_limit,
    "dryness_before_couch": _before_last_slot,
    "dryness_first_press": lambda r: r.parts.press.nips[0].dryness,
    "contact_coefficient_dry": _contact_coefficient_dry,
    "gel_crowding": lambda r: float(table("formation")["floc"]["gel_crowding"]["value"]),
    "rewet": lambda r: r.parts.press.nips[-1].rewet,
}
"""Further facts by name, SI."""


class Facts(Mapping[str, Num]):
    """The numbers of a run and these facts, each worked out when it is asked for."""

    def __init__(self, result: Result) -> None:
        self.result = result
        self._found: dict[str, Num] = {}

    def __contains__(self, name: object) -> bool:
        return name in FACTS or self.result.values.get(str(name)) is not None

    def __getitem__(self, name: str) -> Num:
        if name not in FACTS:
            return self.result.values[name]
        if name not in self._found:
            self._found[name] = FACTS[name](self.result)
        return self._found[name]

    def __iter__(self) -> Iterator[str]:
        return iter({**self.result.values, **FACTS})

    def __len__(self) -> int:
        return len({**self.result.values, **FACTS})
