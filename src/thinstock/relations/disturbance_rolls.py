"""Rolls that throw, jets that wash, gaps, ponds and draws.

Part of `disturbance`, which gives these formulas their name.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived, relation
from thinstock.words.constants import gravity

LABELLED_IN = "disturbance"


@derived("rim_acceleration = speed**2/(gravity*roll_radius)", where="acceleration of the rim in g")
def rim_acceleration(speed: Num, roll_radius: Num) -> Num:
    """Acceleration at the rim of a roll, in g.

    Picture: a wet wheel. Use for: water flung back against the wire. Not for: the pull of the wire on the sheet. In
    print: newsprint of the 1940s ran its table rolls at 19 to 29 g with baffles between them; the pairing of speed with
    diameter is ours.
    """
    return speed**2 / (gravity * roll_radius)


@derived("speed = sqrt(rim_acceleration*gravity*roll_radius)", where="acceleration of the rim, solved for the speed")
def speed_rim(rim_acceleration: Num, roll_radius: Num) -> Num:
    """Speed at which the rim of a roll has an acceleration given in g.

    Picture: four times the radius bears twice the speed. Use for: the yardstick of practice. Not for: a limit.
    """
    return np.sqrt(rim_acceleration * gravity * roll_radius)


@derived("shell_depth = drained/roll_open_area", where="volume in the holes of the shell")
def shell_depth_filled(drained: Num, roll_open_area: Num) -> Num:
    """Depth of the water in the holes of a suction roll's shell.

    Picture: the water stands the higher, the fewer holes there are. Use for: full holes, the upper end. Not for: a
    shell that the vacuum empties.
    """
    return drained / roll_open_area


@derived(
    "throw_ratio = density*(stock_depth + shell_depth)*speed**2/(roll_radius*vacuum)",
    where="force that turns stock and carried water, over the vacuum",
)
def throw_ratio(density: Num, stock_depth: Num, shell_depth: Num, speed: Num, roll_radius: Num, vacuum: Num) -> Num:
    """Pressure that turns the water round a suction roll over the vacuum that must hold it there.

    Picture: at 1 the vacuum does nothing but hold. Use for: two ends, at the start with empty holes, at the end with
    full ones. Not for: a roll between two fabrics, whose tension holds.
    """
    return density * (stock_depth + shell_depth) * speed**2 / (roll_radius * vacuum)


@derived(
    "speed = sqrt(roll_radius*vacuum/(density*(stock_depth + shell_depth)))",
    where="throw ratio 1, solved for the speed",
)
def speed_throw(density: Num, stock_depth: Num, shell_depth: Num, roll_radius: Num, vacuum: Num) -> Num:
    """Speed at which the vacuum of a suction roll is spent on holding its water.

    Picture: four times the vacuum bears twice the speed. Use for: an indicator. Not for: a limit.
    """
    return np.sqrt(roll_radius * vacuum / (density * (stock_depth + shell_depth)))


@derived(
    "impact_wash_speed = jet_speed*sin(impact_angle)",
    where="ideal plane jet; in the wire's frame it comes at right angles and spreads both ways",
)
def impact_wash_speed(jet_speed: Num, impact_angle: Num) -> Num:
    """Speed with which a jet spreads along the wire where it lands.

    Picture: a tap on a plate; an ideal jet does not bounce. Use for: comparing landings. Not for: a limit. In print:
    gross motion of stock along the wire harms formation at large scale (abstract).
    """
    return jet_speed * np.sin(impact_angle)


@derived("share = min(1, flux/(jet_speed*sin(impact_angle)))", where="what drains over what comes across the fabric")
def impact_absorbed_share(flux: Num, jet_speed: Num, impact_angle: Num) -> Num:
    """Share of the jet that the fabric takes where it lands; the rest washes.

    Picture: rain on sand. Use for: the flux under the pressure of the impact through the bare fabric. Not for: the
    drainage of the former.
    """
    return np.minimum(1.0, flux / (jet_speed * np.sin(impact_angle)))


@derived(
    """
    left = fabric_tension - fabric_mass*speed**2
    momentum_ratio = where(left > 0, density*stock_depth*speed**2/left, inf)""",
    where="travelling string that carries a layer",
)
def momentum_ratio(density: Num, stock_depth: Num, speed: Num, fabric_tension: Num, fabric_mass: Num) -> Num:
    """Push of the turned stock over what the tension of the outer fabric leaves for it.

    Picture: above 1 the roll's side is unloaded; the wire still holds the stock. Use for: forming rolls; fast tissue
    runs at 1 to 1.5. Not for: a stop: no surface is free.
    """
    left = fabric_tension - fabric_mass * speed**2
    return np.where(left > 0.0, density * stock_depth * speed**2 / np.where(left > 0.0, left, 1.0), np.inf)[()]


@derived(
    "speed = sqrt(fabric_tension/(fabric_mass + density*stock_depth))", where="travelling string that carries a layer"
)
def wave_speed_wire(fabric_tension: Num, fabric_mass: Num, density: Num, stock_depth: Num) -> Num:
    """Speed of a bend that runs along a fabric with stock on it; there the momentum ratio is 1.

    Picture: a wave on a rope. Use for: forming rolls and tables. Not for: a fabric that lies on something.
    """
    return np.sqrt(fabric_tension / (fabric_mass + density * stock_depth))


@derived(
    "entry_ratio = 2*pressure_drop/(density*jet_speed**2)",
    where="pressure in the gap over the dynamic pressure of the jet; yardstick 1 from below",
)
def entry_ratio(pressure_drop: Num, density: Num, jet_speed: Num) -> Num:
    """Pressure of a gap over what the jet brings against it.

    Picture: above 1 the jet does not enter. Use for: the low end of roll formers. Not for: the high end.
    """
    return 2.0 * pressure_drop / (density * jet_speed**2)


@derived(
    "air_weber = air_density*jet_speed**2*jet_thickness/surface_tension",
    where="push of the air over surface tension; 13 tears, 40 atomises a round jet (from memory)",
)
def air_weber(air_density: Num, jet_speed: Num, jet_thickness: Num, surface_tension: Num) -> Num:
    """Push of still air on a jet over its surface tension.

    Picture: wind on a pond. Use for: mist, with the numbers of round jets as a scale. Not for: a limit. In print:
    waves on a headbox jet start its break-up (abstract of a thesis).
    """
    return air_density * jet_speed**2 * jet_thickness / surface_tension


@derived(
    "pond_number = speed**2/(2*gravity*pond_head)", where="wire speed against the speed that the pond's head can give"
)
def pond_number(speed: Num, pond_head: Num) -> Num:
    """Square of the wire's speed over that of the water that an open pond can drive.

    Picture: at 1 the wire is as fast as the pond can follow. Use for: open ponds. Not for: a roofed inlet under
    pressure.
    """
    return speed**2 / (2.0 * gravity * pond_head)


@derived("speed = sqrt(2*gravity*pond_head)", where="pond number 1, solved for the speed")
def speed_pond(pond_head: Num) -> Num:
    """Speed that the head of a pond can give its water.

    Picture: water out of a hole in a barrel. Use for: open ponds. Not for: a roofed inlet under pressure.
    """
    return np.sqrt(2.0 * gravity * pond_head)


@derived("pond_time = pond_head*pond_length/(2*flow_per_width)", where="volume of a wedge over its flow")
def pond_time(pond_head: Num, pond_length: Num, flow_per_width: Num) -> Num:
    """Mean time that stock stays in a pond; the control of its level must act within it.

    Picture: a bath that fills in a second. Use for: the level. Not for: flocs, which need no more than that.
    """
    return pond_head * pond_length / (2.0 * flow_per_width)


@derived("pond_drag = stock_depth/pond_head", where="the same flow through two depths")
def pond_drag(stock_depth: Num, pond_head: Num) -> Num:
    """Mean speed of a pond over the wire's speed.

    Picture: the wire runs under slow water and shears it. Use for: the drag on the first fibres. Not for: a limit.
    """
    return stock_depth / pond_head


@relation(
    "tension_open_draw = grammage/dryness*speed**2 + release_work/(1 - cos(release_angle))",
    source="COMMON_PRACTICE",
    where="peeling a wet web: its momentum and the work of release",
    status="from memory",
)
def tension_open_draw(grammage: Num, dryness: Num, speed: Num, release_work: Num, release_angle: Num) -> Num:
    """Tension that pulls a wet web off its fabric in an open draw.

    Picture: a plaster taken off fast. Use for: why fast light sheets are picked up on a felt: a wet web of 12 g/m²
    bears about 4 to 8 N/m at 20 % (from memory), release takes 1 to 5 J/m². Not for: a limit.
    """
    return grammage / dryness * speed**2 + release_work / (1.0 - np.cos(release_angle))
