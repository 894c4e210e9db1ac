"""What a run leaves: stations, streams, energy, headline numbers, notes and closure. Adds up; decides nothing.

Numbers and users of energy are there at once, the rest is put together when first asked for.
Everything is per metre of machine width unless it says otherwise. One case gives plain numbers, a run over cases gives
arrays with the case axis first.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from thinstock.formula.label import ARITHMETIC, Label, Worksheet, watching, worksheet
from thinstock.formula.used import UsedLabels
from thinstock.machine import shown
from thinstock.machine.gather import notes_of, prices_of, stations_of, streams_of
from thinstock.machine.told import OUTSIDE, Consumer, Station, Stream, WaterPrice
from thinstock.machine.views import WetEnd
from thinstock.words.fault import fault_in
from thinstock.words.note import Note
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.dryer import Drying
    from thinstock.machine.drying_point import DryingPoint
    from thinstock.machine.evenness import Evenness
    from thinstock.machine.line import Machine
    from thinstock.machine.notes import Watch
    from thinstock.machine.parts import Parts
    from thinstock.machine.web import Web


def closure(streams: tuple[Stream, ...]) -> dict[str, float]:
    """Largest imbalance of any node, relative to the node's largest flow, for fibre, fines, water, air and heat.

    Infinite where a flow of a node is no number beside one that is: only a node that no sheet reaches is left out.
    """
    worst: dict[str, float] = {}
    nodes = sorted({s.source for s in streams} | {s.sink for s in streams})
    for quantity in ("fibre", "fines", "water", "air", "heat"):
        worst[quantity] = 0.0
        for node in nodes:
            if node == OUTSIDE:
                continue
            parts = [(np.asarray(getattr(s, quantity), dtype=float), s.sink == node) for s in streams
                     if node in (s.source, s.sink)]  # fmt: skip
            flows = np.stack(np.broadcast_arrays(*[v if into else -v for v, into in parts]))
            known = np.isfinite(flows)
            largest = np.max(np.abs(flows), axis=0, where=known, initial=0.0)
            total = np.abs(np.sum(flows, axis=0, where=known))
            error = np.divide(total, largest, out=np.zeros_like(total), where=largest > 0)
            error = np.where(~known.all(axis=0) & (largest > 0), np.inf, error)
            worst[quantity] = max(worst[quantity], float(error.max()))
    return worst


@dataclass(frozen=True, kw_only=True, eq=False)
class Result:
    """The result of `machine.run()`."""

    machine: Machine
    asked: Machine
    """The machine as it was asked for (`machine` is the one at the speed that was found)."""
    held_by: str
    """What holds the reel dryness."""
    parts: Parts
    """What each part did, by its place in the line and with its own type: `parts.press.nips`."""
    values: Mapping[str, Num]
    """Headline and other named numbers, SI."""
    energy: tuple[Consumer, ...]
    watch: Watch
    """What left the range of a formula."""
    again: Callable[[Worksheet | None], Result] | None
    """The same run done once more, its numbers known to a worksheet if one listens; None in a run over cases."""

    @property
    def single(self) -> bool:
        """Whether it is the run of one case."""
        return self.again is not None

    @cached_property
    def stations(self) -> tuple[Station, ...]:
        """The sheet (or stock) from headbox to reel."""
        with watching(self.watch):
            return stations_of(self.machine, self.parts)

    @cached_property
    def streams(self) -> tuple[Stream, ...]:
        """Every stream, in the order of the line."""
        with watching(self.watch):
            return streams_of(self.machine, self.parts)

    @cached_property
    def water_prices(self) -> tuple[WaterPrice, ...]:
        """What each stage takes of the water, and at what price."""
        with watching(self.watch):
            return prices_of(self.machine, self.parts, self.energy)

    @cached_property
    def notes(self) -> tuple[Note, ...]:
        """What is unusual, assumed or outside a stated range, the weightiest first."""
        with watching(self.watch):
            _ = self.stations, self.streams, self.water_prices  # they may leave ranges too
            return notes_of(self.machine, self.parts, self.values, self.watch)

    @cached_property
    def worksheet(self) -> Worksheet | None:
        """Every formula that was used; None in a run over cases.

        Made when first asked for, by the same run done once more; from then on the numbers here remember it.
        """
        if self.again is None:
            return None
        with worksheet() as sheet:
            told = self.again(sheet)
            found = {
                "stations": stations_of(told.machine, told.parts),
                "streams": streams_of(told.machine, told.parts),
                "water_prices": prices_of(told.machine, told.parts, told.energy),
            }
        self.__dict__.pop("wet", None)
        self.__dict__.update(values=told.values, energy=told.energy, parts=told.parts, **found)
        return sheet

    @cached_property
    def drying_point(self) -> DryingPoint | None:
        """The dryer with a sheet one point drier beside it (one case; worked out when asked for); None where heat does
        not hold the reel."""
        from thinstock.machine.drying_point import drying_point

        if self.worksheet is None:
            return None
        with watching(self.worksheet):
            return drying_point(self.parts)

    @cached_property
    def heat_per_point(self) -> Num:
        """Relative change of the dryer's heat per point of dryness into it; None where heat does not hold the reel."""
        point = self.drying_point
        if point is None or self.worksheet is None:
            return None
        with watching(self.worksheet):
            return point.heat_per_point

    def __repr__(self) -> str:
        return shown.text(self)

    def _repr_html_(self) -> str:
        return shown.html(self)

    def to_dict(self) -> dict[str, Any]:
        """Everything the run tells as plain Python data, base SI; None for what is not there."""
        return shown.as_dict(self)

    def to_pandas(self) -> Any:
        """The values as a pandas data frame, one row a case, base SI; ImportError without pandas."""
        return shown.as_pandas(self)

    def along(self, name: str) -> Any:
        """The profile along a part ("forming", "press", "dryer"): its own record; None where it has none."""
        return self.parts[name].along()

    def __getitem__(self, name: str) -> Num:
        if name not in self.values:
            from difflib import get_close_matches

            from thinstock.errors import Refused

            near = get_close_matches(name, list(self.values), n=3, cutoff=0.4)
            raise Refused(fault_in("machine.result.no_result_this_name", name, near=", ".join(near) or "none"))
        return self.values[name]

    @property
    def webs(self) -> Mapping[str, Web]:
        """The sheet as it leaves each part it reached."""
        return {name: done.out for name, done in self.parts.items()}

    @cached_property
    def wet(self) -> WetEnd:
        """Stock, headbox, former, vacuum and press in one view."""
        return WetEnd(self.parts)

    @property
    def dry(self) -> Drying | None:
        """What the dryer did; None where no sheet was formed."""
        return self.parts.dryer if "dryer" in self.parts else None

    def closure(self) -> dict[str, float]:
        """Largest relative imbalance of any node per quantity, from the streams alone."""
        return closure(self.streams)

    def evenness(self) -> Evenness:
        """Formation of the sheet on the wire (one case; worked out when asked for)."""
        from thinstock.machine.evenness import evenness

        return evenness(self.machine, self.parts)

    @cached_property
    def _used(self) -> dict[str, Label]:
        """The formulas used, by their names: of the worksheet where there is one, else of the same run once more."""
        if self.again is None:
            return {}
        if "worksheet" in self.__dict__:
            return {step.label.name: step.label for step in self.__dict__["worksheet"].steps}
        with watching(UsedLabels()) as used:
            told = self.again(None)
            stations_of(told.machine, told.parts)
            streams_of(told.machine, told.parts)
            prices_of(told.machine, told.parts, told.energy)
        return used.labels

    def sources(self) -> list[str]:
        """Keys of the sources really used in this run."""
        return sorted({label.source for label in self._used.values()})

    def formulas(self) -> list[tuple[str, str]]:
        """(formula, status) of every labelled formula used, each once."""
        return sorted((name, label.status) for name, label in self._used.items() if name != ARITHMETIC)
