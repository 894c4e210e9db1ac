"""How the wet end answers a change: the silo after a step of thick stock or retention, chains and nets of
tanks.

One perfectly mixed silo, everything else without hold-up, retention constant after the change; longer loops
as tanks in series. For the size of averaging times and for teaching, not for control.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived

_SILO = "one perfectly mixed silo, nothing else of note holds stock"


@derived(
    """round_again = (1 - reject_share)*return_share*(1 - retention)
        time_constant = silo_mass/silo_flow/(1 - round_again)""",
    where=_SILO,
)
def silo_time_constant(silo_mass: Num, silo_flow: Num, return_share: Num, retention: Num, reject_share: Num) -> Num:
    """Time constant with which the short circulation settles: the silo's hold-up time, longer by the rounds
    made.

    Picture: what is badly retained has to go round and round, so fines settle later than fibre.
    """
    return silo_mass / silo_flow / (1.0 - (1.0 - reject_share) * return_share * (1.0 - retention))


@derived(
    """round_again = (1 - reject_share)*return_share*(1 - retention)
        jet = (1 - reject_share)*thick_solids/(1 - round_again)
        silo_consistency = (1 - retention)*jet/silo_flow""",
    where=_SILO,
)
def silo_consistency_steady(
    thick_solids: Num, silo_flow: Num, return_share: Num, retention: Num, reject_share: Num
) -> Num:
    """Consistency of the white water in steady running."""
    kept = 1.0 - reject_share
    jet = kept * thick_solids / (1.0 - kept * return_share * (1.0 - retention))
    return (1.0 - retention) * jet / silo_flow


@derived(
    """round_again = (1 - reject_share)*return_share*(1 - retention)
        step_share = 1 - round_again*exp(-elapsed/time_constant)""",
    where=_SILO,
)
def step_share_thick_stock(
    elapsed: Num, time_constant: Num, return_share: Num, retention: Num, reject_share: Num
) -> Num:
    """Share of its final change that the web shows some time after a step of the thick stock.

    Picture: most of the answer comes at once, the rest with the silo.
    """
    return 1.0 - (1.0 - reject_share) * return_share * (1.0 - retention) * np.exp(-elapsed / time_constant)


@derived(
    """round_again = (1 - reject_share)*return_share*(1 - retention)
        elapsed = time_constant*log(max(round_again/remaining_share, 1))""",
    where=_SILO,
)
def step_time_thick_stock(
    remaining_share: Num, time_constant: Num, return_share: Num, retention: Num, reject_share: Num
) -> Num:
    """Time after a step of the thick stock until only this share of the change is still to come."""
    round_again = (1.0 - reject_share) * return_share * (1.0 - retention)
    return time_constant * np.log(np.maximum(round_again / remaining_share, 1.0))


@derived(
    """kept = 1 - reject_share
        jet_before = kept*thick_solids/(1 - kept*return_share*(1 - retention_before))
        jet_after = kept*thick_solids/(1 - kept*return_share*(1 - retention_after))
        before = (1 - retention_before)*jet_before/silo_flow
        after = (1 - retention_after)*jet_after/silo_flow
        time_constant = silo_mass/silo_flow/(1 - kept*return_share*(1 - retention_after))
        silo = after + (before - after)*exp(-elapsed/time_constant)
        web_solids = retention_after*kept*(thick_solids + return_share*silo_flow*silo)""",
    where=_SILO,
)
def web_solids_retention_step(
    elapsed: Num,
    thick_solids: Num,
    retention_before: Num,
    retention_after: Num,
    return_share: Num,
    reject_share: Num,
    silo_mass: Num,
    silo_flow: Num,
) -> Num:
    """Solids of the web some time after the retention changed at once.

    Picture: a fall of retention makes the web light at once; then the white water thickens and it nearly
    recovers. The loop only got dirtier.
    """
    kept = 1.0 - reject_share
    before = silo_consistency_steady(thick_solids, silo_flow, return_share, retention_before, reject_share)
    after = silo_consistency_steady(thick_solids, silo_flow, return_share, retention_after, reject_share)
    time_constant = silo_time_constant(silo_mass, silo_flow, return_share, retention_after, reject_share)
    silo = after + (before - after) * np.exp(-elapsed / time_constant)
    return retention_after * kept * (thick_solids + return_share * silo_flow * silo)


@derived(
    """round_again = (1 - reject_share)*return_share*(1 - retention)
        rounds = (1 - round_again**(passes + 1))/(1 - round_again)
        web_share = retention*(1 - reject_share)*rounds""",
    where="delay in place of mixing, loop empty at the start",
)
def web_share_plug_loop(passes: Num, retention: Num, return_share: Num, reject_share: Num) -> Num:
    """Web solids per thick-stock solids after whole passes round a loop that moves like a plug."""
    round_again = (1.0 - reject_share) * return_share * (1.0 - retention)
    rounds = (1.0 - round_again ** (passes + 1.0)) / (1.0 - round_again)
    return retention * (1.0 - reject_share) * rounds


@derived(
    "step_share = gammainc(tanks, max(elapsed - delay, 0)/tank_time_constant)",
    where="equal mixed tanks in series behind a delay",
)
def step_share_tank_chain(elapsed: Num, tanks: Num, tank_time_constant: Num, delay: Num) -> Num:
    """Share of a step that has come through a pipe and a row of equal mixed tanks.

    Picture: the more tanks for the same hold-up, the more it moves like a plug. Part tanks are allowed.
    """
    from scipy.special import gammainc

    return gammainc(tanks, np.maximum(elapsed - delay, 0.0) / tank_time_constant)


@derived(
    """for each tank i, c = start at time 0:
        tank_mass[i]*dc[i]/dt = sum over j of transfer[i, j]*c[j] - outflow[i]*c[i] + feed[i]""",
    gives="tank_consistency",
    kind="march",
    where="perfectly mixed tanks, matrix exponential",
)
def tank_network_response(tank_mass: Num, transfer: Num, outflow: Num, feed: Num, start: Num, elapsed: Num) -> Num:
    """Consistencies in a network of mixed tanks some times after the start; times first, tanks last.

    `transfer[i, j]` is the flow from tank j into tank i, `outflow[i]` all that leaves tank i, `feed[i]` the
    solids fed to it. Two to five tanks describe a wet end well enough for teaching and for averaging times.
    Made from: that statement rests on a reduction of a wet end of 528 states to a few (HAUGE_LIE_2002).
    """
    from scipy.linalg import expm

    mass = np.asarray(tank_mass, dtype=float)
    size = mass.size
    exchange = np.asarray(transfer, dtype=float) - np.diag(np.asarray(outflow, dtype=float))
    augmented = np.zeros((size + 1, size + 1))
    augmented[:size, :size] = exchange / mass[:, None]
    augmented[:size, size] = np.asarray(feed, dtype=float) / mass
    time = np.asarray(elapsed, dtype=float)
    state = np.append(np.asarray(start, dtype=float), 1.0)
    return (expm(augmented * time[..., None, None]) @ state)[..., :size]
