"""Where the machine stands: air pressure (gauge steam, vacuum and boiling need it), fresh water, hall air."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from thinstock.relations import site as relations
from thinstock.words.quantity import Fields, Num, Q


@dataclass(frozen=True, kw_only=True, eq=False)
class Site(Fields):
    """The surroundings of the machine."""

    altitude: Annotated[Num, Q("altitude", possible=(-500, 5000), usual=(0, 2500), unit="m")] = 0.0
    air_pressure: Annotated[Num, Q("atmospheric_pressure", possible=(50e3, 110e3), unit="kPa(a)", optional=True)] = None
    fresh_water_temperature: Annotated[
        Num, Q("water_temperature", possible=(273.15, 333.15), usual=(275.15, 313.15), unit="degC")
    ] = 288.15
    room_temperature: Annotated[Num, Q("room_temperature", possible=(253.15, 343.15), unit="degC")] = 308.15
    room_humidity: Annotated[Num, Q("room_humidity", possible=(0, 0.1))] = 0.02

    def atmospheric_pressure(self) -> Num:
        """Absolute air pressure, Pa."""
        if self.air_pressure is not None:
            return self.air_pressure
        return relations.atmospheric_pressure_altitude(self.altitude)
