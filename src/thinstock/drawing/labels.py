"""Finds room for names on a drawing: close to what they name, off the ink and off each other. Pixels throughout."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from thinstock.drawing.svg import width_of

CELL = 4.0
DIRECTIONS = 16
FAR = 0.055
"""What a pixel of distance costs against a cell of ink."""


@dataclass(frozen=True)
class Placed:
    """A name with its place: left end of its first baseline, and where its leader runs from."""

    lines: tuple[str, ...]
    x: float
    y: float
    box: tuple[float, float, float, float]
    anchor: tuple[float, float]


class Room:
    """What of a drawing is taken."""

    def __init__(self, width: float, height: float, ink: Iterable[tuple[float, float]]) -> None:
        self.width, self.height = width, height
        shape = (int(height / CELL) + 2, int(width / CELL) + 2)
        self.count = np.zeros(shape)
        for x, y in ink:
            row, column = int(y / CELL), int(x / CELL)
            if 0 <= row < shape[0] and 0 <= column < shape[1]:
                self.count[row, column] += 1.0
        self.count = np.minimum(self.count, 1.0)

    def _cells(self, box: tuple[float, float, float, float]) -> tuple[slice, slice]:
        return (
            slice(max(int(box[1] / CELL), 0), max(int(box[3] / CELL) + 1, 0)),
            slice(max(int(box[0] / CELL), 0), max(int(box[2] / CELL) + 1, 0)),
        )

    def taken(self, box: tuple[float, float, float, float]) -> float:
        """Ink cells inside a box (left, top, right, bottom)."""
        return float(self.count[self._cells(box)].sum())

    def fill(self, box: tuple[float, float, float, float], weight: float = 12.0) -> None:
        """Take a box."""
        self.count[self._cells(box)] = weight

    def free(self, width: float, height: float) -> tuple[float, float] | None:
        """Left and top of a free place of this size: as far up and to the right as there is one."""
        for top in range(4, int(0.45 * self.height), 12):
            for left in range(int(self.width - width - 2), 1, -16):
                if top + height < self.height and self.taken((left, top, left + width, top + height)) == 0:
                    return float(left), float(top)
        return None

    def place(
        self, lines: tuple[str, ...], anchors: list[tuple[float, float]], size: float, reach: float = 110.0
    ) -> Placed:
        """The best place for a name (of one or more lines) near one of its anchors; it is then taken."""
        w, h = max(width_of(line, size) for line in lines) + 4.0, 1.15 * size * len(lines)
        best: tuple[float, tuple[float, float, float, float], tuple[float, float]] | None = None
        for anchor in anchors:
            for distance in (8.0, 18.0, 32.0, 50.0, 75.0, reach):
                if best is not None and best[0] <= FAR * distance:
                    break
                for k in range(DIRECTIONS):
                    box = self._box(anchor, distance, 2 * math.pi * k / DIRECTIONS, w, h)
                    if box is None:
                        continue
                    cost = self.taken(box) + FAR * distance
                    if best is None or cost < best[0] - 1e-9:
                        best = (cost, box, anchor)
        if best is None:
            left = min(max(anchors[0][0], 2.0), max(self.width - w - 2, 2.0))
            best = (0.0, (left, anchors[0][1], left + w, anchors[0][1] + h), anchors[0])
        _, box, anchor = best
        self.fill(box)
        return Placed(lines, box[0] + 2.0, box[1] + 0.88 * size, box, anchor)

    def _box(
        self, anchor: tuple[float, float], distance: float, angle: float, w: float, h: float
    ) -> tuple[float, float, float, float] | None:
        """A box of words in a direction from an anchor, if it is on the paper."""
        c, s = math.cos(angle), math.sin(angle)
        left = anchor[0] + distance * c - w * (1 - c) / 2
        top = anchor[1] - distance * s - h * (1 + s) / 2
        box = (left, top, left + w, top + h)
        inside = left >= 2 and top >= 2 and box[2] <= self.width - 2 and box[3] <= self.height - 2
        return box if inside else None
