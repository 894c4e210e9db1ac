"""Table rolls."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, ClassVar

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.traced import convention
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


@element("table rolls")
@dataclass(frozen=True, kw_only=True, eq=False)
class TableRolls(FormingElement):
    """A table of rolls: gravity between them, a suction pulse at each."""

    name: Annotated[str, Words()] = "table rolls"
    number: Annotated[Num, Q("number", possible=(1, 100), usual=(4, 40), integer=True)] = 14
    pitch: Annotated[Num, Q("pitch", possible=(0.1, 3), usual=(0.25, 1.0), unit="m")] = 0.55
    roll_diameter: Annotated[Num, Q("roll_diameter", possible=(0.03, 1), usual=(0.16, 0.36), unit="mm")] = 0.20
    suction_cap: Annotated[
        Num, Q("suction_cap", possible=(0, 9e4), unit="kPa", status="common practice", source="COMMON_PRACTICE")
    ] = 5e3
    suction_mean_share: Annotated[Num, Q("share", possible=(0, 1), usual=(0.3, 0.7))] = 0.5

    def rules(self) -> Iterable[Fault]:
        if np.any(np.asarray(self.roll_diameter) >= np.asarray(self.pitch)):
            yield fault_in(
                "machine.table_rolls.roll_diameter",
                "roll_diameter",
                f"{float(np.max(self.roll_diameter)) * 1e3:.4g} mm",
            )

    def build(self, arriving: Arriving) -> list[Element]:
        """Kernel elements in machine order."""
        peak = drainage.suction_table_roll_taylor(arriving.density, arriving.speed, self.suction_cap)
        load = joints.mean_suction(self.suction_mean_share, peak)
        radius = self.roll_diameter / 2.0
        stretch = law(arriving, gravity=1.0)
        pulse = law(arriving, load=load, gravity=1.0)
        line = convention(0.0, phrase("machine.table_rolls.table_roll_touches_wire_on"))
        made: list[Element] = []
        for i in range(int(self.number)):
            made.append(Element(name=self.name, length=self.pitch, wire_side=stretch, back_side=None))
            made.append(
                Element(
                    name=f"{self.name} {i + 1}",
                    length=line,
                    wire_side=pulse,
                    back_side=None,
                    nip_radius=radius,
                )
            )
        return made

    grouped: ClassVar[int] = 2
    falls: ClassVar[bool] = True

    def outline(self, place: Stretch) -> Outline:
        """A row of rolls under the wire."""
        radius = float(self.roll_diameter) / 2
        text = joined(
            phrase("drawing.forming.rolls", number=int(self.number), diameter=told(self, "roll_diameter"),
                   pitch=told(self, "pitch")),
            phrase("drawing.forming.suction_cap", suction=told(self, "suction_cap")),
        )  # fmt: skip
        return Outline(
            part=self.name, name=self.name, label=self.name, text=text, shapes=drawn.rolls_below(place, radius),
            anchor=drawn.below(place, 2 * radius),
        )  # fmt: skip
