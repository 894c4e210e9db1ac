"""What goes round the wet end in steady running: fibre and fines, white water and heat.

Steady balances of each component, perfectly mixed tanks, screen rejects and white water of one composition.
Retention is an input here; how it depends on the sheet is in `retention`. No chemistry, no air, no cross
direction.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from thinstock.formula.label import Num, relation
from thinstock.relations.circulation_steps import (
    silo_consistency_steady,
    silo_time_constant,
    step_share_tank_chain,
    step_share_thick_stock,
    step_time_thick_stock,
    tank_network_response,
    web_share_plug_loop,
    web_solids_retention_step,
)
from thinstock.relations.pressing import evaporation_per_fibre
from thinstock.relations.retention import retention_first_pass, retention_first_pass_balance

__all__ = [
    "WetEnd",
    "consistency_mixed",
    "dissolved_concentration_purge",
    "effluent_solids",
    "jet_flow_per_width",
    "jet_flow_web",
    "jet_solids_long_circulation",
    "jet_solids_short_circulation",
    "overflow_solids",
    "reject_solids",
    "retention_dissolved",
    "retention_flows",
    "retention_total",
    "retention_two_consistencies",
    "retention_uncertainty_two_consistencies",
    "silo_consistency_steady",
    "silo_time_constant",
    "specific_water",
    "step_share_tank_chain",
    "step_share_thick_stock",
    "step_time_thick_stock",
    "stock_heat_capacity",
    "system_retention_long_circulation",
    "tank_network_response",
    "temperature_mixed",
    "temperature_rise_power",
    "thick_flow_dilution",
    "thick_solids_for_web",
    "water_removed",
    "web_share_plug_loop",
    "web_solids",
    "web_solids_retention_step",
    "web_water",
    "wet_end_balance",
    "white_water_flow_dilution",
]

_LOOP = "steady balance of one component round the short circulation"
_LONG = "steady balance of one component with a save-all"

# --- retention


def retention_two_consistencies(jet_consistency: Num, tray_consistency: Num) -> Num:
    """Home: `retention.retention_first_pass`."""
    return retention_first_pass(jet_consistency, tray_consistency)


def retention_flows(jet_flow: Num, jet_consistency: Num, tray_flow: Num, tray_consistency: Num) -> Num:
    """Home: `retention.retention_first_pass_balance`."""
    return retention_first_pass_balance(jet_flow, jet_consistency, tray_flow, tray_consistency)


@relation(
    gives="retention_uncertainty",
    formula="""ratio = tray_consistency/jet_consistency
        retention_uncertainty = ratio*sqrt(jet_relative_uncertainty**2 + tray_relative_uncertainty**2)""",
    source="DERIVED",
    where="independent standard uncertainties",
    status="derived",
)
def retention_uncertainty_two_consistencies(
    jet_consistency: Num, tray_consistency: Num, jet_relative_uncertainty: Num, tray_relative_uncertainty: Num
) -> Num:
    """Standard uncertainty of a retention taken from two consistencies.

    Picture: a high retention is well known even from poor samples, a low one is not.
    """
    ratio = tray_consistency / jet_consistency
    return ratio * np.sqrt(jet_relative_uncertainty**2 + tray_relative_uncertainty**2)


@relation(
    gives="retention",
    formula="retention = sum(retention*jet_solids)/sum(jet_solids)",
    source="DERIVED",
    where="definition",
    status="derived",
)
def retention_total(jet_solids: Num, retention: Num) -> Num:
    """Retention of all solids from that of each component; components on the last axis.

    Trap: it moves with the furnish and with the loop itself even when no component's retention does.
    """
    solids, kept = np.broadcast_arrays(jet_solids, retention)
    return np.sum(kept * solids, axis=-1) / np.sum(solids, axis=-1)


@relation(
    gives="retention",
    formula="retention = web_water/(jet_water + shower_water)",
    source="DERIVED",
    where="dissolved matter leaves with the water, showers fully mixed in",
    status="derived",
)
def retention_dissolved(web_water: Num, jet_water: Num, shower_water: Num) -> Num:
    """Share of what is dissolved that stays with the web; the same number holds for heat above shower
    temperature.
    """
    return web_water / (jet_water + shower_water)


# --- solids round the short and the long circulation; each component by itself


@relation(
    gives="jet_solids",
    formula="""round_again = (1 - reject_share)*return_share*(1 - retention)
        jet_solids = (1 - reject_share)*thick_solids/(1 - round_again)""",
    source="DERIVED",
    where=_LOOP,
    status="derived",
)
def jet_solids_short_circulation(thick_solids: Num, retention: Num, return_share: Num, reject_share: Num) -> Num:
    """Solids in the jet when the white water brings back what the wire did not keep.

    Picture: what is half retained goes round until twice as much is on its way as enters.
    """
    kept = 1.0 - reject_share
    return kept * thick_solids / (1.0 - kept * return_share * (1.0 - retention))


@relation(
    gives="thick_solids",
    formula="""round_again = (1 - reject_share)*return_share*(1 - retention)
        thick_solids = web_solids/retention*(1 - round_again)/(1 - reject_share)""",
    source="DERIVED",
    where=_LOOP,
    status="derived",
)
def thick_solids_for_web(web_solids: Num, retention: Num, return_share: Num, reject_share: Num) -> Num:
    """Thick-stock solids that give a wanted web."""
    kept = 1.0 - reject_share
    return web_solids / retention * (1.0 - kept * return_share * (1.0 - retention)) / kept


@relation(
    gives="web_solids",
    formula="web_solids = retention*jet_solids",
    source="DERIVED",
    where="definition",
    status="derived",
)
def web_solids(jet_solids: Num, retention: Num) -> Num:
    """Solids that stay on the wire."""
    return retention * jet_solids


@relation(
    gives="overflow_solids",
    formula="overflow_solids = (1 - return_share)*(1 - retention)*jet_solids",
    source="DERIVED",
    where=_LOOP,
    status="derived",
)
def overflow_solids(jet_solids: Num, retention: Num, return_share: Num) -> Num:
    """Solids that leave the short circulation with the white water that is not used again."""
    return (1.0 - return_share) * (1.0 - retention) * jet_solids


@relation(
    gives="reject_solids",
    formula="reject_solids = reject_share/(1 - reject_share)*jet_solids",
    source="DERIVED",
    where=_LOOP,
    status="derived",
)
def reject_solids(jet_solids: Num, reject_share: Num) -> Num:
    """Solids that the screens reject; what a later stage gives back counts as fresh solids."""
    return reject_share / (1.0 - reject_share) * jet_solids


@relation(
    gives="jet_solids",
    formula="""back = return_share + saveall_recovery*(1 - return_share)
        jet_solids = (1 - reject_share)*fresh_solids/(1 - (1 - reject_share)*(1 - retention)*back)""",
    source="DERIVED",
    where=_LONG,
    status="derived",
)
def jet_solids_long_circulation(
    fresh_solids: Num, retention: Num, return_share: Num, reject_share: Num, saveall_recovery: Num
) -> Num:
    """Solids in the jet when a save-all brings back part of what the short circulation loses."""
    back = return_share + saveall_recovery * (1.0 - return_share)
    return (1.0 - reject_share) * fresh_solids / (1.0 - (1.0 - reject_share) * (1.0 - retention) * back)


@relation(
    gives="effluent_solids",
    formula="effluent_solids = (1 - saveall_recovery)*(1 - return_share)*(1 - retention)*jet_solids",
    source="DERIVED",
    where=_LONG,
    status="derived",
)
def effluent_solids(jet_solids: Num, retention: Num, return_share: Num, saveall_recovery: Num) -> Num:
    """Solids that neither wire nor save-all kept."""
    return (1.0 - saveall_recovery) * (1.0 - return_share) * (1.0 - retention) * jet_solids


@relation(
    gives="system_retention",
    formula="""back = return_share + saveall_recovery*(1 - return_share)
        system_retention = retention*(1 - reject_share)/(1 - (1 - reject_share)*(1 - retention)*back)""",
    source="DERIVED",
    where=_LONG,
    status="derived",
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


# --- water


@relation(
    gives="white_water_flow",
    formula="""above = thick_consistency - fan_consistency
        white_water_flow = fan_flow*above/(thick_consistency - white_water_consistency)""",
    source="DERIVED",
    where="balance of flow and solids at the mixing point",
    status="derived",
)
def white_water_flow_dilution(
    fan_flow: Num, fan_consistency: Num, thick_consistency: Num, white_water_consistency: Num
) -> Num:
    """White water that thins the thick stock to the fan pump's consistency.

    Picture: two taps run into one pail; the strengths say how far each must be open.
    Holds while the white water is thinner and the thick stock thicker than the mixture.
    """
    above = thick_consistency - fan_consistency
    return fan_flow * above / (thick_consistency - white_water_consistency)


@relation(
    gives="thick_flow",
    formula="""above = fan_consistency - white_water_consistency
        thick_flow = fan_flow*above/(thick_consistency - white_water_consistency)""",
    source="DERIVED",
    where="balance of flow and solids at the mixing point",
    status="derived",
)
def thick_flow_dilution(
    fan_flow: Num, fan_consistency: Num, thick_consistency: Num, white_water_consistency: Num
) -> Num:
    """Thick stock that goes with the white water of `white_water_flow_dilution`; the two make the fan pump's
    flow.
    """
    above = fan_consistency - white_water_consistency
    return fan_flow * above / (thick_consistency - white_water_consistency)


@relation(
    gives="consistency",
    formula="consistency = sum(flow*consistency)/sum(flow)",
    source="DERIVED",
    where="definition",
    status="derived",
)
def consistency_mixed(flow: Num, consistency: Num) -> Num:
    """Consistency of streams run together; streams on the last axis."""
    amount, strength = np.broadcast_arrays(flow, consistency)
    return np.sum(amount * strength, axis=-1) / np.sum(amount, axis=-1)


@relation(
    gives="jet_flow",
    formula="jet_flow = web_solids/(retention*jet_consistency)",
    source="DERIVED",
    where="balance over the wire",
    status="derived",
)
def jet_flow_web(web_solids: Num, retention: Num, jet_consistency: Num) -> Num:
    """Jet flow that lays down a wanted web."""
    return web_solids / (retention * jet_consistency)


@relation(
    gives="jet_flow_per_width",
    formula="jet_flow_per_width = grammage*wire_speed/(retention*jet_consistency)",
    source="DERIVED",
    where="balance over the wire",
    status="derived",
)
def jet_flow_per_width(grammage: Num, wire_speed: Num, retention: Num, jet_consistency: Num) -> Num:
    """Jet mass flow per metre of width; grammage bone-dry on the wire as formed.

    As a volume per width it is `jet.flow_per_width`.
    """
    return grammage * wire_speed / (retention * jet_consistency)


@relation(
    gives="web_water",
    formula="web_water = web_solids*(1/dryness - 1)",
    source="DERIVED",
    where="definition",
    status="derived",
)
def web_water(web_solids: Num, dryness: Num) -> Num:
    """Water that goes with the web."""
    return web_solids * (1.0 / dryness - 1.0)


def water_removed(dryness_before: Num, dryness_after: Num) -> Num:
    """Home: `pressing.evaporation_per_fibre`."""
    return evaporation_per_fibre(dryness_before, dryness_after)


@relation(
    gives="specific_water",
    formula="specific_water = water_flow/production",
    source="DERIVED",
    where="definition",
    status="derived",
)
def specific_water(water_flow: Num, production: Num) -> Num:
    """Fresh water (or effluent) per mass of product; in kg/kg, which is m³/t at 1000 kg/m³."""
    return water_flow / production


@relation(
    gives="dissolved_concentration",
    formula="dissolved_concentration = dissolved_load/purge_flow",
    source="DERIVED",
    where="steady closed loop",
    status="derived",
)
def dissolved_concentration_purge(dissolved_load: Num, purge_flow: Num) -> Num:
    """Dissolved matter in the water of a closed loop; it leaves with the effluent and the web's water only.

    Picture: a kettle that is topped up gets saltier until what leaves carries all that comes.
    """
    return dissolved_load / purge_flow


# --- heat


@relation(
    gives="heat_capacity",
    formula="heat_capacity = consistency*fibre_heat_capacity + (1 - consistency)*water_heat_capacity",
    source="DERIVED",
    where="by mass",
    status="derived",
)
def stock_heat_capacity(consistency: Num, fibre_heat_capacity: Num, water_heat_capacity: Num) -> Num:
    """Heat capacity of stock."""
    return consistency * fibre_heat_capacity + (1.0 - consistency) * water_heat_capacity


@relation(
    gives="temperature_rise",
    formula="temperature_rise = power/(flow*heat_capacity)",
    source="DERIVED",
    where="heat balance",
    status="derived",
)
def temperature_rise_power(power: Num, flow: Num, heat_capacity: Num) -> Num:
    """Warming of a stream by shaft power that ends as heat in it.

    Trap: per pass divide by the flow that circulates, for the loop by the fresh flow; the two differ by the
    number of rounds.
    """
    return power / (flow * heat_capacity)


@relation(
    gives="temperature",
    formula="""heat = sum(flow*heat_capacity*temperature) + power - heat_loss
        temperature = heat/sum(flow*heat_capacity)""",
    source="DERIVED",
    where="heat balance",
    status="derived",
)
def temperature_mixed(flow: Num, heat_capacity: Num, temperature: Num, power: Num, heat_loss: Num) -> Num:
    """Temperature of streams run together with power put in and heat lost; streams on the last axis.

    Use for: a mixing point, or a whole loop whose water all leaves at the loop's temperature.
    """
    carried, warmth = np.broadcast_arrays(np.multiply(flow, heat_capacity), temperature)
    return (np.sum(carried * warmth, axis=-1) + power - heat_loss) / np.sum(carried, axis=-1)


# --- a whole wet end


class WetEnd(NamedTuple):
    """Streams of a wet end by name: flow in kg/s, solids in kg/s with components on the last axis."""

    flow: dict[str, Num]
    solids: dict[str, Num]


@relation(
    gives=("flow", "solids"),
    kind="march",
    formula="""formed = web_solids/(1 - press_loss), jet = formed/retention
        jet flow = sum(jet)/jet_consistency, formed flow = sum(formed)/forming_dryness
        pressed flow = sum(web_solids)/press_dryness
        forming water = jet + wire shower - formed web, fan = jet/(1 - reject_share), reject = fan - jet
        white water by white_water_flow_dilution of the total consistencies, composed as the forming water
        thick = fan - white water, overflow = forming water - white water
        press water = formed web + felt shower - pressed web""",
    source="DERIVED",
    where="balances from the web upwards, no iteration",
    status="derived",
)
def wet_end_balance(
    web_solids: Num,
    retention: Num,
    press_loss: Num,
    jet_consistency: Num,
    thick_consistency: Num,
    forming_dryness: Num,
    press_dryness: Num,
    wire_shower_flow: Num,
    felt_shower_flow: Num,
    reject_share: Num,
) -> WetEnd:
    """All streams of a wet end from the pressed web upwards, each component by itself.

    Picture: start from the paper that is made and ask of each part what must have come in.
    `web_solids`, `retention` and `press_loss` carry components on the last axis; the rest one value per case.
    Shower water is clean. A negative overflow says that the machine needs make-up water.
    """
    web = np.asarray(web_solids, dtype=float)
    formed = web / np.subtract(1.0, press_loss)
    jet = np.divide(formed, retention)
    jet_flow = np.sum(jet, axis=-1) / jet_consistency
    formed_flow = np.sum(formed, axis=-1) / forming_dryness
    pressed_flow = np.sum(web, axis=-1) / press_dryness
    forming_flow = jet_flow + wire_shower_flow - formed_flow
    forming = jet - formed
    fan_flow = jet_flow / (1.0 - reject_share)
    fan = jet / (1.0 - np.asarray(reject_share)[..., None])
    composition = forming / forming_flow[..., None]
    white_flow = white_water_flow_dilution(
        fan_flow, np.sum(fan, axis=-1) / fan_flow, thick_consistency, np.sum(composition, axis=-1)
    )
    white = white_flow[..., None] * composition
    nothing = np.zeros_like(jet)
    shower = np.broadcast_to(wire_shower_flow, jet_flow.shape)[()]
    felt_shower = np.broadcast_to(felt_shower_flow, jet_flow.shape)[()]
    return WetEnd(
        flow={
            "thick": fan_flow - white_flow,
            "white_water": white_flow,
            "fan": fan_flow,
            "reject": fan_flow - jet_flow,
            "jet": jet_flow,
            "wire_shower": shower,
            "forming_water": forming_flow,
            "web_formed": formed_flow,
            "felt_shower": felt_shower,
            "press_water": formed_flow + felt_shower - pressed_flow,
            "web_pressed": pressed_flow,
            "overflow": forming_flow - white_flow,
        },
        solids={
            "thick": fan - white,
            "white_water": white,
            "fan": fan,
            "reject": fan - jet,
            "jet": jet,
            "wire_shower": nothing,
            "forming_water": forming,
            "web_formed": formed,
            "felt_shower": nothing,
            "press_water": formed - web,
            "web_pressed": web,
            "overflow": forming - white,
        },
    )
