"""Numbers for a problem, made near a machine's own and written as they are given."""

from __future__ import annotations

import random
from typing import Any

import numpy as np

from thinstock.formula.label import Worksheet
from thinstock.tell.filled import as_written
from thinstock.tell.teller import Teller
from thinstock.words import nomenclature, units

Answers = list[tuple[str, Any]]
"""(word, value) of every answer, in the order of `asked`."""


class Maker:
    """Makes numbers near a machine's own, writes them, and remembers how they were written."""

    def __init__(self, teller: Teller, dice: random.Random, sheet: Worksheet) -> None:
        self.teller, self.dice, self.sheet = teller, dice, sheet
        self.result, self.machine = teller.result, teller.machine
        self.wet = teller.result.wet
        unit = teller.edge.unit("water_per_fibre").split("/")[0] or "kg"
        self.texts = {"water": f"{unit} of water", "fibre": f"{unit} of fibre"}

    def near(self, word: str, value: Any, spread: float = 0.2, digits: int = 2, name: str = "") -> Any:
        """A given number near a value: drawn evenly, rounded in the unit it is written in."""
        return self.given(word, float(value) * (1.0 + spread * (2.0 * self.dice.random() - 1.0)), digits, name)

    def between(self, word: str, low: float, high: float, digits: int = 2, name: str = "") -> Any:
        """A given number between two values."""
        return self.given(word, low + (high - low) * self.dice.random(), digits, name)

    def given(self, word: str, value: Any, digits: int = 3, name: str = "") -> Any:
        """A given number, rounded in the unit it is written in, known to the worksheet and to the text."""
        kind = nomenclature.word(word).kind
        known = None if kind in nomenclature.PLAIN_KINDS else kind
        unit, air = units.edge_unit(word, self.teller.unit_set), self.teller.edge.air
        number = units.from_si(float(value), unit, known, atmospheric_pressure=air)
        made = np.float64(units.to_si(float(f"{number:.{digits}g}"), unit, known, atmospheric_pressure=air))
        self.texts[name or word] = as_written(self.teller.given(word, made))
        return self.sheet.given(f"given {word}", made)

    def plain(self, name: str, value: float, places: int = 2) -> Any:
        """A given plain number of so many decimal places."""
        made = np.float64(round(value, places))
        self.texts[name] = f"{float(made):g}"
        return self.sheet.given("given number", made)

    # -- numbers that several problems give

    def density(self) -> Any:
        """Density of the stock."""
        return self.given("density", self.wet.water.density, 4)

    def losses(self) -> Any:
        """Share of the speed without losses that the jet reaches."""
        return self.plain("velocity_coefficient", float(self.machine.headbox.velocity_coefficient))

    def neck(self) -> Any:
        """Contraction of the jet."""
        return self.plain("contraction", 0.75 + 0.2 * self.dice.random())

    def thin(self, spread: float = 0.3) -> Any:
        """Headbox consistency."""
        return self.near("consistency", self.result["consistency"], spread)

    def kept(self) -> Any:
        """First-pass retention."""
        return self.near("retention", self.result["retention"], 0.08)

    def speed(self, word: str = "speed", spread: float = 0.2) -> Any:
        """Speed of the machine."""
        return self.near(word, self.result["speed"], spread, 3)

    def sold(self) -> tuple[Any, Any, Any, Any]:
        """Reel grammage, reel dryness, dryer speed, crepe."""
        grade = self.machine.grade
        weight = self.near("reel_grammage", grade.reel_grammage, 0.2, 3)
        dry, speed = self.given("dryness", grade.reel_dryness, 3), self.speed("yankee_speed")
        low, high = (0.12, 0.22) if float(grade.crepe) > 0 else (0.0, 0.0)
        return weight, dry, speed, self.between("crepe", low, high)

    def main_fibre(self) -> Any:
        """The fibre of which there is most."""
        return max(self.machine.stock.furnish, key=lambda one: float(one.share))

    def mass_flow(self) -> float:
        """Flow of the fan pump, kg/s."""
        return float(self.wet.delivery.fan_flow_per_width * self.wet.water.density * self.machine.width)
