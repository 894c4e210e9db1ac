"""Vacuum after the dry line: how moist a sheet leaves a suction slot, how much air it lets through, what
that costs.

A formed sheet is first squeezed, then air displaces water, then some water comes back from the fabric.
The forms are assumptions that follow this picture; moisture can be trusted after calibration, air flow
only within half and double.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, relation


@relation(
    gives="dwell",
    formula="dwell = slot_width/speed",
    source="DERIVED",
    where="definition",
    status="derived",
)
def dwell_slot(slot_width: Num, speed: Num) -> Num:
    """Time a point of the sheet spends over a suction slot.

    Picture: slot width over speed, a millisecond or so. Use for: one slot or the sum of a box's slots.
    Not for: the box length with its lands.
    """
    return slot_width / speed


@relation(
    gives="moisture_ratio_saturated",
    formula="moisture_ratio_saturated = density*(1/mat_consistency - 1/wall_density)",
    source="DERIVED",
    where="mat with all voids full of water",
    status="derived",
)
def moisture_ratio_saturated(mat_consistency: Num, density: Num, wall_density: Num) -> Num:
    """Water per dry fibre of a mat whose voids are full of water.

    Picture: mat volume less fibre wall, all of it water. Use for: what compression alone leaves. Not for:
    sheets with air in them.
    """
    return density * (1.0 / mat_consistency - 1.0 / wall_density)


@relation(
    gives="moisture_ratio_out",
    formula="""
    squeezed = min(moisture_ratio_in, moisture_ratio_saturated)
    lowest = min(squeezed, max(residual_saturation*moisture_ratio_saturated, moisture_floor))
    displaced = lowest + (squeezed - lowest)*exp(-dwell/time_constant)
    moisture_ratio_out = min(moisture_ratio_in, displaced + rewet/grammage)
    """,
    source="ASLUND_VOMHOFF_2008",
    where="picture of the abstract (compression, displacement, rewet); the form is assumed here",
    status="assumed",
)
def moisture_ratio_after_slot(
    moisture_ratio_in: Num,
    moisture_ratio_saturated: Num,
    residual_saturation: Num,
    moisture_floor: Num,
    dwell: Num,
    time_constant: Num,
    rewet: Num,
    grammage: Num,
) -> Num:
    """Moisture ratio of a formed sheet behind a suction slot.

    Picture: squeezed at once to the box's load, dried by air towards a residue, wetted again by the
    fabric; never wetter than it came. Use for: boxes in a row, each fed by the one before. Not for:
    undrained stock.
    """
    squeezed = np.minimum(moisture_ratio_in, moisture_ratio_saturated)
    lowest = np.minimum(squeezed, np.maximum(residual_saturation * moisture_ratio_saturated, moisture_floor))
    displaced = lowest + (squeezed - lowest) * np.exp(-dwell / time_constant)
    return np.minimum(moisture_ratio_in, displaced + rewet / grammage)


@relation(
    gives="saturation",
    formula="saturation = min(1, moisture_ratio/moisture_ratio_saturated)",
    source="DERIVED",
    where="definition",
    status="derived",
)
def saturation(moisture_ratio: Num, moisture_ratio_saturated: Num) -> Num:
    """Share of the voids filled with water.

    Picture: 1 until the first air comes in. Use for: air permeability of a moist sheet. Not for: free stock.
    """
    return np.minimum(1.0, moisture_ratio / moisture_ratio_saturated)


@relation(
    gives="relative_permeability",
    formula="""
    mobile = min(1, max(0, (saturation - residual_saturation)/(1 - residual_saturation)))
    relative_permeability = (1 - mobile)**2
    """,
    source="ASSUMED",
    where="form of Corey's laws for two fluids in one bed",
    status="assumed",
)
def relative_permeability_air_corey(saturation: Num, residual_saturation: Num) -> Num:
    """Air permeability of the moist mat over that of the mat without water.

    Picture: no air passes while the voids are full; at the residue it passes freely. Use for: how air
    flow starts. Not for: sheets with pinholes.
    """
    mobile = np.minimum(1.0, np.maximum(0.0, (saturation - residual_saturation) / (1.0 - residual_saturation)))
    return (1.0 - mobile) ** 2


@relation(
    gives="ambient_air_flux",
    formula="""
    inside = atmospheric_pressure - vacuum
    drive = (atmospheric_pressure**2 - inside**2)/(2*atmospheric_pressure*air_viscosity)
    open_share = relative_permeability
    flux = drive*open_share/(specific_filtration_resistance*grammage + open_share*fabric_resistance)
    """,
    source="DERIVED",
    where="compressible Darcy flow through mat and fabric; the relative permeability is an assumption",
    status="derived",
)
def ambient_air_flux_corey(
    atmospheric_pressure: Num,
    vacuum: Num,
    air_viscosity: Num,
    specific_filtration_resistance: Num,
    grammage: Num,
    fabric_resistance: Num,
    relative_permeability: Num,
) -> Num:
    """Air drawn through a moist sheet, counted at atmospheric pressure.

    Picture: mat and fabric in series; the wetter the mat the less of it is open to air. Use for: orders of
    magnitude, plus or minus half. Not for: sizing a pump without a measurement.
    """
    inside = atmospheric_pressure - vacuum
    drive = (atmospheric_pressure**2 - inside**2) / (2.0 * atmospheric_pressure * air_viscosity)
    mat = specific_filtration_resistance * grammage
    return drive * relative_permeability / (mat + relative_permeability * fabric_resistance)


@relation(
    gives="ambient_air_flow",
    formula="ambient_air_flow = roll_void*speed*vacuum/atmospheric_pressure",
    source="DERIVED",
    where="air that a drilled shell carries into the box",
    status="derived",
)
def ambient_air_flow_shell(roll_void: Num, speed: Num, vacuum: Num, atmospheric_pressure: Num) -> Num:
    """Air that the drillings of a suction roll carry into its box, counted at atmospheric pressure.

    Picture: every hole comes in full of air and is emptied down to the box pressure. Use for: suction
    rolls at speed. Not for: leakage past the seals.
    """
    return roll_void * speed * vacuum / atmospheric_pressure


@relation(
    gives="air_flow",
    formula="air_flow = ambient_air_flow*atmospheric_pressure/(atmospheric_pressure - vacuum)",
    source="DERIVED",
    where="perfect gas at constant temperature",
    status="derived",
)
def air_flow_at_vacuum(ambient_air_flow: Num, atmospheric_pressure: Num, vacuum: Num) -> Num:
    """Volume that the same air takes up at the box's pressure.

    Picture: thin air needs more room; pumps are rated by it. Use for: pump volume. Not for: warm, wet air
    without its vapour.
    """
    return ambient_air_flow * atmospheric_pressure / (atmospheric_pressure - vacuum)


@relation(
    gives="power_per_width",
    formula="""
    ratio = atmospheric_pressure/(atmospheric_pressure - vacuum)
    power = ambient_air_flow*atmospheric_pressure*log(ratio)/efficiency
    """,
    source="DERIVED",
    where="isothermal compression from box to atmosphere",
    status="derived",
)
def vacuum_power_isothermal_ambient(
    ambient_air_flow: Num, atmospheric_pressure: Num, vacuum: Num, efficiency: Num
) -> Num:
    """Shaft power that brings the air back to the atmosphere, per metre of width if the air flow is.

    Picture: compression in a water ring that stays cool. Use for: liquid-ring pumps with their
    efficiency. Not for: blowers, which compress without cooling.
    """
    ratio = atmospheric_pressure / (atmospheric_pressure - vacuum)
    return ambient_air_flow * atmospheric_pressure * np.log(ratio) / efficiency
