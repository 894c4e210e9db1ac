"""Heat in the circuits: one more component that is carried by water and fibre and lost at the pit.

Part of `circuits`, which gives these formulas their name.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from thinstock.formula.label import Array, Num, derived
from thinstock.relations.circuit_flows import AT, NODES, OUTSIDE, Circuit, CircuitStream
from thinstock.relations.circuit_loads import circuit_loads
from thinstock.words.constants import ice_point

LABELLED_IN = "circuits"

FRESH = "fresh"
"""Stands in `temperatures` for every fresh water that is not named there."""
ALSO = {
    "wire_shower_fresh": "wire_shower", "felt_shower_fresh": "felt_shower", "pit_shower_fresh": "pit_shower",
    "dry_broke": "broke",
}  # fmt: skip
"""Other names under which a temperature may be given."""


@derived(
    """capacity flow of a stream = solids*fibre_heat_capacity + water*water_heat_capacity
        share[i, j] = capacity flow from j to i/(capacity flow of all that leaves j + loss at the pit)
        feed = sum of capacity flow*(temperature - 273.15) of what comes from outside + power + loss*(room - 273.15)
        heat = inverse(1 - share)*feed
        temperature = 273.15 + heat/capacity_flow""",
    gives=("share", "feed", "capacity_flow", "temperature"),
    kind="march",
    where="given flows; the dryer ends the circuit",
)
def circuit_heat(
    circuit: Circuit,
    temperatures: Mapping[str, Num],
    powers: Mapping[str, Num],
    room_temperature: Num,
    loss_coefficient: Num,
    fibre_heat_capacity: Num,
    water_heat_capacity: Num,
) -> tuple[Array, Array, Array, Array]:
    """(Shares, feeds, capacity flows, temperatures) of a circuit's nodes, in the order of `NODES`.

    Picture: warmth goes round with the water that carries it. `temperatures` by name of each stream from outside
    (a fresh shower with or without "_fresh"; "fresh" for all fresh waters not named, "dry_broke" for the dry broke),
    `powers` in watt by node (per metre where flows are). The capacity flow of the pit counts its loss. Use for: how
    warm a closed loop gets. Not for: flows that answer to temperature. In print: nowhere. Made from: heat counted
    from 0 °C as one more component.
    """
    shape = np.shape(circuit.stream("jet").flow)
    n = len(NODES)
    carried, feed = np.zeros((*shape, n, n)), np.zeros((*shape, n))
    leaving = np.zeros((*shape, n))
    for stream in circuit.streams:
        flow = np.sum(stream.solids, axis=-1) * fibre_heat_capacity + stream.water * np.asarray(water_heat_capacity)
        if stream.source == OUTSIDE or stream.name == "dry_broke":
            feed[..., AT[stream.sink]] += flow * (_temperature(stream, temperatures) - ice_point)
        elif stream.source != "dryer":
            leaving[..., AT[stream.source]] += flow
            if stream.sink != OUTSIDE:
                carried[..., AT[stream.sink], AT[stream.source]] += flow
        if stream.sink == "dryer":
            leaving[..., AT["dryer"]] += flow
    leaving[..., AT["pit"]] += loss_coefficient
    feed[..., AT["pit"]] += loss_coefficient * (np.asarray(room_temperature) - ice_point)
    for node, power in powers.items():
        feed[..., AT[node]] += power
    none = leaving == 0.0
    share = carried / np.where(none, 1.0, leaving)[..., None, :]
    heat = circuit_loads(share, feed)
    return share, feed, leaving, ice_point + np.where(none, np.nan, heat / np.where(none, 1.0, leaving))


def _temperature(stream: CircuitStream, temperatures: Mapping[str, Num]) -> Array:
    """Temperature of a stream that brings heat from outside."""
    for name in (stream.name, ALSO.get(stream.name, FRESH), FRESH):
        if name in temperatures:
            return np.asarray(temperatures[name], dtype=float)
    raise KeyError(f"temperatures: no {stream.name!r}")
