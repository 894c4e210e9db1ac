"""Whose the dryer's heat is: by cause the hood also heats the vapour that the Yankee made, up to the air that leaves.

The meters say what steam and gas bring; both views add up to the same sum. The efficiency counts what the dryer's own
meters see: no boiler, no idle time.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from thinstock.formula.traced import convention
from thinstock.relations import dryer_energy, humid_air, steam
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.dryer import Dried


def heats(done: Dried) -> Mapping[str, Num]:
    """Heat by cause per water that each took out, and the efficiency at the meters."""
    d, water = done.dried, done.evaporation
    leaves = humid_air.enthalpy_steam(d.return_temperature)
    superheat = dryer_energy.superheat_of_vapour(water, d.vapour_enthalpy_flow, leaves)
    share, fuel = d.contact_heat / (d.contact_heat + d.sheet_heat), dryer_energy.burner_heat(d.gas_power)
    yankee = dryer_energy.yankee_heat_by_cause(done.steam_heat, superheat, share)
    hood = dryer_energy.hood_heat_by_cause(fuel, superheat, share)
    boiling = steam.latent_heat_fit(convention(373.15, "boiling water"))
    return {
        "yankee_energy_per_water": dryer_energy.energy_per_water(yankee, water, share),
        "hood_energy_per_water": dryer_energy.energy_per_water(hood, water, 1.0 - share),
        "drying_efficiency": dryer_energy.drying_efficiency(water, boiling, done.steam_heat + fuel),
    }
