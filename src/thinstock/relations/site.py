"""Air pressure at the mill's altitude. Not weather: the standard atmosphere only."""

from __future__ import annotations

from thinstock.formula.label import Num, relation


@relation(
    "atmospheric_pressure = standard_pressure*(1 - 0.0065*altitude/288.15)**5.25588",
    source="ISO_2533",
    status="from memory",
    holds={"altitude": (-500.0, 11000.0)},
    in_units={"altitude": "m"},
)
def atmospheric_pressure_altitude(altitude: Num) -> Num:
    """Air pressure in the standard atmosphere at an altitude, Pa.

    Picture: the air above weighs less on a hill; 100 m cost about 1.2 kPa.
    Use for: turning gauge steam pressure and vacuum into absolute. Not for: weather, which moves it by ±3 kPa.
    In print: ISO 2533, troposphere with 6.5 K per km. Made from: hydrostatics of an ideal gas.
    """
    return 101325.0 * (1 - 0.0065 * altitude / 288.15) ** 5.25588
