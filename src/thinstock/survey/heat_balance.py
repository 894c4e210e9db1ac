"""How much water the dryer took, from the heat that took it: a reading where nobody can reach the sheet.

Between press and Yankee a running sheet cannot be sampled. Steam, gas and exhaust air say by their heat what was
evaporated; what the readings have in common with others of the survey goes with it as covariance. It is one more
reading, not a measurement of its own: an error in steam or gas is in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from thinstock.machine.line import Machine
from thinstock.relations import humid_air, steam
from thinstock.survey.machine_network import MachineNetwork
from thinstock.survey.table import Reading, Survey
from thinstock.words import constants
from thinstock.words.phrase import phrase

MAKE_UP = 20.0
"""Standard uncertainty of the make-up air's temperature where the machine states none, K (assumed)."""
LEAKAGE = 0.04
"""Standard uncertainty of the share of hall air that leaks in (library judgement)."""
LOSSES = 0.5
"""Relative standard uncertainty of wall losses and heat of desorption, taken from the machine's run (assumed)."""
METHOD = phrase("survey.heat_balance.heat_balance_yankee_hood")


@dataclass(frozen=True, kw_only=True, eq=False)
class HeatBalance:
    """Water evaporated in the dryer, kg/s, by its heat."""

    evaporation: float
    standard_uncertainty: float
    parts: tuple[tuple[str, float], ...]
    """(what it rests on, change of the evaporation for one standard uncertainty of it), largest first."""
    slopes: Mapping[int, float]
    """Change per unit of each reading used, by the reading's number in the survey."""
    assumed: Mapping[str, float]
    """Of what the machine supplies: change for one standard uncertainty. The same in every round on that machine."""

    def added_to(self, balance: Survey, survey: Survey, inside: list[int]) -> Survey:
        """The survey of the balance with this as one more reading, and its covariance with the others."""
        row = Reading("vapour", "flow", self.evaporation, self.standard_uncertainty, METHOD)
        covariance = survey.covariance()
        number = len(balance.readings)
        shared = {}
        for place, i in enumerate(inside):
            common = sum(slope * covariance[k, i] for k, slope in self.slopes.items())
            if common != 0.0:
                shared[number, place] = float(common)
        return replace(balance, readings=(*balance.readings, row), shared={**balance.shared, **shared})


def evaporation_by_heat(machine: Machine, survey: Survey, network: MachineNetwork) -> HeatBalance | None:
    """The evaporation by heat, where it is needed and everything for it was read; else None.

    It is needed where neither the vapour nor the web between press and dryer was read.
    Source: DERIVED. Status: derived (heat and water balance of Yankee and hood; losses from the machine's run).
    """
    if machine.yankee is None or machine.hood is None or machine.hood.heating != "gas":
        return None
    if any(
        r.stream == "vapour" or (r.stream == "web_pressed" and r.quantity != "temperature") for r in survey.readings
    ):
        return None
    used = _used(survey)
    if not {"steam", "gas", "humidity", "exhaust_temperature"} <= set(used):
        return None
    inputs = {name: (survey.readings[i].value, survey.readings[i].standard_uncertainty) for name, i in used.items()}
    if survey.readings[used["gas"]].quantity == "flow":
        value, spread = inputs["gas"]
        heat = float(machine.hood.lower_heating_value)
        inputs["gas"] = (value * heat, spread * heat)
    inputs |= _assumed(machine, network, inputs)
    return _balance(machine, network, survey, used, inputs)


def _used(survey: Survey) -> dict[str, int]:
    """The reading that serves each input, by its number."""
    wanted = {
        ("steam", "flow"): "steam",
        ("gas", "flow"): "gas",
        ("gas", "power"): "gas",
        ("exhaust", "humidity"): "humidity",
        ("exhaust", "temperature"): "exhaust_temperature",
        ("make_up", "temperature"): "make_up_temperature",
        ("reel", "solids"): "solids",
        ("reel", "consistency"): "dryness",
    }
    found: dict[str, int] = {}
    for i, reading in enumerate(survey.readings):
        name = wanted.get((reading.stream, reading.quantity))
        if name is not None:
            found.setdefault(name, i)
    return found


def _assumed(machine: Machine, network: MachineNetwork, known: Mapping[str, Any]) -> dict[str, tuple[float, float]]:
    """What the machine supplies where nothing was read."""
    hood, values = machine.hood, network.result.values
    assert hood is not None
    reel = next(s for s in network.result.streams if s.id == "reel")
    width = network.width
    found = {"leakage": (float(hood.leakage), LEAKAGE), "losses": (1.0, LOSSES)}
    if "make_up_temperature" not in known:
        found["make_up_temperature"] = (float(network.result.parts.yankee.dried.make_up_temperature), MAKE_UP)
    if "solids" not in known:
        found["solids"] = (float(reel.fibre) * width, 0.02 * float(reel.fibre) * width)
    if "dryness" not in known:
        found["dryness"] = (float(values["reel_dryness_reached"]), 0.005)
    return found


def _balance(
    machine: Machine,
    network: MachineNetwork,
    survey: Survey,
    used: Mapping[str, int],
    inputs: Mapping[str, tuple[float, float]],
) -> HeatBalance:
    centre = {name: value for name, (value, _) in inputs.items()}
    evaporation = _evaporation(machine, network, centre)
    slopes: dict[str, float] = {}
    for name, (value, spread) in inputs.items():
        up = _evaporation(machine, network, centre | {name: value + 0.5 * spread})
        down = _evaporation(machine, network, centre | {name: value - 0.5 * spread})
        slopes[name] = (up - down) / spread
    by_reading = {}
    for name, i in used.items():
        if name in slopes:
            scale = inputs[name][1] / survey.readings[i].standard_uncertainty
            by_reading[i] = slopes[name] * scale
    covariance = survey.covariance()
    numbers = list(by_reading)
    c = np.array([by_reading[i] for i in numbers])
    variance = float(c @ covariance[np.ix_(numbers, numbers)] @ c)
    variance += sum((slopes[n] * inputs[n][1]) ** 2 for n in inputs if n not in used)
    parts = [(n.replace("_", " "), slopes[n] * inputs[n][1]) for n in inputs]
    return HeatBalance(
        evaporation=evaporation,
        standard_uncertainty=float(np.sqrt(variance)),
        parts=tuple(sorted(parts, key=lambda p: -abs(p[1]))),
        slopes=by_reading,
        assumed={n: slopes[n] * inputs[n][1] for n in inputs if n not in used},
    )


def _evaporation(machine: Machine, network: MachineNetwork, given: Mapping[str, float]) -> float:
    """Water evaporated, kg/s, at which heat in and out of Yankee and hood are equal (linear in the evaporation)."""
    surplus = [_surplus(machine, network, given, e) for e in (0.0, 1.0)]
    return surplus[0] / (surplus[0] - surplus[1])


def _surplus(machine: Machine, network: MachineNetwork, given: Mapping[str, float], evaporation: float) -> float:
    """Heat that comes in less heat that goes out, W, at an evaporation."""
    hood, yankee, site = machine.hood, machine.yankee, machine.site
    assert hood is not None and yankee is not None
    parts, width = network.result.parts, network.width
    dry, dried = parts.dryer, parts.yankee.dried
    fibre = given["solids"]
    left = fibre * (1.0 / given["dryness"] - 1.0)
    latent = float(steam.latent_heat_fit(dried.steam_temperature))
    condensed = given["steam"] * latent * (1.0 - float(yankee.head_loss_share))
    contact = condensed - width * float(dried.bare_heat + dry.shell_load)
    burnt = float(hood.combustion_water_ratio) / float(hood.lower_heating_value) * given["gas"]
    air = (evaporation + burnt) / (given["humidity"] - float(site.room_humidity))
    leak = given["leakage"] * air
    room = float(humid_air.enthalpy_mixture(site.room_temperature, site.room_humidity))
    make_up = float(humid_air.enthalpy_mixture(given["make_up_temperature"], site.room_humidity))
    out = float(humid_air.enthalpy_mixture(given["exhaust_temperature"], given["humidity"]))
    fuel = given["gas"] + burnt * constants.vaporisation_enthalpy_ice_point
    sheet_in = _wet_heat(fibre, left + evaporation, float(parts.press.out.temperature))
    sheet_out = _wet_heat(fibre, left, float(dry.sheet_temperature))
    losses = given["losses"] * width * float(dried.hood_loss + dried.desorption_heat)
    came = sheet_in + contact + fuel + width * float(dried.fan_heat) + (air - leak) * make_up + leak * room
    return came - sheet_out - losses - air * out


def _wet_heat(fibre: float, water: float, temperature: float) -> float:
    capacity = fibre * constants.fibre_heat_capacity_dry + water * constants.water_heat_capacity_sheet
    return float(capacity * (temperature - constants.ice_point))
