"""A forming board."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from thinstock.kernels.drainage import Element
from thinstock.machine.elements.base import LENGTH, Arriving, FormingElement, element
from thinstock.machine.outlines import former as drawn
from thinstock.machine.outlines.former import Stretch
from thinstock.machine.outlines.said import told
from thinstock.machine.outlines.shape import Outline
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num, Words


@element("forming board")
@dataclass(frozen=True, kw_only=True, eq=False)
class FormingBoard(FormingElement):
    """A closed stretch under the jet: carries the wire, drains nothing."""

    name: Annotated[str, Words()] = "forming board"
    length: Annotated[Num, LENGTH] = 0.3

    def drains(self) -> bool:
        """Closed on both sides."""
        return False

    def build(self, arriving: Arriving) -> list[Element]:
        """Kernel elements in machine order."""
        return [Element(name=self.name, length=self.length, wire_side=None, back_side=None)]

    def outline(self, place: Stretch) -> Outline:
        """A plate under the wire."""
        return Outline(
            part=self.name, name=self.name, label=self.name,
            text=phrase("drawing.forming.board", length=told(self, "length")),
            shapes=drawn.plate_below(place), anchor=drawn.plate_anchor(place),
        )  # fmt: skip
