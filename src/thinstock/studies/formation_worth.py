"""What a more even sheet saves at the dryer: a better headbox, or half the consistency, each with its ends.

Two runs of the same machine at the same speed; where hood and sheet cannot follow (the hood at its limit, too wet a
reel) the saving is told with that. It is worked out at the best, base and worst of what is assumed of headbox and
wire: what one does not know of the sheet one does not know of the saving.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from thinstock import library
from thinstock.errors import Refused
from thinstock.machine.evenness import ENDS
from thinstock.machine.line import Machine
from thinstock.machine.result import Result
from thinstock.words.phrase import phrase

CHANGES = ("better headbox", phrase("studies.formation_worth.half_consistency"))
PLACES = {"best": 0.0, "base": 0.5, "worst": 1.0}


@dataclass(frozen=True, kw_only=True)
class Saving:
    """One change at one end; J/kg of product, CV in the zone that dries as one."""

    end: str
    gas: float
    steam: float
    moisture: float
    """Moisture at the reel, after less before."""
    cv_before: float
    cv_after: float
    money: float | None
    """Per kg of product at the machine's prices of gas and steam; None where one lacks."""
    held: bool
    """Whether both runs reach the dryness wanted; else the hood was at its bound and the saving is in the moisture."""


@dataclass(frozen=True, kw_only=True)
class Worth:
    """What one change of formation saves, at best, base and worst; where a run is refused there is no row."""

    change: str
    savings: tuple[Saving, ...]

    def record(self) -> dict[str, Any]:
        """Plain data in base SI."""
        return {"change": self.change, "savings": [dict(vars(one)) for one in self.savings]}


def formation_worth(machine: Machine) -> tuple[Worth, ...]:
    """Savings of a better headbox and of half the consistency on a machine with a Yankee; nothing on others."""
    if machine.yankee is None:
        return ()
    return tuple(Worth(change=change, savings=tuple(_savings(machine, change))) for change in CHANGES)


def _savings(machine: Machine, change: str) -> list[Saving]:
    found = []
    for end in ENDS:
        before = machine.with_({"stock.evenness_index": PLACES[end]})
        if change == "better headbox":
            excellent = library.evenness()["best"].suspension_variation
            given = machine.stock.suspension_variation
            after = before.with_({"stock.suspension_variation": excellent if given is None else min(excellent, given)})
        else:
            after = before.with_({"headbox.consistency": 0.5 * machine.headbox.consistency})
        try:
            found.append(_saving(end, before.run(), after.run()))
        except Refused:
            continue
    return found


def _saving(end: str, before: Result, after: Result) -> Saving:
    def less(name: str) -> float:
        return float(before[name]) - float(after[name])

    gas, steam, prices = less("gas_per_product"), less("steam_per_product"), before.machine.prices
    priced = prices.gas is not None and prices.steam is not None
    return Saving(
        end=end, gas=gas, steam=steam, moisture=-less("reel_moisture"),
        money=float(gas * prices.gas + steam * prices.steam) if priced else None,
        cv_before=float(before["drying_cv"]), cv_after=float(after["drying_cv"]),
        held=int(before["hold_status"]) == int(after["hold_status"]) == 0,
    )  # fmt: skip
