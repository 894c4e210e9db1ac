"""The short circulation: what goes round the wire pit, what it takes of fresh water, and how warm the thick stock is.

Per metre of width, components long fibre and fines. White water has the composition of the forming water; screens
reject what comes; showers are clean.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from thinstock.machine.outlines.dry import Cylinders, Group
from thinstock.machine.outlines.said import joined, told, written
from thinstock.machine.outlines.shape import Outline
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num, Part, Q


@dataclass(frozen=True, kw_only=True, eq=False)
class Loop(Part):
    """White-water loop, screens and showers of the wire."""

    reject_share: Annotated[Num, Q("reject_share", possible=(0, 0.5), unit="%")] = 0.015
    wire_shower: Annotated[Num, Q("shower_flow", possible=(0, 50), unit="kg/(s m)", label="showers on the wire")] = 2.5
    wire_shower_temperature: Annotated[
        Num, Q("water_temperature", possible=(274.15, 368.15), usual=(283.15, 333.15), unit="degC")
    ] = 313.15
    silo_mass: Annotated[
        Num,
        Q(
            "silo_mass",
            possible=(1, 1e8),
            unit="t",
            optional=True,
            label="stock in silo and pit",
        ),
    ] = None
    silo_flow_limit: Annotated[
        Num, Q("flow", possible=(0.1, 1e5), unit="kg/s", limit=True, label="tray and silo, largest flow")
    ] = None
    screen_flow_limit: Annotated[
        Num,
        Q("pump_flow_limit", possible=(1e-4, 100), unit="m3/min", limit=True, label="screens, largest flow"),
    ] = None


@dataclass(frozen=True, kw_only=True, eq=False)
class SteadyDryer(Part):
    """Drying of grades without a Yankee: by evaporation and a stated specific energy."""

    speed: Annotated[
        Num,
        Q("speed", possible=(0.05, 60), usual=(0.5, 35), unit="m/min", status="required", uncertainty=0.002),
    ]
    width: Annotated[Num, Q("face_width", possible=(0.1, 12), unit="m")] = 5.6
    heat_per_water: Annotated[
        Num,
        Q(
            "heat_per_water",
            possible=(1e6, 2e7),
            unit="MJ/kg",
            label="heat per kilogram of water evaporated",
            uncertainty=0.1,
        ),
    ] = 3.6e6
    evaporation_limit: Annotated[
        Num,
        Q(
            "evaporation",
            possible=(1e-4, 50),
            unit="kg/(s m)",
            limit=True,
            label="dryer, largest evaporation",
        ),
    ] = None
    boiler_efficiency: Annotated[Num, Q("efficiency", possible=(0.2, 1.05), usual=(0.88, 0.93))] = 0.90
    speed_limit: Annotated[
        Num, Q("speed", possible=(0.05, 60), unit="m/min", limit=True, hurts=True, label="rated speed")
    ] = None

    def outline(self, place: Group) -> Outline:
        """A drying group, schematic: drying is a stated specific energy, not computed cylinder by cylinder."""
        group, said = Cylinders(place), ""
        if place.evaporation is not None:
            said = phrase("drawing.dry.evaporates", evaporation=written("evaporation", place.evaporation))
        text = joined(
            said,
            phrase("drawing.dry.heat_stated", heat=told(self, "heat_per_water")),
            phrase("drawing.dry.cylinders"),
        )
        return Outline(
            part="drying group", name=phrase("drawing.part.drying_group"), text=text, shapes=group.shapes(),
            label=phrase("drawing.dry.group_label"), anchor=group.top[1].at(math.pi / 2),
        )  # fmt: skip
