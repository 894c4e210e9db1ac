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


# --- per metre, per machine, volume


# --- shares, sums, margins


@derived("difference = whole - part", where="definition")
def difference(whole: Num, part: Num) -> Num:
    """What is left of the whole when a part is taken away (negative where the part is the larger)."""
    return whole - part


@derived("whole = sum(parts)", where="definition")
def sum_of(parts: Num) -> Num:
    """The parts of one whole added, over the last axis."""
    return np.sum(parts, axis=-1)


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
