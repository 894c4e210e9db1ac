"""Whose the dryer's heat is: by cause the hood also heats the vapour that the Yankee made, up to the air that leaves.

The meters say what steam and gas bring; both views add up to the same sum. An efficiency is told at the dryer's own
meters and at the fuel; idle time comes with the reel.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from thinstock.formula.traced import convention
from thinstock.relations import dryer_energy, humid_air, steam
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.dryer import Dried


def heats(done: Dried) -> Mapping[str, Num]:
    """Heat by cause per water that each took out, the fuel, and the efficiency at the meters and at the fuel."""
    d, water = done.dried, done.evaporation
    leaves = humid_air.enthalpy_steam(d.return_temperature)
    superheat = dryer_energy.superheat_of_vapour(water, d.vapour_enthalpy_flow, leaves)
    share, fuel = d.contact_heat / (d.contact_heat + d.sheet_heat), dryer_energy.burner_heat(d.gas_power)
    yankee = dryer_energy.yankee_heat_by_cause(done.steam_heat, superheat, share)
    hood = dryer_energy.hood_heat_by_cause(fuel, superheat, share)
    yard, gas_fired = done.part.yankee, done.part.hood.heating == "gas"
    steamed, gas = (
        (done.steam_heat, fuel)
        if gas_fired
        else (done.steam_heat + fuel, convention(0.0, phrase("machine.dryer.no_burner")))
    )
    at_fuel = dryer_energy.fuel_heat(steamed, yard.boiler_efficiency, yard.distribution_efficiency, gas)
    boiling = steam.latent_heat_fit(convention(373.15, "boiling water"))
    return {
        "yankee_energy_per_water": dryer_energy.energy_per_water(yankee, water, share),
        "hood_energy_per_water": dryer_energy.energy_per_water(hood, water, 1.0 - share),
        "drying_efficiency": dryer_energy.drying_efficiency(water, boiling, done.steam_heat + fuel),
        "fuel_heat": at_fuel,
        "drying_efficiency_fuel": dryer_energy.drying_efficiency(water, boiling, at_fuel),
    }
