"""A forming roll between two fabrics."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, ClassVar

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.traced import named
from thinstock.kernels.drainage import Element, Law
from thinstock.machine.elements.base import Arriving, Entry, FormingElement, element, law
from thinstock.machine.geometry import Circle, Point, Pose
from thinstock.machine.outlines import former as drawn
from thinstock.machine.outlines.former import Bend, Jet, Stretch
from thinstock.machine.outlines.said import joined, told
from thinstock.machine.outlines.shape import Outline, roll
from thinstock.relations import contact_drying, drainage, jet
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Choice, Num, Q, Words

FREE_ARC = float(np.radians(30.0))
"""Part of a forming roll that fabrics need to come on and to leave (assumed)."""
SIDES = ("solid", "open", "suction")


@element("forming roll")
@dataclass(frozen=True, kw_only=True, eq=False)
class FormingRoll(FormingElement):
    """A forming roll between two fabrics: the tension of the outer one presses the water out through it.

    `outer` says which fabric lies outside (the side that drains): "wire" (first roll) or "back" (second roll of an S:
    felt or second wire outside). A solid roll lets nothing out on its own side; an open or suction roll does, less
    what centrifugal force takes from that side.
    """

    name: Annotated[str, Words()] = "forming roll"
    roll_diameter: Annotated[
        Num, Q("roll_diameter", possible=(0.2, 4), usual=(0.8, 1.7), unit="m", status="from memory")
    ] = 1.5
    wrap: Annotated[Num, Q("wrap", possible=(0.0, 2 * np.pi), usual=(1.3, 3.6), unit="deg", status="from memory")] = (
        float(np.radians(160.0))
    )
    inner_wrap: Annotated[Num, Q("wrap", possible=(0.0, 2 * np.pi), usual=(1.3, 4.2), unit="deg", optional=True)] = None
    fabric_tension: Annotated[
        Num,
        Q(
            "fabric_tension",
            possible=(100, 5e4),
            unit="kN/m",
            status="from memory",
        ),
    ] = 6e3
    outer: Annotated[str, Choice(("wire", "back"))] = "wire"
    roll: Annotated[str, Choice(SIDES)] = "solid"
    vacuum: Annotated[Num, Q("vacuum", possible=(0, 9e4), usual=(0, 1.5e4), unit="kPa")] = 0.0
    inner_uptake: Annotated[Num, Q("uptake", possible=(0, 5e-3), unit="mm")] = 0.0
    outer_uptake: Annotated[Num, Q("uptake", possible=(0, 5e-3), unit="mm", optional=True)] = None

    def rules(self) -> Iterable[Fault]:
        if self.inner_wrap is not None and np.any(np.asarray(self.inner_wrap) < np.asarray(self.wrap)):
            yield fault_in(
                "machine.roll.inner_wrap", "inner_wrap", f"{float(np.degrees(np.min(self.inner_wrap))):.4g}°"
            )
        for field in ("wrap", "inner_wrap"):
            longest = float(np.max(getattr(self, field))) if getattr(self, field) is not None else 0.0
            if longest > 2 * np.pi - FREE_ARC + 1e-9:
                yield fault_in(
                    "machine.roll.more_than_free_circumference_roll",
                    field,
                    f"{np.degrees(longest):.4g}°",
                    degrees=f"{np.degrees(2 * np.pi - FREE_ARC):.0f}",
                )
        if self.roll == "solid" and np.any(np.asarray(self.vacuum) > 0):
            yield fault_in("machine.roll.vacuum", "vacuum", f"{float(np.max(self.vacuum)):.4g} Pa")

    def drains(self) -> bool:
        """Out through the outer fabric, in through the roll's side."""
        out = self.outer_uptake is None or np.any(np.asarray(self.outer_uptake) > 0)
        into = self.roll != "solid" or np.any(np.asarray(self.inner_uptake) > 0)
        return bool(np.any(np.asarray(self.wrap) > 0) and (out or into))

    def feeds_felt(self) -> bool:
        """Where a felt on either side may take water."""
        return bool(np.any(np.asarray(self.inner_uptake) > 0) or self.outer_uptake is not None)

    def entry(self, arriving: Arriving) -> Entry:
        """Depth that the tension turns, and the jet that enters against its pressure."""
        held = drainage.stock_depth_held_forming_roll(
            self.fabric_tension, arriving.fabric_mass, arriving.speed, arriving.density
        )
        radius = self.roll_diameter / 2.0
        pressure = drainage.pressure_forming_roll(self.fabric_tension, arriving.fabric_mass, arriving.speed, radius)
        return Entry(held, jet.jet_speed_lowest_into_pressure(pressure, arriving.density), radius)

    def build(self, arriving: Arriving) -> list[Element]:
        """Kernel elements in machine order."""
        radius = self.roll_diameter / 2.0
        curvature = named("curvature", 2.0 / self.roll_diameter)
        load = drainage.pressure_forming_roll(self.fabric_tension, arriving.fabric_mass, arriving.speed, radius)
        vacuum = self.vacuum
        if np.any(np.asarray(self.wrap) == 0):
            load, vacuum = self._only_where_it_wraps(load), self._only_where_it_wraps(vacuum)
        fields: dict[str, Num] = {"load": load}
        if self.outer_uptake is not None:
            fields["uptake"] = self.outer_uptake
        outer = law(arriving, **fields)
        inner: Law | None = None
        if self.roll != "solid":
            inner = law(arriving, load=named("pressure_drop", load + vacuum), curvature=curvature)
        elif np.any(np.asarray(self.inner_uptake) > 0):
            inner = law(arriving, load=load, curvature=curvature, uptake=self.inner_uptake)
        length = contact_drying.arc_length(self.roll_diameter, self.wrap)
        wire, back = (outer, inner) if self.outer == "wire" else (inner, outer)
        return [Element(name=self.name, length=length, wire_side=wire, back_side=back)]

    def _only_where_it_wraps(self, pressure: Num) -> Num:
        """A roll that is not wrapped presses nothing; the mat does not close to it either."""
        return np.where(np.asarray(self.wrap) > 0, pressure, 0.0)[()]

    between: ClassVar[bool] = True

    @property
    def second(self) -> bool:
        """True where the fabric of the back lies outside: it bends the sheet the other way."""
        return self.outer == "back"

    def bend(self, turned: float) -> Bend:
        """The wrap of the outer fabric."""
        return drawn.round_roll(self.roll_diameter, self.wrap, turned, self.second)

    def lag(self) -> float | None:
        """What the inner fabric lies on it more than the outer one."""
        return None if self.inner_wrap is None else float(self.inner_wrap) - float(self.wrap)

    def jet(self, begin: Pose, landing: Point, side: float) -> Jet:
        """Into the gap."""
        return drawn.jet_between(begin, landing, side)

    def outline(self, place: Stretch) -> Outline:
        """The roll, with its suction box over the wrap if it has one."""
        circle = Circle(place.arc.centre, float(self.roll_diameter) / 2)
        shell = drawn.suction_arc(place.arc, circle, 0.3)[: SIDES.index(self.roll)]  # open: no box
        text = joined(
            phrase("drawing.forming.roll", diameter=told(self, "roll_diameter"), surface=self.roll),
            phrase("drawing.forming.wrap", wrap=told(self, "wrap")),
            phrase("drawing.forming.tension", tension=told(self, "fabric_tension")),
            phrase("drawing.forming.vacuum", vacuum=told(self, "vacuum")) if self.roll == "suction" else "",
            place.forming.said() if place.forming is not None else "",
        )
        return Outline(
            part=self.name, name=self.name, label=self.name, text=text, shapes=(*roll(circle), *shell),
            anchor=circle.centre.beside(-0.5, 0.3),
        )  # fmt: skip
