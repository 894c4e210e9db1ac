"""Numbers that only lessons ask for, each from a run and with the numbers that its working names."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from thinstock.lesson.subject import Subject
from thinstock.relations import circulation_steps
from thinstock.tell.everyday import size
from thinstock.words.figures import figure
from thinstock.words.phrase import phrase


@dataclass(frozen=True, kw_only=True)
class Fact:
    """A number in the unit it is shown in; a range where `other` is its other end."""

    value: float
    digits: int = 2
    other: float | None = None
    slots: Mapping[str, str] = field(default_factory=dict)
    """Numbers of its working, as texts."""
    indicator: bool = False
    open: bool = False
    """Whether its other end is not known: the value or later."""

    @property
    def text(self) -> str:
        """As people read it."""
        if self.other is None:
            one = grouped(self.value, self.digits)
            return phrase("lesson.or_later", low=one) if self.open else one
        low, high = sorted((self.value, self.other))
        shown = [grouped(one, self.digits) for one in (low, high)]
        return shown[0] if shown[0] == shown[1] else phrase("lesson.range", low=shown[0], high=shown[1])


def grouped(value: float, digits: int) -> str:
    """With thousands apart from ten thousand on."""
    if not math.isfinite(value):
        return phrase("lesson.no_number")
    text = figure(value, digits)
    if abs(value) < 1e4:
        return text
    whole, dot, rest = text.partition(".")
    return f"{int(whole.replace('−', '-')):,}".replace(",", "\u202f").replace("-", "−") + dot + rest


def missing() -> Fact:
    """A number that this machine does not have."""
    return Fact(value=math.nan)


# -- water beside things everybody knows ---------------------------------------------------------------------------


def _bathtubs(of: Subject) -> Fact:
    flow = 60.0 * float(of.result["headbox_flow"])
    tub = size("bathtub")
    return Fact(value=flow / tub, slots={
        "flow": of.teller.value("headbox_flow"), "per_width": of.teller.value("flow_per_width"),
        "width": _metres(of.result.machine.width),
        "tub": figure(1e3 * tub, 3)})  # fmt: skip


def _metres(value: object) -> str:
    return f"{figure(float(value), 2)} m"  # type: ignore[arg-type]


def tissue(of: Subject) -> tuple[float, float]:
    """Fibre of one tissue, kg, and the stock it came in, m³."""
    grade = of.machine.grade
    side, plies = size("tissue_side"), size("plies")
    fibre = plies * side**2 * float(grade.reel_grammage) * float(grade.reel_dryness)
    density = float(of.result.wet.water.density)
    return fibre, fibre / float(of.result["retention"]) / float(of.result["consistency"]) / density


def _tissue_litres(of: Subject) -> Fact:
    fibre, stock = tissue(of)
    return Fact(value=1e3 * stock, slots={
        "fibre": figure(1e3 * fibre, 2), "kept": of.teller.value("retention"),
        "consistency": of.teller.value("consistency"),
        "side": _metres(size("tissue_side")), "plies": figure(size("plies"), 1)})  # fmt: skip


def _tissue_fibre(of: Subject) -> Fact:
    fibre, _ = tissue(of)
    return Fact(value=1e3 * fibre, slots={
        "side": _metres(size("tissue_side")), "plies": figure(size("plies"), 1),
        "grammage": of.teller.value("reel_grammage")})  # fmt: skip


def _gram_in_tonne(of: Subject) -> Fact:
    one = 1e-6
    flow = float(of.result["headbox_flow"]) * float(of.result["consistency"]) / one
    return Fact(value=60.0 * flow / size("bathtub"), slots={
        "flow": of.teller.value("headbox_flow"), "consistency": of.teller.value("consistency"),
        "times": grouped(float(of.result["consistency"]) / one, 2)})  # fmt: skip


# -- who takes the water, and at what price ------------------------------------------------------------------------


def _stage(of: Subject, stage: str, what: str) -> Fact:
    row = next((one for one in of.result.water_prices if one.stage == stage), None)
    if row is None:
        return missing()
    if what == "share":
        return Fact(value=100.0 * float(row.share), digits=3, slots={
            "water": figure(float(row.water_per_fibre), 3), "all": figure(_all(of), 3)})  # fmt: skip
    price = float(row.energy_per_water) / 1e3
    return Fact(value=price, slots={"water": figure(float(row.water_per_fibre), 3)})


def _all(of: Subject) -> float:
    return math.fsum(float(one.water_per_fibre) for one in of.result.water_prices)


def _price_ratio(of: Subject) -> Fact:
    rows = {one.stage: float(one.energy_per_water) for one in of.result.water_prices}
    if not {"forming", "evaporation"} <= set(rows):
        return missing()
    return Fact(value=rows["evaporation"] / rows["forming"], slots={
        "dryer": grouped(rows["evaporation"] / 1e3, 2), "former": grouped(rows["forming"] / 1e3, 2)})  # fmt: skip


def bill(of: Subject) -> dict[str, float]:
    """Energy of each stage per kilogram of fibre, J/kg."""
    return {one.stage: float(one.water_per_fibre) * float(one.energy_per_water) for one in of.result.water_prices}


def _bill(of: Subject, stage: str) -> Fact:
    rows = bill(of)
    if stage not in rows:
        return missing()
    return Fact(value=100.0 * rows[stage] / math.fsum(rows.values()), slots={
        "own": grouped(rows[stage] / 1e3, 3), "all": grouped(math.fsum(rows.values()) / 1e3, 3)})  # fmt: skip


# -- the former ----------------------------------------------------------------------------------------------------


def _forming_time(of: Subject) -> Fact:
    formed, speed = of.result.wet.formed, float(of.result.wet.wire_speed)
    long = float(formed.lengths)
    return Fact(value=1e3 * long / speed, slots={"length": _metres(long), "speed": f"{figure(60 * speed, 3)} m/min"})


def _forming_ends(of: Subject) -> Fact:
    fast, slow = float(of.result["end_of_forming"]), of.result.values.get("end_of_forming_slow")
    late = math.nan if slow is None else float(slow)
    if not math.isfinite(fast):
        return missing()
    if not math.isfinite(late):
        return Fact(value=100 * fast, open=True, slots={"slow": phrase("lesson.not_on_former")})
    return Fact(value=100 * fast, other=100 * late, slots={"slow": f"{figure(100 * late, 2)} %"})


def _undrained(of: Subject) -> Fact:
    found = []
    for run in (of.result, of.slow):
        deep = float(run["stock_depth"])
        left = 0.0 if bool(run["formed"]) else max(float(run["depth_not_drained"]), 0.0)
        found.append(100.0 * left / deep)
    return Fact(value=found[0], other=found[1], slots={"depth": of.teller.value("stock_depth")})


def _indicator(of: Subject, names: tuple[str, ...], factor: float = 1.0, *, speed: bool = False) -> Fact:
    one = next((of.indicators[name] for name in names if name in of.indicators), None)
    if one is None:
        return missing()
    slots = {"words": one.words, "held": one.held, "value": figure(factor * one.value, 2),
             "speed": f"{figure(60.0 * float(of.result.wet.wire_speed), 3)} m/min"}  # fmt: skip
    counts = one.yardstick is not None
    value = 60.0 * (one.speed_at_yardstick or math.nan) if speed else factor * one.value
    return Fact(value=value, digits=3 if speed else 2, slots=slots, indicator=counts)


def _first_speed(of: Subject) -> Fact:
    from thinstock.studies.reasons import reasons

    found = reasons(of.indicators.values()).first
    if found is None or found.speed_at_yardstick is None:
        return missing()
    return Fact(
        value=60.0 * found.speed_at_yardstick,
        digits=3,
        slots={"words": found.words, "held": found.held},
        indicator=True,
    )


def _transfers(of: Subject) -> Fact:
    return Fact(value=float(of.machine.forming.transfers), digits=1, slots={"carrier": of.machine.forming.carrier})


# -- the sheet -----------------------------------------------------------------------------------------------------


def _crowding(of: Subject) -> Fact:
    return Fact(value=float(of.sheet.crowding_number), slots={"consistency": of.teller.value("consistency")})


def _cloudiness(of: Subject) -> Fact:
    return Fact(value=100.0 * float(of.sheet.cv), slots={"consistency": of.teller.value("consistency")})


def _holes(of: Subject) -> Fact:
    return Fact(value=float(of.sheet.holes_per_area), slots={"consistency": of.teller.value("consistency")})


# -- press and dryer -----------------------------------------------------------------------------------------------


def _nip(of: Subject, what: str) -> Fact:
    if not of.result.wet.nips:
        return missing()
    did, speed = of.result.wet.nips[0], float(of.result.wet.felt_speed)
    wide = float(did.nip_width)
    slots = {"width": f"{figure(1e3 * wide, 2)} mm", "speed": f"{figure(60 * speed, 3)} m/min",
             "mean": f"{figure(float(did.nip_pressure) / 1e6, 2)} MPa"}  # fmt: skip
    value = {"time": 1e3 * wide / speed, "peak": float(did.peak_pressure) / 1e6, "mean": float(did.nip_pressure) / 1e6}
    return Fact(value=value[what], slots=slots)


def _dryness_sure(of: Subject) -> Fact:
    spread = of.teller.spreads.get("dryness_press")
    if spread is None:
        return missing()
    value, wide = 100 * float(of.result["dryness_press"]), 2 * 100 * float(spread.standard_uncertainty)
    return Fact(value=value - wide, other=value + wide, slots={"value": figure(value, 3), "half": figure(wide, 2)})


def _water_left(of: Subject) -> Fact:
    return Fact(
        value=float(of.result.wet.moisture_pressed), digits=3, slots={"dryness": of.teller.value("dryness_press")}
    )


def _water_into_press(of: Subject) -> Fact:
    return Fact(value=float(of.result.wet.moisture_into_press), digits=3)


# -- white water ---------------------------------------------------------------------------------------------------


def silo(of: Subject) -> tuple[float, float, float] | None:
    """Time constant of the silo, s, the share that goes round once more, and the flow into the silo, kg/s."""
    loop, result = of.machine.loop, of.result
    if loop.silo_mass is None:
        return None
    into = math.fsum(float(s.water) + float(s.fibre) for s in result.streams if s.sink == "silo")
    flow = into * float(result.machine.width)
    share, kept, reject = float(result["return_share"]), float(result["retention"]), float(loop.reject_share)
    time = circulation_steps.silo_time_constant(float(loop.silo_mass), flow, share, kept, reject)
    return float(time), (1 - reject) * share * (1 - kept), flow


def _silo(of: Subject, what: str) -> Fact:
    found = silo(of)
    if found is None:
        return missing()
    time, again, flow = found
    slots = {
        "mass": f"{figure(float(of.machine.loop.silo_mass) / 1e3, 2)} t", "flow": f"{figure(flow, 3)} kg/s",
        "retention": of.teller.value("retention"), "again": f"{figure(100 * again, 2)} %", "time": figure(time / 60, 2),
    }  # fmt: skip
    left = 0.05
    loop, result = of.machine.loop, of.result
    settle = circulation_steps.step_time_thick_stock(
        left, time, float(result["return_share"]), float(result["retention"]), float(loop.reject_share)
    )
    value = {"time": time / 60, "once": 100 * (1 - again), "settled": float(settle) / 60, "round": 100 * again}
    return Fact(value=value[what], slots=slots)


def _white_water(of: Subject) -> Fact:
    found = [s for s in of.result.streams if s.sink == "silo"]
    fibre = math.fsum(float(s.fibre) + float(s.fines) for s in found)
    water = math.fsum(float(s.water) for s in found)
    return Fact(value=1e3 * fibre / max(fibre + water, 1e-12), slots={"jet": of.teller.value("consistency")})


FACTS: dict[str, Callable[[Subject], Fact]] = {
    "bathtubs": _bathtubs,
    "tissue_litres": _tissue_litres,
    "tissue_fibre": _tissue_fibre,
    "gram_in_tonne": _gram_in_tonne,
    "former_share": lambda of: _stage(of, "forming", "share"),
    "vacuum_share": lambda of: _stage(of, "vacuum", "share"),
    "press_share": lambda of: _stage(of, "press", "share"),
    "dryer_share": lambda of: _stage(of, "evaporation", "share"),
    "former_price": lambda of: _stage(of, "forming", "price"),
    "vacuum_price": lambda of: _stage(of, "vacuum", "price"),
    "press_price": lambda of: _stage(of, "press", "price"),
    "dryer_price": lambda of: _stage(of, "evaporation", "price"),
    "price_ratio": _price_ratio,
    "dryer_bill": lambda of: _bill(of, "evaporation"),
    "former_bill": lambda of: _bill(of, "forming"),
    "forming_time": _forming_time,
    "forming_ends": _forming_ends,
    "undrained": _undrained,
    "strongest_pulse": lambda of: _indicator(of, ("pulse",), 1e-3),
    "pulses": lambda of: _indicator(of, ("pulses",)),
    "pulses_a_second": lambda of: _indicator(of, ("pulse_rate",)),
    "kick": lambda of: _indicator(of, ("kick_rolls", "kick_foils")),
    "kick_speed": lambda of: _indicator(of, ("kick_rolls", "kick_foils"), speed=True),
    "rim": lambda of: _indicator(of, ("rim_breast", "rim")),
    "rim_speed": lambda of: _indicator(of, ("rim_breast", "rim"), speed=True),
    "throw": lambda of: _indicator(of, ("throw_full",), 100.0),
    "throw_speed": lambda of: _indicator(of, ("throw_full",), speed=True),
    "pond": lambda of: _indicator(of, ("pond",)),
    "pond_speed": lambda of: _indicator(of, ("pond",), speed=True),
    "pond_time": lambda of: _indicator(of, ("pond_time",)),
    "wash": lambda of: _indicator(of, ("absorbed",), 100.0),
    "first_speed": _first_speed,
    "transfers": _transfers,
    "crowding": _crowding,
    "cloudiness": _cloudiness,
    "holes": _holes,
    "nip_time": lambda of: _nip(of, "time"),
    "nip_peak": lambda of: _nip(of, "peak"),
    "nip_mean": lambda of: _nip(of, "mean"),
    "dryness_sure": _dryness_sure,
    "water_left": _water_left,
    "water_into_press": _water_into_press,
    "silo_time": lambda of: _silo(of, "time"),
    "at_once": lambda of: _silo(of, "once"),
    "settled": lambda of: _silo(of, "settled"),
    "goes_round": lambda of: _silo(of, "round"),
    "white_water": _white_water,
}
"""Every number of lessons alone, by name."""
