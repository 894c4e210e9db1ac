"""A wet or suction box inside the forming zone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from thinstock.kernels.drainage import Element
from thinstock.machine.elements.base import LENGTH, Arriving, FormingElement, element, law
from thinstock.machine.outlines import former as drawn
from thinstock.machine.outlines.former import Stretch
from thinstock.machine.outlines.said import told
from thinstock.machine.outlines.shape import Outline
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num, Q, Words


@element("forming box")
@dataclass(frozen=True, kw_only=True, eq=False)
class FormingBox(FormingElement):
    """A box under the wire inside the forming zone, with a constant load (wet box) or vacuum."""

    name: Annotated[str, Words()] = "wet box"
    length: Annotated[Num, LENGTH] = 0.3
    vacuum: Annotated[Num, Q("vacuum", possible=(0, 9e4), usual=(200, 1.5e4), unit="kPa")] = 600.0

    def build(self, arriving: Arriving) -> list[Element]:
        """Kernel elements in machine order."""
        load_law = law(arriving, load=self.vacuum, gravity=1.0)
        return [Element(name=self.name, length=self.length, wire_side=load_law, back_side=None)]

    deep: ClassVar[float] = 0.32

    def outline(self, place: Stretch) -> Outline:
        """A box under the wire."""
        text = phrase("drawing.forming.box", length=told(self, "length"), vacuum=told(self, "vacuum"))
        return Outline(
            part=self.name, name=self.name, label=self.name, text=text, shapes=drawn.box_below(place),
            anchor=drawn.box_anchor(place),
        )  # fmt: skip
