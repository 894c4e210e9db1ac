"""The short circulation closed round one machine: which share of the water returns, and what the web then holds.

Per unit of web solids; components long fibre and fines. Perfect mixing, rejects and white water of the composition of
their feed, clean showers.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived


def _passes(return_share: Num, loop: tuple[Num, ...]) -> Num:
    """White water over forming water when `return_share` of it is assumed to come back."""
    fines_share, retention_long, retention_fines, consistency, thick_consistency, *rest = loop
    reject_share, dryness, shower_per_web = rest
    k_long = (1 - reject_share) * return_share * (1 - retention_long)
    k_fines = (1 - reject_share) * return_share * (1 - retention_fines)
    web_long = retention_long * (1 - fines_share) / (1 - k_long)
    web_fines = retention_fines * fines_share / (1 - k_fines)
    jet = (web_long / retention_long + web_fines / retention_fines) / (web_long + web_fines)
    forming_flow = jet / consistency + shower_per_web - 1 / dryness
    forming_consistency = (jet - 1) / forming_flow
    fan_flow = jet / consistency / (1 - reject_share)
    white_flow = fan_flow * (thick_consistency - consistency) / (thick_consistency - forming_consistency)
    return white_flow / forming_flow


@derived(
    """
    k_long = (1 - reject_share)*return_share*(1 - retention_long)
    k_fines = (1 - reject_share)*return_share*(1 - retention_fines)
    web_long = retention_long*(1 - fines_share)/(1 - k_long)
    web_fines = retention_fines*fines_share/(1 - k_fines)
    jet = (web_long/retention_long + web_fines/retention_fines)/(web_long + web_fines)
    forming_flow = jet/consistency + shower_per_web - 1/dryness
    forming_consistency = (jet - 1)/forming_flow
    fan_flow = jet/consistency/(1 - reject_share)
    white_flow = fan_flow*(thick_consistency - consistency)/(thick_consistency - forming_consistency)
    0 = return_share - white_flow/forming_flow
    """,
    gives="return_share",
    kind="equation",
    holds={
        "fines_share": (0.0, 0.6),
        "retention_long": (0.3, 1.0),
        "retention_fines": (0.1, 1.0),
        "consistency": (1e-6, 0.02),
        "thick_consistency": (0.021, 0.06),
        "reject_share": (0.0, 0.1),
        "dryness": (0.03, 0.3),
        "shower_per_web": (0.0, 20.0),
    },
)
def return_share_loop(
    fines_share: Num,
    retention_long: Num,
    retention_fines: Num,
    consistency: Num,
    thick_consistency: Num,
    reject_share: Num,
    dryness: Num,
    shower_per_web: Num,
) -> Num:
    """Share of the forming water that goes back to the fan pump, in the steady loop.

    Picture: the fan pump needs so much white water to dilute the thick stock; what is left of it overflows.
    Fixed point in a few passes, since the share hardly moves the jet's composition. Above 1 the wire gives too little
    and the machine needs make-up water. Not for: several loops, or white water thickened on its way.
    """
    loop = (fines_share, retention_long, retention_fines, consistency, thick_consistency, reject_share, dryness,
            shower_per_web)  # fmt: skip
    share: Num = np.ones(np.broadcast_shapes(*(np.shape(a) for a in (consistency, dryness, retention_fines))))[()]
    for _ in range(60):
        new = _passes(share, loop)
        done = (np.abs(new - share) <= 1e-15 * np.abs(new) + 1e-16).all()
        share = new
        if done:
            break
    return share


@derived(
    """
    k_long = (1 - reject_share)*return_share*(1 - retention_long)
    k_fines = (1 - reject_share)*return_share*(1 - retention_fines)
    web_long = retention_long*(1 - fines_share)/(1 - k_long)
    web_fines = retention_fines*fines_share/(1 - k_fines)
    fines_share_web = web_fines/(web_long + web_fines)
    """,
    gives="fines_share",
)
def fines_share_of_web(
    fines_share: Num, retention_long: Num, retention_fines: Num, return_share: Num, reject_share: Num
) -> Num:
    """Share of fines in the web when the fresh furnish holds `fines_share`: close to it, for most comes round."""
    k_long = (1 - reject_share) * return_share * (1 - retention_long)
    k_fines = (1 - reject_share) * return_share * (1 - retention_fines)
    web_long = retention_long * (1 - fines_share) / (1 - k_long)
    web_fines = retention_fines * fines_share / (1 - k_fines)
    return web_fines / (web_long + web_fines)


@derived("retention = 1/((1 - fines_share)/retention_long + fines_share/retention_fines)")
def retention_total_of_web(fines_share: Num, retention_long: Num, retention_fines: Num) -> Num:
    """Total first-pass retention, web solids over jet solids, from the share of fines in the *web*."""
    return 1 / ((1 - fines_share) / retention_long + fines_share / retention_fines)
