"""Nodes between the parts: what comes in from several of them and leaves in one way."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from thinstock.machine.told import OUTSIDE, Drawn, Stream, Wet, air_stream
from thinstock.machine.web import Around
from thinstock.relations import humid_air
from thinstock.words.quantity import Num

Node = Callable[[Sequence[Stream], Sequence[Drawn], Around], Iterable[Stream]]
"""Given the streams so far, the air drawn so far and the surroundings, the streams of the node."""


def felt(streams: Sequence[Stream], drawn: Sequence[Drawn], around: Around) -> Iterable[Stream]:
    """What leaves the felt: all that came into it."""
    total = Wet()
    for stream in streams:
        if stream.sink == "felt":
            total = total + stream
    yield total.stream("felt_water", "felt", OUTSIDE)


def dry_air(drawn: Drawn, around: Around) -> Num:
    """Dry air of the hall that a pump draws, kg/(s m)."""
    site, pressure = around.site, around.atmospheric_pressure - drawn.vacuum
    density = humid_air.density_mixture(site.room_temperature, site.room_humidity, pressure)
    return drawn.flow * density / (1 + site.room_humidity)


def vacuum_pumps(streams: Sequence[Stream], drawn: Sequence[Drawn], around: Around) -> Iterable[Stream]:
    """Air of the hall through the pumps, with their power as heat."""
    site = around.site
    air: Num = 0.0
    heat: Num = 0.0
    power: Num = 0.0
    for one in drawn:
        dry = dry_air(one, around)
        stream = air_stream(
            "vacuum_air", OUTSIDE, "vacuum pumps", dry, site.room_humidity, site.room_temperature, of=one.of
        )  # fmt: skip
        yield stream
        air, heat, power = air + stream.air, heat + stream.heat, power + one.power
    if drawn:
        yield Stream(id="vacuum_power", source=OUTSIDE, sink="vacuum pumps", heat=power)
        yield Stream(
            id="vacuum_exhaust", source="vacuum pumps", sink=OUTSIDE, air=air, water=air * site.room_humidity,
            heat=heat + power,
        )  # fmt: skip
