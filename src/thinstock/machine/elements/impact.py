"""The jet meeting an open fabric."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

import numpy as np

from thinstock.formula.traced import convention
from thinstock.kernels.drainage import Element
from thinstock.machine.elements.base import Arriving, FormingElement, element, law
from thinstock.machine.geometry import Point, Pose
from thinstock.machine.outlines import former as drawn
from thinstock.machine.outlines.former import Bend, Jet, Stretch
from thinstock.machine.outlines.said import in_unit, joined, told
from thinstock.machine.outlines.shape import Outline, ring, roll
from thinstock.relations import drainage, joints
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num, Q, Words


@element("jet impact")
@dataclass(frozen=True, kw_only=True, eq=False)
class JetImpact(FormingElement):
    """The jet meeting an open fabric: stagnation pressure over about two jet thicknesses."""

    name: Annotated[str, Words()] = "jet impact"
    impact_angle: Annotated[Num, Q("impact_angle", possible=(0, np.pi / 2), unit="deg", status="from memory")] = float(
        np.radians(15.0)
    )
    impact_lengths: Annotated[Num, Q("impact_lengths", possible=(0, 10), status="published", source="DALPKE")] = 2.0
    roll_diameter: Annotated[Num, Q("roll_diameter", possible=(0.2, 3), usual=(0.6, 1.2), unit="m")] = 0.9
    outgoing_share: Annotated[Num, Q("outgoing_share", possible=(0, 1))] = 0.0

    def build(self, arriving: Arriving) -> list[Element]:
        """Kernel elements in machine order; where the roll does not vent, its outgoing side sucks like a table roll."""
        load = drainage.pressure_impact(arriving.density, arriving.jet_speed, self.impact_angle)
        length = joints.length_of_impact(self.impact_lengths, arriving.jet_thickness)
        made = [Element(name=self.name, length=length, wire_side=law(arriving, load=load), back_side=None)]
        if np.any(np.asarray(self.outgoing_share) > 0):
            peak = drainage.suction_table_roll_taylor(arriving.density, arriving.speed, np.inf)
            suck = law(arriving, load=joints.mean_suction(0.5 * self.outgoing_share, peak), gravity=1.0)
            radius = self.roll_diameter / 2.0
            line = convention(0.0, phrase("machine.table_rolls.table_roll_touches_wire_on"))
            made.append(Element(name=f"{self.name}, outgoing", length=line, wire_side=suck, nip_radius=radius))
        return made

    own_breast: ClassVar[bool] = True

    def bend(self, turned: float) -> Bend:
        """The open roll, up to its top."""
        return Bend(drawn.BREAST, -drawn.LANDING)

    def heading(self) -> float:
        """It meets the roll ahead of its top."""
        return drawn.LANDING

    def jet(self, begin: Pose, landing: Point, side: float) -> Jet:
        """It meets the roll at its angle."""
        return drawn.jet_at(landing, begin.heading - float(self.impact_angle))

    def outline(self, place: Stretch) -> Outline:
        """The open breast roll it meets."""
        circle = drawn.breast_roll(place.path)
        name = phrase("drawing.part.open_breast_roll")
        text = joined(
            phrase("drawing.forming.open_roll", diameter=in_unit(2 * circle.radius, "m")),
            phrase("drawing.forming.met", angle=told(self, "impact_angle")),
        )
        return Outline(
            part="breast roll", name=name, label=name, text=text, anchor=circle.at(np.pi),
            shapes=(*roll(circle), ring(circle, 0.86 * circle.radius, "open")),
        )  # fmt: skip
