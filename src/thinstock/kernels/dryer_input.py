"""What a caller of the drying marches gives, brought into rows; refuses what cannot be.

The order of the fields of a record is that of its row; only `SETTINGS` stand outside it, common to all cases.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thinstock.errors import Fault, KernelRefused
from thinstock.formula.label import Array, Num
from thinstock.formula.record import InputRecord

SETTINGS = ("segments", "steps", "tolerance", "hold", "spots", "chained", "among")


@dataclass(frozen=True, kw_only=True, eq=False)
class SheetInput(InputRecord):
    """A sheet on its way round a Yankee, SI; `segments` are stretches of eight numbers (`hood.SEGMENT`)."""

    moisture_ratio: Num
    sheet_temperature: Num
    grammage: Num
    yankee_speed: Num
    contact_coefficient_dry: Num
    contact_coefficient_wet: Num
    moisture_scale: Num
    pressure: Num
    fibre_heat_capacity: Num
    isotherm: Num
    segments: Num
    steps: Num
    tolerance: float


@dataclass(frozen=True, kw_only=True, eq=False)
class YankeeInput(SheetInput):
    """A sheet, and the shell that it takes its heat from."""

    steam_temperature: Num
    condensate_coefficient: Num
    shell_resistance: Num
    yankee_diameter: Num
    bare_coefficient: Num
    room_temperature: Num
    shell_load: Num


@dataclass(frozen=True, kw_only=True, eq=False)
class DryerInput(InputRecord):
    """Sheet, Yankee and hood as numbers or arrays over the cases, SI.

    `steps` (three whole numbers: open, hood, open), `tolerance` and `hold` are common to all cases. `hold`: 0 nothing,
    1 hood air temperature (the nozzle plate follows at `plate_offset` below), 2 steam pressure; what is held moves
    between `lowest` and `highest` (in its own unit) until the sheet leaves with `final_moisture_ratio`.
    `uneven_variance`: squared coefficient of variation of the local grammage that counts in the dryer, below 0.25;
    `spots` of it are marched one by one (5), or read off the mean sheet's course (0: for sweeps, up to 0.003 of
    dryness too wet; of a very uneven sheet some hundredths of the gas, and more where it is dried far beyond what is
    wanted). `chained`: the cases follow one another in small steps, so that each begins its search where the
    one before it ended; what is found is the same. `among`: the cases to dry, all if left out; of the others nothing is
    told (not a number). `heat_recovery`: effectiveness of the exchanger from exhaust to make-up air, at most 0.9; below
    0 the make-up air has `make_up_temperature`.
    """

    moisture_ratio: Num
    sheet_temperature: Num
    grammage: Num
    yankee_speed: Num
    contact_coefficient_dry: Num
    contact_coefficient_wet: Num
    moisture_scale: Num
    fibre_heat_capacity: Num
    isotherm: Num
    steam_pressure: Num
    condensate_coefficient: Num
    shell_resistance: Num
    yankee_diameter: Num
    bare_coefficient: Num
    room_temperature: Num
    shell_load: Num
    atmospheric_pressure: Num
    open_length_before: Num
    open_length_after: Num
    open_heat_transfer_coefficient: Num
    open_air_temperature: Num
    open_humidity: Num
    hood_length: Num
    jet_velocity: Num
    nozzle_diameter: Num
    jet_open_area: Num
    nozzle_gap: Num
    contraction: Num
    hood_factor: Num
    plate_offset: Num
    emissivity: Num
    film_sheet_temperature: Num
    air_temperature: Num
    exhaust_humidity: Num
    leakage: Num
    make_up_temperature: Num
    make_up_humidity: Num
    room_humidity: Num
    hood_loss_share: Num
    fan_pressure_rise: Num
    fan_efficiency: Num
    fan_heat_share: Num
    lower_heating_value: Num
    combustion_water_ratio: Num
    gas_fired: Num
    steps: Num
    tolerance: float
    hold: int
    spots: int = 5
    chained: bool = False
    among: NDArray[np.bool_] | None = None
    final_moisture_ratio: Num
    lowest: Num
    highest: Num
    uneven_variance: Num = 0.0
    heat_recovery: Num = -1.0


def row_order(record: type[InputRecord]) -> tuple[str, ...]:
    """What the numbers of a row are, in order."""
    return tuple(name for name in record.order() if name not in SETTINGS)


def in_columns(values: Mapping[str, Num], lead: tuple[int, ...] = ()) -> tuple[tuple[int, ...], list[Array]]:
    """The common shape (none, or the cases) and every value as a column of that many cases."""
    given = list(values.values())
    if not lead and all(isinstance(value, float | int) for value in given):
        return (), list(np.array(given, dtype=float)[:, np.newaxis])
    arrays = [np.asarray(value, dtype=float) for value in given]
    shape = np.broadcast_shapes(lead, *(a.shape for a in arrays))
    if len(shape) > 1:
        worst = max(values, key=lambda name: np.ndim(values[name]))
        raise refused("axes", worst, f"shape {shape}", "values may carry one axis, the cases")
    cases = shape[0] if shape else 1
    return shape, [np.broadcast_to(a, (cases,)) for a in arrays]


def whole_steps(steps: Num, stretches: int) -> Array:
    """The steps of each stretch as whole numbers."""
    whole = np.asarray(steps)
    if whole.shape != (stretches,) or np.any(whole < 1) or np.any(whole != np.floor(whole)):
        raise refused("steps", "steps", repr(steps), f"{stretches} whole numbers of at least 1 are needed")
    return whole.astype(np.int64)


def refuse_overlong(field: str, length: Num, diameter: Num) -> None:
    """No more sheet can lie on a shell than its circumference."""
    around = np.multiply(np.pi * (1.0 + 1e-9), diameter)
    if np.any(length > around):
        raise refused(
            "overlong", field, f"{float(np.max(length)):.4g} m",
            "the stretches are together longer than the Yankee's circumference", "Shorten the wrap",
        )  # fmt: skip


def refused(cause: str, field: str, value: str, bound: str, remedy: str = "") -> KernelRefused:
    """One fault as a refusal ready to raise."""
    return KernelRefused(cause, Fault(field=field, value=value, bound=bound, remedy=remedy))
