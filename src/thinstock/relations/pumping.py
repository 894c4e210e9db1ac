"""Power of pumps, fans, vacuum pumps and drives, and air through ducts and orifices.

Definitions and textbook thermodynamics. Volume flow is at suction conditions everywhere unless the name says
otherwise. Two stated forms stand for the curve of a vacuum pump; its motor and seal water are not here.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, assumed, derived, relation
from thinstock.words.constants import gravity


@derived("power = volume_flow*pressure_rise/efficiency")
def pump_power(volume_flow: Num, pressure_rise: Num, efficiency: Num) -> Num:
    """Shaft power of a pump from its pressure rise.

    Picture: pushing a volume against a pressure. Use for: fan pump, white water, showers. Not for: motor
    input, which is more by motor and drive losses. In print: definition of pump efficiency. Made from: work =
    pressure times volume.
    """
    return volume_flow * pressure_rise / efficiency


@derived("power = density*gravity*volume_flow*pump_head/efficiency")
def pump_power_head(volume_flow: Num, density: Num, pump_head: Num, efficiency: Num) -> Num:
    """Shaft power of a pump from its head.

    Picture: lifting the stream by the head. Use for: pump curves drawn in metres. Not for: gases.
    In print: definition of pump efficiency. Made from: work = weight times lift.
    """
    return density * gravity * volume_flow * pump_head / efficiency


@derived("power = volume_flow*pressure_rise/efficiency")
def fan_power(volume_flow: Num, pressure_rise: Num, efficiency: Num) -> Num:
    """Shaft power of a low-pressure fan.

    Picture: pushing air against a few kilopascal. Use for: hood fans. Not for: blowers with more than about
    10 kPa, where the air is compressed on the way. In print: definition of fan efficiency. Made from:
    incompressible flow.
    """
    return volume_flow * pressure_rise / efficiency


@derived("power_new = power*speed_ratio**3", gives="power")
def fan_power_affinity(power: Num, speed_ratio: Num) -> Num:
    """Power of a fan or pump at another speed in the same system.

    Picture: flow goes with speed, pressure with its square. Use for: the first guess at a speed change. Not
    for: systems with static head. In print: affinity law. Made from: similarity at equal efficiency.
    """
    return power * speed_ratio**3


@derived("power = 0.5*density*volume_flow*jet_speed**2")
def jet_power_kinetic(volume_flow: Num, density: Num, jet_speed: Num) -> Num:
    """Kinetic power of the headbox jet.

    Picture: what the jet carries away as motion. Use for: the floor under any fan-pump power. Not for: the
    pump's own losses. In print: definition. Made from: half mass flow times speed squared.
    """
    return 0.5 * density * volume_flow * jet_speed**2


@derived("""pressure = atmospheric_pressure - vacuum
        power = pressure*volume_flow*log(atmospheric_pressure/pressure)/efficiency""")
def vacuum_power_isothermal(volume_flow: Num, atmospheric_pressure: Num, vacuum: Num, efficiency: Num) -> Num:
    """Shaft power of a vacuum pump by isothermal compression of the air it takes in.

    Picture: seal water keeps the air cool while it is squeezed back to the atmosphere. Use for: liquid-ring
    pumps, flow at suction conditions. Not for: blowers. In print: isothermal work. Made from: ideal gas.
    """
    pressure = atmospheric_pressure - vacuum
    return pressure * volume_flow * np.log(atmospheric_pressure / pressure) / efficiency


@derived("""pressure = atmospheric_pressure - vacuum
        share = (heat_capacity_ratio - 1)/heat_capacity_ratio
        power = pressure*volume_flow*((atmospheric_pressure/pressure)**share - 1)/(share*efficiency)""")
def vacuum_power_adiabatic(
    volume_flow: Num, atmospheric_pressure: Num, vacuum: Num, heat_capacity_ratio: Num, efficiency: Num
) -> Num:
    """Shaft power of a vacuum blower by adiabatic compression of the air it takes in.

    Picture: the air is squeezed without being cooled and leaves hot. Use for: turbo and centrifugal blowers,
    flow at suction conditions. Not for: liquid-ring pumps. In print: adiabatic work. Made from: ideal gas.
    """
    pressure = atmospheric_pressure - vacuum
    share = (heat_capacity_ratio - 1.0) / heat_capacity_ratio
    return pressure * volume_flow * ((atmospheric_pressure / pressure) ** share - 1.0) / (share * efficiency)


@derived("volume_flow_there = volume_flow*atmospheric_pressure/(atmospheric_pressure - vacuum)", gives="volume_flow")
def volume_flow_suction(volume_flow: Num, atmospheric_pressure: Num, vacuum: Num) -> Num:
    """Volume of free air at suction conditions.

    Picture: the same air takes more room under vacuum. Use for: turning free air into pump volume. Not for:
    air that is heated on the way. In print: ideal gas at equal temperature. Made from: pressure times volume
    is constant.
    """
    return volume_flow * atmospheric_pressure / (atmospheric_pressure - vacuum)


@derived(
    """pressure = atmospheric_pressure - vacuum
        volume_flow_wet = volume_flow*pressure/(pressure - vapour_pressure)""",
    gives="volume_flow",
)
def volume_flow_wet(volume_flow: Num, atmospheric_pressure: Num, vacuum: Num, vapour_pressure: Num) -> Num:
    """Volume of dry air at suction once it is saturated with vapour.

    Picture: seal-water vapour takes its share of the pressure and pushes the air apart. Use for: what warm
    seal water costs in pump volume. Not for: vacuum near the vapour pressure of the seal water. In print:
    Dalton's law. Made from: ideal gases.
    """
    pressure = atmospheric_pressure - vacuum
    return volume_flow * pressure / (pressure - vapour_pressure)


# --- curves of vacuum pumps


@assumed(
    """within = min(max(vacuum/vacuum_shut, 0), 1)
        volume_flow = volume_flow_free*(1 - within**pump_shape)""",
    where="flat, then falling to nothing at the shut-off vacuum; shape 4, range 2 to 8",
    holds={"pump_shape": (1.0, 12.0)},
)
def pump_flow_liquid_ring(vacuum: Num, volume_flow_free: Num, vacuum_shut: Num, pump_shape: Num) -> Num:
    """Volume that a liquid-ring pump takes in at a vacuum, at suction conditions.

    Picture: it takes nearly the same volume until its ring cannot hold the vacuum any more. Use for: a pump whose
    curve is known by free flow, shut-off vacuum and one point. Not for: warm seal water. In print: nothing. Made
    from: a power law; nothing beyond the shut-off vacuum.
    """
    within = np.minimum(np.maximum(vacuum / vacuum_shut, 0.0), 1.0)
    return volume_flow_free * (1.0 - within**pump_shape)


@derived(
    "pump_shape = log(1 - volume_flow/volume_flow_free)/log(vacuum/vacuum_shut)",
    where="pump_flow_liquid_ring solved for the shape",
    holds={"vacuum": (5e3, 40e3), "volume_flow": (0.1, 0.9), "volume_flow_free": (1.0, 20.0)},
)
def pump_shape_from_point(vacuum: Num, volume_flow: Num, volume_flow_free: Num, vacuum_shut: Num) -> Num:
    """Shape of a liquid-ring pump's curve through one point of it.

    Picture: how long the curve stays flat. Use for: one point of the maker's curve between the two ends. Not for: a
    point at either end, where it has no number. In print: nothing. Made from: the curve's own law.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.log(1.0 - np.divide(volume_flow, volume_flow_free)) / np.log(np.divide(vacuum, vacuum_shut))


@assumed(
    "volume_flow = volume_flow_free*sqrt(1 - min(max(vacuum/vacuum_shut, 0), 1))",
    where="pressure falls with the square of the flow; nothing beyond the shut-off vacuum",
)
def pump_flow_fan(vacuum: Num, volume_flow_free: Num, vacuum_shut: Num) -> Num:
    """Volume that a fan or blower takes in at a vacuum, at suction conditions.

    Picture: most at no vacuum, less and less as the system holds back. Use for: low vacuum. Not for: surge of a
    turbo blower. In print: nothing. Made from: p = p_shut (1 - (V/V_free)²).
    """
    return volume_flow_free * np.sqrt(1.0 - np.minimum(np.maximum(vacuum / vacuum_shut, 0.0), 1.0))


@relation(
    """critical = (2/(heat_capacity_ratio + 1))**(heat_capacity_ratio/(heat_capacity_ratio - 1))
        r = min(max(pressure_after/pressure_before, critical), 1)
        shape = r**(2/heat_capacity_ratio) - r**((heat_capacity_ratio + 1)/heat_capacity_ratio)
        speed = sqrt(gas_constant*temperature*2*heat_capacity_ratio/(heat_capacity_ratio - 1)*shape)
        air_mass_flow = discharge_coefficient*area*pressure_before/(gas_constant*temperature)*speed""",
    source="TEXTBOOK_THERMODYNAMICS",
    where="flow through a nozzle",
    status="from memory",
)
def air_mass_flow_orifice(
    discharge_coefficient: Num,
    area: Num,
    pressure_before: Num,
    pressure_after: Num,
    temperature: Num,
    heat_capacity_ratio: Num,
    gas_constant: Num,
) -> Num:
    """Air through an orifice, choked when the pressure behind is low enough.

    Picture: the air rushes to the hole and cannot pass it faster than sound. Use for: capacity tests of
    vacuum pumps with an orifice plate. Not for: slots covered by a sheet or felt. In print: isentropic nozzle
    flow times C. Made from: ideal gas, no heat exchange.
    """
    k = heat_capacity_ratio
    critical = (2.0 / (k + 1.0)) ** (k / (k - 1.0))
    r = np.minimum(np.maximum(pressure_after / pressure_before, critical), 1.0)
    shape = r ** (2.0 / k) - r ** ((k + 1.0) / k)
    speed = np.sqrt(gas_constant * temperature * 2.0 * k / (k - 1.0) * shape)
    return discharge_coefficient * area * pressure_before / (gas_constant * temperature) * speed


@derived("duct_diameter = sqrt(4*volume_flow/(pi*duct_velocity))")
def duct_diameter(volume_flow: Num, duct_velocity: Num) -> Num:
    """Bore of a round duct for a flow at a velocity.

    Picture: area is flow over velocity. Use for: vacuum and hood ducts. Not for: pressure loss. In print:
    geometry. Made from: continuity.
    """
    return np.sqrt(4.0 * volume_flow / (np.pi * duct_velocity))


@derived("power = force*speed")
def drive_power(force: Num, speed: Num) -> Num:
    """Power to pull with a force at a speed.

    Picture: drag times speed. Use for: doctors, suction boxes, wire and felt drives. Not for: motor input.
    In print: definition. Made from: work = force times way.
    """
    return force * speed


@derived("force = friction_coefficient*blade_load*face_width")
def doctor_force(friction_coefficient: Num, blade_load: Num, face_width: Num) -> Num:
    """Drag of a doctor blade on its roll.

    Picture: a ruler pressed on a turning drum. Use for: cleaning doctors. Not for: the force that folds the
    crepe, which comes on top. In print: dry friction. Made from: drag = friction times load.
    """
    return friction_coefficient * blade_load * face_width


@derived("power = flow*speed**2")
def acceleration_power(flow: Num, speed: Num) -> Num:
    """Power to take a stream from rest to speed by a belt of constant speed.

    Picture: sand falling on a conveyor: half of the work becomes motion, half is lost in slip. Use for:
    shower water and stock slower than the wire. Not for: a jet at wire speed, which needs none. In print:
    momentum balance. Made from: force = mass flow times speed.
    """
    return flow * speed**2


@derived("input_power = power/efficiency", gives="power")
def motor_input_power(power: Num, efficiency: Num) -> Num:
    """Electric power a motor with its drive takes for a shaft power.

    Picture: shaft power plus losses. Use for: the meter reading. Not for: part load far below the rating.
    In print: definition of efficiency. Made from: the definition.
    """
    return power / efficiency


@derived("power = heat_rate/efficiency")
def fuel_power(heat_rate: Num, efficiency: Num) -> Num:
    """Fuel heat a boiler needs for the heat it gives.

    Picture: useful heat plus stack and other losses. Use for: steam as fuel, on the lower heating value. Not
    for: direct-fired hood burners, whose balance already ends in fuel. In print: definition of boiler
    efficiency. Made from: the definition.
    """
    return heat_rate / efficiency


@derived("specific_energy = power/production")
def specific_energy(power: Num, production: Num) -> Num:
    """Energy per mass of production.

    Picture: the power meter over the paper scale. Use for: kWh per tonne. Not for: comparing tonnes at
    different dryness without saying so. In print: definition. Made from: the definition.
    """
    return power / production
