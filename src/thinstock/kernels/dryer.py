"""Yankee, hood and their common state in one go: shell temperature and jet humidity found together.

`dry` is what the machine calls. It sets up an open stretch, the hood and another open stretch, marches the
sheet round, closes the hood's balance and, when asked, moves the hood temperature or the steam pressure until
the sheet leaves at the moisture wanted. Everything is per metre of width. Strength of the shell is no part of
it.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from thinstock.formula.label import Array, derived
from thinstock.formula.record import takes
from thinstock.kernels.abreast_marches import dry_cases
from thinstock.kernels.compiled import distinct, over_cases
from thinstock.kernels.dryer_input import DryerInput, in_columns, refuse_overlong, refused, whole_steps
from thinstock.kernels.dryer_lanes import dry_many, side_by_side
from thinstock.kernels.dryer_march import MARCHES, ROW, STATUS
from thinstock.kernels.dryer_search import Way
from thinstock.kernels.dryer_start import no_start, surface_of
from thinstock.relations.hood import unreachable

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
    moisture_ratio_light: Any
    moisture_ratio_inner_light: Any
    moisture_ratio_mean: Any
    moisture_ratio_inner_heavy: Any
    moisture_ratio_heavy: Any
    make_up_temperature: Any


FIELDS = Dried._fields


@derived(
    """grammage*yankee_speed*du/ds = -m
        surface_temperature = steam_temperature - mean_flux*(1/condensate_coefficient + shell_resistance)
        water = make_up*make_up_humidity + leak*room_humidity + evaporation + combustion_water
        exhaust*exhaust_humidity = water
        moisture_ratio = final_moisture_ratio, by air_temperature (hold 1) or steam_pressure (hold 2)""",
    gives=FIELDS,
    kind="march",
    where="march, shell and hood balance joined",
)
@takes(DryerInput)
def dry(given: DryerInput) -> Dried:
    """Dry a sheet on a Yankee under a hood, with shell temperature and jet humidity found together.

    Picture: sheet, shell and ring of hot air settle with each other. Use for: the machine, and many cases at
    once. Not for: two hood halves with different air. In print: nowhere joined like this. Made from: the
    drying march, the shell's mean flux and the hood balance, each closing to rounding.

    What goes in is a `DryerInput`, or its fields by name. `status`: 0 reached (or nothing held), 1 still too wet at
    the bound of most drying, -1 over-dried even at the bound of least. Heats are W/m, air kg dry air/(s m);
    `gas_power` is the heat the hood air takes from its burner, or from its heater when `gas_fired` is 0 (no combustion
    water). `evaluations` counts marches. `hood_length` 0 is a Yankee without a hood: no hood air, no gas. One case
    with a humidity that cannot be reached is refused; among arrays such a case has `converged` False.
    """
    whole = whole_steps(given.steps, 3)
    if given.hold not in (0, 1, 2):
        bound = "0 nothing, 1 hood air temperature, 2 steam pressure"
        raise refused("hold", "hold", repr(given.hold), bound)
    _refuse_uneven(given)
    lengths = np.add(given.open_length_before, np.add(given.hood_length, given.open_length_after))
    refuse_overlong("hood_length", lengths, given.yankee_diameter)
    shape, columns = in_columns({name: getattr(given, name) for name in ROW})
    every = len(columns[0])
    if given.among is not None:
        columns = [column[given.among] for column in columns]
    kept, back = distinct(columns, len(columns[0]))
    columns = [column[kept] for column in columns]
    cases = len(columns[0])
    out = np.empty((len(FIELDS), cases))
    way = Way(whole, float(given.tolerance), int(given.hold), int(given.spots), int(given.chained))
    many = side_by_side(cases, way)
    surface = surface_of(columns, way) if many else None

    def work(start: int, stop: int) -> None:
        for first in range(start, stop, CHUNK):
            last = min(first + CHUNK, stop)
            rows = np.empty((last - first, len(ROW)))
            for i, column in enumerate(columns):
                rows[:, i] = column[first:last]
            results = np.empty((last - first, len(FIELDS)))
            begin = surface.at(rows, first) if surface is not None else no_start(last - first)
            (dry_many if many else dry_cases)(rows, way, begin, results)
            out[:, first:last] = results.T

    over_cases(work, cases, least=500)
    if shape == ():
        return _single(out[:, 0], given)
    out = out[:, back]
    if given.among is not None:
        some, out = out, np.full((len(FIELDS), every), np.nan)
        out[(STATUS, MARCHES), :] = 0.0
        out[:, given.among] = some
    found: dict[str, Any] = dict(zip(FIELDS, out, strict=True))
    whole_numbers = {name: found[name].astype(np.int64) for name in ("status", "evaluations")}
    return Dried(**{**found, **whole_numbers, "converged": found["converged"] > 0.0})


def _refuse_uneven(given: DryerInput) -> None:
    """Spots that would have no grammage, an exchanger better than any, spots that nobody marches."""
    v = np.asarray(given.uneven_variance, dtype=float)
    if not np.all((v >= 0.0) & (v < 0.25)):
        bound = "must lie between 0 and below 0.25: beyond it the lightest spots would have no fibre"
        raise refused("uneven", "uneven_variance", f"{float(np.max(v)):.4g}", bound, "Look for a fault in the sheet")
    if np.any(np.asarray(given.heat_recovery) > 0.9):
        bound = "no exchanger of hood air gives more than 0.9"
        raise refused("recovery", "heat_recovery", f"{float(np.max(given.heat_recovery)):.4g}", bound)
    if given.spots not in (0, 5):
        raise refused("spots", "spots", repr(given.spots), "0 read off the mean sheet's course, or 5 marched")


def _single(row: Array, given: DryerInput) -> Dried:
    found: dict[str, Any] = {name: float(value) for name, value in zip(FIELDS, row, strict=True)}
    if found["converged"] < 0.0:
        raise unreachable("exhaust_humidity", given.exhaust_humidity)
    found["status"], found["evaluations"] = int(found["status"]), int(found["evaluations"])
    found["converged"] = found["converged"] > 0.0
    return Dried(**found)
