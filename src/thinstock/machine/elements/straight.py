"""A free run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, ClassVar

from thinstock.kernels.drainage import Element
from thinstock.machine.elements.base import LENGTH, Arriving, FormingElement, element
from thinstock.words.quantity import Num, Words


@element("straight")
@dataclass(frozen=True, kw_only=True, eq=False)
class Straight(FormingElement):
    """A free run between rolls: nothing drains."""

    WITHOUT: ClassVar[Mapping[str, str]] = {
        **FormingElement.WITHOUT,
        "outline": "a free run: nothing stands there but the fabrics",
    }

    name: Annotated[str, Words()] = "straight"
    length: Annotated[Num, LENGTH] = 0.3

    def drains(self) -> bool:
        """Closed on both sides."""
        return False

    def build(self, arriving: Arriving) -> list[Element]:
        """Kernel elements in machine order."""
        return [Element(name=self.name, length=self.length, wire_side=None, back_side=None)]
