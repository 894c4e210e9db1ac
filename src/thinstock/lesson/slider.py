"""The one slider of a scene: its ends, its scale, the value it stands at, and what is marked on it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from thinstock.case import values
from thinstock.case.overrides import value_at
from thinstock.errors import Fault, Refused
from thinstock.lesson.model import Move
from thinstock.lesson.own_numbers import grouped
from thinstock.lesson.subject import Subject, placed
from thinstock.machine.line import Machine
from thinstock.sheet.showcase import library_grade
from thinstock.words import address, units
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

INDICATORS = {
    "kick": ("kick_rolls", "kick_foils"),
    "rim": ("rim", "rim_breast"),
    "throw": ("throw_full",),
    "pond": ("pond",),
}
"""Indicators behind the numbers of a scene."""
WIDE = 8.0
"""Ends so many times apart make a logarithmic scale."""
STEPS = 400
TICKS = 6


@dataclass(frozen=True, kw_only=True)
class Slider:
    """A slider as it is shown; places are shares of its length."""

    address: str
    label: str
    unit: str
    low: float
    """Values at its ends in its unit: left and right, whichever is larger."""
    high: float
    at: float
    logarithmic: bool
    ticks: tuple[tuple[float, str], ...]
    marks: tuple[tuple[float, str], ...]
    """Grades at their usual consistency."""
    brackets: tuple[tuple[float, str], ...]
    """Where an indicator meets its yardstick."""

    def share(self, value: float) -> float:
        """Place of a value, 0 to 1."""
        if self.logarithmic:
            return abs(math.log(value / self.low) / math.log(self.high / self.low))
        return (value - self.low) / (self.high - self.low)

    def value(self, share: float) -> float:
        """The value at a place."""
        held = min(max(share, 0.0), 1.0)
        if self.logarithmic:
            return float(self.low * (self.high / self.low) ** held)
        return float(self.low + held * (self.high - self.low))

    def text(self, share: float) -> str:
        """The value at a place as a machine file writes it."""
        return f"{self.value(share):.4g} {self.unit}".strip()

    def shown(self, share: float) -> str:
        """The value as a class reads it."""
        return (
            grouped(self.value(share), 3).rstrip("0").rstrip(".")
            if self.value(share) < 1
            else grouped(self.value(share), 3)
        )


def slider(move: Move, machine: Machine) -> Slider:
    """The slider of a move on a machine; ends that are not of its kind are refused."""
    where = placed(machine, move.address)
    amounts = []
    for text in (move.first, move.last, *((move.at,) if move.at else ())):
        number, _, unit = text.partition(" ")
        try:
            value_at(machine, where, text)
        except values.Unread as wrong:
            raise Refused(Fault(field=f"move.{where}", value=text, bound=wrong.bound, remedy=wrong.remedy)) from None
        amounts.append((float(number), unit.strip()))
    same_unit = len({unit for _, unit in amounts}) == 1
    low, high = amounts[0][0], amounts[1][0]
    if not same_unit or low == high:
        raise Refused(fault_in("lesson.fault.slider", "move", f"{move.first}, {move.last}", address=move.address))
    unit = amounts[0][1]
    logarithmic = low > 0 and high > 0 and max(low, high) / min(low, high) >= WIDE
    at = amounts[2][0] if move.at else _own(machine, where, unit, low, high)
    bare = Slider(address=where, label=_label(where), unit=unit, low=low, high=high, at=at, logarithmic=logarithmic,
                  ticks=(), marks=(), brackets=())  # fmt: skip
    return Slider(address=where, label=bare.label, unit=unit, low=low, high=high, at=at, logarithmic=logarithmic,
                  ticks=_ticks(bare), marks=_grades(bare, move.grades), brackets=())  # fmt: skip


def with_brackets(shown: Slider, subject: Subject, numbers: tuple[str, ...]) -> Slider:
    """With the speed marked at which an indicator of the scene, or else what comes first, meets its yardstick."""
    if not shown.address.endswith(".speed"):
        return shown
    wanted = [name for number in numbers for name in INDICATORS.get(number.removesuffix("_speed"), ())]
    found = []
    for one in subject.indicators.values():
        at = one.speed_at_yardstick
        if one.side == "highest" and at is not None and math.isfinite(at) and (not wanted or one.name in wanted):
            share = shown.share(units.from_si(at, shown.unit, "speed"))
            if 0.02 <= share <= 0.98:
                found.append((share, phrase(f"lesson.bracket.{one.name}")))
    return Slider(**{**shown.__dict__, "brackets": tuple(sorted(found)[:1])})


def _own(machine: Machine, where: str, unit: str, low: float, high: float) -> float:
    """The machine's own value where it is between the ends, else the first end."""
    value = address.get(machine, where)
    kind = units.find(unit)
    own = float(units.from_si(float(value), unit)) if kind is not None else float(value)
    return own if min(low, high) <= own <= max(low, high) else low


def _label(where: str) -> str:
    last = "speed" if where.endswith(".speed") else address.split(where)[-1]
    try:
        return phrase(f"lesson.slider.{last}")
    except KeyError:
        return last.replace("_", " ")


def _ticks(shown: Slider) -> tuple[tuple[float, str], ...]:
    low, high = sorted((float(shown.low), float(shown.high)))
    found: list[float] = []
    if shown.logarithmic:
        for power in range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1):
            found += [m * 10.0**power for m in (1, 2, 5)]
    else:
        unit = 10.0 ** math.floor(math.log10((high - low) / 3))
        step = next(m * unit for m in (1.0, 2.0, 5.0, 10.0) if (high - low) / (m * unit) <= TICKS)
        found = [step * k for k in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]
    kept = [v for v in found if low * (1 - 1e-9) <= v <= high * (1 + 1e-9)]
    return tuple((shown.share(v), f"{v:.6g}") for v in kept)


def _grades(shown: Slider, names: tuple[str, ...]) -> tuple[tuple[float, str], ...]:
    found = []
    for name in names:
        share = shown.share(units.from_si(library_grade(name).usual, shown.unit, "fraction"))
        if -0.01 <= share <= 1.01:
            found.append((min(max(share, 0.0), 1.0), name))
    return tuple(found)
