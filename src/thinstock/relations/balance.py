"""Small balance relations that join the physics of one part of the machine to the next.

Flows of fibre, water and heat per metre of width, shares, sums, differences. They hold no physics of their
own and no defaults; whatever is a law of paper or of water lives in its own file.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived
from thinstock.words.constants import ice_point

# --- fibre and water


@derived("water_flow_per_width = moisture_ratio*grammage*speed", where="definition")
def water_flow(moisture_ratio: Num, grammage: Num, speed: Num) -> Num:
    """Water that travels with the sheet, per metre of width.

    Picture: the fibre flow times the kilograms of water each kilogram of fibre carries.
    Use for: every station from the end of forming to the reel. Not for: felt water (felt grammage instead).
    """
    return moisture_ratio * grammage * speed


@derived("water_per_fibre = 1/consistency - 1", where="definition")
def water_per_fibre_stock(consistency: Num) -> Num:
    """Kilograms of water for each kilogram of dry solids in a stock of known consistency.

    Picture: at 0.2 % every kilogram of fibre swims in 499 kg of water.
    Use for: thick stock, headbox, white water. Not for: webs (dryness is the same number, another word).
    """
    return 1.0 / consistency - 1.0


@derived("water_flow_per_width = fibre_flow_per_width*(1/consistency - 1)", where="definition")
def water_flow_stock(fibre_flow_per_width: Num, consistency: Num) -> Num:
    """Water of a stock stream whose solids and consistency are known."""
    return fibre_flow_per_width * (1.0 / consistency - 1.0)


@derived("dryness = fibre_flow_per_width/(fibre_flow_per_width + water_flow_per_width)", where="definition")
def dryness_from_flows(fibre_flow_per_width: Num, water_flow_per_width: Num) -> Num:
    """Dry share of a stream of fibre and water (dryness of a web, consistency of a stock)."""
    return fibre_flow_per_width / (fibre_flow_per_width + water_flow_per_width)


@derived("water_flow_per_width = water_per_area*speed", where="definition")
def water_flow_from_area(water_per_area: Num, speed: Num) -> Num:
    """Flow per metre of width of water that is put on or taken from each square metre that passes."""
    return water_per_area * speed


@derived("moisture_ratio_out = moisture_ratio_in - water_flow_per_width/(grammage*speed)", where="balance")
def moisture_ratio_after_removal(moisture_ratio_in: Num, water_flow_per_width: Num, grammage: Num, speed: Num) -> Num:
    """Moisture ratio of a sheet after a known flow of water has been taken from it."""
    return moisture_ratio_in - water_flow_per_width / (grammage * speed)


# --- per metre, per machine, volume


@derived("machine_power = power_per_width*face_width", where="definition")
def machine_power(power_per_width: Num, face_width: Num) -> Num:
    """Power or heat rate of the whole machine from that per metre of width."""
    return power_per_width * face_width


# --- shares, sums, margins


@derived("difference = whole - part", where="definition")
def difference(whole: Num, part: Num) -> Num:
    """What is left of the whole when a part is taken away (negative where the part is the larger)."""
    return whole - part


@derived("part = share*whole", where="definition")
def part_of(share: Num, whole: Num) -> Num:
    """The part of a whole that a share stands for."""
    return share * whole


@derived("whole = sum(parts)", where="definition")
def sum_of(parts: Num) -> Num:
    """The parts of one whole added, over the last axis."""
    return np.sum(parts, axis=-1)


@derived("relative_change = after/before - 1", where="definition")
def relative_change(before: Num, after: Num) -> Num:
    """Change of a quantity as a share of what it was before (+0.1 is ten per cent more)."""
    return after / before - 1.0


@derived("margin = limit/value - 1", where="definition")
def margin_to_limit(limit: Num, value: Num) -> Num:
    """How far a value may still grow before it meets its limit, as a share of itself; negative = beyond."""
    return limit / value - 1.0


# --- heat and energy


@derived(
    """capacity = fibre_flow_per_width*fibre_heat_capacity + water_flow_per_width*water_heat_capacity
        enthalpy_flow = capacity*(temperature - ice_point)""",
    where="definition, counted from 0 °C",
)
def enthalpy_flow(
    fibre_flow_per_width: Num,
    water_flow_per_width: Num,
    fibre_heat_capacity: Num,
    water_heat_capacity: Num,
    temperature: Num,
) -> Num:
    """Heat that a stream of fibre and liquid water carries, counted from fibre and water at 0 °C.

    Picture: what it would give off if it were cooled to the ice point.
    Use for: heat balances of stock, web and white water. Not for: vapour, bound water (heat of sorption).
    """
    return (fibre_flow_per_width * fibre_heat_capacity + water_flow_per_width * water_heat_capacity) * (
        temperature - ice_point
    )


@derived(
    """capacity = fibre_flow_per_width*fibre_heat_capacity + water_flow_per_width*water_heat_capacity
        temperature = ice_point + enthalpy_flow/capacity""",
    where="definition, counted from 0 °C",
)
def temperature_from_enthalpy(
    enthalpy_flow: Num,
    fibre_flow_per_width: Num,
    water_flow_per_width: Num,
    fibre_heat_capacity: Num,
    water_heat_capacity: Num,
) -> Num:
    """Temperature of a stream of fibre and liquid water whose heat content is known."""
    return ice_point + enthalpy_flow / (
        fibre_flow_per_width * fibre_heat_capacity + water_flow_per_width * water_heat_capacity
    )
