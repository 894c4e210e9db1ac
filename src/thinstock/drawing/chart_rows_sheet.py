"""The rows of the charts about formers side by side and about the sheet: flow, lowest consistency, evenness, holes."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from thinstock import library
from thinstock.case import formers
from thinstock.drawing.chart_units import CHART_UNITS, Rows, UnitSet, edge, single
from thinstock.errors import Refused
from thinstock.formula.label import worksheet
from thinstock.machine.evenness import ends_of, furnish_of
from thinstock.machine.outlines.said import in_unit, number, plain
from thinstock.machine.result import Result
from thinstock.relations import jet
from thinstock.sheet.formation import Formation, formation
from thinstock.studies.ladder import Ladder
from thinstock.words import units
from thinstock.words.fault import fault_in
from thinstock.words.num import Array, Num
from thinstock.words.phrase import phrase


def flow_speed(result: Result, unit_set: UnitSet) -> Rows:
    """Headbox flow against speed: grades at their usual consistency, over where formers are run."""
    single(result)
    wet = result.wet
    kept, density = number(wet.retention), number(wet.water.density)

    def flow(mass: float, speed: float, consistency: float) -> float:
        with worksheet(False):
            return edge(number(jet.flow_per_width(mass, speed, consistency, kept, density)), "flow", unit_set)

    here = {
        "kind": "here",
        "speed": edge(number(wet.wire_speed), "speed", unit_set),
        "flow": edge(number(wet.delivery.flow_per_width), "flow", unit_set),
        "said": phrase("charts.flow.here"),
    }
    return [*_practice(flow, number(wet.grammage_wire), unit_set), *_grades(flow, unit_set), here]


Flow = Callable[[float, float, float], float]
"""Flow on the axis of a grammage at a speed and a consistency."""


def _practice(flow: Flow, grammage: float, unit_set: UnitSet) -> Rows:
    """Where practice runs each former."""
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
        low_said, high_said = plain(100 * number(window.consistency_low)), in_unit(window.consistency_high, "%")
        said = phrase("charts.flow.window", low=low_said, high=high_said)
        rows.append({"kind": "window", "former": forming.former, "speed": ends[0], "to": ends[1], "said": said})
    return rows


TOP = 45.0
"""Speed up to which grades are shown, m/s."""


def _grades(flow: Flow, unit_set: UnitSet) -> Rows:
    """A line per grade at its usual consistency, with its name."""
    rows: Rows = []
    names: Rows = []
    for name in library.grade_names():
        one = library.grade(name)
        ends = [
            {"speed": edge(speed, "speed", unit_set), "flow": flow(one.wire_grammage, speed, one.consistency)}
            for speed in (0.5, TOP)
        ]
        rows += [{"kind": "grade", "grade": name} | end for end in ends]
        said = phrase("charts.flow.grade", grade=name, consistency=in_unit(one.consistency, "%"))
        at = edge(1.25 * TOP, "speed", unit_set)
        names.append({"kind": "grade name", "grade": name} | ends[1] | {"said": said, "name_speed": at})
    return rows + _spread(names, "flow", "name_flow", 1.32)


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


def lowest_consistency(ladder: Ladder, unit_set: UnitSet) -> Rows:
    """How dilute each former could run against speed: the band is a mat that resists one to five times as much."""
    rows: Rows = []
    slowest = [a.lowest_slow.consistency for r in ladder.rungs for a in r.answers]
    top = edge(max([c for c in slowest if c is not None] or [ladder.consistency]), "consistency", unit_set)
    given, present = edge(ladder.consistency, "consistency", unit_set), edge(ladder.speed, "speed", unit_set)
    for rank, rung in enumerate(ladder.rungs):
        name = phrase("charts.lowest.own", name=rung.name) if rung.key == "own" else rung.name
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
                    "said": phrase("charts.lowest.cannot"),
                }
            )
        rows.append({"kind": "here", "former": name, "rank": rank, "speed": present, "low": given})
    return rows


def cv_zone(result: Result, unit_set: UnitSet) -> Rows:
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
    rows.append({"kind": "name", "zone": last["zone"], "cv": rows[-2]["cv"], "said": phrase("charts.zone.random")})
    rows.append(
        {
            "kind": "name",
            "zone": last["zone"],
            "cv": last["high"] if not calibrated else last["cv"],
            "said": phrase("charts.zone.sheet") if calibrated else phrase("charts.zone.no_shear"),
        }
    )
    if not calibrated:
        rows.append(
            {"kind": "name low", "zone": last["zone"], "cv": last["cv"], "said": phrase("charts.zone.excellent")}
        )
    target = result.machine.grade.formation_target
    if target is not None and target.cv is not None:
        rows.append(
            {
                "kind": "target",
                "zone": float(units.from_si(number(target.zone), unit, "length")),
                "cv": 100 * number(target.cv),
                "said": phrase("charts.zone.wanted", cv=in_unit(target.cv, "%")),
            }
        )
    return rows


def holes(result: Result, unit_set: UnitSet) -> Rows:
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
        raise Refused(fault_in("charts.chart_rows_sheet.chart", "chart", "holes"))
    last = rows[-1]
    rows.append(
        {
            "kind": "name",
            "size": last["size"],
            "ratio": last["high"],
            "said": phrase("charts.holes.sheet") if calibrated else phrase("charts.holes.no_shear"),
        }
    )
    if not calibrated:
        rows.append(
            {"kind": "name low", "size": last["size"], "ratio": last["ratio"], "said": phrase("charts.holes.excellent")}
        )
    rows.append({"kind": "one", "size": last["size"], "ratio": 1.0, "said": phrase("charts.holes.random")})
    return rows


RAREST = 1e-4
"""Holes per m² of the random sheet below which a ratio says nothing (one hole on a hectare)."""


def _formations(
    result: Result, *, zone: Array | None = None, hole_diameter: Array | None = None
) -> tuple[Formation, Formation, bool]:
    """Formation at both ends of what the headbox may do, over zones or hole sizes."""
    single(result)
    machine, wet = result.machine, result.wet
    given, target, ends = machine.stock.suspension_variation, machine.grade.formation_target, ends_of(machine.stock)
    fields: dict[str, Num] = {"retention": wet.retention, "density": wet.water.density}
    if target is not None:
        fields |= {"zone": target.zone, "hole_diameter": target.hole_diameter}
    fields |= {} if zone is None else {"zone": zone}
    fields |= {} if hole_diameter is None else {"hole_diameter": hole_diameter}
    with worksheet(False):
        low, high = (
            formation(
                furnish_of(machine), wet.grammage_wire, machine.headbox.consistency, **ends[end].words(), **fields
            )
            for end in ("best", "worst")
        )
    return low, high, given is not None
