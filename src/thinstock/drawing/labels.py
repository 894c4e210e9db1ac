"""Finds room for names on a drawing: close to what they name, off every line and off each other. Pixels throughout.

Lines and areas are held as a raster of small cells, names and leaders as what they are. A name for which there is no
room is not printed: it stays with the part, on hover and focus.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from thinstock.drawing.still import still
from thinstock.drawing.typeface import width_of
from thinstock.words.num import Array

CELL, STEP = 3.0, 1.5
"""Side of a cell, and from mark to mark along a line, px."""
RINGS = (7.0, 15.0, 25.0, 38.0, 55.0, 76.0, 100.0, 130.0, 170.0, 220.0)
"""Distances from what is named at which a name is tried, px."""
_TURN = np.linspace(0.0, math.tau, 24, endpoint=False)
_RINGS, _COS, _SIN = (np.ravel(grid) for grid in np.broadcast_arrays(
    np.array(RINGS)[:, None], np.cos(_TURN), np.sin(_TURN)))  # fmt: skip
NEAR = 25.0
"""The rings up to this one are looked at first: most names stand there, and none further out is cheaper."""
CROSSING = 1.4
"""What a cell of ink that a leader crosses costs against a pixel of distance."""
FEW = 24
"""So many free places are looked at, at a time: most names stand in one of the first."""
LEADER = 9.0
"""Beyond this distance a name has a leader."""
ABOVE, BELOW, LINE = 0.76, 0.24, 1.16
"""Height of a line of words above and below its baseline, and from line to line, in sizes."""


class _Grid(NamedTuple):
    """Places round what is named: distance and direction, and what follows from them alone."""

    ring: Array
    cos: Array
    sin: Array
    right: Array
    up: Array
    before: Array
    below: Array


@lru_cache(maxsize=32)
def _grid(near: bool, reach: float) -> _Grid:
    """The near places, or those further out, up to a distance."""
    here = ((_RINGS <= NEAR) == near) & (reach >= _RINGS)
    ring, c, s = _RINGS[here], _COS[here], _SIN[here]
    return _Grid(ring, c, s, ring * c, ring * s, 1 - c, 1 + s)


class Box(NamedTuple):
    """A rectangle, px."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        """Whether two boxes overlap."""
        return (
            self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom
        )

    def nearest(self, x: float, y: float) -> tuple[float, float]:
        """The place of the box nearest to a place."""
        return min(max(x, self.left), self.right), min(max(y, self.top), self.bottom)

    def crossed(self, a: tuple[float, float], b: tuple[float, float]) -> bool:
        """Whether a straight line passes through it."""
        low, high = 0.0, 1.0
        for start, end, near, far in ((a[0], b[0], self.left, self.right), (a[1], b[1], self.top, self.bottom)):
            step = end - start
            if abs(step) < 1e-9:
                if not near < start < far:
                    return False
                continue
            s, t = sorted(((near - start) / step, (far - start) / step))
            low, high = max(low, s), min(high, t)
        return low < high


@dataclass(frozen=True)
class Placed:
    """A name with its place: where its lines are held and on which side, and where its leader runs, if it has one."""

    lines: tuple[str, ...]
    x: float
    y: float
    side: str
    box: Box
    leader: tuple[tuple[float, float], tuple[float, float]] | None


class _Put:
    """Names that were put into a room one after the other: where the last of them stands, and what came then."""

    MOST = 40

    def __init__(self, best: tuple[Box, tuple[float, float]] | None = None) -> None:
        self.best = best
        self._then: dict[Hashable, _Put] = {}

    def then(self, asked: Hashable, look: Callable[[], tuple[Box, tuple[float, float]] | None]) -> _Put:
        """The same with one more name; looked for where none of this size was asked for here before."""
        found = self._then.get(asked)
        if found is None:
            if len(self._then) >= self.MOST:
                self._then.clear()
            found = self._then[asked] = _Put(look())
        return found


class Room:
    """What of a rectangle of the paper is taken."""

    def __init__(self, frame: Box) -> None:
        self.frame = frame
        rows, columns = (int((b - a) / CELL) + 2 for a, b in ((frame.top, frame.bottom), (frame.left, frame.right)))
        self.ink: NDArray[np.bool_] = np.zeros((rows, columns), dtype=bool)
        self.names: list[Box] = []
        self.leaders: list[tuple[tuple[float, float], tuple[float, float]]] = []
        self._sum: NDArray[np.int32] | None = None
        self._so_far: _Put | None = None

    # --- what is drawn

    def lines(self, points: Iterable[Array]) -> None:
        """Ink along lines, each given by its points (n, 2)."""
        given = [line for line in points if len(line) > 1]
        if not given:
            return
        start = np.concatenate([line[:-1] for line in given])
        step = np.concatenate([line[1:] for line in given]) - start
        count = (np.hypot(step[:, 0], step[:, 1]) / STEP).astype(int) + 2
        which = np.repeat(np.arange(len(count)), count)
        share = (np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)) / (count - 1)[which]
        self._mark(start[which] + share[:, None] * step[which])

    def area(self, corners: Array) -> None:
        """Ink inside a closed figure as well."""
        at = (corners - (self.frame.left, self.frame.top)) / CELL
        x, y = at[:, 0], at[:, 1]
        low, high = max(int(y.min()), 0), min(int(y.max()) + 1, self.ink.shape[0])
        left, right = max(int(x.min()), 0), min(int(x.max()) + 1, self.ink.shape[1])
        if high - low < 3 or right - left < 3:  # its lines are close enough
            return
        rows = np.arange(low, high) + 0.5
        below = y[:, None] <= rows
        after = np.arange(1, len(x) + 1) % len(x)
        edge, row = np.nonzero(below != below[after])
        nx, ny = x[after], y[after]
        across = x[edge] + (rows[row] - y[edge]) / (ny[edge] - y[edge]) * (nx[edge] - x[edge])
        flips = np.zeros((high - low, right - left + 1), dtype=np.int64)
        np.add.at(flips, (row, np.clip(across.astype(int) - left, 0, right - left)), 1)
        self.ink[low:high, left:right] |= np.cumsum(flips, axis=1)[:, :-1] % 2 == 1
        self._changed()

    def spots(self, places: Sequence[tuple[float, float]], half: float) -> None:
        """Ink round single places."""
        for x, y in places:
            self._fill(Box(x - half, y - half, x + half, y + half))

    def taken(self) -> NDArray[np.intp]:
        """The cells with ink, counted row by row."""
        return np.flatnonzero(self.ink)

    def cells(self, cells: NDArray[np.intp]) -> None:
        """Ink in cells counted so, of a room of the same frame."""
        self.ink.ravel()[cells] = True
        self._changed()

    def only(self, clip: Box) -> None:
        """Forget the ink outside a rectangle."""
        left, top, right, bottom = self._cells(clip)
        kept = self.ink[top:bottom, left:right].copy()
        self.ink[:] = False
        self.ink[top:bottom, left:right] = kept
        self._changed()

    def _mark(self, places: Array) -> None:
        at = ((places - (self.frame.left, self.frame.top)) / CELL).astype(int)
        inside = (at >= 0).all(axis=1) & (at[:, 1] < self.ink.shape[0]) & (at[:, 0] < self.ink.shape[1])
        self.ink[at[inside, 1], at[inside, 0]] = True
        self._changed()

    def _fill(self, box: Box) -> None:
        left, top, right, bottom = self._cells(box)
        self.ink[top:bottom, left:right] = True
        self._changed()

    def _cells(self, box: Box) -> tuple[int, int, int, int]:
        rows, columns = self.ink.shape
        left, right = (min(max(int((v - self.frame.left) / CELL), 0), columns - 1) for v in (box.left, box.right))
        top, bottom = (min(max(int((v - self.frame.top) / CELL), 0), rows - 1) for v in (box.top, box.bottom))
        return left, top, right + 1, bottom + 1

    def _changed(self) -> None:
        """What is taken is no longer what it was."""
        self._sum = self._so_far = None

    # --- what is free

    def _total(self) -> NDArray[np.int32]:
        """Ink cells above and left of each corner."""
        if self._sum is None:
            self._sum = np.zeros((self.ink.shape[0] + 1, self.ink.shape[1] + 1), dtype=np.int32)
            np.cumsum(np.cumsum(self.ink, axis=1, dtype=np.int32), axis=0, out=self._sum[1:, 1:])
        return self._sum

    def _met(self, box: Box) -> bool:
        """Whether a name or a leader is in the way."""
        return any(box.meets(name) for name in self.names) or any(box.crossed(*one) for one in self.leaders)

    def take(self, box: Box) -> None:
        """Keep a box free of names."""
        self.names.append(box)
        self._so_far = None

    def place(
        self, lines: tuple[str, ...], anchors: Sequence[tuple[float, float]], size: float,
        toward: float | None = None, reach: float = RINGS[-1], strong: bool = False,
    ) -> Placed | None:  # fmt: skip
        """The best place for a name near one of its anchors, which is then taken; None where there is no room.

        `toward`: the heading (rad, y up) that is tried first.
        """
        w = max(width_of(line, size, strong=strong) for line in lines) + 2.0
        h = size * (ABOVE + BELOW + LINE * (len(lines) - 1)) + 1.0
        if self._so_far is None:
            self._so_far = self._put_first()
        self._so_far = self._so_far.then(
            (w, h, tuple(anchors), toward, reach), lambda: self._best(anchors, w, h, toward, reach)
        )
        best = self._so_far.best
        return None if best is None else self._placed(lines, best[0], best[1], size)

    def _put_first(self) -> _Put:
        """Where names were put in a room that looks like this one."""
        looks = (self.frame, np.packbits(self.ink).tobytes(), tuple(self.names), tuple(self.leaders))
        found: _Put = still(looks).made("names", None, _Put)
        return found

    def _best(
        self, anchors: Sequence[tuple[float, float]], w: float, h: float, toward: float | None, reach: float
    ) -> tuple[Box, tuple[float, float]] | None:
        """The best free box for a name, and what it is near to."""
        best: tuple[float, Box, tuple[float, float]] | None = None
        for cost, at, *corner in self._free(np.array(anchors), w, h, toward, reach):
            if best is not None and best[0] <= cost:
                break
            box, anchor = Box(corner[0], corner[1], corner[0] + w, corner[1] + h), anchors[int(at)]
            if self._met(box):
                continue
            extra = self._leader_cost(box, anchor)
            if extra is not None and (best is None or cost + extra < best[0]):
                best = (cost + extra, box, anchor)
        return None if best is None else best[1:]

    def _free(
        self, anchors: Array, w: float, h: float, toward: float | None, reach: float
    ) -> Iterator[tuple[float, int, float, float]]:
        """Boxes off all ink, inside the frame, the cheapest first: cost, number of the anchor, left, top."""
        for near in (True, False):
            yield from self._free_on(_grid(near, reach), anchors, w, h, toward)

    def _free_on(
        self, grid: _Grid, anchors: Array, w: float, h: float, toward: float | None
    ) -> Iterator[tuple[float, int, float, float]]:
        """Those of some of the rings."""
        ring = grid.ring
        if not len(ring):
            return
        left = anchors[:, :1] + grid.right - w * grid.before / 2
        top = anchors[:, 1:] - grid.up - h * grid.below / 2
        cost = ring if toward is None else ring + 6.0 * (
            1.0 - grid.cos * math.cos(toward) - grid.sin * math.sin(toward))  # fmt: skip
        frame, total = self.frame, self._total()
        x, y = left - frame.left, top - frame.top
        inside = (x >= 2) & (y >= 1) & (x + w <= frame.right - frame.left - 2) & (y + h <= frame.bottom - frame.top - 1)
        which, at = np.nonzero(inside)
        x, y = x[which, at], y[which, at]
        west, north, east, south = (v.astype(int) for v in (x / CELL, y / CELL, (x + w) / CELL + 1, (y + h) / CELL + 1))
        clear = total[south, east] - total[south, west] - total[north, east] + total[north, west] == 0
        which, at = which[clear], at[clear]
        price = cost[at]
        order = np.argsort(price, kind="stable")
        for first in range(0, len(order), FEW):
            some = order[first : first + FEW]
            w_, a_ = which[some], at[some]
            yield from zip(price[some].tolist(), w_.tolist(), left[w_, a_].tolist(), top[w_, a_].tolist(), strict=True)

    def _leader_cost(self, box: Box, anchor: tuple[float, float]) -> float | None:
        """Ink under the leader; None where it would run through a name."""
        near = box.nearest(*anchor)
        long = math.dist(near, anchor)
        if long <= LEADER:
            return 0.0
        if any(name.crossed(near, anchor) for name in self.names):
            return None
        count, hit = int(long / 4.0), 0
        for i in range(1, count):
            x, y = (near[k] + (anchor[k] - near[k]) * i / count for k in (0, 1))
            row, column = int((y - self.frame.top) / CELL), int((x - self.frame.left) / CELL)
            if 0 <= row < self.ink.shape[0] and 0 <= column < self.ink.shape[1] and self.ink[row, column]:
                hit += 1
        return CROSSING * hit

    def _placed(self, lines: tuple[str, ...], box: Box, anchor: tuple[float, float], size: float) -> Placed:
        self.names.append(box)
        near = box.nearest(*anchor)
        leader = (near, anchor) if math.dist(near, anchor) > LEADER else None
        side, x = "middle", (box.left + box.right) / 2
        if box.right < anchor[0] + 2:
            side, x = "end", box.right - 1
        elif box.left > anchor[0] - 2:
            side, x = "start", box.left + 1
        if leader is not None:
            self.leaders.append(leader)
        return Placed(lines, x, box.top + 0.5 + ABOVE * size, side, box, leader)
