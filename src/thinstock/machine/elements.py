"""The elements of a former as a machine file lists them: each is data, and says what pressure drains where.

One march serves every former (`kernels.drainage`); an element only turns its own geometry and loads into lengths and
pressure laws. Nothing here decides how much drains.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, ClassVar, NamedTuple

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.traced import convention
from thinstock.kernels.drainage import Element, Law
from thinstock.machine.geometry import Circle, Point, Pose
from thinstock.machine.outlines import former as drawn
from thinstock.machine.outlines.former import Bend, Jet, OnFabric, Stretch
from thinstock.machine.outlines.said import in_unit, joined, told
from thinstock.machine.outlines.shape import Outline, ring, roll
from thinstock.relations import contact_drying, drainage, joints
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Choice, Num, Part, Q, Words

SIDES = ("solid", "open", "suction")


class Around(NamedTuple):
    """What an element must know of the stock that reaches it."""

    speed: Num
    density: Num
    stock_depth: Num
    jet_thickness: Num
    jet_speed: Num
    fabric_resistance: Num
    fabric_inertia: Num
    fabric_mass: Num


def _law(around: Around, **fields: Num) -> Law:
    return Law(fabric_resistance=around.fabric_resistance, fabric_inertia=around.fabric_inertia, **fields)


_LENGTH = Q("length", possible=(0, 30), unit="m", status="assumed")


@dataclass(frozen=True, kw_only=True, eq=False)
class FormingBoard(OnFabric, Part):
    """A closed stretch under the jet: carries the wire, drains nothing."""

    name: Annotated[str, Words()] = "forming board"
    length: Annotated[Num, _LENGTH] = 0.3

    def build(self, around: Around) -> list[Element]:
        """Kernel elements in machine order."""
        return [Element(name=self.name, length=self.length, wire_side=None, back_side=None)]

    def outline(self, place: Stretch) -> Outline:
        """A plate under the wire."""
        return Outline(
            part=self.name, name=self.name, label=self.name,
            text=phrase("drawing.forming.board", length=told(self, "length")),
            shapes=drawn.plate_below(place), anchor=drawn.plate_anchor(place),
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class JetImpact(OnFabric, Part):
    """The jet meeting an open fabric: stagnation pressure over about two jet thicknesses."""

    name: Annotated[str, Words()] = "jet impact"
    impact_angle: Annotated[Num, Q("impact_angle", possible=(0, np.pi / 2), unit="deg", status="from memory")] = float(
        np.radians(15.0)
    )
    impact_lengths: Annotated[Num, Q("impact_lengths", possible=(0, 10), status="published", source="DALPKE")] = 2.0

    def build(self, around: Around) -> list[Element]:
        """Kernel elements in machine order."""
        load = drainage.pressure_impact(around.density, around.jet_speed, self.impact_angle)
        length = joints.length_of_impact(self.impact_lengths, around.jet_thickness)
        return [Element(name=self.name, length=length, wire_side=_law(around, load=load), back_side=None)]

    own_breast: ClassVar[bool] = True

    def bend(self, turned: float) -> Bend:
        """The open roll, up to its top."""
        return Bend(drawn.BREAST, -drawn.LANDING)

    def heading(self) -> float:
        """It meets the roll ahead of its top."""
        return drawn.LANDING

    def jet(self, begin: Pose, landing: Point, side: float) -> Jet:
        """It meets the roll at its angle."""
        return drawn.jet_at(landing, begin.heading - float(self.impact_angle))

    def outline(self, place: Stretch) -> Outline:
        """The open breast roll it meets."""
        circle = drawn.breast_roll(place.path)
        name = phrase("drawing.part.open_breast_roll")
        text = joined(
            phrase("drawing.forming.open_roll", diameter=in_unit(2 * circle.radius, "m")),
            phrase("drawing.forming.met", angle=told(self, "impact_angle")),
        )
        return Outline(
            part="breast roll", name=name, label=name, text=text, anchor=circle.at(np.pi),
            shapes=(*roll(circle), ring(circle, 0.86 * circle.radius, "open")),
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class TableRolls(OnFabric, Part):
    """A table of rolls: gravity between them, a suction pulse at each."""

    name: Annotated[str, Words()] = "table rolls"
    number: Annotated[Num, Q("number", possible=(1, 100), usual=(4, 40), integer=True)] = 14
    pitch: Annotated[Num, Q("pitch", possible=(0.1, 3), usual=(0.25, 1.0), unit="m")] = 0.55
    roll_diameter: Annotated[Num, Q("roll_diameter", possible=(0.03, 1), usual=(0.16, 0.36), unit="mm")] = 0.20
    suction_cap: Annotated[
        Num,
        Q(
            "suction_cap",
            possible=(0, 9e4),
            unit="kPa",
            status="common practice",
            source="COMMON_PRACTICE",
        ),
    ] = 5e3
    suction_mean_share: Annotated[Num, Q("share", possible=(0, 1), usual=(0.3, 0.7))] = 0.5

    def rules(self) -> Iterable[Fault]:
        if np.any(np.asarray(self.roll_diameter) >= np.asarray(self.pitch)):
            yield Fault(
                field="roll_diameter",
                value=f"{float(np.max(self.roll_diameter)) * 1e3:.4g} mm",
                bound="must be smaller than the pitch",
                remedy="Rolls of one table may not overlap: widen the pitch or take smaller rolls.",
            )

    def build(self, around: Around) -> list[Element]:
        """Kernel elements in machine order."""
        peak = drainage.suction_table_roll_taylor(around.density, around.speed, self.suction_cap)
        load = joints.mean_suction(self.suction_mean_share, peak)
        radius = joints.radius_of_roll(self.roll_diameter)
        stretch = _law(around, gravity=1.0)
        pulse = _law(around, load=load, gravity=1.0)
        line = convention(0.0, "a table roll touches the wire on a line")
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


@dataclass(frozen=True, kw_only=True, eq=False)
class Foils(OnFabric, Part):
    """Foil blades: gravity between them, a capped suction over part of each blade."""

    name: Annotated[str, Words()] = "foils"
    number: Annotated[Num, Q("number", possible=(1, 200), usual=(4, 60), integer=True)] = 40
    pitch: Annotated[Num, Q("pitch", possible=(0.03, 2), usual=(0.12, 0.4), unit="m")] = 0.2
    foil_length: Annotated[Num, Q("foil_length", possible=(0.01, 0.5), unit="mm")] = 0.06
    foil_angle: Annotated[
        Num,
        Q(
            "foil_angle",
            possible=(0, float(np.radians(25.0))),
            unit="deg",
            status="from memory",
            remedy="Foils steeper than 25° are outside what the tool knows.",
        ),
    ] = float(np.radians(2.0))
    foil_angle_cap: Annotated[Num, Q("foil_angle_cap", possible=(0, 0.4363), unit="deg")] = float(np.radians(5.0))
    suction_share: Annotated[Num, Q("suction_share", possible=(0, 1))] = 0.25
    suction_cap: Annotated[
        Num,
        Q(
            "suction_cap",
            possible=(0, 9e4),
            unit="kPa",
            status="common practice",
            source="COMMON_PRACTICE",
        ),
    ] = 5e3
    suction_mean_share: Annotated[Num, Q("share", possible=(0, 1), usual=(0.3, 0.7))] = 0.5
    slope: Annotated[
        Num,
        Q(
            "slope",
            possible=(-1.2, 1.2),
            unit="deg",
            label="fall of the run, down positive",
        ),
    ] = 0.0

    def rules(self) -> Iterable[Fault]:
        if np.any(np.asarray(self.foil_length) >= np.asarray(self.pitch)):
            yield Fault(
                field="foil_length",
                value=str(self.foil_length),
                bound="must be shorter than the pitch",
                remedy="Blades of one table may not overlap: widen the pitch or shorten the blade.",
            )

    def build(self, around: Around) -> list[Element]:
        """Kernel elements in machine order."""
        peak = drainage.suction_table_roll_taylor(around.density, around.speed, self.suction_cap)
        load = joints.mean_suction(self.suction_mean_share, peak)
        cap = drainage.flux_cap_foil(around.speed, self.foil_angle, self.foil_angle_cap)
        gravity = joints.gravity_along_slope(self.slope)
        blade = joints.blade_under_suction(self.suction_share, self.foil_length)
        gap = joints.gap_between_blades(self.pitch, blade)
        stretch = _law(around, gravity=gravity)
        wedge = _law(around, load=load, gravity=gravity, flux_cap=cap)
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


@dataclass(frozen=True, kw_only=True, eq=False)
class GravityTable(OnFabric, Part):
    """A stretch of open wire on which only the weight of the stock drains."""

    name: Annotated[str, Words()] = "table"
    length: Annotated[Num, _LENGTH] = 2.0

    def build(self, around: Around) -> list[Element]:
        """Kernel elements in machine order."""
        return [Element(name=self.name, length=self.length, wire_side=_law(around, gravity=1.0), back_side=None)]

    def outline(self, place: Stretch) -> Outline:
        """A thin line under the open wire."""
        return Outline(
            part=self.name, name=self.name, label=self.name,
            text=phrase("drawing.forming.table", length=told(self, "length")),
            shapes=drawn.line_below(place), anchor=drawn.below(place, 0.05),
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class FormingBox(OnFabric, Part):
    """A box under the wire inside the forming zone, with a constant load (wet box) or vacuum."""

    name: Annotated[str, Words()] = "wet box"
    length: Annotated[Num, _LENGTH] = 0.3
    vacuum: Annotated[
        Num,
        Q(
            "vacuum",
            possible=(0, 9e4),
            usual=(200, 1.5e4),
            unit="kPa",
            remedy="Vacuum is positive, below atmosphere.",
        ),
    ] = 600.0

    def build(self, around: Around) -> list[Element]:
        """Kernel elements in machine order."""
        law = _law(around, load=self.vacuum, gravity=1.0)
        return [Element(name=self.name, length=self.length, wire_side=law, back_side=None)]

    def outline(self, place: Stretch) -> Outline:
        """A box under the wire."""
        text = phrase("drawing.forming.box", length=told(self, "length"), vacuum=told(self, "vacuum"))
        return Outline(
            part=self.name, name=self.name, label=self.name, text=text, shapes=drawn.box_below(place),
            anchor=drawn.box_anchor(place),
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class SuctionBreastRoll(OnFabric, Part):
    """A suction roll where the jet lands: impact first, then the rest of the suction arc."""

    name: Annotated[str, Words()] = "suction breast roll"
    roll_diameter: Annotated[Num, Q("roll_diameter", possible=(0.2, 3), usual=(0.9, 1.2), unit="m")] = 1.0
    wrap: Annotated[
        Num, Q("wrap", possible=(0.02, 3), usual=(0.7, 1.1), unit="deg", label="arc of the suction box")
    ] = float(np.radians(45.0))
    vacuum: Annotated[
        Num,
        Q(
            "vacuum",
            possible=(0, 9e4),
            usual=(1e4, 2.5e4),
            unit="kPa",
            remedy="Vacuum is positive, below atmosphere.",
        ),
    ] = 20e3
    impact_angle: Annotated[Num, Q("impact_angle", possible=(0, np.pi / 2), unit="deg", status="from memory")] = float(
        np.radians(10.0)
    )
    impact_lengths: Annotated[Num, Q("impact_lengths", possible=(0, 10), status="published", source="DALPKE")] = 2.0

    def build(self, around: Around) -> list[Element]:
        """Kernel elements in machine order."""
        impact = drainage.pressure_impact(around.density, around.jet_speed, self.impact_angle)
        first = joints.load_with_vacuum(self.vacuum, impact)
        reach = joints.length_of_impact(self.impact_lengths, around.jet_thickness)
        arc = contact_drying.arc_length(self.roll_diameter, self.wrap)
        rest = joints.length_left(arc, reach)
        law = _law(around, load=self.vacuum, gravity=1.0, curvature=joints.curvature_of_roll(self.roll_diameter))
        return [
            Element(name=f"{self.name}, impact", length=reach, wire_side=_law(around, load=first), back_side=None),
            Element(name=self.name, length=rest, wire_side=law, back_side=None),
        ]

    own_breast: ClassVar[bool] = True
    grouped: ClassVar[int] = 0

    def bend(self, turned: float) -> Bend:
        """The arc of its box."""
        return Bend(float(self.roll_diameter) / 2, -float(self.wrap))

    def heading(self) -> float:
        """The wire leaves it level."""
        return float(self.wrap)

    def jet(self, begin: Pose, landing: Point, side: float) -> Jet:
        """It meets the roll at its angle."""
        return drawn.jet_at(landing, begin.heading - float(self.impact_angle))

    def outline(self, place: Stretch) -> Outline:
        """A roll with its suction box."""
        circle = Circle(place.arc.centre, place.arc.radius)
        text = joined(
            phrase("drawing.across", diameter=told(self, "roll_diameter")),
            phrase("drawing.forming.suction_box", wrap=told(self, "wrap"), vacuum=told(self, "vacuum")),
            phrase("drawing.forming.met", angle=told(self, "impact_angle")),
        )
        return Outline(
            part=self.name, name=self.name, label=self.name, text=text, anchor=circle.at(np.pi),
            shapes=(*roll(circle), *drawn.suction_arc(place.arc, circle, 0.35)),
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class InclinedBoxes(OnFabric, Part):
    """Vacuum boxes under a wire that climbs out of a pond; the pond's pressure falls to zero along them."""

    name: Annotated[str, Words()] = "inclined boxes"
    number: Annotated[Num, Q("number", possible=(1, 30), usual=(2, 10), integer=True)] = 4
    length: Annotated[Num, Q("length", possible=(0.02, 3), usual=(0.1, 0.5), unit="m", label="length of one box")] = (
        0.25
    )
    vacuum: Annotated[
        Num,
        Q(
            "vacuum",
            possible=(0, 9e4),
            usual=(2e3, 1e4),
            unit="kPa",
            remedy="Vacuum is positive, below atmosphere.",
        ),
    ] = 6e3
    pond_head: Annotated[
        Num,
        Q(
            "pond_head",
            possible=(0, 2),
            unit="m",
            status="from memory",
            remedy="The pond stands over the boxes; 0.15 to 0.40 m is usual.",
        ),
    ] = 0.25
    slope: Annotated[Num, Q("slope", possible=(0, 1.0), usual=(0.15, 0.5), unit="deg", label="climb of the wire")] = (
        float(np.radians(20.0))
    )

    def rules(self) -> Iterable[Fault]:
        climb = np.asarray(self.number) * np.asarray(self.length) * np.sin(np.asarray(self.slope))
        if np.any(np.asarray(self.pond_head) > climb + 1e-12):
            yield Fault(
                field="pond_head",
                value=f"{float(np.max(self.pond_head)):.3g} m",
                bound=f"must not exceed the climb over the boxes, {float(np.min(climb)):.3g} m",
                remedy="Lower the pond, or lengthen or steepen the wire over the boxes.",
            )

    def build(self, around: Around) -> list[Element]:
        """Kernel elements in machine order."""
        made: list[Element] = []
        count = int(self.number)
        drop = joints.pressure_step_pond(around.density, self.pond_head, convention(float(count), "number of boxes"))
        weight = self._weight()
        for i in range(count):
            end = convention((i + 1) / count, "end of a box as share of all boxes")
            load = drainage.pressure_inclined_wire(self.vacuum, around.density, self.pond_head, end)
            law = _law(around, load=load, head=drop, gravity=weight)
            made.append(Element(name=f"{self.name} {i + 1}", length=self.length, wire_side=law, back_side=None))
        return made

    def _weight(self) -> Num:
        """Share of the stock's own weight that presses: none under a pond, which carries itself."""
        dry = np.asarray(self.pond_head) == 0
        if not np.any(dry):
            return 0.0
        weight = joints.gravity_along_slope(self.slope)
        return weight if np.all(dry) else np.where(dry, weight, 0.0)

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


FREE_ARC = float(np.radians(30.0))
"""Part of a forming roll that fabrics need to come on and to leave (assumed)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class FormingRoll(OnFabric, Part):
    """A forming roll between two fabrics: the tension of the outer one presses the water out through it.

    `outer` says which fabric lies outside (the side that drains): "wire" (first roll) or "back" (second roll of an S:
    felt or second wire outside). A solid roll lets nothing out on its own side; an open or suction roll does, less
    what centrifugal force takes from that side.
    """

    name: Annotated[str, Words()] = "forming roll"
    roll_diameter: Annotated[
        Num, Q("roll_diameter", possible=(0.2, 4), usual=(0.8, 1.7), unit="m", status="from memory")
    ] = 1.5
    wrap: Annotated[
        Num,
        Q(
            "wrap",
            possible=(0.0, 2 * np.pi),
            usual=(1.3, 3.6),
            unit="deg",
            status="from memory",
            label="wrap of the outer fabric (wire_wrap)",
        ),
    ] = float(np.radians(160.0))
    inner_wrap: Annotated[
        Num,
        Q(
            "wrap",
            possible=(0.0, 2 * np.pi),
            usual=(1.3, 4.2),
            unit="deg",
            optional=True,
            label="wrap of the inner fabric (felt_wrap)",
        ),
    ] = None
    fabric_tension: Annotated[
        Num,
        Q(
            "fabric_tension",
            possible=(100, 5e4),
            unit="kN/m",
            status="from memory",
            uncertainty=0.08,
        ),
    ] = 6e3
    outer: Annotated[str, Choice(("wire", "back"), label="which fabric lies outside")] = "wire"
    roll: Annotated[str, Choice(SIDES, label="surface of the roll")] = "solid"
    vacuum: Annotated[
        Num,
        Q(
            "vacuum",
            possible=(0, 9e4),
            usual=(0, 1.5e4),
            unit="kPa",
            remedy="Vacuum is positive, below atmosphere.",
        ),
    ] = 0.0
    inner_uptake: Annotated[
        Num,
        Q(
            "uptake",
            possible=(0, 5e-3),
            unit="mm",
            label="water the inner felt can take (0: closed)",
        ),
    ] = 0.0
    outer_uptake: Annotated[
        Num,
        Q(
            "uptake",
            possible=(0, 5e-3),
            unit="mm",
            optional=True,
            label="water the outer felt can take (leave out for a wire)",
        ),
    ] = None

    def rules(self) -> Iterable[Fault]:
        if self.inner_wrap is not None and np.any(np.asarray(self.inner_wrap) < np.asarray(self.wrap)):
            yield Fault(
                field="inner_wrap",
                value=f"{float(np.degrees(np.min(self.inner_wrap))):.4g}°",
                bound="the inner fabric lies on the roll at least as far as the outer one",
                remedy="Make it equal to the wrap of the outer fabric, or larger (10 to 30° more is usual).",
            )
        for field in ("wrap", "inner_wrap"):
            longest = float(np.max(getattr(self, field))) if getattr(self, field) is not None else 0.0
            if longest > 2 * np.pi - FREE_ARC + 1e-9:
                yield Fault(
                    field=field,
                    value=f"{np.degrees(longest):.4g}°",
                    bound=f"more than the free circumference of the roll, {np.degrees(2 * np.pi - FREE_ARC):.0f}°",
                    remedy="The fabrics need room to come on and to leave; 90 to 200° is usual.",
                )
        if self.roll == "solid" and np.any(np.asarray(self.vacuum) > 0):
            yield Fault(
                field="vacuum",
                value=f"{float(np.max(self.vacuum)):.4g} Pa",
                bound="a solid roll holds no vacuum",
                remedy='Set roll = "suction" or vacuum to zero.',
            )

    def build(self, around: Around) -> list[Element]:
        """Kernel elements in machine order."""
        radius = joints.radius_of_roll(self.roll_diameter)
        curvature = joints.curvature_of_roll(self.roll_diameter)
        load = drainage.pressure_forming_roll(self.fabric_tension, around.fabric_mass, around.speed, radius)
        vacuum = self.vacuum
        if np.any(np.asarray(self.wrap) == 0):
            load, vacuum = self._only_where_it_wraps(load), self._only_where_it_wraps(vacuum)
        fields: dict[str, Num] = {"load": load}
        if self.outer_uptake is not None:
            fields["uptake"] = self.outer_uptake
        outer = _law(around, **fields)
        inner: Law | None = None
        if self.roll != "solid":
            inner = _law(around, load=joints.load_with_vacuum(load, vacuum), curvature=curvature)
        elif np.any(np.asarray(self.inner_uptake) > 0):
            inner = _law(around, load=load, curvature=curvature, uptake=self.inner_uptake)
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


@dataclass(frozen=True, kw_only=True, eq=False)
class Straight(OnFabric, Part):
    """A free run between rolls: nothing drains."""

    WITHOUT: ClassVar[dict[str, str]] = {"outline": "a free run: nothing stands there but the fabrics"}

    name: Annotated[str, Words()] = "straight"
    length: Annotated[Num, _LENGTH] = 0.3

    def build(self, around: Around) -> list[Element]:
        """Kernel elements in machine order."""
        return [Element(name=self.name, length=self.length, wire_side=None, back_side=None)]


FormingElement = (
    FormingBoard
    | JetImpact
    | TableRolls
    | Foils
    | GravityTable
    | FormingBox
    | SuctionBreastRoll
    | InclinedBoxes
    | FormingRoll
    | Straight
)

KINDS: dict[str, type[FormingElement]] = {
    "forming board": FormingBoard,
    "jet impact": JetImpact,
    "table rolls": TableRolls,
    "foils": Foils,
    "gravity table": GravityTable,
    "forming box": FormingBox,
    "suction breast roll": SuctionBreastRoll,
    "inclined boxes": InclinedBoxes,
    "forming roll": FormingRoll,
    "straight": Straight,
}
"""The word in a machine file for each kind of element."""
