"""Small definitions that join the sections of a machine: ratios, scalings and geometry of one line each.

They stand here with a label so that every number of a run can be traced; no physics of their own.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, assumed, derived, merged, relation
from thinstock.words.constants import gravity, ice_point


@derived("kinematic_viscosity = viscosity/density")
def kinematic_viscosity(viscosity: Num, density: Num) -> Num:
    """Kinematic viscosity of water, m²/s (definition)."""
    return viscosity / density


@derived("speed = yankee_speed*(1 - draw)")
def speed_before_draw(yankee_speed: Num, draw: Num) -> Num:
    """Speed of a fabric that runs slower than the Yankee by a draw, m/s."""
    return yankee_speed * (1.0 - draw)


@relation(
    "line_loss = line_loss_given*(flow_per_width/line_loss_flow)**2", source="COMMON_PRACTICE", status="common practice"
)
def line_loss_at_flow(line_loss_given: Num, flow_per_width: Num, line_loss_flow: Num) -> Num:
    """Pressure loss of line, screens and tube bank at another flow, Pa: turbulent, so it grows with flow squared.

    Picture: twice the flow, four times the loss. Not for: a line with a throttling valve that is moved.
    """
    return line_loss_given * (flow_per_width / line_loss_flow) ** 2


@derived("moisture_ratio = moisture_ratio_before + rewet/grammage")
def moisture_ratio_with_rewet(moisture_ratio_before: Num, rewet: Num, grammage: Num) -> Num:
    """Moisture ratio after a fabric has given `rewet` back to the sheet at the separation."""
    return moisture_ratio_before + rewet / grammage


@assumed("ambient_air_flow = shell_air_flow*(1 + leakage_share)")
def air_flow_with_leakage(shell_air_flow: Num, leakage_share: Num) -> Num:
    """Air of a suction roll: what the drilled shell carries in, and leakage at seals and deckles beside it."""
    return shell_air_flow * (1.0 + leakage_share)


@derived("steam_heat = (contact_heat + bare_heat + shell_load)/(1 - head_loss_share)")
def steam_heat_yankee(contact_heat: Num, bare_heat: Num, shell_load: Num, head_loss_share: Num) -> Num:
    """Heat that must condense in the Yankee: to the sheet, to hall air from the bare shell, coating, and heads, W/m."""
    return (contact_heat + bare_heat + shell_load) / (1.0 - head_loss_share)


@derived("wire_share = dry_line/length")
def share_of_zone(dry_line: Num, length: Num) -> Num:
    """Place of the end of forming as share of the forming zone."""
    return dry_line / length


@derived("flow_per_width = flow_per_width_jet/(1 - reject_share)")
def flow_before_screens(flow_per_width_jet: Num, reject_share: Num) -> Num:
    """Flow of the fan pump: the jet and what the screens reject, m²/s or kg/(s m)."""
    return flow_per_width_jet / (1.0 - reject_share)


@relation("length = impact_lengths*jet_thickness", source="DALPKE", status="published")
def length_of_impact(impact_lengths: Num, jet_thickness: Num) -> Num:
    """Length over which the jet's impact presses, m: about two jet thicknesses.

    Made from: a thesis on jet impingement drainage (abstract): most drainage within one to two jet thicknesses.
    """
    return impact_lengths * jet_thickness


@assumed("pressure_drop = share*suction")
def mean_suction(share: Num, suction: Num) -> Num:
    """Mean suction of a table roll or foil as share of its peak, Pa."""
    return share * suction


@assumed("length = suction_share*foil_length")
def blade_under_suction(suction_share: Num, foil_length: Num) -> Num:
    """Length of a foil blade that works with suction, m."""
    return suction_share * foil_length


@derived("length = max(0, arc - part_length)")
def length_left(arc: Num, part_length: Num) -> Num:
    """What is left of an arc after its first part, m."""
    return np.maximum(0.0, arc - part_length)


@derived("pressure_drop = density*gravity*pond_head/number")
def pressure_step_pond(density: Num, pond_head: Num, number: Num) -> Num:
    """Fall of the pond's pressure over one of `number` equal boxes, Pa."""
    return density * gravity * pond_head / number


@derived("moisture_ratio = 1/dryness - 1")
def moisture_ratio_of_dryness(dryness: Num) -> Num:
    """Water per fibre from dryness (definition)."""
    return 1.0 / dryness - 1.0


def stacked(*parts: Num) -> Num:
    """Several numbers side by side on a new last axis, for sums over parts."""
    return merged(np.stack(np.broadcast_arrays(*parts), axis=-1), parts)


@derived("water_per_area = share*(stock_depth - depth_leaving)*density")
def felt_uptake(share: Num, stock_depth: Num, depth_leaving: Num, density: Num) -> Num:
    """Water that a felt takes up while the sheet forms, kg/m²: its share of all white water."""
    return share * (stock_depth - depth_leaving) * density


@derived("length = pi*yankee_diameter")
def circumference(yankee_diameter: Num) -> Num:
    """One turn of a cylinder, m."""
    return np.pi * yankee_diameter


@derived("length = max(0, arc - open_length_before - hood_length)")
def rest_of_wrap(arc: Num, open_length_before: Num, hood_length: Num) -> Num:
    """Stretch of the wrap behind the hood, m."""
    return np.maximum(0.0, arc - open_length_before - hood_length)


@assumed("steam_pressure = 1.02*atmospheric_pressure")
def least_steam_pressure(atmospheric_pressure: Num) -> Num:
    """The lowest steam pressure a search may try, Pa absolute: a little above the air."""
    return 1.02 * atmospheric_pressure


@derived("grammage_out = grammage*speed/reel_speed", gives="grammage")
def grammage_at_speed(grammage: Num, speed: Num, reel_speed: Num) -> Num:
    """Bone-dry grammage where the sheet runs at another speed (creped or drawn), kg/m²."""
    return grammage * speed / reel_speed


@derived("""condensed = wet_heat_capacity*temperature_rise
        water_per_area = condensed/(steam_enthalpy - water_heat_capacity*(temperature - ice_point))""")
def condensate_of_rise(
    temperature_rise: Num,
    wet_heat_capacity: Num,
    steam_enthalpy: Num,
    water_heat_capacity: Num,
    temperature: Num,
) -> Num:
    """Steam that must condense in the sheet for this rise to `temperature`, kg/m² (heat balance)."""
    return wet_heat_capacity * temperature_rise / (steam_enthalpy - water_heat_capacity * (temperature - ice_point))


# --- from the furnish to slot and nip


@assumed("equilibrium_moisture_held = equilibrium_share*equilibrium_moisture", gives="equilibrium_moisture")
def equilibrium_moisture_at_share(equilibrium_share: Num, equilibrium_moisture: Num) -> Num:
    """The part of the equilibrium moisture law that is taken to hold; the share is not known (0 to 1)."""
    return equilibrium_share * equilibrium_moisture


@derived("specific_permeability_here = permeability_factor*specific_permeability", gives="specific_permeability")
def specific_permeability_calibrated(permeability_factor: Num, specific_permeability: Num) -> Num:
    """Specific permeability of this press from that of the anchor, kg/m; the factor is what a calibration moves."""
    return permeability_factor * specific_permeability


@derived("resistance_here = resistance_factor*resistance_coefficient", gives="resistance_coefficient")
def resistance_on_machine(resistance_factor: Num, resistance_coefficient: Num) -> Num:
    """Filtration resistance as the machine meets it, m/kg, for former, capillary entry and air; never for the nip."""
    return resistance_factor * resistance_coefficient
