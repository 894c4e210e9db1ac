"""Numbers as people read them: the digits they deserve, their uncertainty, in the units of one set.

For screens, pages and paper alike; nothing is worked out here but the rounding and the unit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from thinstock.words import nomenclature, units
from thinstock.words.phrase import phrase

NONE = "–"
HELD_TOGETHER = "\u00a0"
"""Between a number and its unit, so that no line breaks there."""


def figure(number: float, digits: int) -> str:
    """A number with so many significant digits, zeros kept: 5.0, 0.190, 14500."""
    if not math.isfinite(number):
        return NONE
    if number == 0:
        return "0"
    rounded = float(f"{number:.{digits - 1}e}")
    places = digits - 1 - math.floor(math.log10(abs(rounded)))
    return f"{rounded:.{max(places, 0)}f}".replace("-", "−")


def signed(number: float, places: int) -> str:
    """A change with its sign and so many decimals; nothing is "0"."""
    if not math.isfinite(number):
        return NONE
    text = f"{number:+.{places}f}"
    return text.replace("-", "−") if float(text) else "0"


def rounded(number: float) -> str:
    """A number of a long table: three digits at most, no decimals from ten on."""
    if not math.isfinite(number):
        return NONE
    if 0 < abs(number) < 0.1:
        return "< 0.1"
    if abs(number) >= 10:
        return figure(number, 3) if abs(number) >= 100 else f"{number:.0f}".replace("-", "−")
    return figure(number, 2)


def grouped(number: float, digits: int) -> str:
    """A number with so many digits, thousands apart; what never ends or cannot be is said."""
    if math.isnan(number):
        return "not given"
    if math.isinf(number):
        return "never" if number > 0 else "none"
    if number == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(number)))
    rounded = round(number, places)
    return f"{rounded:,.{max(places, 0)}f}".replace(",", " ").replace("-", "−")


def plus_minus(number: float, spread: float, digits: int) -> str:
    """A number with its standard uncertainty, both ending at the same digit: "1960 ± 210"."""
    if not math.isfinite(spread) or spread <= 0:
        return figure(number, digits)
    keep = 2 if f"{spread:e}".startswith("1") or spread > 0.2 * abs(number) else 1
    places = keep - 1 - math.floor(math.log10(spread))
    most = digits - 1 - math.floor(math.log10(abs(number))) if number else digits
    places = min(places, most)
    if round(spread, places) == 0:
        return figure(number, digits)
    shown = [f"{round(v, places) + 0.0:.{max(places, 0)}f}".replace("-", "−") for v in (number, spread)]
    return f"{shown[0]}{HELD_TOGETHER}±{HELD_TOGETHER}{shown[1]}"


def _places(low: float, high: float) -> int:
    spread = (high - low) / (2 * 1.6448536269514722)
    return (1 if f"{spread:e}".startswith("1") else 0) - math.floor(math.log10(spread))


def _to(value: float, places: int) -> str:
    """A number to so many places, but never to nothing where it is something."""
    if value and abs(value) < 0.5 * 10.0**-places:
        places = -math.floor(math.log10(abs(value)))
    return f"{round(value, places) + 0.0:.{max(places, 0)}f}".replace("-", "−")


def between(low: float, high: float) -> str:
    """The ends of a central 90 % of draws, to one digit of their standard uncertainty: "37 to 41"; empty without width.

    To two where that digit is a 1. More would be chance: of 400 draws an end stands within a tenth of that uncertainty.
    """
    if not math.isfinite(low + high) or high <= low:
        return ""
    places = _places(low, high)
    shown = [_to(v, places) for v in (low, high)]
    return "" if shown[0] == shown[1] else phrase("numbers.between", low=shown[0], high=shown[1])


@dataclass(frozen=True, kw_only=True)
class Edge:
    """Writes values in one set of units."""

    unit_set: units.UnitSet
    air: float
    """Air pressure at the site, for gauge pressures."""

    def unit(self, word: str) -> str:
        """The unit of a word; empty for a plain number."""
        unit = units.edge_unit(word, self.unit_set)
        return "" if unit == "1" else unit

    def number(self, word: str, value: Any) -> float:
        """The number of a value in its unit; nan where there is none."""
        if value is None:
            return math.nan
        kind = nomenclature.word(word).kind
        known = None if kind in nomenclature.PLAIN_KINDS else kind
        unit = units.edge_unit(word, self.unit_set)
        return float(units.from_si(float(value), unit, known, atmospheric_pressure=self.air))

    def spread(self, word: str, value: float, spread: float) -> float:
        """A standard uncertainty in the unit of its value."""
        return abs(self.number(word, value + spread) - self.number(word, value))

    def figure(self, word: str, value: Any, digits: int) -> str:
        """The number alone, as text."""
        return figure(self.number(word, value), digits)

    def text(self, word: str, value: Any, digits: int, spread: float | None = None) -> str:
        """The value with its unit, and with its standard uncertainty where there is one."""
        number = self.number(word, value)
        if not math.isfinite(number):
            return NONE
        if spread is None or not math.isfinite(spread):
            shown = figure(number, digits)
        else:
            shown = plus_minus(number, self.spread(word, float(value), spread), digits)
        return f"{shown}{HELD_TOGETHER}{self.unit(word)}".rstrip(HELD_TOGETHER)
