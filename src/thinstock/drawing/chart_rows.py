"""The rows behind each chart, from a result, its limits or a ladder: plain lists of dicts in the units of the edge.

Every row carries the words printed beside its mark, so that a specification holds no numbers and no rounding of its
own.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from thinstock.drawing.chart_units import CHART_UNITS, Rows, UnitSet, edge, single
from thinstock.errors import Fault, Refused
from thinstock.machine.outlines.said import in_unit, number, plain
from thinstock.words import units


def water_staircase(result: Any, unit_set: UnitSet) -> Rows:
    """Water per fibre at every station from headbox to reel."""
    single(result)
    rows: Rows = []
    for station in result.stations:
        if station.moisture_ratio is None:
            rows.append({"station": station.name, "water": None, "dryness": None, "said": "no sheet"})
            continue
        ratio = number(station.moisture_ratio)
        said = f"{plain(ratio)} kg/kg" if not rows else plain(ratio)
        rows.append(
            {
                "station": station.name,
                "water": ratio,
                "dryness": number(station.dryness) * 100,
                "depth": blue(ratio),
                "said": said
                + (
                    f"  ({in_unit(station.dryness, '%', 3)} dry)"
                    if rows
                    else f"  ({in_unit(station.dryness, '%', 2)} fibre)"
                ),
            }
        )
    return rows


def blue(ratio: float) -> float:
    """How deep the blue of water is: pale for a dry sheet, full for the most dilute stock."""
    from thinstock.drawing.elevation import depth

    return depth(ratio)


_STAGES = {"forming": "forming", "vacuum": "vacuum", "press": "press", "evaporation": "evaporation"}


def water_takers(result: Any, unit_set: UnitSet) -> Rows:
    """What each stage takes of the water, and what a kilogram of it costs in energy and money."""
    single(result)
    currency = result.machine.prices.currency
    rows: Rows = []
    for price in result.water_prices:
        water, share = number(price.water_per_fibre), number(price.share)
        energy = number(price.energy_per_water)
        known = math.isfinite(energy) and energy > 0
        money = None if price.money_per_mass is None else number(price.money_per_mass) * 1e3
        rows.append(
            {
                "stage": _STAGES.get(price.stage, price.stage),
                "water": water if water > 0 else None,
                "share": share * 100,
                "energy": energy / 1e3 if known else None,
                "money": money,
                "water_said": f"{plain(water)} kg/kg, {in_unit(share, '%', 3)}",
                "energy_said": f"{plain(energy / 1e3)} kJ/kg" if known else "no energy computed",
                "money_said": "" if money is None else f"{plain(money)} {_short(currency)} per tonne of paper",
            }
        )
    return rows


def _short(currency: str) -> str:
    return currency.split(" (")[0] or "of money"


def drainage(result: Any, unit_set: UnitSet) -> Rows:
    """Water drained, fibre laid down and pressure along the former, and where forming ends; also for a slow mat."""
    from thinstock.machine.along import along_former as along

    single(result)
    found = along(result)
    formed = result.wet.formed
    rows: Rows = []
    for i, metres in enumerate(found.place):
        at = edge(float(metres), "length", unit_set)
        rows.append({"kind": "water", "place": at, "share": 100 * float(found.drained[i]) / found.stock_depth})
        rows.append({"kind": "fibre", "place": at, "grammage": edge(float(found.deposited[i]), "grammage", unit_set)})
        for side, name in ((0, "wire side"), (1, "back side")):
            pressure = float(found.pressure[i, side])
            if math.isfinite(pressure):
                rows.append(
                    {"kind": "pressure", "side": name, "place": at, "pressure": edge(pressure, "pressure", unit_set)}
                )
    backs = [r for r in rows if r["kind"] == "pressure" and r["side"] == "back side"]
    if backs:
        rows.append(backs[-1] | {"kind": "back name", "said": "dashed: on the other side"})
    if formed.resistance_high is not None:
        slow = along(result, count=60, resistance_factor=SLOW)
        for i, metres in enumerate(slow.place):
            share = 100 * float(slow.drained[i]) / slow.stock_depth
            rows.append({"kind": "slow", "place": edge(float(metres), "length", unit_set), "share": share})
        middle = int(np.searchsorted(slow.place, 0.3 * slow.length))
        rows.append(
            {
                "kind": "slow name",
                "place": edge(float(slow.place[middle]), "length", unit_set),
                "share": 100 * float(slow.drained[middle]) / slow.stock_depth,
                "said": "if the mat resists five times as much",
            }
        )
    return rows + _end_rows(formed, found.length, unit_set)


SLOW = 5.0
"""Resistance of the mat at machine rate at the slow end of its band, as in a run."""


def _end_rows(formed: Any, length: float, unit_set: UnitSet) -> Rows:
    """The end of forming with its band up to a mat that resists five times as much."""
    end = number(formed.dry_line)
    slow = None if formed.resistance_high is None else number(formed.resistance_high[0])
    if not math.isfinite(end):
        return [{"kind": "end", "place": None, "to": None, "said": "forming does not end on this former"}]
    wrap = number(formed.dry_line_wrap)
    scale, unit = (wrap / end, "deg") if math.isfinite(wrap) else (1.0, CHART_UNITS["length"][unit_set])
    said = f"forming ends at {in_unit(end * scale, unit, 2)}{' of wrap' if unit == 'deg' else ''}"
    row = {"kind": "end", "place": edge(end, "length", unit_set), "to": edge(end, "length", unit_set), "said": said}
    if slow is not None:
        reached = math.isfinite(slow)
        row["to"] = edge(slow if reached else length, "length", unit_set)
        row["said"] = (
            said
            + (f"; {in_unit(slow * scale, unit, 2)}" if reached else "; not at all")
            + (" if the mat resists five times as much (not calibrated)")
        )
    return [row]


def yankee(result: Any, unit_set: UnitSet) -> Rows:
    """Moisture and temperature of the sheet round the Yankee, with the stretch under the hood."""
    from thinstock.machine.along import along_yankee, stretches

    single(result)
    if result.dry is None or result.dry.dried is None:
        raise Refused(
            Fault(
                field="chart",
                value="yankee",
                bound="this run has no sheet on a Yankee",
                remedy="A machine with a Yankee and a formed sheet shows one.",
            )
        )
    found = along_yankee(result)
    radius = number(result.machine.yankee.diameter) / 2
    unit = "°F" if unit_set == "us" else "°C"
    rows: Rows = []
    for i, place in enumerate(found.position):
        angle = math.degrees(float(place) / radius)
        rows.append({"kind": "moisture", "angle": angle, "moisture": float(found.moisture_ratio[i])})
        rows.append(
            {
                "kind": "temperature",
                "angle": angle,
                "temperature": float(units.from_si(float(found.sheet_temperature[i]), unit, "temperature")),
            }
        )
    before, covered, _ = stretches(result.machine)
    rows.append(
        {
            "kind": "hood",
            "angle": math.degrees(before / radius),
            "to": math.degrees((before + covered) / radius),
            "said": "under the hood",
        }
    )
    first, last = float(found.moisture_ratio[0]), float(found.moisture_ratio[-1])
    end = math.degrees(float(found.position[-1]) / radius)
    rows.append(
        {
            "kind": "mark",
            "angle": 0.0,
            "moisture": first,
            "said": f"{plain(first)} kg/kg after the press",
            "side": "left",
        }
    )
    rows.append(
        {
            "kind": "mark",
            "angle": end,
            "moisture": last,
            "said": f"{plain(last, 2)} kg/kg at the doctor",
            "side": "right",
        }
    )
    surface = number(result.dry.dried.surface_temperature)
    rows.append(
        {
            "kind": "shell",
            "temperature": float(units.from_si(surface, unit, "temperature")),
            "said": f"shell, outside {in_unit(surface, unit, 3, 'temperature')}",
        }
    )
    return rows


def limits(found: Any, unit_set: UnitSet) -> Rows:
    """Highest speed of every part, the lowest first; what is not known is listed as such."""
    rows: Rows = []
    present = edge(number(found.speed), "speed", unit_set)
    for row in found.rows:
        kind = {"highest": "limit", "window": "practice", "lowest": "lowest", "none": "none"}.get(
            row.scope, "not known"
        )
        speed = edge(number(row.speed), "speed", unit_set) if row.speed is not None else None
        if row.binding:
            kind = "first"
        said = _limit_said(row, speed, unit_set)
        rows.append(
            {
                "part": row.part,
                "kind": kind,
                "speed": speed,
                "present": present,
                "said": said,
                "status": row.status,
                "margin": None if row.margin is None else 100 * row.margin,
            }
        )
    order = {"first": 0, "limit": 0, "practice": 0, "lowest": 1, "none": 2, "not known": 3}
    rows.sort(key=lambda r: (order[r["kind"]], r["speed"] if r["speed"] is not None else math.inf))
    return rows


def _limit_said(row: Any, speed: float | None, unit_set: UnitSet) -> str:
    if row.scope == "not known":
        return "not known"
    if speed is None:
        return "does not depend on speed" if "depend" in row.note else "does not limit"
    text = f"{speed:.0f}"
    if row.binding:
        return f"{text}, gives out first"
    if row.scope == "lowest":
        return f"{text}, a lowest speed"
    if row.scope == "window":
        return f"{text}, end of what practice runs"
    return text


def energy(result: Any, unit_set: UnitSet) -> Rows:
    """Energy per tonne by consumer, the largest first."""
    single(result)
    rows: Rows = []
    for one in result.energy:
        value = edge(number(one.per_mass), "energy", unit_set)
        rows.append(
            {
                "consumer": one.name,
                "kind": one.kind,
                "stage": one.stage,
                "energy": value,
                "said": f"{plain(value)}  {one.kind}",
            }
        )
    rows.sort(key=lambda r: -r["energy"])
    return rows
