"""What vacuum and refining are worth from the wire to the reel: each place switched off alone, and a lower freeness.

Nothing is added up over places: two boxes switched off together are another run. Freeness may fall by fines alone or by
swelling; both ends stand beside the machine's own slope. Energy of the refiner itself is not in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from thinstock.errors import Refused
from thinstock.formula.label import worksheet
from thinstock.machine.line import Machine
from thinstock.machine.result import Result
from thinstock.words.fault import fault_in
from thinstock.words.num import Array
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


@dataclass(frozen=True, kw_only=True)
class WetEndCosts:
    """The machine as it stands, and each case beside it."""

    machine: Machine
    base: dict[str, float]
    cases: tuple[Case, ...]
    hangs_on: str
    """What the answer hangs on, to be said beside any advice."""


def vacuum_addresses(machine: Machine) -> tuple[str, ...]:
    """Every slot, box and suction roll that draws."""
    return tuple(
        where
        for where, value in machine.addresses()
        if where.endswith(".vacuum") and where.startswith(("vacuum.slot.", "press.")) and np.any(np.asarray(value) > 0)
    )


def switched_off(machine: Machine) -> WetEndCosts:
    """Each slot, box and suction roll off, one at a time: what it takes, and what its loss does at the reel."""
    places = vacuum_addresses(machine)
    if not places:
        raise Refused(fault_in("studies.wet_end_costs.vacuum", "vacuum", "nothing"))
    columns = {}
    for number, where in enumerate(places):
        column = np.full(len(places) + 1, float(machine.get(where)))
        column[number + 1] = 0.0
        columns[where] = column
    return _told(machine, machine.with_(columns), places, phrase("studies.wet_end_costs.boxes_hang_on"))


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
    changes = {
        "stock.freeness": np.array([freeness, *[freeness - drop] * len(ENDS)]),
        "stock.water_retention_value": float(known.water_retention_value),
        "stock.resistance_reference": float(known.resistance),
        "stock.swelling_slope": np.array(slopes),
    }
    names = tuple(phrase(f"studies.wet_end_costs.{key}") for key in ("own_slope", "fines_only", "most_swelling"))
    return _told(machine, machine.with_(changes), names, phrase("studies.wet_end_costs.vacuum_not_saved"), HEAT)


def _told(
    machine: Machine, many: Machine, names: tuple[str, ...], hangs_on: str, priced: tuple[str, ...] = KINDS
) -> WetEndCosts:
    with worksheet(False):
        result = many.run()
    table = _table(result, len(names) + 1)
    base = {name: float(column[0]) for name, column in table.items()}
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
            )
        )
    return WetEndCosts(machine=machine, base=base, cases=tuple(cases), hangs_on=hangs_on)


def _table(result: Result, count: int) -> dict[str, Array]:
    found = {}
    for name in SHOWN:
        value = result.values.get(name)
        if value is not None:
            found[name] = np.broadcast_to(np.asarray(value, dtype=float), (count,))
    return found


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
