"""Drawing and charts of the pages, from the drawing package: the page chooses, numbers and places them.

On the page a drawing carries no style of its own (the policy of the page forbids it): its roles are set by one style
sheet made from the drawing package's, its colours by the page.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from html import escape
from importlib.resources import files
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from thinstock.app.words import say
from thinstock.drawing import chart, former_field, svg, typeface
from thinstock.drawing.circuits import scheme as circuit_scheme
from thinstock.drawing.elevation import ROOT, alt_text, elevation, table
from thinstock.drawing.over_time import picture as over_time_picture
from thinstock.errors import Refused, needs, visible_in
from thinstock.machine.over_time import OverTime
from thinstock.machine.result import Result
from thinstock.words import units
from thinstock.words.figures import Edge

WIDE, NARROW = 1160, 420
"""Widths a side view is drawn for, px; the narrow one has numerals and a key."""

_STYLE_SHEET = re.compile(r"<style>.*?</style>", re.DOTALL)
_STYLE = re.compile(r' style="([^"]*)"')
_PREFIX = re.compile(r"\bts[0-9a-f]{6}-")
PREFIX = "ts-"


def drawing(
    result: Result, *, narrow: bool = False, inset: bool = True, unit_set: units.UnitSet = "mill",
    beside: Sequence[Result] = (),
) -> str:  # fmt: skip
    """The side view as a piece of a page: roles and colours are left to the page's style sheets."""
    made = elevation(
        result, width_px=NARROW if narrow else WIDE, theme="page", inset=inset, unit_set=unit_set, whole=True,
        beside=beside,
    )  # fmt: skip
    made = _STYLE_SHEET.sub("", made, count=1)
    own = _PREFIX.search(made)
    return made if own is None else made.replace(own[0], PREFIX)


def scheme(result: Result) -> str:
    """The scheme of the water circuits as a piece of a page; empty without circuits."""
    return _STYLE.sub(_as_attributes, circuit_scheme(result, theme="page"))


def course(found: OverTime, edge: Edge) -> str:
    """What happens over time as a piece of a page."""
    return _STYLE.sub(_as_attributes, over_time_picture(found, edge, theme="page"))


def _as_attributes(found: re.Match[str]) -> str:
    """`style="fill:a;stroke:b"` as attributes of their own."""
    pairs = (one.partition(":") for one in found[1].split(";") if one)
    return "".join(f' {name}="{value}"' for name, _, value in pairs)


def drawing_file(
    result: Result, *, inset: bool = True, unit_set: units.UnitSet = "mill", beside: Sequence[Result] = ()
) -> str:
    """The side view as a file of its own, on white."""
    whole = bool(beside)
    return elevation(
        result, width_px=1400, theme="print", inset=inset, unit_set=unit_set, whole=whole, beside=beside
    )  # fmt: skip


def drawing_words(result: Result) -> str:
    """What the side view shows, in words and as a table (markup)."""
    rows = table(result)
    heads = list(rows[0])
    body = "".join("<tr>" + "".join(f"<td>{escape(_cell(row[head]))}</td>" for head in heads) + "</tr>" for row in rows)
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in heads)
    return (
        f"<p>{escape(alt_text(result))}</p>"
        f'<table class="numbers plain"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'
    )


def _cell(value: Any) -> str:
    if value is None:
        return ""
    return f"{value:.3g}" if isinstance(value, float) else str(value)


@lru_cache(maxsize=1)
def style_sheet() -> bytes:
    """The drawing package's line styles as a style sheet of the page."""
    made = svg.style_sheet("page", PREFIX, ROOT)
    return (made.removeprefix("<style>").removesuffix("</style>") + former_field.rules("page")).encode("utf-8")


def _drawing_css(request: Request) -> Response:
    return Response(style_sheet(), media_type="text/css; charset=utf-8", headers={"cache-control": "no-cache"})


@dataclass(frozen=True, kw_only=True)
class Placed:
    """A chart of the machine page and where it stands."""

    name: str
    section: str
    width: int
    """Plotting width on a wide page, px."""
    wide: bool = False


CHARTS = (
    Placed(name="water_staircase", section="water", width=620, wide=True),
    Placed(name="water_takers", section="water", width=620, wide=True),
    Placed(name="drainage", section="water", width=370),
    Placed(name="flow_speed", section="first", width=560, wide=True),
    Placed(name="energy", section="cost", width=460, wide=True),
    Placed(name="yankee", section="cost", width=370),
)
NARROW_WIDTH = 210
"""Plotting width on a narrow page, px."""


def figures(result: Result, unit_set: units.UnitSet) -> list[dict[str, Any]]:
    """The charts of the machine page with their first data, numbered behind the drawing."""
    rows = chart_data(result, unit_set)
    made = []
    for number, one in enumerate(CHARTS, start=2):
        data = rows[one.name]["rows"]
        made.append(
            {
                "name": one.name,
                "number": number,
                "section": one.section,
                "wide": one.wide,
                "caption": chart.chart_title(one.name) + ".",
                "alt": chart.chart_alt(one.name, data, unit_set) if data else say("machine.no_sheet"),
                "spec": chart.chart_spec(one.name, "page", unit_set, width=one.width, title=False),
                "narrow": chart.chart_spec(one.name, "page", unit_set, width=NARROW_WIDTH, title=False),
                "data": {"rows": data},
                "table": rows_as_table(chart.chart_table(one.name, data, unit_set)) if data else "",
                "files": "/download/chart/",
            }
        )
    return made


def chart_data(
    result: Result, unit_set: units.UnitSet, sight: frozenset[str] | None = None
) -> dict[str, dict[str, Any]]:
    """The rows of the charts of the machine page, of those in sight; none where there is nothing to show."""
    found = {}
    for one in CHARTS:
        if sight is not None and f"chart-{one.name}" not in sight:
            continue
        try:
            found[one.name] = {"rows": chart.chart_data(one.name, result, unit_set)}
        except Refused:
            found[one.name] = {"rows": []}
    return found


@lru_cache(maxsize=32)
def spec_of(name: str) -> dict[str, Any]:
    """A chart of the pages' own, in their common style."""
    folder = files("thinstock.app").joinpath("charts")
    config = json.loads(folder.joinpath("config.json").read_text(encoding="utf-8"))
    return {**json.loads(folder.joinpath(f"{name}.json").read_text(encoding="utf-8")), "config": config}


def sheet_figures(sheets: Any) -> list[dict[str, Any]]:
    """The charts of the sheet page, with their first data."""
    captions = {"zones": say("sheet.chart"), "pinholes": say("sheet.pinholes")}
    return [
        figure_of(name, data, number=number, caption=captions[name], rows=data["curve"], files="/sheet/file/")
        for number, (name, data) in enumerate(sheets.charts().items(), start=1)
    ]


PRINT = {
    "paper": "#fff", "sheet": "#fff", "faint": "#fff", "ink": "#000", "soft": "#444", "rule": "#bbb",
    "water": "#17508f", "water-1": "#d3e4ee", "water-2": "#86b3cf", "water-3": "#3f7fa9", "fault": "#8c2f14",
}  # fmt: skip
"""Colours of a chart on white paper, by the page's own names for them."""
FILE_WIDTH = 640


def own_chart_file(name: str, data: dict[str, Any], kind: str) -> bytes:
    """A chart of the pages' own as a picture, on white."""
    text = re.sub(r"var\(--([a-z0-9-]+)\)", lambda found: PRINT.get(found[1], "#000"), json.dumps(spec_of(name)))
    spec = {**json.loads(text), "datasets": visible_in(data), "background": "#fff"}
    if spec.get("width") == "container":
        spec |= {"width": FILE_WIDTH, "autosize": {"type": "pad"}}
    vl_convert = needs("vl_convert", "page")
    if kind == "svg":
        return str(vl_convert.vegalite_to_svg(json.dumps(spec))).encode("utf-8")
    return bytes(vl_convert.vegalite_to_png(json.dumps(spec), scale=2))


PLACING = ("order", "last", "at", "some")
"""Fields of a chart's rows that only place its words."""


def csv_of(rows: Sequence[dict[str, Any]]) -> bytes:
    """Rows as a CSV file, as a spreadsheet opens it; what only places words on a chart is left out."""
    heads = [head for head in dict.fromkeys(name for row in rows for name in row) if head not in PLACING]
    held = io.StringIO()
    made = csv.DictWriter(held, heads, lineterminator="\r\n", extrasaction="ignore")
    made.writeheader()
    made.writerows(rows)
    return held.getvalue().encode("utf-8-sig")


def figure_of(
    name: str,
    data: dict[str, Any],
    *,
    number: int,
    caption: str,
    rows: list[dict[str, Any]],
    section: str = "",
    files: str = "",
) -> dict[str, Any]:
    """A chart ready for a page: specification with data, caption, and its rows as a table."""
    return {
        "name": name, "spec": spec_of(name), "narrow": spec_of(name), "data": data, "number": number,
        "caption": caption, "alt": caption, "table": rows_as_table(rows), "section": section, "wide": True,
        "files": files,
    }  # fmt: skip


def rows_as_table(rows: list[dict[str, Any]]) -> str:
    """Rows of a chart as a table (markup)."""
    if not rows:
        return ""
    heads = [name for name in rows[0] if name not in PLACING]
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in heads)
    body = "".join("<tr>" + "".join(f"<td>{escape(_cell(row.get(h)))}</td>" for h in heads) + "</tr>" for row in rows)
    table = f'<table class="numbers plain"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'
    return f'<div class="scroll">{table}</div>'


def _typeface(request: Request) -> Response:
    made = typeface.file(request.path_params["cut"]) if request.path_params["cut"] in typeface.CUTS else None
    if made is None:
        return Response(status_code=404)
    return Response(made, media_type="font/woff", headers={"cache-control": "max-age=86400"})


ROUTES = [Route("/drawing.css", _drawing_css), Route("/typeface/{cut}.woff", _typeface)]
