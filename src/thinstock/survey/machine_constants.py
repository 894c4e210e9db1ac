"""Which constants of a machine a survey can fix, which settings of the round go with them, and what each needs.

Priors are the machine file's uncertainties where it states them, else the library's judgement. Settings (flows,
consistencies, grammage, air and steam) are fitted along with the constants, so that an error in them is carried.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.evidence.beliefs import belief, standard_uncertainty
from thinstock.machine.line import Machine
from thinstock.survey.machine_network import SCREENED
from thinstock.survey.round import Round
from thinstock.survey.table import Reading
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Q


@dataclass(frozen=True, kw_only=True)
class Unknown:
    """One value of the machine that is looked for."""

    address: str
    label: str
    centre: float
    """Value to begin from, and mean of the prior, SI."""
    spread: float
    """Standard uncertainty of the prior, SI."""
    log: bool
    """Looked for on the logarithm."""
    low: float
    high: float
    bound: bool = True
    """True: the prior holds. False: it only gives the scale, the readings decide alone."""

    @property
    def scale(self) -> float:
        """One unit of the fitted variable, in ln or in SI."""
        return float(np.log1p(self.spread / self.centre)) if self.log else self.spread

    def value(self, unit: Any) -> Any:
        """SI value at so many units from the centre."""
        return self.centre * np.exp(self.scale * unit) if self.log else self.centre + self.scale * unit

    def unit(self, value: Any) -> Any:
        """The inverse."""
        return np.log(value / self.centre) / self.scale if self.log else (value - self.centre) / self.scale

    def si(self, spread: float, at: float) -> float:
        """A standard uncertainty in units as one in SI, at a value."""
        return float(spread * self.scale * (at if self.log else 1.0))


LABELS: Mapping[str, str] = {
    "resistance_factor": phrase("survey.machine_constants.drainage_resistance_factor"),
    "retention_long": phrase("survey.machine_constants.retention_long_fibre"),
    "passing_grammage": phrase("survey.machine_constants.passing_grammage_fines"),
    "retention": phrase("survey.machine_constants.total_retention"),
    "mat_coefficient": phrase("survey.machine_constants.mat_consistency_dryness_leaving_former"),
    "entry_factor": phrase("survey.machine_constants.capillary_entry_dryness_into_press"),
    "permeability_factor": phrase("survey.machine_constants.press_permeability"),
    "rewet": phrase("survey.machine_constants.rewet_last_nip"),
    "contact_level": phrase("survey.machine_constants.contact_level_yankee"),
    "hood_factor": phrase("survey.machine_constants.hood_factor"),
}
"""The constants in the order in which they are calibrated, in words."""

LENDERS: Mapping[str, str] = {"rewet": "permeability_factor", "retention_long": "passing_grammage"}
"""A constant whose library value may be leaned on while another is found."""

CARRIES: Mapping[str, str] = {
    "resistance_factor": (phrase("survey.machine_constants.it_carries_freeness_fabric_as")),
    "permeability_factor": (phrase("survey.machine_constants.it_belongs_to_line_load")),
    "contact_level": phrase("survey.machine_constants.it_carries_condensate_side_shell"),
    "hood_factor": phrase("survey.machine_constants.it_carries_nozzle_contraction_emissivity"),
}
"""What goes into a constant without being told apart."""


def constants_of(machine: Machine) -> tuple[Unknown, ...]:
    """The constants of this machine that a survey may fix, with their priors."""
    addresses = ["stock.resistance_factor"]
    addresses += ["stock.retention_long", "stock.passing_grammage"] if machine.stock.retention is None else []
    addresses += ["stock.retention"] if machine.stock.retention is not None else []
    addresses.append("stock.mat_coefficient")
    addresses += ["vacuum.entry_factor"] if machine.vacuum.slot else []
    addresses.append("press.dewatering.permeability_factor")
    addresses += [w for w, _ in machine.addresses() if w.startswith("press.nip.") and w.endswith(".rewet")][-1:]
    if machine.yankee is not None:
        addresses += ["yankee.contact_level", "hood.hood_factor"]
    return tuple(_constant(machine, where) for where in addresses)


LINEAR = ("retention_long", "retention", "rewet")


def _constant(machine: Machine, where: str) -> Unknown:
    last = where.rpartition(".")[2]
    return _unknown(machine, where, LABELS[last], log=last not in LINEAR)


def _unknown(
    machine: Machine, where: str, label: str, *, log: bool, spread: float | None = None, bound: bool = True
) -> Unknown:
    about = machine.declaration(where).about
    assert isinstance(about, Q)
    value = float(machine.get(where))
    given = machine.given.get(where)
    row = belief(about)
    judged = standard_uncertainty(row, value) if row is not None else 0.0
    stated = given.uncertainty if given is not None and given.uncertainty else judged
    return Unknown(
        address=where,
        label=label,
        centre=value,
        spread=float(spread if spread is not None else stated),
        log=log,
        low=max(float(about.possible[0]), value * 1e-3 if log else -np.inf),
        high=float(about.possible[1]),
        bound=bound,
    )


def settings_of(round_: Round, machine: Machine) -> tuple[Unknown, ...]:
    """Settings of the round that its readings decide, and those whose stated uncertainty is carried along."""
    read = _Read(round_.survey.readings)
    found = []

    def free(where: str, share: float) -> None:
        if float(machine.get(where)) > 0.0:
            spread = share * float(machine.get(where))
            found.append(_unknown(machine, where, where, log=True, spread=spread, bound=False))

    if read.any(("reel", "web_pressed", "web_vacuum", "web_formed"), ("flow", "solids")) or read.any(
        ("thick", *SCREENED), ("flow",)
    ):
        free("grade.reel_grammage", 0.1)
    if read.any(SCREENED, ("consistency", "solids")):
        free("headbox.consistency", 0.1)
    if read.any(("thick",), ("consistency", "solids")):
        free("stock.thick_consistency", 0.1)
    if read.shares():
        free("stock.fines_share", 0.2)
    for stream, where in (
        ("reject", "loop.reject_share"),
        ("wire_shower", "loop.wire_shower"),
        ("felt_shower", "press.felt.shower"),
    ):
        if read.any((stream,), ("flow",)):
            free(where, 0.2)
    found.append(_unknown(machine, "stock.temperature", "stock.temperature", log=False, spread=0.5))
    if machine.yankee is not None and machine.hood is not None and read.dryer():
        found += _dryer_settings(round_, machine, read)
    return tuple(found)


def _dryer_settings(round_: Round, machine: Machine, read: _Read) -> list[Unknown]:
    def one(where: str, spread: float, *, bound: bool = True, log: bool = False) -> Unknown:
        return _unknown(machine, where, where, log=log, spread=spread, bound=bound)

    holder = machine.hold_reel_dryness_by
    stated = round_.settings
    loose_air = holder == "hood temperature" and "hood.air_temperature" not in stated
    loose_steam = holder == "steam pressure" and "yankee.steam_pressure" not in stated
    hot, damp = read.any(("hood_air",), ("temperature",)), read.any(("exhaust",), ("humidity",))
    pressure = float(machine.get("yankee.steam_pressure"))
    found = [
        one("hood.air_temperature", 30.0 if loose_air or hot else 5.0, bound=not hot),
        one("yankee.steam_pressure", (0.2 if loose_steam else 0.02) * pressure, log=True),
        one("hood.exhaust_humidity", 0.05, bound=not damp),
        one("hood.leakage", 0.04),
    ]
    if machine.hood is not None and machine.hood.heating == "gas":
        made_up = read.any(("make_up",), ("temperature",))
        if machine.hood.make_up_temperature is not None:
            found.append(one("hood.make_up_temperature", 20.0, bound=not made_up))
        elif float(machine.hood.heat_recovery) > 0.0:
            found.append(one("hood.heat_recovery", 0.1, bound=not made_up))
    return found


class _Read:
    """What was read, to be asked."""

    def __init__(self, readings: tuple[Reading, ...]) -> None:
        self.keys = {(r.stream, r.quantity) for r in readings}

    def any(self, streams: tuple[str, ...], quantities: tuple[str, ...]) -> bool:
        return any((s, q) in self.keys for s in streams for q in quantities)

    def shares(self) -> bool:
        return any(":" in q and q.partition(":")[0] in ("share", "consistency") for _, q in self.keys)

    def dryer(self) -> bool:
        return any(s in ("steam", "gas", "exhaust", "shell", "hood_air", "reel", "vapour") for s, _ in self.keys)
