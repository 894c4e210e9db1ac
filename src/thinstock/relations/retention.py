"""How much of the fibre stays on the wire: first-pass retention by definition, by balance and for fines.

A mat that stops more fines the more of it there is; colloid chemistry, retention aids and the machine's
shear are not modelled. Retention falls with drainage speed and with the jet's rush or drag: measure it.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived, relation

_HALVINGS = 80


@relation(
    "retention = 1 - white_water_consistency/consistency",
    source="COMMON_PRACTICE",
    where="two consistencies",
    status="common practice",
)
def retention_first_pass(consistency: Num, white_water_consistency: Num) -> Num:
    """First-pass retention as crews take it, from headbox and tray consistency.

    Picture: what the tray does not show stayed on the wire. Use for: following one machine from day to day.
    Not for: balances; it is true only if all headbox water goes to that white water.
    """
    return 1.0 - white_water_consistency / consistency


@derived(
    """
    lost = white_water_flow_per_width*white_water_consistency
    retention = 1 - lost/(flow_per_width*consistency)
    """,
    where="fibre balance over the wire",
)
def retention_first_pass_balance(
    flow_per_width: Num, consistency: Num, white_water_flow_per_width: Num, white_water_consistency: Num
) -> Num:
    """First-pass retention from flows and consistencies.

    Picture: fibre in minus fibre with the white water. Use for: all balances. Not for: several trays with
    different consistency (add their losses first).
    """
    lost = white_water_flow_per_width * white_water_consistency
    return 1.0 - lost / (flow_per_width * consistency)


@derived(
    """
    depth = grammage/passing_grammage
    retention_fines = 1 + expm1(-depth)/depth
    """,
    where="own model: a layer that arrives at mat w passes with probability exp(-w/passing_grammage)",
)
def retention_fines_layered(grammage: Num, passing_grammage: Num) -> Num:
    """Share of the fines that a growing mat keeps.

    Picture: the first grams of mat let fines through, later ones filter them. Use for: why light sheets
    lose more fines. Not for: fines fixed to fibres by retention aids. Two open sides: half the grammage
    on each.
    """
    depth = grammage / passing_grammage
    return 1.0 + np.expm1(-depth) / depth


@derived("retention_fines = -expm1(-deposited/passing_grammage)", where="own model")
def retention_fines_at(deposited: Num, passing_grammage: Num) -> Num:
    """Share of the fines kept by the mat that is there just then.

    Picture: nothing at the bare wire, 63 % at one passing grammage. Use for: fines through the thickness
    of the sheet. Not for: the whole sheet's retention (use its mean).
    """
    return -np.expm1(-deposited / passing_grammage)


@derived("retention = (1 - fines_share)*retention_long + fines_share*retention_fines", where="mean of two fractions")
def retention_blend(fines_share: Num, retention_long: Num, retention_fines: Num) -> Num:
    """First-pass retention of a stock of long fibre and fines.

    Picture: a mean weighted by mass. Use for: total retention from its parts. Not for: fines share of the
    headbox when only the thick stock's share is known (fines build up in the loop).
    """
    return (1.0 - fines_share) * retention_long + fines_share * retention_fines


@derived(
    "0 = retention_fines_layered(grammage, passing_grammage) - retention_fines",
    gives="passing_grammage",
    kind="equation",
    where="inverse of the layered model",
)
def passing_grammage_from_retention(retention_fines: Num, grammage: Num) -> Num:
    """Passing grammage that explains a measured retention of fines.

    Picture: the layered model read backwards. Use for: calibration to one machine. Not for: retention 0
    or 1, which no finite passing grammage gives. Made from: bisection in the logarithm.
    """
    wanted, sheet = np.broadcast_arrays(np.asarray(retention_fines, float), np.asarray(grammage, float))
    low, high = np.full(wanted.shape, np.log(1e-12)), np.full(wanted.shape, np.log(1e12))
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        depth = np.exp(-middle)
        kept = 1.0 + np.expm1(-depth) / depth
        low, high = np.where(kept > wanted, middle, low), np.where(kept > wanted, high, middle)
    return (sheet * np.exp(0.5 * (low + high)))[()]


@derived(
    "white_water_consistency = consistency*(1 - retention)*stock_depth/drained", where="fibre balance over the filtrate"
)
def white_water_consistency(consistency: Num, retention: Num, drained: Num, stock_depth: Num) -> Num:
    """Consistency of the drained water.

    Picture: all lost fibre in all drained water. Use for: tray consistency expected from a retention. Not
    for: one element's water, early ones being richer.
    """
    return consistency * (1.0 - retention) * stock_depth / drained
