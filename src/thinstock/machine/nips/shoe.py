"""A shoe press."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, ClassVar

import numpy as np

from thinstock.errors import Fault
from thinstock.machine.nips.base import (
    CONTACT_TIME,
    LINE_LOAD,
    LINE_LOAD_LIMIT,
    Nip,
    load_within,
    nip_kind,
    nip_outline,
)
from thinstock.machine.outlines import press as drawn
from thinstock.machine.outlines.press import NipPlace
from thinstock.machine.outlines.said import told
from thinstock.machine.outlines.shape import Hazard, Outline, roll
from thinstock.machine.surfaces import Plain, Surface
from thinstock.relations import nip, nip_felt
from thinstock.words.fault import fault_in
from thinstock.words.num import Array
from thinstock.words.phrase import phrase
from thinstock.words.quantity import ANY, Num, Q, Words


@nip_kind("shoe")
@dataclass(frozen=True, kw_only=True, eq=False)
class ShoeNip(Nip):
    """A shoe press: the shoe's length is the nip width."""

    name: Annotated[str, Words()] = "shoe press"
    line_load: Annotated[Num, LINE_LOAD]
    line_load_limit: Annotated[Num, LINE_LOAD_LIMIT] = None
    certificate: Annotated[str, Words()] = ""
    on_yankee: bool = True
    shoe_length: Annotated[Num, Q("shoe_length", possible=(0.01, 0.6), unit="mm")] = 0.08
    peak_position: Annotated[Num, Q("peak_position", possible=(0.01, 0.99), usual=(0.8, 0.9))] = 0.85
    shoe_peak_ratio: Annotated[Num, Q("peak_ratio", possible=(1, 10), usual=(1.5, 2.5))] = 2.0
    roll_diameter: Annotated[Num, Q("roll_diameter", possible=(0.3, 3), usual=(0.9, 1.5), unit="m")] = 1.1
    surface: Surface = Plain()
    felted_sides: Annotated[Num, Q("felted_sides", possible=(1, 2), usual=ANY, integer=True)] = 1
    rewet: Annotated[Num, Q("rewet", possible=(0, 0.1), unit="g/m2")] = 3e-3
    felt_shared: bool = False
    """True where it shares the felt of the nip before it: one set of boxes, one shower."""
    contact_time_reference: Annotated[Num, CONTACT_TIME] = 0.4e-3
    nip_angle: Annotated[Num, Q("angle", possible=(-np.pi, np.pi), usual=(0.2, 1.1), unit="deg")] = float(
        np.radians(35.0)
    )

    def rules(self) -> Iterable[Fault]:
        place, ratio = np.asarray(self.peak_position), np.asarray(self.shoe_peak_ratio)
        low, high = 2 / (1 + place), 2 / (1 - place)
        if np.any(ratio < low) or np.any(ratio >= high):
            yield fault_in(
                "machine.shoe.shoe_peak_ratio",
                "shoe_peak_ratio",
                f"{float(np.max(ratio)):.4g}",
                low=f"{float(np.max(low)):.3f}",
                high=f"{float(np.min(high)):.3f}",
            )
        yield from load_within(self)

    def width(self, yankee_diameter: Num) -> Num:
        """Nip width, m."""
        return self.shoe_length

    def peak_ratio(self, nip_width: Num) -> Num:
        """Peak over mean pressure."""
        return self.shoe_peak_ratio

    def pressure_weighted(self, nip_pressure: Num, nip_width: Num) -> Num:
        """Mean pressure weighted by the pressure itself, Pa."""
        return nip_felt.pressure_weighted_shoe(nip_pressure, self.peak_position, self.shoe_peak_ratio)

    def contact_time(self, nip_width: Num, speed: Num) -> Num:
        """From the shoe's peak to its end, s."""
        return nip_felt.contact_time_after_peak(self.peak_position, nip_width, speed)

    rolls_above: ClassVar[bool] = False

    @property
    def mate_given(self) -> Num:
        """Diameter of the roll it presses against: not given."""
        return None

    def pressure_profile(self, share: Array, peak_ratio: Num) -> Array:
        """Pressure over its mean at shares of the nip's width: the shoe's own."""
        return np.asarray(nip.profile_shoe(share, self.peak_position, self.shoe_peak_ratio))

    def outline(self, place: NipPlace) -> Outline:
        """The sleeve with its shoe and beam."""
        shapes = (*roll(place.circle), *drawn.shoe(place, float(self.shoe_length)))
        across = phrase("drawing.press.sleeve_across", diameter=told(self, "roll_diameter"))
        return nip_outline(self, place, shapes, across, phrase("drawing.press.shoe", length=told(self, "shoe_length")))

    def hazards(self, place: NipPlace) -> tuple[Hazard, ...]:
        """Where it draws in."""
        return place.hazards(phrase("drawing.press.sleeve_and_counter"), self.name)
