"""Words on a drawing: names where there is room, numerals with a key where there is not, and what a part tells.

Only places and words; what is said comes from the plan.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from thinstock.drawing import svg
from thinstock.drawing.labels import Room
from thinstock.drawing.plan import Loop, Plan, Wrap
from thinstock.machine.geometry import Arc, Line, Path, Point
from thinstock.machine.outlines.said import in_unit
from thinstock.words.phrase import phrase


@dataclass(frozen=True)
class Sheet:
    """The paper: sizes and how metres become pixels."""

    width: float
    size: float
    view: svg.View
    machine_height: float
    narrow: bool
    prefix: str
    theme: str
    tip_top: float = 0.0


def _ink(view: svg.View, plan: Plan, widths: list[float]) -> list[tuple[float, float]]:
    """Places in pixels where there is ink already, close enough together that no name slips between."""
    chord = 5.0 / view.scale
    lines = [s.path for o in plan.outlines for s in o.shapes if s.role not in ("detail", "axis", "spray")]
    lines += [loop.path for loop in plan.loops]
    lines += [run.path for run in plan.runs]
    for band, width in zip(plan.leaving, widths, strict=True):
        count = max(1, math.ceil(width / chord))
        lines += [band.path.beside(width * (i / count - 0.5)) for i in range(count + 1)]
    for wrap in plan.wraps:
        rings = [Arc(wrap.arc.centre, s * wrap.arc.radius, wrap.arc.begin, wrap.arc.turn) for s in (0.65, 0.75, 0.85)]
        lines += [Path((one,)) for one in rings]
    ink = [view.at(p) for path in lines for p in dense(path, chord)]
    for hazard in plan.hazards:
        x, y = view.at(hazard.place)
        if hazard.kind not in ("roll", "roll at crawl"):
            ink += [(x + dx, y + dy) for dx in (-6, 0, 6) for dy in (-6, 0, 6)]
    return ink


class Names:
    """Names and numbers printed on the drawing, placed where there is room."""

    def __init__(self, sheet: Sheet, plan: Plan, widths: list[float]) -> None:
        self.sheet = sheet
        self.plan = plan
        ink = _ink(sheet.view, plan, widths)
        self.room = Room(sheet.width, sheet.machine_height, ink)
        self.printed: list[str] = []
        self.listed: list[tuple[int, str]] = []

    def number(self, said: str, end: Point, heading: float) -> None:
        """The number at the end of a band."""
        x, y = self.sheet.view.at(end)
        reach = 1.3 * self.sheet.size
        at = (x + reach * math.cos(heading), y - reach * math.sin(heading))
        size = 0.93 * self.sheet.size
        width = svg.width_of(said, size)
        if math.sin(heading) < -0.5:
            px, py, anchor = at[0], min(at[1] + 0.4 * size, self.sheet.machine_height - 3), "middle"
            px = min(max(px, width / 2 + 3), self.sheet.width - width / 2 - 3)
            box = (px - width / 2, py - size, px + width / 2, py + 3)
            if self.room.taken(box) > 60:
                placed = self.room.place((said,), [(x, y)], size)
                px, py, anchor = placed.x, placed.y, "start"
                box = placed.box
        else:
            placed = self.room.place((said,), [at], size)
            px, py, anchor, box = placed.x, placed.y, "start", placed.box
        self.room.fill(box)
        self.printed.append(svg.text(px, py, said, "text halo", size, anchor))

    def markup(self) -> str:
        """Names of parts with their leaders; numerals where the drawing is narrow."""
        entries: list[tuple[tuple[str, ...], list[Point]]] = []
        for outline in self.plan.outlines:
            if outline.label:
                lines = tuple(said for said in (outline.label, outline.printed) if said)
                entries.append((lines, [outline.anchor, *outline.also]))
        for loop in self.plan.loops:
            entries.append(((loop.name,), self._calm(loop)))
        for place, said in self.plan.remarks:
            entries.append(((said,), [place]))
        for wrap in self.plan.wraps:
            entries += self._wrap_names(wrap)
        size = 0.93 * self.sheet.size
        for lines, anchors in entries:
            if self.sheet.narrow:
                self.listed.append((len(self.listed) + 1, ", ".join(lines)))
                lines = (str(len(self.listed)),)
            placed = self.room.place(lines, [self.sheet.view.at(p) for p in anchors], size)
            at = placed.anchor
            nearest = (min(max(at[0], placed.box[0]), placed.box[2]), min(max(at[1], placed.box[1]), placed.box[3]))
            if math.hypot(nearest[0] - at[0], nearest[1] - at[1]) > 11.0:
                self.printed.append(svg.line([nearest, at], "leader"))
            for i, said in enumerate(lines):
                role = "text halo"
                self.printed.append(svg.text(placed.x, placed.y + 1.15 * size * i, said, role, size))
        return svg.element("g", *self.printed, aria_hidden="true", pointer_events="none")

    @staticmethod
    def _wrap_names(wrap: Wrap) -> list[tuple[tuple[str, ...], list[Point]]]:
        """The wrap in degrees, and where forming ends, as far as that is known."""
        arc = wrap.arc
        middle = arc.centre.beside(arc.begin + 0.5 * arc.turn, 0.62 * arc.radius)
        wide = phrase("drawing.forming.wrap", wrap=in_unit(abs(arc.turn), "deg"))
        found: list[tuple[tuple[str, ...], list[Point]]] = [((wide,), [middle])]
        if wrap.formed is not None:
            at = arc.centre.beside(arc.begin + arc.side * wrap.formed, 0.55 * arc.radius)
            end = in_unit(wrap.formed, "deg", 2)
            said = phrase("drawing.forming.end_or_later", end=end)
            if wrap.formed_slow is not None:
                said = phrase("drawing.forming.end_to", end=end, slow=in_unit(wrap.formed_slow, "deg", 2))
            outer = arc.centre.beside(arc.begin + arc.side * wrap.formed, 1.08 * arc.radius)
            found.append(((said,), [at, outer]))
        return found

    @staticmethod
    def _calm(loop: Loop) -> list[Point]:
        """Places on the straight runs of a fabric where its name can point to, behind where it carries the sheet."""
        found, done = [], 0.0
        for piece in loop.path.pieces:
            if isinstance(piece, Line) and piece.length > 0.5 and done > 0.3 * loop.path.length:
                found += [piece.at(share * piece.length).point for share in (0.3, 0.5, 0.7)]
            done += piece.length
        return found or [loop.path.at(0.75 * loop.path.length).point]

    def key(self, top: float) -> tuple[str, float]:
        """The key to the numerals, in two columns."""
        if not self.listed:
            return "", 0.0
        size = self.sheet.size
        half = (len(self.listed) + 1) // 2
        parts = []
        rows: list[float] = [0.0, 0.0]
        for i, (n, said) in enumerate(self.listed):
            column = i // half
            x = 8.0 + column * (self.sheet.width / 2)
            for k, part in enumerate(svg.wrapped(said, size, self.sheet.width / 2 - 34)):
                rows[column] += 1.25 * size
                if k == 0:
                    parts.append(svg.text(x + 14, top + rows[column], str(n), "text strong", size, "end"))
                parts.append(svg.text(x + 19, top + rows[column], part, "text", size))
        return svg.element("g", *parts, aria_hidden="true"), max(rows) + 10.0


def dense(path: Path, chord: float) -> list[Point]:
    found: list[Point] = []
    for piece in path.pieces:
        count = max(1, math.ceil(piece.length / chord))
        found += [piece.at(piece.length * i / count).point for i in range(count + 1)]
    return found


class Tips:
    """Groups that tell their name and numbers on hover and focus, always at the same place below the drawing."""

    def __init__(self, sheet: Sheet, top: float, bottom: float) -> None:
        self.sheet, self.top, self.bottom = sheet, top, bottom

    def part(self, name: str, said: str, markup: str, mark: str) -> str:
        """One part of the drawing."""
        size = self.sheet.size
        whole = phrase("drawing.sheet.part", name=name, said=said) if said else name
        lines = svg.wrapped(whole, size, self.sheet.width - 24)
        tip = [
            svg.element(
                "rect",
                x=0,
                y=self.top,
                width=self.sheet.width,
                height=self.bottom - self.top,
                class_=svg.klass("paper"),
            ),
            *(svg.text(12, self.top + (1.25 * i + 1.15) * size, one, "text", size) for i, one in enumerate(lines)),
        ]
        return svg.element(
            "g", svg.element("title", svg.words(name)), svg.element("desc", svg.words(said)), markup, mark,
            svg.element("g", *tip, class_="ts-tip", aria_hidden="true"),
            tabindex="0", role="img", aria_label=whole,
        )  # fmt: skip

    def hint(self) -> str:
        """What to do to be told."""
        said = phrase("drawing.sheet.tap") if self.sheet.narrow else phrase("drawing.sheet.hint")
        return svg.text(12, self.top + 1.15 * self.sheet.size, said, "text faint", 0.93 * self.sheet.size,
                        font_style="italic").replace('class="', 'class="ts-hint ')  # fmt: skip
