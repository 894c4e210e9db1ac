"""Words on a drawing: names where there is room, numerals with a key where there is not, and what a part tells.

Only places and words; what is said comes from the plan.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from functools import lru_cache

from thinstock.drawing import svg, typeface
from thinstock.drawing.labels import LINE, Placed
from thinstock.drawing.panel import Panel, named
from thinstock.drawing.plan import Loop, Wrap
from thinstock.machine.geometry import Line, Point
from thinstock.machine.outlines.said import in_unit
from thinstock.words.phrase import phrase


@dataclass(frozen=True)
class Sheet:
    """The paper: its width, the size of its words, and whether names are numerals."""

    width: float
    size: float
    narrow: bool
    prefix: str
    theme: str


@dataclass(frozen=True)
class Entry:
    """Something to be named: its lines and where a leader may point to."""

    lines: tuple[str, ...]
    anchors: list[Point]
    part: str = ""


@dataclass
class Names:
    """Names and numbers of all panels of a drawing; the narrow one lists them by numeral."""

    sheet: Sheet
    listed: dict[str, int] = field(default_factory=dict)
    left_out: list[str] = field(default_factory=list)
    """Names for which there was no room: they are told on hover and focus only."""

    @property
    def size(self) -> float:
        """Size of a name, px."""
        return self.sheet.size

    def flows(self, panel: Panel, said: dict[tuple[str, str], str]) -> str:
        """The flow at the end of each group of bands, by stage and name."""
        printed = []
        seen: dict[tuple[str, str], list[int]] = {}
        for i, band in enumerate(panel.plan.leaving):
            if (band.stage, band.name) in said and panel.holds(panel.view.at(band.path.end)):
                seen.setdefault((band.stage, band.name), []).append(i)
        for key, which in seen.items():
            chosen = next((i for i in which if panel.plan.leaving[i].label), which[len(which) // 2])
            order = sorted(which, key=lambda i: abs(i - chosen))
            tips = [panel.plan.leaving[i].path for i in order]
            ends = [tip.at(tip.length) for tip in tips]
            anchors = [panel.view.at(e.point.beside(e.heading, 0.6 * self.size / panel.view.scale)) for e in ends]
            placed = panel.room.place((said[key],), anchors[:3], self.size, toward=ends[0].heading, reach=60.0)
            if placed is None:
                placed = panel.room.place((said[key],), anchors, self.size)
            printed.append(self._printed((said[key],), placed, "text water"))
        return "".join(printed)

    def parts(
        self, panel: Panel, wanted: Collection[str] | None, without: Collection[str] = (), brief: Collection[str] = ()
    ) -> str:
        """Names of parts with their leaders: of these parts, or of all but some; the name alone of the brief ones."""
        printed = []
        for entry in self.entries(panel, wanted, without):
            lines = entry.lines[:1] if entry.part in brief else entry.lines
            if self.sheet.narrow:
                said = ", ".join(lines)
                lines = (str(self.listed.setdefault(said, len(self.listed) + 1)),)
            anchors = [panel.view.at(p) for p in entry.anchors]
            anchors = [a for a in anchors if panel.holds(a)]
            placed = panel.room.place(lines, anchors, self.size) if anchors else None
            printed.append(self._printed(lines, placed, "text"))
        return "".join(printed)

    def _printed(self, lines: tuple[str, ...], placed: Placed | None, role: str) -> str:
        if placed is None:
            self.left_out.append(", ".join(lines))
            return ""
        parts = [] if placed.leader is None else [svg.line(placed.leader, "leader")]
        parts += [
            svg.text(placed.x, placed.y + LINE * self.size * i, said, role, self.size, placed.side)
            for i, said in enumerate(lines)
        ]
        return "".join(parts)

    def entries(self, panel: Panel, wanted: Collection[str] | None, without: Collection[str] = ()) -> Iterator[Entry]:
        """What is to be named on a panel: these parts, or all but some."""
        plan = panel.plan
        for outline in plan.outlines:
            if outline.label and outline.part not in without and (wanted is None or outline.part in wanted):
                yield Entry(named(outline), [outline.anchor, *outline.also], outline.part)
        for wrap in plan.wraps:
            if wrap.part not in without and (wanted is None or wrap.part in wanted):
                yield from _wrap_names(wrap)
        for loop in plan.loops:
            if loop.part not in without and (wanted is None or loop.part in wanted):
                yield Entry((loop.name,), _calm(loop))
        if wanted is None:
            for place, said in plan.remarks:
                yield Entry((said,), [place])

    def key(self, top: float) -> tuple[str, float]:
        """The key to the numerals, in two columns."""
        if not self.listed:
            return "", 0.0
        size, half = self.size, self.sheet.width / 2
        rows: list[float] = [0.0, 0.0]
        parts = []
        first = (len(self.listed) + 1) // 2
        for said, n in self.listed.items():
            column = 0 if n <= first else 1
            x = 8.0 + column * half
            for k, part in enumerate(typeface.wrapped(said, size, half - 36.0)):
                rows[column] += 1.3 * size
                if k == 0:
                    parts.append(svg.text(x + 16, top + rows[column], str(n), "text strong", size, "end"))
                parts.append(svg.text(x + 22, top + rows[column], part, "text", size))
        return svg.element("g", *parts, aria_hidden="true"), max(rows) + 10.0


def _wrap_names(wrap: Wrap) -> Iterator[Entry]:
    """The wrap in degrees, and where forming ends, as far as that is known."""
    arc = wrap.arc
    if wrap.formed is not None:
        end = in_unit(wrap.formed, "deg", 2)
        said = phrase("drawing.forming.end_or_later", end=end)
        if wrap.formed_slow is not None:
            said = phrase("drawing.forming.end_to", end=end, slow=in_unit(wrap.formed_slow, "deg", 2))
        angle = arc.begin + arc.side * wrap.formed
        yield Entry((said,), [arc.centre.beside(angle, 0.55 * arc.radius), arc.centre.beside(angle, 1.06 * arc.radius)])
    middle = arc.centre.beside(arc.begin + 0.5 * arc.turn, 0.62 * arc.radius)
    yield Entry((phrase("drawing.forming.wrap", wrap=in_unit(abs(arc.turn), "deg")),), [middle])


def _calm(loop: Loop) -> list[Point]:
    """Places on the straight runs of a fabric where its name can point to, behind where it carries the sheet."""
    found, done = [], 0.0
    for piece in loop.path.pieces:
        if isinstance(piece, Line) and piece.length > 0.5 and done > 0.3 * loop.path.length:
            found += [piece.at(share * piece.length).point for share in (0.5, 0.3, 0.7)]
        done += piece.length
    return found or [loop.path.at(0.75 * loop.path.length).point]


class Tips:
    """Groups that tell their name and numbers on hover and focus, always at the same place below the drawing."""

    def __init__(self, sheet: Sheet, top: float, bottom: float) -> None:
        self.sheet, self.top, self.bottom = sheet, top, bottom

    def part(self, name: str, said: str, markup: str, mark: str) -> str:
        """One part of the drawing."""
        return _part(name, said, markup, mark, self.sheet.size, self.sheet.width, self.top, self.bottom)

    def hint(self) -> str:
        """What to do to be told."""
        said = phrase("drawing.sheet.tap") if self.sheet.narrow else phrase("drawing.sheet.hint")
        made = svg.text(12, self.top + 1.15 * self.sheet.size, said, "text faint", self.sheet.size)
        return made.replace('class="', 'class="ts-hint ')


@lru_cache(maxsize=400)
def _part(name: str, said: str, markup: str, mark: str, size: float, width: float, top: float, bottom: float) -> str:
    """A part with its words, as markup: the same as before where nothing of it has changed."""
    whole = phrase("drawing.sheet.part", name=name, said=said) if said else name
    lines = typeface.wrapped(whole, size, width - 24)
    ground = svg.element("rect", x=0, y=top, width=width, height=bottom - top, class_=svg.klass("paper"))
    tip = [svg.text(12, top + (1.25 * i + 1.15) * size, one, "text", size) for i, one in enumerate(lines)]
    return svg.element(
        "g", svg.element("title", svg.words(name)), svg.element("desc", svg.words(said)), markup, mark,
        svg.element("g", ground, *tip, class_="ts-tip", aria_hidden="true"),
        tabindex="0", role="img", aria_label=whole,
    )  # fmt: skip
