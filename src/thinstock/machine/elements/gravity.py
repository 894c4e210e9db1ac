"""An open stretch of wire."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from thinstock.kernels.drainage import Element
from thinstock.machine.elements.base import LENGTH, Arriving, FormingElement, element, law
from thinstock.machine.outlines import former as drawn
from thinstock.machine.outlines.former import Stretch
from thinstock.machine.outlines.said import told
from thinstock.machine.outlines.shape import Outline
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num, Words


@element("gravity table")
@dataclass(frozen=True, kw_only=True, eq=False)
class GravityTable(FormingElement):
    """A stretch of open wire on which only the weight of the stock drains."""

    name: Annotated[str, Words()] = "table"
    length: Annotated[Num, LENGTH] = 2.0

    def build(self, arriving: Arriving) -> list[Element]:
        """Kernel elements in machine order."""
        return [Element(name=self.name, length=self.length, wire_side=law(arriving, gravity=1.0), back_side=None)]

    def outline(self, place: Stretch) -> Outline:
        """A thin line under the open wire."""
        return Outline(
            part=self.name, name=self.name, label=self.name,
            text=phrase("drawing.forming.table", length=told(self, "length")),
            shapes=drawn.line_below(place), anchor=drawn.below(place, 0.05),
        )  # fmt: skip
