"""The algebra of a circuit: shares of what leaves each node, the loads they make, and the split of a save-all.

Part of `circuits`, which gives these formulas their name.
"""

from __future__ import annotations

import numpy as np

from thinstock.formula.label import Num, derived

LABELLED_IN = "circuits"


@derived(
    """hazier = cloudy_ratio*cloudy_share
        to_cloudy = hazier/(hazier + 1 - cloudy_share)
        recovered = recovery*solids
        cloudy = (1 - recovery)*solids*to_cloudy
        clear = (1 - recovery)*solids*(1 - to_cloudy)""",
    gives=("recovered", "cloudy", "clear"),
    where="one ratio of consistencies for every component",
    holds={"solids": (1e-4, 1e-2)},
)
def saveall_split(solids: Num, recovery: Num, cloudy_share: Num, cloudy_ratio: Num) -> tuple[Num, Num, Num]:
    """Solids that a save-all gives back, and those in its cloudy and clear filtrate.

    Picture: a mat that catches most; what slips through is thicker before the mat has formed. `cloudy_share` is the
    cloudy share of the filtrate's flow. Use for: a disc filter or flotation with its recovery known. Not for:
    sweetener stock, which goes in and out again. In print: nowhere. Made from: recovery and one ratio.
    """
    hazier = np.multiply(cloudy_ratio, cloudy_share)
    to_cloudy = hazier / (hazier + 1.0 - np.asarray(cloudy_share))
    lost = (1.0 - np.asarray(recovery)) * solids
    return recovery * np.asarray(solids), lost * to_cloudy, lost * (1.0 - to_cloudy)


@derived("share[i, j] = transfer[i, j]/outflow[j]", gives="share", kind="march", where="definition")
def transfer_shares(transfer: Num, outflow: Num) -> Num:
    """Share of what leaves node j that goes to node i; nodes on the last two axes.

    Picture: how a node divides what it has. Use for: flows turned into a circuit. Not for: a node nothing leaves.
    In print: definition. Made from: flows over all that leaves.
    """
    return np.asarray(transfer, dtype=float) / np.asarray(outflow, dtype=float)[..., None, :]


@derived("0 = (1 - share)*loads - feed", gives="loads", kind="march", where="steady circuit, exact")
def circuit_loads(share: Num, feed: Num) -> Num:
    """Load through each node of a steady circuit; nodes on the last axis, components and cases before.

    Picture: what comes round again is added to what is fed until both agree. Use for: fibre, fines, ash, dissolved
    matter, heat, one at a time. Not for: splits that hang on the load itself. In print: linear balances. Made from:
    load = feed + what other nodes pass on.
    """
    a = np.asarray(share, dtype=float)
    loads: Num = np.linalg.solve(np.eye(a.shape[-1]) - a, np.asarray(feed, dtype=float)[..., None])[..., 0]
    return loads


@derived("leaving[j] = loads[j]*(1 - sum over i of share[i, j])", gives="leaving", kind="march", where="definition")
def circuit_leaving(share: Num, loads: Num) -> Num:
    """What leaves each node to the outside; adds up to all that is fed.

    Picture: the leaks of the circuit. Use for: losses by place. Not for: several ways out of one node. In print:
    balance. Made from: what no other node gets.
    """
    return np.asarray(loads, dtype=float) * (1.0 - np.sum(np.asarray(share, dtype=float), axis=-2))


@derived(
    "fresh_solids = web_solids/sum(fresh_shares*system_retention)",
    where="system retention of each component from the circuit",
    holds={"fresh_shares": (0.1, 1.0)},
)
def fresh_solids_for_web(web_solids: Num, fresh_shares: Num, system_retention: Num) -> Num:
    """Fresh furnish that gives a wanted web. Components on the last axis.

    Picture: what is lost on the way must be bought too. `web_solids` is that of all components together. Use for:
    fibre loss. Not for: a furnish that changes on the way. In print: balance. Made from: each component's share that
    reaches the dryer.
    """
    return np.asarray(web_solids) / np.sum(np.multiply(fresh_shares, system_retention), axis=-1)


@derived(
    "web_shares = fresh_shares*system_retention/sum(fresh_shares*system_retention)",
    where="system retention of each component from the circuit",
    holds={"fresh_shares": (0.1, 1.0)},
)
def web_shares(fresh_shares: Num, system_retention: Num) -> Num:
    """Shares of the components in the web. Components on the last axis.

    Picture: what is kept better is richer in the paper. Use for: fines and ash of the sheet. Not for: layers. In
    print: balance. Made from: shares fed times shares kept.
    """
    kept = np.multiply(fresh_shares, system_retention)
    return kept / np.sum(kept, axis=-1, keepdims=True)
