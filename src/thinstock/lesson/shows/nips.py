"""Pressure through two nips on one pair of axes."""

from __future__ import annotations

import math
from collections.abc import Mapping

from thinstock.drawing import svg
from thinstock.drawing.labels import Box
from thinstock.lesson.shows.canvas import words
from thinstock.lesson.subject import Subject
from thinstock.machine.along import NipProfile, along_nips
from thinstock.words.figures import figure
from thinstock.words.phrase import phrase

ROLES = ("curve", "curve 2", "curve 3", "curve")


def pressures(of: Mapping[str, Subject], room: Box, size: float) -> str:
    """The first nip of each machine."""
    found: dict[str, NipProfile] = {}
    for name, subject in of.items():
        if "press" in subject.result.parts:
            found[name] = along_nips(subject.result.parts.press)[0]
    if not found:
        return ""
    longest = max(float(p.place[-1]) for p in found.values())
    peak = max(float(p.pressure.max()) for p in found.values())
    left, right = room.left + 2.6 * size, room.right - 10.0
    roof, floor = room.top + (1.9 + 1.4 * len(found)) * size, room.bottom - 2.9 * size

    def at(place: float, pressure: float) -> tuple[float, float]:
        return left + (right - left) * place / longest, floor - (floor - roof) * pressure / peak

    parts = [words(room.left, room.top + size, phrase("lesson.nips.title"), size=size, strong=True)]
    for i, (name, profile) in enumerate(found.items()):
        y = room.top + (2.4 + 1.4 * i) * size
        if len(found) > 1:
            parts.append(svg.line([(room.left, y - 0.3 * size), (room.left + 2 * size, y - 0.3 * size)], ROLES[i]))
            parts.append(words(room.left + 2.6 * size, y, name, size=size))
        points = [at(float(a), float(b)) for a, b in zip(profile.place, profile.pressure, strict=True)]
        parts.append(svg.line(points, ROLES[i]))
    parts.append(svg.line([(left, roof), (left, floor), (right, floor)], "rule"))
    step = _step(1e3 * longest)
    for k in range(int(1e3 * longest / step) + 1):
        x = at(k * step / 1e3, 0.0)[0]
        parts.append(words(x, floor + 1.25 * size, f"{k * step:g}", size=size, anchor="middle"))
    for value in range(1, int(peak / 1e6) + 1):
        parts.append(
            words(left - 6.0, at(0.0, 1e6 * value)[1] + 0.35 * size, figure(value, 1), size=size, anchor="end")
        )
    parts.append(words(right, floor + 2.6 * size, phrase("lesson.nips.place"), size=size, anchor="end"))
    return "".join(parts)


def _step(longest: float) -> float:
    power = 10.0 ** math.floor(math.log10(longest / 3))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0) if longest / (m * power) <= 4.5)
