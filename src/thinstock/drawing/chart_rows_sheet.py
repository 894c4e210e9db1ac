"""The rows of the charts about formers side by side and about the sheet: flow, lowest consistency, evenness, holes."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from thinstock.drawing.chart_units import CHART_UNITS, Rows, UnitSet, edge, single
from thinstock.errors import Fault, Refused
from thinstock.formula.label import worksheet
from thinstock.machine.outlines.said import in_unit, number, plain
from thinstock.relations import jet
from thinstock.words import units


def flow_speed(result: Any, unit_set: UnitSet) -> Rows:
    """Headbox flow against speed: grades at their usual consistency, over where formers are run."""
    from thinstock import library
    from thinstock.case import formers

    single(result)
    wet = result.wet
    kept, density, grammage = number(wet.retention), number(wet.water.density), number(wet.grammage_wire)

    def flow(mass: float, speed: float, consistency: float) -> float:
        with worksheet(False):
            return edge(number(jet.flow_per_width(mass, speed, consistency, kept, density)), "flow", unit_set)

    rows: Rows = []
    for key in library.NINE:
        forming = formers.former(key)
        window = forming.window
        ends = [edge(number(v), "speed", unit_set) for v in (window.speed_low, window.speed_high)]
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
            rows.append(
                {
                    "kind": "grade",
                    "grade": name,
                    "speed": edge(speed, "speed", unit_set),
                    "flow": flow(one.wire_grammage, speed, one.consistency),
                }
            )
        names.append(
            {
                "kind": "grade name",
                "grade": name,
                "speed": edge(top, "speed", unit_set),
                "flow": flow(one.wire_grammage, top, one.consistency),
                "said": f"{name}, {in_unit(one.consistency, '%')}",
                "name_speed": edge(1.25 * top, "speed", unit_set),
            }
        )
    rows += _spread(names, "flow", "name_flow", 1.32)
    rows.append(
        {
            "kind": "here",
            "speed": edge(number(wet.wire_speed), "speed", unit_set),
            "flow": edge(number(wet.delivery.flow_per_width), "flow", unit_set),
            "said": "this machine",
        }
    )
    return rows


def _spread(rows: Rows, of: str, to: str, apart: float) -> Rows:
    """Places of names on a logarithmic axis, so far apart (as a ratio) that they can be read."""
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
    top = edge(max([c for c in slowest if c is not None] or [ladder.consistency]), "consistency", unit_set)
    given, present = edge(ladder.consistency, "consistency", unit_set), edge(ladder.speed, "speed", unit_set)
    for rank, rung in enumerate(ladder.rungs):
        name = f"this machine: {rung.name}" if rung.key == "own" else rung.name
        before = len(rows)
        for answer in rung.answers:
            if answer.lowest.consistency is None:
                continue
            low = edge(answer.lowest.consistency, "consistency", unit_set)
            slow = answer.lowest_slow.consistency
            high = None if slow is None else edge(slow, "consistency", unit_set)
            rows.append(
                {
                    "kind": "lowest",
                    "former": name,
                    "rank": rank,
                    "speed": edge(answer.speed, "speed", unit_set),
                    "low": low,
                    "high": high if high is not None else max(top, low),
                    "cannot": high is None,
                    "below": answer.lowest.below and answer.lowest.first == "drainage",
                    "inside": answer.practice == "inside",
                    "first": answer.lowest.first,
                }
            )
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
    rows.append(
        {
            "kind": "name",
            "zone": last["zone"],
            "cv": last["high"] if not calibrated else last["cv"],
            "said": "this sheet" if calibrated else "this sheet, headbox without any shear",
        }
    )
    if not calibrated:
        rows.append({"kind": "name low", "zone": last["zone"], "cv": last["cv"], "said": "with an excellent headbox"})
    target = result.machine.grade.formation_target
    if target is not None and target.cv is not None:
        rows.append(
            {
                "kind": "target",
                "zone": float(units.from_si(number(target.zone), unit, "length")),
                "cv": 100 * number(target.cv),
                "said": f"wanted: at most {in_unit(target.cv, '%')}",
            }
        )
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
    if len(rows) < 2:
        raise Refused(
            Fault(
                field="chart",
                value="holes",
                bound="a sheet as thick as this one has no holes to speak of",
                remedy="Look at its evenness instead.",
            )
        )
    last = rows[-1]
    rows.append(
        {
            "kind": "name",
            "size": last["size"],
            "ratio": last["high"],
            "said": "this sheet" if calibrated else "headbox without any shear",
        }
    )
    if not calibrated:
        rows.append({"kind": "name low", "size": last["size"], "ratio": last["ratio"], "said": "excellent headbox"})
    rows.append({"kind": "one", "size": last["size"], "ratio": 1.0, "said": "random sheet"})
    return rows


RAREST = 1e-4
"""Holes per m² of the random sheet below which a ratio says nothing (one hole on a hectare)."""


def _formations(result: Any, **varied: Any) -> tuple[Any, Any, bool]:
    """Formation at both ends of what the headbox may do, over zones or hole sizes."""
    from thinstock.machine.evenness import BAND, furnish_of
    from thinstock.sheet.formation import formation

    single(result)
    machine, wet = result.machine, result.wet
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
