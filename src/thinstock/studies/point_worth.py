"""What one point of dryness into the dryer saves there: heat, fuel and money, of two runs of the dryer alone.

The saving is told as a range: from evaporation alone, as if each kilogram of water took the same, to what holds the
reel dryness in this machine. Where a hood holds it, the saved water is taken from the dearest heat.
"""

from __future__ import annotations

from dataclasses import dataclass

from thinstock.errors import Refused
from thinstock.machine.dryer import Drying
from thinstock.machine.line import Machine
from thinstock.words.fault import fault_in


@dataclass(frozen=True, kw_only=True)
class Side:
    """The dryer of one sheet; J/kg of product, kg/(s m)."""

    dryness: float
    evaporation: float
    steam: float
    gas: float
    electricity: float
    fuel: float


@dataclass(frozen=True, kw_only=True)
class PointWorth:
    """A sheet as it comes, and one point drier."""

    machine: Machine
    before: Side
    after: Side
    heat_per_point: float
    """Relative change of steam and gas of the dryer."""
    water_per_point: float
    """Relative change of the water evaporated."""
    money: float | None
    """Change per kg of product at the machine's prices; None where one lacks."""

    @property
    def changes(self) -> dict[str, float]:
        """After less before."""
        return {name: getattr(self.after, name) - getattr(self.before, name) for name in Side.__dataclass_fields__}


def point_worth(machine: Machine) -> PointWorth:
    """What one point of dryness into the dryer is worth.

    Raises `Refused` where no sheet is dried, or where heat does not hold the reel: nothing holds it, or it is at its
    bound; then a drier sheet changes the moisture at the reel.
    """
    result = machine.run()
    point = result.drying_point
    if point is None:
        raise Refused(fault_in("studies.point_worth.not_held", "hold_reel_dryness_by", machine.hold_reel_dryness_by))
    production = float(result["fuel_heat"]) / float(result["fuel_per_product"])
    before = _side(point.before, float(point.dryness_low), production)
    after = _side(point.after, float(point.dryness_high), production)
    return PointWorth(
        machine=machine, before=before, after=after, heat_per_point=float(result.heat_per_point),
        water_per_point=float(point.water_per_point), money=_money(machine, before, after),
    )  # fmt: skip


def _side(done: Drying, dryness: float, production: float) -> Side:
    users = tuple(done.consumers())

    def of(kind: str) -> float:
        return sum(float(use.power) for use in users if use.kind == kind) / production

    return Side(
        dryness=dryness, evaporation=float(done.evaporation), steam=of("steam"), gas=of("gas"),
        electricity=of("electricity"), fuel=float(done.values()["fuel_heat"]) / production,
    )  # fmt: skip


def _money(machine: Machine, before: Side, after: Side) -> float | None:
    total = 0.0
    for kind in ("steam", "gas", "electricity"):
        price, change = getattr(machine.prices, kind), getattr(after, kind) - getattr(before, kind)
        if change and price is None:
            return None
        total += change * float(price or 0.0)
    return total
