"""The reel: the width and the time that count as production."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated, ClassVar

from thinstock.formula.traced import convention, named
from thinstock.machine.demand import Demand
from thinstock.machine.geometry import Circle
from thinstock.machine.outlines.dry import DRUM, PARENT, Winding
from thinstock.machine.outlines.said import in_unit, joined, written
from thinstock.machine.outlines.shape import Outline, roll
from thinstock.machine.part import Done, Part
from thinstock.machine.told import Station, said
from thinstock.machine.web import Around, Web
from thinstock.relations import creping, dryer_energy, joints
from thinstock.words.phrase import phrase
from thinstock.words.quantity import ANY, Fields, Num, Q, Words


@dataclass(frozen=True, kw_only=True, eq=False)
class Reel(Part):
    """What is wound up."""

    WITHOUT: ClassVar[Mapping[str, str]] = {
        "limits": phrase("machine.reel.what_wound_up_has_no"),
        "streams": phrase("machine.reel.sheet_to_reel_told_by"),
    }

    trim_width: Annotated[Num, Q("trim_width", possible=(0.05, 12), unit="m", status="required")] = 5.4
    grammage_cv_across: Annotated[Num, Q("grammage_cv_across", possible=(0, 0.3), unit="%")] = 0.0
    efficiency: Annotated[Num, Q("efficiency", possible=(0.05, 1), usual=(0.8, 1.0))] = 1.0
    idle_share: Annotated[Num, Q("idle_share", possible=(0, 1), unit="%")] = 0.5

    def production(self, demand: Demand, width: Num) -> Num:
        """What is wound up while running, shared over the machine's width, kg/(s m)."""
        whole = creping.production_reel(
            demand.reel_grammage, demand.reel_speed, self.trim_width, convention(1.0, "while running")
        )
        return named("mass_flow_per_width", whole / width)

    def places(self) -> Iterable[str]:
        """The reel."""
        return (said("stations", "reel"),)

    def cautions(self) -> Iterable[str]:
        """What turns."""
        return ("drives",)

    def run(self, web: Web, around: Around) -> tuple[Web, Wound]:
        """The sheet at reel speed: shorter by the crepe, heavier for it."""
        speed = around.demand.reel_speed
        fibre = joints.grammage_at_speed(web.fibre, web.speed, speed)
        out = web.with_(carrier="reel", speed=speed, fibre=fibre)
        return out, Wound(into=web, out=out, around=around, part=self)

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
class Wound(Done):
    """The reel at work."""

    part: Reel

    def values(self) -> Mapping[str, Num]:
        """Production while running and over time, and what heat burnt while no paper is made adds."""
        reel, demand, width = self.part, self.around.demand, self.out.width
        return {
            "production": reel.production(demand, width) * width,
            "production_average": creping.production_reel(
                demand.reel_grammage, demand.reel_speed, reel.trim_width, reel.efficiency
            ),
            "idle_factor": dryer_energy.idle_factor(reel.efficiency, reel.idle_share),
        }

    def stations(self) -> Iterable[Station]:
        """The reel."""
        web = self.out
        yield Station(
            name=said("stations", "reel"), dryness=web.dryness,
            moisture_ratio=web.moisture_ratio,
            grammage=web.fibre, temperature=web.temperature, speed=web.speed,
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Prices(Fields):
    """Prices in the user's own currency; without them money is shown as not given."""

    currency: Annotated[str, Words()] = ""
    electricity: Annotated[Num, Q("price_energy", possible=(0, 1e-5), unit="money/MWh", optional=True, usual=ANY)] = (
        None
    )
    steam: Annotated[Num, Q("price_energy", possible=(0, 1e-5), unit="money/MWh", optional=True, usual=ANY)] = None
    gas: Annotated[Num, Q("price_energy", possible=(0, 1e-5), unit="money/MWh", optional=True, usual=ANY)] = None
    fresh_water: Annotated[Num, Q("price_mass", possible=(0, 1), unit="money/t", optional=True, usual=ANY)] = None
