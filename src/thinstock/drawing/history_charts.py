"""Signals and constants over time as small pictures below each other: the middle, its band, and what stands steady.

One axis of time for all; each picture has its own scale. The words that stand for the picture come from the same rows.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Mapping
from datetime import UTC, datetime
from importlib.resources import files
from typing import Any, Final

import numpy as np

from thinstock.drawing.chart import DATA, VERSION, _colours, _config
from thinstock.errors import needs, visible
from thinstock.survey.drift import Drifts
from thinstock.survey.historian import Series
from thinstock.survey.windows import Windows
from thinstock.words.phrase import phrase

Rows = list[dict[str, Any]]
BINS: Final = 240
"""Pieces of time of a signal, each one mean with the span of its middle nine tenths."""


def signal_rows(series: Mapping[str, Series], found: Windows) -> Rows:
    """Bands of every signal, and the windows that stand steady behind them."""
    begin, end = found.windows[0].start, found.windows[-1].end
    edges = np.linspace(begin, end, BINS + 1)
    rows: Rows = []
    for record in found.records:
        name = f"{record.tag}, {record.unit}" if record.unit else record.tag
        rows += [
            {"name": name, "kind": "steady", "time": _stamp(w.start), "end": _stamp(w.end)}
            for w in found.windows
            if w.steady
        ]
        one = series[record.tag]
        places = np.searchsorted(one.time, edges)
        few = record.count < BINS / 4
        for k in range(BINS):
            x = one.value[places[k] : places[k + 1]]
            if x.size:
                low, middle, high = np.quantile(x, [0.05, 0.5, 0.95])
                at = 0.5 * (edges[k] + edges[k + 1])
                rows.append(_row(name, "read" if few else "band", at, low, middle, high))
    return rows


def drift_rows(found: Drifts) -> Rows:
    """Levels of every constant with their bands, and what each round says alone."""
    rows: Rows = []
    for one in found.drifts:
        name = f"{one.unknown.label}: {phrase(f'history.drift.{one.verdict}')}"
        for k, at in enumerate(one.time):
            rows.append(_row(name, "band", at, one.low[k], one.level[k], one.high[k]))
            rows.append(_row(name, "read", at, one.value_low[k], one.value[k], one.value_high[k]))
    return rows


def _row(name: str, kind: str, at: float, low: float, middle: float, high: float) -> dict[str, Any]:
    ends = {"low": float(low), "middle": float(middle), "high": float(high)}
    return {"name": name, "kind": kind, "time": _stamp(at), **ends}


def _stamp(at: float) -> str:
    return datetime.fromtimestamp(round(at), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def history_spec(rows: Rows, title: str, subtitle: str, theme: str = "paper") -> dict[str, Any]:
    """The specification with its data."""
    colours = _colours(theme)
    text = files("thinstock.drawing").joinpath("charts", "history.vl.json").read_text(encoding="utf-8")
    times = [row["time"] for row in rows]
    few = bool(times) and min(times)[:7] == max(times)[:7]
    form = "%d %b, %H:%M" if few else "%Y-%m-%d"
    for key, value in {**colours, "axis": phrase("charts.history.axis"), "form": form}.items():
        text = text.replace(f"${key}", value)
    spec: dict[str, Any] = json.loads(text)
    spec.pop("usermeta", None)
    spec["facet"]["row"]["sort"] = list(dict.fromkeys(row["name"] for row in rows))
    spec["title"] = {"text": title, "subtitle": subtitle}
    spec["data"] = {"name": DATA}
    spec["datasets"] = {DATA: copy.deepcopy(rows)}
    spec["config"] = _config(colours)
    return spec


def signals_svg(series: Mapping[str, Series], found: Windows, theme: str = "print") -> str:
    """Signals over time with the windows that stand steady, as SVG."""
    title, below = phrase("charts.history.signals"), phrase("charts.history.signals_below")
    return _svg(history_spec(signal_rows(series, found), title, below, theme))


def drifts_svg(found: Drifts, theme: str = "print") -> str:
    """Constants over the rounds, as SVG."""
    title, below = phrase("charts.history.drifts"), phrase("charts.history.drifts_below")
    return _svg(history_spec(drift_rows(found), title, below, theme))


def _svg(spec: Mapping[str, Any]) -> str:
    vl_convert = needs("vl_convert", "page")
    return visible(str(vl_convert.vegalite_to_svg(spec, vl_version=VERSION, allowed_base_urls=[])))
