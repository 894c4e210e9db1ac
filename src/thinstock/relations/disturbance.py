"""What disturbs a sheet while it forms: pulses that kick it, rolls that throw water, jets that wash, ponds that fall
behind. Indicators with a natural size of 1, no limits: nothing here says at which speed a sheet fails.

Rolls, jets and ponds stand in `disturbance_rolls`.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived, relation
from thinstock.relations.disturbance_rolls import air_weber as air_weber
from thinstock.relations.disturbance_rolls import entry_ratio as entry_ratio
from thinstock.relations.disturbance_rolls import impact_absorbed_share as impact_absorbed_share
from thinstock.relations.disturbance_rolls import impact_wash_speed as impact_wash_speed
from thinstock.relations.disturbance_rolls import momentum_ratio as momentum_ratio
from thinstock.relations.disturbance_rolls import pond_drag as pond_drag
from thinstock.relations.disturbance_rolls import pond_number as pond_number
from thinstock.relations.disturbance_rolls import pond_time as pond_time
from thinstock.relations.disturbance_rolls import rim_acceleration as rim_acceleration
from thinstock.relations.disturbance_rolls import shell_depth_filled as shell_depth_filled
from thinstock.relations.disturbance_rolls import speed_pond as speed_pond
from thinstock.relations.disturbance_rolls import speed_rim as speed_rim
from thinstock.relations.disturbance_rolls import speed_throw as speed_throw
from thinstock.relations.disturbance_rolls import tension_open_draw as tension_open_draw
from thinstock.relations.disturbance_rolls import throw_ratio as throw_ratio
from thinstock.relations.disturbance_rolls import wave_speed_wire as wave_speed_wire
from thinstock.relations.drainage import flux_mat_fabric, pressure_drop_mat_fabric
from thinstock.words.constants import gravity


@relation(
    """
    below = 1 - temperature/647.096
    surface_tension = 0.2358*below**1.256*(1 - 0.625*below)""",
    source="IAPWS_R1_76",
    where="clean water against its vapour",
    status="from memory",
    holds={"temperature": (273.15, 643.0)},
    in_units={"temperature": "K"},
)
def surface_tension_water(temperature: Num) -> Num:
    """Surface tension of clean water.

    Picture: the skin that a wave must stretch. Use for: the upper end. Not for: white water, which has less
    (0.045 to 0.065 N/m, from memory).
    """
    below = 1.0 - temperature / 647.096
    return 0.2358 * below**1.256 * (1.0 - 0.625 * below)


@derived("pulse_rate = speed/pitch", where="pieces passed in a second")
def pulse_rate(speed: Num, pitch: Num) -> Num:
    """Pulses that the sheet meets in a second.

    Picture: a stick along a fence. Use for: tables of rolls or foils. Not for: one long pulse.
    """
    return speed / pitch


@derived("pulse_in_layers = pulse/(density*gravity*stock_depth)", where="pulse over the weight of the layer")
def pulse_in_layers(pulse: Num, density: Num, stock_depth: Num) -> Num:
    """How many times its own weight a pulse would press on the layer if all of it reached it.

    Picture: g on the layer; half a Froude number squared where the pulse is a table roll's. Use for: seeing how far
    pulses outgrew gravity. Not for: the layer's motion: the mat takes most of the pulse. Made from: derivation.
    """
    return pulse / (density * gravity * stock_depth)


@derived("pulse_over_hold = pulse/holding_pressure", where="what pulls over what holds")
def pulse_over_hold(pulse: Num, holding_pressure: Num) -> Num:
    """A pulse over the pressure that holds the sheet on its fabric.

    Picture: on a table only the weight of the stock holds between pulses; on a roll the pressure that drains is the
    one that holds, so the ratio is 1. Use for: comparing kinds of formers. Not for: the strength of the mat, which is
    of the order of 0.1 to 0.5 kPa (from memory).
    """
    return pulse / holding_pressure


@derived(
    """
    left = sqrt(speed**2 - 2*vacuum/density)
    cake = viscosity*resistance_coefficient*deposited*tan(foil_angle)*left/mat_reference_pressure
    mat = mat_reference_pressure*cake**(1/(1 - resistance_exponent))
    viscous = viscosity*fabric_resistance*tan(foil_angle)*left
    0 = mat + viscous + density/2*fabric_inertia*(tan(foil_angle)*left)**2 - vacuum""",
    gives="vacuum",
    where="Bernoulli along the water under the wire, and what drains fills the wedge; not measured",
    kind="equation",
    holds={"resistance_exponent": (0.0, 0.9), "speed": (1.0, 40.0)},
)
def suction_foil_wedge(
    speed: Num,
    foil_angle: Num,
    deposited: Num,
    viscosity: Num,
    density: Num,
    resistance_coefficient: Num,
    resistance_exponent: Num,
    fabric_resistance: Num,
    fabric_inertia: Num,
) -> Num:
    """Suction that a foil builds under mat and fabric.

    Picture: the wedge must be filled by what drains; a dense mat lets the foil suck harder. Never above one half of
    rho v2, so steep foils are borne on a slow wire. Use for: foils of a table. Not for: foils without water under the
    wire. In print: nowhere. Made from: the wedge as one more inertia behind the fabric, 1/tan² of the angle, under the
    dynamic pressure of the wire.
    """
    wedge = 1.0 / (np.tan(foil_angle) ** 2 + 1e-100)
    stuff = (deposited, viscosity, density, resistance_coefficient, resistance_exponent, fabric_resistance)
    flux = flux_mat_fabric(0.5 * density * speed**2, *stuff, fabric_inertia + wedge)
    return pressure_drop_mat_fabric(flux, *stuff, fabric_inertia)


@derived(
    "line_load = density*speed*roll_radius*flux/2",
    where="mean suction ¼ρv² (Taylor, from memory) over the nip length 2Ru/v; a flooded nip without a cap",
)
def line_load_table_roll(density: Num, speed: Num, roll_radius: Num, flux: Num) -> Num:
    """Force per width with which a table roll pulls the wire down.

    Picture: suction times the length it lasts. Use for: the kick of the wire; flux under a quarter of rho v2. Not for:
    capacity, where practice caps the suction. In print: nowhere. Made from: Taylor's peak and the closure of the nip.
    """
    return 0.5 * density * speed * roll_radius * flux


@derived("line_load = vacuum*foil_length*suction_share", where="suction over the share of the blade that sucks")
def line_load_foil(vacuum: Num, foil_length: Num, suction_share: Num) -> Num:
    """Force per width with which a foil pulls the wire down.

    Picture: suction times the length under it. Use for: the kick of the wire. Not for: the wear of the blade.
    """
    return vacuum * foil_length * suction_share


@derived(
    """
    stiff = fabric_tension - (fabric_mass + density*stock_depth)*speed**2
    kink_angle = where(stiff > 0, line_load/stiff, inf)""",
    where="force balance of a moving loaded string",
)
def kink_angle(
    line_load: Num, fabric_tension: Num, fabric_mass: Num, density: Num, stock_depth: Num, speed: Num
) -> Num:
    """Angle by which a line load bends a moving, loaded fabric; without bound at and beyond the speed of its waves.

    Picture: a clothes line under a finger, the slacker the faster it runs. Use for: tables. Not for: a fabric that lies
    on a curve. Made from: derivation; small angles.
    """
    stiff = fabric_tension - (fabric_mass + density * stock_depth) * speed**2
    return np.where(stiff > 0.0, line_load / np.where(stiff > 0.0, stiff, 1.0), np.inf)[()]


@derived("kick_speed = speed*kink_angle", where="the layer follows the bent wire")
def kick_speed(speed: Num, kink_angle: Num) -> Num:
    """Speed up and down that a kink gives the layer.

    Picture: a cart over a kerb. Use for: the upper end; the wire takes most of it back within the nip.
    Not for: a fabric round a roll.
    """
    return speed * kink_angle


@derived(
    "kick_height_ratio = kick_speed**2/(2*gravity*stock_depth)",
    where="ballistic height over the depth of the layer; yardstick 1",
)
def kick_height_ratio(kick_speed: Num, stock_depth: Num) -> Num:
    """Height to which a kick would throw the layer, over its depth.

    Picture: as high as deep is 1. Use for: an indicator beside the speed, never a limit. Not for: the height
    that is seen: nothing is taken back here.
    """
    return kick_speed**2 / (2.0 * gravity * stock_depth)


@derived("kept_share = min(1, pi*nip_length/pitch)", where="first harmonic of down, then up again within the nip")
def kept_share_nip(nip_length: Num, pitch: Num) -> Num:
    """Share of a kick that is left as shaking, low end; 1, the whole kick, is the high end.

    Picture: what goes down and up at once hardly shakes. Use for: spray, as a band with 1. Not for: the
    height of one kick.
    """
    return np.minimum(1.0, np.pi * nip_length / pitch)


@derived(
    "forcing_acceleration = 2*pulse_rate*kick_speed*kept_share", where="first Fourier amplitude of a train of kicks"
)
def forcing_acceleration(kick_speed: Num, pulse_rate: Num, kept_share: Num) -> Num:
    """Amplitude of the shaking that a train of kicks is.

    Picture: a table that rattles. Use for: spray. Not for: a single roll.
    """
    return 2.0 * pulse_rate * kick_speed * kept_share


@relation(
    "spray_threshold = 0.26*(surface_tension/density)**(1/3)*(2*pi*pulse_rate)**(4/3)",
    source="SPRAY_1996",
    where="form as in the abstract; 0.26 from memory",
    status="from memory",
)
def spray_threshold(pulse_rate: Num, surface_tension: Num, density: Num) -> Num:
    """Shaking above which water throws drops.

    Picture: a glass on a loudspeaker. Use for: the forcing over it, always as a band. Not for: below about 27 Hz
    alone, where gravity matters too. In print: long vertical shaking of clear deep water.
    """
    return 0.26 * (surface_tension / density) ** (1.0 / 3.0) * (2.0 * np.pi * pulse_rate) ** (4.0 / 3.0)


@relation(
    """
    over = max(acceleration - gravity, 0)
    growth_rate = (4*density*over**3/(27*surface_tension))**0.25""",
    source="RAYLEIGH_TAYLOR",
    where="fastest wave of a layer drawn down faster than it falls",
    status="from memory",
)
def growth_rate_layer(acceleration: Num, density: Num, surface_tension: Num) -> Num:
    """Rate at which the fastest wave grows on a layer that is drawn down faster than it falls; 0 below g.

    Picture: water over air. Use for: the path over a table roll, where the acceleration is speed squared over radius.
    Not for: thin layers on a mat that holds them. Made from: the largest root of a k - surface_tension k3/density.
    """
    over = np.maximum(acceleration - gravity, 0.0)
    return (4.0 * density * over**3 / (27.0 * surface_tension)) ** 0.25


@derived(
    "growth_per_roll = growth_rate*kink_angle*roll_radius/speed", where="growth over the time on the roll; yardstick 1"
)
def growth_per_roll(growth_rate: Num, kink_angle: Num, roll_radius: Num, speed: Num) -> Num:
    """Growth of the fastest wave on one roll, as a natural logarithm.

    Picture: 1 is a wave 2.7 times as high. Use for: table rolls. Not for: what the next roll adds.
    """
    return growth_rate * kink_angle * roll_radius / speed
