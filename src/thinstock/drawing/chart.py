"""Charts by name: one specification per chart for page and print, its data, the words that stand for it, its table.

The specifications are files (`charts/*.vl.json`) with named data and no numbers of a machine in them. Colours, units
and width are put in here; nothing is fetched from anywhere.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from functools import lru_cache
from importlib.resources import files
from typing import Any, Final

from thinstock.drawing import chart_rows, chart_rows_sheet, chart_words
from thinstock.drawing.chart_units import CHART_UNITS, Rows
from thinstock.drawing.svg import COLOURS, FONT, wrapped
from thinstock.errors import Fault, Refused, needs, visible
from thinstock.machine.limits import Limits
from thinstock.machine.result import Result
from thinstock.studies.ladder import Ladder
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.units import UnitSet

NARROW: Final = 340
"""Below this width of the plotting area, px, type is smaller and titles are broken into lines."""
DATA: Final = "rows"
"""Name of the data in every specification."""
VERSION: Final = "5.20"
"""Version of the grammar the specifications are compiled with for print."""


RESULTS: Final[dict[str, Callable[[Result, UnitSet], Rows]]] = {
    "water_staircase": chart_rows.water_staircase,
    "water_takers": chart_rows.water_takers,
    "drainage": chart_rows.drainage,
    "yankee": chart_rows.yankee,
    "energy": chart_rows.energy,
    "flow_speed": chart_rows_sheet.flow_speed,
    "cv_zone": chart_rows_sheet.cv_zone,
    "holes": chart_rows_sheet.holes,
}
LIMITS: Final[dict[str, Callable[[Limits, UnitSet], Rows]]] = {"limits": chart_rows.limits}
LADDERS: Final[dict[str, Callable[[Ladder, UnitSet], Rows]]] = {
    "lowest_consistency": chart_rows_sheet.lowest_consistency
}
"""What makes the rows of each chart from a result, its limits or a ladder."""
NAMES: Final = (
    "water_staircase", "water_takers", "drainage", "yankee", "limits", "energy", "flow_speed", "lowest_consistency",
    "cv_zone", "holes",
)  # fmt: skip
"""All charts, in the order in which a machine is explained."""


def chart_names() -> tuple[str, ...]:
    """All charts, in the order in which a machine is explained."""
    return NAMES


@lru_cache(maxsize=32)
def _file(name: str) -> str:
    if name not in NAMES:
        raise Refused(fault_in("charts.chart.chart", "chart", repr(name), names=", ".join(NAMES)))
    return files("thinstock.drawing").joinpath("charts", f"{name}.vl.json").read_text(encoding="utf-8")


def chart_title(name: str) -> str:
    """What a chart shows, in a few words."""
    title = json.loads(_file(name))["title"]
    return str(title["text"] if isinstance(title, dict) else title)


def chart_needs(name: str) -> str:
    """What its data are made from: "result", "limits" or "ladder"."""
    _file(name)
    return "limits" if name in LIMITS else "ladder" if name in LADDERS else "result"


def chart_spec(
    name: str, theme: str = "paper", units: UnitSet = "mill", *, width: int | None = None, title: bool = True
) -> dict[str, Any]:
    """The specification of a chart, without data: it reads rows named "rows".

    `theme`: "paper", "dark", "print", or "page" for the page's own variables. `width`: px of the plotting area.
    """
    colours = _colours(theme)
    text = _file(name)
    for key, value in colours.items():
        text = text.replace(f"${key}", value)
    for what, by_set in CHART_UNITS.items():
        text = text.replace(f"{{{what}}}", by_set[units])
    spec: dict[str, Any] = json.loads(text)
    if not title:
        spec.pop("title", None)
    narrow = width is not None and width < NARROW
    if width is not None:
        spec = _resized(spec, width / float(spec["usermeta"]["width"]))
    if narrow and "title" in spec:
        spec["title"] = _wrapped(spec["title"], float(width or 0) + 150.0)
    spec.pop("usermeta", None)
    spec["data"] = {"name": DATA}
    spec["config"] = _config(colours, narrow=narrow)
    return spec


def _colours(theme: str) -> dict[str, str]:
    if theme == "page":
        return {key: f"var(--ts-{key},{value})" for key, value in COLOURS["paper"].items()}
    if theme not in COLOURS:
        raise Refused(fault_in("charts.chart.theme", "theme", repr(theme), names=", ".join(COLOURS)))
    return COLOURS[theme]


def _resized(part: Any, factor: float) -> Any:
    """Every width of a specification times a factor."""
    if isinstance(part, dict):
        return {
            k: round(v * factor) if k == "width" and isinstance(v, int | float) else _resized(v, factor)
            for k, v in part.items()
        }
    return [_resized(one, factor) for one in part] if isinstance(part, list) else part


def _wrapped(title: Any, room: float) -> dict[str, Any]:
    """A title broken into lines."""
    both = title if isinstance(title, dict) else {"text": title}
    return {key: wrapped(" ".join(said) if isinstance(said, list) else said, 13.0, room) for key, said in both.items()}


def _config(colours: dict[str, str], *, narrow: bool = False) -> dict[str, Any]:
    """Type and line as in a set page: one face, ink, no boxes, no grid but a few hairlines."""
    ink, faint, font = colours["ink"], colours["faint"], FONT
    size = 12 if narrow else 14
    return {
        "background": "transparent",
        "font": font,
        "padding": 6,
        "title": {
            "font": font,
            "fontSize": 14 if narrow else 16,
            "fontWeight": "bold",
            "color": ink,
            "anchor": "start",
            "frame": "group",
            "offset": 12,
            "subtitleFont": font,
            "subtitleFontSize": 12 if narrow else 13.5,
            "subtitleColor": faint,
            "subtitlePadding": 5,
        },
        "axis": {
            "labelFont": font,
            "titleFont": font,
            "labelFontSize": size,
            "titleFontSize": size,
            "titleFontWeight": "normal",
            "labelColor": ink,
            "titleColor": ink,
            "domainColor": ink,
            "tickColor": ink,
            "tickSize": 5,
            "titlePadding": 9,
            "labelLimit": 125 if narrow else 260,
            "grid": False,
        },
        "axisX": {"titleAnchor": "end"},
        "axisY": {"titleAnchor": "end"},
        "header": {
            "labelFont": font,
            "labelFontSize": size,
            "labelColor": ink,
            "labelAnchor": "start",
            "labelLimit": 300,
            "title": None,
        },
        "text": {"font": font, "fontSize": size, "color": ink},
        "view": {"stroke": None},
        "rule": {"color": ink},
        "line": {"color": ink, "strokeWidth": 2},
        "bar": {"color": ink},
        "area": {"color": faint},
        "legend": {"disable": True},
    }


def chart_data(name: str, source: Result | Limits | Ladder, units: UnitSet = "mill") -> list[dict[str, Any]]:
    """The rows of a chart, from what `chart_needs` says: a result, its limits, or a ladder."""
    needs = chart_needs(name)
    if isinstance(source, Limits) and needs == "limits":
        return _placed(LIMITS[name](source, units))
    if isinstance(source, Ladder) and needs == "ladder":
        return LADDERS[name](source, units)
    if isinstance(source, Result) and needs == "result":
        return _placed(RESULTS[name](source, units))
    bound = {
        "result": phrase("charts.chart.needs_result"),
        "limits": phrase("charts.chart.needs_limits"),
        "ladder": phrase("charts.chart.needs_ladder"),
    }
    raise Refused(Fault(field="chart", value=name, bound=bound[needs], remedy=phrase("charts.chart.give")))


def _placed(rows: Rows) -> Rows:
    """Rows that know their place, so that a chart keeps their order when they change under it."""
    return [{**row, "row": place} for place, row in enumerate(rows)]


def chart_full(
    name: str, data: list[dict[str, Any]], theme: str = "paper", units: UnitSet = "mill", *, width: int | None = None,
    title: bool = True,
) -> dict[str, Any]:  # fmt: skip
    """The specification with its data in it: a file of its own."""
    spec = chart_spec(name, theme, units, width=width, title=title)
    spec["datasets"] = {DATA: copy.deepcopy(data)}
    return spec


def chart_svg(
    name: str, data: list[dict[str, Any]], theme: str = "print", units: UnitSet = "mill", *, width: int | None = None,
    title: bool = True,
) -> str:  # fmt: skip
    """The chart as SVG text."""
    vl_convert = needs("vl_convert", "page")

    full = chart_full(name, data, theme, units, width=width, title=title)
    return visible(str(vl_convert.vegalite_to_svg(full, vl_version=VERSION, allowed_base_urls=[])))


def chart(
    name: str, source: Result | Limits | Ladder, theme: str = "print", units: UnitSet = "mill", *,
    width: int | None = None,
) -> str:  # fmt: skip
    """A chart of a run, of its limits or of formers, as SVG text.

    Parameters
    ----------
    name : str
        One of `thinstock.drawing.chart_names()`, such as "water_staircase".
    source : Result, Limits or Ladder
        What the chart is of; `thinstock.drawing.chart_needs(name)` says which. One case.
    theme : {"print", "paper", "dark"}
        Its colours.
    units : {"mill", "si", "us"}
        Units of its axes.
    width : int, optional
        Width, px.

    Returns
    -------
    str
        SVG; nothing is fetched.

    Raises
    ------
    Refused
        An unknown chart or theme, another source than it needs, or the library of the extra `page` is not installed.

    Source: the numbers given.
    """
    return chart_svg(name, chart_data(name, source, units), theme, units, width=width)


def chart_png(
    name: str, data: list[dict[str, Any]], theme: str = "print", units: UnitSet = "mill", *, scale: float = 2.0,
    width: int | None = None,
) -> bytes:  # fmt: skip
    """The chart as a picture of pixels."""
    vl_convert = needs("vl_convert", "page")

    full = chart_full(name, data, theme, units, width=width)
    full["config"]["background"] = _colours(theme)["paper"]
    return bytes(vl_convert.vegalite_to_png(full, vl_version=VERSION, scale=scale, allowed_base_urls=[]))


def chart_alt(name: str, data: list[dict[str, Any]], units: UnitSet = "mill") -> str:
    """The chart in words, from its numbers."""
    return phrase("charts.chart.alt", title=chart_title(name), said=chart_words.ALT[name](data, units))


def chart_table(name: str, data: list[dict[str, Any]], units: UnitSet = "mill") -> list[dict[str, Any]]:
    """The numbers of the chart as rows with plain heads."""
    _file(name)
    return chart_words.TABLE[name](data, units)
