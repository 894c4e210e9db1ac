"""Vacuum after the dry line: how moist a sheet leaves a suction slot, how much air it lets through, what
that costs.

A formed sheet is squeezed as in a press nip, then air empties the widest pores, then some water comes back from the
fabric. Air finds its way only where the mobile water has left, and passes the mat and what carries it in series. The
forms are assumptions that follow this picture; moisture can be trusted after calibration, air flow only within half
and double.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, assumed, derived, relation


@derived("dwell = slot_width/speed", where="definition")
def dwell_slot(slot_width: Num, speed: Num) -> Num:
    """Time a point of the sheet spends over a suction slot.

    Picture: slot width over speed, a millisecond or so. Use for: one slot or the sum of a box's slots.
    Not for: the box length with its lands.
    """
    return slot_width / speed


@derived(
    "moisture_ratio_saturated = density*(1/mat_consistency - 1/wall_density)", where="mat with all voids full of water"
)
def moisture_ratio_saturated(mat_consistency: Num, density: Num, wall_density: Num) -> Num:
    """Water per dry fibre of a mat whose voids are full of water.

    Picture: mat volume less fibre wall, all of it water. Use for: what compression alone leaves. Not for:
    sheets with air in them.
    """
    return density * (1.0 / mat_consistency - 1.0 / wall_density)


@relation(
    """
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


@derived("saturation = min(1, moisture_ratio/moisture_ratio_saturated)", where="definition")
def saturation(moisture_ratio: Num, moisture_ratio_saturated: Num) -> Num:
    """Share of the voids filled with water.

    Picture: 1 until the first air comes in. Use for: air permeability of a moist sheet. Not for: free stock.
    """
    return np.minimum(1.0, moisture_ratio / moisture_ratio_saturated)


@assumed(
    """
    mobile = min(1, max(0, (saturation - residual_saturation)/(1 - residual_saturation)))
    relative_permeability = (1 - mobile)**2
    """,
    where="form of Corey's laws for two fluids in one bed",
)
def relative_permeability_air_corey(saturation: Num, residual_saturation: Num) -> Num:
    """Air permeability of the moist mat over that of the mat without water.

    Picture: no air passes while the voids are full; at the residue it passes freely. Use for: how air
    flow starts. Not for: sheets with pinholes.
    """
    mobile = np.minimum(1.0, np.maximum(0.0, (saturation - residual_saturation) / (1.0 - residual_saturation)))
    return (1.0 - mobile) ** 2


@derived(
    """
    inside = atmospheric_pressure - vacuum
    drive = (atmospheric_pressure**2 - inside**2)/(2*atmospheric_pressure*air_viscosity)
    open_share = relative_permeability
    flux = drive*open_share/(specific_filtration_resistance*grammage + open_share*fabric_resistance)
    """,
    gives="ambient_air_flux",
    where="compressible Darcy flow through mat and fabric; the relative permeability is an assumption",
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


@derived(
    "ambient_air_flow = roll_void*speed*vacuum/atmospheric_pressure",
    where="air that a drilled shell carries into the box",
)
def ambient_air_flow_shell(roll_void: Num, speed: Num, vacuum: Num, atmospheric_pressure: Num) -> Num:
    """Air that the drillings of a suction roll carry into its box, counted at atmospheric pressure.

    Picture: every hole comes in full of air and is emptied down to the box pressure. Use for: suction
    rolls at speed. Not for: leakage past the seals.
    """
    return roll_void * speed * vacuum / atmospheric_pressure


@derived(
    "air_flow = ambient_air_flow*atmospheric_pressure/(atmospheric_pressure - vacuum)",
    where="perfect gas at constant temperature",
)
def air_flow_at_vacuum(ambient_air_flow: Num, atmospheric_pressure: Num, vacuum: Num) -> Num:
    """Volume that the same air takes up at the box's pressure.

    Picture: thin air needs more room; pumps are rated by it. Use for: pump volume. Not for: warm, wet air
    without its vapour.
    """
    return ambient_air_flow * atmospheric_pressure / (atmospheric_pressure - vacuum)


@derived(
    """
    ratio = atmospheric_pressure/(atmospheric_pressure - vacuum)
    power = ambient_air_flow*atmospheric_pressure*log(ratio)/efficiency
    """,
    gives="power_per_width",
    where="isothermal compression from box to atmosphere",
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


# --- capillary entry, what stays, and air in series through mat and carrier


@assumed("packing_vacuum = max(vacuum, vacuum_before)", where="a packed mat does not spring back at a weaker slot")
def packing_vacuum_so_far(vacuum: Num, vacuum_before: Num) -> Num:
    """Largest vacuum that the web has met up to and with this slot.

    Picture: a pressed sponge that stays pressed. Use for: consistency and resistance of the mat and the water that
    fills it. Not for: what drives water and air at the slot itself. In print: nothing. Made from: the larger of two;
    without it air would rise as vacuum falls and a pump would balance at three vacua.
    """
    return np.maximum(vacuum, vacuum_before)


@relation(
    """porosity = max(0.05, 1 - swollen_volume*mat_consistency)
        over_k = porosity*specific_filtration_resistance*mat_consistency
        entry_pressure = entry_factor*surface_tension*sqrt(over_k)""",
    source="LEVERETT_1941",
    where="surface tension over pore size from permeability 1/(α c); factor 0.2 (0.1 to 0.42) assumed",
    status="derived",
    holds={"entry_factor": (0.05, 0.6)},
)
def capillary_entry_pressure(
    mat_consistency: Num,
    specific_filtration_resistance: Num,
    swollen_volume: Num,
    surface_tension: Num,
    entry_factor: Num,
) -> Num:
    """Vacuum at which air first enters the widest way through a mat full of water.

    Picture: a film across each pore has to be broken; the widest breaks first. Use for: whether a box draws air at
    all. Not for: sheets with pinholes. In print: the form; a Kozeny pore gives 0.42, its widest neighbours less. Made
    from: permeability 1/(α c) with the machine's own resistance.
    """
    porosity = np.maximum(0.05, 1.0 - swollen_volume * mat_consistency)
    return entry_factor * surface_tension * np.sqrt(porosity * specific_filtration_resistance * mat_consistency)


@relation(
    """wall = min(moisture_ratio_saturated, wall_moisture)
        filled = (entry_pressure/max(entry_pressure, vacuum))**pore_index
        equilibrium_moisture = wall + (moisture_ratio_saturated - wall)*filled""",
    source="BROOKS_COREY_1964",
    where="water kept against suction; pore index 2 (1 to 4) assumed",
    status="assumed",
    holds={"pore_index": (0.5, 6.0)},
)
def equilibrium_moisture_vacuum(
    moisture_ratio_saturated: Num, wall_moisture: Num, vacuum: Num, entry_pressure: Num, pore_index: Num
) -> Num:
    """Moisture that a mat would keep over a slot however long it stayed.

    Picture: below the entry pressure the pores stay full; above it the wide ones empty first, the wall keeps its own.
    Use for: the floor of a slot's closed form. Not for: time: how far the sheet gets is the press's law. In print: the
    form, for soils. Made from: wall water below, pore water by a power of entry over vacuum.
    """
    wall = np.minimum(moisture_ratio_saturated, wall_moisture)
    filled = (entry_pressure / np.maximum(entry_pressure, vacuum)) ** pore_index
    return wall + (moisture_ratio_saturated - wall) * filled


@derived(
    """pores = moisture_ratio_saturated - wall_moisture
        filled = min(1, max(0, (moisture_ratio - wall_moisture)/pores))
        saturation_mobile = where(pores > 0, filled, 1)""",
    where="definition; wall water never opens to air",
)
def saturation_mobile(moisture_ratio: Num, moisture_ratio_saturated: Num, wall_moisture: Num) -> Num:
    """Share of the pores between fibres that is full of water.

    Picture: 1 until air comes in, 0 when only the wall is wet. Use for: the opening to air. Not for: the wall's own
    water. In print: nothing. Made from: the definition; 1 where swollen walls leave no pore at all.
    """
    pores = moisture_ratio_saturated - wall_moisture
    filled = (moisture_ratio - wall_moisture) / np.where(pores > 0.0, pores, 1.0)
    return np.where(pores > 0.0, np.minimum(1.0, np.maximum(0.0, filled)), 1.0)[()]


@relation(
    "relative_permeability = (1 - saturation)**2*(1 - saturation**((2 + pore_index)/pore_index))",
    source="BROOKS_COREY_1964",
    where="permeability to the gas",
    status="from memory",
    holds={"saturation": (0.0, 1.0), "pore_index": (0.5, 6.0)},
)
def relative_permeability_air_brooks(saturation: Num, pore_index: Num) -> Num:
    """Air permeability of a moist bed over that of the same bed without mobile water.

    Picture: the first open pores are wide but few and crooked. Use for: sheets and felts; saturation is the mobile one.
    Not for: pinholes. In print: this form, for soils. Made from: a bundle of pores with a power-law spread of sizes.
    """
    return (1.0 - saturation) ** 2 * (1.0 - saturation ** ((2.0 + pore_index) / pore_index))


@derived("relative_permeability = (at_start + 4*at_middle + at_end)/6", where="Simpson's rule over the dwell")
def relative_permeability_mean(at_start: Num, at_middle: Num, at_end: Num) -> Num:
    """Mean opening to air over a slot from its start, middle and end.

    Picture: a door that opens while one walks past. Use for: one slot; the parts are 0 below the entry pressure. Not
    for: slots that open and shut. In print: nothing. Made from: a parabola; 2 to 5 % from a fine integral.
    """
    return (at_start + 4.0 * at_middle + at_end) / 6.0


@derived(
    "viscous_resistance = specific_filtration_resistance*grammage/relative_permeability + carrier_resistance",
    where="mat and what carries it in series",
)
def viscous_resistance_series(
    specific_filtration_resistance: Num, grammage: Num, relative_permeability: Num, carrier_resistance: Num
) -> Num:
    """Resistance to air of the moist mat and of the wire or felt under it; without end where the mat is shut.

    Picture: two sieves, one on the other. Use for: air through a slot. Not for: water. In print: nothing. Made from:
    resistances in series, the mat's raised by what of it is shut.
    """
    with np.errstate(divide="ignore"):
        return np.divide(specific_filtration_resistance * grammage, relative_permeability) + carrier_resistance


@derived("viscous_resistance = felt_resistance/relative_permeability", where="definition of relative permeability")
def viscous_resistance_moist(felt_resistance: Num, relative_permeability: Num) -> Num:
    """Viscous resistance to air of a moist felt.

    Picture: only the empty pores pass air. Use for: felt boxes and sheets carried by a felt. Not for: a felt full of
    water, where it has no end. In print: nothing. Made from: the definition.
    """
    with np.errstate(divide="ignore"):
        return np.divide(felt_resistance, relative_permeability)


@assumed(
    "inertial_resistance = felt_inertia/relative_permeability", where="the same opening for both parts of the drop"
)
def inertial_resistance_moist(felt_inertia: Num, relative_permeability: Num) -> Num:
    """Inertial resistance to air of a moist felt, in dynamic pressures.

    Picture: as its viscous twin. Use for: felt boxes and sheets carried by a felt. Not for: wires. In print: nothing.
    Made from: one relative permeability for both; the inertial part is small.
    """
    with np.errstate(divide="ignore"):
        return np.divide(felt_inertia, relative_permeability)


@derived(
    """inside = atmospheric_pressure - vacuum
        drive = (atmospheric_pressure**2 - inside**2)/(2*atmospheric_pressure)
        b = air_viscosity*viscous_resistance
        c = air_density*inertial_resistance/2
        ambient_air_flux = where(vacuum > 0, 2*drive/(b + sqrt(b**2 + 4*c*drive)), 0)""",
    where="viscous and inertial drop of a mass flow of perfect gas",
)
def ambient_air_flux_series(
    atmospheric_pressure: Num,
    vacuum: Num,
    air_viscosity: Num,
    air_density: Num,
    viscous_resistance: Num,
    inertial_resistance: Num,
) -> Num:
    """Air drawn through a sheet and what carries it, counted at atmospheric pressure.

    Picture: slow air drags, fast air is also thrown. `air_density` is that outside. Use for: slots and felt boxes,
    within half and double. Not for: sizing a pump without a measurement. In print: nothing. Made from: Darcy and
    Forchheimer in mass flow, solved for the flux; 0 where the resistance has no end.
    """
    inside = atmospheric_pressure - vacuum
    drive = (atmospheric_pressure**2 - inside**2) / (2.0 * atmospheric_pressure)
    b = air_viscosity * viscous_resistance
    c = 0.5 * air_density * inertial_resistance
    with np.errstate(invalid="ignore"):  # no vacuum through a felt full of water: nothing over nothing
        flux = 2.0 * drive / (b + np.sqrt(b**2 + 4.0 * c * drive))
    return np.where(np.greater(vacuum, 0.0), flux, 0.0)[()]
