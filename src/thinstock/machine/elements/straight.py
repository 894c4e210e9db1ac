"""A free run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, ClassVar

from thinstock.kernels.drainage import Element
from thinstock.machine.elements.base import LENGTH, Arriving, FormingElement, element
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num, Words


@element("straight")
@dataclass(frozen=True, kw_only=True, eq=False)
class Straight(FormingElement):
    """A free run between rolls: nothing drains."""

    WITHOUT: ClassVar[Mapping[str, str]] = {
        **FormingElement.WITHOUT,
        "outline": phrase("machine.straight.free_run_nothing_stands_there"),
    }

    name: Annotated[str, Words()] = "straight"
    length: Annotated[Num, LENGTH] = 0.3

    def drains(self) -> bool:
        """Closed on both sides."""
        return False

    def build(self, arriving: Arriving) -> list[Element]:
        """Kernel elements in machine order."""
        return [Element(name=self.name, length=self.length, wire_side=None, back_side=None)]
