"""What vacuum and refining are worth from wire to reel: each place and each pump off alone, and a lower freeness.

Nothing is added up: two boxes switched off together are another run, and so is a pump with all that hangs on it.
Freeness may fall by fines alone or by swelling; both ends stand beside the machine's own slope. Energy of the refiner
itself is not in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from thinstock.errors import Refused
from thinstock.formula.label import worksheet
from thinstock.machine.line import Machine
from thinstock.machine.press import FELT_BOXES
from thinstock.machine.pumps import headers_of, places_of
from thinstock.machine.result import Result
from thinstock.studies.drying_speed import drying_speeds
from thinstock.words.fault import fault_in
from thinstock.words.num import Array, Num
from thinstock.words.phrase import phrase

SHOWN = (
    "end_of_forming", "dryness_formed", "dryness_into_press", "dryness_press", "evaporation", "steam_per_product",
    "gas_per_product", "electricity_per_product", "reel_dryness_reached",
)  # fmt: skip
"""What is told of each case, in the order of the web."""
ENDS = (None, 0.0, 0.5)
"""Slopes of water retention: the machine's own, fines only, swelling at its most."""
KINDS = ("steam", "gas", "electricity")
HEAT = ("steam", "gas")
"""What a lower freeness is priced by: power that vacuum draws less is saved at held vacuum only."""
SHORT = 1e-4
"""Reel dryness by which a case is said to fall short: what holds it is at its bound."""


@dataclass(frozen=True, kw_only=True)
class Taken:
    """What a place or a pump takes as the machine stands."""

    places: tuple[str, ...]
    """What hangs on it, by name; a place is its own."""
    vacuum: float
    """At the pump, Pa."""
    flow: float
    """Air at that vacuum, m³/s."""
    power: float
    """Electricity, W."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """One run beside the machine as it stands."""

    name: str
    """The address that was switched off, or which end of the refining it is."""
    values: dict[str, float]
    changes: dict[str, float]
    """Against the machine as it stands, base SI."""
    money: float | None
    """Change per kg of product at the machine's prices (of a lower freeness by heat alone); None where one lacks."""
    short: bool
    """The reel dryness is not reached: speed is lost, the energy does not say all."""
    speed: float | None
    """Highest at which the dryer at its bound reaches the reel dryness, m/s; None where it does not limit."""
    takes: Taken | None = None
    """What is saved by it at most; None where nothing is switched off."""


@dataclass(frozen=True, kw_only=True)
class WetEndCosts:
    """The machine as it stands, and each case beside it."""

    machine: Machine
    base: dict[str, float]
    speed: float | None
    """Of the machine as it stands, as `Case.speed`."""
    cases: tuple[Case, ...]
    hangs_on: str
    """What the answer hangs on, to be said beside any advice."""
    pumps: tuple[Case, ...] = ()
    """Whole pumps switched off, one at a time; none where the vacuum is held as set."""


def vacuum_addresses(machine: Machine) -> tuple[str, ...]:
    """Every slot, box and suction roll that draws."""
    return tuple(
        where
        for where, value in machine.addresses()
        if where.endswith(".vacuum") and where.startswith(("vacuum.slot.", "press.")) and np.any(np.asarray(value) > 0)
    )


def pump_addresses(machine: Machine) -> tuple[str, ...]:
    """Every vacuum pump with a curve that takes in anything."""
    return tuple(
        where
        for where, value in machine.addresses()
        if where.startswith("vacuum.pump.") and where.endswith(".flow_free") and np.any(np.asarray(value) > 0)
    )


def switched_off(machine: Machine) -> WetEndCosts:
    """Each slot, box, suction roll and vacuum pump off, one at a time: what it takes, what its loss does at the reel.

    Raises `Refused` for a machine on which nothing draws.
    """
    places, pumps = vacuum_addresses(machine), pump_addresses(machine)
    if not places:
        raise Refused(fault_in("studies.wet_end_costs.vacuum", "vacuum", "nothing"))
    names = (*places, *pumps)
    columns = {}
    for number, where in enumerate(names):
        column = np.full(len(names) + 1, float(machine.get(where)))
        column[number + 1] = 0.0
        columns[where] = column
    hangs_on = phrase("studies.wet_end_costs.boxes_hang_on")
    found = _told(machine, columns, names, hangs_on)
    of, pumped = _takes(machine)
    alone = tuple(replace(c, takes=of.get(named(machine, c.name))) for c in found.cases[: len(places)])
    whole = tuple(replace(c, takes=pumped.get(named(machine, c.name))) for c in found.cases[len(places) :])
    return replace(found, cases=alone, pumps=whole)


def freeness_cost(machine: Machine, drop: float = 5e-5) -> WetEndCosts:
    """What a freeness lower by `drop` (m³ CSF) costs behind the refiner, with both of its ends.

    Raises `Refused` for a machine whose stock has no freeness.
    """
    if machine.stock.freeness is None:
        raise Refused(fault_in("studies.wet_end_costs.freeness", "stock.freeness", "not given"))
    with worksheet(False):
        known = machine.run().wet.parts.forming.around.furnish
    own = machine.stock.swelling_slope
    if own is None:
        from thinstock.machine.furnish import mean_row

        own = mean_row(machine.stock).swelling_slope
    freeness = float(machine.stock.freeness)
    slopes = [float(own), *(float(own) if end is None else end for end in ENDS)]
    held = machine.with_(
        {
            "stock.water_retention_value": float(known.water_retention_value),
            "stock.resistance_reference": float(known.resistance),
        }
    )
    columns = {
        "stock.freeness": np.array([freeness, *[freeness - drop] * len(ENDS)]),
        "stock.swelling_slope": np.array(slopes),
    }
    names = tuple(phrase(f"studies.wet_end_costs.{key}") for key in ("own_slope", "fines_only", "most_swelling"))
    return replace(_told(held, columns, names, phrase("studies.wet_end_costs.vacuum_not_saved"), HEAT), machine=machine)


def _told(
    machine: Machine, columns: Mapping[str, Array], names: tuple[str, ...], hangs_on: str,
    priced: tuple[str, ...] = KINDS,
) -> WetEndCosts:  # fmt: skip
    with worksheet(False):
        result = machine.with_(columns).run()
    table = _table(result, len(names) + 1)
    base = {name: float(column[0]) for name, column in table.items()}
    fast = [float(v) if np.isfinite(v) else None for v in drying_speeds(machine, columns)]
    cases = []
    for number, name in enumerate(names, start=1):
        values = {key: float(column[number]) for key, column in table.items()}
        changes = {key: values[key] - base[key] for key in values}
        reached = changes.get("reel_dryness_reached", 0.0)
        cases.append(
            Case(
                name=name,
                values=values,
                changes=changes,
                money=_money(machine, changes, priced),
                short=reached < -SHORT,
                speed=fast[number],
            )
        )
    return WetEndCosts(machine=machine, base=base, speed=fast[0], cases=tuple(cases), hangs_on=hangs_on)


def _table(result: Result, count: int) -> dict[str, Array]:
    found = {}
    for name in SHOWN:
        value = result.values.get(name)
        if value is not None:
            found[name] = np.broadcast_to(np.asarray(value, dtype=float), (count,))
    return found


def _takes(machine: Machine) -> tuple[dict[str, Taken], dict[str, Taken]]:
    """What each place and each pump takes as the machine stands, by name."""
    with worksheet(False):
        wet = machine.run().wet
    width = float(machine.width)

    def taken(place: str, vacuum: Num, flow: Num, power: Num) -> Taken:
        return Taken(places=(place,), vacuum=float(vacuum), flow=float(flow) * width, power=float(power) * width)

    slots = [taken(one.name, one.header_vacuum, one.suction_flow, one.electricity) for one in wet.slots]
    rolls = [taken(one.name, one.suction_vacuum, one.suction_flow, one.suction_electricity) for one in wet.nips]
    boxes = [taken(FELT_BOXES, one.box_vacuum, one.box_air_flow, one.box_electricity) for one in wet.nips]
    of = {one.places[0]: one for one in (*slots, *rolls, *([_together(boxes, (FELT_BOXES,))] if boxes else ()))}
    pumps = {}
    for header in headers_of(machine.vacuum, machine.press):
        names = tuple(name for name in places_of(machine.vacuum, machine.press) if name in header.places)
        whole = _together([of[name] for name in names], names)
        given = float(header.flow(whole.vacuum))
        for pump in header.pumps:
            share = float(pump.flow(whole.vacuum)) / given if given > 0 else 0.0
            pumps[pump.name] = replace(whole, flow=share * whole.flow, power=share * whole.power)
    return of, pumps


def _together(parts: Sequence[Taken], names: tuple[str, ...]) -> Taken:
    """What several take in all; the vacuum is the highest."""
    return Taken(
        places=names, vacuum=max(p.vacuum for p in parts), flow=sum(p.flow for p in parts),
        power=sum(p.power for p in parts),
    )  # fmt: skip


def named(machine: Machine, where: str) -> str:
    """The name of what an address switches off, as a pump serves it."""
    owner = where.rpartition(".")[0].removesuffix(".surface")
    return FELT_BOXES if owner.endswith(".boxes") else str(machine.get(owner).name)


def _money(machine: Machine, changes: dict[str, float], priced: tuple[str, ...]) -> float | None:
    """Change of money per kg of product by energy alone."""
    prices = {"steam": machine.prices.steam, "gas": machine.prices.gas, "electricity": machine.prices.electricity}
    total = 0.0
    for kind in priced:
        price = prices[kind]
        change = changes.get(f"{kind}_per_product", 0.0)
        if change and price is None:
            return None
        total += change * float(price or 0.0)
    return total
