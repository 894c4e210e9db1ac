"""The drawing of a scene: its size, its words, what is lit and what is pale, how it stands alone or on a page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from thinstock.drawing import svg, typeface
from thinstock.drawing.elevation import ROOT

SIZE = 16.0
"""Smallest words of a drawing, px at a height of 768."""
PREFIX = "ts-"
CLASS = f"{ROOT} st-drawing"
PALE = {"page": "var(--st-pale)", "print": "#b4ad9e", "paper": "#b4ad9e", "dark": "#5d6265"}
WEAK = {"page": "var(--st-weak)", "print": "#e0e0e0", "paper": "#dbe8f0", "dark": "#1f3644"}


@dataclass(frozen=True, kw_only=True)
class Place:
    """Room for a drawing, px at a height of 768."""

    width: float
    height: float
    image: Callable[[bytes], str]
    """Address of a picture made of points (PNG), for a page or inside the drawing itself."""
    size: float = SIZE


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A drawing with what is said of it."""

    markup: str
    alt: str
    caption: str = ""
    """Under the drawing: its scale, what is exaggerated."""
    names: tuple[str, ...] = ()
    """Parts that can be lit."""
    words: tuple[str, ...] = field(default=())


def rules(theme: str) -> str:
    """Style rules of a scene beside those of every drawing: lit and pale, never by opacity."""
    ink, water = svg.coloured("$ink", theme), svg.coloured("$water", theme)
    pale, weak = PALE[theme], WEAK[theme]
    root = ".st-drawing"
    paper = svg.coloured("$paper", theme)
    return "".join((
        f"{root} .st-pale path,{root} .st-pale circle{{stroke:{pale};stroke-width:1.1;stroke-opacity:1}}",
        f"{root} .st-pale .ts-felt{{stroke-width:3.6}}{root} .st-pale .ts-felt-core{{stroke:{paper};"
        "stroke-width:1.7}",
        f"{root} .st-pale .ts-stock{{stroke:{weak};stroke-width:2.6}}",
        f"{root} .st-pale .ts-shoe,{root} .st-pale .ts-foil,{root} .st-pale .ts-black{{fill:{pale}}}",
        f"{root} .st-pale .ts-band,{root} .st-pale .ts-pond,{root} .st-pale .ts-band-undrained"
        f"{{fill:{weak};stroke:{weak};fill-opacity:1}}",
        f"{root} .st-lit .ts-roll,{root} .st-lit .ts-shell,{root} .st-lit .ts-box,{root} .st-lit .ts-steel"
        "{stroke-width:2.4}",
        f"{root} .st-tub{{fill:none;stroke:{water};stroke-width:1.1}}",
        f"{root} .st-cube{{fill:{water};fill-opacity:.25;stroke:{water};stroke-width:1.4}}",
        f"{root} .st-layer{{fill:{water};stroke:none;fill-opacity:.85}}",
        f"{root} .st-throw{{fill:none;stroke:{water};stroke-width:2;stroke-dasharray:5 3}}",
        f"{root} .st-bar{{fill:{ink};stroke:none}}{root} .st-bar-pale{{fill:{pale};stroke:none}}",
        f"{root} .st-bar-water{{fill:{water};stroke:none}}",
        f"{root} .st-line-pale{{fill:none;stroke:{pale};stroke-width:1.1}}",
        f"{root} .st-soft{{fill:{svg.coloured('$faint', theme)}}}",
    ))  # fmt: skip


def framed(markup: str, place: Place, alt: str, theme: str = "page") -> str:
    """The drawing as SVG: a piece of a page, or a picture that stands by itself."""
    inside = [svg.patterns(PREFIX)]
    given: dict[str, object] = {}
    if theme != "page":
        sheet = svg.style_sheet(theme, PREFIX, ROOT).removesuffix("</style>")
        inside.insert(0, f"{sheet}{rules(theme)}</style>")
        inside.append(svg.element("rect", width=place.width, height=place.height, class_=svg.klass("paper")))
        given = {"xmlns": "http://www.w3.org/2000/svg"}
    return svg.element(
        "svg", *inside, markup, viewBox=f"0 0 {svg.short(place.width)} {svg.short(place.height)}",
        width=place.width, height=place.height, class_=CLASS, role="img", aria_label=alt, **given,
    )  # fmt: skip


def words(x: float, y: float, said: str, *, size: float = SIZE, anchor: str = "start", strong: bool = False,
          role: str = "") -> str:  # fmt: skip
    """A line of words of a drawing."""
    return svg.text(x, y, said, role or ("text strong" if strong else "text"), size, anchor)


def wide(said: str, size: float = SIZE, *, strong: bool = False) -> float:
    """Room a line of words takes."""
    return typeface.width_of(said, size, strong=strong)


def bar(x: float, y: float, long: float, high: float, role: str = "st-bar") -> str:
    """A bar."""
    u, v = x + max(long, 0.8), y + high
    return svg.element(
        "path",
        d="M" + "L".join(f"{svg.short(a)} {svg.short(b)}" for a, b in ((x, y), (u, y), (u, v), (x, v))) + "Z",
        class_=role,
    )
