"""Values along the parts that a run does not keep: drainage along the former, drying round the Yankee, nip pressure.

The same marches with the same settings as the run, asked at places in between; nothing is fitted or smoothed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from thinstock.formula.label import Array, worksheet
from thinstock.kernels.drainage import Element, Law, drain
from thinstock.kernels.yankee import Profile, profile
from thinstock.machine.keys import Asked, NoKey, key_of
from thinstock.relations import gas_side
from thinstock.words.constants import value

if TYPE_CHECKING:
    from thinstock.machine.dryer import Dried
    from thinstock.machine.forming import Formed
    from thinstock.machine.hood import Hood
    from thinstock.machine.press import Pressed
    from thinstock.machine.yankee import Yankee

STEPS = (16, 16, 4)
"""Steps of the drying march in its three stretches, as in a run."""


def along_yankee(done: Dried) -> Profile:
    """Moisture and temperature of the sheet from the nip to the doctor, at the nodes of the march."""
    yankee, web, pressure = done.part.yankee, done.into, done.around.atmospheric_pressure
    with worksheet(False):
        contact_dry, contact_wet = yankee.contact()
        segments = _segments(done)
    return profile(
        web.moisture_ratio, web.temperature, web.fibre, web.speed,
        done.dried.surface_temperature, contact_dry, contact_wet, yankee.moisture_scale, segments, np.array(STEPS),
        pressure, value("fibre_heat_capacity_dry"), 0 if yankee.isotherm == "Heikkilä" else 1, 1e-8,
    )  # fmt: skip


def _segments(done: Dried) -> Array:
    """One row per stretch: its length and what the air does to the sheet on it."""
    hood, found, pressure = done.part.hood, done.dried, done.around.atmospheric_pressure
    under = gas_side.gas_side_hole_array(
        found.air_temperature, found.jet_humidity, hood.jet_velocity, hood.nozzle_diameter, hood.jet_open_area,
        hood.nozzle_gap, hood.contraction, hood.hood_factor, hood.film_sheet_temperature, pressure,
    )  # fmt: skip
    bare = gas_side.gas_side_given(
        hood.open_coefficient, hood.open_temperature, hood.open_humidity, hood.film_sheet_temperature, pressure
    )
    before, covered, after = stretches(done.part.yankee, done.part.hood)
    air, hall = found.air_temperature, hood.open_temperature
    rows = []
    for length, side, h, at, plate, grey in (
        (before, bare, hood.open_coefficient, hall, hall, 0.0),
        (covered, under, under.heat_transfer_coefficient, air, air - hood.plate_offset, hood.emissivity),
        (after, bare, hood.open_coefficient, hall, hall, 0.0),
    ):
        rows.append([length, h, side.mass_transfer_coefficient, at, side.vapour_pressure_air, plate, grey,
                     side.heat_capacity])  # fmt: skip
    return np.array(rows, dtype=float)


def stretches(yankee: Yankee, hood: Hood) -> tuple[float, float, float]:
    """Lengths of sheet on the Yankee before, under and behind the hood, m."""
    turn = np.pi * float(yankee.diameter)
    before, covered = float(hood.start) * turn, float(hood.covered) * turn
    return before, covered, max(float(yankee.wrap) * float(yankee.diameter) / 2 - before - covered, 0.0)


@dataclass(frozen=True, kw_only=True)
class Along:
    """Drainage along a former, at places counted along its elements."""

    place: Array
    """m from the first element."""
    drained: Array
    """m of water, both sides together."""
    drained_side: Array
    """The same per side (wire, back)."""
    deposited: Array
    """kg/m² of fibre."""
    pressure: Array
    """Pa per side at the place; nan where the side is closed."""
    element: tuple[str, ...]
    """Name of the element at each place."""
    dry_line: float
    stock_depth: float
    grammage: float
    length: float


def along_former(formed: Formed, count: int = 90, resistance_factor: float | None = None) -> Along:
    """What has drained and been laid down at places along the former: the march cut off at each of them.

    Kept by all that it hangs on: where only the dryer moves, it is what it was.
    """
    around = formed.around
    given = (formed.part, formed.arriving, formed.into, around.stock, around.water, around.furnish, formed.dry_line)
    try:
        key = key_of((*given, count, resistance_factor))
    except NoKey:  # numbers of a worksheet
        return _along_former(formed, count, resistance_factor)
    return _along_kept(Asked(key, (formed, count, resistance_factor)))


@lru_cache(maxsize=8)
def _along_kept(asked: Asked) -> Along:
    return _along_former(*asked.about)


def _along_former(formed: Formed, count: int, resistance_factor: float | None) -> Along:
    stock = formed.around.stock
    elements, _ = formed.part.build(formed.arriving)
    lengths = np.array([float(e.length) for e in elements])
    starts = np.concatenate([[0.0], np.cumsum(lengths)[:-1]])
    places = _places(lengths, starts, count, formed)
    share = np.where(
        lengths[:, None] > 0,
        np.clip((places - starts[:, None]) / np.where(lengths > 0, lengths, 1.0)[:, None], 0.0, 1.0),
        (places >= starts[:, None] - 1e-12).astype(float),
    )
    reached = ((places > starts[:, None]) | ((lengths[:, None] == 0) & (places >= starts[:, None] - 1e-12))).astype(
        float
    )
    with worksheet(False):
        drained = drain(
            [_cut(e, share[i], reached[i]) for i, e in enumerate(elements)],
            resistance_factor=stock.resistance_factor if resistance_factor is None else resistance_factor,
            **formed.part.march_fields(formed.into, formed.around),
        )  # fmt: skip
    at = np.clip(np.searchsorted(starts, places, side="right") - 1, 0, len(elements) - 1)
    at = np.array([_long(lengths, int(i)) for i in at])
    left = drained.stock_depth - drained.drained
    pressure = np.stack(
        [_pressure(elements, at, places - starts[at], lengths, left, formed, side) for side in (0, 1)], axis=-1
    )
    return Along(
        place=places, drained=drained.drained, drained_side=drained.drained_side, deposited=drained.deposited,
        pressure=pressure, element=tuple(elements[i].name for i in at), dry_line=float(formed.dry_line),
        stock_depth=float(drained.stock_depth[0]), grammage=float(formed.into.fibre), length=float(lengths.sum()),
    )  # fmt: skip


def _long(lengths: Array, i: int) -> int:
    """The element with a length at or before this one."""
    while i > 0 and lengths[i] == 0:
        i -= 1
    return i


def _places(lengths: Array, starts: Array, count: int, formed: Formed) -> Array:
    """Places dense where forming goes on, and just before and behind every element's start."""
    total = float(lengths.sum())
    even = np.linspace(0.0, total, count)
    near = np.array([])
    if np.isfinite(float(formed.dry_line)):
        near = np.concatenate([float(formed.dry_line) * np.linspace(0.0, 1.0, 40) ** 2, [float(formed.dry_line)]])
    edges = starts[1:] if len(starts) <= 24 else starts[1::2][:60]
    both = np.concatenate([even, near, edges, edges + 1e-6 * total])
    return np.unique(np.clip(both, 0.0, total))


def _cut(element: Element, share: Array, reached: Array) -> Element:
    """An element of which only a share has been passed, case by case; behind the place nothing acts."""

    def law(side: Law | None) -> Law | None:
        if side is None:
            return None
        return replace(
            side,
            load=(side.load + side.head * (1.0 - share)) * reached,
            head=side.head * share * reached,
            gravity=side.gravity * reached,
            curvature=side.curvature * reached,
        )

    return replace(
        element, length=element.length * share, wire_side=law(element.wire_side), back_side=law(element.back_side),
        nip_radius=element.nip_radius * reached,
    )  # fmt: skip


def _pressure(
    elements: list[Element], at: NDArray[np.intp], along: Array, lengths: Array, depth: Array, formed: Formed, side: int
) -> Array:
    """Pressure that a side's law gives at each place with the depth left there."""
    density, speed, gravity = float(formed.around.water.density), float(formed.into.speed), value("gravity")
    found = np.full(len(at), np.nan)
    for i, number in enumerate(at):
        law = (elements[number].wire_side, elements[number].back_side)[side]
        if law is None:
            continue
        fallen = 1.0 - along[i] / lengths[number] if lengths[number] > 0 else 1.0
        found[i] = (
            float(law.load)
            + float(law.head) * fallen
            + float(law.gravity) * density * gravity * depth[i]
            - float(law.curvature) * density * depth[i] * speed**2
        )
    return found


class NipProfile(NamedTuple):
    """Pressure through one nip."""

    name: str
    place: Array
    """m from the ingoing side."""
    pressure: Array
    """Pa."""
    mean: float


def along_nips(pressed: Pressed, count: int = 81) -> list[NipProfile]:
    """Pressure through each nip: its own profile with the run's own peak."""
    found = []
    share = np.linspace(0.0, 1.0, count)
    with worksheet(False):
        for part, did in zip(pressed.part.nip, pressed.nips, strict=True):
            mean = float(did.nip_pressure)
            shape = part.pressure_profile(share, float(did.peak_pressure) / mean)
            found.append(NipProfile(part.name, share * float(did.nip_width), shape * mean, mean))
    return found
