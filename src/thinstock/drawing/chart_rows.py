"""The rows behind each chart, from a result, its limits or a ladder: plain lists of dicts in the units of the edge.

Every row carries the words printed beside its mark, so that a specification holds no numbers and no rounding of its own.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from thinstock import units
from thinstock.drawing.words import in_unit, number, plain
from thinstock.errors import Fault, Refused
from thinstock.relation import worksheet
from thinstock.relations import jet

Rows = list[dict[str, Any]]
UnitSet = units.UnitSet


def _single(result: Any) -> None:
    if not result.single:
        raise Refused(
            Fault(
                field="result",
                value="several cases",
                bound="a chart shows one case",
                remedy="Run the machine with single values.",
            )
        )


def water_staircase(result: Any, unit_set: UnitSet) -> Rows:
    """Water per fibre at every station from headbox to reel."""
    _single(result)
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
                "said": said + (f"  ({in_unit(station.dryness, '%', 3)} dry)" if rows else f"  ({in_unit(station.dryness, '%', 2)} fibre)"),
            }
        )  # fmt: skip
    return rows


def blue(ratio: float) -> float:
    """How deep the blue of water is: pale for a dry sheet, full for the most dilute stock."""
    from thinstock.drawing.elevation import depth

    return depth(ratio)


_STAGES = {"forming": "forming", "vacuum": "vacuum", "press": "press", "evaporation": "evaporation"}


def water_takers(result: Any, unit_set: UnitSet) -> Rows:
    """What each stage takes of the water, and what a kilogram of it costs in energy and money."""
    _single(result)
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
    from thinstock.drawing.profiles import drainage as along

    _single(result)
    found = along(result)
    formed = result.parts["wet"].formed
    rows: Rows = []
    for i, metres in enumerate(found.place):
        at = _edge(float(metres), "length", unit_set)
        rows.append({"kind": "water", "place": at, "share": 100 * float(found.drained[i]) / found.stock_depth})
        rows.append({"kind": "fibre", "place": at, "grammage": _edge(float(found.deposited[i]), "grammage", unit_set)})
        for side, name in ((0, "wire side"), (1, "back side")):
            pressure = float(found.pressure[i, side])
            if math.isfinite(pressure):
                rows.append(
                    {"kind": "pressure", "side": name, "place": at, "pressure": _edge(pressure, "pressure", unit_set)}
                )
    backs = [r for r in rows if r["kind"] == "pressure" and r["side"] == "back side"]
    if backs:
        rows.append(backs[-1] | {"kind": "back name", "said": "dashed: on the other side"})
    if formed.resistance_high is not None:
        slow = along(result, count=60, resistance_factor=SLOW)
        for i, metres in enumerate(slow.place):
            share = 100 * float(slow.drained[i]) / slow.stock_depth
            rows.append({"kind": "slow", "place": _edge(float(metres), "length", unit_set), "share": share})
        middle = int(np.searchsorted(slow.place, 0.3 * slow.length))
        rows.append(
            {"kind": "slow name", "place": _edge(float(slow.place[middle]), "length", unit_set),
             "share": 100 * float(slow.drained[middle]) / slow.stock_depth, "said": "if the mat resists five times as much"}
        )  # fmt: skip
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
    row = {"kind": "end", "place": _edge(end, "length", unit_set), "to": _edge(end, "length", unit_set), "said": said}
    if slow is not None:
        reached = math.isfinite(slow)
        row["to"] = _edge(slow if reached else length, "length", unit_set)
        row["said"] = (
            said
            + (f"; {in_unit(slow * scale, unit, 2)}" if reached else "; not at all")
            + (" if the mat resists five times as much (not calibrated)")
        )
    return [row]


def yankee(result: Any, unit_set: UnitSet) -> Rows:
    """Moisture and temperature of the sheet round the Yankee, with the stretch under the hood."""
    from thinstock.drawing.profiles import drying, stretches

    _single(result)
    if result.parts["dry"] is None or result.parts["dry"].dried is None:
        raise Refused(
            Fault(field="chart", value="yankee", bound="this run has no sheet on a Yankee",
                  remedy="A machine with a Yankee and a formed sheet shows one.")
        )  # fmt: skip
    found = drying(result)
    radius = number(result.machine.yankee.diameter) / 2
    unit = "°F" if unit_set == "us" else "°C"
    rows: Rows = []
    for i, place in enumerate(found.position):
        angle = math.degrees(float(place) / radius)
        rows.append({"kind": "moisture", "angle": angle, "moisture": float(found.moisture_ratio[i])})
        rows.append({"kind": "temperature", "angle": angle,
                     "temperature": float(units.from_si(float(found.sheet_temperature[i]), unit, "temperature"))})  # fmt: skip
    before, covered, _ = stretches(result.machine)
    rows.append({"kind": "hood", "angle": math.degrees(before / radius), "to": math.degrees((before + covered) / radius),
                 "said": "under the hood"})  # fmt: skip
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
    surface = number(result.parts["dry"].dried.surface_temperature)
    rows.append({"kind": "shell", "temperature": float(units.from_si(surface, unit, "temperature")),
                 "said": f"shell, outside {in_unit(surface, unit, 3, 'temperature')}"})  # fmt: skip
    return rows


def limits(found: Any, unit_set: UnitSet) -> Rows:
    """Highest speed of every part, the lowest first; what is not known is listed as such."""
    rows: Rows = []
    present = _edge(number(found.speed), "speed", unit_set)
    for row in found.rows:
        kind = {"highest": "limit", "window": "practice", "lowest": "lowest", "none": "none"}.get(
            row.scope, "not known"
        )
        speed = _edge(number(row.speed), "speed", unit_set) if row.speed is not None else None
        if row.binding:
            kind = "first"
        said = _limit_said(row, speed, unit_set)
        rows.append(
            {
                "part": row.part, "kind": kind, "speed": speed, "present": present, "said": said,
                "status": row.status, "margin": None if row.margin is None else 100 * row.margin,
            }
        )  # fmt: skip
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
    _single(result)
    rows: Rows = []
    for one in result.energy:
        value = _edge(number(one.per_mass), "energy", unit_set)
        rows.append(
            {"consumer": one.name, "kind": one.kind, "stage": one.stage, "energy": value,
             "said": f"{plain(value)}  {one.kind}"}
        )  # fmt: skip
    rows.sort(key=lambda r: -r["energy"])
    return rows


def flow_speed(result: Any, unit_set: UnitSet) -> Rows:
    """Headbox flow against speed: grades at their usual consistency over the windows of formers for the sheet at hand."""
    from thinstock import library
    from thinstock.case import formers

    _single(result)
    wet = result.parts["wet"]
    kept, density, grammage = number(wet.retention), number(wet.water.density), number(wet.grammage_wire)

    def flow(mass: float, speed: float, consistency: float) -> float:
        with worksheet(False):
            return _edge(number(jet.flow_per_width(mass, speed, consistency, kept, density)), "flow", unit_set)

    rows: Rows = []
    for key in library.NINE:
        forming = formers.former(key)
        window = forming.window
        ends = [_edge(number(v), "speed", unit_set) for v in (window.speed_low, window.speed_high)]
        for at, speed in zip(ends, (window.speed_low, window.speed_high), strict=True):
            low, high = (
                flow(grammage, number(speed), number(c)) for c in (window.consistency_high, window.consistency_low)
            )
            rows.append({"kind": "area", "former": forming.former, "speed": at, "low": low, "high": high})
        said = f"{plain(100 * number(window.consistency_low))} to {in_unit(window.consistency_high, '%')}"
        rows.append({"kind": "window", "former": forming.former, "speed": ends[0], "to": ends[1], "said": said})
    top = 45.0
    names: Rows = []
    for name in library.grade_names():
        one = library.grade(name)
        for speed in (0.5, top):
            rows.append({"kind": "grade", "grade": name, "speed": _edge(speed, "speed", unit_set),
                         "flow": flow(one.wire_grammage, speed, one.consistency)})  # fmt: skip
        names.append({"kind": "grade name", "grade": name, "speed": _edge(top, "speed", unit_set),
                      "flow": flow(one.wire_grammage, top, one.consistency), "said": f"{name}, {in_unit(one.consistency, '%')}",
                      "name_speed": _edge(1.25 * top, "speed", unit_set)})  # fmt: skip
    rows += _spread(names, "flow", "name_flow", 1.32)
    rows.append({"kind": "here", "speed": _edge(number(wet.wire_speed), "speed", unit_set),
                 "flow": _edge(number(wet.delivery.flow_per_width), "flow", unit_set), "said": "this machine"})  # fmt: skip
    return rows


def _spread(rows: Rows, of: str, to: str, apart: float) -> Rows:
    """Places of names on a logarithmic axis so far apart (as a ratio) that they can be read, in the order of their lines."""
    rows = sorted(rows, key=lambda r: float(r[of]))
    places = [math.log(r[of]) for r in rows]
    step = math.log(apart)
    for _ in range(200):
        for i in range(len(places) - 1):
            short = step - (places[i + 1] - places[i])
            if short > 1e-9:
                places[i] -= short / 2
                places[i + 1] += short / 2
    return [r | {to: math.exp(p)} for r, p in zip(rows, places, strict=True)]


def lowest_consistency(ladder: Any, unit_set: UnitSet) -> Rows:
    """How dilute each former could run against speed: the band is a mat that resists one to five times as much."""
    rows: Rows = []
    slowest = [a.lowest_slow.consistency for r in ladder.rungs for a in r.answers]
    top = _edge(max([c for c in slowest if c is not None] or [ladder.consistency]), "consistency", unit_set)
    given, present = _edge(ladder.consistency, "consistency", unit_set), _edge(ladder.speed, "speed", unit_set)
    for rank, rung in enumerate(ladder.rungs):
        name = f"this machine: {rung.name}" if rung.key == "own" else rung.name
        before = len(rows)
        for answer in rung.answers:
            if answer.lowest.consistency is None:
                continue
            low = _edge(answer.lowest.consistency, "consistency", unit_set)
            slow = answer.lowest_slow.consistency
            high = None if slow is None else _edge(slow, "consistency", unit_set)
            rows.append(
                {"kind": "lowest", "former": name, "rank": rank, "speed": _edge(answer.speed, "speed", unit_set), "low": low,
                 "high": high if high is not None else max(top, low), "cannot": high is None,
                 "inside": answer.practice == "inside", "first": answer.lowest.first}
            )  # fmt: skip
        if len(rows) == before:
            rows.append(
                {
                    "kind": "none",
                    "former": name,
                    "rank": rank,
                    "speed": present,
                    "low": given,
                    "said": "cannot at any speed shown",
                }
            )
        rows.append({"kind": "here", "former": name, "rank": rank, "speed": present, "low": given})
    return rows


def cv_zone(result: Any, unit_set: UnitSet) -> Rows:
    """Unevenness against the size of the zone looked at, beside the random sheet."""
    found = _formations(result, zone=np.geomspace(2e-4, 2e-2, 33))
    rows: Rows = []
    unit = CHART_UNITS["zone"][unit_set]
    low, high, calibrated = found
    zones = np.asarray(low.zone)
    for i, zone in enumerate(zones):
        x = float(units.from_si(float(zone), unit, "length"))
        random, a, b = (100 * float(np.asarray(v)[i]) for v in (low.cv_random, low.cv, high.cv))
        rows.append({"kind": "random", "zone": x, "cv": random})
        rows.append({"kind": "sheet", "zone": x, "cv": a, "high": b})
    last = rows[-1]
    rows.append({"kind": "name", "zone": last["zone"], "cv": rows[-2]["cv"], "said": "random sheet"})
    rows.append({"kind": "name", "zone": last["zone"], "cv": last["high"] if not calibrated else last["cv"],
                 "said": "this sheet" if calibrated else "this sheet, headbox without any shear"})  # fmt: skip
    if not calibrated:
        rows.append({"kind": "name low", "zone": last["zone"], "cv": last["cv"], "said": "with an excellent headbox"})
    target = result.machine.grade.formation_target
    if target is not None and target.cv is not None:
        rows.append({"kind": "target", "zone": float(units.from_si(number(target.zone), unit, "length")),
                     "cv": 100 * number(target.cv), "said": f"wanted: at most {in_unit(target.cv, '%')}"})  # fmt: skip
    return rows


def holes(result: Any, unit_set: UnitSet) -> Rows:
    """Holes relative to those of the random sheet, against the size of the disc that passes them."""
    low, high, calibrated = _formations(result, hole_diameter=np.geomspace(5e-5, 1e-3, 27))
    rows: Rows = []
    sizes = np.asarray(low.hole_diameter)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratios = [np.asarray(f.holes_per_area / f.holes_per_area_random) for f in (low, high)]
    for i, size in enumerate(sizes):
        a, b = (float(r[i]) for r in ratios)
        random = float(np.asarray(low.holes_per_area_random)[i])
        if math.isfinite(a) and math.isfinite(b) and random > RAREST:
            rows.append({"kind": "sheet", "size": float(size) * 1e6, "ratio": a, "high": b})
    last = rows[-1]
    rows.append({"kind": "name", "size": last["size"], "ratio": last["high"],
                 "said": "this sheet" if calibrated else "headbox without any shear"})  # fmt: skip
    if not calibrated:
        rows.append({"kind": "name low", "size": last["size"], "ratio": last["ratio"], "said": "excellent headbox"})
    rows.append({"kind": "one", "size": last["size"], "ratio": 1.0, "said": "random sheet"})
    return rows


RAREST = 1e-4
"""Holes per m² of the random sheet below which a ratio says nothing (one hole on a hectare)."""


def _formations(result: Any, **varied: Any) -> tuple[Any, Any, bool]:
    """Formation at both ends of what the headbox may do, over zones or hole sizes."""
    from thinstock.evenness import BAND, furnish_of
    from thinstock.sheet.formation import formation

    _single(result)
    machine, wet = result.machine, result.parts["wet"]
    given = machine.stock.suspension_variation
    ends = BAND if given is None else (given, given)
    target = machine.grade.formation_target
    fields: dict[str, Any] = {"retention": wet.retention, "density": wet.water.density}
    if target is not None:
        fields |= {"zone": target.zone, "hole_diameter": target.hole_diameter}
    fields |= varied
    with worksheet(False):
        low, high = (
            formation(furnish_of(machine), wet.grammage_wire, machine.headbox.consistency, one, **fields)
            for one in ends
        )
    return low, high, given is not None


CHART_UNITS: dict[str, dict[UnitSet, str]] = {
    "speed": {"mill": "m/min", "si": "m/s", "us": "ft/min"},
    "flow": {"mill": "m³/(min·m)", "si": "m²/s", "us": "gal/min/in"},
    "energy": {"mill": "kWh/t", "si": "kWh/t", "us": "kWh/short ton"},
    "consistency": {"mill": "%", "si": "%", "us": "%"},
    "zone": {"mill": "mm", "si": "mm", "us": "mm"},
    "temperature": {"mill": "°C", "si": "°C", "us": "°F"},
    "length": {"mill": "m", "si": "m", "us": "ft"},
    "pressure": {"mill": "kPa", "si": "kPa", "us": "psi"},
    "grammage": {"mill": "g/m²", "si": "g/m²", "us": "lb/3000 ft²"},
}
"""Units of the axes."""
_KINDS = {"flow": "volume flow per width", "speed": "speed", "energy": "energy per mass", "consistency": "fraction",
          "zone": "length", "length": "length", "temperature": "temperature", "pressure": "pressure difference", "grammage": "grammage"}  # fmt: skip


def _edge(value: float, what: str, unit_set: UnitSet) -> float:
    """A value in the unit of an axis."""
    return float(units.from_si(value, CHART_UNITS[what][unit_set], _KINDS[what]))


MAKERS = {
    "water_staircase": water_staircase,
    "water_takers": water_takers,
    "drainage": drainage,
    "yankee": yankee,
    "limits": limits,
    "energy": energy,
    "flow_speed": flow_speed,
    "lowest_consistency": lowest_consistency,
    "cv_zone": cv_zone,
    "holes": holes,
}
"""What makes the rows of each chart."""
