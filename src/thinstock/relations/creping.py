"""Creping and the reel: what the speed difference makes of grammage, production and drying rate.

Definitions and mass balances only; nothing here says how the crepe looks or feels. Crepe is on the Yankee's
speed; the crepe on the reel's speed has its own word, because the trade uses both.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived, relation


@relation(
    "crepe = (yankee_speed - reel_speed)/yankee_speed",
    source="PADLEY_CREPING",
    where="definition by the two speeds",
    status="published",
)
def crepe_from_speeds(*, yankee_speed: Num, reel_speed: Num) -> Num:
    """Crepe as the speed lost from Yankee to reel, on the Yankee's speed.

    Picture: the sheet arrives faster than it leaves; what does not leave is folded. Use for: the crepe of a
    tissue machine from two speeds. Not for: stretch left in the paper, which calendering and reel tension
    reduce. In print: the basis is not agreed in the trade; always said with the number. Made from: the
    definition.
    """
    return (yankee_speed - reel_speed) / yankee_speed


@derived("reel_based_crepe = crepe/(1 - crepe)")
def reel_based_crepe_from_crepe(crepe: Num) -> Num:
    """The same crepe on the reel's speed.

    Picture: the same speed loss divided by the smaller speed. Use for: figures from mills that divide by the
    reel. Not for: mixing both in one table. In print: often without its basis. Made from: the two
    definitions.
    """
    return crepe / (1.0 - crepe)


@derived("crepe = reel_based_crepe/(1 + reel_based_crepe)")
def crepe_from_reel_based_crepe(reel_based_crepe: Num) -> Num:
    """Crepe on the Yankee's speed from the crepe on the reel's speed.

    Picture: the way back of the other definition. Use for: reading figures with the other basis.
    Not for: figures whose basis is unknown. In print: see the other way. Made from: the two definitions.
    """
    return reel_based_crepe / (1.0 + reel_based_crepe)


@derived("reel_speed = yankee_speed*(1 - crepe)")
def reel_speed_from_crepe(yankee_speed: Num, crepe: Num) -> Num:
    """Speed of the reel behind a Yankee.

    Picture: the Yankee's speed less the crepe. Use for: production and drive figures. Not for: a reel behind
    a calender with its own draw. In print: definition. Made from: the definition of crepe.
    """
    return yankee_speed * (1.0 - crepe)


@derived("grammage = reel_grammage*reel_dryness*(1 - crepe)*width_ratio")
def grammage_yankee(reel_grammage: Num, reel_dryness: Num, crepe: Num, width_ratio: Num) -> Num:
    """Bone-dry grammage on the Yankee from the air-dry grammage at the reel.

    Picture: take the moisture out, unfold the crepe, spread over the Yankee's sheet width. Use for: every
    drying and pressing sum; 15 g/m² at the reel is about 12 on the Yankee. Not for: fibre lost at the doctor.
    In print: mass balance; width_ratio is sheet width at the reel per sheet width on the Yankee. Made from:
    fibre in = fibre out.
    """
    return reel_grammage * reel_dryness * (1.0 - crepe) * width_ratio


@derived("reel_grammage = grammage/(reel_dryness*(1 - crepe)*width_ratio)")
def reel_grammage_from_yankee(grammage: Num, reel_dryness: Num, crepe: Num, width_ratio: Num) -> Num:
    """Air-dry grammage at the reel from the bone-dry grammage on the Yankee.

    Picture: the way back: fold, and add the moisture. Use for: reading a Yankee sample as a reel figure.
    Not for: conditioned grammage at 50 % humidity. In print: mass balance. Made from: fibre in = fibre out.
    """
    return grammage / (reel_dryness * (1.0 - crepe) * width_ratio)


@derived("production = reel_grammage*reel_speed*trim_width*efficiency")
def production_reel(reel_grammage: Num, reel_speed: Num, trim_width: Num, efficiency: Num) -> Num:
    """Saleable production at the reel.

    Picture: a carpet of paper rolled up every second. Use for: tonnes per day and every figure per tonne;
    efficiency is time efficiency times (1 - reel waste). Not for: converted product. In print: definition.
    Made from: grammage times area per time.
    """
    return reel_grammage * reel_speed * trim_width * efficiency


@derived("production = grammage*yankee_speed*face_width/reel_dryness")
def production_yankee(grammage: Num, yankee_speed: Num, face_width: Num, reel_dryness: Num) -> Num:
    """Production counted on the Yankee, as air-dry paper at the reel.

    Picture: the same fibre one roll earlier. Use for: cross-check of the reel figure at full efficiency.
    Not for: saleable tonnes. In print: mass balance. Made from: fibre in = fibre out.
    """
    return grammage * yankee_speed * face_width / reel_dryness


@derived("evaporation_per_product = dryness_after/dryness_before - 1")
def evaporation_per_product(*, dryness_before: Num, dryness_after: Num) -> Num:
    """Water evaporated per mass of product.

    Picture: from 40 to 95 % dryness every kilogram of paper has cost 1.375 kg of steam to the air. Use for:
    what one point after the press saves. Not for: water per bone-dry fibre. In print: definition. Made from:
    fibre in = fibre out.
    """
    return dryness_after / dryness_before - 1.0


@derived("evaporation = grammage*yankee_speed*(moisture_ratio_in - moisture_ratio_out)")
def evaporation_mass_balance(
    grammage: Num, yankee_speed: Num, *, moisture_ratio_in: Num, moisture_ratio_out: Num
) -> Num:
    """Evaporation per metre of width from moisture in and out.

    Picture: fibre carries more water in than out. Use for: the duty of Yankee and hood from two dryness
    readings. Not for: coating water. In print: mass balance. Made from: water in = water out.
    """
    return grammage * yankee_speed * (moisture_ratio_in - moisture_ratio_out)


@derived("drying_rate = evaporation/(0.5*yankee_diameter*wrap)")
def drying_rate_wrapped(evaporation: Num, yankee_diameter: Num, wrap: Num) -> Num:
    """Drying rate per wrapped area of the Yankee.

    Picture: evaporation spread over the part of the shell that carries the sheet. Use for: comparing Yankees.
    Not for: comparing with a rate whose area is not said. In print: kg/(h m²), with either area.
    Made from: the definition.
    """
    return evaporation / (0.5 * yankee_diameter * wrap)


@derived("drying_rate = evaporation/(pi*yankee_diameter)")
def drying_rate_circumference(evaporation: Num, yankee_diameter: Num) -> Num:
    """Drying rate per whole shell area of the Yankee.

    Picture: the same evaporation spread over the full circumference. Use for: figures given on the whole
    shell. Not for: setting beside a rate per wrap. In print: kg/(h m²), with either area. Made from: the
    definition.
    """
    return evaporation / (np.pi * yankee_diameter)
