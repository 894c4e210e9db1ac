"""Charts for those who do not see them: a few sentences from the numbers, and a table with plain heads."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from thinstock.drawing.chart_units import CHART_UNITS, Rows, UnitSet
from thinstock.machine.outlines.said import plain


def _of(rows: Rows, kind: str) -> Rows:
    return [r for r in rows if r.get("kind") == kind]


def _n(value: Any, digits: int = 3) -> str:
    return "none" if value is None else plain(value, digits)


def _staircase(rows: Rows, units: UnitSet) -> str:
    parts = [f"{r['station']} {r['said'].split('  ')[0] if r['water'] is not None else 'no sheet'}" for r in rows]
    return f"Kilograms of water per kilogram of fibre: {', '.join(parts)}."


def _takers(rows: Rows, units: UnitSet) -> str:
    if not rows:
        return "No sheet was formed, so nothing is shared out."
    parts = [f"{r['stage']} takes {r['water_said']} at {r['energy_said']}" for r in rows]
    return "; ".join(parts) + "."


def _drainage(rows: Rows, units: UnitSet) -> str:
    water, fibre = _of(rows, "water"), _of(rows, "fibre")
    end = _of(rows, "end")[0]["said"]
    unit = CHART_UNITS["length"][units]
    half = next((r["place"] for r in water if r["share"] >= 50), None)
    said = "" if half is None else f" Half of the water has left after {_n(half, 2)} {unit}."
    return (
        f"At the end of the former {_n(water[-1]['share'])} % of the stock's water has drained and "
        f"{_n(fibre[-1]['grammage'])} {CHART_UNITS['grammage'][units]} of fibre lies on the fabric.{said} "
        f"{end[0].upper()}{end[1:]}."
    )


def _yankee(rows: Rows, units: UnitSet) -> str:
    moisture, heat = _of(rows, "moisture"), _of(rows, "temperature")
    hottest = max(heat, key=lambda r: r["temperature"])
    unit = CHART_UNITS["temperature"][units]
    first, last = moisture[0], moisture[-1]
    return (
        f"Moisture falls from {_n(first['moisture'])} to {_n(last['moisture'])} kg water per kg fibre over "
        f"{_n(last['angle'])} degrees of wrap; the sheet is warmest with {_n(hottest['temperature'])} {unit} after "
        f"{_n(hottest['angle'])} degrees; {_of(rows, 'shell')[0]['said']}."
    )


def _limits(rows: Rows, units: UnitSet) -> str:
    unit = CHART_UNITS["speed"][units]
    present = rows[0]["present"]
    parts = [f"{r['part']} {r['said']}" for r in rows if r["speed"] is not None]
    free = [r["part"] for r in rows if r["kind"] == "none"]
    unknown = [r["part"] for r in rows if r["kind"] == "not known"]
    text = f"Present speed {_n(present, 4)} {unit}. " + "; ".join(parts) + "."
    if free:
        text += f" Does not limit: {', '.join(free)}."
    return text + (f" Not known: {', '.join(unknown)}." if unknown else "")


def _energy(rows: Rows, units: UnitSet) -> str:
    unit = CHART_UNITS["energy"][units]
    totals = {k: sum(r["energy"] for r in rows if r["kind"] == k) for k in ("gas", "steam", "electricity")}
    said = ", ".join(f"{k} {_n(v)} {unit}" for k, v in totals.items() if v)
    return f"Of the parts computed: {said}. " + "; ".join(f"{r['consumer']} {_n(r['energy'])}" for r in rows) + "."


def _flow(rows: Rows, units: UnitSet) -> str:
    here = _of(rows, "here")[0]
    v, q = CHART_UNITS["speed"][units], CHART_UNITS["flow"][units]
    lines = ", ".join(f"{r['said']} {_n(r['flow'])}" for r in _of(rows, "grade name"))
    at = _n(_of(rows, "grade name")[0]["speed"])
    areas = "; ".join(
        f"{r['former']} {_n(r['speed'])} to {_n(r['to'])} {v} at {r['said']}" for r in _of(rows, "window")
    )
    return (
        f"This machine delivers {_n(here['flow'])} {q} at {_n(here['speed'], 4)} {v}. "
        f"Grades at {at} {v} would need, in {q}: "
        f"{lines}. Practice runs: {areas}."
    )


def _lowest(rows: Rows, units: UnitSet) -> str:
    v = CHART_UNITS["speed"][units]
    here = _of(rows, "here")[0]
    parts = []
    for name in dict.fromkeys(r["former"] for r in rows):
        own = [r for r in _of(rows, "lowest") if r["former"] == name]
        if not own:
            parts.append(f"{name}: cannot at any speed shown")
            continue
        near = min(own, key=lambda r: abs(r["speed"] - here["speed"]))
        band = f"{_n(near['low'], 2)} %, not at all if the mat resists most,"
        if not near["cannot"]:
            same = near["low"] == near["high"]
            band = f"{_n(near['low'], 2)} %" if same else f"{_n(near['low'], 2)} to {_n(near['high'], 2)} %"
        band = f"below {band}" if near["below"] else band
        parts.append(f"{name}: {band} at {_n(near['speed'], 4)} {v}{'' if near['inside'] else ' (outside practice)'}")
    return f"Given: {_n(here['low'])} % at {_n(here['speed'], 4)} {v}. Lowest consistency: " + "; ".join(parts) + "."


def _cv(rows: Rows, units: UnitSet) -> str:
    sheet, random = _of(rows, "sheet"), _of(rows, "random")
    at_one = min(range(len(sheet)), key=lambda k: abs(sheet[k]["zone"] - 1.0))
    u = CHART_UNITS["zone"][units]
    parts = []
    for i in (at_one, -1):
        low, high, alone = (_n(v, 2) for v in (sheet[i]["cv"], sheet[i]["high"], random[i]["cv"]))
        parts.append(f"in zones of {_n(sheet[i]['zone'], 2)} {u} {low} to {high} % (random sheet {alone} %)")
    return f"Variation of grammage: {'; '.join(parts)}."


def _holes(rows: Rows, units: UnitSet) -> str:
    sheet = _of(rows, "sheet")
    parts = [
        f"{_n(r['size'], 2)} µm: {_n(r['ratio'], 2)} to {_n(r['high'], 2)} times"
        for r in (sheet[0], sheet[len(sheet) // 2], sheet[-1])
    ]
    return "Holes per area over those of the random sheet, from the best headbox to none: " + "; ".join(parts) + "."


ALT: dict[str, Callable[[Rows, UnitSet], str]] = {
    "water_staircase": _staircase,
    "water_takers": _takers,
    "drainage": _drainage,
    "yankee": _yankee,
    "limits": _limits,
    "energy": _energy,
    "flow_speed": _flow,
    "lowest_consistency": _lowest,
    "cv_zone": _cv,
    "holes": _holes,
}
"""The words for each chart."""


# --- tables


def _columns(rows: Rows, **heads: str) -> Rows:
    return [{head.replace("_", " "): r.get(key) for key, head in heads.items()} for r in rows]


def _table_staircase(rows: Rows, units: UnitSet) -> Rows:
    return _columns(rows, station="station", water="kg water per kg fibre", dryness="dryness, %")


def _table_takers(rows: Rows, units: UnitSet) -> Rows:
    return _columns(
        rows,
        stage="stage",
        water="kg water per kg fibre",
        share="share of all, %",
        energy="kJ per kg water",
        money="money per tonne of paper",
    )


def _table_drainage(rows: Rows, units: UnitSet) -> Rows:
    unit, p = CHART_UNITS["length"][units], CHART_UNITS["pressure"][units]
    fibre = {r["place"]: r["grammage"] for r in _of(rows, "fibre")}
    g = CHART_UNITS["grammage"][units]
    pressure: dict[tuple[str, float], float] = {(r["side"], r["place"]): r["pressure"] for r in _of(rows, "pressure")}
    return [
        {
            f"place, {unit}": r["place"],
            "water drained, %": r["share"],
            f"fibre laid down, {g}": fibre.get(r["place"]),
            f"pressure on the wire side, {p}": pressure.get(("wire side", r["place"])),
            f"pressure on the back side, {p}": pressure.get(("back side", r["place"])),
        }
        for r in _of(rows, "water")
    ]


def _table_yankee(rows: Rows, units: UnitSet) -> Rows:
    heat = {r["angle"]: r["temperature"] for r in _of(rows, "temperature")}
    unit = CHART_UNITS["temperature"][units]
    return [
        {
            "degrees after the nip": r["angle"],
            "kg water per kg fibre": r["moisture"],
            f"sheet temperature, {unit}": heat[r["angle"]],
        }
        for r in _of(rows, "moisture")
    ]


def _table_limits(rows: Rows, units: UnitSet) -> Rows:
    return _columns(
        rows,
        part="part",
        speed=f"speed, {CHART_UNITS['speed'][units]}",
        margin="margin, %",
        said="what it says",
        status="status",
    )


def _table_energy(rows: Rows, units: UnitSet) -> Rows:
    return _columns(rows, consumer="consumer", stage="stage", kind="kind", energy=CHART_UNITS["energy"][units])


def _table_flow(rows: Rows, units: UnitSet) -> Rows:
    v, q = CHART_UNITS["speed"][units], CHART_UNITS["flow"][units]
    found = [
        {
            "what": r.get("grade") or r.get("said"),
            f"speed, {v}": r["speed"],
            f"flow, {q}": r["flow"],
            f"flow at the highest consistency, {q}": None,
        }
        for r in rows
        if r["kind"] in ("grade", "here")
    ]
    found += [
        {
            "what": f"practice: {r['former']}",
            f"speed, {v}": r["speed"],
            f"flow, {q}": r["high"],
            f"flow at the highest consistency, {q}": r["low"],
        }
        for r in _of(rows, "area")
    ]
    return found


def _table_lowest(rows: Rows, units: UnitSet) -> Rows:
    v = CHART_UNITS["speed"][units]
    return _columns(
        _of(rows, "lowest"),
        former="former",
        speed=f"speed, {v}",
        low="lowest consistency, %",
        high="the same, mat resists most, %",
        first="what stops dilution",
        inside="inside practice",
    )


def _table_cv(rows: Rows, units: UnitSet) -> Rows:
    random = {r["zone"]: r["cv"] for r in _of(rows, "random")}
    u = CHART_UNITS["zone"][units]
    return [
        {
            f"zone, {u}": r["zone"],
            "random sheet, %": random[r["zone"]],
            "excellent headbox, %": r["cv"],
            "no shear, %": r["high"],
        }
        for r in _of(rows, "sheet")
    ]


def _table_holes(rows: Rows, units: UnitSet) -> Rows:
    return _columns(
        _of(rows, "sheet"),
        size="disc that passes, µm",
        ratio="holes over random, excellent headbox",
        high="holes over random, no shear",
    )


TABLE: dict[str, Callable[[Rows, UnitSet], Rows]] = {
    "water_staircase": _table_staircase,
    "water_takers": _table_takers,
    "drainage": _table_drainage,
    "yankee": _table_yankee,
    "limits": _table_limits,
    "energy": _table_energy,
    "flow_speed": _table_flow,
    "lowest_consistency": _table_lowest,
    "cv_zone": _table_cv,
    "holes": _table_holes,
}
"""The numbers of each chart."""
