"""The headbox and its jet: how much stock a grade needs, what pressure drives it, what the slice makes of
it, where it lands.

Plane flow of water only. Jet breakup, turbulence from the headbox, lip projections that bend the jet and
losses in the lip's boundary layer are not in here (a measured jet angle or velocity coefficient can be
given instead).
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Array, Num, derived, relation
from thinstock.words.constants import gravity

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(64)
_T = 0.5 * (_NODES + 1.0)
_PLACE = np.pi * _T**3
"""Places on (0, π), crowded towards 0 where the integrand of a nearly full opening has its peak."""
_SHARE = 1.5 * _T**2 * _WEIGHTS
"""Their weights, with the 1/π in front of the integral included."""
_HALVINGS = 100


# --- how much stock


@derived("grammage = reel_grammage*dryness*reel_speed/wire_speed", where="fibre balance between wire and reel")
def grammage_on_wire(reel_grammage: Num, dryness: Num, reel_speed: Num, wire_speed: Num) -> Num:
    """Bone-dry fibre per area of the sheet as it lies on the wire, before creping.

    Picture: what the reel winds slowly with crepe folds in it, the wire carried fast and flat.
    Use for: the grammage that the former must drain. Not for: sheets that lose fibre between wire and reel.
    """
    return reel_grammage * dryness * reel_speed / wire_speed


@derived("flow_per_width = grammage*wire_speed/(retention*consistency*density)", where="fibre balance over the wire")
def flow_per_width(grammage: Num, wire_speed: Num, consistency: Num, retention: Num, density: Num) -> Num:
    """Headbox flow per metre of width that puts the grammage on the wire.

    Picture: only the retained part of the fibre in each litre stays; retention times consistency sets the
    litres. Use for: sizing headbox, fan pump and white water. Not for: layered stock (add the layers).
    """
    return grammage * wire_speed / (retention * consistency * density)


@derived("stock_depth = flow_per_width/speed", where="water balance")
def stock_depth(flow_per_width: Num, speed: Num) -> Num:
    """Depth of stock on a fabric that runs at `speed` with the whole flow still on it.

    Picture: the millimetres of stock that must go through the mat.
    Use for: the start of drainage at fabric speed. Not for: jet thickness at another speed.
    """
    return flow_per_width / speed


# --- what drives the jet


@relation(
    "headbox_head = density/2*(jet_speed/velocity_coefficient)**2",
    source="BERNOULLI",
    where="stagnation pressure",
    status="published",
)
def headbox_head_for_jet(jet_speed: Num, velocity_coefficient: Num, density: Num) -> Num:
    """Total pressure in the headbox that makes a jet of this speed.

    Picture: pressure turned into motion, all of it when the velocity coefficient is 1.
    Use for: headbox pressure at a wanted jet speed. Not for: the reading of a gauge above the slice.
    """
    return density / 2.0 * (jet_speed / velocity_coefficient) ** 2


@relation(
    "jet_speed = velocity_coefficient*sqrt(2*headbox_head/density)",
    source="BERNOULLI",
    where="stagnation pressure, solved for the speed",
    status="published",
)
def jet_speed_bernoulli(headbox_head: Num, velocity_coefficient: Num, density: Num) -> Num:
    """Speed of the jet that a total pressure makes.

    Picture: the inverse of the head for a jet. Use for: jet speed from headbox pressure. Not for: air
    pads with a falling level.
    """
    return velocity_coefficient * np.sqrt(2.0 * headbox_head / density)


@derived("gauge_pressure = headbox_head - density*gravity*gauge_height", where="hydrostatics")
def headbox_gauge_pressure(headbox_head: Num, gauge_height: Num, density: Num) -> Num:
    """What a pressure gauge shows that sits `gauge_height` above the slice.

    Picture: the water column between slice and gauge does not reach the gauge. Use for: reading a headbox
    gauge. Not for: a gauge in fast flow, which also misses the dynamic pressure.
    """
    return headbox_head - density * gravity * gauge_height


# --- what the slice makes of it


def _contraction_of(ratio: Array, angle: Array) -> Array:
    """Contraction for a known ratio of approach speed to jet speed (both with a last axis of length 1)."""
    corner = ratio ** (np.pi / angle)
    pull = 2.0 * corner / (1.0 + corner**2)
    cosine, sine = np.cos(_PLACE), np.sin(_PLACE)
    kernel = 1.0 / np.tan(0.5 * _PLACE) - sine * pull / (1.0 - pull * cosine)
    turned = np.sin(angle * _PLACE / np.pi)
    return np.asarray(1.0 / (1.0 + np.sum(_SHARE * kernel * turned, axis=-1)), dtype=float)


@relation(
    """
    1/contraction = 1 + (1/pi)*integral over s from 0 to pi of pull(s)*sin(slice_angle*s/pi)
    pull(s) = cot(s/2) - sin(s)/(k - cos(s))
    k = (S + 1/S)/2; S = approach**(pi/slice_angle)
    approach = contraction*opening_ratio
    """,
    gives="contraction",
    kind="march",
    source="VON_MISES_1917",
    where="free-streamline theory; derived again with the hodograph",
    status="derived",
    holds={"slice_angle": (np.radians(2.0), np.pi), "opening_ratio": (0.0, 0.95)},
)
def contraction_free_streamline(slice_angle: Num, opening_ratio: Num) -> Num:
    """Jet thickness over slice opening for a flat apron and one straight inclined lip.

    Picture: the stream along the lip cannot turn sharply at its edge, so the jet goes on shrinking after
    the slice. Use for: jet thickness from slice opening. Not for: a lip with a vertical projection, an
    apron that projects. In print: a table of the symmetric nozzle; a flat apron is its plane of symmetry.
    Made from: ideal plane flow without gravity or friction; 64 quadrature points, the approach speed by
    bisection.
    """
    angle, opening = np.broadcast_arrays(np.asarray(slice_angle, float), np.asarray(opening_ratio, float))
    angle, opening = angle[..., None], opening[..., None]
    low, high = np.zeros(opening.shape), np.ones(opening.shape)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        above = opening * _contraction_of(middle, angle)[..., None] > middle
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    contraction = _contraction_of(np.where(opening > 0.0, 0.5 * (low + high), 0.0), angle)
    return contraction[()]


@relation(
    "degrees = slice_angle*180/pi; contraction = 1.3 - 0.8*sqrt(1 - ((degrees - 205)/220)**2)",
    source="BOLLRICH",
    where="fit for a gate with an inclined lip, as a hydraulics library states it",
    status="published",
    holds={"slice_angle": (np.radians(30.0), np.radians(90.0))},
)
def contraction_bollrich(slice_angle: Num) -> Num:
    """Contraction under an inclined gate, as a fit without the depth upstream.

    Picture: the steeper the lip, the more the jet shrinks. Use for: a second opinion at 30 to 90 degrees.
    Not for: usual tissue slices of 5 to 15 degrees, which lie outside the fit. In print: the angle in
    degrees.
    """
    degrees = slice_angle * 180.0 / np.pi
    return 1.3 - 0.8 * np.sqrt(1.0 - ((degrees - 205.0) / 220.0) ** 2)


@derived("slice_opening = flow_per_width/(contraction*jet_speed)", where="water balance at the slice")
def slice_opening(flow_per_width: Num, contraction: Num, jet_speed: Num) -> Num:
    """Slice opening that passes the flow at this jet speed.

    Picture: a jet as thick as flow over speed needs a gap wider by the contraction. Use for: setting the
    slice. Not for: a slice bent across the machine.
    """
    return flow_per_width / (contraction * jet_speed)


@derived("jet_thickness = slice_opening*contraction", where="definition of the contraction")
def jet_thickness(slice_opening: Num, contraction: Num) -> Num:
    """Thickness of the jet where it has stopped shrinking.

    Picture: one or two openings downstream of the slice. Use for: impact length, depth of stock. Not for:
    the slice plane itself.
    """
    return slice_opening * contraction


# --- where the jet lands


@derived(
    "fall = distance*tan(jet_angle) + gravity*distance**2/(2*jet_speed**2*cos(jet_angle)**2)",
    gives="fall_height",
    where="free fall",
)
def jet_drop(distance: Num, jet_angle: Num, jet_speed: Num) -> Num:
    """How far below the slice the jet is after a horizontal distance.

    Picture: a stone thrown downwards at the jet's angle. Use for: drawing the jet, finding the landing.
    Not for: jets slowed by air.
    """
    return distance * np.tan(jet_angle) + gravity * distance**2 / (2.0 * jet_speed**2 * np.cos(jet_angle) ** 2)


@derived(
    """
    across = jet_speed*cos(jet_angle); down = jet_speed*sin(jet_angle)
    distance = across*2*fall_height/(down + sqrt(down**2 + 2*gravity*fall_height))
    """,
    where="free fall, solved for the distance",
)
def jet_landing_distance(fall_height: Num, jet_angle: Num, jet_speed: Num) -> Num:
    """Horizontal distance from the slice at which the jet has fallen by `fall_height`.

    Picture: the inverse of the jet's drop. Use for: where the jet meets a flat wire. Not for: landing on
    a curved roll (intersect the drop with the roll).
    """
    across = jet_speed * np.cos(jet_angle)
    down = jet_speed * np.sin(jet_angle)
    return across * 2.0 * fall_height / (down + np.sqrt(down**2 + 2.0 * gravity * fall_height))


@derived(
    """
    across = jet_speed*cos(jet_angle); down = jet_speed*sin(jet_angle)
    impact_angle = atan2(sqrt(down**2 + 2*gravity*fall_height), across)
    """,
    where="free fall",
)
def jet_landing_angle(fall_height: Num, jet_angle: Num, jet_speed: Num) -> Num:
    """Angle to the horizontal with which the jet arrives.

    Picture: the fall adds downward speed, the way along stays. Use for: impact angle on a level wire. Not
    for: a sloping wire (subtract its slope).
    """
    across = jet_speed * np.cos(jet_angle)
    down = jet_speed * np.sin(jet_angle)
    return np.arctan2(np.sqrt(down**2 + 2.0 * gravity * fall_height), across)


@derived("landing_speed = sqrt(jet_speed**2 + 2*gravity*fall_height)", gives="jet_speed", where="energy of the fall")
def jet_landing_speed(fall_height: Num, jet_speed: Num) -> Num:
    """Speed of the jet where it lands.

    Picture: height turned into speed, whatever the angle. Use for: long falls of slow jets. Not for:
    anything where a tissue jet at 30 m/s falls a few centimetres (it gains 0.02 %).
    """
    return np.sqrt(jet_speed**2 + 2.0 * gravity * fall_height)


@relation(
    "speed_inside = sqrt(jet_speed**2 - 2*pressure_drop/density)",
    gives="jet_speed",
    source="TWIN_WIRE_LITERATURE",
    where="Bernoulli along the jet into the gap",
    status="from memory",
)
def jet_speed_under_pressure(jet_speed: Num, pressure_drop: Num, density: Num) -> Num:
    """Speed of the stock after the jet has run into a gap under pressure; not a number if it cannot
    enter.

    Picture: the tensioned fabric pushes back and slows the jet; that is why jets of roll formers are set
    faster than the wire. Use for: jet-to-wire difference inside the gap. Not for: open wires.
    """
    with np.errstate(invalid="ignore"):
        return np.sqrt(jet_speed**2 - 2.0 * pressure_drop / density)


@derived(
    "lowest_speed = sqrt(2*pressure_drop/density)", gives="jet_speed", where="jet speed under pressure set to zero"
)
def jet_speed_lowest_into_pressure(pressure_drop: Num, density: Num) -> Num:
    """Slowest jet that can enter a gap under this pressure.

    Picture: a jet whose own stagnation pressure just equals the pressure in the gap. Use for: the low end
    of a roll former's speed range. Not for: the speed at which a jet runs well.
    """
    return np.sqrt(2.0 * pressure_drop / density)


# --- what it costs


@derived("power_per_width = flow_per_width*headbox_head", where="hydraulic power")
def jet_power(flow_per_width: Num, headbox_head: Num) -> Num:
    """Power in the jet, per metre of width.

    Picture: the water is thrown at machine speed and never gives the energy back. Use for: the price of
    dilution. Not for: the electricity bill (add the losses and the pump's efficiency).
    """
    return flow_per_width * headbox_head


@derived(
    """
    pressure = headbox_head + line_loss + density*gravity*static_lift
    power_per_width = flow_per_width*pressure/efficiency
    """,
    where="hydraulic power over pump efficiency",
)
def fan_pump_power(
    flow_per_width: Num, headbox_head: Num, line_loss: Num, static_lift: Num, density: Num, efficiency: Num
) -> Num:
    """Shaft power of the fan pump, per metre of width.

    Picture: jet, pipe and lift in one pressure, paid for through the pump. Use for: pump power and its cost.
    Not for: recirculation at the headbox (add its flow).
    """
    return flow_per_width * (headbox_head + line_loss + density * gravity * static_lift) / efficiency
