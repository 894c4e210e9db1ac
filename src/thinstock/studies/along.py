"""What happens on the way: drainage along a former and drying round a Yankee, point by point, for one case.

Both are the very march of the run once more, read at more places; nothing is worked out here that the march does not
give. For tables, charts and worked calculations.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.kernels.drainage import Element, Law, drain
from thinstock.relation import Array, Step, worksheet

PLACES = 12
"""Stretches into which the way to the end of forming is cut for reading."""


@dataclass(frozen=True, kw_only=True, eq=False)
class AlongFormer:
    """Stock and mat at places along the forming elements; the first is where the jet lands."""

    position: Array
    """Metres from the first element."""
    time: Array
    element: tuple[str, ...]
    """Element that ends at or holds the place; the first place has that of the second."""
    pressure: Array
    """Pressure drop of the wire side at the place, Pa (nan where that side is closed)."""
    drained: Array
    """Filtrate so far, m."""
    deposited: Array
    """Fibre on the fabric so far, kg/m²."""
    depth: Array
    """Stock not yet drained, m."""
    dry_line: float
    """Place where forming ends; nan if it does not."""


@dataclass(frozen=True, kw_only=True, eq=False)
class AlongYankee:
    """Sheet at places along the wrap, from the nip to the doctor."""

    position: Array
    stretch: tuple[str, ...]
    moisture_ratio: Array
    sheet_temperature: Array
    evaporated: Array
    """Water so far, kg/(s m)."""
    from_shell: Array
    """Heat so far, W/m."""
    from_air: Array


def _cut(law: Law | None, first: float, last: float) -> Law | None:
    """The law on a stretch of an element, given as shares of its length."""
    if law is None:
        return None
    head = float(np.ravel(law.head)[0])
    load = float(np.ravel(law.load)[0]) + head * (1.0 - last)
    return dataclasses.replace(law, load=load, head=head * (last - first))


def _pieces(elements: Sequence[Element], end: float, places: int) -> list[Element]:
    """The same former in shorter elements up to `end`, so that the march tells what each took."""
    made: list[Element] = []
    start = 0.0
    for element in elements:
        length = _number(element.length)
        inside = min(length, max(0.0, end - start))
        count = max(1, round(places * inside / end)) if length > 0 and inside > 0 else 1
        ends = [inside * k / count for k in range(1, count + 1)] if inside > 0 else []
        if inside < length:
            ends.append(length)
        before = 0.0
        for stop in ends or [length]:
            first, last = (before / length, stop / length) if length > 0 else (0.0, 1.0)
            made.append(
                dataclasses.replace(
                    element,
                    length=stop - before,
                    wire_side=_cut(element.wire_side, first, last),
                    back_side=_cut(element.back_side, first, last),
                )
            )
            before = stop
        start += length
    return made


def _number(value: Any) -> float:
    return float(np.ravel(value)[0])


def along_former(inputs: Mapping[str, Any], places: int = PLACES) -> AlongFormer:
    """The drainage march with these inputs (those of `drain`), read at so many places up to the end of forming."""
    given = dict(inputs)
    elements = given.pop("elements")
    speed, grammage = _number(given["speed"]), _number(given["grammage"])
    whole = sum(_number(e.length) for e in elements)
    with worksheet(False):
        dry_line = float(drain(elements, **given).dry_line[0])
        formed = np.isfinite(dry_line)
        pieces = _pieces(elements, (dry_line if formed else whole) * (1 - 1e-6), places)
        found = drain(pieces, **given)
        deposited = _deposited(pieces, given, grammage)
    position = np.concatenate([[0.0], np.cumsum([_number(p.length) for p in pieces])])
    drained = np.concatenate([[0.0], np.cumsum(np.sum(found.white_water[0], axis=-1))])
    depth = np.maximum(_number(found.stock_depth) - drained, 0.0)
    if formed:
        depth = np.where(position >= dry_line, 0.0, depth)
    return AlongFormer(
        position=position,
        time=position / speed,
        element=(pieces[0].name, *(p.name for p in pieces)),
        pressure=_pressures(pieces, depth, given),
        drained=drained,
        deposited=deposited,
        depth=depth,
        dry_line=dry_line,
    )


def _deposited(pieces: Sequence[Element], given: Mapping[str, Any], grammage: float) -> Array:
    """Fibre on the fabric after each stretch: the former ended there."""
    found = [0.0]
    for k in range(len(pieces)):
        so_far = drain(pieces[: k + 1], **given)
        found.append(float(so_far.deposited[0]))
        if np.isfinite(so_far.dry_line[0]):
            found += [grammage] * (len(pieces) - k - 1)
            break
    return np.array(found)


def _pressures(pieces: Sequence[Element], depth: Array, given: Mapping[str, Any]) -> Array:
    """Pressure drop of the wire side where each stretch begins, and where the last one ends."""
    from thinstock.constants import gravity

    density, speed = _number(given["density"]), _number(given["speed"])
    found = []
    for k in range(len(depth)):
        law = pieces[min(k, len(pieces) - 1)].wire_side
        if law is None:
            found.append(np.nan)
            continue
        begins = 1.0 if k < len(pieces) else 0.0
        carried = density * depth[k] * (_number(law.gravity) * gravity - _number(law.curvature) * speed**2)
        found.append(_number(law.load) + begins * _number(law.head) + carried)
    return np.array(found)


STRETCHES = ("before the hood", "under the hood", "behind the hood")


def along_yankee(inputs: Mapping[str, Any], output: Any) -> AlongYankee:
    """The drying march with these inputs (those of `dry`) and the shell, air and humidity that `dry` found."""
    from thinstock.kernels.yankee import profile
    from thinstock.relations import gas_side

    i = {name: _number(value) if name != "steps" else value for name, value in inputs.items()}
    pressure = i["atmospheric_pressure"]
    rows = []
    with worksheet(False):
        still = gas_side.gas_side_given(
            i["open_heat_transfer_coefficient"], i["open_air_temperature"], i["open_humidity"],
            i["film_sheet_temperature"], pressure,
        )  # fmt: skip
        air = _number(output.air_temperature)
        blown = gas_side.gas_side_hole_array(
            air, _number(output.jet_humidity), i["jet_velocity"], i["nozzle_diameter"], i["jet_open_area"],
            i["nozzle_gap"], i["contraction"], i["hood_factor"], i["film_sheet_temperature"], pressure,
        )  # fmt: skip
        for length, side, temperature, plate, grey in (
            (i["open_length_before"], still, i["open_air_temperature"], i["open_air_temperature"], 0.0),
            (i["hood_length"], blown, air, air - i["plate_offset"], i["emissivity"]),
            (i["open_length_after"], still, i["open_air_temperature"], i["open_air_temperature"], 0.0),
        ):
            rows.append(
                [length, side.heat_transfer_coefficient, side.mass_transfer_coefficient, temperature,
                 side.vapour_pressure_air, plate, grey, side.heat_capacity]
            )  # fmt: skip
        steps = [int(s) for s in np.ravel(i["steps"])]
        went = profile(
            i["moisture_ratio"], i["sheet_temperature"], i["grammage"], i["yankee_speed"],
            _number(output.surface_temperature), i["contact_coefficient_dry"], i["contact_coefficient_wet"],
            i["moisture_scale"], np.array(rows, dtype=float), steps, pressure, i["fibre_heat_capacity"],
            i["isotherm"], i["tolerance"],
        )  # fmt: skip
    names = [n for n, row, count in zip(STRETCHES, rows, steps, strict=True) for _ in range(count) if row[0] > 0]
    return AlongYankee(
        position=went.position,
        stretch=(names[0], *names),
        moisture_ratio=went.moisture_ratio,
        sheet_temperature=went.sheet_temperature,
        evaporated=went.evaporation,
        from_shell=went.contact_heat,
        from_air=went.convective_heat + went.radiative_heat,
    )


def step_of(result: Any, formula: str) -> Step | None:
    """The last use of a formula in a run of one case, not counting uses inside another."""
    if result.worksheet is None:
        return None
    return next((s for s in reversed(result.worksheet.steps) if s.label.name == formula and s.parent is None), None)


def former_of(result: Any, places: int = PLACES) -> AlongFormer | None:
    """Drainage along the former of a run; None where the run kept no worksheet."""
    step = step_of(result, "drainage.drain")
    return None if step is None else along_former(step.inputs, places)


def yankee_of(result: Any) -> AlongYankee | None:
    """Drying round the Yankee of a run; None where there is none."""
    step = step_of(result, "dryer.dry")
    return None if step is None else along_yankee(step.inputs, step.output)
