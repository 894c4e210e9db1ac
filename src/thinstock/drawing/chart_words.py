"""Charts for those who do not see them: a few sentences from the numbers, and a table with plain heads."""

from __future__ import annotations

from collections.abc import Callable

from thinstock.drawing.chart_units import CHART_UNITS, Rows, UnitSet
from thinstock.machine.outlines.said import plain
from thinstock.words.phrase import phrase


def _of(rows: Rows, kind: str) -> Rows:
    return [r for r in rows if r.get("kind") == kind]


def _n(value: float | None, digits: int = 3) -> str:
    return phrase("charts.none") if value is None else plain(value, digits)


def _staircase(rows: Rows, units: UnitSet) -> str:
    steps = []
    for i, r in enumerate(rows):
        ratio = phrase("charts.no_sheet") if r["water"] is None else plain(r["water"])
        if i == 0 and r["water"] is not None:
            ratio = phrase("charts.ratio", ratio=ratio)
        steps.append(phrase("charts.staircase.step", station=r["station"], ratio=ratio))
    return phrase("charts.staircase.all", steps=", ".join(steps))


def _takers(rows: Rows, units: UnitSet) -> str:
    if not rows:
        return phrase("charts.takers.none")
    parts = [
        phrase("charts.takers.one", stage=r["stage"], water=r["water_said"], energy=r["energy_said"]) for r in rows
    ]
    return phrase("charts.takers.all", takers="; ".join(parts))


def _drainage(rows: Rows, units: UnitSet) -> str:
    water, fibre = _of(rows, "water"), _of(rows, "fibre")
    end = _of(rows, "end")[0]["said"]
    at = next((r["place"] for r in water if r["share"] >= 50), None)
    half = ""
    if at is not None:
        half = phrase("charts.drainage.half", place=_n(at, 2), unit=CHART_UNITS["length"][units])
    return phrase(
        "charts.drainage.all", share=_n(water[-1]["share"]), grammage=_n(fibre[-1]["grammage"]),
        unit=CHART_UNITS["grammage"][units], half=half, end=end[0].upper() + end[1:],
    )  # fmt: skip


def _yankee(rows: Rows, units: UnitSet) -> str:
    moisture, heat = _of(rows, "moisture"), _of(rows, "temperature")
    hottest = max(heat, key=lambda r: r["temperature"])
    first, last = moisture[0], moisture[-1]
    return phrase(
        "charts.yankee.all", first=_n(first["moisture"]), last=_n(last["moisture"]), wrap=_n(last["angle"]),
        hottest=_n(hottest["temperature"]), unit=CHART_UNITS["temperature"][units], at=_n(hottest["angle"]),
        shell=_of(rows, "shell")[0]["said"],
    )  # fmt: skip


def _limits(rows: Rows, units: UnitSet) -> str:
    parts = [phrase("charts.limits.one", part=r["part"], said=r["said"]) for r in rows if r["speed"] is not None]
    free, unknown = (", ".join(r["part"] for r in _of(rows, kind)) for kind in ("none", "not known"))
    return phrase(
        "charts.limits.present", speed=_n(rows[0]["present"], 4), unit=CHART_UNITS["speed"][units],
        limits="; ".join(parts), free=phrase("charts.limits.free", parts=free) if free else "",
        unknown=phrase("charts.limits.unknown", parts=unknown) if unknown else "",
    )  # fmt: skip


def _energy(rows: Rows, units: UnitSet) -> str:
    unit = CHART_UNITS["energy"][units]
    totals = {k: sum(r["energy"] for r in rows if r["kind"] == k) for k in ("gas", "steam", "electricity")}
    said = [phrase("charts.energy.total", kind=k, value=_n(v), unit=unit) for k, v in totals.items() if v]
    each = [phrase("charts.energy.one", consumer=r["consumer"], value=_n(r["energy"])) for r in rows]
    return phrase("charts.energy.all", totals=", ".join(said), consumers="; ".join(each))


def _flow(rows: Rows, units: UnitSet) -> str:
    here, names = _of(rows, "here")[0], _of(rows, "grade name")
    v, q = CHART_UNITS["speed"][units], CHART_UNITS["flow"][units]
    lines = [phrase("charts.flow.line", grade=r["said"], flow=_n(r["flow"])) for r in names]
    areas = [
        phrase("charts.flow.area", former=r["former"], low=_n(r["speed"]), high=_n(r["to"]), unit=v, said=r["said"])
        for r in _of(rows, "window")
    ]
    return phrase(
        "charts.flow.all", flow=_n(here["flow"]), flow_unit=q, speed=_n(here["speed"], 4), speed_unit=v,
        at=_n(names[0]["speed"]), grades=", ".join(lines), areas="; ".join(areas),
    )  # fmt: skip


def _lowest(rows: Rows, units: UnitSet) -> str:
    unit = CHART_UNITS["speed"][units]
    here = _of(rows, "here")[0]
    parts = []
    for name in dict.fromkeys(r["former"] for r in rows):
        own = [r for r in _of(rows, "lowest") if r["former"] == name]
        if not own:
            parts.append(phrase("charts.lowest.never", former=name))
            continue
        near = min(own, key=lambda r: abs(r["speed"] - here["speed"]))
        low, high = _n(near["low"], 2), _n(near["high"], 2)
        band = phrase("charts.lowest.to", low=low, high=high)
        if near["cannot"]:
            band = phrase("charts.lowest.not_slow", low=low)
        elif near["low"] == near["high"]:
            band = phrase("charts.lowest.at", low=low)
        if near["below"]:
            band = phrase("charts.lowest.below", band=band)
        slots = {"former": name, "band": band, "speed": _n(near["speed"], 4), "unit": unit}
        parts.append(
            phrase("charts.lowest.one", **slots) if near["inside"] else phrase("charts.lowest.outside", **slots)
        )
    return phrase(
        "charts.lowest.all", low=_n(here["low"]), speed=_n(here["speed"], 4), unit=unit, formers="; ".join(parts)
    )


def _cv(rows: Rows, units: UnitSet) -> str:
    sheet, random = _of(rows, "sheet"), _of(rows, "random")
    at_one = min(range(len(sheet)), key=lambda k: abs(sheet[k]["zone"] - 1.0))
    parts = []
    for i in (at_one, -1):
        low, high, alone = (_n(v, 2) for v in (sheet[i]["cv"], sheet[i]["high"], random[i]["cv"]))
        zone, unit = _n(sheet[i]["zone"], 2), CHART_UNITS["zone"][units]
        parts.append(phrase("charts.zone.one", zone=zone, unit=unit, low=low, high=high, random=alone))
    return phrase("charts.zone.all", zones="; ".join(parts))


def _holes(rows: Rows, units: UnitSet) -> str:
    sheet = _of(rows, "sheet")
    parts = [
        phrase("charts.holes.one", size=_n(r["size"], 2), low=_n(r["ratio"], 2), high=_n(r["high"], 2))
        for r in (sheet[0], sheet[len(sheet) // 2], sheet[-1])
    ]
    return phrase("charts.holes.all", sizes="; ".join(parts))


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


def _columns(rows: Rows, heads: dict[str, str]) -> Rows:
    """The rows under plain heads, given by the key of each column."""
    return [{head: r.get(key) for key, head in heads.items()} for r in rows]


def _table_staircase(rows: Rows, units: UnitSet) -> Rows:
    heads = {
        "station": phrase("charts.staircase.station"),
        "water": phrase("charts.staircase.water"),
        "dryness": phrase("charts.staircase.dryness"),
    }
    return _columns(rows, heads)


def _table_takers(rows: Rows, units: UnitSet) -> Rows:
    heads = {
        "stage": phrase("charts.takers.stage"),
        "water": phrase("charts.takers.water"),
        "share": phrase("charts.takers.share"),
        "energy": phrase("charts.takers.energy"),
        "money": phrase("charts.takers.money"),
    }
    return _columns(rows, heads)


def _table_drainage(rows: Rows, units: UnitSet) -> Rows:
    pressure_unit = CHART_UNITS["pressure"][units]
    fibre = {r["place"]: r["grammage"] for r in _of(rows, "fibre")}
    pressure = {(r["side"], r["place"]): r["pressure"] for r in _of(rows, "pressure")}
    whole = [
        {
            "place": r["place"],
            "share": r["share"],
            "fibre": fibre.get(r["place"]),
            "wire": pressure.get(("wire side", r["place"])),
            "back": pressure.get(("back side", r["place"])),
        }
        for r in _of(rows, "water")
    ]
    heads = {
        "place": phrase("charts.drainage.place", unit=CHART_UNITS["length"][units]),
        "share": phrase("charts.drainage.drained"),
        "fibre": phrase("charts.drainage.laid", unit=CHART_UNITS["grammage"][units]),
        "wire": phrase("charts.drainage.wire", unit=pressure_unit),
        "back": phrase("charts.drainage.opposite", unit=pressure_unit),
    }
    return _columns(whole, heads)


def _table_yankee(rows: Rows, units: UnitSet) -> Rows:
    heat = {r["angle"]: r["temperature"] for r in _of(rows, "temperature")}
    heads = {
        "angle": phrase("charts.yankee.angle"),
        "moisture": phrase("charts.yankee.moisture"),
        "temperature": phrase("charts.yankee.temperature", unit=CHART_UNITS["temperature"][units]),
    }
    return _columns([r | {"temperature": heat[r["angle"]]} for r in _of(rows, "moisture")], heads)


def _table_limits(rows: Rows, units: UnitSet) -> Rows:
    heads = {
        "part": phrase("charts.limits.part"),
        "speed": phrase("charts.limits.speed", unit=CHART_UNITS["speed"][units]),
        "margin": phrase("charts.limits.margin"),
        "said": phrase("charts.limits.said"),
        "status": phrase("charts.limits.status"),
    }
    return _columns(rows, heads)


def _table_energy(rows: Rows, units: UnitSet) -> Rows:
    heads = {
        "consumer": phrase("charts.energy.consumer"),
        "stage": phrase("charts.energy.stage"),
        "kind": phrase("charts.energy.kind"),
        "energy": CHART_UNITS["energy"][units],
    }
    return _columns(rows, heads)


def _table_flow(rows: Rows, units: UnitSet) -> Rows:
    flow = CHART_UNITS["flow"][units]
    lines = [r | {"what": r.get("grade") or r.get("said")} for r in rows if r["kind"] in ("grade", "here")]
    whole = [{"what": r["what"], "speed": r["speed"], "flow": r["flow"], "high": None} for r in lines]
    whole += [
        {
            "what": phrase("charts.flow.practice", former=r["former"]),
            "speed": r["speed"],
            "flow": r["high"],
            "high": r["low"],
        }
        for r in _of(rows, "area")
    ]
    heads = {
        "what": phrase("charts.flow.what"),
        "speed": phrase("charts.flow.speed", unit=CHART_UNITS["speed"][units]),
        "flow": phrase("charts.flow.flow", unit=flow),
        "high": phrase("charts.flow.high", unit=flow),
    }
    return _columns(whole, heads)


def _table_lowest(rows: Rows, units: UnitSet) -> Rows:
    heads = {
        "former": phrase("charts.lowest.former"),
        "speed": phrase("charts.lowest.speed", unit=CHART_UNITS["speed"][units]),
        "low": phrase("charts.lowest.low"),
        "high": phrase("charts.lowest.high"),
        "first": phrase("charts.lowest.first"),
        "inside": phrase("charts.lowest.inside"),
    }
    return _columns(_of(rows, "lowest"), heads)


def _table_cv(rows: Rows, units: UnitSet) -> Rows:
    random = {r["zone"]: r["cv"] for r in _of(rows, "random")}
    heads = {
        "zone": phrase("charts.zone.column_zone", unit=CHART_UNITS["zone"][units]),
        "random": phrase("charts.zone.column_random"),
        "cv": phrase("charts.zone.column_low"),
        "high": phrase("charts.zone.column_high"),
    }
    return _columns([r | {"random": random[r["zone"]]} for r in _of(rows, "sheet")], heads)


def _table_holes(rows: Rows, units: UnitSet) -> Rows:
    heads = {
        "size": phrase("charts.holes.column_size"),
        "ratio": phrase("charts.holes.column_low"),
        "high": phrase("charts.holes.column_high"),
    }
    return _columns(_of(rows, "sheet"), heads)


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
