"""What goes round the wet end in steady running: fibre and fines, white water and heat.

Steady balances of each component, perfectly mixed tanks, screen rejects and white water of one composition.
Retention is an input here; how it depends on the sheet is in `retention`. No chemistry, no air, no cross
direction.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from thinstock.formula.label import Num, derived
from thinstock.late import brought_in
from thinstock.relations.circulation_water import WetEnd as WetEnd
from thinstock.relations.circulation_water import consistency_mixed as consistency_mixed
from thinstock.relations.circulation_water import dissolved_concentration_purge as dissolved_concentration_purge
from thinstock.relations.circulation_water import jet_flow_per_width as jet_flow_per_width
from thinstock.relations.circulation_water import jet_flow_web as jet_flow_web
from thinstock.relations.circulation_water import specific_water as specific_water
from thinstock.relations.circulation_water import thick_flow_dilution as thick_flow_dilution
from thinstock.relations.circulation_water import water_removed as water_removed
from thinstock.relations.circulation_water import web_water as web_water
from thinstock.relations.circulation_water import wet_end_balance as wet_end_balance
from thinstock.relations.circulation_water import white_water_flow_dilution as white_water_flow_dilution
from thinstock.relations.retention import retention_first_pass, retention_first_pass_balance

if TYPE_CHECKING:
    from thinstock.relations.circulation_steps import silo_consistency_steady as silo_consistency_steady
    from thinstock.relations.circulation_steps import silo_time_constant as silo_time_constant
    from thinstock.relations.circulation_steps import step_share_tank_chain as step_share_tank_chain
    from thinstock.relations.circulation_steps import step_share_thick_stock as step_share_thick_stock
    from thinstock.relations.circulation_steps import step_time_thick_stock as step_time_thick_stock
    from thinstock.relations.circulation_steps import tank_network_response as tank_network_response
    from thinstock.relations.circulation_steps import web_share_plug_loop as web_share_plug_loop
    from thinstock.relations.circulation_steps import web_solids_retention_step as web_solids_retention_step

_LATER = dict.fromkeys(
    (
        "silo_consistency_steady",
        "silo_time_constant",
        "step_share_tank_chain",
        "step_share_thick_stock",
        "step_time_thick_stock",
        "tank_network_response",
        "web_share_plug_loop",
        "web_solids_retention_step",
    ),
    "circulation_steps",
)
"""Names of `circulation_steps`, which no run needs: brought in when the first is asked for."""


def __getattr__(name: str) -> Any:
    return brought_in(__name__, _LATER, name)


_LOOP = "steady balance of one component round the short circulation"
_LONG = "steady balance of one component with a save-all"

# --- retention


def retention_two_consistencies(jet_consistency: Num, tray_consistency: Num) -> Num:
    """Home: `retention.retention_first_pass`."""
    return retention_first_pass(jet_consistency, tray_consistency)


def retention_flows(jet_flow: Num, jet_consistency: Num, tray_flow: Num, tray_consistency: Num) -> Num:
    """Home: `retention.retention_first_pass_balance`."""
    return retention_first_pass_balance(jet_flow, jet_consistency, tray_flow, tray_consistency)


@derived(
    """ratio = tray_consistency/jet_consistency
        retention_uncertainty = ratio*sqrt(jet_relative_uncertainty**2 + tray_relative_uncertainty**2)""",
    where="independent standard uncertainties",
)
def retention_uncertainty_two_consistencies(
    jet_consistency: Num, tray_consistency: Num, jet_relative_uncertainty: Num, tray_relative_uncertainty: Num
) -> Num:
    """Standard uncertainty of a retention taken from two consistencies.

    Picture: a high retention is well known even from poor samples, a low one is not.
    """
    ratio = tray_consistency / jet_consistency
    return ratio * np.sqrt(jet_relative_uncertainty**2 + tray_relative_uncertainty**2)


@derived("retention = sum(retention*jet_solids)/sum(jet_solids)", where="definition")
def retention_total(jet_solids: Num, retention: Num) -> Num:
    """Retention of all solids from that of each component. Components on the last axis.

    Trap: it moves with the furnish and with the loop itself even when no component's retention does.
    """
    solids, kept = np.broadcast_arrays(jet_solids, retention)
    return np.sum(kept * solids, axis=-1) / np.sum(solids, axis=-1)


@derived(
    "retention = web_water/(jet_water + shower_water)",
    where="dissolved matter leaves with the water, showers fully mixed in",
)
def retention_dissolved(web_water: Num, jet_water: Num, shower_water: Num) -> Num:
    """Share of what is dissolved that stays with the web; the same number holds for heat above shower
    temperature.
    """
    return web_water / (jet_water + shower_water)


# --- solids round the short and the long circulation; each component by itself


@derived(
    """round_again = (1 - reject_share)*return_share*(1 - retention)
        jet_solids = (1 - reject_share)*thick_solids/(1 - round_again)""",
    where=_LOOP,
)
def jet_solids_short_circulation(thick_solids: Num, retention: Num, return_share: Num, reject_share: Num) -> Num:
    """Solids in the jet when the white water brings back what the wire did not keep.

    Picture: what is half retained goes round until twice as much is on its way as enters.
    """
    kept = 1.0 - reject_share
    return kept * thick_solids / (1.0 - kept * return_share * (1.0 - retention))


@derived(
    """round_again = (1 - reject_share)*return_share*(1 - retention)
        thick_solids = web_solids/retention*(1 - round_again)/(1 - reject_share)""",
    where=_LOOP,
)
def thick_solids_for_web(web_solids: Num, retention: Num, return_share: Num, reject_share: Num) -> Num:
    """Thick-stock solids that give a wanted web."""
    kept = 1.0 - reject_share
    return web_solids / retention * (1.0 - kept * return_share * (1.0 - retention)) / kept


@derived("web_solids = retention*jet_solids", where="definition")
def web_solids(jet_solids: Num, retention: Num) -> Num:
    """Solids that stay on the wire."""
    return retention * jet_solids


@derived("overflow_solids = (1 - return_share)*(1 - retention)*jet_solids", where=_LOOP)
def overflow_solids(jet_solids: Num, retention: Num, return_share: Num) -> Num:
    """Solids that leave the short circulation with the white water that is not used again."""
    return (1.0 - return_share) * (1.0 - retention) * jet_solids


@derived("reject_solids = reject_share/(1 - reject_share)*jet_solids", where=_LOOP)
def reject_solids(jet_solids: Num, reject_share: Num) -> Num:
    """Solids that the screens reject; what a later stage gives back counts as fresh solids."""
    return reject_share / (1.0 - reject_share) * jet_solids


@derived(
    """back = return_share + saveall_recovery*(1 - return_share)
        jet_solids = (1 - reject_share)*fresh_solids/(1 - (1 - reject_share)*(1 - retention)*back)""",
    where=_LONG,
)
def jet_solids_long_circulation(
    fresh_solids: Num, retention: Num, return_share: Num, reject_share: Num, saveall_recovery: Num
) -> Num:
    """Solids in the jet when a save-all brings back part of what the short circulation loses."""
    back = return_share + saveall_recovery * (1.0 - return_share)
    return (1.0 - reject_share) * fresh_solids / (1.0 - (1.0 - reject_share) * (1.0 - retention) * back)


@derived("effluent_solids = (1 - saveall_recovery)*(1 - return_share)*(1 - retention)*jet_solids", where=_LONG)
def effluent_solids(jet_solids: Num, retention: Num, return_share: Num, saveall_recovery: Num) -> Num:
    """Solids that neither wire nor save-all kept."""
    return (1.0 - saveall_recovery) * (1.0 - return_share) * (1.0 - retention) * jet_solids


@derived(
    """back = return_share + saveall_recovery*(1 - return_share)
        system_retention = retention*(1 - reject_share)/(1 - (1 - reject_share)*(1 - retention)*back)""",
    where=_LONG,
)
def system_retention_long_circulation(
    retention: Num, return_share: Num, reject_share: Num, saveall_recovery: Num
) -> Num:
    """Share of the fresh solids that ends in the web.

    Picture: the white water gives every fibre another chance; a better retention cleans the loop, it hardly
    saves fibre.
    """
    back = return_share + saveall_recovery * (1.0 - return_share)
    return retention * (1.0 - reject_share) / (1.0 - (1.0 - reject_share) * (1.0 - retention) * back)


# --- heat


@derived("heat_capacity = consistency*fibre_heat_capacity + (1 - consistency)*water_heat_capacity", where="by mass")
def stock_heat_capacity(consistency: Num, fibre_heat_capacity: Num, water_heat_capacity: Num) -> Num:
    """Heat capacity of stock."""
    return consistency * fibre_heat_capacity + (1.0 - consistency) * water_heat_capacity


@derived("temperature_rise = power/(flow*heat_capacity)", where="heat balance")
def temperature_rise_power(power: Num, flow: Num, heat_capacity: Num) -> Num:
    """Warming of a stream by shaft power that ends as heat in it.

    Trap: per pass divide by the flow that circulates, for the loop by the fresh flow; the two differ by the
    number of rounds.
    """
    return power / (flow * heat_capacity)


@derived(
    """heat = sum(flow*heat_capacity*temperature) + power - heat_loss
        temperature = heat/sum(flow*heat_capacity)""",
    where="heat balance",
)
def temperature_mixed(flow: Num, heat_capacity: Num, temperature: Num, power: Num, heat_loss: Num) -> Num:
    """Temperature of streams run together with power put in and heat lost. Streams on the last axis.

    Use for: a mixing point, or a whole loop whose water all leaves at the loop's temperature.
    """
    carried, warmth = np.broadcast_arrays(np.multiply(flow, heat_capacity), temperature)
    return (np.sum(carried * warmth, axis=-1) + power - heat_loss) / np.sum(carried, axis=-1)
