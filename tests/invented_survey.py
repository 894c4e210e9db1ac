"""Simulated rounds on a bundled machine: what its streams and points would read, drawn with stated uncertainties.

The constants of the machine that is read are set by the test, so that the truth is known. Not a mill.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from thinstock.machine.line import Machine
from thinstock.survey import Reading, Survey
from thinstock.survey.machine_model import MachineModel

ROWS: tuple[tuple[str, str, str], ...] = (
    ("thick", "flow", "1 %"),
    ("thick", "consistency", "2 %"),
    ("thick", "share:fines", "5 %"),
    ("fan", "flow", "3 %"),
    ("jet", "flow", "3 %"),
    ("jet", "consistency", "2.5 %"),
    ("jet", "share:fines", "6 %"),
    ("reject", "flow", "3 %"),
    ("wire_shower", "flow", "3 %"),
    ("white_water", "consistency", "6 %"),
    ("white_water", "share:fines", "6 %"),
    ("overflow", "flow", "3 %"),
    ("overflow", "consistency", "8 %"),
    ("web_formed", "consistency", "4 %"),
    ("web_vacuum", "consistency", "4 %"),
    ("felt_shower", "flow", "3 %"),
    ("felt_water", "flow", "7 %"),
    ("reel", "solids", "1 %"),
    ("reel", "consistency", "0.003"),
    ("end_of_forming", "position:share", "5 %"),
    ("steam", "flow", "2 %"),
    ("gas", "power", "1 %"),
    ("exhaust", "humidity", "4 %"),
    ("exhaust", "temperature", "5"),
    ("shell", "temperature", "2"),
    ("hood_air", "temperature", "3"),
)
"""(stream, quantity, standard uncertainty: a share of the value or in SI)."""


def true_values(machine: Machine, rows: Sequence[tuple[str, str, str]] = ROWS) -> np.ndarray:
    """What the rows would read on the machine without any error."""
    return np.array(MachineModel(machine, [(s, q) for s, q, _ in rows]).readings({})[0])


def as_it_stands(machine: Machine, constants: Mapping[str, Any]) -> Machine:
    """The machine with other constants, its dryer settings where they must stand to hold the reel dryness."""
    changed = machine.with_(dict(constants))
    settings = {}
    if machine.yankee is not None and machine.hold_reel_dryness_by != "nothing":
        values = changed.run().values
        settings = {
            "hood.air_temperature": values["air_temperature"],
            "yankee.steam_pressure": values["steam_pressure"],
        }
        if machine.hood is not None:
            settings["hood.exhaust_humidity"] = values["exhaust_humidity"]
    return dataclasses.replace(changed.with_(settings), hold_reel_dryness_by="nothing")


def simulated(
    machine: Machine, seed: int, rows: Sequence[tuple[str, str, str]] = ROWS, heading: Mapping[str, str] | None = None
) -> Survey:
    """A round drawn around the truth."""
    generator = np.random.default_rng(seed)
    values = true_values(machine, rows)
    readings = []
    for (stream, quantity, text), value in zip(rows, values):
        u = abs(value) * float(text[:-1]) / 100 if text.endswith("%") else float(text)
        readings.append(Reading(stream, quantity, float(value + u * generator.standard_normal()), u))
    return Survey(tuple(readings), dict(heading or {}))


# -- the bundled survey --------------------------------------------------------------------------------------------

BUNDLED_TRUTH = {
    "stock.resistance_factor": 2.2,
    "stock.retention_long": 0.94,
    "stock.passing_grammage": 0.0115,
    "stock.mat_coefficient": 49.0,
    "vacuum.entry_factor": 0.17,
    "press.dewatering.permeability_factor": 1.15 / 0.95,
    "press.nip.suction_pressure_roll.rewet": 5.6e-3,
    "yankee.contact_level": 1.10,
    "hood.hood_factor": 0.67,
}
BUNDLED_SETTINGS = {"headbox.consistency": 0.00186, "stock.thick_consistency": 0.0305, "yankee.speed": 1750 / 60}
BUNDLED_PLANTED = ("jet", "flow")
"""The reading made wrong on purpose: it reads a quarter high (seed 20260)."""


def bundled_truth() -> Machine:
    """The machine that the bundled survey was drawn from."""
    from thinstock.case import load

    return as_it_stands(load("facial-roll").with_(BUNDLED_SETTINGS), BUNDLED_TRUTH)
