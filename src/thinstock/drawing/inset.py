"""The nip seen close: pressure on the sheet against place in the nip, for every nip of the machine."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from thinstock.drawing import svg
from thinstock.machine.along import NipProfile, along_nips
from thinstock.machine.outlines.said import in_unit
from thinstock.machine.result import Result
from thinstock.words.phrase import phrase

ROLES = ("curve", "curve 2", "curve 3")


def lines_over(result: Result) -> int:
    """Lines of names above the curves."""
    count = len(result.wet.nips)
    return count if count > 1 else 0


@dataclass(frozen=True)
class _Axes:
    """Where the curves stand, px, and what they reach."""

    left: float
    right: float
    floor: float
    roof: float
    longest: float
    """m"""
    top: float
    """MPa"""

    def at(self, place: float, pressure: float) -> tuple[float, float]:
        """A pressure (Pa) at a place (m) in pixels."""
        x = self.left + (self.right - self.left) * place / self.longest
        return x, self.floor - (self.floor - self.roof) * pressure / (self.top * 1e6)

    def markup(self, size: float) -> list[str]:
        """Both axes with their ticks."""
        small, parts = 0.86 * size, []
        for value in np.linspace(0.0, self.top, 3):
            py = self.at(0, value * 1e6)[1]
            parts.append(svg.line([(self.left - 4, py), (self.left, py)], "rule"))
            parts.append(svg.text(self.left - 7, py + 0.34 * size, f"{value:g}", "text", small, "end"))
        corner = [(self.left, self.roof - 4), (self.left, self.floor), (self.right, self.floor)]
        parts.append(svg.line(corner, "rule"))
        for mm in _ticks(self.longest * 1e3):
            px = self.at(mm / 1e3, 0)[0]
            parts.append(svg.line([(px, self.floor), (px, self.floor + 4)], "rule"))
            parts.append(svg.text(px, self.floor + 1.15 * size, f"{mm:g}", "text", small, "middle"))
        place = phrase("drawing.inset.place")
        parts.append(svg.text(self.right, self.floor + 2.2 * size, place, "text", small, "end"))
        return parts


def _profiles(result: Result) -> list[NipProfile]:
    """Pressure through the nips; none where no sheet came to them."""
    return along_nips(result.parts.press) if "press" in result.parts else []


def draw(result: Result, corner: tuple[float, float], width: float, height: float, size: float) -> str:
    """The inset with its upper left corner at a place in pixels."""
    profiles = _profiles(result)
    if not profiles:
        return ""
    x, y = corner
    names = 1.2 * len(profiles) if len(profiles) > 1 else 0.0
    axes = _Axes(
        left=x + 2.2 * size, right=x + width - 0.5 * size, floor=y + height - 2.6 * size, roof=y + (2.7 + names) * size,
        longest=max(float(p.place[-1]) for p in profiles),
        top=_step(max(float(p.pressure.max()) for p in profiles) / 1e6 * 1.12),
    )  # fmt: skip
    parts = [svg.text(x, y + size, phrase("drawing.inset.title"), "text strong", size)]
    if len(profiles) > 1:
        for i, (profile, role) in enumerate(zip(profiles, ROLES, strict=False)):
            py = y + (2.4 + 1.2 * i) * size
            parts.append(svg.line([(x, py - 0.3 * size), (x + 2 * size, py - 0.3 * size)], role))
            said = phrase("drawing.inset.curve", name=profile.name, peak=in_unit(profile.pressure.max(), "MPa", 2))
            parts.append(svg.text(x + 2.5 * size, py, said, "text", 0.86 * size))
    parts += axes.markup(size)
    for profile, role in zip(profiles, ROLES, strict=False):
        parts.append(svg.line(_curve(axes, profile), role))
    if len(profiles) == 1:
        parts.append(_only(axes, profiles[0], 0.86 * size, size))
    return "".join(parts)


def _curve(axes: _Axes, profile: NipProfile) -> list[tuple[float, float]]:
    return [axes.at(float(a), float(p)) for a, p in zip(profile.place, profile.pressure, strict=True)]


def _only(axes: _Axes, one: NipProfile, small: float, size: float) -> str:
    """Peak and mean above the peak of the only curve."""
    px, py = _curve(axes, one)[int(np.argmax(one.pressure))]
    peak, mean = in_unit(one.pressure.max(), "MPa", 2), in_unit(one.mean, "MPa", 2)
    said = phrase("drawing.inset.one", peak=peak, mean=mean)
    room = svg.width_of(said, small)
    px = min(max(px, axes.left + room / 2 + 3), axes.right - room / 2)
    return svg.text(px, py - 0.45 * size, said, "text halo", small, "middle")


def told(result: Result) -> str:
    """The inset in words."""
    return "; ".join(
        phrase("drawing.inset.told", name=p.name, length=in_unit(p.place[-1], "mm", 2), mean=in_unit(p.mean, "MPa", 2),
               peak=in_unit(p.pressure.max(), "MPa", 2))
        for p in _profiles(result)
    )  # fmt: skip


def _step(value: float) -> float:
    """A round number at or above a value."""
    power = 10.0 ** math.floor(math.log10(value))
    return next(power * m for m in (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0) if power * m >= value * (1 - 1e-9))


def _ticks(longest: float) -> list[float]:
    step = _step(longest / 4)
    return [step * i for i in range(int(longest / step + 1e-9) + 1)]
