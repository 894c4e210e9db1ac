"""What goes round the wet end as water, and all its streams from the web upwards.

Part of `circulation`, which gives these formulas their name.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from thinstock.formula.label import Num, derived
from thinstock.relations.pressing import evaporation_per_fibre

LABELLED_IN = "circulation"


@derived(
    """above = thick_consistency - fan_consistency
        white_water_flow = fan_flow*above/(thick_consistency - white_water_consistency)""",
    where="balance of flow and solids at the mixing point",
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


@derived(
    """above = fan_consistency - white_water_consistency
        thick_flow = fan_flow*above/(thick_consistency - white_water_consistency)""",
    where="balance of flow and solids at the mixing point",
)
def thick_flow_dilution(
    fan_flow: Num, fan_consistency: Num, thick_consistency: Num, white_water_consistency: Num
) -> Num:
    """Thick stock that goes with the white water of `white_water_flow_dilution`; the two make the fan pump's
    flow.
    """
    above = fan_consistency - white_water_consistency
    return fan_flow * above / (thick_consistency - white_water_consistency)


@derived("consistency = sum(flow*consistency)/sum(flow)", where="definition")
def consistency_mixed(flow: Num, consistency: Num) -> Num:
    """Consistency of streams run together. Streams on the last axis."""
    amount, strength = np.broadcast_arrays(flow, consistency)
    return np.sum(amount * strength, axis=-1) / np.sum(amount, axis=-1)


@derived("jet_flow = web_solids/(retention*jet_consistency)", where="balance over the wire")
def jet_flow_web(web_solids: Num, retention: Num, jet_consistency: Num) -> Num:
    """Jet flow that lays down a wanted web."""
    return web_solids / (retention * jet_consistency)


@derived("jet_flow_per_width = grammage*wire_speed/(retention*jet_consistency)", where="balance over the wire")
def jet_flow_per_width(grammage: Num, wire_speed: Num, retention: Num, jet_consistency: Num) -> Num:
    """Jet mass flow per metre of width; grammage bone-dry on the wire as formed.

    As a volume per width it is `jet.flow_per_width`.
    """
    return grammage * wire_speed / (retention * jet_consistency)


@derived("web_water = web_solids*(1/dryness - 1)", where="definition")
def web_water(web_solids: Num, dryness: Num) -> Num:
    """Water that goes with the web."""
    return web_solids * (1.0 / dryness - 1.0)


def water_removed(dryness_before: Num, dryness_after: Num) -> Num:
    """Home: `pressing.evaporation_per_fibre`."""
    return evaporation_per_fibre(dryness_before, dryness_after)


@derived("specific_water = water_flow/production", where="definition")
def specific_water(water_flow: Num, production: Num) -> Num:
    """Fresh water (or effluent) per mass of product; in kg/kg, which is m³/t at 1000 kg/m³."""
    return water_flow / production


@derived("dissolved_concentration = dissolved_load/purge_flow", where="steady closed loop")
def dissolved_concentration_purge(dissolved_load: Num, purge_flow: Num) -> Num:
    """Dissolved matter in the water of a closed loop; it leaves with the effluent and the web's water only.

    Picture: a kettle that is topped up gets saltier until what leaves carries all that comes.
    """
    return dissolved_load / purge_flow


# --- a whole wet end


class WetEnd(NamedTuple):
    """Streams of a wet end by name: flow in kg/s, solids in kg/s with components on the last axis."""

    flow: dict[str, Num]
    solids: dict[str, Num]


@derived(
    """formed = web_solids/(1 - press_loss), jet = formed/retention
        jet flow = sum(jet)/jet_consistency, formed flow = sum(formed)/forming_dryness
        pressed flow = sum(web_solids)/press_dryness
        forming water = jet + wire shower - formed web, fan = jet/(1 - reject_share), reject = fan - jet
        white water by white_water_flow_dilution of the total consistencies, composed as the forming water
        thick = fan - white water, overflow = forming water - white water
        press water = formed web + felt shower - pressed web""",
    gives=("flow", "solids"),
    kind="march",
    where="balances from the web upwards, no iteration",
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
    streams: dict[str, tuple[Num, Num]] = {
        "thick": (fan_flow - white_flow, fan - white),
        "white_water": (white_flow, white),
        "fan": (fan_flow, fan),
        "reject": (fan_flow - jet_flow, fan - jet),
        "jet": (jet_flow, jet),
        "wire_shower": (shower, nothing),
        "forming_water": (forming_flow, forming),
        "web_formed": (formed_flow, formed),
        "felt_shower": (felt_shower, nothing),
        "press_water": (formed_flow + felt_shower - pressed_flow, formed - web),
        "web_pressed": (pressed_flow, web),
        "overflow": (forming_flow - white_flow, forming - white),
    }
    return WetEnd(
        flow={name: flow for name, (flow, _) in streams.items()},
        solids={name: solids for name, (_, solids) in streams.items()},
    )
