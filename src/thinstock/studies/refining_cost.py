"""What a lower freeness costs with the refiner: its energy, what it does from wire to reel, and the range.

One change read three ways (freeness, water retention, fines) by one refiner: the machine is run before and after with
all else the same, also the reel dryness. Energy scale, no-load share, swelling slope and fines rate are varied together
from their low to their high ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from thinstock import library
from thinstock.errors import Refused
from thinstock.formula.label import worksheet
from thinstock.machine.furnish import mean_row
from thinstock.machine.line import Machine
from thinstock.relations import refining
from thinstock.studies.drying_speed import drying_speeds
from thinstock.words import units
from thinstock.words.fault import fault_in

ENDS = ("low", "value", "high")
"""Low end, middle and high end of what refining is taken to do."""
SHOWN = (
    "end_of_forming", "retention", "dryness_into_press", "dryness_press", "steam_per_product", "gas_per_product",
    "electricity_per_product", "reel_dryness_reached",
)  # fmt: skip
OTHER = "other fibres"
SHORT = 1e-4


@dataclass(frozen=True, kw_only=True)
class Refined:
    """One end of the range."""

    end: str
    net: float
    """Net refining energy, J/kg of fibre."""
    gross: float
    """With what turns the stock alone."""
    water_retention: float
    fines_share: float
    values: dict[str, float]
    changes: dict[str, float]
    speed: float | None
    """Highest speed at which the dryer at its bound still dries, m/s."""
    short: bool
    """What holds the reel dryness is at its bound: the speed that is lost says it, not the energy."""
    refiner_money: float | None
    heat_money: float | None
    """Per kg of product; None where a price lacks."""


@dataclass(frozen=True, kw_only=True)
class RefiningCost:
    """The machine as it stands and the three ends."""

    machine: Machine
    drop: float
    base: dict[str, float]
    speed: float | None
    water_retention: float
    cases: tuple[Refined, ...]


def _mean(machine: Machine, end: str) -> float:
    """Energy scale of the furnish: mass mean over its fibres, J/kg."""
    rows = library.table("refining")
    total = 0.0
    for fibre in machine.stock.furnish:
        row = rows.get(fibre.name, rows[OTHER])["energy_scale"]
        own = fibre.energy_scale
        total += float(fibre.share) * (
            float(own) if own is not None else units.parse(row[end], "energy per mass", field="energy_scale")
        )
    return total


def _refiner(name: str, end: str, kind: str) -> float:
    return float(units.parse(library.table("refining")["refiner"][name][end], kind, field=name))


def refining_cost(machine: Machine, drop: float = 5e-5) -> RefiningCost:
    """What a freeness lower by `drop` (m³ CSF) costs from refiner to reel.

    Parameters
    ----------
    machine : Machine
        One case; its stock has a freeness.
    drop : float
        Fall of freeness, m³ on the Canadian scale.

    Returns
    -------
    RefiningCost
        Low end, middle and high end of what refining is assumed to do, base SI.

    Raises
    ------
    Refused
        No freeness, or none left.

    Source: the lines of `relations.refining` and the rows of the library, all assumed.
    """
    stock = machine.stock
    if stock.freeness is None:
        raise Refused(fault_in("studies.wet_end_costs.freeness", "stock.freeness", "not given"))
    after = machine.with_({"stock.freeness": float(stock.freeness) - drop}).stock
    with worksheet(False):
        known = machine.run().wet.parts.forming.around.furnish
        alpha = float(stock.specific_resistance()), float(after.specific_resistance())
    own = float(mean_row(stock).swelling_slope)
    slopes = {"value": own} | {
        end: _refiner("swelling slope", end, "mass ratio") if own > 0 else 0.0 for end in ("low", "high")
    }
    retention = float(known.water_retention_value)
    net = {end: float(refining.refining_energy_for_resistance(*alpha, _mean(machine, end))) for end in ENDS}
    fines = {
        end: float(refining.fines_after_refining(
            stock.fines_share, net[end], _refiner("fines_rate", end, "mass per energy")
        ))
        for end in ENDS
    }  # fmt: skip
    rise = np.log(alpha[1] / alpha[0])
    columns = {
        "stock.freeness": np.array([float(stock.freeness), *[float(stock.freeness) - drop] * 3]),
        "stock.swelling_slope": np.array([own, *(slopes[end] for end in ENDS)]),
        "stock.fines_share": np.array([float(stock.fines_share), *(fines[end] for end in ENDS)]),
    }
    held = machine.with_(
        {"stock.water_retention_value": retention, "stock.resistance_reference": float(known.resistance)}
    )
    with worksheet(False):
        values = held.with_(columns).run().values
    table = {
        name: np.broadcast_to(np.asarray(values[name], dtype=float), (4,))
        for name in SHOWN
        if values.get(name) is not None
    }
    speeds = [float(v) if np.isfinite(v) else None for v in drying_speeds(held, columns)]
    cases = tuple(
        _case(machine, end, net[end], retention + slopes[end] * rise, fines[end],
              ({name: float(column[0]) for name, column in table.items()},
               {name: float(column[k]) for name, column in table.items()}), speeds[k])
        for k, end in enumerate(ENDS, start=1)
    )  # fmt: skip
    base = {name: float(column[0]) for name, column in table.items()}
    return RefiningCost(
        machine=machine, drop=drop, base=base, speed=speeds[0], water_retention=retention, cases=cases
    )  # fmt: skip


def _case(
    machine: Machine, end: str, net: float, retention: float, fines: float,
    both: tuple[dict[str, float], dict[str, float]], speed: float | None,
) -> Refined:  # fmt: skip
    base, values = both
    gross = net / (1.0 - _no_load(machine, end))
    changes = {name: values[name] - base[name] for name in values}
    prices = machine.prices
    heat = [(changes.get("steam_per_product", 0.0), prices.steam), (changes.get("gas_per_product", 0.0), prices.gas)]
    priced = all(price is not None for change, price in heat if change)
    dry = float(machine.grade.reel_dryness)
    return Refined(
        end=end, net=net, gross=gross, water_retention=retention, fines_share=fines, values=values, changes=changes,
        speed=speed, short=changes.get("reel_dryness_reached", 0.0) < -SHORT,
        refiner_money=None if prices.electricity is None else gross * dry * float(prices.electricity),
        heat_money=sum(change * float(price or 0.0) for change, price in heat) if priced else None,
    )  # fmt: skip


def _no_load(machine: Machine, end: str) -> float:
    own = machine.stock.no_load_share
    return float(own) if own is not None else _refiner("no_load_share", end, "fraction")
