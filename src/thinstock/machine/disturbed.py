"""What disturbs a sheet on the elements of a former: each indicator with its value and the speed at its yardstick.

Taken where half of the sheet is laid down and the mat springs back. Indicators with a natural size, never limits: they
refuse no machine and enter no capacity. Their words are the library's.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from thinstock import library
from thinstock.formula.label import RELATIONS, Array, Num, label_of, worksheet
from thinstock.machine.elements import (
    Foils,
    FormingBox,
    FormingElement,
    FormingRoll,
    InclinedBoxes,
    JetImpact,
    SuctionBreastRoll,
    TableRolls,
)
from thinstock.relations import disturbance, drainage, jet
from thinstock.words.constants import air_density_room, value
from thinstock.words.nomenclature import word
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.machine.forming import Formed, Forming
    from thinstock.machine.notes import Notes

GRID = np.geomspace(0.5, 60.0, 161)
"""Speeds, m/s, between which the one at a yardstick is read off."""
SURFACE_TENSION = value("surface_tension_white_water")


@dataclass(frozen=True, kw_only=True)
class Indicator:
    """One thing that disturbs a sheet or describes how it is formed, at one speed."""

    name: str
    value: float
    unit: str
    """Base SI."""
    yardstick: float | None
    yardstick_low: float | None
    yardstick_high: float | None
    speed_at_yardstick: float | None
    """m/s, inf where none up to 60 m/s; None where there is no yardstick."""
    side: str
    """"highest": past the yardstick above that speed; "lowest": below it; "none": shown only."""
    status: str
    source: str
    words: str
    answer: str = ""
    """What the trade did about it."""

    @property
    def held(self) -> str:
        """How its yardstick is known, in words."""
        return phrase("notes.practice_in_print") if self.status == "published" else self.status

    @property
    def speed_ends(self) -> tuple[float, float]:
        """Speeds at both ends of the yardstick, m/s; what has two ends in print goes with the square of speed."""
        at = math.inf if self.speed_at_yardstick is None else self.speed_at_yardstick
        if self.yardstick is None or self.yardstick_low is None or self.yardstick_high is None:
            return at, at
        low, high = (math.sqrt(end / self.yardstick) for end in (self.yardstick_low, self.yardstick_high))
        return at * low, at * high

    @property
    def short(self) -> str:
        """What it is in a few words, for a picture."""
        return str(library.table("ladder")["indicator"][self.name].get("short", self.words))

    @property
    def past(self) -> bool:
        """True where its value is past a yardstick that counts."""
        return self.side != "none" and self.yardstick is not None and self.value > self.yardstick


def disturbed(forming: Forming, half: Half, speed: float, *, ranked: bool = True) -> tuple[Indicator, ...]:
    """All indicators of a former at one speed; without the speeds at their yardsticks where they are not ranked."""
    speeds = np.append(GRID, speed) if ranked else np.array([speed])
    with worksheet(False), np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        found: list[_Found] = []
        pulses: list[_Pulse] = []
        for element in forming.element:
            told, pulse = _ELEMENTS.get(type(element), _nothing)(element, half, speeds)
            found += [one for one in told if one.name not in {f.name for f in found}]
            pulses += [pulse] if pulse is not None else []
        found += _formed(forming, half, pulses, speed)
        return tuple(_indicator(one) for one in found)


def remark(formed: Formed, notes: Notes) -> None:
    """Of one run: past which yardsticks it is, and what the trade did about it."""
    if not notes.single:
        return
    half, speed = Half.formed(formed), float(notes.speed)
    if not any(i.past and i.side == "highest" for i in disturbed(formed.part, half, speed, ranked=False)):
        return
    for one in disturbed(formed.part, half, speed):
        if one.past and one.side == "highest":
            notes.when(
                True, "forming", "information", "past_yardstick", words=one.words, answer=one.answer, status=one.held,
                value=f"{one.value:.2g}", yardstick=f"{one.yardstick:g}",
                speed=f"{60.0 * (one.speed_at_yardstick or 0.0):.0f}",
            )  # fmt: skip


# -- the state -----------------------------------------------------------------------------------------------------


class Half(NamedTuple):
    """Half of the sheet laid down on a fabric: what is deep, what resists, what is taut."""

    jet_ratio: Num
    density: Num
    stock_depth: Num
    """Before anything has drained, m."""
    depth: Num
    """Half of it."""
    mat: tuple[Num, ...]
    """Arguments of the flux from the fibre laid down on."""
    fabric_tension: Num
    fabric_mass: Num
    floor: Num = 0.0

    @classmethod
    def formed(cls, formed: Formed) -> Half:
        """That of a run."""
        around, free, wire = formed.around, formed.free, formed.part.wire
        mat = (0.5 * formed.into.fibre, around.water.viscosity, around.water.density,
               around.stock.resistance_factor * around.resistance, around.stock.resistance_exponent,
               formed.arriving.fabric_resistance, formed.arriving.fabric_inertia)  # fmt: skip
        return cls(
            float(free.jet_speed / formed.into.speed), float(around.water.density), float(free.depth),
            0.5 * float(free.depth), tuple(float(one) for one in mat), float(wire.fabric_tension),
            float(wire.fabric_mass), float(around.stock.mat_pressure_floor),
        )  # fmt: skip

    def kick(self, speed: Array, line_load: Array) -> tuple[Array, Array, Array]:
        """Kink of the wire, speed of the kick, and its height over the depth of the layer."""
        kink = disturbance.kink_angle(line_load, self.fabric_tension, self.fabric_mass, self.density, self.depth, speed)
        kick = disturbance.kick_speed(speed, kink)
        return kink, kick, disturbance.kick_height_ratio(kick, self.depth)

    def rolls(self, speed: Array, radius: Num) -> tuple[Array, Array]:
        """Line load of a table roll, and the length over which it sucks."""
        flux = drainage.flux_mat_fabric(0.25 * self.density * speed**2, *self.mat)
        load = disturbance.line_load_table_roll(self.density, speed, radius, flux)
        return load, drainage.nip_length_table_roll(flux, speed, radius)

    def foils(self, speed: Array, angle: Num) -> Array:
        """Suction under a foil."""
        return np.asarray(disturbance.suction_foil_wedge(speed, angle, *self.mat))


class _Pulse(NamedTuple):
    """Pulses of one element at the present speed."""

    peak: float
    number: int
    pitch: float
    """m; nan for a single one."""
    holds: float | None
    """What holds the sheet between them, Pa; None: the weight of the stock."""


class _Found(NamedTuple):
    """One indicator before its words: its value, and the speed at its yardstick."""

    name: str
    formula: str
    value: float
    speed: float | None = None


_Told = tuple[list[_Found], _Pulse | None]


def crossing(ratio: Array, yardstick: float = 1.0) -> float:
    """The speed of `GRID` at which a growing ratio passes its yardstick, a cubic in logarithms; inf beyond."""
    if not ratio.size:
        return math.nan
    above = np.flatnonzero(~(ratio < yardstick))
    if not above.size:
        return math.inf
    if above[0] == 0:
        return float(GRID[0])
    near = slice(max(int(above[0]) - 2, 0), int(above[0]) + 2)
    over, speed = np.log(np.minimum(ratio[near], 1e300) / yardstick), np.log(GRID[near])
    if np.any(over > 2.0):
        return float(np.exp(np.interp(0.0, over, speed)))
    return float(np.exp(np.polynomial.Polynomial.fit(over, speed, len(over) - 1)(0.0)))


def _at(name: str, formula: str, ratio: Array, yardstick: float = 1.0) -> _Found:
    """An indicator worked out on the grid and, last, at the present speed."""
    return _Found(name, formula, float(ratio[-1]), crossing(ratio[:-1], yardstick))


# -- what each kind of element does --------------------------------------------------------------------------------


def _nothing(element: FormingElement, half: Half, speed: Array) -> _Told:
    """A board, a straight or a bare table: nothing but weight."""
    return [], None


def _shaken(half: Half, speed: Array, pitch: Num, nip: Num, kick: Array) -> list[_Found]:
    """Spray by a train of kicks, both ends."""
    rate = disturbance.pulse_rate(speed, pitch)
    bears = disturbance.spray_threshold(rate, SURFACE_TENSION, half.density)
    kept = disturbance.kept_share_nip(nip, pitch)
    return [
        _at(name, "spray_threshold", disturbance.forcing_acceleration(kick, rate, share) / bears)
        for name, share in (("spray_whole", 1.0), ("spray_kept", kept))
    ]


def _table_rolls(element: TableRolls, half: Half, speed: Array) -> _Told:
    radius = float(element.roll_diameter) / 2.0
    load, nip = half.rolls(speed, radius)
    kink, kick, height = half.kick(speed, load)
    growth = disturbance.growth_rate_layer(speed**2 / radius, half.density, SURFACE_TENSION)
    yardstick = _yardstick("rim")[0] or 0.0
    rim = disturbance.rim_acceleration(speed[-1], radius)
    found = [
        _at("kick_rolls", "kick_height_ratio", height),
        _Found("rim", "rim_acceleration", float(rim), float(disturbance.speed_rim(yardstick, radius))),
        *_shaken(half, speed, element.pitch, nip, kick),
        _at("growth", "growth_per_roll", disturbance.growth_per_roll(growth, kink, radius, speed)),
    ]
    peak = float(drainage.suction_table_roll_taylor(half.density, speed[-1], np.inf))
    return found, _Pulse(peak, int(element.number), float(element.pitch), None)


def _foils(element: Foils, half: Half, speed: Array) -> _Told:
    suction = half.foils(speed, element.foil_angle)
    load = disturbance.line_load_foil(suction, element.foil_length, element.suction_share)
    _, kick, height = half.kick(speed, load)
    if float(element.foil_angle) > float(element.foil_angle_cap) + 1e-9:
        return [_at("kick_steep", "kick_height_ratio", height)], None
    nip = element.suction_share * element.foil_length
    found = [_at("kick_foils", "kick_height_ratio", height), *_shaken(half, speed, element.pitch, nip, kick)]
    return found, _Pulse(float(suction[-1]), int(element.number), float(element.pitch), None)


def _impact(element: JetImpact, half: Half, speed: Array) -> _Told:
    radius, v = float(element.roll_diameter) / 2.0, speed[-1]
    jet_speed = half.jet_ratio * v
    pressure = drainage.pressure_impact(half.density, jet_speed, element.impact_angle)
    through = drainage.flux_mat_fabric(pressure, 0.0, *half.mat[1:])
    yardstick = _yardstick("rim_breast")[0] or 0.0
    rim = disturbance.rim_acceleration(v, radius)
    found = [
        _Found("rim_breast", "rim_acceleration", float(rim), float(disturbance.speed_rim(yardstick, radius))),
        _Found("wash", "impact_wash_speed", float(disturbance.impact_wash_speed(jet_speed, element.impact_angle))),
        _Found("absorbed", "impact_absorbed_share",
               float(disturbance.impact_absorbed_share(through, jet_speed, element.impact_angle))),
    ]  # fmt: skip
    return found, _Pulse(float(pressure), 1, math.nan, None)


def _breast(element: SuctionBreastRoll, half: Half, speed: Array) -> _Told:
    radius, vacuum = float(element.roll_diameter) / 2.0, float(element.vacuum)
    if not vacuum > 0.0:
        return [], None
    full = disturbance.shell_depth_filled(half.stock_depth, element.roll_open_area)
    found = [
        _Found(
            name, "throw_ratio",
            float(disturbance.throw_ratio(half.density, depth, shell, speed[-1], radius, vacuum)),
            float(disturbance.speed_throw(half.density, depth, shell, radius, vacuum)),
        )
        for name, depth, shell in (("throw_full", 0.0, full), ("throw_start", half.stock_depth, 0.0))
    ]  # fmt: skip
    return found, _Pulse(vacuum, 1, math.nan, vacuum)


def _pond(element: InclinedBoxes, half: Half, speed: Array) -> _Told:
    head, length = float(element.pond_head), float(element.length) * int(element.number)
    load = float(element.vacuum) + drainage.pressure_gravity_table(half.density, head)
    pulse = _Pulse(float(load), int(element.number), math.nan, float(load))
    if not head > 0.0:
        return [], pulse
    v = float(speed[-1])
    found = [
        _Found("pond", "pond_number", float(disturbance.pond_number(v, head)), float(disturbance.speed_pond(head))),
        _Found("pond_time", "pond_time", float(disturbance.pond_time(head, length, half.stock_depth * v))),
        _Found("pond_drag", "pond_drag", float(disturbance.pond_drag(half.stock_depth, head))),
    ]
    return found, pulse


def _roll(element: FormingRoll, half: Half, speed: Array) -> _Told:
    radius, tension = float(element.roll_diameter) / 2.0, element.fabric_tension
    pressure = drainage.pressure_forming_roll(tension, half.fabric_mass, speed, radius)
    jet_speed = half.jet_ratio * speed
    momentum = disturbance.momentum_ratio(half.density, half.stock_depth, speed[-1], tension, half.fabric_mass)
    wave = disturbance.wave_speed_wire(tension, half.fabric_mass, half.density, half.stock_depth)
    entry = disturbance.entry_ratio(pressure, half.density, jet_speed)
    thickness = jet.stock_depth(half.stock_depth * speed, jet_speed)
    air = disturbance.air_weber(air_density_room, jet_speed, thickness, SURFACE_TENSION)
    yardstick = _yardstick("air")[0] or 0.0
    found = [
        _Found("momentum", "momentum_ratio", float(momentum), float(wave)),
        _Found("entry", "entry_ratio", float(entry[-1]), crossing(1.0 / np.maximum(entry[:-1], 1e-300))),
        _at("air", "air_weber", air, yardstick),
    ]
    return found, _Pulse(float(pressure[-1]), 1, math.nan, float(pressure[-1]))


def _box(element: FormingBox, half: Half, speed: Array) -> _Told:
    return [], _Pulse(float(element.vacuum), 1, math.nan, float(element.vacuum))


_ELEMENTS: dict[type[FormingElement], Callable[..., _Told]] = {
    TableRolls: _table_rolls,
    Foils: _foils,
    JetImpact: _impact,
    SuctionBreastRoll: _breast,
    InclinedBoxes: _pond,
    FormingRoll: _roll,
    FormingBox: _box,
}
"""What an element of a kind disturbs; one that is not here only lets water go."""


def _formed(forming: Forming, half: Half, pulses: list[_Pulse], speed: float) -> Iterator[_Found]:
    """How the sheet is formed, whatever the former."""
    strongest = max(pulses, key=lambda p: p.peak, default=None)
    most = max(pulses, key=lambda p: p.number, default=None)
    if strongest is not None and most is not None:
        weight = max(float(drainage.pressure_gravity_table(half.density, half.depth)), float(half.floor))
        holds = weight if strongest.holds is None else strongest.holds
        layers = disturbance.pulse_in_layers(strongest.peak, half.density, half.depth)
        over = disturbance.pulse_over_hold(strongest.peak, holds)
        yield _Found("pulse", "", strongest.peak)
        yield _Found("pulse_in_layers", "pulse_in_layers", float(layers))
        yield _Found("pulse_over_hold", "pulse_over_hold", float(over))
        if math.isfinite(most.pitch):
            yield _Found("pulse_rate", "pulse_rate", float(disturbance.pulse_rate(speed, most.pitch)))
        yield _Found("pulses", "", float(sum(p.number for p in pulses)))
    free = not any(isinstance(e, FormingRoll) for e in forming.element)
    yield _Found("free_surface", "", float(free))
    yield _Found("transfers", "", float(forming.transfers))


# -- words ---------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=64)
def _yardstick(name: str) -> tuple[float | None, float | None, float | None]:
    """Yardstick of an indicator with its ends."""
    told = library.table("ladder")["indicator"][name].get("yardstick")
    return (None, None, None) if told is None else (float(told[0]), float(told[1]), float(told[2]))


def _indicator(found: _Found) -> Indicator:
    """An indicator with its words, status and source."""
    said = library.table("ladder")["indicator"][found.name]
    label = label_of(RELATIONS[f"disturbance.{found.formula}"]) if found.formula else None
    unit = word(label.gives[0]).unit if label is not None and found.name not in ("spray_whole", "spray_kept") else "1"
    status, source = (label.status, label.source) if label is not None else ("derived", "DERIVED")
    yardstick, low, high = _yardstick(found.name)
    return Indicator(
        name=found.name,
        value=found.value,
        unit="Pa" if found.name == "pulse" else unit,
        yardstick=yardstick,
        yardstick_low=low,
        yardstick_high=high,
        speed_at_yardstick=found.speed,
        side=said["side"],
        status=said.get("status", status),
        source=said.get("source", source),
        words=said["indicator_words"],
        answer=said.get("answer", ""),
    )
