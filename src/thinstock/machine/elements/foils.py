"""Foil blades."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, ClassVar

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.traced import named
from thinstock.kernels.drainage import Element
from thinstock.machine.elements.base import Arriving, FormingElement, element, law
from thinstock.machine.outlines import former as drawn
from thinstock.machine.outlines.former import Stretch
from thinstock.machine.outlines.said import joined, told
from thinstock.machine.outlines.shape import Outline
from thinstock.relations import drainage, joints
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num, Q, Words


@element("foils")
@dataclass(frozen=True, kw_only=True, eq=False)
class Foils(FormingElement):
    """Foil blades: gravity between them, a capped suction over part of each blade."""

    name: Annotated[str, Words()] = "foils"
    number: Annotated[Num, Q("number", possible=(1, 200), usual=(4, 60), integer=True)] = 40
    pitch: Annotated[Num, Q("pitch", possible=(0.03, 2), usual=(0.12, 0.4), unit="m")] = 0.2
    foil_length: Annotated[Num, Q("foil_length", possible=(0.01, 0.5), unit="mm")] = 0.06
    foil_angle: Annotated[
        Num, Q("foil_angle", possible=(0, float(np.radians(25.0))), unit="deg", status="from memory")
    ] = float(np.radians(2.0))
    foil_angle_cap: Annotated[Num, Q("foil_angle_cap", possible=(0, 0.4363), unit="deg")] = float(np.radians(5.0))
    suction_share: Annotated[Num, Q("suction_share", possible=(0, 1))] = 0.25
    suction_cap: Annotated[
        Num, Q("suction_cap", possible=(0, 9e4), unit="kPa", status="common practice", source="COMMON_PRACTICE")
    ] = 5e3
    suction_mean_share: Annotated[Num, Q("share", possible=(0, 1), usual=(0.3, 0.7))] = 0.5
    slope: Annotated[Num, Q("slope", possible=(-1.2, 1.2), unit="deg")] = 0.0

    def rules(self) -> Iterable[Fault]:
        if np.any(np.asarray(self.foil_length) >= np.asarray(self.pitch)):
            yield fault_in("machine.foils.foil_length", "foil_length", str(self.foil_length))

    def build(self, arriving: Arriving) -> list[Element]:
        """Kernel elements in machine order."""
        peak = drainage.suction_table_roll_taylor(arriving.density, arriving.speed, self.suction_cap)
        load = joints.mean_suction(self.suction_mean_share, peak)
        cap = drainage.flux_cap_foil(arriving.speed, self.foil_angle, self.foil_angle_cap)
        gravity = named("gravity_share", np.cos(self.slope))
        blade = joints.blade_under_suction(self.suction_share, self.foil_length)
        gap = named("length", self.pitch - blade)
        stretch = law(arriving, gravity=gravity)
        wedge = law(arriving, load=load, gravity=gravity, flux_cap=cap)
        made: list[Element] = []
        for i in range(int(self.number)):
            made.append(Element(name=self.name, length=gap, wire_side=stretch, back_side=None))
            made.append(Element(name=f"{self.name} {i + 1}", length=blade, wire_side=wedge, back_side=None))
        return made

    grouped: ClassVar[int] = 2
    falls: ClassVar[bool] = True

    def fall(self, climb: float) -> float:
        """They stand on a run of their own slope."""
        return -float(self.slope)

    def outline(self, place: Stretch) -> Outline:
        """A row of blades under the wire."""
        length, angle = float(self.foil_length), float(self.foil_angle)
        said = phrase("drawing.forming.foil_angle", angle=told(self, "foil_angle"))
        if angle > float(self.foil_angle_cap) + 1e-9:
            said = phrase("drawing.forming.steep", said=said, cap=told(self, "foil_angle_cap"))
        blades = phrase("drawing.forming.blades", number=int(self.number), length=told(self, "foil_length"),
                        pitch=told(self, "pitch"))  # fmt: skip
        return Outline(
            part=self.name, name=self.name, label=self.name, text=joined(blades, said),
            shapes=drawn.blades_below(place, length, angle, float(self.suction_share) * length),
            anchor=drawn.below(place, 0.1, None),
        )  # fmt: skip
