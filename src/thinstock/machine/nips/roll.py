"""A press roll."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, ClassVar

import numpy as np

from thinstock.errors import Fault
from thinstock.formula.traced import convention
from thinstock.machine.nips.base import (
    CONTACT_TIME,
    LINE_LOAD,
    LINE_LOAD_LIMIT,
    Nip,
    load_within,
    nip_kind,
    nip_outline,
)
from thinstock.machine.outlines.press import NipPlace, RollPlace
from thinstock.machine.outlines.said import told
from thinstock.machine.outlines.shape import Hazard, Outline, ring, roll
from thinstock.machine.surfaces import SuctionDrilled, Surface
from thinstock.relations import nip, nip_felt
from thinstock.words.fault import fault_in
from thinstock.words.num import Array
from thinstock.words.phrase import phrase
from thinstock.words.quantity import ANY, Num, Q, Words

PARABOLA, QUARTIC = 1.5, 1.875
"""Peak over mean of the two closed profiles of a roll nip."""


@nip_kind("roll")
@dataclass(frozen=True, kw_only=True, eq=False)
class RollNip(Nip):
    """A press roll. Its nip width is given, or comes from cover thickness and modulus; exactly one."""

    name: Annotated[str, Words()] = "pressure roll"
    line_load: Annotated[Num, LINE_LOAD]
    line_load_limit: Annotated[Num, LINE_LOAD_LIMIT] = None
    certificate: Annotated[str, Words()] = ""
    on_yankee: bool = True
    roll_diameter: Annotated[Num, Q("roll_diameter", possible=(0.2, 3), usual=(0.8, 1.5), unit="m")] = 1.1
    mating_diameter: Annotated[Num, Q("mating_diameter", possible=(0.2, 10), unit="m", optional=True, usual=ANY)] = None
    nip_width: Annotated[Num, Q("nip_width", possible=(1e-3, 0.5), usual=(0.02, 0.08), unit="mm", optional=True)] = None
    cover_thickness: Annotated[Num, Q("cover_thickness", possible=(1e-3, 0.1), unit="mm", optional=True)] = None
    cover_modulus: Annotated[Num, Q("cover_modulus", possible=(1e5, 1e10), unit="MPa", optional=True)] = None
    surface: Surface = SuctionDrilled()
    felted_sides: Annotated[Num, Q("felted_sides", possible=(1, 2), usual=ANY, integer=True)] = 1
    rewet: Annotated[Num, Q("rewet", possible=(0, 0.1), unit="g/m2")] = 5e-3
    felt_shared: bool = False
    """True where it shares the felt of the nip before it: one set of boxes, one shower."""
    contact_time_reference: Annotated[Num, CONTACT_TIME] = 0.75e-3
    nip_angle: Annotated[Num, Q("angle", possible=(-np.pi, np.pi), usual=(0.2, 1.1), unit="deg")] = float(
        np.radians(35.0)
    )

    def rules(self) -> Iterable[Fault]:
        by_cover = self.cover_thickness is not None and self.cover_modulus is not None
        half = (self.cover_thickness is None) != (self.cover_modulus is None)
        if half or by_cover == (self.nip_width is not None):
            yield fault_in("machine.roll.nip_width", "nip_width", phrase("machine.roll.both_ways_or_neither"))
        if not self.on_yankee and self.mating_diameter is None:
            yield fault_in("machine.roll.mating_diameter", "mating_diameter", "nothing")
        yield from load_within(self)

    def width(self, yankee_diameter: Num) -> Num:
        """Nip width, m."""
        if self.nip_width is not None:
            return self.nip_width
        mate = self.mating_diameter if self.mating_diameter is not None else yankee_diameter
        radius = nip.equivalent_radius_cylinders(self.roll_diameter, mate)
        return nip.nip_width_covered_roll(self.line_load, self.cover_thickness, radius, self.cover_modulus)

    def peak_ratio(self, nip_width: Num) -> Num:
        """Peak over mean pressure."""
        if self.cover_thickness is None:
            return convention(1.5, phrase("machine.roll.parabolic_pressure_in_nip_given"))
        return nip.peak_ratio_covered_roll(nip_width / 2.0, self.cover_thickness)

    def pressure_weighted(self, nip_pressure: Num, nip_width: Num) -> Num:
        """Mean pressure weighted by the pressure itself, Pa."""
        return nip_felt.pressure_weighted_roll(nip_pressure, self.peak_ratio(nip_width))

    def contact_time(self, nip_width: Num, speed: Num) -> Num:
        """Half the nip, s."""
        return nip_felt.contact_time_after_peak(
            convention(0.5, phrase("machine.roll.pressure_roll_highest_in_middle")), nip_width, speed
        )

    rolls_above: ClassVar[bool] = True

    @property
    def mate_given(self) -> Num:
        """Diameter of the roll it presses against, where given, m."""
        return self.mating_diameter

    def pressure_profile(self, share: Array, peak_ratio: Num) -> Array:
        """Pressure over its mean at shares of the nip's width: a mix of parabola and quartic with this peak."""
        quartic = (peak_ratio - PARABOLA) / (QUARTIC - PARABOLA)
        return np.asarray((1 - quartic) * nip.profile_parabola(share) + quartic * nip.profile_quartic(share))

    def outline(self, place: NipPlace) -> Outline:
        """The roll with its cover and surface."""
        circle, cover = place.circle, float(self.cover_thickness or 0.0)
        covered = (ring(circle, circle.radius - cover, "cover"),) if 0 < cover < 0.5 * circle.radius else ()
        shapes = (*roll(circle), *covered, *self.surface.outline(RollPlace(circle, place.towards, cover)))
        across = phrase("drawing.press.roll_across", diameter=told(self, "roll_diameter"))
        return nip_outline(self, place, shapes, across)

    def hazards(self, place: NipPlace) -> tuple[Hazard, ...]:
        """Where it draws in."""
        return place.hazards(phrase("drawing.press.roll_and_counter"), self.name)
