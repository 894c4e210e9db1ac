"""Press nips: impulse, loading frame, the width and pressure of a nip under a soft cover, shapes of its
pressure.

Everything is per metre of machine width and static; a rolling cover is stiffer than a standing one. The load
that a shell may carry is never worked out here: it stands in the vessel's certificate.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, assumed, derived, relation
from thinstock.relations.nip_layer import LayerContact as LayerContact
from thinstock.relations.nip_layer import layer_contact as layer_contact
from thinstock.words.constants import gravity

# --- load, time, pressure


@derived("press_impulse = line_load/speed", where="definition")
def impulse(line_load: Num, speed: Num) -> Num:
    """Press impulse: the pressure added up over the time in the nip.

    Picture: a push times how long it lasts; twice the speed halves it, whatever the shape of the nip.
    Use for: any pressure profile, since it equals the integral of pressure over time. Not for: gauge
    pressures of the loading cylinders; take the load in the nip itself.
    """
    return line_load / speed


@derived("dwell = nip_width/speed", where="definition")
def dwell_nip(nip_width: Num, speed: Num) -> Num:
    """Time a point of the sheet spends in the nip."""
    return nip_width / speed


@derived("nip_pressure = line_load/nip_width", where="definition")
def pressure_mean(line_load: Num, nip_width: Num) -> Num:
    """Mean pressure in the nip.

    Picture: the load spread evenly over the width of the nip. Trap: more load also widens a soft nip.
    """
    return line_load / nip_width


@derived(
    "nip_pressure = nip_pressure/(1 - roll_open_area)", where="balance of forces", holds={"roll_open_area": (0.0, 0.99)}
)
def pressure_land(nip_pressure: Num, roll_open_area: Num) -> Num:
    """Pressure on the land between holes or grooves of a roll.

    Picture: the same load stands on less ground. The impulse over the whole surface is unchanged by holes.
    """
    return nip_pressure / (1.0 - roll_open_area)


@relation(
    """push = cylinder_count*cylinder_pressure*cylinder_area*cylinder_arm
        line_load = (push + weight_moment)/(roll_arm*face_width)""",
    source="CALCULATION_HANDBOOK",
    where="p. 500, worked examples; balance of levers",
    status="derived",
)
def line_load_lever_frame(
    cylinder_pressure: Num,
    cylinder_area: Num,
    cylinder_count: Num,
    cylinder_arm: Num,
    roll_arm: Num,
    weight_moment: Num,
    face_width: Num,
) -> Num:
    """Line load of a roll that cylinders or bellows press into the nip through a lever.

    Picture: a see-saw; cylinders on one arm, the nip on the other, the roll's own weight helping or
    hindering.
    Use for: cylinders on a common pivot; pressure is the difference across them; the weight moment counts +
    when it presses the roll into the nip. Not for: hydraulic shoes. Friction is left out, so the nip feels
    less.
    In print: kgf and cm; two worked examples agree, the form of the formula was inferred from them.
    """
    push = cylinder_count * cylinder_pressure * cylinder_area * cylinder_arm
    return (push + weight_moment) / (roll_arm * face_width)


@derived(
    """turn = line_load*roll_arm*face_width - weight_moment
        cylinder_pressure = turn/(cylinder_count*cylinder_area*cylinder_arm)""",
    where="inverse of the lever balance",
)
def cylinder_pressure_lever_frame(
    line_load: Num,
    cylinder_area: Num,
    cylinder_count: Num,
    cylinder_arm: Num,
    roll_arm: Num,
    weight_moment: Num,
    face_width: Num,
) -> Num:
    """Pressure across the loading cylinders that gives a wanted line load; the lever balance turned round."""
    turn = line_load * roll_arm * face_width - weight_moment
    return turn / (cylinder_count * cylinder_area * cylinder_arm)


# --- rolls


@derived(
    """across = nip_width_end**2 - nip_width_middle**2
        crown_change = across*(roll_diameter + mating_diameter)/(2*roll_diameter*mating_diameter)""",
    where="chord geometry, all put into one roll; a worked example in print agrees",
)
def crown_correction_impression(
    nip_width_end: Num, nip_width_middle: Num, roll_diameter: Num, mating_diameter: Num
) -> Num:
    """Crown, on the diameter, to add to one roll so that the nip is as wide in the middle as at its ends.

    Picture: wider impressions at the ends mean that the middle is thin; the roll needs more belly there.
    Use for: impressions taken standing, at the load that is run. Not for: shoe nips.
    """
    across = nip_width_end**2 - nip_width_middle**2
    return across * (roll_diameter + mating_diameter) / (2.0 * roll_diameter * mating_diameter)


@derived("equivalent_radius = 1/(2/roll_diameter + 2/mating_diameter)", where="geometry of two convex cylinders")
def equivalent_radius_cylinders(roll_diameter: Num, mating_diameter: Num) -> Num:
    """Radius of the one roll that, on a flat plate, meets it as these two rolls meet each other.

    Picture: two rolls curve away from each other faster than each from a plate. An infinite diameter is a
    plate.
    """
    return 1.0 / (2.0 / roll_diameter + 2.0 / mating_diameter)


@derived(
    """first = (yankee_diameter + roll_diameter)/2
        second = (yankee_diameter + second_roll_diameter)/2
        apart = (roll_diameter + second_roll_diameter)/2 + clearance
        angle = acos((first**2 + second**2 - apart**2)/(2*first*second))""",
    where="law of cosines",
)
def angle_clear_rolls(yankee_diameter: Num, roll_diameter: Num, second_roll_diameter: Num, clearance: Num) -> Num:
    """Least angle, seen from the Yankee's axis, between two rolls on it with a free gap between them."""
    first = (yankee_diameter + roll_diameter) / 2.0
    second = (yankee_diameter + second_roll_diameter) / 2.0
    apart = (roll_diameter + second_roll_diameter) / 2.0 + clearance
    return np.arccos((first**2 + second**2 - apart**2) / (2.0 * first * second))


@derived("ingoing_length = sqrt(2*equivalent_radius*compression)", where="chord geometry")
def ingoing_length_felt(equivalent_radius: Num, compression: Num) -> Num:
    """Distance before the nip's centre line at which a felt that yields by `compression` is first touched.

    Picture: a soft felt meets the rolls long before the cover does. Holds while it is small against the
    radius.
    """
    return np.sqrt(2.0 * equivalent_radius * compression)


# --- the width of a nip under a soft cover


@relation(
    """half_width = sqrt(4*line_load*equivalent_radius*(1 - poisson_ratio**2)/(pi*cover_modulus))""",
    source="JOHNSON_1985",
    where="line contact",
    status="from memory",
)
def half_width_hertz(line_load: Num, equivalent_radius: Num, cover_modulus: Num, poisson_ratio: Num) -> Num:
    """Half the width of a nip under a cover much thicker than the nip is wide.

    Picture: a roll on a deep rubber block. Use for: covers thicker than five half widths, stiff mating roll.
    Not for: press covers, which are as thin as the nip is wide: it then gives a load too low by 1.6 to 3.3
    times.
    """
    return np.sqrt(4.0 * line_load * equivalent_radius * (1.0 - poisson_ratio**2) / (np.pi * cover_modulus))


@relation(
    "peak_pressure = 2*line_load/(pi*half_width)", source="JOHNSON_1985", where="line contact", status="from memory"
)
def peak_pressure_hertz(line_load: Num, half_width: Num) -> Num:
    """Largest pressure in a nip with the elliptic profile of a thick cover."""
    return 2.0 * line_load / (np.pi * half_width)


@derived(
    """stiffness = 2*cover_modulus*(1 - poisson_ratio)
        bonded = 3*(1 + poisson_ratio)*(1 - 2*poisson_ratio)
        line_load = stiffness*half_width**3/(bonded*equivalent_radius*cover_thickness)""",
    where="independent springs, layer bonded to the roll",
    holds={"poisson_ratio": (0.0, 0.4)},
)
def line_load_thin_compressible(
    half_width: Num, cover_thickness: Num, equivalent_radius: Num, cover_modulus: Num, poisson_ratio: Num
) -> Num:
    """Line load of a thin, compressible layer: every bit of it is a spring of its own, the profile a
    parabola.

    Use for: half width over ten thicknesses and Poisson's ratio to 0.4 (foam-like layers). Not for: rubber
    covers.
    """
    stiffness = 2.0 * cover_modulus * (1.0 - poisson_ratio)
    bonded = 3.0 * (1.0 + poisson_ratio) * (1.0 - 2.0 * poisson_ratio)
    return stiffness * half_width**3 / (bonded * equivalent_radius * cover_thickness)


@derived(
    "line_load = 2*cover_modulus*half_width**5/(45*equivalent_radius*cover_thickness**3)",
    where="bonded incompressible layer, frictionless top, pressure and slope vanish at the edge",
)
def line_load_thin_incompressible(
    half_width: Num, cover_thickness: Num, equivalent_radius: Num, cover_modulus: Num
) -> Num:
    """Line load of a very thin layer that cannot change its volume: a limit only.

    Picture: rubber that has to be squeezed out sideways; the profile is (1 - x²)².
    Use for: the limit of half widths above fifty thicknesses. Not for: real covers (high by 16 to 74 times).
    """
    return 2.0 * cover_modulus * half_width**5 / (45.0 * equivalent_radius * cover_thickness**3)


@derived(
    """r = half_width/cover_thickness
        g = 1 + r**2*(0.331 + 0.774/(1 + 0.475*r**1.37) + 2*r/(15*pi))
        line_load = pi*cover_modulus*half_width**2/(3*equivalent_radius)*g""",
    where="fit to the bonded incompressible layer (layer_contact), within 0.5 % for r 0.1 to 20",
)
def line_load_covered_roll(half_width: Num, cover_thickness: Num, equivalent_radius: Num, cover_modulus: Num) -> Num:
    """Line load at which a rubber-covered roll makes a nip of this half width.

    Picture: between the deep block and the thin layer; the bond to the steel keeps the rubber from flowing
    away.
    Use for: one soft cover (Poisson's ratio one half), stiff mating roll, half width below twenty
    thicknesses. Not for: a cover with Poisson's ratio 0.47, which carries 5, 8, 12, 16 % less at r = 0.5, 1,
    1.5, 2.
    Made from: the numerical solution of the bonded layer, checked by a second solver within 0.7 %.
    """
    r = half_width / cover_thickness
    g = 1.0 + r**2 * (0.331 + 0.774 / (1.0 + 0.475 * r**1.37) + 2.0 * r / (15.0 * np.pi))
    return np.pi * cover_modulus * half_width**2 / (3.0 * equivalent_radius) * g


@derived(
    """half = nip_width/2
        carried = line_load_covered_roll(half, cover_thickness, equivalent_radius, cover_modulus)
        0 = carried/line_load - 1""",
    gives="nip_width",
    kind="equation",
    where="line_load_covered_roll solved for the width",
)
def nip_width_covered_roll(line_load: Num, cover_thickness: Num, equivalent_radius: Num, cover_modulus: Num) -> Num:
    """Width of the nip under a rubber-covered roll at a given line load.

    Picture: the roll sinks in until the cover carries the load. A felt in the nip adds its ingoing length.
    Use for: a first idea where no impression was taken; a measured width always wins.
    Worked out by Newton's method on the logarithm of the half width in cover thicknesses, from above.
    """
    load = 3.0 * line_load * equivalent_radius / (np.pi * cover_modulus * cover_thickness**2)
    r = np.sqrt(load)
    for _ in range(40):
        power = r**1.37
        soft = 1.0 + 0.475 * power
        thin = 2.0 * r / (15.0 * np.pi)
        g = 1.0 + r**2 * (0.331 + 0.774 / soft + thin)
        slope = r**2 * (2.0 * (g - 1.0) / r**2 - 0.774 * 0.475 * 1.37 * power / soft**2 + thin)
        step = np.log(r * r * g / load) / (2.0 + slope / g)
        r = r * np.exp(-step)
        if (np.abs(step) < 1e-12).all():
            break
    return 2.0 * r * cover_thickness


@derived(
    """half = nip_width/2
        r = half/cover_thickness
        g = 1 + r**2*(0.331 + 0.774/(1 + 0.475*r**1.37) + 2*r/(15*pi))
        cover_modulus = 3*equivalent_radius*line_load/(pi*half**2*g)""",
    where="line_load_covered_roll solved for the modulus",
)
def cover_modulus_nip_width(line_load: Num, nip_width: Num, cover_thickness: Num, equivalent_radius: Num) -> Num:
    """Modulus of a cover from one nip impression at a known load; the way to calibrate it.

    Trap: one impression cannot tell the modulus from the thickness that is left on the roll.
    """
    return line_load / line_load_covered_roll(nip_width / 2.0, cover_thickness, equivalent_radius, 1.0)


@derived(
    """r = half_width/cover_thickness
        peak_ratio = 4/pi + (15/8 - 4/pi)*r**4/(3.75 - 0.5*r**2 + 4.7*r**3 + r**4)""",
    where="fit to the solution of the bonded incompressible layer, within 0.15 % for r below 20",
)
def peak_ratio_covered_roll(half_width: Num, cover_thickness: Num) -> Num:
    """Largest over mean pressure in the nip of a rubber-covered roll: 4/π for a thick cover, 15/8 for a thin
    one.
    """
    r = half_width / cover_thickness
    rise = r**4 / (3.75 - 0.5 * r**2 + 4.7 * r**3 + r**4)
    return 4.0 / np.pi + (15.0 / 8.0 - 4.0 / np.pi) * rise


@relation(
    """depth = pusey_jones*1e-5
        cover_modulus = 9*gravity/(16*sqrt(1.5875e-3)*depth**1.5)""",
    source="ASTM_D531",
    where="ball of 1/8 inch and load of 1 kg; modulus derived for a ball on an incompressible half space",
    status="derived",
    holds={"pusey_jones": (5.0, 150.0)},
    in_units={"pusey_jones": "1", "cover_modulus": "Pa"},
)
def cover_modulus_pusey_jones(pusey_jones: Num) -> Num:
    """Young's modulus of a cover from its Pusey and Jones reading (hundredths of a millimetre of ball
    travel).

    Picture: how deep a small ball sinks in. Standing modulus; rolling it is 1.2 to 2 times stiffer (assumed).
    In print: ball and load of the standard are from memory.
    """
    depth = pusey_jones * 1e-5
    return 9.0 * gravity / (16.0 * np.sqrt(1.5875e-3) * depth**1.5)


@relation(
    """cover_modulus = 0.0981e6*(56 + 7.62336*shore_a)/(0.137505*(254 - 2.54*shore_a))""",
    source="GENT_1958",
    where="relation of Young's modulus and durometer hardness",
    status="from memory",
    holds={"shore_a": (20.0, 90.0)},
    in_units={"shore_a": "1", "cover_modulus": "Pa"},
)
def cover_modulus_gent(shore_a: Num) -> Num:
    """Young's modulus of rubber from its Shore A hardness."""
    return 0.0981e6 * (56.0 + 7.62336 * shore_a) / (0.137505 * (254.0 - 2.54 * shore_a))


# --- shapes of the pressure along the nip; the mean of each is one


@derived("x = 2*position - 1; pressure_shape = 4/pi*sqrt(max(1 - x**2, 0))", where="thick cover")
def profile_ellipse(position: Num) -> Num:
    """Pressure over mean pressure along a nip under a thick cover; nothing outside the nip."""
    return 4.0 / np.pi * np.sqrt(np.maximum(1.0 - (2.0 * position - 1.0) ** 2, 0.0))


@derived("x = 2*position - 1; pressure_shape = 1.5*max(1 - x**2, 0)", where="independent springs")
def profile_parabola(position: Num) -> Num:
    """Pressure over mean pressure along a nip whose layer acts as independent springs."""
    return 1.5 * np.maximum(1.0 - (2.0 * position - 1.0) ** 2, 0.0)


@derived("x = 2*position - 1; pressure_shape = 15/8*max(1 - x**2, 0)**2", where="thin incompressible layer")
def profile_quartic(position: Num) -> Num:
    """Pressure over mean pressure along a nip under a very thin rubber layer."""
    return 15.0 / 8.0 * np.maximum(1.0 - (2.0 * position - 1.0) ** 2, 0.0) ** 2


@assumed(
    """power = peak_position/(1/peak_ratio - (1 - peak_position)/2) - 1
        rising = peak_ratio*(max(position, 0)/peak_position)**power
        falling = peak_ratio*(1 - position)/(1 - peak_position)
        inside = where(position <= peak_position, rising, falling)
        pressure_shape = where(position < 0, 0, where(position > 1, 0, inside))""",
    where="ramp and abrupt release, mean one",
)
def profile_shoe(position: Num, peak_position: Num, peak_ratio: Num) -> Num:
    """Pressure over mean pressure along a tilted shoe: a ramp to the peak, then a quick release.

    Picture: the shoe leans on the sheet harder and harder, then lets go. More tilt moves the peak later and
    higher.
    Use for: 2/(1 + peak_position) ≤ peak_ratio < 2/(1 - peak_position); outside it no such ramp has the mean
    one.
    """
    power = peak_position / (1.0 / peak_ratio - (1.0 - peak_position) / 2.0) - 1.0
    with np.errstate(divide="ignore", invalid="ignore"):
        rising = peak_ratio * (np.maximum(position, 0.0) / peak_position) ** power
        falling = peak_ratio * (1.0 - position) / (1.0 - peak_position)
    inside = np.where(np.less_equal(position, peak_position), rising, falling)
    return np.where(np.less(position, 0.0), 0.0, np.where(np.greater(position, 1.0), 0.0, inside))[()]
