"""What every element of a former is: lengths and pressure laws for the one march, and the register of kinds.

One march serves every former (`kernels.drainage`); an element only turns its own geometry and loads into lengths and
pressure laws. Nothing here decides how much drains.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable, Mapping
from typing import ClassVar, NamedTuple, TypeVar

import numpy as np

from thinstock.kernels.drainage import Element, Law
from thinstock.machine.outlines.former import OnFabric
from thinstock.machine.part import Kind
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num, Q

E = TypeVar("E", bound="FormingElement")

KINDS: dict[str, type[FormingElement]] = {}
"""The word in a machine file for each kind of element, in the order in which forms offer them."""


class Arriving(NamedTuple):
    """What an element must know of the stock that reaches it."""

    speed: Num
    density: Num
    stock_depth: Num
    jet_thickness: Num
    jet_speed: Num
    fabric_resistance: Num
    fabric_inertia: Num
    fabric_mass: Num


class Entry(NamedTuple):
    """What a roll asks of the jet that enters its gap."""

    depth_held: Num
    """Depth of stock that the fabric's tension can turn, m."""
    jet_speed_lowest: Num
    radius: Num
    wrap: Num = np.float64(np.nan)
    """Where forming ends on it, rad."""


class FormingElement(OnFabric, Kind, base=True):
    """One element of a former. Its limit is the former's: forming must end somewhere inside; its water is a stream."""

    WITHOUT: ClassVar[Mapping[str, str]] = {
        "limits": phrase("machine.base.elements_drain_together_former_has"),
        "streams": phrase("machine.base.its_share_white_water_told"),
    }
    name: str

    @abstractmethod
    def build(self, arriving: Arriving) -> list[Element]:
        """Kernel elements in machine order."""

    def drains(self) -> bool:
        """Whether water can leave through a side of it."""
        return True

    def feeds_felt(self) -> bool:
        """Whether its back side is a felt that may take water."""
        return False

    def entry(self, arriving: Arriving) -> Entry | None:
        """What it asks of the jet, if it is a roll that turns the stock."""
        return None


def element(kind: str) -> Callable[[type[E]], type[E]]:
    """Enter a kind of element under its word in machine files."""

    def enter(cls: type[E]) -> type[E]:
        KINDS[kind] = cls
        return cls

    return enter


def law(arriving: Arriving, **fields: Num) -> Law:
    """A pressure law through the fabric that the stock comes to."""
    return Law(fabric_resistance=arriving.fabric_resistance, fabric_inertia=arriving.fabric_inertia, **fields)


LENGTH = Q("length", possible=(0, 30), unit="m", status="assumed")
