"""The nip seen close: pressure on the sheet against place in the nip, for every nip of the machine."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from thinstock.drawing import svg
from thinstock.drawing.words import in_unit, number
from thinstock.formula.label import Array, worksheet
from thinstock.machine.press import ShoeNip
from thinstock.relations import nip

PARABOLA, QUARTIC = 1.5, 1.875
"""Peak over mean of the two closed profiles of a roll nip."""
ROLES = ("curve", "curve 2", "curve 3")


class NipProfile(NamedTuple):
    """Pressure through one nip."""

    name: str
    place: Array
    """m from the ingoing side."""
    pressure: Array
    """Pa."""
    mean: float


def nip_profiles(result: Any, count: int = 81) -> list[NipProfile]:
    """Pressure through each nip: shoe profile, or the mix of parabola and quartic with the run's own peak."""
    found = []
    s = np.linspace(0.0, 1.0, count)
    with worksheet(False):
        for part, one in zip(result.machine.press.nip, result.wet.nips, strict=False):
            mean = number(one.nip_pressure)
            if isinstance(part, ShoeNip):
                shape = nip.profile_shoe(s, part.peak_position, part.shoe_peak_ratio)
            else:
                share = (number(one.peak_pressure) / mean - PARABOLA) / (QUARTIC - PARABOLA)
                shape = (1 - share) * nip.profile_parabola(s) + share * nip.profile_quartic(s)
            found.append(NipProfile(part.name, s * number(one.nip_width), np.asarray(shape) * mean, mean))
    return found


def lines_over(result: Any) -> int:
    """Lines of names above the curves."""
    count = len(result.wet.nips)
    return count if count > 1 else 0


def draw(result: Any, x: float, y: float, width: float, height: float, size: float) -> str:
    """The inset at a place in pixels."""
    profiles = nip_profiles(result)
    if not profiles:
        return ""
    longest = max(float(p.place[-1]) for p in profiles)
    highest = max(float(p.pressure.max()) for p in profiles)
    top = _step(highest / 1e6 * 1.12)
    left, right = x + 2.2 * size, x + width - 0.5 * size
    floor, roof = y + height - 2.6 * size, y + (2.7 + (1.2 * len(profiles) if len(profiles) > 1 else 0.0)) * size

    def at(place: float, pressure: float) -> tuple[float, float]:
        return left + (right - left) * place / longest, floor - (floor - roof) * pressure / (top * 1e6)

    parts = [svg.text(x, y + size, "Pressure in the nip, MPa", "text strong", size)]
    if len(profiles) > 1:
        for i, (profile, role) in enumerate(zip(profiles, ROLES, strict=False)):
            py = y + (2.4 + 1.2 * i) * size
            parts.append(svg.line([(x, py - 0.3 * size), (x + 2 * size, py - 0.3 * size)], role))
            said = f"{profile.name}, peak {in_unit(profile.pressure.max(), 'MPa', 2)}"
            parts.append(svg.text(x + 2.5 * size, py, said, "text", 0.86 * size))
    for value in np.linspace(0.0, top, 3):
        py = at(0, value * 1e6)[1]
        parts.append(svg.line([(left - 4, py), (left, py)], "rule"))
        parts.append(svg.text(left - 7, py + 0.34 * size, f"{value:g}", "text", 0.86 * size, "end"))
    parts.append(svg.line([(left, roof - 4), (left, floor), (right, floor)], "rule"))
    for mm in _ticks(longest * 1e3):
        px = at(mm / 1e3, 0)[0]
        parts.append(svg.line([(px, floor), (px, floor + 4)], "rule"))
        parts.append(svg.text(px, floor + 1.15 * size, f"{mm:g}", "text", 0.86 * size, "middle"))
    parts.append(svg.text(right, floor + 2.2 * size, "mm from the ingoing side", "text", 0.86 * size, "end"))
    small = 0.86 * size
    for profile, role in zip(profiles, ROLES, strict=False):
        points = [at(float(a), float(p)) for a, p in zip(profile.place, profile.pressure, strict=True)]
        parts.append(svg.line(points, role))
    if len(profiles) == 1:
        one = profiles[0]
        px, py = points[int(np.argmax(one.pressure))]
        said = f"peak {in_unit(one.pressure.max(), 'MPa', 2)}, mean {in_unit(one.mean, 'MPa', 2)}"
        room = svg.width_of(said, small)
        px = min(max(px, left + room / 2 + 3), right - room / 2)
        parts.append(svg.text(px, py - 0.45 * size, said, "text halo", small, "middle"))
    return "".join(parts)


def told(result: Any) -> str:
    """The inset in words."""
    return "; ".join(
        f"{p.name}: {in_unit(p.place[-1], 'mm', 2)} long, mean {in_unit(p.mean, 'MPa', 2)}, "
        f"peak {in_unit(p.pressure.max(), 'MPa', 2)}"
        for p in nip_profiles(result)
    )


def _step(value: float) -> float:
    """A round number at or above a value."""
    power = 10.0 ** math.floor(math.log10(value))
    return next(power * m for m in (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0) if power * m >= value * (1 - 1e-9))


def _ticks(longest: float) -> list[float]:
    step = _step(longest / 4)
    return [step * i for i in range(int(longest / step + 1e-9) + 1)]
