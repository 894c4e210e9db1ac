"""What a point of dryness into the dryer does to its heat: the dryer run once more on a sheet one point drier.

Worked out when it is asked for, not in every run. Nothing else differs: grammage, speed, evenness and what holds the
moisture at the reel are those of the run.
"""

from __future__ import annotations

from dataclasses import dataclass

from thinstock.formula.traced import convention
from thinstock.machine.dryer import Drying
from thinstock.machine.parts import Parts
from thinstock.relations import dryer_energy, pressing
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num

POINT = 0.01


@dataclass(frozen=True, kw_only=True)
class DryingPoint:
    """The dryer as it runs, and with a sheet one point drier."""

    dryness_low: Num
    """Into the dryer as it runs."""
    dryness_high: Num
    before: Drying
    after: Drying

    @property
    def heat_per_point(self) -> Num:
        """Relative change of the heat the dryer is given, per point."""
        heats = (self.before.heat_given(), self.after.heat_given())
        return dryer_energy.heat_per_point(*heats, self.dryness_low, self.dryness_high)

    @property
    def water_per_point(self) -> Num:
        """The same of the water it evaporates: what the heat would follow if each kilogram took the same."""
        water = (self.before.evaporation, self.after.evaporation)
        return dryer_energy.heat_per_point(*water, self.dryness_low, self.dryness_high)


def drying_point(parts: Parts) -> DryingPoint | None:
    """The run's dryer beside one on a drier sheet.

    None where no sheet is dried, or where heat does not hold the reel: at the holder's bound a drier sheet changes the
    reel, not the heat.
    """
    before = parts.get("dryer")
    if not isinstance(before, Drying) or not before.heat_holds() or float(before.status) != 0:
        return None
    low = pressing.dryness_from_moisture_ratio(before.into.moisture_ratio)
    high = low + convention(POINT, phrase("machine.drying_point.one_point"))
    drier = before.into.with_(moisture_ratio=pressing.moisture_ratio_from_dryness(high))
    after = before.again(drier)
    if float(after.status) != 0:
        return None
    return DryingPoint(dryness_low=low, dryness_high=high, before=before, after=after)
