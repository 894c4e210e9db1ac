"""All formers on one field of speed and consistency, with the speeds of their times in rows below, on the same axis.

Each former is drawn with its capacity at both ends of the mat, the window of its time and what comes first as it runs
faster. One of them is lit by its class: only then its band, its brackets and its words are seen. Every former's words
are placed as they stand when it is the lit one, off every line and off each other. Knows no physics.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from thinstock.drawing import svg, typeface
from thinstock.drawing.elevation import ROOT
from thinstock.drawing.labels import Box, Room
from thinstock.words.phrase import phrase

SPEEDS, CONSISTENCIES = (20 / 60, 2400 / 60), (4e-5, 1.2e-2)
"""Ends of the field: m/s, kg/kg."""
NARROW = 600.0
"""Below this width rows carry numerals alone and the grid has fewer lines, px."""
SIZE, ROW, GAP = 14.0, 21.0, 12.0
"""Size of the words, height of a row, air round names, px."""
PLOT = 300.0
"""Height of the field itself, px."""
SAME = 1.03
"""Two ends of the mat within this ratio are one line."""
Place = tuple[float, float]
Number = Callable[[str, float], float]
"""A word and its base value to the number in the unit at hand."""


@dataclass(frozen=True, kw_only=True)
class Mark:
    """One former on the field. Lines are speeds and lowest consistencies, m/s and kg/kg."""

    key: str
    number: int
    name: str
    springy: tuple[Place, ...]
    """With a mat as in the tester that springs back,"""
    packed: tuple[Place, ...]
    """with one that keeps its packing,"""
    slow: tuple[Place, ...]
    """and with one that resists most."""
    thinner: bool = False
    """True where the first place of a line is the thinnest stock that is tried: it goes on below."""
    era: tuple[float, float, float, float] | None = None
    """Speeds and consistencies between which practice ran it."""
    usual: Place | None = None
    first: tuple[float, float, str] | None = None
    """What comes first as it runs faster: the speeds at both ends of its yardstick, and its words."""
    note: str = ""
    """Why its row is empty or like another."""

    @property
    def steady(self) -> bool:
        """Whether both ends of the mat are one line."""
        both = zip(self.springy, self.packed, strict=False)
        return len(self.springy) == len(self.packed) and all(b[1] < SAME * a[1] for a, b in both)


def field(
    marks: Iterable[Mark], here: Place, number: Number, units: tuple[str, str], *, width: float = 880.0,
    lit: str = "", theme: str = "",
) -> str:  # fmt: skip
    """The field as one picture; with a theme it brings its styles along, else they are the page's.

    `here`: speed and consistency of the machine; `units`: of speed and consistency; `lit`: key of the lit former.
    """
    made = _Field(tuple(marks), width, number, units, lit)
    style = svg.style_sheet(theme, "ts-", ROOT).replace("</style>", f"{rules(theme)}</style>") if theme else ""
    return svg.element(
        "svg", style, svg.patterns("ts-"), svg.ground(width, made.height) if theme else "", made.grid(),
        made.numbers(), made.rungs(), made.here(here), made.rows(),
        viewBox=f"0 0 {width:g} {made.height:g}", width=width if theme else None, class_=f"{ROOT} field",
        height=made.height if theme else None, role="img", aria_label=phrase("drawing.field.title"),
        xmlns="http://www.w3.org/2000/svg",
    )  # fmt: skip


RULES = (
    ".field .thin{opacity:.45}", ".field .when-lit{visibility:hidden}",
    ".field .rung .ts-curve{stroke:$water;stroke-width:1.3}",
    ".field .rung .ts-formed-slow,.field .rung .ts-curve-2{stroke:$water;stroke-width:1.1}",
    ".field .lit .thin{opacity:1}", ".field .lit .when-lit{visibility:visible}",
    ".field .lit .ts-curve{stroke-width:3}", ".field .lit .ts-curve-2{stroke-width:2.2}",
    ".field .lit .ts-formed-slow{stroke-width:1.5}", ".field .lit .ts-frame{stroke:$ink;stroke-width:2}",
    ".field .usual{fill:$paper;stroke:$faint}", ".field .lit .usual{fill:$ink;stroke:$ink}",
    ".field .here{fill:none;stroke:$ink;stroke-width:2.2}", ".field .ground{fill:none;pointer-events:all}",
    ".field .row{cursor:pointer}", ".field .row.lit .ground{fill:$tint}", ".field .row.lit text{font-weight:600}",
    ".field .row .ts-black{fill:$faint;stroke:none}", ".field .row.lit .ts-black{fill:$ink}",
    ".field .ts-thin-rule{stroke-opacity:.45}",
)  # fmt: skip


def rules(theme: str) -> str:
    """The styles of the field beside those of all drawings."""
    return svg.coloured("".join(f".{ROOT}{rule}" if rule.startswith(".field") else rule for rule in RULES), theme)


class _Field:
    """One field being drawn."""

    def __init__(self, marks: tuple[Mark, ...], width: float, number: Number, units: tuple[str, str], lit: str) -> None:
        self.marks, self.width, self.number, self.units, self.lit = marks, width, number, units, lit
        self.narrow = width < NARROW
        names = 0.0 if self.narrow else max((typeface.width_of(m.name, SIZE, strong=True) for m in marks), default=0.0)
        self.left = (52.0 if self.narrow else 34.0) + names + (0.0 if self.narrow else GAP)
        self.right, self.top, self.low = width - 14.0, 26.0, 26.0 + PLOT
        self.below = self.low + 2.3 * SIZE + (1.2 * SIZE if self.narrow else 0.0)
        self.height = self.below + ROW * len(marks) + 6.0
        self.ends = self._ends()

    # -- places --------------------------------------------------------------------------------------------------

    def x(self, speed: float) -> float:
        """px of a speed."""
        return self.left + _share(speed, SPEEDS) * (self.right - self.left)

    def at(self, place: Place) -> Place:
        """px of a speed and a consistency."""
        return self.x(place[0]), self.low - _share(place[1], CONSISTENCIES) * (self.low - self.top)

    def _line(self, line: Iterable[Place]) -> list[Place]:
        return [self.at(place) for place in line]

    def _frame(self, one: Mark) -> list[Place]:
        """Corners of the window of its time."""
        if one.era is None:
            return []
        (x, y), (u, v) = self.at((one.era[0], one.era[3])), self.at((one.era[1], one.era[2]))
        return [(x, y), (u, y), (u, v), (x, v)]

    # -- axes ----------------------------------------------------------------------------------------------------

    def grid(self) -> str:
        """Both axes with round numbers in the unit at hand."""
        parts = [svg.line(line, "thin rule") for line in self._grid_lines()]
        for value, text in self._round("speed", SPEEDS):
            parts.append(svg.text(self.x(value), self.low + 1.3 * SIZE, text, "text", SIZE, "middle"))
        for value, text in self._round("consistency", CONSISTENCIES):
            parts.append(svg.text(self.left - 7, self.at((1.0, value))[1] + 0.3 * SIZE, text, "text", SIZE, "end"))
        said = phrase("drawing.field.consistency", unit=self.units[1])
        parts.append(svg.text(max(self.left - 40.0, 4.0), 14.0, said, "text", SIZE))
        said, y = phrase("drawing.field.speed", unit=self.units[0]), self.low + 1.3 * SIZE
        if self.narrow:
            parts.append(svg.text(self.right, y + 1.2 * SIZE, said, "text", SIZE, "end"))
        else:
            parts.append(svg.text(self.left - 24.0, y, said, "text", SIZE, "end"))
        return "".join(parts)

    def _round(self, word: str, ends: Place) -> list[tuple[float, str]]:
        """Round numbers of a word's unit inside an axis, with their base value."""
        factor, found = self.number(word, 1.0), []
        firsts = (1,) if self.narrow and word == "speed" and self.width < 340 else (1, 2, 5)
        for power in range(-4, 5):
            for first in firsts:
                shown = first * 10.0**power
                if ends[0] <= shown / factor <= ends[1]:
                    found.append((shown / factor, f"{shown:g}"))
        return found

    def _grid_lines(self) -> list[list[Place]]:
        """Lines across and ticks of the speeds: words find more room where no line runs up."""
        across = [self.x(v) for v, _ in self._round("speed", SPEEDS)]
        up = [self.at((1.0, c))[1] for c, _ in self._round("consistency", CONSISTENCIES)]
        ticks = [[(x, self.low), (x, self.low - 6.0)] for x in across]
        return (
            ticks + [[(self.left, y), (self.right, y)] for y in up] + [[(self.left, self.low), (self.right, self.low)]]
        )

    # -- formers -------------------------------------------------------------------------------------------------

    def _ends(self) -> list[tuple[Place, list[Mark]]]:
        """Where lines end, with the formers that end there: those that drain alike share a number."""
        found: list[tuple[Place, list[Mark]]] = []
        for one in self.marks:
            line = one.springy or one.packed or one.slow
            if not line:
                continue
            end = self.at(line[-1])
            near = next((held for place, held in found if math.dist(place, end) < 2.5), None)
            if near is None:
                found.append((end, [one]))
            else:
                near.append(one)
        return found

    def _seen(self) -> list[list[Place]]:
        """Lines that are seen whichever former is lit."""
        lines = self._grid_lines() + [self._line(one.springy) for one in self.marks]
        lines += [self._line(one.packed) for one in self.marks if not one.steady]
        frames = [self._frame(one) for one in self.marks]
        return lines + [[*frame, frame[0]] for frame in frames if frame]

    def _band(self, one: Mark) -> list[Place]:
        """Corners of what lies between both ends of the mat."""
        if one.steady or len(one.springy) < 2 or len(one.packed) < 2:
            return []
        return [*self._line(one.springy), *reversed(self._line(one.packed))]

    def _room(self, bands: Iterable[Mark], more: Iterable[list[Place]] = ()) -> Room:
        room = Room(Box(self.left, self.top, self.right + 12.0, self.low))
        filled = [np.array([*band, band[0]]) for band in map(self._band, bands) if band]
        room.lines([*(np.array(line) for line in [*self._seen(), *more] if len(line) > 1), *filled])
        for band in filled:
            room.area(band)
        room.spots([self.at(one.usual) for one in self.marks if one.usual is not None], 5.0)
        return room

    def numbers(self) -> str:
        """The number of each former at the end of its line; formers that drain alike share one."""
        hidden = [line for one in self.marks for line in (self._line(one.slow), self._bracket(one))]
        room, parts = self._room(self.marks, hidden), []
        self._numbers: list[Box] = []
        for end, held in self.ends:
            said = ", ".join(str(one.number) for one in held)
            placed = room.place((said,), [end], SIZE, toward=0.0, strong=True)
            if placed is None:
                continue
            self._numbers.append(placed.box)
            leader = [] if placed.leader is None else [svg.line(placed.leader, "leader")]
            parts += [*leader, svg.text(placed.x, placed.y, said, "text strong", SIZE, placed.side)]
            self._numbers += [] if placed.leader is None else [_box_of(placed.leader)]
        return svg.element("g", *parts, class_="ends")

    def rungs(self) -> str:
        """Every former: its window, its lines, and what is seen of it when it is lit."""
        return "".join(self._rung(one) for one in self.marks)

    def _rung(self, one: Mark) -> str:
        springy, packed, slow = (self._line(line) for line in (one.springy, one.packed, one.slow))
        lit, thin = [], []
        if band := self._band(one):
            lit.append(svg.polygon(band, "wrap"))
            thin.append(svg.line(packed, "curve 2"))
        if len(slow) > 1:
            lit.append(svg.line(slow, "formed slow"))
        if len(springy) > 1:
            thin.append(svg.line(springy, "curve"))
        frame = self._frame(one)
        thin += [svg.polygon(frame, "frame")] if frame else []
        if one.usual is not None:
            x, y = self.at(one.usual)
            thin.append(svg.element("circle", cx=x, cy=y, r=3.5, class_="usual"))
        lit += self._words(one, [slow])
        return svg.element(
            "g", svg.element("title", svg.words(one.name)), svg.element("g", *thin, class_="thin"),
            svg.element("g", *lit, class_="when-lit"), class_=self._klass("rung", one), data_key=one.key,
        )  # fmt: skip

    def _klass(self, name: str, one: Mark) -> str:
        return f"{name} lit" if one.key == self.lit else name

    def _words(self, one: Mark, more: Sequence[list[Place]]) -> list[str]:
        """What is said of the lit former beside its lines: its window, both ends of its mat, what comes first."""
        parts, said = [], []
        bracket = self._bracket(one)
        for line, word in ((one.packed, "packed"), (one.slow, "slow"), (one.springy, "springy")):
            if one.steady and word != "slow":
                if word == "springy":
                    said.append((phrase("drawing.field.steady"), self._along(line)))
            elif len(line) > 1:
                said.append((phrase(f"drawing.field.{word}"), self._along(line)))
        if one.era is not None:
            frame = self._frame(one)
            said.insert(0, (phrase("drawing.field.window"), self._along_px([*frame[:2], *frame[2:], frame[0]])))
        if bracket and one.first is not None:
            said.insert(0, (one.first[2], [bracket[1], bracket[2]]))
            parts.append(svg.line(bracket, "rule", stroke_width=1.8))
        room = self._room([one], [*more, bracket])
        for box in self._numbers:
            room.take(box)
        if one.thinner and one.springy:
            x, y = self.at(one.springy[0])
            parts.append(svg.line([(x - 4, y + 5), (x, y + 11), (x + 4, y + 5)], "rule"))
            room.spots([(x, y + 8)], 6.0)
        for words, anchors in said:
            placed = room.place((words,), anchors, SIZE) if anchors else None
            if placed is not None:
                parts += [] if placed.leader is None else [svg.line(placed.leader, "leader")]
                parts.append(svg.text(placed.x, placed.y, words, "text", SIZE, placed.side))
        return parts

    def _along(self, line: Sequence[Place]) -> list[Place]:
        """Places on a line to which its words may point."""
        return self._along_px(self._line(line))

    def _along_px(self, points: Sequence[Place]) -> list[Place]:
        pairs = list(itertools.pairwise(points))
        return [((1 - s) * a[0] + s * b[0], (1 - s) * a[1] + s * b[1]) for a, b in pairs for s in (0.5, 0.15, 0.85)]

    def _bracket(self, one: Mark) -> list[Place]:
        """The open bracket of what comes first, under the window of its time."""
        if one.first is None or not one.first[0] < SPEEDS[1]:
            return []
        frame = self._frame(one)
        y = (frame[2][1] if frame else self.low - 30.0) + 6.0
        a, b = self._wide(one)
        return [(a, y), (a, y + 6), (b, y + 6), (b, y)]

    def _wide(self, one: Mark) -> Place:
        """Both ends of a bracket, a few px apart at least."""
        assert one.first is not None
        a, b = self.x(one.first[0]), self.x(one.first[1])
        less = max(8.0 - (b - a), 0.0) / 2
        return a - less, b + less

    def here(self, place: Place) -> str:
        """The machine as it stands."""
        x, y = self.at(place)
        return svg.element(
            "g", svg.element("title", svg.words(phrase("drawing.field.here"))),
            svg.element("circle", cx=x, cy=y, r=6.0, class_="here"),
        )  # fmt: skip

    # -- the rows of the eras ------------------------------------------------------------------------------------

    def rows(self) -> str:
        """One row a former on the same axis: the speeds of its time, the usual one, and what comes first."""
        return "".join(self._row(one, self.below + ROW * i) for i, one in enumerate(self.marks))

    def _row(self, one: Mark, top: float) -> str:
        base, middle = top + 0.72 * ROW, top + 0.62 * ROW
        ground = svg.element("rect", x=0.0, y=top, width=self.width, height=ROW, class_="ground")
        parts = [svg.text(20.0, base, str(one.number), "text strong", SIZE, "end")]
        if not self.narrow:
            parts.append(svg.text(30.0, base, one.name, "text", SIZE))
        begins, ends = self.right, self.right
        if one.era is not None:
            begins, ends = self.x(one.era[0]), self.x(one.era[1])
            parts.append(_bar(begins, middle - 2.0, ends, middle + 2.0))
        if one.usual is not None:
            x = self.x(one.usual[0])
            parts.append(_bar(x - 1.5, middle - 6.0, x + 1.5, middle + 6.0))
            begins = min(begins, x - 4.0)
        if one.first is not None and one.first[0] < SPEEDS[1]:
            a, b = self._wide(one)
            y = middle - 5.0
            parts.append(svg.line([(a, y), (a, y - 5), (b, y - 5), (b, y)], "rule"))
            begins, ends = min(begins, a), max(ends, b)
        if one.note:
            parts.append(self._note(one.note, base, begins, ends))
        return svg.element(
            "g", svg.element("title", svg.words(one.name)), ground, *parts, class_=self._klass("row", one),
            data_key=one.key,
        )  # fmt: skip

    def _note(self, note: str, base: float, begins: float, ends: float) -> str:
        """Why a row is like another or empty, where it has room: before its bar, or behind it."""
        wide = typeface.width_of(note, SIZE, strong=True)
        if begins - GAP - wide > (self.left if not self.narrow else 26.0):
            return svg.text(begins - GAP, base, note, "text", SIZE, "end")
        if ends + GAP + wide < self.width:
            return svg.text(ends + GAP, base, note, "text", SIZE)
        return ""


def _bar(left: float, top: float, right: float, low: float) -> str:
    return svg.polygon([(left, top), (right, top), (right, low), (left, low)], "black")


def _box_of(leader: tuple[Place, Place]) -> Box:
    (x, y), (u, v) = leader
    return Box(min(x, u), min(y, v), max(x, u), max(y, v))


def _share(value: float, ends: Place) -> float:
    """Where a value lies between the ends of an axis, by its logarithm."""
    held = min(max(value, ends[0]), ends[1])
    return math.log(held / ends[0]) / math.log(ends[1] / ends[0])
