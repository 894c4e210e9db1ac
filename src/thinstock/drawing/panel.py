"""A plan, or a window of it, drawn to one scale inside a frame: parts, fabrics, sheet, water and warning signs.

Fabrics, stock and sheet are drawn thicker than they are; everything else is to scale. Bands of leaving water are as
wide as their flow, on every panel of a drawing alike. Knows no physics and no words.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Hashable, Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np

from thinstock.drawing import svg
from thinstock.drawing.labels import Box, Room
from thinstock.drawing.plan import Leaving, Loop, Plan, Run, Wrap
from thinstock.drawing.still import Still, eye, still
from thinstock.machine.geometry import Arc, Line, Path, circle_path, sector
from thinstock.machine.outlines.shape import Hazard, Outline
from thinstock.words.num import Array

DRIEST, WETTEST = 0.05, 3000.0
"""kg water per kg fibre at the palest and deepest blue."""
SOLID = ("shoe", "foil", "blade")
FILLED = ("suction", "box", "hood", "steel", "shoe", "foil", "paper roll", "pond")
"""Roles whose inside is no place for words."""
ROLL_SIGNS = ("roll", "roll at crawl")
SMALL = 0.35
"""Rolls of a fabric up to this radius are drawn with it, m."""
Part = Callable[[str, str, str, str], str]
"""Wraps a part's markup: its name, what it tells, its lines, its mark."""


CHORD = 0.07
"""Arcs are taken as straight pieces of this length where room for words is sought, m."""


def points_of(path: Path) -> Array:
    """Places along a path in metres, arcs in short steps."""
    found: list[tuple[float, float]] = [path.start]
    for piece in path.pieces:
        if isinstance(piece, Arc):
            count = max(2, int(piece.length / min(CHORD, 0.5 * piece.radius)) + 1)
            (x, y), r, a, step = piece.centre, piece.radius, piece.begin, piece.turn / count
            found += [(x + r * math.cos(a + step * i), y + r * math.sin(a + step * i)) for i in range(1, count + 1)]
        else:
            found.append(piece.end)
    return np.array(found)


def _pieces_of(path: Path) -> Callable[[float, float], svg.Traced]:
    """The pieces of a path between two distances, each traced once."""
    return lru_cache(maxsize=200)(lambda a, b: svg.Traced(path.part(a, b)))


class Lines(NamedTuple):
    """An outline on a panel: its lines, the mark that shows where it is, and what stands above a band of water."""

    drawn: str
    mark: str
    over: str


def bounds_of(points: Array) -> Box:
    """Least and greatest of some places, m."""
    x, y = zip(*points.tolist(), strict=True)
    return Box(min(x), min(y), max(x) + 1e-9, max(y) + 1e-9)


def around(boxes: Iterable[Box]) -> Box:
    """The rectangle that holds them all."""
    left, low, right, high = zip(*boxes, strict=True)
    return Box(min(left), min(low), max(right), max(high))


class Known:
    """Places along the paths of a plan, each worked out once; those of parts that stay, once for all drawings."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self._points: dict[int, Array] = {}
        self._bounds: dict[int, Box] = {}

    @cached_property
    def stills(self) -> list[Still]:
        """What keeps the lines of each outline."""
        return [still(outline.shapes) for outline in self.plan.outlines]

    @cached_property
    def loops(self) -> list[Still]:
        """The same of each fabric."""
        return [still((loop.path, loop.rolls, loop.role)) for loop in self.plan.loops]

    @cached_property
    def runs(self) -> list[Still]:
        """The same of each run of stock or sheet."""
        return [still(run) for run in self.plan.runs]

    @cached_property
    def hazards(self) -> Still:
        """The same of all warning signs together."""
        return still(tuple(self.plan.hazards))

    def points(self, path: Path) -> Array:
        """Places along a path of the plan, m."""
        found = self._points.get(id(path))
        if found is None:
            found = self._points[id(path)] = points_of(path)
        return found

    def bounds(self, path: Path) -> Box:
        """Least and greatest place of a path, m."""
        found = self._bounds.get(id(path))
        if found is None:
            found = still(path).made("bounds", None, lambda: bounds_of(self.points(path)))
            self._bounds[id(path)] = found
        return found

    def part(self, number: int) -> tuple[Box, ...]:
        """The bounds of each shape of an outline."""
        shapes = self.plan.outlines[number].shapes
        return self.stills[number].made("bounds", None, lambda: tuple(self.bounds(s.path) for s in shapes))

    def parts(self, wanted: Collection[str]) -> list[Box]:
        """The bounds of all shapes of these parts."""
        listed = enumerate(self.plan.outlines)
        return [box for i, outline in listed if outline.part in wanted for box in self.part(i)]

    def loop(self, number: int) -> Box:
        """The bounds of a fabric."""
        path = self.plan.loops[number].path
        return self.loops[number].made("bounds", None, lambda: self.bounds(path))

    def everything(self) -> Box:
        """The rectangle that holds all that must be on the paper."""
        plan = self.plan
        boxes = [box for i in range(len(plan.outlines)) for box in self.part(i)]
        boxes += [self.loop(i) for i in range(len(plan.loops))]
        boxes += [self.bounds(one.path) for group in (plan.runs, plan.leaving) for one in group]
        return around(boxes)


def layer(ratio: float, size: float = 15.0) -> float:
    """How thick stock or sheet is drawn, px: by the logarithm of its water per fibre."""
    return (0.9 + 1.35 * math.log10(1.0 + max(ratio, 0.0))) * size / 15.0


def depth(ratio: float) -> float:
    """How deep the blue is: 0.2 for a dry sheet, 1 for the most dilute water."""
    if not math.isfinite(ratio):
        return 1.0
    share = math.log(max(ratio, DRIEST) / DRIEST) / math.log(WETTEST / DRIEST)
    return round(0.2 + 0.8 * min(share, 1.0), 3)


def plain_part(name: str, said: str, markup: str, mark: str) -> str:
    """A part that tells nothing: the same part tells it on another panel."""
    return markup


@dataclass(frozen=True)
class Panel:
    """A plan seen through a frame."""

    plan: Plan
    view: svg.View
    frame: Box
    """Where words may stand."""
    clip: Box
    """What is drawn."""
    size: float
    widths: tuple[float, ...]
    """Width of each band of leaving water, px."""
    known: Known
    """Places along the paths of the plan, shared by all panels of a drawing."""
    whole: bool = True
    """Whether the frame holds all of it."""

    def holds(self, place: tuple[float, float]) -> bool:
        """Whether a place (px) is drawn."""
        clip = self.clip
        return self.whole or (clip.left < place[0] < clip.right and clip.top < place[1] < clip.bottom)

    @cached_property
    def _window(self) -> Box:
        """What is drawn, m (with y upwards)."""
        view, clip = self.view, self.clip
        return Box(
            (clip.left - view.left) / view.scale, (view.top - clip.bottom) / view.scale,
            (clip.right - view.left) / view.scale, (view.top - clip.top) / view.scale,
        )  # fmt: skip

    def _sees(self, bounds: Box) -> bool:
        return self.whole or self._window.meets(bounds)

    def _seen(self, path: Path) -> bool:
        return self.whole or self._window.meets(self.known.bounds(path))

    @cached_property
    def _eye(self) -> object:
        """What stands for this way of looking, for what parts that stay keep of it."""
        return eye(self.view, self.frame, self.clip, self.size, self.whole)

    def seen(self) -> Hashable:
        """All that is drawn here, and how: two panels of which this is equal are drawn alike."""
        plan, known = self.plan, self.known
        bands = tuple(pair for pair in zip(plan.leaving, self.widths, strict=True) if self._seen(pair[0].path))
        return (
            self._eye, *known.stills, *known.loops, known.hazards,
            tuple((outline.part, outline.name) for outline in plan.outlines), tuple(plan.wraps),
            tuple(run for run in plan.runs if self._seen(run.path)), bands,
            tuple(plan.water[band.stage, band.name] for band, _ in bands),
            frozenset(band.part for band in plan.leaving),
        )  # fmt: skip

    def px(self, points: Array) -> Array:
        """Metres to pixels."""
        return points * (self.view.scale, -self.view.scale) + (self.view.left, self.view.top)

    # --- where ink is

    @cached_property
    def room(self) -> Room:
        """What of the frame is taken."""
        room, plan, known, now = Room(self.frame), self.plan, self.known, self._eye
        for i, one in enumerate(known.stills):
            room.cells(one.made("ink", now, lambda i=i: self._ink(i).taken()))  # type: ignore[misc]
        for loop, one in zip(plan.loops, known.loops, strict=True):
            room.cells(one.made("ink", now, lambda loop=loop: self._loop_ink(loop).taken()))  # type: ignore[misc]
        lines: list[Array] = []
        for run in plan.runs:
            if self._seen(run.path):
                kept = still((run.path, run.lies))
                room.cells(kept.made("ink", now, lambda run=run: self._run_ink(run).taken()))  # type: ignore[misc]
                kept = still((run.path, run.lies, max(run.moisture_ratios)))
                lines += kept.made("far edge", now, lambda run=run: self._far_edge(run))  # type: ignore[misc]
        for wrap in plan.wraps:
            room.area(self.px(points_of(_shade(wrap))))
            lines += [self.px(points_of(edge)) for edge in (*_edges(wrap), *(path for path, _ in _end(wrap)))]
        for band, width in zip(plan.leaving, self.widths, strict=True):
            if self._seen(band.path):
                corners = self.px(points_of(self._ribbon(band, width)))
                lines += [corners, self._arrow(band, width)]
                room.area(corners)
        room.lines(lines)
        room.cells(known.hazards.made("ink", now, lambda: self._signs_ink().taken()))
        if not self.whole:
            room.only(self.clip)
        return room

    def _ink(self, number: int) -> Room:
        """The ink of one outline."""
        room, lines = Room(self.frame), []
        for shape, box in zip(self.plan.outlines[number].shapes, self.known.part(number), strict=True):
            if self._sees(box):
                points = self.px(self.known.points(shape.path))
                lines.append(points)
                if shape.role in FILLED:
                    room.area(points)
        room.lines(lines)
        return room

    def _loop_ink(self, loop: Loop) -> Room:
        room = Room(self.frame)
        small = [circle_path(c) for c, _ in loop.rolls if c.radius <= SMALL]
        room.lines(self.px(points) for points in (self.known.points(loop.path), *map(points_of, small)))
        return room

    def _run_ink(self, run: Run) -> Room:
        """The ink of the edge of a run that stays where its water moves."""
        room = Room(self.frame)
        room.lines([self.px(points_of(run.path.beside(self._off(run, 0.0))))])
        return room

    def _far_edge(self, run: Run) -> list[Array]:
        """What moves with the water of a run: its other edge, and the arrow heads."""
        return [self.px(points_of(run.path.beside(self._off(run, 1.0)))), *self._ways(run)]

    def _signs_ink(self) -> Room:
        room, hazards = Room(self.frame), self.plan.hazards
        room.spots([self.view.at(h.place) for h in hazards if h.kind not in ROLL_SIGNS], 0.62 * self.size)
        room.spots([self.view.at(h.place) for h in hazards if h.kind in ROLL_SIGNS], 0.3 * self.size)
        return room

    # --- markup

    def markup(self, part: Part, hazards: tuple[str, str]) -> str:
        """Everything to scale, from the back to the front."""
        plan, known, now, parts = self.plan, self.known, self._eye, []
        for i, (outline, one) in enumerate(zip(plan.outlines, known.stills, strict=True)):
            lines = one.made("lines", now, lambda i=i: self._lines(i))  # type: ignore[misc]
            if lines.drawn:
                parts.append(part(outline.name, outline.text, lines.drawn, lines.mark))
            parts += [self._wrap(w) for w in plan.wraps if w.part == outline.part]
        parts += self._bands(part)
        parts.append(self._over())
        for i, (loop, one) in enumerate(zip(plan.loops, known.loops, strict=True)):
            if self._sees(known.loop(i)):
                drawn, mark = one.made("lines", now, lambda loop=loop: self._loop(loop))  # type: ignore[misc]
                parts.append(part(loop.name, loop.text, drawn, mark))
        for run, one in zip(plan.runs, known.runs, strict=True):
            if self._seen(run.path):
                drawn = one.made("lines", now, lambda run=run: self._run(run))  # type: ignore[misc]
                parts.append(part(run.name, run.text, drawn, ""))
        parts.append(part(*hazards, known.hazards.made("lines", now, self._signs), ""))
        return "".join(parts)

    def _lines(self, number: int) -> Lines:
        """The lines of one outline, its mark, and what of it is drawn once more above a band of water."""
        drawn, over, mark = [], [], ""
        for shape, box in zip(self.plan.outlines[number].shapes, self.known.part(number), strict=True):
            if not self._sees(box):
                continue
            data = svg.path_data(shape.path, self.view, shape.closed)
            drawn.append(svg.path(data, shape.role))
            if not mark and self.whole:
                mark = svg.path(data, "mark")
            if shape.role not in ("hood", "nozzles"):
                over.append(svg.path(data, shape.role if shape.role in SOLID else "over"))
        return Lines("".join(drawn), mark, "".join(over))

    def _over(self) -> str:
        """Lines of the parts that a band of water crosses, once more above it."""
        crossed = {band.part for band in self.plan.leaving}
        lines = [
            one.made("lines", self._eye, lambda i=i: self._lines(i)).over  # type: ignore[misc]
            for i, (outline, one) in enumerate(zip(self.plan.outlines, self.known.stills, strict=True))
            if outline.part in crossed
        ]
        return svg.element("g", *lines, aria_hidden="true", pointer_events="none")

    def _loop(self, loop: Loop) -> tuple[str, str]:
        """The lines of a fabric, and its mark."""
        data = svg.path_data(loop.path, self.view, True)
        lines = [svg.path(data, loop.role)]
        if loop.role == "felt":
            lines.append(svg.path(data, "felt core"))
        small = (circle_path(c) for c, _ in loop.rolls if c.radius <= SMALL)
        drawn = "".join(svg.drawn(path, self.view, "roll", True) for path in small) + "".join(lines)
        return drawn, svg.path(data, "mark") if self.whole else ""

    def _wrap(self, wrap: Wrap) -> str:
        """The wrap shaded inside its roll, with the end of forming and its band."""
        parts = [svg.drawn(_shade(wrap), self.view, "wrap", True)]
        parts += [svg.drawn(edge, self.view, "wrap edge") for edge in _edges(wrap)]
        parts += [svg.drawn(path, self.view, role) for path, role in _end(wrap)]
        return svg.element("g", *parts, aria_hidden="true", pointer_events="none")

    # --- stock and sheet

    def _off(self, run: Run, far: float) -> float:
        """How far off its path a run is drawn, m: its near and far edge."""
        thick = layer(max(run.moisture_ratios), self.size) if far else 0.0
        return run.lies * (1.6 * self.size / 15.0 + thick) / self.view.scale

    def _run(self, run: Run) -> str:
        parts: list[str] = []
        ink: list[str] = []
        traced = still(run.path).made("traced", None, lambda: _pieces_of(run.path))
        for a, b, ratio in run.steps():
            thick = layer(ratio, self.size)
            off = run.lies * (1.6 * self.size / 15.0 + thick / 2) / self.view.scale
            data = traced(a, b).beside(off, self.view)
            parts.append(svg.path(data, "stock", stroke_width=round(thick, 2), stroke_opacity=depth(ratio)))
            if ratio < 30.0:
                ink.append(svg.path(data, "sheet"))
        heads = [svg.polygon(map(tuple, way[:3]), "way") for way in self._ways(run)]
        return "".join(parts + ink + heads)

    def _ways(self, run: Run) -> list[Array]:
        """Arrow heads that show which way a run goes."""
        long = run.path.length * self.view.scale
        if long < 4.5 * self.size:
            return []
        heads, half = [], 0.3 * self.size
        for share in (0.5,) if long < 45.0 * self.size else (0.25, 0.75):
            pose = run.path.beside(self._off(run, 0.5)).at(share * run.path.length)
            (x, y), c, s = self.view.at(pose.point), math.cos(pose.heading), -math.sin(pose.heading)
            corners = ((1.5 * half, 0.0), (-half, half), (-half, -half), (1.5 * half, 0.0))
            heads.append(np.array([(x + a * c - b * s, y + a * s + b * c) for a, b in corners]))
        return heads

    # --- water

    def _ribbon(self, band: Leaving, width: float) -> Path:
        """The outline of a band."""
        half = 0.5 * width / self.view.scale
        out, back = band.path.beside(half), band.path.beside(-half).reversed()
        return out.then(Path((Line(out.end, back.start),)), back, Path((Line(back.end, out.start),)))

    def _arrow(self, band: Leaving, width: float) -> Array:
        """The arrow head at the end of a band, px."""
        end = band.path.at(band.path.length)
        tip, wing = 0.6 * self.size / self.view.scale, (0.5 * width + 0.28 * self.size) / self.view.scale
        return np.array(
            [self.view.at(end.point.beside(end.heading, *at)) for at in ((0.0, wing), (tip, 0.0), (0.0, -wing))]
        )

    def _bands(self, part: Part) -> list[str]:
        groups: dict[tuple[str, str], list[str]] = {}
        for band, width in zip(self.plan.leaving, self.widths, strict=True):
            if self._seen(band.path):
                groups.setdefault(self.plan.water[band.stage, band.name], []).append(self._band(band, width))
        return [part(*told, "".join(markup), "") for told, markup in groups.items()]

    def _band(self, band: Leaving, width: float) -> str:
        """A ribbon as wide as its flow, with an arrow at its end."""
        role = {"evaporation": "band vapour", "not drained": "band undrained"}.get(band.stage, "band")
        tone = depth(band.moisture_ratio) if role == "band" else None
        flow = {"data_flow": f"{band.flow:.6g}", "data_width": f"{width:.4f}"} if self.whole else {}
        ribbon = svg.drawn(self._ribbon(band, width), self.view, role, True, fill_opacity=tone, **flow)
        return ribbon + svg.polygon(map(tuple, self._arrow(band, width)), role, fill_opacity=tone)

    # --- warning signs

    def _signs(self) -> str:
        big = 0.95 * self.size
        order = {"roll at crawl": 0, "roll": 1, "nip at crawl": 2, "nip": 3, "blade": 4, "hot": 5}
        parts = []
        for hazard in sorted(self.plan.hazards, key=lambda h: order[h.kind]):
            x, y = self.view.at(hazard.place)
            if self.holds((x, y)):
                parts.append(sign(hazard.kind, x, y, big))
        return "".join(parts)


def sign(kind: str, x: float, y: float, big: float) -> str:
    """A warning sign at a place, px."""
    if kind in ROLL_SIGNS:
        return _triangle(x, y, 0.36 * big, "sign small" if kind == "roll" else "sign crawl")
    if kind == "nip at crawl":
        return _triangle(x, y, 0.62 * big, "sign")
    bar = svg.line([(x, y - 0.3 * big), (x, y + 0.06 * big)], "rule", stroke_width=0.13 * big)
    dot = svg.element("circle", cx=x, cy=y + 0.24 * big, r=0.075 * big, class_=svg.klass("black"), stroke="none")
    return _triangle(x, y, big, "sign") + bar + dot


def _triangle(x: float, y: float, size: float, role: str) -> str:
    half = 0.58 * size
    return svg.polygon([(x, y - 0.62 * size), (x + half, y + 0.42 * size), (x - half, y + 0.42 * size)], role)


def _shade(wrap: Wrap) -> Path:
    arc = wrap.arc
    return sector(arc.centre, 0.62 * arc.radius, 0.985 * arc.radius, arc.begin, arc.turn)


def _edges(wrap: Wrap) -> list[Path]:
    return [_spoke(wrap.arc, angle, 1.1) for angle in (wrap.arc.begin, wrap.arc.begin + wrap.arc.turn)]


def _end(wrap: Wrap) -> list[tuple[Path, str]]:
    """Where forming ends, and how far that may be off."""
    if wrap.formed is None:
        return []
    arc = wrap.arc
    angle = arc.begin + arc.side * wrap.formed
    last = wrap.formed_slow if wrap.formed_slow is not None else abs(arc.turn)
    band = Path((Arc(arc.centre, 0.56 * arc.radius, angle, arc.side * (last - wrap.formed)),))
    return [(_spoke(arc, angle, 1.06), "formed"), (band, "formed slow")]


def _spoke(arc: Arc, angle: float, outer: float) -> Path:
    return Path((Line(arc.centre.beside(angle, 0.55 * arc.radius), arc.centre.beside(angle, outer * arc.radius)),))


def signs(hazards: Iterable[Hazard]) -> int:
    """How many in-running nips there are."""
    return sum(h.kind in ("nip", "roll") for h in hazards)


def named(outline: Outline) -> tuple[str, ...]:
    """The lines printed beside a part."""
    return tuple(said for said in (outline.label, outline.printed) if said)
