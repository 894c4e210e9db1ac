"""The rows behind each chart, from a result, its limits or a ladder: plain lists of dicts in the units of the edge.

Every row carries the words printed beside its mark, so that a specification holds no numbers and no rounding of its
own.
"""

from __future__ import annotations

import math

import numpy as np

from thinstock.drawing.chart_units import CHART_UNITS, Rows, UnitSet, edge, single
from thinstock.errors import Refused
from thinstock.machine.along import along_former, along_yankee, stretches
from thinstock.machine.forming import Formed
from thinstock.machine.limits import Limit, Limits
from thinstock.machine.outlines.said import in_unit, number, plain
from thinstock.machine.result import Result
from thinstock.words import units
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase


def water_staircase(result: Result, unit_set: UnitSet) -> Rows:
    """Water per fibre at every station from headbox to reel."""
    single(result)
    rows: Rows = []
    for station in result.stations:
        if station.moisture_ratio is None:
            none = phrase("charts.no_sheet")
            rows.append({"station": station.name, "water": None, "dryness": None, "said": none})
            continue
        ratio = number(station.moisture_ratio)
        said = phrase("charts.staircase.dry", water=plain(ratio), dryness=in_unit(station.dryness, "%", 3))
        if not rows:
            first = phrase("charts.ratio", ratio=plain(ratio))
            said = phrase("charts.staircase.fibre", water=first, fibre=in_unit(station.dryness, "%", 2))
        rows.append(
            {
                "station": station.name,
                "water": ratio,
                "dryness": number(station.dryness) * 100,
                "depth": blue(ratio),
                "said": said,
            }
        )
    return rows


def blue(ratio: float) -> float:
    """How deep the blue of water is: pale for a dry sheet, full for the most dilute stock."""
    from thinstock.drawing.elevation import depth

    return depth(ratio)


def water_takers(result: Result, unit_set: UnitSet) -> Rows:
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
                "stage": phrase(f"stage.{price.stage}"),
                "water": water if water > 0 else None,
                "share": share * 100,
                "energy": energy / 1e3 if known else None,
                "money": money,
                "water_said": phrase(
                    "charts.takers.water_said",
                    ratio=phrase("charts.ratio", ratio=plain(water)),
                    share=in_unit(share, "%", 3),
                ),
                "energy_said": phrase("charts.takers.energy_said", energy=plain(energy / 1e3))
                if known
                else phrase("charts.takers.no_energy"),
                "money_said": ""
                if money is None
                else phrase("charts.takers.money_said", money=plain(money), currency=_short(currency)),
            }
        )
    return rows


def _short(currency: str) -> str:
    return currency.partition(" (")[0] or phrase("charts.money")


def drainage(result: Result, unit_set: UnitSet) -> Rows:
    """Water drained, fibre laid down and pressure along the former, and where forming ends; also for a slow mat."""
    single(result)
    found = along_former(result.parts.forming)
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
        rows.append(backs[-1] | {"kind": "back name", "said": phrase("charts.drainage.back")})
    if formed.resistance_high is not None:
        slow = along_former(result.parts.forming, count=60, resistance_factor=SLOW)
        for i, metres in enumerate(slow.place):
            share = 100 * float(slow.drained[i]) / slow.stock_depth
            rows.append({"kind": "slow", "place": edge(float(metres), "length", unit_set), "share": share})
        middle = int(np.searchsorted(slow.place, 0.3 * slow.length))
        rows.append(
            {
                "kind": "slow name",
                "place": edge(float(slow.place[middle]), "length", unit_set),
                "share": 100 * float(slow.drained[middle]) / slow.stock_depth,
                "said": phrase("charts.drainage.slow"),
            }
        )
    return rows + _end_rows(formed, found.length, unit_set)


SLOW = 5.0
"""Resistance of the mat at machine rate at the slow end of its band, as in a run."""


def _end_rows(formed: Formed, length: float, unit_set: UnitSet) -> Rows:
    """The end of forming with its band up to a mat that resists five times as much."""
    end = number(formed.dry_line)
    if not math.isfinite(end):
        return [{"kind": "end", "place": None, "to": None, "said": phrase("charts.drainage.never")}]
    wrap = number(formed.dry_line_wrap)
    scale, unit = (wrap / end, "deg") if math.isfinite(wrap) else (1.0, CHART_UNITS["length"][unit_set])
    told = in_unit(end * scale, unit, 2)
    said = phrase("charts.drainage.ends", end=told)
    if unit == "deg":
        said = phrase("charts.drainage.ends_wrap", end=told)
    at = edge(end, "length", unit_set)
    if formed.resistance_high is None:
        return [{"kind": "end", "place": at, "to": at, "said": said}]
    slow = number(formed.resistance_high[0])
    if math.isfinite(slow):
        said = phrase("charts.drainage.band", said=said, slow=in_unit(slow * scale, unit, 2))
    else:
        slow, said = length, phrase("charts.drainage.band_never", said=said)
    return [{"kind": "end", "place": at, "to": edge(slow, "length", unit_set), "said": said}]


def yankee(result: Result, unit_set: UnitSet) -> Rows:
    """Moisture and temperature of the sheet round the Yankee, with the stretch under the hood."""
    single(result)
    yankee = result.machine.yankee
    if result.dry is None or result.dry.dried is None or yankee is None:
        raise Refused(fault_in("charts.chart_rows.chart", "chart", "yankee"))
    found = along_yankee(result.parts.yankee)
    radius = number(yankee.diameter) / 2
    unit = "°F" if unit_set == "us" else "°C"

    def warm(temperature: float) -> float:
        return float(units.from_si(temperature, unit, "temperature"))

    rows: Rows = []
    for i, place in enumerate(found.position):
        angle = math.degrees(float(place) / radius)
        rows.append({"kind": "moisture", "angle": angle, "moisture": float(found.moisture_ratio[i])})
        rows.append({"kind": "temperature", "angle": angle, "temperature": warm(float(found.sheet_temperature[i]))})
    before, covered, _ = stretches(result.parts.yankee.part.yankee, result.parts.yankee.part.hood)
    ends = (math.degrees(before / radius), math.degrees((before + covered) / radius))
    rows.append({"kind": "hood", "angle": ends[0], "to": ends[1], "said": phrase("charts.yankee.hood")})
    first, last = float(found.moisture_ratio[0]), float(found.moisture_ratio[-1])
    end = math.degrees(float(found.position[-1]) / radius)
    said = phrase("charts.yankee.first", ratio=plain(first))
    rows.append({"kind": "mark", "angle": 0.0, "moisture": first, "said": said, "side": "left"})
    said = phrase("charts.yankee.last", ratio=plain(last, 2))
    rows.append({"kind": "mark", "angle": end, "moisture": last, "said": said, "side": "right"})
    surface = number(result.dry.dried.surface_temperature)
    said = phrase("charts.yankee.shell", temperature=in_unit(surface, unit, 3, "temperature"))
    rows.append({"kind": "shell", "temperature": warm(surface), "said": said})
    return rows


def limits(found: Limits, unit_set: UnitSet) -> Rows:
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
        said = _limit_said(row, speed)
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


def _limit_said(row: Limit, speed: float | None) -> str:
    if row.scope == "not known":
        return phrase("charts.not_known")
    if speed is None and row.over:
        return phrase("charts.limits.passed")
    if speed is None:
        by_load = row.word == "line_load"
        return phrase("charts.limits.speed_free") if by_load else phrase("charts.does_not_limit")
    text = f"{speed:.0f}"
    if row.over:
        return phrase("charts.limits.over", speed=text)
    if row.binding:
        return phrase("charts.limits.first", speed=text)
    if row.scope == "lowest":
        return phrase("charts.limits.lowest", speed=text)
    if row.scope == "window":
        return phrase("charts.limits.window", speed=text)
    return text


def energy(result: Result, unit_set: UnitSet) -> Rows:
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
                "said": phrase("charts.kind", value=plain(value), kind=one.kind),
            }
        )
    rows.sort(key=lambda r: -r["energy"])
    return rows
