"""Vacuum boxes under an inclined wire with its pond."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, ClassVar

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.traced import convention, named
from thinstock.kernels.drainage import Element
from thinstock.machine.elements.base import Arriving, FormingElement, element, law
from thinstock.machine.geometry import Point, Pose
from thinstock.machine.outlines import former as drawn
from thinstock.machine.outlines.former import Jet, Stretch
from thinstock.machine.outlines.said import joined, told
from thinstock.machine.outlines.shape import Outline
from thinstock.relations import drainage, joints
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num, Q, Words


@element("inclined boxes")
@dataclass(frozen=True, kw_only=True, eq=False)
class InclinedBoxes(FormingElement):
    """Vacuum boxes under a wire that climbs out of a pond; the pond's pressure falls to zero along them."""

    name: Annotated[str, Words()] = "inclined boxes"
    number: Annotated[Num, Q("number", possible=(1, 30), usual=(2, 10), integer=True)] = 4
    length: Annotated[Num, Q("length", possible=(0.02, 3), usual=(0.1, 0.5), unit="m")] = 0.25
    vacuum: Annotated[Num, Q("vacuum", possible=(0, 9e4), usual=(2e3, 1e4), unit="kPa")] = 6e3
    pond_head: Annotated[Num, Q("pond_head", possible=(0, 2), unit="m", status="from memory")] = 0.25
    slope: Annotated[Num, Q("slope", possible=(0, 1.0), usual=(0.15, 0.5), unit="deg")] = float(np.radians(20.0))

    def rules(self) -> Iterable[Fault]:
        climb = np.asarray(self.number) * np.asarray(self.length) * np.sin(np.asarray(self.slope))
        if np.any(np.asarray(self.pond_head) > climb + 1e-12):
            yield fault_in(
                "machine.inclined.pond_head",
                "pond_head",
                f"{float(np.max(self.pond_head)):.3g} m",
                climb=f"{float(np.min(climb)):.3g}",
            )

    def build(self, arriving: Arriving) -> list[Element]:
        """Kernel elements in machine order."""
        made: list[Element] = []
        count = int(self.number)
        drop = joints.pressure_step_pond(
            arriving.density, self.pond_head, convention(float(count), phrase("machine.inclined.number_boxes"))
        )
        weight = self._weight()
        for i in range(count):
            end = convention((i + 1) / count, phrase("machine.inclined.end_box_as_share_all"))
            load = drainage.pressure_inclined_wire(self.vacuum, arriving.density, self.pond_head, end)
            load_law = law(arriving, load=load, head=drop, gravity=weight)
            made.append(Element(name=f"{self.name} {i + 1}", length=self.length, wire_side=load_law, back_side=None))
        return made

    def _weight(self) -> Num:
        """Share of the stock's own weight that presses: none under a pond, which carries itself."""
        dry = np.asarray(self.pond_head) == 0
        if not np.any(dry):
            return 0.0
        weight = named("gravity_share", np.cos(self.slope))
        return weight if np.all(dry) else np.where(dry, weight, 0.0)

    deep: ClassVar[float] = 0.36

    def climb(self) -> float:
        """The whole wire climbs with it."""
        return float(self.slope)

    def heading(self) -> float:
        """Up the wire."""
        return float(self.slope)

    def jet(self, begin: Pose, landing: Point, side: float) -> Jet:
        """Stock comes into the pond."""
        return drawn.jet_into_pond(landing, self.pond_head)

    def outline(self, place: Stretch) -> Outline:
        """The pond, its roof, and the boxes under the wire."""
        boxes = [s for a, b in place.spans for s in drawn.box_below(dataclasses.replace(place, start=a, end=b), 0.36)]
        water, roof = drawn.pond(place, float(self.pond_head))
        text = joined(
            phrase("drawing.forming.boxes", number=int(self.number), length=told(self, "length"),
                   vacuum=told(self, "vacuum")),
            phrase("drawing.forming.climbs", slope=told(self, "slope")),
            phrase("drawing.forming.pond", depth=told(self, "pond_head")),
        )  # fmt: skip
        return Outline(
            part=self.name, name=self.name, label=self.name, text=text, shapes=(water, *boxes, roof),
            anchor=drawn.below(place, 0.36, None),
        )  # fmt: skip
