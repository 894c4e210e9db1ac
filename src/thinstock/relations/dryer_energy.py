"""Which part of the dryer's heat is whose, and what it comes to at the fuel.

The meters say what steam and gas bring. By cause, the hood also heats the vapour that the Yankee made, up to the
temperature at which all of it leaves; both views add up to the same sum. An efficiency is a number only with its
boundary: heat to the dryer, fuel to the house, or fuel with idle time.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived


@derived(
    "superheat = evaporation*vapour_enthalpy_return - vapour_enthalpy_flow", where="enthalpy balance of the vapour"
)
def superheat_of_vapour(evaporation: Num, vapour_enthalpy_flow: Num, vapour_enthalpy_return: Num) -> Num:
    """Heat that brings the sheet's vapour to the temperature of the air that leaves the hood.

    Picture: all vapour, also the Yankee's, goes up the stack as hot as the hood's air. Use for: telling who pays
    for it. Not for: vapour of combustion or of the room. In print: nowhere. Made from: enthalpy of all vapour at
    the return temperature less what it carried from the sheet.
    """
    return evaporation * vapour_enthalpy_return - vapour_enthalpy_flow


@derived("yankee_heat_by_cause = steam_heat + contact_share*superheat", where="definition")
def yankee_heat_by_cause(steam_heat: Num, superheat: Num, contact_share: Num) -> Num:
    """Heat for the water the Yankee takes out, with the superheating of its vapour.

    Picture: who makes the vapour pays for its way out. Use for: comparing Yankee and hood per kilogram. Not for:
    bills, which go by the meters. In print: nowhere. Made from: definition; with `hood_heat_by_cause` it adds up
    to what the meters say.
    """
    return steam_heat + contact_share * superheat


@derived("hood_heat_by_cause = gas_power - contact_share*superheat", where="definition")
def hood_heat_by_cause(gas_power: Num, superheat: Num, contact_share: Num) -> Num:
    """Heat for the water the hood takes out, without the superheating of the Yankee's vapour.

    Picture: who makes the vapour pays for its way out. Use for: comparing Yankee and hood per kilogram. Not for:
    bills, which go by the meters. In print: nowhere. Made from: definition; with `yankee_heat_by_cause` it adds
    up to what the meters say.
    """
    return gas_power - contact_share * superheat


@derived("heat_per_water = heat/(evaporation*evaporation_share)", where="definition")
def energy_per_water(heat: Num, evaporation: Num, evaporation_share: Num) -> Num:
    """Heat per kilogram of the water that a part of the dryer takes out.

    Picture: the price of a kilogram here and there. Use for: either part by the meters or by cause: say which.
    Not for: a part that takes out nothing. In print: hood up to 1.3 times the Yankee, boundary not said. Made
    from: definition.
    """
    return heat / (evaporation * evaporation_share)


@derived("drying_efficiency = evaporation*latent_heat/heat_in", where="definition")
def drying_efficiency(evaporation: Num, latent_heat: Num, heat_in: Num) -> Num:
    """Heat that evaporates the water over the heat given, within a boundary that must be named.

    Picture: what the water needs of what was paid for. Use for: one boundary at a time: heat to the dryer, fuel,
    fuel with idle time. Not for: comparing numbers whose boundary is not said. In print: 28 to 30 % of one mill,
    boundary unknown. Made from: definition, latent heat at 100 °C.
    """
    return evaporation * latent_heat / heat_in


@derived(
    "steam_supply_heat = steam_heat*(1 + blow_through*(1 - reuse)/(1 - blow_through))",
    where="balance of the blow-through",
)
def steam_supply_heat(steam_heat: Num, blow_through: Num, reuse: Num) -> Num:
    """Heat of the steam supplied: what condenses, and what blows through and is not used again.

    Picture: the siphon needs a draught; a thermocompressor takes it back. Use for: from the Yankee to the steam
    main. Not for: flash of the condensate (`flash_fraction`). In print: nowhere. Made from: condensing steam is
    1 - blow_through of the supply.
    """
    return steam_heat * (1.0 + blow_through * (1.0 - reuse) / (1.0 - blow_through))


@derived(
    "fuel_heat = steam_heat/(boiler_efficiency*distribution_efficiency) + gas_power",
    where="definition of the efficiencies",
)
def fuel_heat(steam_heat: Num, boiler_efficiency: Num, distribution_efficiency: Num, gas_power: Num) -> Num:
    """Heat of all fuel burnt for the dryer, at the boiler and in the hood.

    Picture: the boundary drawn round the boiler house too. Use for: efficiencies that print counts in fuel. Not
    for: steam from a turbine, whose fuel also makes power. In print: nowhere in one piece. Made from: definition.
    """
    return steam_heat / (boiler_efficiency * distribution_efficiency) + gas_power


@derived("idle_factor = 1 + (1/time_efficiency - 1)*idle_share", where="heat over all time / heat while paper is made")
def idle_factor(time_efficiency: Num, idle_share: Num) -> Num:
    """Heat over all time, over the heat while paper is made.

    Picture: a broken sheet does not put the fire out. Use for: yearly heat per tonne. Not for: one hour of steady
    running. In print: nowhere; what one's crew burns while idle is for the mill to read. Made from: definition.
    """
    return 1.0 + (1.0 / time_efficiency - 1.0) * idle_share


@derived("burner_heat = max(gas_power, 0)", where="a burner cannot cool", holds={"gas_power": (-3e6, 1e7)})
def burner_heat(gas_power: Num) -> Num:
    """Heat that the burner gives: never less than nothing.

    Picture: fans heat the air too; when they do it alone the burner is off. Use for: bills. Not for: closing the
    balance of the air, which needs `surplus_heat` as well. In print: nowhere. Made from: the larger of the two.
    """
    return np.maximum(gas_power, 0.0)


@derived("surplus_heat = max(-gas_power, 0)", where="a burner cannot cool", holds={"gas_power": (-3e6, 1e7)})
def surplus_heat(gas_power: Num) -> Num:
    """Heat of the fans that the hood air has no use for at the temperature set.

    Picture: burner off, and the air still hotter than set. Use for: a note beside a burner that is off. Not for:
    a credit: nobody buys it. In print: nowhere. Made from: what `burner_heat` leaves out.
    """
    return np.maximum(-np.asarray(gas_power, dtype=float), 0.0)[()]


@derived("heat_per_point = log(heat_high/heat_low)/(100*(dryness_high - dryness_low))", where="definition")
def heat_per_point(heat_low: Num, heat_high: Num, dryness_low: Num, dryness_high: Num) -> Num:
    """Relative change of the dryer's heat per point of dryness into it.

    Picture: what a better press saves at the dryer. Use for: two runs that differ in nothing else; say what holds
    the moisture at the reel. Not for: changes of many points. In print: 3 to 6 % per point. Made from:
    definition, in logarithms so that up and down agree.
    """
    return np.log(heat_high / heat_low) / (100.0 * (dryness_high - dryness_low))
