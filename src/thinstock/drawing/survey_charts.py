"""The pictures of a reconciled round: how far each reading had to move, and the water as bands between the nodes.

The bands are drawn to one scale; what would be thinner than a line is drawn as a line and its number tells. The words
and the table that stand for each picture come from the same rows.
"""

from __future__ import annotations

import copy
import json
from collections import Counter
from importlib.resources import files
from typing import Any, Final

from thinstock.drawing import svg
from thinstock.drawing.chart import DATA, VERSION, _colours, _config, _resized
from thinstock.errors import needs, visible
from thinstock.machine.outlines.said import plain
from thinstock.survey.findings import Findings
from thinstock.words.phrase import phrase

Rows = list[dict[str, Any]]

THINNEST: Final = 1.4
"""Line for a band that would be thinner, px."""
WIDEST: Final = 74.0
"""Width of the largest band, px."""


def adjustments_rows(findings: Findings) -> Rows:
    """One row per reading of the balance."""
    rows: Rows = []
    times: Counter[str] = Counter()
    for row in findings.rows:
        base = str(row.reading.given.get("quantity", "")) or row.reading.quantity
        name = f"{row.reading.stream} {base}"
        if not row.number:
            name = phrase("charts.survey.by_heat", name=name)
        times[name] += 1
        said = f"{row.adjustment:+.1f}".replace("-", "−")
        rows.append(
            {
                "reading": name if times[name] == 1 else phrase("charts.survey.again", name=name, number=times[name]),
                "moved": row.adjustment,
                "doubtful": row.doubtful,
                "checked": row.redundancy,
                "said": phrase("charts.survey.doubtful", moved=said) if row.doubtful else said,
            }
        )
    return rows


def adjustments_spec(theme: str = "paper", *, width: int | None = None) -> dict[str, Any]:
    """The specification of the adjustments, without data: it reads rows named "rows"."""
    colours = _colours(theme)
    text = files("thinstock.drawing").joinpath("charts", "survey_adjustments.vl.json").read_text(encoding="utf-8")
    for key, value in colours.items():
        text = text.replace(f"${key}", value)
    spec: dict[str, Any] = json.loads(text)
    if width is not None:
        spec = _resized(spec, width / float(spec["usermeta"]["width"]))
    spec.pop("usermeta", None)
    spec["data"] = {"name": DATA}
    spec["config"] = _config(colours)
    return spec


def adjustments_full(findings: Findings, theme: str = "paper") -> dict[str, Any]:
    """The specification with its data, its axis wide enough for the largest."""
    rows = adjustments_rows(findings)
    spec = adjustments_spec(theme)
    reach = max([3.0, *(abs(r["moved"]) for r in rows)]) * 1.6
    spec["encoding"]["x"]["scale"]["domain"] = [-reach, reach]
    spec["datasets"] = {DATA: copy.deepcopy(rows)}
    return spec


def adjustments_svg(findings: Findings, theme: str = "print") -> str:
    """The adjustments as SVG."""
    vl_convert = needs("vl_convert", "page")

    full = adjustments_full(findings, theme)
    return visible(str(vl_convert.vegalite_to_svg(full, vl_version=VERSION, allowed_base_urls=[])))


def adjustments_alt(findings: Findings) -> str:
    """The adjustments in words."""
    rows = sorted(adjustments_rows(findings), key=lambda r: -abs(r["moved"]))
    said = "; ".join(f"{r['reading']} {r['said']}" for r in rows[:5])
    return phrase("charts.survey.largest", readings=said)


# -- water ---------------------------------------------------------------------------------------------------------

COLUMN: Final = {
    "mixing": 0, "screens": 1, "headbox": 2, "forming": 3, "vacuum": 4, "press": 5, "yankee": 6, "silo": 3, "felt": 5,
}  # fmt: skip
BELOW: Final = ("silo", "felt")
LEFT, STEP, TOP, DROP = 130.0, 150.0, 190.0, 190.0
SIZE: Final = 12.5


def water_rows(findings: Findings) -> Rows:
    """One row per stream: where from, where to, water and its standard uncertainty, kg/s."""
    return [
        {
            "stream": s,
            "from": a,
            "to": b,
            "water": w,
            "uncertainty": u,
            "said": phrase("charts.survey.plus_minus", water=plain(w), uncertainty=plain(u, 2)),
        }
        for s, a, b, w, u in findings.water
    ]


def water_alt(findings: Findings) -> str:
    """The water in words."""
    rows = sorted(water_rows(findings), key=lambda r: -r["water"])
    said = [
        phrase("charts.survey.stream", stream=r["stream"], source=r["from"], sink=r["to"], said=r["said"]) for r in rows
    ]
    return phrase("charts.survey.water", streams="; ".join(said))


def water_flow_svg(findings: Findings, theme: str = "print") -> str:
    """The reconciled water between the nodes as bands, to one scale."""
    rows = water_rows(findings)
    largest = max(r["water"] for r in rows)
    picture = _Flow(WIDEST / largest)
    for row in rows:
        picture.stream(row)
    picture.nodes({r["from"] for r in rows} | {r["to"] for r in rows})
    return picture.svg(findings, theme, largest)


class _Flow:
    """Bands collected, then nodes on top of them."""

    def __init__(self, scale: float) -> None:
        self.scale = scale
        self.bands: list[str] = []
        self.labels: list[str] = []
        self.used: dict[tuple[str, str], int] = {}
        self.bottom = TOP + DROP

    def at(self, node: str) -> tuple[float, float]:
        return LEFT + STEP * COLUMN[node], TOP + (DROP if node in BELOW else 0.0)

    def width(self, row: dict[str, Any]) -> float:
        return float(max(THINNEST, self.scale * row["water"]))

    def stream(self, row: dict[str, Any]) -> None:
        source, sink = row["from"], row["to"]
        if source == "outside":
            self._in(row, sink)
        elif sink == "outside":
            self._out(row, source)
        elif source in BELOW and sink not in BELOW:
            self._back(row, source, sink)
        elif sink in BELOW:
            self._down(row, source, sink)
        else:
            self._along(row, source, sink)

    def _slot(self, node: str, side: str) -> int:
        number = self.used.get((node, side), 0)
        self.used[node, side] = number + 1
        return number

    def _band(self, points: list[tuple[float, float]], row: dict[str, Any]) -> None:
        said = phrase("charts.survey.band", stream=row["stream"], said=row["said"])
        inside = svg.element("title", svg.words(said))
        data = "M" + "L".join(f"{svg.short(x)} {svg.short(y)}" for x, y in points)
        self.bands.append(
            svg.element(
                "path", inside, d=data, class_=svg.klass("stock"), style=f"stroke-width:{svg.short(self.width(row))}px"
            )
        )

    def _label(self, x: float, y: float, row: dict[str, Any], anchor: str = "start") -> None:
        name = row["stream"].partition(": ")
        first = row["stream"].replace("_", " ") if not name[2] else name[2]
        self.labels.append(svg.text(x, y, first, "text halo", SIZE, anchor))
        self.labels.append(svg.text(x, y + 15.0, row["said"], "text halo", SIZE, anchor))

    def _in(self, row: dict[str, Any], sink: str) -> None:
        x, y = self.at(sink)
        k = self._slot(sink, "in")
        if sink in BELOW:
            self._band([(x + 92.0, y + 24.0 * k), (x, y + 24.0 * k)], row)
            self._label(x + 96.0, y + 24.0 * k - 2.0, row)
            return
        x += 22.0 * k - 8.0
        self._band([(x, y - 96.0 + 34.0 * k), (x, y - 20.0)], row)
        self._label(x + 6.0, y - 100.0 + 34.0 * k, row)

    def _out(self, row: dict[str, Any], source: str) -> None:
        x, y = self.at(source)
        if row["stream"] == "vapour":
            self._band([(x, y - 20.0), (x, y - 96.0)], row)
            self._label(x + 6.0, y - 100.0, row)
            return
        if row["stream"] == "reel":
            self._band([(x, y), (x + 70.0, y)], row)
            self._label(x + 74.0, y - 2.0, row)
            return
        k = self._slot(source, "out")
        x += 12.0 + 10.0 * k
        end = y + 66.0 + 36.0 * k
        self._band([(x, y + 20.0), (x, end)], row)
        self._label(x + 6.0, end - 8.0, row)
        self.bottom = max(self.bottom, end)

    def _along(self, row: dict[str, Any], source: str, sink: str) -> None:
        (x0, y0), (x1, y1) = self.at(source), self.at(sink)
        self._band([(x0, y0), (x1, y1)], row)
        self._label(0.5 * (x0 + x1), y0 - 0.5 * self.width(row) - 22.0, row, "middle")

    def _down(self, row: dict[str, Any], source: str, sink: str) -> None:
        (x0, y0), (x1, y1) = self.at(source), self.at(sink)
        k = self._slot(source, "down")
        x = x0 - 14.0 * k
        if COLUMN[source] != COLUMN[sink]:
            self._band([(x0, y0 + 20.0), (x0, y1 - 30.0), (x1 - 6.0, y1 - 30.0), (x1 - 6.0, y1)], row)
            self._label(0.5 * (x0 + x1), y1 - 40.0, row, "middle")
            return
        self._band([(x, y0 + 20.0), (x1 - 14.0 * k, y1)], row)
        beside = 0.5 * self.width(row) + 8.0
        left = sink == "silo"
        self._label(
            x - beside if left else x + beside, 0.5 * (y0 + y1) + 34.0 * k - 12.0, row, "end" if left else "start"
        )

    def _back(self, row: dict[str, Any], source: str, sink: str) -> None:
        (x0, y0), (x1, y1) = self.at(source), self.at(sink)
        self._band([(x0 + 0.5 * self.width(row), y0), (x1, y0), (x1, y1 + 20.0)], row)
        self._label(0.5 * (x0 + x1), y0 - 0.5 * self.width(row) - 22.0, row, "middle")

    def nodes(self, there: set[str]) -> None:
        for node in COLUMN:
            if node not in there:
                continue
            x, y = self.at(node)
            room = svg.width_of(node, 15.0) + 18.0
            self.labels.append(
                svg.element(
                    "rect", x=x - room / 2, y=y - 15.0, width=room, height=30.0, rx=2, class_=svg.klass("white")
                )
            )
            self.labels.append(svg.text(x, y + 5.0, node, "text strong", 15.0, "middle"))

    def svg(self, findings: Findings, theme: str, largest: float) -> str:
        width, height = LEFT + STEP * 6 + 190.0, self.bottom + 70.0
        title = phrase("charts.survey.title")
        note = phrase("charts.survey.scale", largest=plain(largest), width=f"{WIDEST:.0f}")
        head = [
            svg.element("title", svg.words(title)),
            svg.element("desc", svg.words(water_alt(findings))),
            svg.style_sheet(theme, "wf-", "wf"),
            svg.element("rect", x=0, y=0, width=width, height=height, class_=svg.klass("paper")),
            svg.text(24.0, 34.0, title, "text strong", 16.0),
            svg.text(24.0, 54.0, note, "text faint", 13.0),
        ]
        return svg.element(
            "svg", *head, *self.bands, *self.labels, xmlns="http://www.w3.org/2000/svg",
            viewBox=f"0 0 {width:g} {height:g}",
            width=f"{width:g}", height=f"{height:g}", class_="wf", role="img",
        )  # fmt: skip
