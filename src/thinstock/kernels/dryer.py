"""Yankee, hood and their common state in one go: shell temperature and jet humidity found together.

`dry` is what the machine calls. It sets up an open stretch, the hood and another open stretch, marches the
sheet round, closes the hood's balance and, when asked, moves the hood temperature or the steam pressure until
the sheet leaves at the moisture wanted. Everything is per metre of width. Strength of the shell is no part of
it.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from thinstock.formula.label import Array, Num, relation
from thinstock.kernels.compiled import over_cases
from thinstock.kernels.dryer_march import ROW, dry_cases
from thinstock.relations.hood import UNREACHABLE

CHUNK = 8192
"""Cases put into one table at a time."""


class Dried(NamedTuple):
    """Sheet, shell, hood air and heats of a dryer, with the cases on the only axis (numbers for one case)."""

    moisture_ratio: Any
    sheet_temperature: Any
    contact_heat: Any
    convective_heat: Any
    radiative_heat: Any
    evaporation: Any
    vapour_enthalpy_flow: Any
    desorption_heat: Any
    surface_temperature: Any
    mean_flux: Any
    steam_temperature: Any
    air_temperature: Any
    steam_pressure: Any
    status: Any
    jet_humidity: Any
    exhaust_humidity: Any
    exhaust: Any
    make_up: Any
    leak: Any
    recirculation: Any
    jet_dry_air: Any
    return_temperature: Any
    gas_power: Any
    combustion_water: Any
    fan_power: Any
    hood_loss: Any
    fan_heat: Any
    sheet_heat: Any
    bare_heat: Any
    evaluations: Any
    converged: Any


FIELDS = Dried._fields


@relation(
    gives=FIELDS,
    kind="march",
    formula="""grammage*yankee_speed*du/ds = -m
        surface_temperature = steam_temperature - mean_flux*(1/condensate_coefficient + shell_resistance)
        water = make_up*make_up_humidity + leak*room_humidity + evaporation + combustion_water
        exhaust*exhaust_humidity = water
        moisture_ratio = final_moisture_ratio, by air_temperature (hold 1) or steam_pressure (hold 2)""",
    source="DERIVED",
    where="march, shell and hood balance joined",
    status="derived",
)
def dry(
    *,
    moisture_ratio: Num,
    sheet_temperature: Num,
    grammage: Num,
    yankee_speed: Num,
    contact_coefficient_dry: Num,
    contact_coefficient_wet: Num,
    moisture_scale: Num,
    fibre_heat_capacity: Num,
    isotherm: Num,
    steam_pressure: Num,
    condensate_coefficient: Num,
    shell_resistance: Num,
    yankee_diameter: Num,
    bare_coefficient: Num,
    room_temperature: Num,
    shell_load: Num,
    atmospheric_pressure: Num,
    open_length_before: Num,
    open_length_after: Num,
    open_heat_transfer_coefficient: Num,
    open_air_temperature: Num,
    open_humidity: Num,
    hood_length: Num,
    jet_velocity: Num,
    nozzle_diameter: Num,
    jet_open_area: Num,
    nozzle_gap: Num,
    contraction: Num,
    hood_factor: Num,
    plate_offset: Num,
    emissivity: Num,
    film_sheet_temperature: Num,
    air_temperature: Num,
    exhaust_humidity: Num,
    leakage: Num,
    make_up_temperature: Num,
    make_up_humidity: Num,
    room_humidity: Num,
    hood_loss_share: Num,
    fan_pressure_rise: Num,
    fan_efficiency: Num,
    fan_heat_share: Num,
    lower_heating_value: Num,
    combustion_water_ratio: Num,
    gas_fired: Num,
    steps: Num,
    tolerance: float,
    hold: int,
    final_moisture_ratio: Num,
    lowest: Num,
    highest: Num,
) -> Dried:
    """Dry a sheet on a Yankee under a hood, with shell temperature and jet humidity found together.

    Picture: sheet, shell and ring of hot air settle with each other. Use for: the machine, and many cases at
    once. Not for: two hood halves with different air. In print: nowhere joined like this. Made from: the
    drying march, the shell's mean flux and the hood balance, each closing to rounding.

    All arguments are numbers or arrays over the cases, in SI; `steps` (three whole numbers: open, hood,
    open), `tolerance` and `hold` are common to all cases. `hold`: 0 nothing, 1 hood air temperature (the
    nozzle plate follows at `plate_offset` below), 2 steam pressure; what is held moves between `lowest` and
    `highest` (in its own unit) until the sheet leaves with `final_moisture_ratio`. `status`: 0 reached (or
    nothing held), 1 still too wet at the bound of most drying, -1 over-dried even at the bound of least.
    Heats are W/m, air kg dry air/(s m); `gas_power` is the heat the hood air takes from its burner, or from
    its heater when `gas_fired` is 0 (no combustion water). `evaluations` counts marches. `hood_length` 0 is a
    Yankee without a hood: no hood air, no gas. One case with a humidity that cannot be reached is refused;
    among arrays such a case has `converged` False.
    """
    values = dict(locals())
    whole = np.asarray(steps)
    if whole.shape != (3,) or np.any(whole < 1) or np.any(whole != np.floor(whole)):
        raise ValueError(f"steps: three whole numbers of at least 1 are needed, got {steps!r}")
    if hold not in (0, 1, 2):
        raise ValueError(f"hold: 0 nothing, 1 hood air temperature, 2 steam pressure; got {hold!r}")
    if np.any(
        np.add(open_length_before, np.add(hood_length, open_length_after))
        > np.multiply(np.pi * (1.0 + 1e-9), yankee_diameter)
    ):
        raise ValueError("the stretches are together longer than the Yankee's circumference; shorten the wrap")
    values["pressure"] = values.pop("atmospheric_pressure")
    columns = [np.asarray(values.get(name, 0.0), dtype=float) for name in ROW]
    shape = np.broadcast_shapes(*(column.shape for column in columns))
    if len(shape) > 1:
        raise ValueError(f"values may carry one axis, the cases; got the shape {shape}")
    cases = shape[0] if shape else 1
    columns = [np.broadcast_to(column, (cases,)) for column in columns]
    out = np.empty((len(FIELDS), cases))

    def work(start: int, stop: int) -> None:
        for first in range(start, stop, CHUNK):
            last = min(first + CHUNK, stop)
            rows = np.empty((last - first, len(ROW)))
            for i, column in enumerate(columns):
                rows[:, i] = column[first:last]
            results = np.empty((last - first, len(FIELDS)))
            dry_cases(rows, whole.astype(np.int64), float(tolerance), int(hold), results)
            out[:, first:last] = results.T

    over_cases(work, cases, least=500)
    if shape == ():
        return _single(out[:, 0])
    given: dict[str, Any] = dict(zip(FIELDS, out, strict=True))
    whole_numbers = {name: given[name].astype(np.int64) for name in ("status", "evaluations")}
    return Dried(**{**given, **whole_numbers, "converged": given["converged"] > 0.0})


def _single(row: Array) -> Dried:
    given: dict[str, Any] = {name: float(value) for name, value in zip(FIELDS, row, strict=True)}
    if given["converged"] < 0.0:
        raise ValueError(UNREACHABLE)
    given["status"], given["evaluations"] = int(given["status"]), int(given["evaluations"])
    given["converged"] = given["converged"] > 0.0
    return Dried(**given)
