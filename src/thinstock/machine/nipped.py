"""What happens in one nip, as plain records."""

from __future__ import annotations

from typing import NamedTuple

from thinstock.relations.felt_loop import FeltLoop
from thinstock.words.quantity import Num


class Nipped(NamedTuple):
    """What one nip did."""

    name: str
    press_impulse: Num
    nip_width: Num
    dwell: Num
    nip_pressure: Num
    peak_pressure: Num
    pressure_weighted: Num
    """Mean pressure weighted by itself, Pa."""
    equilibrium_moisture: Num
    moisture_ratio_in: Num
    moisture_ratio_pressed: Num
    contact_time: Num
    """From the peak of the pressure to the end of the nip, s."""
    rewet_at_contact: Num
    """Rewet at this contact time, from a felt as wet as the reference, kg/m²."""
    rewet: Num
    moisture_ratio_out: Num
    dryness: Num
    share_flow: Num
    share_equilibrium: Num
    share_rewet: Num
    water: Num
    """Out of the sheet, kg/(s m)."""
    impulse_web: Num
    """Press impulse spent in the web, Pa s; the felt has the rest."""
    impulse_felt: Num
    grammage_driest: Num
    """The weight that would leave this nip driest, kg/m²; None with two felts."""
    loop: FeltLoop
    """The felt's steady run (`felt_loop.felt_loop_steady`)."""
    nip_saturation: Num
    nip_drainage: Num
    void_filling: Num
    suction_flow: Num
    suction_vacuum: Num
    """At the pump, Pa."""
    suction_power: Num
    suction_electricity: Num
    box_air_flow: Num
    box_vacuum: Num
    """At the pump, Pa."""
    box_power: Num
    box_electricity: Num
    box_drag: Num
    box_drag_electricity: Num


class Pushed(NamedTuple):
    """What a nip does to any sheet of this furnish."""

    impulse: Num
    width: Num
    mean: Num
    weighted: Num
    equilibrium: Num
    contact: Num
    rewet: Num
    """At this contact time, from a felt as wet as the reference."""


class Squeezed(NamedTuple):
    """One pass of sheet and felt through the nip."""

    driest: Num
    """Moisture ratio before anything comes back."""
    rewet: Num
    full: Num
    """Water ratio of the felt with its voids full in the nip."""
    resistance: Num
    """Of the felt as squeezed, 1/m."""
    room: Num
    """Water it can still take up, kg/m²."""
    loop: FeltLoop


class PressWater(NamedTuple):
    """Water as warm as the sheet in the nips."""

    viscosity: Num
    """Kinematic, m²/s."""
    density: Num
