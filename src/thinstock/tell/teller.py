"""One machine as something to tell of: its run, limits, ladder and sheets, each worked out once when first asked for.

Numbers come out as texts with the digits they deserve, in the units of one set, with their spread where it is known.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any

from thinstock.machine.limits import Limits
from thinstock.machine.line import Machine
from thinstock.machine.result import Result
from thinstock.machine.told import Stream, WaterPrice
from thinstock.tell.cells import named
from thinstock.tell.numbers import ends_of
from thinstock.tell.run import Run
from thinstock.words import nomenclature, units
from thinstock.words.figures import HELD_TOGETHER, Edge, figure
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.evidence.uncertain import Uncertain
    from thinstock.machine.evenness import Evenness
    from thinstock.studies.ladder import Ladder


class Teller:
    """A machine and everything a handout tells of it."""

    def __init__(self, machine: Machine, unit_set: units.UnitSet = "mill", result: Result | None = None) -> None:
        self.machine = machine
        self.unit_set = unit_set
        self.result = machine.run() if result is None else result
        self.edge = Edge(unit_set=unit_set, air=float(machine.site.atmospheric_pressure()))

    # -- what was worked out ------------------------------------------------------------------------------------------

    @property
    def formed(self) -> bool:
        """Whether there is a sheet at all."""
        return bool(self.result.values.get("formed", True))

    @property
    def dried_on_yankee(self) -> bool:
        """Whether the machine dries on a Yankee under a hood."""
        return self.machine.yankee is not None

    @cached_property
    def limits(self) -> Limits:
        """Speed limits at the speed of the run."""
        from thinstock.machine.limits import limits

        at = {self.machine.speed_address: self.result.machine.speed}
        return limits(self.machine.with_(at), result=self.result)

    @cached_property
    def ladder(self) -> Ladder:
        """The formers of the trade for this sheet, at a few speeds and at the machine's own."""
        from thinstock.studies.ladder import formers

        own = float(self.result["speed"])
        return formers(self.machine, speeds=sorted({*LADDER_SPEEDS, own}), era=True)

    @cached_property
    def spreads(self) -> Mapping[str, Uncertain]:
        """Middle and ends of the draws of every number."""
        from thinstock.studies.bands import uncertainty

        return uncertainty(self.machine, result=self.result) if self.formed else {}

    @cached_property
    def evenness(self) -> Evenness:
        """Formation of the sheet on the wire."""
        found: Evenness = self.result.evenness()
        return found

    @cached_property
    def run(self) -> Run:
        """The run as it is told on screen and page; without limits, which `limits` has."""
        return Run(self.result, self.unit_set)

    # -- numbers as texts ---------------------------------------------------------------------------------------------

    def known(self, name: str) -> bool:
        """Whether a named number exists."""
        value = self.result.values.get(name)
        return value is not None and not isinstance(value, str) and math.isfinite(float(value))

    def value(self, name: str, *, sure: bool = True, digits: int | None = None) -> str:
        """A named number with its unit; `sure=False` puts the ends of its draws beside it."""
        ends = "" if sure else ends_of(self.edge, name, self.spreads.get(name))
        return f"{named(self.edge, {name: self.result[name]}, name, digits or 0)} {ends}".strip(" ")

    def say(self, word: str, value: Any, digits: int = 3) -> str:
        """A value of a word with its unit."""
        return self.edge.text(word, value, digits)

    def given(self, word: str, value: Any) -> str:
        """A value that somebody gave, as given: without zeros behind it."""
        text = units.write_word(word, float(value), self.unit_set, 4, atmospheric_pressure=self.edge.air)
        return text.replace(" ", HELD_TOGETHER, 1)

    @property
    def mass(self) -> str:
        """The mass people speak of."""
        return {"kg": "kilogram", "lb": "pound"}.get(self.edge.unit("water_per_fibre").split("/")[0], "kilogram")

    def calibrated(self, *addresses: str) -> bool:
        """Whether any of these values was measured or calibrated on the machine."""
        known = (self.machine.given.get(where) for where in addresses)
        return any(one is not None and one.status in ("measured", "calibrated") for one in known)

    def kilograms(self, ratio: Any, digits: int = 3) -> str:
        """Water per fibre as people say it: "525 kg of water for each kilogram of fibre"."""
        unit = self.edge.unit("water_per_fibre").split("/")[0]
        return phrase("walk.water", amount=self.edge.figure("water_per_fibre", ratio, digits), mass=unit)

    def per_cent(self, share: Any, digits: int = 3) -> str:
        """A share in per cent, never rounded up to all."""
        number = 100 * float(share)
        text = figure(number, digits)
        if number < 100 and float(text) >= 100:
            text = figure(number, digits + 1)
        return f"{text}{HELD_TOGETHER}%"

    def stage(self, name: str) -> WaterPrice | None:
        """What one stage takes and costs; None where no sheet formed."""
        return next((row for row in self.result.water_prices if row.stage == name), None)

    def stream(self, *names: str) -> Sequence[Stream]:
        """Streams by id."""
        return [s for s in self.result.streams if s.id in names]

    def meaning(self, word: str) -> str:
        """What a word stands for."""
        return nomenclature.word(word).meaning


LADDER_SPEEDS = tuple(v / 60 for v in (300.0, 600.0, 1000.0, 1500.0, 2000.0))
