"""The nip seen close: pressure on the sheet against place in the nip, for every nip of the machine."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from thinstock.drawing import svg
from thinstock.drawing.still import still
from thinstock.drawing.typeface import width_of
from thinstock.machine.along import NipProfile, along_nips
from thinstock.machine.keys import key_of
from thinstock.machine.outlines.said import in_unit
from thinstock.machine.press import Pressed
from thinstock.machine.result import Result
from thinstock.words.phrase import phrase, spoken

ROLES = ("curve", "curve 2", "curve 3")


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
        small, parts = 0.93 * size, []
        for value in np.linspace(0.0, self.top, 3):
            py = self.at(0, value * 1e6)[1]
            said = in_unit(value * 1e6, "MPa").split(" ")[0]
            parts.append(svg.line([(self.left - 4, py), (self.left, py)], "rule"))
            parts.append(svg.text(self.left - 7, py + 0.3 * size, said, "text", small, "end"))
        corner = [(self.left, self.roof - 4), (self.left, self.floor), (self.right, self.floor)]
        parts.append(svg.line(corner, "rule"))
        for mm in _ticks(self.longest * 1e3):
            px = self.at(mm / 1e3, 0)[0]
            parts.append(svg.line([(px, self.floor), (px, self.floor + 4)], "rule"))
            said = in_unit(mm / 1e3, "mm").split(" ")[0]
            parts.append(svg.text(px, self.floor + 1.2 * size, said, "text", small, "middle"))
        place = phrase("drawing.inset.place", unit=in_unit(0.0, "mm").split(" ")[1])
        parts.append(svg.text(self.right, self.floor + 2.4 * size, place, "text", small, "end"))
        return parts


def _profiles(result: Result) -> list[NipProfile]:
    """Pressure through the nips; none where no sheet came to them."""
    return _of(result.parts.press) if "press" in result.parts else []


@lru_cache(maxsize=4)
def _of(pressed: Pressed) -> list[NipProfile]:
    """The same of a press, worked out once for all that a drawing shows of it."""
    return along_nips(pressed)


def extent(result: Result, size: float, room: float) -> tuple[float, float]:
    """Width and height that the inset takes, px; nothing where there is nothing to show."""
    said = _said(_profiles(result))
    if not said:
        return 0.0, 0.0
    wide = max(2.6 * size + max(width_of(one, 0.93 * size) for one in said), 21.0 * size)
    return min(wide, room - 2 * size), (12.5 + 1.25 * len(said)) * size


def draw(result: Result, corner: tuple[float, float], extent: tuple[float, float], size: float) -> str:
    """The inset with its upper left corner at a place in pixels; the same as before where no nip has moved."""
    profiles = _profiles(result)
    curves = key_of(tuple((one.place, one.pressure) for one in profiles))
    words = (*_said(profiles), in_unit(0.0, "MPa"), in_unit(0.0, "mm"), spoken())
    return still((curves, words, corner, extent, size)).made(
        "inset", None, lambda: _drawn(profiles, corner, extent, size)
    )


def _drawn(profiles: list[NipProfile], corner: tuple[float, float], extent: tuple[float, float], size: float) -> str:
    said = _said(profiles)
    (x, y), (width, height), small = corner, extent, 0.93 * size
    axes = _Axes(
        left=x + 3.2 * size, right=x + width - 1.0 * size, floor=y + height - 2.7 * size,
        roof=y + (2.2 + 1.25 * len(said)) * size, longest=max(float(p.place[-1]) for p in profiles),
        top=_step(max(float(p.pressure.max()) for p in profiles) / 1e6 * 1.12),
    )  # fmt: skip
    title = phrase("drawing.inset.title", unit=in_unit(0.0, "MPa").split(" ")[1])
    parts = [svg.text(x, y + size, title, "text strong", size)]
    for i, (one, role) in enumerate(zip(said, ROLES, strict=False)):
        py = y + (2.4 + 1.25 * i) * size
        parts.append(svg.line([(x, py - 0.3 * size), (x + 2 * size, py - 0.3 * size)], role))
        parts.append(svg.text(x + 2.6 * size, py, one, "text", small))
    parts += axes.markup(size)
    parts += [svg.line(_curve(axes, p), role) for p, role in zip(profiles, ROLES, strict=False)]
    return "".join(parts)


def _said(profiles: list[NipProfile]) -> list[str]:
    """What stands beside each curve: its name where there are several, its peak, its mean."""
    found = []
    for one in profiles:
        peak, mean = in_unit(one.pressure.max(), "MPa", 2), in_unit(one.mean, "MPa", 2)
        key = "drawing.inset.curve" if len(profiles) > 1 else "drawing.inset.one"
        found.append(phrase(key, name=one.name, peak=peak, mean=mean))
    return found


def _curve(axes: _Axes, profile: NipProfile) -> list[tuple[float, float]]:
    return [axes.at(float(a), float(p)) for a, p in zip(profile.place, profile.pressure, strict=True)]


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
