"""Former and press of a machine once more, enlarged to one common scale, with the pressure in the nip beside them."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, field

from thinstock.drawing import inset as nip_inset
from thinstock.drawing import svg, typeface
from thinstock.drawing.labels import Box
from thinstock.drawing.lettering import Names, Sheet
from thinstock.drawing.panel import Panel, around, bounds_of, plain_part, points_of
from thinstock.drawing.still import still
from thinstock.machine.geometry import Path
from thinstock.machine.outlines.said import plain
from thinstock.machine.result import Result
from thinstock.words.phrase import phrase

PAD = 0.4
"""How far around the parts the machine is seen, m."""
LARGEST = 6.0
"""At most so many times as large as on the whole machine."""
SMALLEST = 1.5
"""At least so many times as large where it is made smaller to stand in a row."""
OVER = 2.8
"""Room for names above and below an enlarged part, in sizes of its words."""
HIGH, HIGH_NARROW = 25.0, 30.0
"""How high an enlarged part may stand, in sizes of its words."""


@dataclass(frozen=True)
class View:
    """One enlarged part: its panel, what is named on it, its heading."""

    panel: Panel
    wanted: Collection[str]
    title: str

    def markup(self, names: Names, clip: str) -> str:
        """Heading, drawing and names; the same as before where nothing that is seen here has moved."""
        if names.sheet.narrow:  # its numerals go on from those of other panels
            return self._made(names, clip)
        panel = self.panel
        entries = tuple((entry.lines, tuple(entry.anchors)) for entry in names.entries(panel, self.wanted))
        kept = still((panel.seen(), entries, self.title, clip, names.sheet))

        def make() -> tuple[str, tuple[str, ...]]:
            before = len(names.left_out)
            made = self._made(names, clip)
            left_out = tuple(names.left_out[before:])
            del names.left_out[before:]
            return made, left_out

        markup, left_out = kept.made("view", None, make)
        names.left_out += left_out
        return markup

    def _made(self, names: Names, clip: str) -> str:
        frame = self.panel.frame
        size = self.panel.size
        head = svg.text(frame.left, frame.top - 0.55 * size, self.title, "text strong", size)
        drawn = svg.element("g", self.panel.markup(plain_part, ("", "")), clip_path=f"url(#{clip})")
        return head + drawn + names.parts(self.panel, self.wanted)


@dataclass
class Enlarged:
    """All enlarged parts of a drawing."""

    views: list[View] = field(default_factory=list)
    curve: str = ""
    prefix: str = ""
    rule: str = ""
    end: float | None = None

    def bottom(self, above: float) -> float:
        """Where it ends, px."""
        return above if self.end is None else self.end

    def clips(self) -> str:
        """The windows."""
        boxes = (view.panel.clip for view in self.views)
        return "".join(
            svg.element("clipPath", svg.element("rect", x=b.left, y=b.top, width=b.right - b.left,
                                                height=b.bottom - b.top), id=f"{self.prefix}view{i}")
            for i, b in enumerate(boxes)
        )  # fmt: skip

    def markup(self, names: Names) -> str:
        """Everything with its names."""
        views = [view.markup(names, f"{self.prefix}view{i}") for i, view in enumerate(self.views)]
        return svg.element("g", self.rule, *views, self.curve, aria_hidden="true", pointer_events="none")


@dataclass(frozen=True)
class _Zone:
    """What of the machine is to be seen, m."""

    wanted: Collection[str]
    key: str
    left: float
    low: float
    wide: float
    high: float


def _zone(main: Panel, key: str, wanted: Collection[str]) -> _Zone | None:
    """The rectangle round some parts and the fabrics that are their own."""
    plan, known = main.plan, main.known
    boxes = known.parts(wanted)
    boxes += [known.loop(i) for i, loop in enumerate(plan.loops) if loop.part in wanted]
    boxes += [bounds_of(points_of(Path((wrap.arc,)))) for wrap in plan.wraps if wrap.part in wanted]
    if not boxes:
        return None
    left, low, right, high = around(boxes)
    x, y = left - PAD, low - PAD
    return _Zone(wanted, key, x, y, right + PAD - x, high + PAD - y)


def enlarged(result: Result, main: Panel, sheet: Sheet, top: float, one_row: bool = False) -> Enlarged:
    """The enlarged parts of a machine below a height; in one row where they are not too small for it."""
    plan, size = main.plan, sheet.size
    zones = [
        _zone(main, "former", plan.former),
        _zone(main, "press", plan.press),
    ]
    known = [zone for zone in zones if zone is not None]
    margin = 0.4 * size if sheet.narrow else 3.0 * size
    room = sheet.width - 24.0
    high = (HIGH_NARROW if sheet.narrow else HIGH) * size
    scale = min(
        LARGEST * main.view.scale, *((room - 2 * margin) / z.wide for z in known), *(high / z.high for z in known)
    )
    curve = nip_inset.extent(result, size, room) if result.wet.nips else (0.0, 0.0)
    if one_row and known:
        left = room - 2 * margin * len(known) - (curve[0] + 2 * size if curve[0] else 0.0)
        fits = left / math.fsum(zone.wide for zone in known)
        scale = min(scale, fits) if fits > SMALLEST * main.view.scale else scale
    over = OVER * size
    items: list[tuple[_Zone | None, float, float]] = [
        (z, z.wide * scale + 2 * margin, z.high * scale + 2 * over) for z in known
    ]
    if curve[0]:
        items.append((None, curve[0] + 2 * size, curve[1]))
    shown = Enlarged(prefix=sheet.prefix, rule=svg.line([(12, top), (sheet.width - 12, top)], "thin rule"))
    y = top + 0.6 * size
    for row in _rows(items, room):
        spare = (room - math.fsum(wide for _, wide, _ in row)) / len(row)
        tall = max(height for _, _, height in row)
        x, y = 12.0, y + 1.5 * size
        for zone, wide, _ in row:
            frame = Box(x, y, x + wide + spare, y + tall)
            if zone is None:
                shown.curve = nip_inset.draw(result, (x + size, y - 1.5 * size), curve, size)
            else:
                shown.views.append(_view(zone, main, frame, scale))
            x += wide + spare
        y += tall + 1.2 * size
    shown.end = y + 0.4 * size
    return shown


def _rows(items: list[tuple[_Zone | None, float, float]], room: float) -> list[list[tuple[_Zone | None, float, float]]]:
    """Side by side as far as there is room."""
    rows: list[list[tuple[_Zone | None, float, float]]] = [[]]
    for item in items:
        if rows[-1] and math.fsum(wide for _, wide, _ in rows[-1]) + item[1] > room:
            rows.append([])
        rows[-1].append(item)
    return rows


def _view(zone: _Zone, main: Panel, frame: Box, scale: float) -> View:
    """One part in its frame."""
    wide, high = zone.wide * scale, zone.high * scale
    left = frame.left + (frame.right - frame.left - wide) / 2
    top = frame.top + OVER * main.size
    clip = Box(left, top, left + wide, top + high)
    view = svg.View(scale, left - scale * zone.left, top + scale * (zone.low + zone.high))
    panel = Panel(main.plan, view, frame, clip, main.size, main.widths, main.known, whole=False)
    times = plain(scale / main.view.scale, 2)
    title = phrase(f"drawing.enlarged.{zone.key}", times=times)
    room = frame.right - frame.left
    return View(panel, zone.wanted, typeface.wrapped(title, main.size, room)[0])
