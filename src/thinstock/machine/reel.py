"""The reel: the width and the time that count as production."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from thinstock.machine.geometry import Circle
from thinstock.machine.outlines.dry import DRUM, PARENT, Winding
from thinstock.machine.outlines.said import in_unit, joined, written
from thinstock.machine.outlines.shape import Outline, roll
from thinstock.words.phrase import phrase
from thinstock.words.quantity import ANY, Num, Part, Q, Words


@dataclass(frozen=True, kw_only=True, eq=False)
class Reel(Part):
    """What is wound up."""

    trim_width: Annotated[Num, Q("trim_width", possible=(0.05, 12), unit="m", status="required")] = 5.4
    efficiency: Annotated[
        Num,
        Q("efficiency", possible=(0.05, 1), usual=(0.8, 1.0), label="time efficiency × (1 − reel waste)"),
    ] = 1.0

    def outline(self, place: Winding) -> Outline:
        """Drum and parent roll."""
        drum = Circle(place.drum, DRUM)
        parent = Circle(place.drum.beside(math.radians(28.0), DRUM + PARENT), PARENT)
        made = phrase("drawing.no_sheet")
        if place.production is not None:
            speed = written("speed", place.speed, digits=4)
            made = phrase("drawing.reel.makes", production=in_unit(place.production, "t/h"), speed=speed)
        name = phrase("drawing.part.reel")
        return Outline(
            part="reel", name=name, label=name, text=joined(made, place.wanted), anchor=parent.at(0.3),
            shapes=(*roll(drum), *roll(parent, "paper roll")),
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Prices(Part):
    """Prices in the user's own currency; without them money is shown as not given."""

    currency: Annotated[str, Words("name of the currency and the year of the prices")] = ""
    electricity: Annotated[
        Num,
        Q("price_energy", possible=(0, 1e-5), unit="money/MWh", optional=True, label="electricity, per MWh", usual=ANY),
    ] = None
    steam: Annotated[
        Num,
        Q(
            "price_energy",
            possible=(0, 1e-5),
            unit="money/MWh",
            optional=True,
            label="heat in steam, per MWh",
            usual=ANY,
        ),
    ] = None
    gas: Annotated[
        Num,
        Q(
            "price_energy",
            possible=(0, 1e-5),
            unit="money/MWh",
            optional=True,
            label="gas, per MWh lower heating value",
            usual=ANY,
        ),
    ] = None
    fresh_water: Annotated[
        Num, Q("price_mass", possible=(0, 1), unit="money/t", optional=True, label="fresh water, per tonne", usual=ANY)
    ] = None
