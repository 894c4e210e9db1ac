"""The press felt: what it carries into a nip, when it is full there, and what its suction boxes take out.

As long as its voids are not full in the nip the sheet hardly feels the felt's resistance; its water comes back as
rewet (`pressing.rewet_of_felt`). Age, squeezing and vacuum stand in `felt_state`.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, assumed, derived, relation
from thinstock.relations.felt_state import felt_drain_rate as felt_drain_rate
from thinstock.relations.felt_state import felt_end_ratio_vacuum as felt_end_ratio_vacuum
from thinstock.relations.felt_state import felt_inertia_aged as felt_inertia_aged
from thinstock.relations.felt_state import felt_resistance_aged as felt_resistance_aged
from thinstock.relations.felt_state import felt_resistance_squeezed as felt_resistance_squeezed
from thinstock.relations.felt_state import felt_room_free as felt_room_free
from thinstock.relations.felt_state import felt_saturation_free as felt_saturation_free
from thinstock.relations.felt_state import felt_time_constant as felt_time_constant
from thinstock.words import constants
from thinstock.words.constants import ice_point

boiling_point = constants.value("boiling_point")

_BALANCE = "water balance"


@derived("water_fraction = felt_moisture_ratio/(1 + felt_moisture_ratio)", where="definition")
def water_fraction_felt(felt_moisture_ratio: Num) -> Num:
    """Water per wet felt from water per dry felt.

    Trap: "felt moisture 40 %" may mean either; 0.40 per dry felt is 0.29 per wet felt.
    """
    return felt_moisture_ratio / (1.0 + felt_moisture_ratio)


@derived("felt_moisture_ratio = water_fraction/(1 - water_fraction)", where="definition")
def felt_moisture_ratio_from_fraction(water_fraction: Num) -> Num:
    """Water per dry felt from water per wet felt."""
    return water_fraction / (1.0 - water_fraction)


@derived("felt_saturated_ratio = density/felt_fibre_density*(1 - solidity)/solidity", where="geometry")
def saturated_ratio_felt(solidity: Num, felt_fibre_density: Num, density: Num) -> Num:
    """Water per dry felt when every void of the felt, as squeezed in the nip, is full.

    Picture: a sponge held tight; the tighter, the less it takes.
    """
    return density / felt_fibre_density * (1.0 - solidity) / solidity


# --- felt and sheet in the nip


@derived(
    """brought = felt_grammage*felt_moisture_ratio
        pressed = grammage*(moisture_ratio_in - moisture_ratio_pressed)
        nip_saturation = (brought + pressed)/(felt_grammage*felt_saturated_ratio)""",
    where=_BALANCE,
)
def nip_saturation_felt(
    felt_grammage: Num,
    felt_moisture_ratio: Num,
    grammage: Num,
    moisture_ratio_in: Num,
    moisture_ratio_pressed: Num,
    felt_saturated_ratio: Num,
) -> Num:
    """How full the felt is in the nip: water it brings plus water pressed out, over what fills it.

    Picture: a bucket that comes half full. Above one the water must leave through the roll, or the sheet is
    crushed. `moisture_ratio_pressed` is the driest value, before rewet.
    """
    brought = felt_grammage * felt_moisture_ratio
    pressed = grammage * (moisture_ratio_in - moisture_ratio_pressed)
    return (brought + pressed) / (felt_grammage * felt_saturated_ratio)


@derived(
    """brought = felt_grammage*felt_moisture_ratio
        pressed = grammage*(moisture_ratio_in - moisture_ratio_pressed)
        nip_drainage = max(0, brought + pressed - felt_grammage*felt_saturated_ratio)""",
    where=_BALANCE,
)
def nip_drainage_felt(
    felt_grammage: Num,
    felt_moisture_ratio: Num,
    grammage: Num,
    moisture_ratio_in: Num,
    moisture_ratio_pressed: Num,
    felt_saturated_ratio: Num,
) -> Num:
    """Water per area that does not fit into the felt in the nip and has to leave through the roll surface."""
    brought = felt_grammage * felt_moisture_ratio
    pressed = grammage * (moisture_ratio_in - moisture_ratio_pressed)
    return np.maximum(0.0, brought + pressed - felt_grammage * felt_saturated_ratio)


@derived(
    """pressed = grammage*(moisture_ratio_in - moisture_ratio_pressed)
        over = felt_grammage*felt_moisture_ratio + pressed - felt_grammage*felt_saturated_ratio
        felt_moisture_ratio_after = felt_moisture_ratio + (pressed - max(0, over) - rewet)/felt_grammage""",
    where=_BALANCE,
)
def felt_moisture_ratio_after_nip(
    felt_grammage: Num,
    felt_moisture_ratio: Num,
    grammage: Num,
    moisture_ratio_in: Num,
    moisture_ratio_pressed: Num,
    felt_saturated_ratio: Num,
    rewet: Num,
) -> Num:
    """Felt moisture behind the nip: what it brought and took up, less what drained and what went back as
    rewet.
    """
    pressed = grammage * (moisture_ratio_in - moisture_ratio_pressed)
    over = felt_grammage * felt_moisture_ratio + pressed - felt_grammage * felt_saturated_ratio
    return felt_moisture_ratio + (pressed - np.maximum(0.0, over) - rewet) / felt_grammage


# --- suction boxes and the steady felt


@assumed(
    """left = felt_end_ratio + (felt_moisture_ratio - felt_end_ratio)*exp(-dwell/time_constant)
        felt_moisture_ratio_after = min(felt_moisture_ratio, left)""",
    where="exponential approach",
)
def felt_moisture_ratio_after_box(felt_moisture_ratio: Num, felt_end_ratio: Num, dwell: Num, time_constant: Num) -> Num:
    """Felt moisture behind suction boxes with `dwell` seconds of open slot altogether.

    Picture: the first milliseconds take most; after four of them next to nothing more comes.
    Use for: boxes at steady vacuum on a clean felt. Not for: plugged felts.
    """
    left = felt_end_ratio + (felt_moisture_ratio - felt_end_ratio) * np.exp(-dwell / time_constant)
    return np.minimum(felt_moisture_ratio, left)


@derived(
    """pressed = grammage*(moisture_ratio_in - moisture_ratio_pressed)
        over = felt_grammage*felt_moisture_ratio + pressed - felt_grammage*felt_saturated_ratio
        nipped = felt_moisture_ratio + (pressed - max(0, over) - rewet)/felt_grammage
        showered = nipped + shower/felt_grammage
        left = felt_end_ratio + (showered - felt_end_ratio)*exp(-dwell/time_constant)
        0 = min(showered, left) - felt_moisture_ratio""",
    gives="felt_moisture_ratio",
    kind="equation",
    where="one pass nip, shower, boxes brings the felt back as it was; checked by iteration",
)
def felt_moisture_ratio_steady(
    felt_grammage: Num,
    grammage: Num,
    moisture_ratio_in: Num,
    moisture_ratio_pressed: Num,
    rewet: Num,
    shower: Num,
    felt_saturated_ratio: Num,
    felt_end_ratio: Num,
    dwell: Num,
    time_constant: Num,
) -> Num:
    """Felt moisture entering the nip in steady running, when each pass brings it back as it was.

    Picture: a bath with tap and drain; the level settles where as much leaves as comes in.
    Use for: one nip, shower before the boxes. Not a number where the sheet and shower bring the felt no
    water. A pass is the lesser of two contractions (felt not full, felt full in the nip): so is its steady
    state.
    """
    remaining = np.exp(-dwell / time_constant)
    gain = grammage * (moisture_ratio_in - moisture_ratio_pressed) - rewet + shower
    with np.errstate(divide="ignore", invalid="ignore"):
        not_full = felt_end_ratio + gain / felt_grammage * remaining / (1.0 - remaining)
    leaving = felt_saturated_ratio + (shower - rewet) / felt_grammage
    full = np.minimum(leaving, felt_end_ratio + (leaving - felt_end_ratio) * remaining)
    return np.where(gain > 0.0, np.minimum(not_full, full), np.nan)[()]


# --- voids of the roll


@derived("roll_void = groove_width*groove_depth/groove_pitch", where="geometry")
def roll_void_grooved(groove_width: Num, groove_depth: Num, groove_pitch: Num) -> Num:
    """Water that the grooves of a press roll can hold, per area."""
    return groove_width * groove_depth / groove_pitch


@derived("roll_void = hole_depth*roll_open_area", where="geometry")
def roll_void_drilled(hole_depth: Num, roll_open_area: Num) -> Num:
    """Water that the holes of a press roll can hold, per area."""
    return hole_depth * roll_open_area


@derived("roll_void_filling = nip_drainage/(density*roll_void)", where="balance")
def roll_void_filling(nip_drainage: Num, roll_void: Num, density: Num) -> Num:
    """How full holes or grooves get with the water that the felt cannot take.

    Above one, with a felt that is full, the water has nowhere to go: the sheet is crushed.
    """
    return nip_drainage / (density * roll_void)


# --- do the readings round a felt agree


@derived(
    """felt = felt_grammage*(felt_moisture_ratio_before - felt_moisture_ratio_after)
        sheet = grammage*(moisture_ratio_in - moisture_ratio_out)
        water_flow_per_width = speed*(felt + sheet - nip_drainage)""",
    where=_BALANCE,
)
def felt_nip_residual(
    speed: Num,
    felt_grammage: Num,
    felt_moisture_ratio_before: Num,
    felt_moisture_ratio_after: Num,
    grammage: Num,
    moisture_ratio_in: Num,
    moisture_ratio_out: Num,
    nip_drainage: Num,
) -> Num:
    """Water that a survey of one nip has lost (+) or invented (-), per metre of width; 0 when it closes."""
    felt = felt_grammage * (felt_moisture_ratio_before - felt_moisture_ratio_after)
    sheet = grammage * (moisture_ratio_in - moisture_ratio_out)
    return speed * (felt + sheet - nip_drainage)


@derived(
    """sheet = grammage*(moisture_ratio_in - moisture_ratio_out)
        water_flow_per_width = speed*(sheet + shower - nip_drainage - box_water - felt_loss)""",
    where=_BALANCE,
)
def felt_loop_residual(
    speed: Num,
    grammage: Num,
    moisture_ratio_in: Num,
    moisture_ratio_out: Num,
    shower: Num,
    nip_drainage: Num,
    box_water: Num,
    felt_loss: Num,
) -> Num:
    """Water that a survey round a whole felt loop has lost (+) or invented (-), per metre of width.

    A survey closes when it is within two standard deviations, their squares added over the measured streams.
    """
    sheet = grammage * (moisture_ratio_in - moisture_ratio_out)
    return speed * (sheet + shower - nip_drainage - box_water - felt_loss)


# --- suction boxes: time, air, drag


@derived("dwell = slot_width/speed", where="definition")
def dwell_box(slot_width: Num, speed: Num) -> Num:
    """Time the felt spends over the open slots of its boxes, all slots added up."""
    return slot_width / speed


@derived("slot_width = dwell*speed", where="definition")
def slot_width_dwell(dwell: Num, speed: Num) -> Num:
    """Slot width, all slots added up, that gives a wanted dwell."""
    return dwell * speed


@relation(
    "air_flow = slot_width*face_velocity",
    source="FELT_BOX_AIR",
    where="15 to 20 cubic feet per minute and square inch of slot",
    status="published",
    holds={"face_velocity": (10.97, 14.63)},
)
def air_flow_box(slot_width: Num, face_velocity: Num) -> Num:
    """Air that felt suction boxes draw, at box pressure, per metre of width.

    Picture: the slot as a window through which the air blows at a usual speed.
    In print: 15 to 20 ft³/min per in² of slot, which is 10.97 to 14.63 m/s; quoted from a recommendation.
    """
    return slot_width * face_velocity


@derived(
    "power_per_width = friction_coefficient*vacuum*slot_width*speed",
    where="friction under the vacuum over the open slots; the friction coefficient is assumed",
)
def drag_power_box(friction_coefficient: Num, vacuum: Num, slot_width: Num, speed: Num) -> Num:
    """Power to pull the felt over its boxes, per metre of width.

    Picture: the vacuum holds the felt down on the cover, the drive drags it across.
    """
    return friction_coefficient * vacuum * slot_width * speed


@relation(
    "area = air_flow*face_width/duct_velocity",
    source="FELT_BOX_AIR",
    where="duct velocity 3500 to 4000 feet per minute",
    status="derived",
    holds={"duct_velocity": (1.0, 20.3)},
)
def duct_area_box(air_flow: Num, face_width: Num, duct_velocity: Num) -> Num:
    """Cross section of the air duct behind felt boxes; above about 20 m/s the duct itself eats vacuum."""
    return air_flow * face_width / duct_velocity


# --- heat of sheet and felt


@derived(
    "wet_heat_capacity = dry_grammage*(dry_heat_capacity + moisture_ratio*water_heat_capacity)",
    where="sum of the parts",
)
def heat_capacity_wet(dry_grammage: Num, moisture_ratio: Num, dry_heat_capacity: Num, water_heat_capacity: Num) -> Num:
    """Heat capacity per area of a sheet or felt with its water; a felt holds about twelve times that of its
    sheet.
    """
    return dry_grammage * (dry_heat_capacity + moisture_ratio * water_heat_capacity)


@derived(
    """caught = capture*steam_dose
        heat = caught*(steam_enthalpy - water_heat_capacity*(temperature - ice_point))
        rise = heat/(wet_heat_capacity + caught*water_heat_capacity)
        temperature_rise = min(rise, max(0, boiling_point - temperature))""",
    where="heat balance; no hotter than boiling at standard pressure",
)
def temperature_rise_steam_box(
    steam_dose: Num,
    capture: Num,
    steam_enthalpy: Num,
    temperature: Num,
    wet_heat_capacity: Num,
    water_heat_capacity: Num,
) -> Num:
    """Warming of a sheet under a steam box.

    Picture: steam turns to water in the sheet and leaves its heat there; its water stays too, `capture` times
    `steam_dose` on each square metre. At the boiling point the rest of the steam escapes.
    Use for: what the press sees as thinner water. Not for: saving steam; at 15 % dryness it costs more than
    it saves.
    """
    caught = capture * steam_dose
    heat = caught * (steam_enthalpy - water_heat_capacity * (temperature - ice_point))
    rise = heat / (wet_heat_capacity + caught * water_heat_capacity)
    return np.minimum(rise, np.maximum(0.0, boiling_point - temperature))


@derived(
    """heat = heat_capacity_a*temperature_a + heat_capacity_b*temperature_b
        temperature = heat/(heat_capacity_a + heat_capacity_b)""",
    where="heat balance",
)
def temperature_mixed_pair(temperature_a: Num, heat_capacity_a: Num, temperature_b: Num, heat_capacity_b: Num) -> Num:
    """Common temperature of two things that touch until they are equally warm, such as sheet and felt."""
    heat = heat_capacity_a * temperature_a + heat_capacity_b * temperature_b
    return heat / (heat_capacity_a + heat_capacity_b)
