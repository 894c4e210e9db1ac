"""Constants that are not constant: what a constant found at one setting is taken to be at another."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from thinstock.evidence.distributions import Normal
from thinstock.evidence.links import rewet_addresses
from thinstock.formula.label import Array, Num
from thinstock.machine.line import Machine

RESPONSES: Mapping[str, Mapping[str, float]] = {
    "press.dewatering.permeability_factor": {"speed": 0.25, "grade.reel_grammage": 0.5, "line_load": 0.25},
    "rewet": {"grade.reel_grammage": 0.3},
    "yankee.contact_level": {"speed": 0.3, "grade.reel_grammage": 0.2},
    "hood.hood_factor": {"speed": 0.2, "hood.jet_velocity": 0.2, "grade.reel_grammage": 0.1},
    "stock.mat_coefficient": {"speed": 0.2, "grade.reel_grammage": 0.2},
    "stock.resistance_factor": {"speed": 0.2, "grade.reel_grammage": 0.2},
}
"""By constant, the settings it may move with and one standard uncertainty of each exponent (assumed; the size of the
wrongness that was tried: a second round at another setting is what measures them)."""
PREFIX = "response."
FAR = 0.05
"""Share by which a setting may differ from the surveyed one before the assumption is told."""


def response(constant: str, setting: str) -> str:
    """Address of an exponent."""
    return f"{PREFIX}{constant}@{setting}"


def parts(address: str) -> tuple[str, str]:
    """(Constant, setting) of the address of an exponent."""
    constant, _, setting = address.removeprefix(PREFIX).partition("@")
    return constant, setting


def exponents_of(machine: Machine) -> dict[str, Normal]:
    """Every response exponent of a machine with what is believed of it."""
    found = {}
    last = rewet_addresses(machine)[-1]
    load = f"{last.rpartition('.')[0]}.line_load"
    known = dict(machine.addresses())
    for name, settings in RESPONSES.items():
        constant = last if name == "rewet" else name
        for called, spread in settings.items():
            setting = {"speed": machine.speed_address, "line_load": load}.get(called, called)
            if known.get(constant) is not None and known.get(setting) is not None:
                found[response(constant, setting)] = Normal(0.0, spread)
    return found


def settings_of(machine: Machine) -> dict[str, float]:
    """The settings that constants may move with, as they stand."""
    return {parts(one)[1]: float(machine.get(parts(one)[1])) for one in exponents_of(machine)}


def responded(
    values: Mapping[str, Array], settings: Mapping[str, Num], surveyed: Mapping[str, float]
) -> dict[str, Array]:
    """Values of draws with the constants at these settings; the exponents themselves are left out."""
    found = {name: column for name, column in values.items() if not name.startswith(PREFIX)}
    for name, exponent in values.items():
        if not name.startswith(PREFIX):
            continue
        constant, setting = parts(name)
        if constant in found and setting in settings and surveyed.get(setting, 0.0) > 0.0:
            ratio = np.asarray(settings[setting], dtype=float) / surveyed[setting]
            found[constant] = np.asarray(found[constant] * ratio**exponent)
    return found


def constant_at(constant: Num, exponent: Num, setting: Num, setting_surveyed: Num) -> Num:
    """A constant away from where it was found: constant * product of (setting / surveyed)^exponent.

    `exponent`, `setting` and `setting_surveyed` have one number for each setting (last axis).
    Source: ASSUMED. Status: assumed.
    """
    ratio = np.asarray(setting, dtype=float) / np.asarray(setting_surveyed, dtype=float)
    power = np.asarray(ratio ** np.asarray(exponent, dtype=float))
    found = np.asarray(constant, dtype=float) * (power.prod(axis=-1) if power.ndim else power)
    return found if np.ndim(found) else float(found)
