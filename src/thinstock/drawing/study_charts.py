"""The picture of a map: one result over two inputs, grey where the machine does not run inside its limits.

The data come from a map that was run; the picture adds units and words and works nothing out.
"""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

import numpy as np

from thinstock.drawing.chart import DATA, VERSION, _colours, _config, _resized
from thinstock.errors import needs, visible
from thinstock.machine.line import Machine
from thinstock.machine.numbers import number
from thinstock.studies.machine_sweep import RUNS, MachineMap
from thinstock.words import nomenclature, units
from thinstock.words.num import Array
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Q
from thinstock.words.units import UnitSet

Rows = list[dict[str, Any]]


def axis_of(machine: Machine, where: str, unit_set: UnitSet) -> tuple[str, str, Any]:
    """Words, unit and conversion of an input."""
    about = machine.declaration(where).about
    assert isinstance(about, Q)
    word = nomenclature.word(about.word)
    kind = None if word.kind in nomenclature.PLAIN_KINDS else word.kind
    unit = (about.unit if unit_set == "mill" else "") or units.edge_unit(about.word, unit_set) or "1"
    air = float(machine.site.atmospheric_pressure())
    said = where.rpartition(".")[2].replace("_", " ")
    return said, unit, lambda v: units.from_si(v, unit, kind, atmospheric_pressure=air)


def result_of(name: str, air: float, unit_set: UnitSet) -> tuple[str, str, Any]:
    """Words, unit and conversion of a result."""
    about = number(name)
    if not about.word:
        return about.label, about.unit, lambda v: v
    kind = nomenclature.word(about.word).kind
    unit = units.edge_unit(about.word, unit_set)
    known = None if kind in nomenclature.PLAIN_KINDS else kind
    return about.label, unit, lambda v: units.from_si(v, unit, known, atmospheric_pressure=air)


def map_rows(machine: Machine, found: MachineMap, unit_set: UnitSet = "mill") -> Rows:
    """One row per case: its cell on both axes, its value and its state."""
    x_of, y_of = axis_of(machine, found.x, unit_set)[2], axis_of(machine, found.y, unit_set)[2]
    value_of = result_of(found.result, float(machine.site.atmospheric_pressure()), unit_set)[2]
    xs, ys = _edges(np.asarray(x_of(found.x_values))), _edges(np.asarray(y_of(found.y_values)))
    values = np.asarray(value_of(found.value), dtype=float)
    return [
        {
            "x": float(xs[i]),
            "x_end": float(xs[i + 1]),
            "y": float(ys[j]),
            "y_end": float(ys[j + 1]),
            "value": float(values[j, i]) if np.isfinite(values[j, i]) else None,
            "state": str(found.state[j, i]),
        }
        for j in range(len(found.y_values))
        for i in range(len(found.x_values))
    ]


def _edges(values: Array) -> Array:
    """The borders of cells round their middles."""
    middle = 0.5 * (values[1:] + values[:-1])
    return np.concatenate([[1.5 * values[0] - 0.5 * values[1]], middle, [1.5 * values[-1] - 0.5 * values[-2]]])


PALE_BLUE = {"paper": "#cfe2f0", "dark": "#24445c", "print": "#d3e2ee"}
"""The low end of a map's blue: no paper, no tint."""


def map_spec(machine: Machine, found: MachineMap, theme: str = "paper", unit_set: UnitSet = "mill",
             *, width: int | None = None) -> dict[str, Any]:  # fmt: skip
    """The specification without data: it reads rows named "rows"."""
    colours = _colours(theme)
    text = files("thinstock.drawing").joinpath("charts", "study_map.vl.json").read_text(encoding="utf-8")
    for key, value in {**colours, "pale_blue": PALE_BLUE.get(theme, PALE_BLUE["paper"])}.items():
        text = text.replace(f"${key}", value)
    said, unit, _ = result_of(found.result, float(machine.site.atmospheric_pressure()), unit_set)
    words = {"result": said[0].upper() + said[1:], "unit": unit if unit != "1" else ""}
    for place in ("x", "y"):
        what, axis_unit, _ = axis_of(machine, getattr(found, place), unit_set)
        words[place] = what if axis_unit == "1" else f"{what}, {axis_unit}"
    for key, value in words.items():
        text = text.replace(f"{{{key}}}", json.dumps(value, ensure_ascii=False)[1:-1])
    spec: dict[str, Any] = json.loads(text)
    if width is not None:
        spec = _resized(spec, width / float(spec["usermeta"]["width"]))
    spec.pop("usermeta", None)
    spec["data"] = {"name": DATA}
    ink = colours["ink"]
    spec["config"] = {**_config(colours), "legend": {"labelColor": ink, "titleColor": ink, "labelFontSize": 12}}
    return spec


def map_full(machine: Machine, found: MachineMap, theme: str = "print", unit_set: UnitSet = "mill") -> dict[str, Any]:
    """The specification with its data."""
    spec = map_spec(machine, found, theme, unit_set)
    spec["datasets"] = {DATA: map_rows(machine, found, unit_set)}
    return spec


def map_svg(machine: Machine, found: MachineMap, theme: str = "print", unit_set: UnitSet = "mill") -> str:
    """The map as SVG."""
    vl_convert = needs("vl_convert", "page")

    full = map_full(machine, found, theme, unit_set)
    return visible(str(vl_convert.vegalite_to_svg(full, vl_version=VERSION, allowed_base_urls=[])))


def map_alt(machine: Machine, found: MachineMap, unit_set: UnitSet = "mill") -> str:
    """The map in words."""
    said, unit, of = result_of(found.result, float(machine.site.atmospheric_pressure()), unit_set)
    runs = found.state == RUNS
    if not np.any(runs):
        return phrase("charts.map.none_runs", result=said)
    share = phrase("charts.map.runs", share=f"{100 * float(np.mean(runs)):.0f}", cases=found.state.size)
    low, high = (float(of(v)) for v in (np.nanmin(found.value[runs]), np.nanmax(found.value[runs])))
    last = f"{high:.4g}" if unit == "1" else f"{high:.4g} {unit}"
    return phrase("charts.map.all", result=said, low=f"{low:.4g}", high=last, runs=share)
