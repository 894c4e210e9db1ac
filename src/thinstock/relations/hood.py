"""The hood over a Yankee: stretches with constant surroundings, and the balance of its air, water and heat.

Everything is per metre of machine width. A stretch is eight numbers for the drying march. The balance takes
leakage as given; pressures, spillage, purge and the burner's own needs are not computed. Advice on humidity
must never be carried out by cutting exhaust or make-up below what the burner and its purge need.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from thinstock.errors import Fault, KernelRefused
from thinstock.formula.label import Num, derived, relation
from thinstock.relations.gas_side import GasSide, film_gas, gas_side_given, gas_side_hole_array
from thinstock.relations.humid_air import (
    enthalpy_mixture,
    heat_capacity_dry_air,
    heat_capacity_steam,
    temperature_enthalpy,
)
from thinstock.relations.impingement import jet_heat_transfer_slot_array_martin, jet_open_area_contracted
from thinstock.words.constants import vaporisation_enthalpy_ice_point

SEGMENT = (
    "length",
    "heat_transfer_coefficient",
    "mass_transfer_coefficient",
    "air_temperature",
    "vapour_pressure_air",
    "plate_temperature",
    "emissivity",
    "heat_capacity",
)
"""What the eight numbers of a stretch are, in order, on the last axis."""

HUMIDITY = "humidity_unreachable"
"""Cause of the refusal of a humidity that cannot be had."""
UNREACHABLE = "these jets need more exhaust: humidity given cannot be reached"


class HoodBalance(NamedTuple):
    """Streams (dry air, per metre of width), humidities and heats of a hood."""

    exhaust: Any
    make_up: Any
    leak: Any
    recirculation: Any
    jet_humidity: Any
    exhaust_humidity: Any
    return_temperature: Any
    gas_power: Any
    combustion_water: Any


class HoodDuty(NamedTuple):
    """What the balance of a hood with a given exhaust humidity takes."""

    evaporation: Num
    vapour_enthalpy_flow: Num
    sheet_heat: Num
    jet_dry_air: Num
    air_temperature: Num
    exhaust_humidity: Num
    leakage: Num
    make_up_temperature: Num
    make_up_humidity: Num
    room_temperature: Num
    room_humidity: Num
    hood_loss: Num
    fan_heat: Num
    lower_heating_value: Num
    combustion_water_ratio: Num


def _eight(length: Num, side: GasSide, air_temperature: Num, plate_temperature: Num, emissivity: Num) -> Num:
    parts = (
        length,
        side.heat_transfer_coefficient,
        side.mass_transfer_coefficient,
        air_temperature,
        side.vapour_pressure_air,
        plate_temperature,
        emissivity,
        side.heat_capacity,
    )
    return np.stack(np.broadcast_arrays(*(np.asarray(part, dtype=float) for part in parts)), axis=-1)


@relation(
    """h, beta, vapour_pressure_air, heat_capacity = gas_side_hole_array(...)
        segments = length, h, beta, air_temperature, vapour_pressure_air,
        plate_temperature, emissivity, heat_capacity""",
    gives="segments",
    kind="march",
    source="MARTIN_1977",
    where="fields of round nozzles, times a calibration factor",
    status="from memory",
    holds={"jet_open_area": (0.004, 0.05), "air_temperature": (274.0, 973.0)},
)
def segment_hole_array_martin(
    length: Num,
    air_temperature: Num,
    humidity: Num,
    jet_velocity: Num,
    nozzle_diameter: Num,
    jet_open_area: Num,
    nozzle_gap: Num,
    contraction: Num,
    hood_factor: Num,
    plate_temperature: Num,
    emissivity: Num,
    film_sheet_temperature: Num,
    pressure: Num,
) -> Num:
    """A stretch of the path under a plate of sharp holes. As the eight numbers of the march.

    Picture: one part of the hood laid flat. Use for: hoods with hole plates. Not for: two hood halves with
    different air in one stretch. In print: see the jet formula. Made from: the gas side under holes.
    """
    side = gas_side_hole_array(
        air_temperature,
        humidity,
        jet_velocity,
        nozzle_diameter,
        jet_open_area,
        nozzle_gap,
        contraction,
        hood_factor,
        film_sheet_temperature,
        pressure,
    )
    return _eight(length, side, air_temperature, plate_temperature, emissivity)


@relation(
    """h = hood_factor*jet_heat_transfer_slot_array_martin(..., nozzle_width*contraction, ...)
        h, beta, vapour_pressure_air, heat_capacity = gas_side_given(h, ...)
        segments = length, h, beta, air_temperature, vapour_pressure_air,
        plate_temperature, emissivity, heat_capacity""",
    gives="segments",
    kind="march",
    source="MARTIN_1977",
    where="fields of slot nozzles, times a calibration factor",
    status="published",
    holds={"air_temperature": (274.0, 973.0)},
)
def segment_slot_array_martin(
    length: Num,
    air_temperature: Num,
    humidity: Num,
    jet_velocity: Num,
    nozzle_width: Num,
    jet_open_area: Num,
    nozzle_gap: Num,
    contraction: Num,
    hood_factor: Num,
    plate_temperature: Num,
    emissivity: Num,
    film_sheet_temperature: Num,
    pressure: Num,
) -> Num:
    """A stretch of the path under a plate of slots. As the eight numbers of the march.

    Picture: curtains of air across the sheet. Use for: slotted hoods. Not for: holes. In print: see the slot
    formula. Made from: the slot formula with contracted width and area, and the analogy.
    """
    gas = film_gas(0.5 * (air_temperature + film_sheet_temperature), humidity, pressure)
    h = hood_factor * jet_heat_transfer_slot_array_martin(
        jet_velocity,
        nozzle_width * contraction,
        jet_open_area_contracted(jet_open_area, contraction),
        nozzle_gap,
        gas.kinematic_viscosity,
        gas.conductivity,
        gas.prandtl,
    )
    side = gas_side_given(h, air_temperature, humidity, film_sheet_temperature, pressure)
    return _eight(length, side, air_temperature, plate_temperature, emissivity)


@derived(
    """h, beta, vapour_pressure_air, heat_capacity = gas_side_given(...)
        segments = length, h, beta, air_temperature, vapour_pressure_air,
        air_temperature, 0, heat_capacity""",
    gives="segments",
    kind="march",
    where="analogy of heat and mass transfer",
    holds={"air_temperature": (274.0, 973.0)},
)
def segment_open(
    length: Num,
    heat_transfer_coefficient: Num,
    air_temperature: Num,
    humidity: Num,
    film_sheet_temperature: Num,
    pressure: Num,
) -> Num:
    """A stretch of the path without a hood. As the eight numbers of the march.

    Picture: the sheet in hall air dragged along by the machine. Use for: before and after the hood. Not for:
    jets. In print: analogy. Made from: a given coefficient; no radiation.
    """
    side = gas_side_given(heat_transfer_coefficient, air_temperature, humidity, film_sheet_temperature, pressure)
    return _eight(length, side, air_temperature, air_temperature, 0.0)


@derived("jet_dry_air = density*jet_velocity*jet_open_area*contraction*length/(1 + humidity)", where="continuity")
def jet_dry_air(
    density: Num, jet_velocity: Num, jet_open_area: Num, contraction: Num, length: Num, humidity: Num
) -> Num:
    """Dry air blown by the nozzles of a stretch, density at jet state.

    Picture: all the jets of one hood added up, without their vapour. Use for: the hood balance. Not for: fan
    volume at another temperature. In print: continuity. Made from: contracted jets at jet velocity.
    """
    return density * jet_velocity * jet_open_area * contraction * length / (1.0 + humidity)


_BALANCE = """gap = jet_dry_air + leak
    gap_water = jet_dry_air*jet_humidity + evaporation + leak*room_humidity - gap*exhaust_humidity
    h_jet = enthalpy_mixture(air_temperature, jet_humidity)
    h_room = enthalpy_mixture(room_temperature, room_humidity)
    h_return = enthalpy_mixture(return_temperature, exhaust_humidity)
    h_fresh = enthalpy_mixture(make_up_temperature, make_up_humidity)
    gap_heat = jet_dry_air*h_jet + vapour_enthalpy_flow + leak*h_room - sheet_heat - gap*h_return
    water_in = make_up*make_up_humidity + leak*room_humidity + evaporation + combustion_water
    hood_water = water_in - exhaust*exhaust_humidity
    burnt = gas_power + combustion_water*vaporisation_enthalpy_ice_point
    heat_in = burnt + fan_heat + vapour_enthalpy_flow + make_up*h_fresh + leak*h_room
    hood_heat = heat_in - exhaust*h_return - hood_loss - sheet_heat
    burner = combustion_water - combustion_water_ratio*gas_power/lower_heating_value
    air = make_up + leak - exhaust
    ring = recirculation + exhaust - jet_dry_air - leak
    split = leak - leakage*exhaust
    water_error = abs(gap_water) + abs(hood_water) + abs(burner) + abs(air) + abs(ring) + abs(split)
    0 = water_error/evaporation + (abs(gap_heat) + abs(hood_heat))/vapour_enthalpy_flow"""


def solve_exhaust_humidity(given: HoodDuty) -> HoodBalance:
    """The balance with exhaust humidity given, without judging it (the relation of the same words refuses).

    Eliminating everything but the exhaust X leaves one quadratic in X: heat and water of the gap are straight
    lines in X over (J + leakage X), and the burner's water is a fixed share of its heat.
    """
    (
        evaporation, vapour_enthalpy_flow, sheet_heat, jet_dry_air, air_temperature,
        exhaust_humidity, leakage, make_up_temperature, make_up_humidity,
        room_temperature, room_humidity, hood_loss, fan_heat,
        lower_heating_value, combustion_water_ratio,
    ) = given  # fmt: skip
    h_room = enthalpy_mixture(room_temperature, room_humidity)
    h_fresh = enthalpy_mixture(make_up_temperature, make_up_humidity)
    h_air = enthalpy_mixture(air_temperature, 0.0 * exhaust_humidity)
    h_vapour = enthalpy_mixture(air_temperature, 1.0 + 0.0 * exhaust_humidity) - h_air
    burnt = combustion_water_ratio / lower_heating_value
    k = burnt / (1.0 + burnt * vaporisation_enthalpy_ice_point)
    fresh = (1.0 - leakage) * h_fresh + leakage * h_room
    load = hood_loss + sheet_heat - vapour_enthalpy_flow - fan_heat
    span = exhaust_humidity - (1.0 - leakage) * make_up_humidity - leakage * room_humidity
    heat = jet_dry_air * (h_air + exhaust_humidity * h_vapour) - evaporation * h_vapour
    heat = heat + vapour_enthalpy_flow - sheet_heat
    slope = leakage * ((exhaust_humidity - room_humidity) * h_vapour + h_room)
    fixed = evaporation + k * load
    a = leakage * (span + k * fresh) - k * slope
    b = jet_dry_air * (span + k * fresh) - leakage * fixed - k * heat
    exhaust = 2.0 * jet_dry_air * fixed / (b + np.sqrt(b * b + 4.0 * a * jet_dry_air * fixed))
    leak = leakage * exhaust
    h_return = (heat + slope * exhaust) / (jet_dry_air + leak)
    gas = (exhaust * h_return + load - exhaust * fresh) / (1.0 + burnt * vaporisation_enthalpy_ice_point)
    jet_water = (jet_dry_air + leak) * exhaust_humidity - evaporation - leak * room_humidity
    return HoodBalance(
        exhaust,
        (1.0 - leakage) * exhaust,
        leak,
        jet_dry_air + leak - exhaust,
        jet_water / jet_dry_air,
        exhaust_humidity + 0.0 * exhaust,
        temperature_enthalpy(h_return, exhaust_humidity),
        gas,
        burnt * gas,
    )


def unreachable(field: str, humidity: Num) -> KernelRefused:
    """The refusal of a humidity that cannot be had."""
    remedy = "Give a higher exhaust humidity, or more or faster jets"
    value = f"{float(np.max(humidity)):.4g}"
    return KernelRefused(HUMIDITY, Fault(field=field, value=value, bound=UNREACHABLE, remedy=remedy))


def _refuse_unreachable(balance: HoodBalance, make_up_humidity: Num, field: str) -> HoodBalance:
    """Refuse a single case whose humidity cannot be had; cases in arrays are left to the caller."""
    if np.ndim(balance.exhaust) == 0:
        drier = balance.jet_humidity >= make_up_humidity
        if not (drier and balance.recirculation >= 0.0 and balance.exhaust > 0.0):
            raise unreachable(field, getattr(balance, "jet_humidity" if field == "humidity" else field))
    return balance


_GIVES = (
    "exhaust",
    "make_up",
    "leak",
    "recirculation",
    "jet_humidity",
    "exhaust_humidity",
    "return_temperature",
    "gas_power",
    "combustion_water",
)


@derived(
    _BALANCE,
    gives=_GIVES,
    kind="equation",
    where="water, dry air and heat of gap and hood",
    holds={"air_temperature": (274.0, 973.0), "leakage": (0.0, 0.5)},
)
def balance_jet_humidity(
    evaporation: Num,
    vapour_enthalpy_flow: Num,
    sheet_heat: Num,
    jet_dry_air: Num,
    air_temperature: Num,
    humidity: Num,
    leakage: Num,
    make_up_temperature: Num,
    make_up_humidity: Num,
    room_temperature: Num,
    room_humidity: Num,
    hood_loss: Num,
    fan_heat: Num,
    lower_heating_value: Num,
    combustion_water_ratio: Num,
) -> HoodBalance:
    """Air, water and heat of a hood whose jets have a given humidity.

    Picture: a ring of air that takes the sheet's vapour, loses some to the stack and gets fresh air and fire.
    Use for: hoods with a humidity probe in the jets. Not for: pressures and spillage; leakage is given. In
    print: balances. Made from: water, dry air and heat in = out, for the gap and for the whole; burner gas
    counts as air.
    """
    h_room = enthalpy_mixture(room_temperature, room_humidity)
    h_fresh = enthalpy_mixture(make_up_temperature, make_up_humidity)
    burnt = combustion_water_ratio / lower_heating_value
    k = burnt / (1.0 + burnt * vaporisation_enthalpy_ice_point)
    fresh = (1.0 - leakage) * h_fresh + leakage * h_room
    load = hood_loss + sheet_heat - vapour_enthalpy_flow - fan_heat
    entering = (1.0 - leakage) * make_up_humidity + leakage * room_humidity
    heat = jet_dry_air * enthalpy_mixture(air_temperature, humidity) + vapour_enthalpy_flow - sheet_heat
    slope = leakage * h_room
    fixed = evaporation + k * load
    a = leakage * (room_humidity - entering + k * fresh) - k * slope
    b = jet_dry_air * (humidity - entering + k * fresh) + evaporation - leakage * fixed - k * heat
    exhaust = 2.0 * jet_dry_air * fixed / (b + np.sqrt(b * b + 4.0 * a * jet_dry_air * fixed))
    leak = leakage * exhaust
    gap = jet_dry_air + leak
    h_return = (heat + slope * exhaust) / gap
    x_return = (jet_dry_air * humidity + evaporation + leak * room_humidity) / gap
    gas = (exhaust * h_return + load - exhaust * fresh) / (1.0 + burnt * vaporisation_enthalpy_ice_point)
    solved = HoodBalance(
        exhaust,
        (1.0 - leakage) * exhaust,
        leak,
        gap - exhaust,
        humidity + 0.0 * exhaust,
        x_return,
        temperature_enthalpy(h_return, x_return),
        gas,
        burnt * gas,
    )
    return _refuse_unreachable(solved, make_up_humidity, "humidity")


@derived(
    _BALANCE,
    gives=_GIVES,
    kind="equation",
    where="water, dry air and heat of gap and hood",
    holds={"air_temperature": (274.0, 973.0), "leakage": (0.0, 0.5)},
)
def balance_exhaust_humidity(
    evaporation: Num,
    vapour_enthalpy_flow: Num,
    sheet_heat: Num,
    jet_dry_air: Num,
    air_temperature: Num,
    exhaust_humidity: Num,
    leakage: Num,
    make_up_temperature: Num,
    make_up_humidity: Num,
    room_temperature: Num,
    room_humidity: Num,
    hood_loss: Num,
    fan_heat: Num,
    lower_heating_value: Num,
    combustion_water_ratio: Num,
) -> HoodBalance:
    """Air, water and heat of a hood whose exhaust has a given humidity.

    Picture: the damper is set by the humidity in the stack. Use for: the usual case. Not for: humidities the
    jets cannot reach, which are refused. In print: balances; jets are drier than the exhaust by the water of
    one pass. Made from: water, dry air and heat in = out, for the gap and for the whole; burner gas counts as
    air.
    """
    solved = solve_exhaust_humidity(HoodDuty(**locals()))
    return _refuse_unreachable(solved, make_up_humidity, "exhaust_humidity")


@derived(
    """steam_ex = exhaust_humidity*heat_capacity_steam(return_temperature)
        cp_ex = heat_capacity_dry_air(return_temperature) + steam_ex
        steam_mu = make_up_humidity*heat_capacity_steam(room_temperature)
        cp_mu = heat_capacity_dry_air(room_temperature) + steam_mu
        least = min(exhaust*cp_ex, make_up*cp_mu)
        rise = effectiveness*least/(make_up*cp_mu)*(return_temperature - room_temperature)
        make_up_temperature = room_temperature + rise""",
    where="effectiveness of a heat exchanger, capacities at the inlets",
)
def make_up_temperature_economiser(
    effectiveness: Num,
    exhaust: Num,
    exhaust_humidity: Num,
    return_temperature: Num,
    make_up: Num,
    make_up_humidity: Num,
    room_temperature: Num,
) -> Num:
    """Make-up air after it has met the exhaust in an economiser.

    Picture: hot wet air warms cold dry air through a wall. Use for: heat recovery of hoods. Not for: exhaust
    cooled below its dew point, which gives more. In print: definition of effectiveness; never crosses. Made
    from: effectiveness times the smaller heat capacity flow.
    """
    cp_exhaust = heat_capacity_dry_air(return_temperature)
    cp_exhaust = cp_exhaust + exhaust_humidity * heat_capacity_steam(return_temperature)
    cp_fresh = heat_capacity_dry_air(room_temperature) + make_up_humidity * heat_capacity_steam(room_temperature)
    least = np.minimum(exhaust * cp_exhaust, make_up * cp_fresh)
    rise = effectiveness * least / (make_up * cp_fresh) * (return_temperature - room_temperature)
    return room_temperature + rise
