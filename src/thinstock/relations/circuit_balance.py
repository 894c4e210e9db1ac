"""The water circuits of a tissue machine closed: composition by one solve a component, until the web stands.

Part of `circuits`, which gives these formulas their name.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from thinstock.formula.label import Array, Num, derived
from thinstock.relations.circuit_faults import refuse_flows, refuse_given
from thinstock.relations.circuit_flows import (
    AT,
    NODES,
    OUTSIDE,
    PLACES,
    Circuit,
    CircuitStream,
    Flows,
    Round,
    TissueCircuit,
    added,
    at_least_nothing,
    flows_of,
    lift,
    settled,
    shower_parts,
)
from thinstock.relations.circuit_loads import circuit_loads, fresh_solids_for_web, saveall_split
from thinstock.relations.circuit_loads import web_shares as shares_of_web

LABELLED_IN = "circuits"

ROUNDS, SETTLED = 60, 1e-14
NAMES = {"silo": "wire_shower", "felt": "felt_shower", "pit": "pit_shower"}
FROM = {"clear": "clear", "cloudy": "cloudy", "white": "pit"}
"""Nodes that the waters of showers come from; fresh water comes from outside."""


def runs(flow: Num) -> bool:
    """Whether anything flows, in any case."""
    return flow != 0.0 if isinstance(flow, float) else bool(np.any(flow))


def over(part: Num, whole: Num) -> Num:
    """A share of a flow; of none, none."""
    if isinstance(whole, float):
        return part / whole if whole else 0.0 * part
    whole = np.asarray(whole, dtype=float)
    none = whole == 0.0
    share: Num = np.where(none, 0.0, part / np.where(none, 1.0, whole))
    return share


def _mixed(given: TissueCircuit, f: Flows) -> Iterator[tuple[str, str, str, Num, Num]]:
    """Streams out of mixed nodes: name, from, to, flow, and all that leaves the node."""
    reject = f.fan - f.jet_flow
    yield "thick", "chest", "mixing", f.thick, f.thick
    yield "fan", "mixing", "screens", f.fan, f.fan
    yield "jet", "screens", "forming", f.jet_flow, f.fan
    yield "reject_back", "screens", "chest", reject * given.reject_recovered, f.fan
    yield "reject", "screens", OUTSIDE, reject * (1.0 - given.reject_recovered), f.fan
    yield "white_water", "silo", "mixing", f.white, f.silo
    yield "overflow", "silo", "pit", at_least_nothing(f.overflow), f.silo
    yield "felt_water", "felt", "pit", f.felt * given.felt_recovered, f.felt
    yield "felt_drain", "felt", OUTSIDE, f.felt * (1.0 - given.felt_recovered), f.felt
    yield "pit_make_up", "pit", "silo", at_least_nothing(-f.overflow), f.pit
    yield "broke_dilution", "pit", "broke", f.broke_draw, f.pit
    yield ("saveall_feed", "pit", "saveall", f.rest, f.pit) if given.saveall else (
        "effluent", "pit", OUTSIDE, f.rest, f.pit
    )  # fmt: skip
    whole = {"clear": f.clear, "cloudy": f.cloudy, "white": f.pit}
    for place, parts in shower_parts(given).items():
        for water, node in FROM.items():
            yield f"{NAMES[place]}_{water}", node, place, parts[water], whole[water]
    for water, node in FROM.items():
        yield f"dilution_{water}", node, "chest", f.dilution[water], whole[water]
    if given.saveall:
        yield "effluent", "clear", OUTSIDE, f.effluent, f.clear
    broke = f.dry_broke + f.broke_draw
    yield "broke", "broke", "chest", broke, broke


def _split(given: TissueCircuit, f: Flows, feed: Array) -> dict[tuple[str, str], tuple[Num, Num]]:
    """Shares of solids (a component) and of water out of former, press, save-all and dryer: (from, to)."""
    kept, lost = given.retention, given.press_loss
    web = added(f.formed * (1.0 - lost))
    formed, vacuum, nip = added(f.formed), f.formed_flow - f.vacuumed, f.vacuumed - f.pressed
    water_in = f.jet_flow - added(f.jet)
    into_press = f.formed_flow - formed
    drained, nipped, left = water_in - into_press, nip - (formed - web), f.pressed - web
    split: dict[tuple[str, str], tuple[Num, Num]] = {
        ("forming", "press"): (kept, over(into_press, water_in)),
        ("forming", "silo"): (1.0 - kept, over(drained, water_in)),
        ("press", "pit"): (0.0 * lost, over(vacuum * given.vacuum_recovered, into_press)),
        ("press", OUTSIDE): (0.0 * lost, over(vacuum * (1.0 - given.vacuum_recovered), into_press)),
        ("press", "felt"): (lost, over(nipped, into_press)),
        ("press", "dryer"): (1.0 - lost, over(left, into_press)),
        ("dryer", "broke"): (lift(given.broke_share), given.broke_share),
    }
    if given.saveall:
        cloudy_share = over(f.cloudy, f.cloudy + f.clear)
        recovered, cloudy, clear = saveall_split(feed, given.recovery, lift(cloudy_share), lift(given.cloudy_ratio))
        parts = zip((f.recovered, f.cloudy, f.clear), (recovered, cloudy, clear), strict=True)
        waters = [flow - added(one) for flow, one in parts]
        water = sum(waters)
        for node, one, flow in zip(("chest", "cloudy", "clear"), (recovered, cloudy, clear), waters, strict=True):
            split["saveall", node] = (over(one, feed), over(flow, water))
    return split


def _matrices(given: TissueCircuit, f: Flows, feed: Array, cases: tuple[int, ...]) -> tuple[Array, Array]:
    """Shares of solids by component and of dissolved matter."""
    n, parts = len(NODES), feed.shape[-1]
    solids, dissolved = np.zeros((*cases, parts, n, n)), np.zeros((*cases, n, n))
    shares: dict[tuple[int, int], Num] = {}
    for _, source, sink, flow, whole in _mixed(given, f):
        if sink != OUTSIDE and runs(flow):
            place = AT[sink], AT[source]
            shares[place] = shares.get(place, 0.0) + over(flow, whole)
    into, out = (np.array(ends) for ends in zip(*shares, strict=True))
    together = np.stack(np.broadcast_arrays(*shares.values()), axis=-1)
    solids[..., into, out] = together[..., None, :]
    dissolved[..., into, out] = together
    for (source, sink), (of_solids, of_water) in _split(given, f, feed).items():
        if sink != OUTSIDE:
            solids[..., AT[sink], AT[source]] += of_solids
            dissolved[..., AT[sink], AT[source]] += of_water
    return solids, dissolved


@derived(
    """from the web upwards: formed = web/(1 - press_loss), jet = formed/retention, flows by consistency and dryness
        white water by white_water_flow_dilution, overflow = the rest of the silo
        broke draws from the pit, its water thins it to broke_consistency
        dilution of the chest = thick - pulp - broke - recovered - rejects back - chemicals
        cloudy = what is asked, clear = the rest of the save-all, effluent = clear that nobody asks for
        shares of what leaves each node; loads = inverse(1 - shares)*feed for each component
        fresh_solids = web_solids/sum(fresh_shares*system_retention), web_shares likewise
        once more with the consistencies found, until the web's shares stand to 1e-14
        dissolved matter in the same way with the shares of water""",
    gives=("streams", "fresh_solids", "web_shares", "shares", "loads", "feeds", "rounds"),
    kind="march",
    where="mixed nodes; former, press and save-all split by component",
)
def tissue_circuit(given: TissueCircuit) -> Circuit:
    """All streams of a tissue machine with its circuits closed as they are given.

    Picture: ask each place for the water it wants, see what the loop then carries, and ask again. Use for: fresh water,
    effluent, fibre loss, what is dissolved. Not for: retention that answers to any of it. In print: nowhere. Made
    from: one linear solve a component and round; seven to twelve rounds. Numbers of one case or arrays of cases;
    `KernelRefused` names the field, the value and the bound where more water is asked for than there is.
    """
    return circuit_of(given, refuse=True)


def circuit_of(given: TissueCircuit, *, refuse: bool) -> Circuit:
    """The closed circuit; without refusal a water asked for above what there is lets the level of its tank fall.

    Its effluent is then negative: what the tank gives besides what comes into it.
    """
    given = settled(given)
    refuse_given(given)
    found, rounds, unit, f, solids, dissolved = _settle(given)
    amounts = lift(found.fresh) * given.fresh_shares
    loads = amounts[..., None] * unit
    if refuse:
        refuse_flows(given, f, found.pit)
    feeds = np.zeros_like(loads)
    feeds[..., AT["chest"]] = amounts
    wet = _dissolved_feed(given, f, found.fresh, np.shape(f.effluent))
    carried = circuit_loads(dissolved, wet)
    streams = tuple(_streams(given, f, (loads, carried)))
    return Circuit(
        streams=streams, fresh_solids=found.fresh, web_shares=found.web, rounds=rounds,
        shares={"solids": solids, "dissolved": dissolved},
        loads={"solids": loads, "dissolved": carried},
        feeds={"solids": feeds, "dissolved": wet},
    )  # fmt: skip


def _settle(given: TissueCircuit) -> tuple[Round, int, Array, Flows, Array, Array]:
    """Rounds until the shares of the web stand: what was found, how many, loads per unit fed."""
    x = given.fresh_shares
    web: Array = x / np.sum(x, axis=-1, keepdims=True)
    last = Round(web, given.web_solids, 0.0, 0.0, 0.0 * lift(given.web_solids) * web)
    one = np.zeros(len(NODES))
    one[AT["chest"]] = 1.0
    for number in range(1, ROUNDS + 1):
        f = flows_of(given, last)
        cases = np.shape(f.effluent)
        feed = last.saveall if number > 1 else np.ones_like(last.saveall)
        solids, dissolved = _matrices(given, f, feed, cases)
        unit = circuit_loads(solids, np.broadcast_to(one, solids.shape[:-1]))
        kept = unit[..., AT["dryer"]]
        fresh, new = fresh_solids_for_web(given.web_solids, x, kept), shares_of_web(x, kept)
        amounts = lift(fresh) * x
        silo, pit, feed = (amounts * unit[..., AT[node]] for node in ("silo", "pit", "saveall"))
        moved = np.max(np.abs(new - last.web))
        last = Round(new, fresh, over(added(silo), f.silo), over(added(pit), f.pit), feed)
        if number > 1 and moved <= SETTLED:
            break
    return last, number, unit, f, solids, dissolved


def _dissolved_feed(given: TissueCircuit, f: Flows, fresh: Num, cases: tuple[int, ...]) -> Array:
    """Dissolved matter from outside into each node."""
    feed = np.zeros((*cases, len(NODES)))
    clean = given.fresh_dissolved
    for place, parts in shower_parts(given).items():
        feed[..., AT[place]] += clean * parts["fresh"]
    feed[..., AT["chest"]] += clean * (given.chemical_water + f.dilution["fresh"])
    feed[..., AT["chest"]] += given.dissolved_per_fibre * fresh
    feed[..., AT["pit"]] += clean * given.seal_water * given.seal_recovered
    return feed


def _streams(given: TissueCircuit, f: Flows, loads: tuple[Array, Array]) -> Iterator[CircuitStream]:
    """All streams, those without any flow left out."""
    yield from _from_outside(given, f, loads[0])
    solids, dissolved = loads
    for name, source, sink, flow, whole in _mixed(given, f):
        share = over(flow, whole)
        part = lift(share) * solids[..., AT[source]]
        if name in ALWAYS or runs(flow):
            water = flow - np.sum(part, axis=-1)
            yield CircuitStream(name, source, sink, flow, water, part, share * dissolved[..., AT[source]])
    yield from _from_split(given, f, solids, dissolved)


ALWAYS = ("thick", "white_water", "fan", "jet", "overflow", "effluent", "broke", "reject")


def _from_outside(given: TissueCircuit, f: Flows, solids: Array) -> Iterator[CircuitStream]:
    """Pulp, chemicals, fresh water."""
    amounts = np.zeros_like(solids[..., 0])
    clean = given.fresh_dissolved
    pulp = f.pulp * given.pulp_dryness
    fed = lift(pulp) * given.fresh_shares
    yield CircuitStream("pulp", OUTSIDE, "chest", f.pulp, f.pulp - pulp, fed, given.dissolved_per_fibre * pulp)
    waters: list[tuple[str, str, Num]] = [
        ("chemicals", "chest", given.chemical_water),
        ("dilution_fresh", "chest", f.dilution["fresh"]),
        ("seal_water", "pit", given.seal_water * given.seal_recovered),
    ]
    waters += [(f"{NAMES[place]}_fresh", place, shower_parts(given)[place]["fresh"]) for place in PLACES]
    for name, sink, flow in waters:
        if runs(flow):
            yield CircuitStream(name, OUTSIDE, sink, flow, flow, amounts, clean * flow)


def _from_split(given: TissueCircuit, f: Flows, solids: Array, dissolved: Array) -> Iterator[CircuitStream]:
    """Streams of former, press, save-all and dryer."""
    vacuum = f.formed_flow - f.vacuumed
    flows: dict[tuple[str, str], tuple[str, Num]] = {
        ("forming", "press"): ("web_formed", f.formed_flow),
        ("forming", "silo"): ("forming_water", f.jet_flow - f.formed_flow),
        ("press", "pit"): ("vacuum_water", vacuum * given.vacuum_recovered),
        ("press", OUTSIDE): ("vacuum_drain", vacuum * (1.0 - given.vacuum_recovered)),
        ("press", "felt"): ("nip_water", f.vacuumed - f.pressed),
        ("press", "dryer"): ("web_pressed", f.pressed),
        ("dryer", "broke"): ("dry_broke", f.dry_broke),
        ("saveall", "chest"): ("recovered", f.recovered),
        ("saveall", "cloudy"): ("cloudy", f.cloudy),
        ("saveall", "clear"): ("clear", f.clear),
    }
    split = _split(given, f, solids[..., AT["saveall"]])
    for (source, sink), (of_solids, of_water) in split.items():
        name, flow = flows[source, sink]
        part = of_solids * solids[..., AT[source]]
        if runs(flow):
            water = flow - np.sum(part, axis=-1)
            yield CircuitStream(name, source, sink, flow, water, part, of_water * dissolved[..., AT[source]])
    running = 1.0 - given.broke_share
    part = lift(running) * solids[..., AT["dryer"]]
    made, web = np.sum(part, axis=-1), np.sum(solids[..., AT["dryer"]], axis=-1)
    reel = made / given.reel_dryness
    yield CircuitStream("reel", "dryer", OUTSIDE, reel, reel - made, part, running * dissolved[..., AT["dryer"]])
    vapour = f.pressed - web / given.reel_dryness
    yield CircuitStream("vapour", "dryer", OUTSIDE, vapour, vapour, 0.0 * part, 0.0 * vapour)
