"""What a run leaves: stations, streams, energy, headline numbers, notes and closure. Adds up; decides nothing.

Everything is per metre of machine width unless it says otherwise. One case gives plain numbers, a run over cases gives
arrays with the case axis first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from thinstock.formula.label import RangeWatch, Worksheet
from thinstock.words.note import Note
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.machine.run import DryEnd, WetEnd

OUTSIDE = "outside"


@dataclass(frozen=True, kw_only=True, eq=False)
class Stream:
    """One stream: from node to node; fibre (with fines), water (with vapour), dry air in kg/(s m), heat in W/m."""

    name: str
    source: str
    sink: str
    fibre: Num = 0.0
    fines: Num = 0.0
    water: Num = 0.0
    air: Num = 0.0
    heat: Num = 0.0
    temperature: Num = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Station:
    """The sheet (or stock) at one place."""

    name: str
    dryness: Num
    moisture_ratio: Num
    grammage: Num
    temperature: Num
    speed: Num


@dataclass(frozen=True, kw_only=True, eq=False)
class Consumer:
    """One user of energy: electricity, steam heat or gas, W/m, and what it is per mass of product, J/kg."""

    name: str
    stage: str
    """forming, vacuum, press or evaporation: who pays for the water."""
    kind: str
    """electricity, steam or gas."""
    power: Num
    per_mass: Num


@dataclass(frozen=True, kw_only=True, eq=False)
class WaterPrice:
    """What one stage takes of the water, and at what price per kilogram."""

    stage: str
    water_per_fibre: Num
    share: Num
    energy_per_water: Num
    """J per kg water."""
    money_per_mass: Num
    """Money per kg of product; None where a price is not given."""


def closure(streams: tuple[Stream, ...]) -> dict[str, float]:
    """Largest imbalance of any node, relative to the node's largest flow, for fibre, fines, water, air and heat."""
    worst: dict[str, float] = {}
    nodes = sorted({s.source for s in streams} | {s.sink for s in streams})
    for quantity in ("fibre", "fines", "water", "air", "heat"):
        worst[quantity] = 0.0
        for node in nodes:
            if node == OUTSIDE:
                continue
            parts = [(np.asarray(getattr(s, quantity), dtype=float), s.sink == node) for s in streams
                     if node in (s.source, s.sink)]  # fmt: skip
            total: Any = sum(np.where(into, v, -v) for v, into in parts)
            largest: Any = np.max(np.stack(np.broadcast_arrays(*[np.abs(v) for v, _ in parts])), axis=0)
            with np.errstate(invalid="ignore", divide="ignore"):
                error = np.where(largest > 0, np.abs(total) / largest, 0.0)
            finite = error[np.isfinite(error)]
            if finite.size:
                worst[quantity] = max(worst[quantity], float(finite.max()))
    return worst


@dataclass(frozen=True, kw_only=True, eq=False)
class Result:
    """The result of `machine.run()`."""

    machine: Machine
    single: bool
    values: Mapping[str, Any]
    """Headline and other named numbers, SI."""
    stations: tuple[Station, ...]
    streams: tuple[Stream, ...]
    energy: tuple[Consumer, ...]
    water_prices: tuple[WaterPrice, ...]
    notes: tuple[Note, ...]
    worksheet: Worksheet | None
    wet: WetEnd
    """What stock, headbox, former, vacuum and press did."""
    dry: DryEnd | None
    """What the dryer did; None where no sheet was formed."""
    held_by: str
    """What holds the reel dryness."""
    asked: Machine
    """The machine as it was asked for (`machine` is the one at the speed that was found)."""
    watch: RangeWatch | None
    """Which cases left the range of a formula; None in a run of one case."""

    def __getitem__(self, name: str) -> Any:
        if name not in self.values:
            from difflib import get_close_matches

            from thinstock.errors import Fault, Refused

            near = get_close_matches(name, list(self.values), n=3, cutoff=0.4)
            raise Refused(
                Fault(
                    field=name,
                    bound="no result of this name",
                    remedy=f"Nearest: {', '.join(near) or 'none'}.",
                )
            )
        return self.values[name]

    def closure(self) -> dict[str, float]:
        """Largest relative imbalance of any node per quantity, from the streams alone."""
        return closure(self.streams)

    def evenness(self) -> Any:
        """Formation of the sheet on the wire (one case; worked out when asked for)."""
        from thinstock.machine.evenness import evenness

        return evenness(self.machine, self.wet)

    def sources(self) -> list[str]:
        """Keys of the sources really used in this run."""
        if self.worksheet is None:
            return []
        return sorted({step.label.source for step in self.worksheet.steps})

    def formulas(self) -> list[tuple[str, str]]:
        """(formula, status) of every formula used, each once."""
        if self.worksheet is None:
            return []
        found = {step.label.name: step.label.status for step in self.worksheet.steps}
        return sorted(found.items())
