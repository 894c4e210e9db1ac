"""The water circuits of a machine: which water feeds which shower, and what goes round until it leaves.

Nodes without reaction, each mixed but for former, press and save-all. The loads through all nodes are one linear
solve per component; dissolved matter follows the water, heat is one more component. The whole circuit of a tissue
machine is `tissue_circuit`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thinstock.formula.label import Num, assumed, derived, relation
from thinstock.relations.circuit_balance import tissue_circuit as tissue_circuit
from thinstock.relations.circuit_flows import NODES as NODES
from thinstock.relations.circuit_flows import Circuit as Circuit
from thinstock.relations.circuit_flows import CircuitStream as CircuitStream
from thinstock.relations.circuit_flows import TissueCircuit as TissueCircuit
from thinstock.relations.circuit_heat import circuit_heat as circuit_heat
from thinstock.relations.circuit_loads import circuit_leaving as circuit_leaving
from thinstock.relations.circuit_loads import circuit_loads as circuit_loads
from thinstock.relations.circuit_loads import fresh_solids_for_web as fresh_solids_for_web
from thinstock.relations.circuit_loads import saveall_split as saveall_split
from thinstock.relations.circuit_loads import transfer_shares as transfer_shares
from thinstock.relations.circuit_loads import web_shares as web_shares
from thinstock.relations.humid_air import enthalpy_mixture, humidity_vapour_pressure
from thinstock.relations.steam import saturation_pressure_if97

# --- showers


@derived(
    """jet = sqrt(2*shower_pressure/density)
        shower_flow = density*discharge_coefficient*pi/4*nozzle_diameter**2*jet/nozzle_pitch""",
    where="Bernoulli; needle nozzles 0.95, flat fans 0.7 (common practice)",
    holds={"nozzle_diameter": (5e-4, 4e-3), "nozzle_pitch": (0.03, 0.3)},
)
def shower_flow_nozzles(
    shower_pressure: Num, nozzle_diameter: Num, discharge_coefficient: Num, nozzle_pitch: Num, density: Num
) -> Num:
    """Water of a row of nozzles, per metre of width.

    Picture: pressure becomes speed, the bores say how much of it. Use for: a check beside an entered shower. Not
    for: worn nozzles, which give more. In print: Bernoulli. Made from: nozzle area times jet speed over pitch.
    """
    jet = np.sqrt(2.0 * np.asarray(shower_pressure) / density)
    return density * discharge_coefficient * np.pi / 4.0 * nozzle_diameter**2 * jet / nozzle_pitch


@derived("power_per_width = shower_flow*shower_pressure/(density*efficiency)", where="Bernoulli")
def shower_power(shower_flow: Num, shower_pressure: Num, density: Num, efficiency: Num) -> Num:
    """Pump power of a shower, per metre of width.

    Picture: little water at high pressure costs what much water at low pressure does. Use for: felt showers. Not for:
    several bars on one pump, throttled. In print: definition of efficiency. Made from: volume times pressure.
    """
    return shower_flow * shower_pressure / (density * efficiency)


# --- nodes without hold-up


def _parts(size: int, held: object) -> tuple[NDArray[np.int_], NDArray[np.int_]]:
    """Numbers of the nodes with a tank and of those without."""
    marked = np.asarray(held)
    kept = [int(n) for n in (np.flatnonzero(marked) if marked.dtype == bool else marked)]
    return np.array(kept), np.array([n for n in range(size) if n not in kept], dtype=int)


@derived(
    """h: nodes with a tank, p: the others
        share_held = share[h, h] + share[h, p]*inverse(1 - share[p, p])*share[p, h]
        feed_held = feed[h] + share[h, p]*inverse(1 - share[p, p])*feed[p]""",
    gives=("share", "feed"),
    kind="march",
    where="nodes without hold-up eliminated; the steady loads stay the same",
)
def prompt_reduction(share: Num, feed: Num, held: Num) -> tuple[Num, Num]:
    """Shares and feeds of the nodes with a tank alone, all others passing on at once. `held` by number or as a mask.

    Picture: a pipe is a node that forgets at once. Use for: time, with tanks by `tank_network_response`. Not for:
    long pipes. In print: block elimination. Made from: the balances of the nodes without hold-up.
    """
    a, f = np.asarray(share, dtype=float), np.asarray(feed, dtype=float)
    h, p = _parts(a.shape[-1], held)
    inner = np.eye(p.size) - a[..., p[:, None], p]
    out = a[..., h[:, None], p]
    through = np.linalg.solve(inner, a[..., p[:, None], h])
    fed = np.linalg.solve(inner, f[..., p, None])
    return a[..., h[:, None], h] + out @ through, f[..., h] + (out @ fed)[..., 0]


@derived(
    "loads_prompt = inverse(1 - share[p, p])*(share[p, h]*held_loads + feed[p])",
    gives="loads",
    kind="march",
    where="nodes without hold-up, the others known",
)
def prompt_loads(share: Num, feed: Num, held: Num, held_loads: Num) -> Num:
    """Loads through the nodes without hold-up, from those that leave the tanks.

    Picture: what the pipes carry while the tanks hold what they hold. Use for: the web at each moment. Not for: the
    tanks. In print: block elimination. Made from: the balances of the nodes without hold-up.
    """
    a, f = np.asarray(share, dtype=float), np.asarray(feed, dtype=float)
    h, p = _parts(a.shape[-1], held)
    given = (a[..., p[:, None], h] @ np.asarray(held_loads, dtype=float)[..., None])[..., 0] + f[..., p]
    loads: Num = np.linalg.solve(np.eye(p.size) - a[..., p[:, None], p], given[..., None])[..., 0]
    return loads


# --- water and what is dissolved in it


@derived(
    """came = fresh_water + pulp_water + steam_condensate
        effluent = came - evaporation - reel_water - reject_water""",
    where="water round the whole machine",
)
def effluent_flow_balance(
    fresh_water: Num,
    pulp_water: Num,
    steam_condensate: Num,
    evaporation: Num,
    reel_water: Num,
    reject_water: Num,
) -> Num:
    """Effluent of the whole machine from what goes in and what else leaves.

    Picture: what came and is neither vapour nor paper nor reject runs away. Use for: the check on every run. Not for:
    a measurement: it is never independent. In print: balance. Made from: water round the machine.
    """
    return fresh_water + pulp_water + steam_condensate - evaporation - reel_water - reject_water


@derived(
    "dissolved_concentration = (dissolved_load + fresh_water*fresh_concentration)/leaving_water",
    where="steady, whole loop mixed",
)
def dissolved_concentration_mixed(
    dissolved_load: Num, fresh_water: Num, fresh_concentration: Num, leaving_water: Num
) -> Num:
    """Dissolved matter in the water of a loop that is fed with pulp and with water that holds some already.

    Picture: what comes in must leave with the little water that leaves. Use for: a first guess at closing. Not for:
    a chain of circuits, each cleaner than the last. In print: balance. Made from: `dissolved_concentration_purge`
    with the fresh water's own matter.
    """
    return (dissolved_load + fresh_water * fresh_concentration) / leaving_water


@relation(
    """ratio = wash/liquor
        series = (ratio - 1)/expm1((stages + 1)*log(ratio))
        remaining = where(ratio == 1, 1/(stages + 1), series)""",
    source="KREMSER_1930",
    status="from memory",
    gives="remaining",
    where="mixed stages, wash water against the stock",
)
def countercurrent_remaining(liquor: Num, wash: Num, stages: Num) -> Num:
    """Share of the dissolved matter that is still with the stock after washing against it in stages.

    Picture: the cleanest water meets the cleanest stock. Use for: why showers should walk backwards. Not for: real
    washers without a stage efficiency. In print: Kremser's equation. Made from: re-derived from the stage balances.
    """
    ratio = np.asarray(np.divide(wash, liquor), dtype=float)
    other = np.where(ratio == 1.0, 2.0, ratio)
    series = (other - 1.0) / np.expm1((stages + 1.0) * np.log(other))
    return np.where(ratio == 1.0, 1.0 / (np.asarray(stages) + 1.0), series)[()]


@derived("remaining = (1 + wash/(liquor*stages))**(-stages)", gives="remaining",
         where="mixed stages, an equal part of the wash water to each")  # fmt: skip
def crosscurrent_remaining(liquor: Num, wash: Num, stages: Num) -> Num:
    """Share of the dissolved matter left when each stage gets an equal part of fresh wash water.

    Picture: each pail is thrown away after one use. Use for: beside `countercurrent_remaining`. Not for: unequal
    parts. In print: textbook washing. Made from: one dilution after another.
    """
    return (1.0 + np.divide(wash, liquor) / stages) ** (-np.asarray(stages, dtype=float))


# --- heat


@derived(
    """heat_in = heat + loss_coefficient*(room_temperature - reference_temperature)
        temperature = reference_temperature + heat_in/(capacity_flow + loss_coefficient)""",
    where="heat balance of a mixed node that loses to the hall",
    holds={"heat": (1e4, 1e9), "reference_temperature": (273.15, 274.0)},
)
def node_temperature(
    heat: Num, capacity_flow: Num, loss_coefficient: Num, room_temperature: Num, reference_temperature: Num
) -> Num:
    """Temperature of a node from the heat that comes in, counted from the reference.

    Picture: warmth spread over the water that carries it away. Use for: pits and chests. Not for: steam. In print:
    balance. Made from: heat in equals heat carried off and lost.
    """
    lost = loss_coefficient * (room_temperature - reference_temperature)
    return reference_temperature + (heat + lost) / (capacity_flow + loss_coefficient)


@derived(
    """gain = load at the held node for one watt at the heated node
        free = load at the held node without heating
        heat = (capacity_flow*(temperature - reference_temperature) - free)/gain""",
    gives="heat",
    kind="march",
    where="circuit of given flows; negative where it is too warm",
)
def heat_to_hold(
    share: Num,
    feed: Num,
    capacity_flow: Num,
    reference_temperature: Num,
    held_node: int,
    heated_node: int,
    temperature: Num,
) -> Num:
    """Heat at one node that holds another at a temperature. `capacity_flow` is that of the held node, or of all.

    Picture: steam into the silo until the jet is as warm as wanted. Use for: what closing saves. Not for: a heater at
    its bound. In print: nowhere. Made from: the loads are linear in the feed.
    """
    a, given = np.asarray(share, dtype=float), np.asarray(feed, dtype=float)
    flow = np.asarray(capacity_flow, dtype=float)
    if flow.ndim >= 1 and flow.ndim == given.ndim:
        flow = flow[..., held_node]
    one = np.zeros(a.shape[-1])
    one[heated_node] = 1.0
    free = circuit_loads(a, given)[..., held_node]
    gain = circuit_loads(a, np.broadcast_to(one, given.shape))[..., held_node]
    return (flow * (np.asarray(temperature) - reference_temperature) - free) / gain


@assumed(
    """wet = humidity_vapour_pressure(saturation_pressure_if97(temperature), pressure)
        humidity = room_humidity + saturation*(wet - room_humidity)
        arrives = enthalpy_mixture(room_temperature, room_humidity)
        heat = air_flow*(enthalpy_mixture(temperature, humidity) - arrives)""",
    where="air leaves at the water's temperature, all or partly saturated (assumed: all, range half to all)",
    holds={"temperature": (290.0, 333.0), "air_flow": (0.1, 3.0), "saturation": (0.5, 1.0)},
    in_units={
        "air_flow": "kg/(s m)", "temperature": "K", "saturation": "1", "room_temperature": "K",
        "room_humidity": "kg/kg", "pressure": "Pa",
    },
)  # fmt: skip
def heat_to_moved_air(
    air_flow: Num, temperature: Num, saturation: Num, room_temperature: Num, room_humidity: Num, pressure: Num
) -> Num:
    """Heat that air sucked through sheet, felt and boxes takes out of the water, per metre of width.

    Picture: it comes in as hall air and leaves warm and wet. `air_flow` is dry air in kg/(s m), `saturation` the share
    of the way to saturated air. Use for: what vacuum costs in warmth. Not for: hood air. In print: nowhere. Made
    from: the enthalpy of humid air.
    """
    wet = humidity_vapour_pressure(saturation_pressure_if97(temperature), pressure)
    humidity = room_humidity + saturation * (wet - room_humidity)
    return air_flow * (enthalpy_mixture(temperature, humidity) - enthalpy_mixture(room_temperature, room_humidity))
