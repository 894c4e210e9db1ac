"""What presses on each former: weight, foils, table rolls, rolls and boxes, and how long.

Part of `drainage`, which gives these formulas their name.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived, relation
from thinstock.words.constants import gravity

LABELLED_IN = "drainage"


@derived("pressure_drop = density*gravity*stock_depth", where="hydrostatics")
def pressure_gravity_table(density: Num, stock_depth: Num) -> Num:
    """Weight of the stock on an open table.

    Picture: a few millimetres of water, 20 to 100 Pa. Use for: stretches between elements. Not for:
    curved paths.
    """
    return density * gravity * stock_depth


@relation(
    "vacuum = min(density/2*speed**2, suction_cap)",
    source="TAYLOR_1956",
    where="peak suction in the outgoing gap of a table roll",
    status="from memory",
)
def suction_table_roll_taylor(density: Num, speed: Num, suction_cap: Num) -> Num:
    """Peak suction behind a table roll.

    Picture: the gap between wire and roll opens and sucks with the dynamic pressure of the wire: 12, 50,
    112 kPa at 300, 600, 900 m/min. The cap is where practice stops. Use for: half the peak as mean
    (`assumed`). Not for: rolls without water in the nip.
    """
    return np.minimum(0.5 * density * speed**2, suction_cap)


@derived("length = 2*roll_radius*flux/speed", where="gap x²/(2 radius) filled by what drains")
def nip_length_table_roll(flux: Num, speed: Num, roll_radius: Num) -> Num:
    """Length over which a table roll sucks.

    Picture: the opening gap must be filled by the water that drains; where it opens faster, suction ends.
    Use for: one roll. Not for: the way suction and drainage shape each other, which is not solved.
    """
    return 2.0 * roll_radius * flux / speed


@derived("drained = 2*roll_radius*(flux/speed)**2", where="flux times nip length over speed")
def drained_table_roll(flux: Num, speed: Num, roll_radius: Num) -> Num:
    """Water that one table roll takes.

    Picture: flux over the nip length. Use for: one roll. Not for: many rolls with one flux (the mat grows).
    """
    return 2.0 * roll_radius * (flux / speed) ** 2


@derived(
    "flux_cap = speed*tan(min(foil_angle, foil_angle_cap))",
    where="volume of the wedge that opens behind the blade's edge",
)
def flux_cap_foil(speed: Num, foil_angle: Num, foil_angle_cap: Num) -> Num:
    """Largest flux a foil can take.

    Picture: the wedge between wire and foil holds no more water than its volume. Use for: table foils of
    0.5 to 4 degrees. Not for: steep foils, which beyond the cap are believed to wipe the underside and
    not to suck more.
    """
    return speed * np.tan(np.minimum(foil_angle, foil_angle_cap))


@derived(
    "drained = suction_share*foil_length*tan(min(foil_angle, foil_angle_cap))",
    where="wedge volume over the share of the blade that sucks",
)
def drained_cap_foil(foil_length: Num, foil_angle: Num, foil_angle_cap: Num, suction_share: Num) -> Num:
    """Most water that one foil can take, at any speed.

    Picture: the height of the wedge at the end of suction. Use for: a bound per foil. Not for: what it
    does take.
    """
    return suction_share * foil_length * np.tan(np.minimum(foil_angle, foil_angle_cap))


@relation(
    "pressure_drop = density/2*(jet_speed*sin(impact_angle))**2",
    source="DALPKE",
    where="momentum of the jet across the wire; the abstract says what sets the force, and one or two jet thicknesses",
    status="derived",
)
def pressure_impact(density: Num, jet_speed: Num, impact_angle: Num) -> Num:
    """Pressure of the jet where it strikes the fabric.

    Picture: the speed across the fabric is stopped. Use for: uniform over a few jet thicknesses
    (`assumed`). Not for: jets laid down nearly along the fabric.
    """
    return 0.5 * density * (jet_speed * np.sin(impact_angle)) ** 2


@derived("pressure_drop = density*stock_depth*speed**2/roll_radius", where="force that turns the stock")
def pressure_centrifugal(density: Num, stock_depth: Num, speed: Num, roll_radius: Num) -> Num:
    """Pressure across a layer of stock that is carried round a roll.

    Picture: the outer fabric must hold the stock on its circle. Use for: what unloads the roll side. Not
    for: adding to the outer fabric's drop, which its tension alone sets.
    """
    return density * stock_depth * speed**2 / roll_radius


@derived("pressure_drop = vacuum - density*stock_depth*speed**2/roll_radius", where="vacuum less what turns the stock")
def pressure_suction_breast_roll(vacuum: Num, density: Num, stock_depth: Num, speed: Num, roll_radius: Num) -> Num:
    """Pressure drop over the wire on a suction breast roll.

    Picture: the vacuum must first hold the stock on the roll. Use for: the reach in speed of these
    formers. Not for: water flung from the shell.
    """
    return vacuum - density * stock_depth * speed**2 / roll_radius


@derived(
    "pressure_drop = vacuum + density*gravity*pond_head*(1 - position_share)",
    where="hydrostatics of the pond over a rising wire",
)
def pressure_inclined_wire(vacuum: Num, density: Num, pond_head: Num, position_share: Num) -> Num:
    """Pressure drop along an inclined wire under a pond.

    Picture: deep water at the low end, none at the top, vacuum all along. Use for: pond formers. Not for:
    a pond whose level waves.
    """
    return vacuum + density * gravity * pond_head * (1.0 - position_share)


@relation(
    "pressure_drop = (fabric_tension - fabric_mass*speed**2)/roll_radius",
    source="MARTINEZ_1998",
    where="tension over radius; the term of the fabric's own mass is derived",
    status="from memory",
)
def pressure_forming_roll(fabric_tension: Num, fabric_mass: Num, speed: Num, roll_radius: Num) -> Num:
    """Pressure drop over the outer fabric on a forming roll.

    Picture: a belt round a pulley presses with tension over radius; at speed part of the tension is
    needed to turn the belt itself. Use for: the wrap of roll formers. Not for: the peak at the entry,
    suction at the take-off.
    """
    return (fabric_tension - fabric_mass * speed**2) / roll_radius


@derived(
    """
    outer = (fabric_tension - fabric_mass*speed**2)/roll_radius
    pressure_drop = outer - density*stock_depth*speed**2/roll_radius + vacuum
    """,
    where="balance of forces across the layer of stock",
)
def pressure_forming_roll_inner(
    fabric_tension: Num,
    fabric_mass: Num,
    speed: Num,
    roll_radius: Num,
    density: Num,
    stock_depth: Num,
    vacuum: Num,
) -> Num:
    """Pressure drop over the roll side of a forming roll.

    Picture: centrifugal force presses no water out; it takes load off the roll side. Use for: open and
    suction forming rolls. Not for: the outer fabric.
    """
    outer = (fabric_tension - fabric_mass * speed**2) / roll_radius
    return outer - density * stock_depth * speed**2 / roll_radius + vacuum


@derived(
    "stock_depth = (fabric_tension - fabric_mass*speed**2)/(density*speed**2)",
    where="roll-side pressure set to zero; not verified by measurement",
)
def stock_depth_held_forming_roll(fabric_tension: Num, fabric_mass: Num, speed: Num, density: Num) -> Num:
    """Deepest stock whose momentum the fabric's tension can turn.

    Picture: deeper stock would lift off the roll. Use for: a note. Not for: refusing a machine; nobody
    has measured it to our knowledge.
    """
    return (fabric_tension - fabric_mass * speed**2) / (density * speed**2)


@derived("dwell = wrap*roll_radius/speed", where="arc over speed")
def dwell_wrap(wrap: Num, roll_radius: Num, speed: Num) -> Num:
    """Time a point of the fabric spends on a wrap.

    Picture: 70 ms on 160 degrees of a 1.5 m roll at 1800 m/min. Use for: time available. Not for: time
    needed.
    """
    return wrap * roll_radius / speed
