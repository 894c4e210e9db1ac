"""Drainage through mat and fabric: flux at a pressure, and closed forms for a constant mat.

What presses on each former is written out in `drainage_pressure`.

Laws of one place or one stretch; the march along a whole former is in `kernels.drainage`. Sheet
disruption, stock jump and blow-through, which limited many formers before drainage did, are not in here.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived, relation
from thinstock.relations.drainage_pressure import (
    drained_cap_foil as drained_cap_foil,
)
from thinstock.relations.drainage_pressure import (
    drained_table_roll as drained_table_roll,
)
from thinstock.relations.drainage_pressure import (
    dwell_wrap as dwell_wrap,
)
from thinstock.relations.drainage_pressure import (
    flux_cap_foil as flux_cap_foil,
)
from thinstock.relations.drainage_pressure import (
    nip_length_table_roll as nip_length_table_roll,
)
from thinstock.relations.drainage_pressure import (
    pressure_centrifugal as pressure_centrifugal,
)
from thinstock.relations.drainage_pressure import (
    pressure_forming_roll as pressure_forming_roll,
)
from thinstock.relations.drainage_pressure import (
    pressure_forming_roll_inner as pressure_forming_roll_inner,
)
from thinstock.relations.drainage_pressure import (
    pressure_gravity_table as pressure_gravity_table,
)
from thinstock.relations.drainage_pressure import (
    pressure_impact as pressure_impact,
)
from thinstock.relations.drainage_pressure import (
    pressure_inclined_wire as pressure_inclined_wire,
)
from thinstock.relations.drainage_pressure import (
    pressure_suction_breast_roll as pressure_suction_breast_roll,
)
from thinstock.relations.drainage_pressure import (
    stock_depth_held_forming_roll as stock_depth_held_forming_roll,
)
from thinstock.relations.drainage_pressure import (
    suction_table_roll_taylor as suction_table_roll_taylor,
)
from thinstock.words.constants import gravity, value

mat_reference_pressure = value("mat_reference_pressure")


# --- flux through mat and fabric


@derived(
    """
    cake = viscosity*resistance_coefficient*deposited*flux/mat_reference_pressure
    mat = mat_reference_pressure*cake**(1/(1 - resistance_exponent))
    pressure_drop = mat + viscosity*fabric_resistance*flux + density/2*fabric_inertia*flux**2
    """,
    where="mat and fabric in series; the mat drop p solves p = viscosity*alpha(p)*deposited*flux",
    holds={"resistance_exponent": (0.0, 0.9)},
)
def pressure_drop_mat_fabric(
    flux: Num,
    deposited: Num,
    viscosity: Num,
    density: Num,
    resistance_coefficient: Num,
    resistance_exponent: Num,
    fabric_resistance: Num,
    fabric_inertia: Num,
) -> Num:
    """Pressure drop that drives a flux through mat and fabric.

    Picture: mat and fabric are resistances in series; the mat packs under its own share of the drop only,
    the fabric also takes dynamic pressure. Use for: tissue mats, where the fabric counts. Not for: mats
    that wash or plug.
    """
    cake = viscosity * resistance_coefficient * deposited * flux / mat_reference_pressure
    mat = mat_reference_pressure * cake ** (1.0 / (1.0 - resistance_exponent))
    return mat + viscosity * fabric_resistance * flux + 0.5 * density * fabric_inertia * flux * flux


@derived(
    """
    cake = viscosity*resistance_coefficient*deposited*flux/mat_reference_pressure
    mat = mat_reference_pressure*cake**(1/(1 - resistance_exponent))
    fabric = viscosity*fabric_resistance*flux + density/2*fabric_inertia*flux**2
    0 = mat + fabric - max(pressure_drop, 0)
    """,
    gives="flux",
    kind="equation",
    where="root of the pressure drop through mat and fabric",
    holds={"resistance_exponent": (0.0, 0.9)},
)
def flux_mat_fabric(
    pressure_drop: Num,
    deposited: Num,
    viscosity: Num,
    density: Num,
    resistance_coefficient: Num,
    resistance_exponent: Num,
    fabric_resistance: Num,
    fabric_inertia: Num,
) -> Num:
    """Flux that a pressure drop drives through mat and fabric; nothing flows without a positive drop.

    Picture: the bare fabric first, the mat more and more. Use for: every open side of a former. Not for:
    a side with neither mat nor fabric. Made from: start between the fluxes of fabric alone and mat alone;
    three third-order steps (Halley) reach the root within rounding.
    """
    drop = np.maximum(pressure_drop, 1e-30)
    power = 1.0 / (1.0 - resistance_exponent)
    cake = viscosity * resistance_coefficient * deposited / mat_reference_pressure
    viscous = viscosity * fabric_resistance
    inertial = 0.5 * density * fabric_inertia
    fabric_alone = 2.0 * drop / (viscous + np.sqrt(viscous * viscous + 4.0 * inertial * drop) + 1e-100)
    mat_alone = (drop / mat_reference_pressure) ** (1.0 - resistance_exponent) / (cake + 1e-100)
    flux = fabric_alone * mat_alone / np.sqrt(fabric_alone * fabric_alone + mat_alone * mat_alone)
    for _ in range(3):
        mat = mat_reference_pressure * (cake * flux) ** power
        excess = mat + flux * (viscous + inertial * flux) - drop
        slope = power * mat / flux + viscous + 2.0 * inertial * flux
        bend = power * (power - 1.0) * mat / (flux * flux) + 2.0 * inertial
        flux = flux - 2.0 * excess * slope / (2.0 * slope * slope - excess * bend)
    return flux * (pressure_drop > 0.0)


@derived(
    """
    cake = viscosity*resistance_coefficient*deposited*flux
    sprung = mat_reference_pressure*(cake/mat_reference_pressure)**(1/(1 - resistance_exponent))
    mat = max((pressure_kept/mat_reference_pressure)**resistance_exponent*cake, sprung)
    fabric = viscosity*fabric_resistance*flux + density/2*fabric_inertia*flux**2
    0 = mat + fabric - max(pressure_drop, 0)
    """,
    gives="flux",
    where="root of the drop through fabric and a mat that stays as packed",
    kind="equation",
    holds={"resistance_exponent": (0.0, 0.9)},
)
def flux_mat_kept(
    pressure_drop: Num,
    deposited: Num,
    pressure_kept: Num,
    viscosity: Num,
    density: Num,
    resistance_coefficient: Num,
    resistance_exponent: Num,
    fabric_resistance: Num,
    fabric_inertia: Num,
) -> Num:
    """Flux through fabric and a mat that keeps the packing of the largest drop it has borne.

    Picture: a sponge that stays squeezed. Use for: the second end of formers with pulses; how much a mat keeps is not
    known. Not for: a mat that heals in the next pulse. In print: wet webs deform for good and loop (slides, excerpt).
    Made from: the smaller of two fluxes, through the mat as it springs and through one as dense as it was packed.
    """
    drop = np.maximum(pressure_drop, 0.0)
    dense = (pressure_kept / mat_reference_pressure) ** resistance_exponent * (pressure_kept > 0.0)
    viscous = viscosity * (dense * resistance_coefficient * deposited + fabric_resistance)
    inertial = 0.5 * density * fabric_inertia
    packed = 2.0 * drop / (viscous + np.sqrt(viscous * viscous + 4.0 * inertial * drop) + 1e-100)
    sprung = flux_mat_fabric(
        pressure_drop, deposited, viscosity, density, resistance_coefficient, resistance_exponent, fabric_resistance,
        fabric_inertia,
    )  # fmt: skip
    return np.minimum(packed, sprung)


# --- closed forms for a mat of constant resistance


@derived(
    """
    mat = specific_filtration_resistance*grammage/(2*sides)
    drainage_impulse = viscosity*drained/sides*(fabric_resistance + mat)
    """,
    where="Ruth's law with the whole mat deposited by the filtrate",
)
def drainage_impulse_needed(
    drained: Num,
    viscosity: Num,
    fabric_resistance: Num,
    specific_filtration_resistance: Num,
    grammage: Num,
    sides: Num,
) -> Num:
    """Pressure times time that takes the water out, on each open side.

    Picture: one currency for all formers; half the mat's resistance counts, as it grows on the way. Use for:
    comparing formers by hand. Not for: fabrics whose inertia counts, or sides under different pressure.
    """
    mat = specific_filtration_resistance * grammage / (2.0 * sides)
    return viscosity * drained / sides * (fabric_resistance + mat)


@derived(
    """
    mat = specific_filtration_resistance*grammage/(2*sides)
    drained = sides*drainage_impulse/(viscosity*(fabric_resistance + mat))
    """,
    where="the impulse needed, solved for the filtrate",
)
def drained_from_impulse(
    drainage_impulse: Num,
    viscosity: Num,
    fabric_resistance: Num,
    specific_filtration_resistance: Num,
    grammage: Num,
    sides: Num,
) -> Num:
    """Water that an impulse on each open side takes out while it lays down the whole sheet.

    Picture: two open sides at equal pressure give four times the water when the mat rules: twice the area
    and half the mat on each. Use for: capacity at a glance. Not for: a roll former's inner side, which is
    unloaded.
    """
    mat = specific_filtration_resistance * grammage / (2.0 * sides)
    return sides * drainage_impulse / (viscosity * (fabric_resistance + mat))


@derived(
    """
    mat = specific_filtration_resistance*grammage/(2*sides)
    water = sides*drainage_impulse/(viscosity*(fabric_resistance + mat))
    consistency = grammage/(retention*density*(water + grammage/mat_consistency))
    """,
    where="fibre balance on the stock that the impulse can drain",
)
def consistency_dilution_limit(
    drainage_impulse: Num,
    viscosity: Num,
    fabric_resistance: Num,
    specific_filtration_resistance: Num,
    grammage: Num,
    sides: Num,
    retention: Num,
    density: Num,
    mat_consistency: Num,
) -> Num:
    """Most dilute stock whose water an impulse can still take out.

    Picture: water taken out plus water held in the mat is all the stock there can be. Use for: a sanity
    line beside the march, plus or minus 30 %. Not for: an operating point; pump power stops dilution
    earlier.
    """
    mat = specific_filtration_resistance * grammage / (2.0 * sides)
    water = sides * drainage_impulse / (viscosity * (fabric_resistance + mat))
    return grammage / (retention * density * (water + grammage / mat_consistency))


@relation(
    """
    mat = specific_filtration_resistance*solids_concentration*drained/2
    dwell = viscosity/pressure_drop*drained*(fabric_resistance + mat)
    """,
    source="RUTH_1935",
    where="filtration at constant pressure",
    status="from memory",
)
def filtration_time_ruth(
    drained: Num,
    pressure_drop: Num,
    viscosity: Num,
    fabric_resistance: Num,
    specific_filtration_resistance: Num,
    solids_concentration: Num,
) -> Num:
    """Time to filter a depth of water at constant pressure.

    Picture: time grows with the square of the water once the mat rules. Use for: steady suction. Not for:
    pulses.
    """
    mat = specific_filtration_resistance * solids_concentration * drained / 2.0
    return viscosity / pressure_drop * drained * (fabric_resistance + mat)


@relation(
    """
    push = pressure_drop*dwell/viscosity
    root = sqrt(fabric_resistance**2 + 2*specific_filtration_resistance*solids_concentration*push)
    drained = 2*push/(fabric_resistance + root)
    """,
    source="RUTH_1935",
    where="filtration at constant pressure, solved for the filtrate",
    status="derived",
)
def drained_ruth(
    dwell: Num,
    pressure_drop: Num,
    viscosity: Num,
    fabric_resistance: Num,
    specific_filtration_resistance: Num,
    solids_concentration: Num,
) -> Num:
    """Depth of water filtered in a time at constant pressure.

    Picture: twice the time gives only 1.4 times the water once the mat rules. Use for: steady suction.
    Not for: pulses; the last of the stock.
    """
    push = pressure_drop * dwell / viscosity
    root = np.sqrt(fabric_resistance**2 + 2.0 * specific_filtration_resistance * solids_concentration * push)
    return 2.0 * push / (fabric_resistance + root)


@derived(
    """
    mat = specific_filtration_resistance*solids_concentration
    falling = (fabric_resistance + mat*stock_depth)*log(stock_depth/(stock_depth - drained))
    dwell = viscosity/(density*gravity)*(falling - mat*drained)
    """,
    where="Ruth's law under a head that falls with the drainage",
)
def filtration_time_gravity(
    drained: Num,
    stock_depth: Num,
    density: Num,
    viscosity: Num,
    fabric_resistance: Num,
    specific_filtration_resistance: Num,
    solids_concentration: Num,
) -> Num:
    """Time to drain a depth of water by its own weight.

    Picture: the head sinks with the stock, so the last millimetres take longest. Use for: a table without
    elements, hand tests. Not for: draining to the last drop (the time has no bound).
    """
    mat = specific_filtration_resistance * solids_concentration
    falling = (fabric_resistance + mat * stock_depth) * np.log(stock_depth / (stock_depth - drained))
    return viscosity / (density * gravity) * (falling - mat * drained)
