"""Writes markup for a drawing: elements with escaped text, paths in pixels, line styles, hatches and themes.

Styles name a role, never a single part. Every role differs from its neighbours by dash, hatch or weight, so that a
black and white print reads like the screen. Colours are variables a page may set; no scripts, nothing fetched.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from thinstock.drawing import typeface
from thinstock.drawing.typeface import width_of as width_of
from thinstock.drawing.typeface import wrapped as wrapped
from thinstock.errors import visible
from thinstock.machine.geometry import Arc, Line, Path, Point
from thinstock.words.phrase import phrase

FONT: Final = phrase("drawing.svg.charter_bitstream_charter_georgia_liberation")
"""The face of charts."""

COLOURS: Final[dict[str, dict[str, str]]] = {
    "paper": {"paper": "#fdfcf7", "ink": "#1d1c1a", "faint": "#77736a", "water": "#1b5a9e", "tint": "#efece2"},
    "dark": {"paper": "#16181b", "ink": "#ece8de", "faint": "#9b978c", "water": "#79b4f2", "tint": "#24272b"},
    "print": {"paper": "#ffffff", "ink": "#000000", "faint": "#595959", "water": "#17508f", "tint": "#f0f0f0"},
}
"""Ink, paper and one blue, per theme."""

STYLES: Final[dict[str, str]] = {
    "roll": "fill:$paper;stroke:$ink;stroke-width:1.3",
    "shell": "fill:$paper;stroke:$ink;stroke-width:1.7",
    "shell inside": "fill:none;stroke:$ink;stroke-width:.8",
    "cover": "fill:none;stroke:$ink;stroke-width:.7",
    "open": "fill:none;stroke:$ink;stroke-width:.9;stroke-dasharray:3 2.4",
    "voids": "fill:none;stroke:$ink;stroke-width:1.6;stroke-dasharray:1 1.6",
    "suction": "fill:url(#hatch);stroke:$ink;stroke-width:.8",
    "box": "fill:url(#hatch);stroke:$ink;stroke-width:1.2",
    "steel": "fill:$tint;stroke:$ink;stroke-width:1",
    "shoe": "fill:$ink;stroke:$ink;stroke-width:.6",
    "foil": "fill:$ink;stroke:$ink;stroke-width:.5",
    "blade": "fill:none;stroke:$ink;stroke-width:2.4",
    "hood": "fill:url(#rows);stroke:$ink;stroke-width:1.2",
    "nozzles": "fill:none;stroke:$ink;stroke-width:2.6;stroke-dasharray:1.2 4",
    "detail": "fill:none;stroke:$ink;stroke-width:.7",
    "spray": "fill:none;stroke:$water;stroke-width:1;stroke-dasharray:1.5 2",
    "lip": "fill:none;stroke:$ink;stroke-width:2",
    "stock box": "fill:$paper;stroke:$ink;stroke-width:1.3",
    "pond": "fill:$water;fill-opacity:.8;stroke:$ink;stroke-width:.8",
    "paper roll": "fill:url(#spiral);stroke:$ink;stroke-width:1.4",
    "axis": "fill:none;stroke:$ink;stroke-width:.6",
    "wire": "fill:none;stroke:$ink;stroke-width:1.5;stroke-dasharray:7 2.6",
    "felt": "fill:none;stroke:$ink;stroke-width:3.6",
    "felt core": "fill:none;stroke:$paper;stroke-width:1.7",
    "over": "fill:none;stroke:$ink;stroke-width:.9",
    "wrap": "fill:url(#wrapped);stroke:none",
    "wrap edge": "fill:none;stroke:$ink;stroke-width:.8;stroke-dasharray:4 2",
    "formed": "fill:none;stroke:$ink;stroke-width:2.2",
    "formed slow": "fill:none;stroke:$ink;stroke-width:1.2;stroke-dasharray:2 2.4",
    "sheet": "fill:none;stroke:$ink;stroke-width:1",
    "stock": "fill:none;stroke:$water",
    "band": "fill:$water;stroke:$water;stroke-width:.9;stroke-linejoin:round",
    "band vapour": "fill:url(#dots);stroke:$water;stroke-width:.9;stroke-dasharray:3 2",
    "band undrained": "fill:$water;fill-opacity:.55;stroke:$ink;stroke-width:1.2;stroke-dasharray:6 3",
    "sign": "fill:$paper;stroke:$ink;stroke-width:1.5;stroke-linejoin:round",
    "sign small": "fill:$ink;stroke:none;fill-opacity:.8",
    "sign crawl": "fill:$paper;stroke:$ink;stroke-width:.7",
    "leader": "fill:none;stroke:$faint;stroke-width:.7",
    "rule": "fill:none;stroke:$ink;stroke-width:1",
    "thin rule": "fill:none;stroke:$faint;stroke-width:.6",
    "black": "fill:$ink;stroke:$ink;stroke-width:.8",
    "white": "fill:$paper;stroke:$ink;stroke-width:.8",
    "paper": "fill:$paper;stroke:none",
    "curve": "fill:none;stroke:$ink;stroke-width:2",
    "curve 2": "fill:none;stroke:$ink;stroke-width:2;stroke-dasharray:7 3",
    "curve 3": "fill:none;stroke:$ink;stroke-width:2;stroke-dasharray:2 3",
    "hatch line": "fill:none;stroke:$ink;stroke-width:1.1",
    "row line": "fill:none;stroke:$ink;stroke-width:.35",
    "wrap line": "fill:none;stroke:$ink;stroke-width:.55",
    "dot": "fill:$water;stroke:none",
    "text": "fill:$ink;stroke:none",
    "text faint": "fill:$faint;stroke:none",
    "text strong": "fill:$ink;stroke:none;font-weight:600",
    "text halo": "fill:$ink;stroke:none",
    "text water": "fill:$water;stroke:none",
    "way": "fill:$ink;stroke:$ink;stroke-width:.6;stroke-linejoin:round",
    "frame": "fill:none;stroke:$faint;stroke-width:.7",
    "leader end": "fill:$faint;stroke:none",
}
"""Line style of each role; $names are colours."""

_KLASS: Final = {role: "ts-" + role.replace(" ", "-") for role in (*STYLES, "mark")}

_PATTERNS: Final = (
    '<pattern id="{p}hatch" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="5" height="5" class="ts-paper"/><path d="M0 0V5" class="ts-hatch-line"/></pattern>'
    '<pattern id="{p}rows" width="6" height="4" patternUnits="userSpaceOnUse">'
    '<rect width="6" height="4" class="ts-paper"/><path d="M0 2H6" class="ts-row-line"/></pattern>'
    '<pattern id="{p}dots" width="4.5" height="4.5" patternUnits="userSpaceOnUse">'
    '<rect width="4.5" height="4.5" class="ts-paper"/><circle cx="2.2" cy="2.2" r="1.05" class="ts-dot"/></pattern>'
    '<pattern id="{p}wrapped" width="3.2" height="3.2" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)">'
    '<path d="M0 0V3.2" class="ts-wrap-line"/></pattern>'
    '<pattern id="{p}spiral" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(20)">'
    '<rect width="5" height="5" class="ts-paper"/><path d="M0 0V5" class="ts-row-line"/></pattern>'
)


@dataclass(frozen=True)
class View:
    """Metres to pixels."""

    scale: float
    """px per metre."""
    left: float
    """px of x = 0."""
    top: float
    """px of y = 0."""

    def at(self, place: Point) -> tuple[float, float]:
        """A place in pixels."""
        return self.left + self.scale * place.x, self.top - self.scale * place.y


def attributes(**given: object) -> str:
    """Attributes of an element, escaped; a trailing underscore of a name is dropped, the others become hyphens."""
    parts = []
    for name, value in given.items():
        if value is None:
            continue
        parts.append(
            f" {_attribute(name)}=" + (f'"{short(value)}"' if isinstance(value, float) else _quoted(str(value)))
        )
    return "".join(parts)


@lru_cache(maxsize=256)
def _attribute(name: str) -> str:
    return name.rstrip("_").replace("_", "-")


@lru_cache(maxsize=2048)
def _quoted(text: str) -> str:
    return quoteattr(visible(text))


def element(name: str, *inside: str, **given: object) -> str:
    """One element with what stands inside it (already markup)."""
    body = "".join(inside)
    return f"<{name}{attributes(**given)}>{body}</{name}>" if body else f"<{name}{attributes(**given)}/>"


def words(text: str) -> str:
    """Text as markup."""
    return escape(visible(text))


def short(value: float) -> str:
    """A coordinate, hundredths of a pixel."""
    text = f"{value:.2f}"
    if text[-1] != "0":
        return text
    text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def klass(role: str) -> str:
    """The class of a role."""
    return _KLASS[role]


def path_data(path: Path, view: View, closed: bool = False) -> str:
    """A path in metres as path data in pixels; arcs stay arcs."""
    x, y = view.at(path.start)
    parts = [f"M{short(x)} {short(y)}"]
    for piece in path.pieces:
        if isinstance(piece, Arc):
            count = max(1, math.ceil(abs(piece.turn) / (0.9 * math.pi)))
            r, way = short(piece.radius * view.scale), 0 if piece.turn > 0 else 1
            for i in range(count):
                turned = piece.side * (piece.length * (i + 1) / count) / piece.radius
                x, y = view.at(piece.centre.beside(piece.begin + turned, piece.radius))
                parts.append(f"A{r} {r} 0 0 {way} {short(x)} {short(y)}")
        else:
            x, y = view.at(piece.end)
            parts.append(f"L{short(x)} {short(y)}")
    return "".join(parts) + ("Z" if closed else "")


class Traced:
    """A path whose data is asked for again and again, moved more or less to its left: what does not move is kept."""

    def __init__(self, path: Path) -> None:
        self._pieces = [_traced(piece) for piece in path.pieces]

    def beside(self, left: float, view: View) -> str:
        """The data of the path moved so far to its left, in pixels."""
        scale, x, y = view.scale, view.left, view.top
        parts: list[str] = []
        for (x0, y0), radius, side, (c0, s0), ends in self._pieces:
            if not side:  # a straight piece: places, and the sideways step of its heading
                begin, *rest = ((px - left * s0, py + left * c0) for px, py in ((x0, y0), *ends))
                drawn = [f"L{short(x + scale * px)} {short(y - scale * py)}" for px, py in rest]
            else:
                out = max(radius - side * left, 1e-9)
                begin = x0 + out * c0, y0 + out * s0
                r, way = short(out * scale), 0 if side > 0 else 1
                drawn = [
                    f"A{r} {r} 0 0 {way} {short(x + scale * (x0 + out * c))} {short(y - scale * (y0 + out * s))}"
                    for c, s in ends
                ]
            if not parts:
                parts.append(f"M{short(x + scale * begin[0])} {short(y - scale * begin[1])}")
            parts += drawn
        return "".join(parts)


def _traced(
    piece: Line | Arc,
) -> tuple[tuple[float, float], float, float, tuple[float, float], list[tuple[float, float]]]:
    """Of an arc its centre, radius, side, and the directions of its begin and its ends; of a straight piece its start,
    its heading and its end."""
    if isinstance(piece, Line):
        heading = piece.heading
        return piece.start, 0.0, 0.0, (math.cos(heading), math.sin(heading)), [piece.end]
    count = max(1, math.ceil(abs(piece.turn) / (0.9 * math.pi)))
    angles = [piece.begin + piece.side * (piece.length * i / count) / piece.radius for i in range(count + 1)]
    first, *ends = ((math.cos(angle), math.sin(angle)) for angle in angles)
    return piece.centre, piece.radius, piece.side, first, ends


def path(data: str, role: str, **given: object) -> str:
    """Path data in the style of a role."""
    return f'<path d="{data}" class="{klass(role)}"{attributes(**given)}/>'


_path = path


def drawn(path: Path, view: View, role: str, closed: bool = False, **given: object) -> str:
    """A path drawn in the style of a role."""
    return _path(path_data(path, view, closed), role, **given)


def polygon(points: Iterable[tuple[float, float]], role: str, **given: object) -> str:
    """A closed figure in pixels."""
    return element(
        "path", d="M" + "L".join(f"{short(x)} {short(y)}" for x, y in points) + "Z", class_=klass(role), **given
    )


def ground(width: float, height: float) -> str:
    """The paper under a drawing that stands by itself."""
    return element("rect", x=0, y=0, width=width, height=height, class_=klass("paper"))


def line(points: Iterable[tuple[float, float]], role: str, **given: object) -> str:
    """An open line in pixels."""
    return element("path", d="M" + "L".join(f"{short(x)} {short(y)}" for x, y in points), class_=klass(role), **given)


def text(
    x: float, y: float, said: str, role: str = "text", size: float = 15.0, anchor: str = "start", **given: object
) -> str:
    """A line of words."""
    if said and not given:
        return (
            f'<text x="{short(x)}" y="{short(y)}" class="{klass(role)}" font-size="{short(size)}" '
            f'text-anchor="{anchor}">{words(said)}</text>'
        )
    return element("text", words(said), x=x, y=y, class_=klass(role), font_size=size, text_anchor=anchor, **given)


def coloured(style: str, theme: str) -> str:
    """A style with its colours: variables of the page with the paper's as fallback, or fixed ones of a theme."""
    for name, value in COLOURS["paper" if theme == "page" else theme].items():
        style = style.replace(f"${name}", f"var(--ts-{name},{value})" if theme == "page" else value)
    return style


@lru_cache(maxsize=8)
def style_sheet(theme: str, prefix: str, root: str) -> str:
    """The style element: every role, what hover and focus show, and the typeface (a page has that at an address)."""
    rules = [typeface.rules("/typeface/" if theme == "page" else "")]
    rules.append(f".{root}{{font-family:{typeface.FONT};background:{coloured('$paper', theme)}}}")
    for role, style in STYLES.items():
        style = coloured(style, theme).replace("url(#", f"url(#{prefix}")
        rules.append(f".{root} .{klass(role)}{{{style}}}")
    rules += [
        f".{root} .ts-tip{{opacity:0;pointer-events:none}}",
        f".{root} [tabindex]:hover>.ts-tip,.{root} [tabindex]:focus>.ts-tip{{opacity:1}}",
        f".{root} [tabindex]{{outline:none}}",
        f".{root} [tabindex]:hover>.ts-mark,.{root} [tabindex]:focus>.ts-mark{{opacity:1}}",
        f".{root} .ts-mark{{opacity:0;fill:none;stroke-width:2.2;stroke-dasharray:2 3;pointer-events:none;"
        f"stroke:{coloured('$water', theme)}}}",
        f"@media print{{.{root} .ts-hint,.{root} .ts-tip{{display:none}}}}",
    ]
    return element("style", "".join(rules).replace("<", "\\3c "))


def patterns(prefix: str, more: str = "") -> str:
    """The hatches, and more definitions."""
    return element("defs", (_PATTERNS + more).replace("{p}", prefix))
