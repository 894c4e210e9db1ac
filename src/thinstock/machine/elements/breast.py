"""A suction breast roll."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

import numpy as np

from thinstock.formula.traced import named
from thinstock.kernels.drainage import Element
from thinstock.machine.elements.base import Arriving, FormingElement, element, law
from thinstock.machine.geometry import Circle, Point, Pose
from thinstock.machine.outlines import former as drawn
from thinstock.machine.outlines.former import Bend, Jet, Stretch
from thinstock.machine.outlines.said import joined, told
from thinstock.machine.outlines.shape import Outline, roll
from thinstock.relations import contact_drying, drainage, joints
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num, Q, Words


@element("suction breast roll")
@dataclass(frozen=True, kw_only=True, eq=False)
class SuctionBreastRoll(FormingElement):
    """A suction roll where the jet lands: impact first, then the rest of the suction arc."""

    name: Annotated[str, Words()] = "suction breast roll"
    roll_diameter: Annotated[Num, Q("roll_diameter", possible=(0.2, 3), usual=(0.9, 1.2), unit="m")] = 1.0
    wrap: Annotated[Num, Q("wrap", possible=(0.02, 3), usual=(0.7, 1.1), unit="deg")] = float(np.radians(45.0))
    vacuum: Annotated[Num, Q("vacuum", possible=(0, 9e4), usual=(1e4, 2.5e4), unit="kPa")] = 20e3
    impact_angle: Annotated[Num, Q("impact_angle", possible=(0, np.pi / 2), unit="deg", status="from memory")] = float(
        np.radians(10.0)
    )
    impact_lengths: Annotated[Num, Q("impact_lengths", possible=(0, 10), status="published", source="DALPKE")] = 2.0
    roll_open_area: Annotated[Num, Q("roll_open_area", possible=(0.05, 1), usual=(0.4, 0.7))] = 0.5

    def build(self, arriving: Arriving) -> list[Element]:
        """Kernel elements in machine order."""
        impact = drainage.pressure_impact(arriving.density, arriving.jet_speed, self.impact_angle)
        first = named("pressure_drop", self.vacuum + impact)
        reach = joints.length_of_impact(self.impact_lengths, arriving.jet_thickness)
        arc = contact_drying.arc_length(self.roll_diameter, self.wrap)
        rest = joints.length_left(arc, reach)
        load_law = law(arriving, load=self.vacuum, gravity=1.0, curvature=named("curvature", 2.0 / self.roll_diameter))
        return [
            Element(name=f"{self.name}, impact", length=reach, wire_side=law(arriving, load=first), back_side=None),
            Element(name=self.name, length=rest, wire_side=load_law, back_side=None),
        ]

    own_breast: ClassVar[bool] = True
    grouped: ClassVar[int] = 0

    def bend(self, turned: float) -> Bend:
        """The arc of its box."""
        return Bend(float(self.roll_diameter) / 2, -float(self.wrap))

    def heading(self) -> float:
        """The wire leaves it level."""
        return float(self.wrap)

    def jet(self, begin: Pose, landing: Point, side: float) -> Jet:
        """It meets the roll at its angle."""
        return drawn.jet_at(landing, begin.heading - float(self.impact_angle))

    def outline(self, place: Stretch) -> Outline:
        """A roll with its suction box."""
        circle = Circle(place.arc.centre, place.arc.radius)
        text = joined(
            phrase("drawing.across", diameter=told(self, "roll_diameter")),
            phrase("drawing.forming.suction_box", wrap=told(self, "wrap"), vacuum=told(self, "vacuum")),
            phrase("drawing.forming.met", angle=told(self, "impact_angle")),
        )
        return Outline(
            part=self.name, name=self.name, label=self.name, text=text, anchor=circle.at(np.pi),
            shapes=(*roll(circle), *drawn.suction_arc(place.arc, circle, 0.35)),
        )  # fmt: skip
