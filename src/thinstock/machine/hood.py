"""The hood over the Yankee: nozzles, air, burner, and the balance of its air.

Where heat goes into the sheet is the kernel's work; here is what the hood is and what limits it. Burner, purge and
exhaust belong to the burner's maker and the fuel code.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from thinstock.errors import Fault
from thinstock.machine.outlines.dry import HOOD_DEPTH, OnYankee, hood_halves
from thinstock.machine.outlines.said import in_unit, joined, told
from thinstock.machine.outlines.shape import Outline
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import ANY, Choice, Fields, Num, Q

RECOVERY = {"gas": 0.60, "steam": 0.50}
"""Effectiveness of the exchanger where nothing is said, by how the air is heated (assumed)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Hood(Fields):
    """One hood with one state of air."""

    heating: Annotated[str, Choice(("gas", "steam"))] = "gas"
    air_temperature: Annotated[
        Num,
        Q(
            "air_temperature",
            possible=(303.15, 973.15),
            usual=(573.15, 783.15),
            unit="degC",
            status="required",
        ),
    ] = 723.15
    air_temperature_limit: Annotated[
        Num, Q("air_temperature", possible=(303.15, 973.15), unit="degC", limit=True, hurts=True)
    ] = None
    air_temperature_lowest: Annotated[Num, Q("air_temperature", possible=(303.15, 973.15), unit="degC", usual=ANY)] = (
        423.15
    )
    jet_velocity: Annotated[Num, Q("jet_velocity", possible=(1, 250), unit="m/s")] = 100.0
    start: Annotated[Num, Q("share", possible=(0, 1), unit="%", usual=ANY)] = 0.06
    covered: Annotated[Num, Q("share", possible=(0.01, 1), usual=(0.4, 0.65), unit="%")] = 0.60
    nozzle_diameter: Annotated[Num, Q("nozzle_diameter", possible=(1e-3, 0.05), unit="mm")] = 6e-3
    jet_open_area: Annotated[Num, Q("jet_open_area", possible=(1e-4, 0.5), unit="%")] = 0.017
    nozzle_gap: Annotated[Num, Q("nozzle_gap", possible=(2e-3, 0.5), unit="mm")] = 0.022
    contraction: Annotated[Num, Q("contraction", possible=(0.3, 1), usual=(0.6, 0.8))] = 0.75
    hood_factor: Annotated[Num, Q("hood_factor", possible=(0.05, 3))] = 0.621
    plate_offset: Annotated[Num, Q("plate_offset", possible=(0, 400), unit="K")] = 40.0
    emissivity: Annotated[Num, Q("emissivity", possible=(0, 1))] = 0.7
    exhaust_humidity: Annotated[Num, Q("exhaust_humidity", possible=(0.02, 1.2), unit="kg/kg")] = 0.40
    leakage: Annotated[Num, Q("leakage", possible=(0, 0.5), unit="%")] = 0.10
    heat_recovery: Annotated[Num, Q("heat_recovery", possible=(0, 0.9), unit="%", optional=True)] = None
    make_up_temperature: Annotated[
        Num, Q("make_up_temperature", possible=(263.15, 700), unit="degC", optional=True)
    ] = None
    hood_loss_share: Annotated[Num, Q("share", possible=(0, 0.5), usual=(0, 0.08), unit="%")] = 0.03
    fan_pressure: Annotated[Num, Q("pressure_rise", possible=(0, 3e4), usual=(4e3, 6e3), unit="kPa")] = 5e3
    fan_efficiency: Annotated[Num, Q("fan_efficiency", possible=(0.05, 1))] = 0.65
    fan_heat_share: Annotated[Num, Q("share", possible=(0, 1), unit="%", usual=ANY)] = 0.9
    lower_heating_value: Annotated[
        Num,
        Q("lower_heating_value", possible=(1e6, 1.3e8), unit="MJ/kg", status="from memory", source="COMMON_PRACTICE"),
    ] = 50e6
    combustion_water_ratio: Annotated[
        Num, Q("combustion_water_ratio", possible=(0, 9), unit="kg/kg", status="from memory", source="COMMON_PRACTICE")
    ] = 2.25
    heater_efficiency: Annotated[Num, Q("efficiency", possible=(0.2, 1.05), usual=(0.85, 1))] = 0.90
    open_coefficient: Annotated[
        Num, Q("heat_transfer_coefficient", possible=(0, 500), usual=(15, 60), unit="W/(m2 K)")
    ] = 30.0
    open_temperature: Annotated[Num, Q("open_air_temperature", possible=(273.15, 500), unit="degC")] = 338.15
    open_humidity: Annotated[Num, Q("open_humidity", possible=(0, 0.5), unit="kg/kg")] = 0.05
    film_sheet_temperature: Annotated[Num, Q("film_sheet_temperature", possible=(273.15, 420), unit="degC")] = 363.15
    burner_power_limit: Annotated[Num, Q("machine_power", possible=(1, 1e9), unit="MW", limit=True, hurts=True)] = None
    burner_power_lowest: Annotated[Num, Q("machine_power", possible=(0, 1e9), unit="kW", usual=ANY)] = 0.0
    exhaust_flow_limit: Annotated[Num, Q("flow", possible=(1e-3, 1e4), unit="kg/s", limit=True)] = None
    motor_efficiency: Annotated[Num, Q("efficiency", possible=(0.3, 1), usual=(0.88, 0.97))] = 0.93

    def __post_init__(self) -> None:
        if self.heat_recovery is None and self.make_up_temperature is None:
            object.__setattr__(self, "heat_recovery", RECOVERY[self.heating])
        super().__post_init__()

    def rules(self) -> Iterable[Fault]:
        if self.heat_recovery is not None and self.make_up_temperature is not None:
            yield fault_in("machine.hood.make_up_temperature", "make_up_temperature", "both given")
        if np.any(np.asarray(self.start) + np.asarray(self.covered) > 1):
            yield fault_in(
                "machine.hood.covered",
                "covered",
                f"{float(np.max(np.asarray(self.start) + np.asarray(self.covered))):.3g} of a turn",
            )
        limit = self.air_temperature_limit
        if limit is not None and np.any(np.asarray(self.air_temperature) > np.asarray(limit)):
            yield fault_in(
                "machine.hood.air_temperature",
                "air_temperature",
                f"{float(np.max(self.air_temperature)) - 273.15:.4g} °C",
                limit=f"{float(np.min(limit)) - 273.15:.4g}",
            )
        if self.heating == "steam" and np.any(np.asarray(self.air_temperature) > 473.15):
            yield fault_in(
                "machine.hood.steam_heated_hood_reaches_about",
                "air_temperature",
                f"{float(np.max(self.air_temperature)) - 273.15:.4g} °C",
            )

    def begins(self, nip: float) -> float:
        """The angle at which it starts, as seen from the Yankee's centre, behind a nip at this angle."""
        return nip - 2 * np.pi * float(self.start)

    def outline(self, place: OnYankee) -> Outline:
        """A ring in two halves over the part of the turn it covers."""
        start, turn = self.begins(place.nip), 2 * np.pi * float(self.covered)
        inner = place.circle.radius + float(self.nozzle_gap)
        air = told(self, "air_temperature")
        if place.air_temperature is not None:
            air = in_unit(place.air_temperature, "°C", kind="temperature")
        heated = {"gas": phrase("drawing.dry.gas_air", air=air), "steam": phrase("drawing.dry.steam_air", air=air)}
        text = joined(
            heated[self.heating],
            phrase("drawing.dry.jets", velocity=told(self, "jet_velocity")),
            phrase("drawing.dry.covered", share=told(self, "covered")),
        )
        name, centre = phrase("drawing.part.hood"), place.circle.centre
        return Outline(
            part="hood", name=name, label=name, text=text, shapes=hood_halves(centre, inner, start, turn),
            anchor=centre.beside(start - 0.3 * turn, inner + HOOD_DEPTH),
        )  # fmt: skip
