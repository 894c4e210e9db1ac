"""What a caller of the drainage march gives, brought into plain tables; refuses what cannot be.

A field that differs from case to case becomes a column; everything else is stored once, so that a million
cases of an 80-element table stay small.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from thinstock.errors import Fault, Refused
from thinstock.formula.label import Array, Num
from thinstock.formula.record import InputRecord
from thinstock.kernels.compiled import broadcast_cases
from thinstock.words.constants import value


@dataclass(frozen=True, kw_only=True, eq=False)
class Law(InputRecord):
    """What presses on one open side of an element, and through what fabric the filtrate must go.

    pressure drop = load + head·(1 − x/length) + gravity·ρ g h − curvature·ρ h v², h being the depth still
    on the fabric. The order of the fields is that of the tables.
    """

    load: Num = 0.0
    """Constant part, Pa."""
    head: Num = 0.0
    """Part that falls linearly to nothing along the element, Pa."""
    gravity: Num = 0.0
    """Share of the stock's weight that presses here."""
    curvature: Num = 0.0
    """1/radius of a path that carries the stock away from this side, 1/m."""
    fabric_resistance: Num = 0.0
    fabric_inertia: Num = 0.0
    flux_cap: Num = np.inf
    """Largest flux the element can take, m/s."""
    uptake: Num = np.inf
    """Water this side can take in all, counted from the first element, m."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Element:
    """One stretch of a former, or one table roll (`nip_radius` > 0: a pulse at a point)."""

    name: str = ""
    length: Num = 0.0
    wire_side: Law | None = None
    """The fabric that the jet first meets from the wire's side; None is closed."""
    back_side: Law | None = None
    """Felt, inner wire or top; None is closed."""
    nip_radius: Num = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class DrainageInput(InputRecord):
    """The sheet that drains, SI; the order of the fields is that of the rows of the march."""

    speed: Num
    grammage: Num
    consistency: Num
    retention: Num
    density: Num
    viscosity: Num
    resistance_coefficient: Num
    resistance_exponent: Num
    resistance_factor: Num
    mat_coefficient: Num
    mat_exponent: Num
    mat_pressure_floor: Num
    wall_density: Num
    mat_memory: Num = 0.0
    """Share of its packing that the mat keeps when a pulse is over: 0 springs back, 1 stays as packed."""
    stride: Num = 1.0
    """Length of the steps: 1 for results, longer for sweeps (2: the dry line within 4e-5) and first guesses."""


class Table(NamedTuple):
    """The elements of a former as plain numbers."""

    base: Array
    """The numbers of all elements."""
    opened: NDArray[np.bool_]
    slots: NDArray[np.int64]
    """(element, number, column) of the numbers that differ from case to case."""
    columns: Array
    """One row per differing array."""


LAW_FIELDS = Law.order()
"""The eight numbers of a side, in the order of the tables."""
_COEFFICIENT, _FACTOR = (DrainageInput.order().index(f"resistance_{name}") for name in ("coefficient", "factor"))
ROW = 2 * len(LAW_FIELDS) + 2
"""Numbers of an element: wire side, back side, length, nip radius."""

_CLOSED = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, np.inf, np.inf)
_LOWEST = np.array(2 * [-np.inf, 0.0, -np.inf, -np.inf, 0.0, 0.0, 0.0, 0.0] + [0.0, 0.0])
_ENDLESS = np.array(2 * [False, False, False, False, False, False, True, True] + [False, False])
_REMEDY = {
    "head": "Let the falling part start at 0 or more and put the rest into load",
    "flux_cap": "Leave it out where the element sets no limit",
    "uptake": "Leave it out where the side takes any amount",
    "length": "Give the length along the fabric",
}
_ABOVE_ZERO = (
    "speed",
    "grammage",
    "consistency",
    "density",
    "viscosity",
    "mat_coefficient",
    "mat_pressure_floor",
    "wall_density",
)
_mat_reference_pressure = value("mat_reference_pressure")


def _refuse(faults: list[Fault], field: str, given: Num, fine: Num, bound: str, remedy: str) -> None:
    """Add a fault if `fine` does not hold in every case."""
    if fine if isinstance(fine, bool | np.bool_) else fine.all():
        return
    values, holds = np.broadcast_arrays(np.asarray(given, dtype=float), np.asarray(fine, dtype=bool))
    worst = values[~holds].flat[0]
    faults.append(Fault(field=field, value=f"{worst:g}", bound=bound, remedy=remedy))


def _out_of_bounds(by_name: dict[str, Num]) -> list[Fault]:
    """Every number of the sheet that lies outside what it can be."""
    faults: list[Fault] = []
    for name in _ABOVE_ZERO:
        number = by_name[name]
        _refuse(faults, name, number, number > 0.0, "must be above 0", "Give a positive number")
    for name in ("resistance_coefficient", "resistance_factor", "mat_exponent"):
        number = by_name[name]
        _refuse(faults, name, number, number >= 0.0, "must not be below 0", "Give 0 or more")
    memory = by_name["mat_memory"]
    remedy = "0 springs back, 1 stays as packed"
    fine = (memory >= 0.0) & (memory <= 1.0)
    _refuse(faults, "mat_memory", memory, fine, "must lie between 0 and 1", remedy)
    retention, n = by_name["retention"], by_name["resistance_exponent"]
    between = (retention > 0.0) & (retention <= 1.0)
    remedy = "Retention is the share of the fibre that stays on the wire"
    _refuse(faults, "retention", retention, between, "must be above 0 and at most 1", remedy)
    between = (n >= 0.0) & (n <= 0.9)
    remedy = "Fit it over the pressures of the former; 0.2 to 0.75 is usual"
    _refuse(faults, "resistance_exponent", n, between, "must lie between 0 and 0.9", remedy)
    return faults


def material_rows(sheet: DrainageInput) -> Array:
    """One row per case in the order of the fields, the filtration resistance multiplied by its factor."""
    by_name = {
        name: value if isinstance(value, int | float) else np.asarray(value, dtype=float)
        for name, value in sheet.words().items()
    }
    shapes = {value.shape for value in by_name.values() if isinstance(value, np.ndarray)} - {(), (1,)}
    cases = 1
    if shapes:  # of several lengths, or of several axes: what brings them together says what is wrong with them
        shape = next(iter(shapes))
        cases = shape[0] if len(shapes) == len(shape) == 1 else broadcast_cases(*by_name.values())[0]
    faults = _out_of_bounds(by_name)
    if faults:
        raise Refused(faults)
    floor, consistency = by_name["mat_pressure_floor"], by_name["consistency"]
    loosest = by_name["mat_coefficient"] * (floor / _mat_reference_pressure) ** by_name["mat_exponent"]
    thin = by_name["retention"] * consistency * by_name["density"] < 0.9 * loosest
    bound = "stock as thick as the loosest mat (retained fibre per volume reaches 0.9 of the mat's at its floor)"
    remedy = "Dilute the stock; below that there is nothing to drain but a mat"
    _refuse(faults, "consistency", consistency, thin, bound, remedy)
    if faults:
        raise Refused(faults)
    rows = np.empty((cases, len(by_name)))
    for i, column in enumerate(by_name.values()):
        rows[:, i] = column
    rows[:, _COEFFICIENT] *= rows[:, _FACTOR]
    return rows


def _numbers(elements: Sequence[Element]) -> tuple[list[Num], NDArray[np.bool_]]:
    """All fields of all elements, one after the other, and which sides are open."""
    flat: list[Num] = []
    opened: list[bool] = []
    for element in elements:
        for law in (element.wire_side, element.back_side):
            opened.append(law is not None)
            if law is None:
                flat += _CLOSED
            else:
                flat += vars(law).values()
        flat += (element.length, element.nip_radius)
    return flat, np.array(opened, dtype=np.bool_).reshape(-1, 2)


def _plain(flat: list[Num]) -> Array:
    """The numbers as one array; an array of another shape where some differ from case to case."""
    try:
        return np.array(flat, dtype=float)
    except (ValueError, TypeError):
        return np.zeros((0, 0))


def _place(elements: Sequence[Element], row: int, column: int) -> str:
    """Where in the list of elements a number stands, for a message."""
    element = elements[row]
    named = f"elements[{row}]" + (f" ({element.name})" if element.name else "")
    if column >= 16:
        return f"{named}.{('length', 'nip_radius')[column - 16]}"
    return f"{named}.{('wire_side', 'back_side')[column // 8]}.{LAW_FIELDS[column % 8]}"


def _check_numbers(elements: Sequence[Element], base: Array, faults: list[Fault]) -> None:
    """Every number at or above its lowest, and finite where it must be."""
    bad = ~(base >= _LOWEST) | (np.isinf(base) & ~_ENDLESS)
    for row, column in np.argwhere(bad):
        lowest, number = _LOWEST[column], base[row, column]
        below = "must not be below 0" if lowest == 0.0 and not number >= 0.0 else "must be a finite number"
        field = _place(elements, int(row), int(column))
        remedy = _REMEDY.get(field.rsplit(".", 1)[-1], "")
        faults.append(Fault(field=field, value=f"{number:g}", bound=below, remedy=remedy))


def _check_fabrics(elements: Sequence[Element], faults: list[Fault]) -> None:
    """An open side must have some fabric resistance in every case."""
    fine: set[tuple[int, int]] = set()
    for row, element in enumerate(elements):
        for side, law in enumerate((element.wire_side, element.back_side)):
            if law is None or (id(law.fabric_resistance), id(law.fabric_inertia)) in fine:
                continue
            resists = (np.asarray(law.fabric_resistance) > 0.0) | (np.asarray(law.fabric_inertia) > 0.0)
            if np.all(resists):
                fine.add((id(law.fabric_resistance), id(law.fabric_inertia)))
            else:
                field = _place(elements, row, 8 * side + 4)
                remedy = "Give the fabric a viscous or an inertial resistance"
                bound = "an open side must resist the flow, this one has neither resistance nor inertia"
                faults.append(Fault(field=field, value="0", bound=bound, remedy=remedy))


def element_table(elements: Sequence[Element]) -> Table:
    """The numbers of all elements as tables."""
    if not elements:
        remedy = "Give at least one element"
        raise Refused(Fault(field="elements", value="none", bound="a former has elements", remedy=remedy))
    flat, opened = _numbers(elements)
    slots: list[tuple[int, int, int]] = []
    columns: list[Array] = []
    base = _plain(flat)
    if base.ndim != 1:
        slots, columns = _differing(elements, flat)
        base = np.array(flat, dtype=float)
    base = base.reshape(-1, ROW)
    faults: list[Fault] = []
    _check_numbers(elements, base, faults)
    halves = base[:, :16].reshape(-1, 2, 8)
    bare = opened & (halves[:, :, 4] <= 0.0) & (halves[:, :, 5] <= 0.0)
    if bare.any() or slots:
        _check_fabrics(elements, faults)
    if faults:
        raise Refused(faults)
    return Table(base, opened, np.array(slots, dtype=np.int64).reshape(-1, 3), _stacked(columns))


def _differing(elements: Sequence[Element], flat: list[Num]) -> tuple[list[tuple[int, int, int]], list[Array]]:
    """Places and columns of the numbers that are arrays; in `flat` their most doubtful value takes their place."""
    slots: list[tuple[int, int, int]] = []
    columns: list[Array] = []
    seen: dict[int, tuple[int, float, float]] = {}
    for at, number in enumerate(flat):
        if isinstance(number, float | int) or np.ndim(number) == 0:
            continue
        array = number if number.__class__ is np.ndarray and number.dtype == float else np.asarray(number, dtype=float)
        row, column = divmod(at, ROW)
        if array.ndim != 1:
            field = _place(elements, row, column)
            bound = "may carry one axis, the cases"
            raise Refused(Fault(field=field, value=f"shape {array.shape}", bound=bound))
        if id(number) not in seen:
            seen[id(number)] = len(columns), float(array.min()), float(array.max())
            columns.append(array)
        place, lowest, highest = seen[id(number)]
        slots.append((row, column, place))
        flat[at] = lowest if not lowest >= _LOWEST[column] else highest
    return slots, columns


def _stacked(columns: list[Array]) -> Array:
    """The differing arrays as rows of one table."""
    if not columns:
        return np.zeros((0, 1))
    lengths = sorted({len(c) for c in columns} - {1})
    if len(lengths) > 1:
        bound = f"arrays of {lengths[0]} and {lengths[1]} cases do not go together"
        remedy = "Give every array the same number of cases"
        raise Refused(Fault(field="elements", value=str(lengths), bound=bound, remedy=remedy))
    cases = lengths[0] if lengths else 1
    found = np.empty((len(columns), cases))
    for row, column in zip(found, columns, strict=True):
        row[:] = column
    return found


def common_cases(materials: Array, table: Table) -> tuple[Array, Table]:
    """Both with the same number of cases (one case goes with any number)."""
    columns = table.columns
    have, want = materials.shape[0], columns.shape[1]
    cases = max(have, want) if min(have, want) > 0 else 0
    if have not in (1, cases) or want not in (1, cases):
        bound = f"{have} cases of the sheet and {want} of the elements do not go together"
        remedy = "Give every array the same number of cases"
        raise Refused(Fault(field="elements", value=str(want), bound=bound, remedy=remedy))
    if have != cases:
        materials = np.array(np.broadcast_to(materials, (cases, materials.shape[1])), order="C")
    if want != cases:
        columns = np.array(np.broadcast_to(columns, (columns.shape[0], cases)), order="C")
    return materials, table._replace(columns=columns)
