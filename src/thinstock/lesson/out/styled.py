"""A drawing whose styles stand at every element: for readers of SVG that know no style sheet."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

from thinstock.drawing import svg, typeface
from thinstock.lesson.shows.canvas import PALE, PREFIX, WEAK

NAME = "{http://www.w3.org/2000/svg}"
WATERY = ("ts-band", "ts-pond", "ts-band-undrained")
_OWN = {
    "st-tub": "fill:none;stroke:$water;stroke-width:1.1",
    "st-cube": "fill:$water;fill-opacity:.25;stroke:$water;stroke-width:1.4",
    "st-layer": "fill:$water;stroke:none;fill-opacity:.85",
    "st-throw": "fill:none;stroke:$water;stroke-width:2;stroke-dasharray:5 3",
    "st-bar": "fill:$ink;stroke:none",
    "st-bar-water": "fill:$water;stroke:none",
}


def styled(markup: str, theme: str = "print") -> str:
    """The same drawing with the style of every element written at it, and no fonts inside."""
    ET.register_namespace("", NAME[1:-1])
    root = ET.fromstring(markup)
    for style in root.findall(f"{NAME}style"):
        root.remove(style)
    known = {svg.klass(role): style for role, style in svg.STYLES.items()} | _OWN
    known["st-bar-pale"] = f"fill:{PALE[theme]};stroke:none"
    for one in root.iter():
        if one.tag == f"{NAME}text":
            one.set("font-family", f"{typeface.FAMILY}, Calibri, sans-serif")
    _walk(root, known, theme, pale=False)
    return ET.tostring(root, encoding="unicode")


def _walk(one: ET.Element, known: dict[str, str], theme: str, *, pale: bool) -> None:
    kinds = (one.get("class") or "").split()
    pale = pale or "st-pale" in kinds
    for kind in kinds:
        if kind in known:
            style = svg.coloured(known[kind], theme).replace("url(#", f"url(#{PREFIX}")
            for pair in filter(None, style.split(";")):
                name, _, value = pair.partition(":")
                if one.get(name) is None:
                    one.set(name, value)
            if pale:
                _fade(one, kind, theme)
    one.attrib.pop("class", None)
    for inner in one:
        _walk(inner, known, theme, pale=pale)


def _fade(one: ET.Element, kind: str, theme: str) -> None:
    """Pale: thin lines of one grey, water one weak blue."""
    if kind in WATERY or kind == "ts-stock":
        one.set("stroke", WEAK[theme])
        if kind != "ts-stock":
            one.set("fill", WEAK[theme])
            one.set("fill-opacity", "1")
        return
    if not re.search("felt-core|paper", kind) and one.get("stroke", "none") != "none":
        one.set("stroke", PALE[theme])
        if kind != "ts-felt":
            one.set("stroke-width", "1.1")
