"""Drying of a sheet on a Yankee: the march round the wrap, the shell's balance, and searches on it.

One lumped node of sheet goes along the path under stretches with given surroundings; the shell has one
temperature, from the heat flux averaged over the turn. Thin sheet, no variation across the machine. Absolute
speeds are good to about 15 % before calibration. Pressure and strength of the vessel are no part of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from thinstock.formula.label import Array, Num, derived
from thinstock.kernels.compiled import faced, njit, over_cases
from thinstock.kernels.dryer_input import (
    SheetInput,
    YankeeInput,
    in_columns,
    refuse_overlong,
    refused,
    whole_steps,
)
from thinstock.kernels.yankee_march import CASE, FIELDS, U, V, balance, between, march, narrow

EQUATIONS = """grammage*yankee_speed*du/ds = -m
    wet_heat_capacity = grammage*(fibre_heat_capacity + u*water_heat_capacity_sheet)
    wet_heat_capacity*yankee_speed*dT/ds = q - m*(latent_heat_fit(T) + heat_of_sorption(u, T))
    q = h_c(u)*(surface_temperature - T) + h*ackermann_factor(m*c_v/h)*(T_air - T) + radiative_flux_grey
    m = mass_conductance_stefan*log((p - p_v)/(p - water_activity(u, T)*saturation_pressure_if97(T)))"""
SHELL = """
    surface_temperature = steam_temperature - mean_flux*(1/condensate_coefficient + shell_resistance)
    bare = bare_coefficient*(surface_temperature - room_temperature)*(pi*yankee_diameter - length)
    mean_flux = (contact_heat + bare + shell_load)/(pi*yankee_diameter)"""
WHERE = "lumped sheet, one-sided diffusion, mean flux through the shell; two-stage implicit steps of second order"


class Marched(NamedTuple):
    """The sheet at the doctor and what it took on its way (per metre of width)."""

    moisture_ratio: Any
    sheet_temperature: Any
    contact_heat: Any
    convective_heat: Any
    radiative_heat: Any
    evaporation: Any
    vapour_enthalpy_flow: Any
    desorption_heat: Any


class Balanced(NamedTuple):
    """As `Marched`, with the shell that goes with it."""

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


class Profile(NamedTuple):
    """Values at the nodes of the path; heats and evaporation are those so far."""

    position: Any
    moisture_ratio: Any
    sheet_temperature: Any
    contact_heat: Any
    convective_heat: Any
    radiative_heat: Any
    evaporation: Any
    vapour_enthalpy_flow: Any
    desorption_heat: Any


class Found(NamedTuple):
    """Answer of a search: 0 found; 1 not limiting up to the end tried; -1 not reached at the easiest end."""

    value: Any
    status: Any
    evaluations: Any


_one_march = faced(lambda *_: 1)(march)


@faced(lambda rows, *_: len(rows))
def _march_cases(rows: Num, walls: Num, segments: Num, steps: Num, tolerance: Num, out: Num) -> None:
    none = np.empty((0, 9))
    for i in range(rows.shape[0]):
        march(rows[i], walls[i], segments[i % segments.shape[0]], steps, tolerance, out[i], none)


@faced(lambda rows, *_: len(rows))
def _balance_cases(rows: Num, segments: Num, steps: Num, tolerance: Num, out: Num) -> None:
    none = np.empty((0, 9))
    for i in range(rows.shape[0]):
        balance(rows[i], 0.0, segments[i % segments.shape[0]], steps, tolerance, out[i], none)


@njit
def _excess(c: Num, where: Num, x: Num, start: Num, wanted: Num, g: Num, out: Num, none: Num) -> Num:
    """ln(u_out/u_wanted) at x, the logarithm of what is searched for; g is segments, steps, tolerance."""
    c[where] = np.exp(x)
    balance(c, start, g[0], g[1], g[2], out, none)
    return np.log(out[0] / wanted)


@faced(lambda rows, *_: len(rows))
def _search_cases(rows: Num, ends: Num, where: Num, segments: Num, steps: Num, tolerance: Num, found: Num) -> None:
    """Largest speed or wettest entering sheet; wanted moisture, low and high end in `ends`."""
    none = np.empty((0, 9))
    out = np.empty(10)
    close = max(1e-7, 10.0 * tolerance)
    for i in range(rows.shape[0]):
        c = rows[i].copy()
        given = (segments[i % segments.shape[0]], steps, tolerance)
        wanted = ends[i, 0]
        a, b = np.log(ends[i, 1]), np.log(ends[i, 2])
        fa = _excess(c, where, a, 0.0, wanted, given, out, none)
        if fa > 0.0:
            found[i, 0], found[i, 1], found[i, 2] = ends[i, 1], -1.0, 1.0
            continue
        fb = _excess(c, where, b, out[8], wanted, given, out, none)
        if fb <= 0.0:
            found[i, 0], found[i, 1], found[i, 2] = ends[i, 2], 1.0, 2.0
            continue
        x = b
        evaluations = 2.0
        for _ in range(60):
            x = between(a, fa, b, fb)
            fx = _excess(c, where, x, out[8], wanted, given, out, none)
            evaluations += 1.0
            if abs(fx) <= close or abs(b - a) <= 1e-13 * abs(b):
                break
            a, fa, b, fb = narrow(a, fa, b, fb, x, fx)
        found[i, 0], found[i, 1], found[i, 2] = np.exp(x), 0.0, evaluations


def _rows(given: SheetInput, further: dict[str, Num]) -> tuple[bool, Array, Array, list[Array]]:
    """Whether all are numbers, rows in the order of `CASE`, stretches, and the further values as columns."""
    stretches = np.ascontiguousarray(np.asarray(given.segments, dtype=float))
    if stretches.ndim not in (2, 3) or stretches.shape[-1] != 8:
        raise refused("segments", "segments", f"shape {stretches.shape}", "stretches of eight numbers are needed")
    words = given.words()
    mine = {name: words[name] for name in CASE if name in words}
    shape, columns = in_columns(mine | further, stretches.shape[:-2])
    rows = np.zeros((len(columns[0]), len(CASE)))
    for name, column in zip(mine, columns, strict=False):
        rows[:, CASE.index(name)] = column
    if isinstance(given, YankeeInput):
        length = np.sum(stretches[..., 0], axis=-1)
        refuse_overlong("segments", length, given.yankee_diameter)
    return shape == (), rows, stretches if stretches.ndim == 3 else stretches[np.newaxis], columns[len(mine) :]


def _part(stretches: Array, start: int, stop: int) -> Array:
    return stretches if len(stretches) == 1 else stretches[start:stop]


def _fields(out: Array, single: bool, count: int) -> list[Any]:
    return [float(out[0, i]) if single else out[:, i].copy() for i in range(count)]


@derived(EQUATIONS, gives=FIELDS[:8], kind="march", where=WHERE)
def march_sdirk2(
    moisture_ratio: Num,
    sheet_temperature: Num,
    grammage: Num,
    yankee_speed: Num,
    surface_temperature: Num,
    contact_coefficient_dry: Num,
    contact_coefficient_wet: Num,
    moisture_scale: Num,
    segments: Num,
    steps: Num,
    pressure: Num,
    fibre_heat_capacity: Num,
    isotherm: Num,
    tolerance: float,
) -> Marched:
    """A sheet marched round a shell of given temperature.

    Picture: one point of the sheet rides round and is asked every few centimetres what it gains and loses.
    Use for: the sheet under known surroundings. Not for: thick sheets with a moisture profile through them.
    In print: lumped drying models of many forms. Made from: the four equations; the falling rate comes from
    the isotherm alone.
    """
    words = dict(locals())
    walls = words.pop("surface_temperature")
    return marched(SheetInput(**words), walls)


def marched(given: SheetInput, surface_temperature: Num) -> Marched:
    """The march of `march_sdirk2` for the record of a sheet."""
    single, rows, stretches, (walls,) = _rows(given, {"surface_temperature": surface_temperature})
    whole = whole_steps(given.steps, stretches.shape[1])
    walls = np.ascontiguousarray(walls)
    out = np.empty((len(rows), 10))

    def work(start: int, stop: int) -> None:
        part = _part(stretches, start, stop)
        _march_cases(rows[start:stop], walls[start:stop], part, whole, float(given.tolerance), out[start:stop])

    over_cases(work, len(rows))
    return Marched(*_fields(out, single, 8))


def profile(
    moisture_ratio: Num,
    sheet_temperature: Num,
    grammage: Num,
    yankee_speed: Num,
    surface_temperature: Num,
    contact_coefficient_dry: Num,
    contact_coefficient_wet: Num,
    moisture_scale: Num,
    segments: Num,
    steps: Num,
    pressure: Num,
    fibre_heat_capacity: Num,
    isotherm: Num,
    tolerance: float,
) -> Profile:
    """The same march for one case, with its values at every node of the path."""
    words = dict(locals())
    walls = words.pop("surface_temperature")
    return profiled(SheetInput(**words), walls)


def profiled(given: SheetInput, surface_temperature: Num) -> Profile:
    """The march of `profile` for the record of a sheet."""
    _, rows, stretches, (walls,) = _rows(given, {"surface_temperature": surface_temperature})
    if len(rows) != 1:
        raise refused("one_case", "surface_temperature", f"{len(rows)} cases", "a profile is drawn for one at a time")
    whole = whole_steps(given.steps, stretches.shape[1])
    nodes = 1 + int(np.sum(whole[stretches[0, :, 0] > 0.0]))
    record = np.empty((nodes, 9))
    _one_march(rows[0], float(walls[0]), stretches[0], whole, float(given.tolerance), np.empty(10), record)
    return Profile(*(record[:, i].copy() for i in range(9)))


@derived(EQUATIONS + SHELL, gives=FIELDS, kind="march", where=WHERE)
def balance_mean_flux(
    moisture_ratio: Num,
    sheet_temperature: Num,
    grammage: Num,
    yankee_speed: Num,
    contact_coefficient_dry: Num,
    contact_coefficient_wet: Num,
    moisture_scale: Num,
    segments: Num,
    steps: Num,
    pressure: Num,
    fibre_heat_capacity: Num,
    isotherm: Num,
    tolerance: float,
    steam_temperature: Num,
    condensate_coefficient: Num,
    shell_resistance: Num,
    yankee_diameter: Num,
    bare_coefficient: Num,
    room_temperature: Num,
    shell_load: Num,
) -> Balanced:
    """Sheet and shell in agreement: the march at the shell temperature that its own mean flux gives.

    Picture: the more the sheet takes, the cooler the shell. Use for: a Yankee with known hood air. Not for:
    local shell temperatures or start-up. In print: resistances in series. Made from: the march, and the flux
    of sheet, bare arc and coating averaged over the turn; secant on the shell temperature, usually four
    marches.
    """
    return balanced(YankeeInput(**locals()))


def balanced(given: YankeeInput) -> Balanced:
    """The balance of `balance_mean_flux` for the record of sheet and shell."""
    single, rows, stretches, _ = _rows(given, {})
    whole = whole_steps(given.steps, stretches.shape[1])
    out = np.empty((len(rows), 10))

    def work(start: int, stop: int) -> None:
        part = _part(stretches, start, stop)
        _balance_cases(rows[start:stop], part, whole, float(given.tolerance), out[start:stop])

    over_cases(work, len(rows))
    return Balanced(*_fields(out, single, 10))


def _search(where: int, given: YankeeInput, final_dryness: Num, low: Num, high: Num) -> Found:
    """Move the number at `where` in the rows between low and high until the sheet leaves as wanted."""
    dryness = np.asarray(final_dryness, dtype=float)
    ends = {"final_dryness": (1.0 - dryness) / dryness, "lowest": low, "highest": high}
    single, rows, stretches, columns = _rows(given, ends)
    whole = whole_steps(given.steps, stretches.shape[1])
    edges = np.stack(columns, axis=-1)
    if not np.all((edges[:, 0] > 0.0) & (edges[:, 1] > 0.0) & (edges[:, 2] > edges[:, 1])):
        bound = "must lie between 0 and 1, and the search needs 0 < lowest < highest"
        raise refused("ends", "final_dryness", str(final_dryness), bound)
    found = np.empty((len(rows), 3))

    def work(start: int, stop: int) -> None:
        part = _part(stretches, start, stop)
        _search_cases(
            rows[start:stop], edges[start:stop], where, part, whole, float(given.tolerance), found[start:stop]
        )

    over_cases(work, len(rows), least=200)
    if single:
        return Found(float(found[0, 0]), int(found[0, 1]), int(found[0, 2]))
    return Found(found[:, 0].copy(), found[:, 1].astype(int), found[:, 2].astype(int))


@derived(
    EQUATIONS + SHELL + "\n    u(end) = 1/final_dryness - 1, by yankee_speed",
    gives=Found._fields,
    kind="march",
    where="false position on ln(u/u_wanted) over the logarithm of speed",
)
def speed_for_dryness(
    final_dryness: Num,
    lowest_speed: Num,
    highest_speed: Num,
    *,
    moisture_ratio: Num,
    sheet_temperature: Num,
    grammage: Num,
    contact_coefficient_dry: Num,
    contact_coefficient_wet: Num,
    moisture_scale: Num,
    segments: Num,
    steps: Num,
    pressure: Num,
    fibre_heat_capacity: Num,
    isotherm: Num,
    tolerance: float,
    steam_temperature: Num,
    condensate_coefficient: Num,
    shell_resistance: Num,
    yankee_diameter: Num,
    bare_coefficient: Num,
    room_temperature: Num,
    shell_load: Num,
) -> Found:
    """Largest Yankee speed at which the sheet still leaves at the dryness wanted.

    Picture: speed up until the sheet comes off too wet. Use for: the drying limit at fixed product and hood
    air. Not for: entering moisture that changes with speed, which the machine's own limit loops in. In print:
    nowhere. Made from: the balance. Status 1: drying does not limit up to the highest speed; -1: too wet at
    the lowest.
    """
    words = dict(locals())
    dryness, low, high = (words.pop(name) for name in ("final_dryness", "lowest_speed", "highest_speed"))
    return _search(V, YankeeInput(**words, yankee_speed=1.0), dryness, low, high)


@derived(
    EQUATIONS + SHELL + "\n    u(end) = 1/final_dryness - 1, by moisture_ratio",
    gives=Found._fields,
    kind="march",
    where="false position on ln(u/u_wanted) over the logarithm of entering moisture",
)
def moisture_ratio_for_dryness(
    final_dryness: Num,
    lowest_moisture_ratio: Num,
    highest_moisture_ratio: Num,
    *,
    sheet_temperature: Num,
    grammage: Num,
    yankee_speed: Num,
    contact_coefficient_dry: Num,
    contact_coefficient_wet: Num,
    moisture_scale: Num,
    segments: Num,
    steps: Num,
    pressure: Num,
    fibre_heat_capacity: Num,
    isotherm: Num,
    tolerance: float,
    steam_temperature: Num,
    condensate_coefficient: Num,
    shell_resistance: Num,
    yankee_diameter: Num,
    bare_coefficient: Num,
    room_temperature: Num,
    shell_load: Num,
) -> Found:
    """Wettest entering sheet that still leaves at the dryness wanted.

    Picture: how much work the press may leave over. Use for: what press dryness a speed needs. Not for: other
    hood air at other loads. In print: nowhere. Made from: the balance. Status 1: dry enough even at the
    wettest tried; -1: too wet even at the driest.
    """
    words = dict(locals())
    dryness, low, high = (
        words.pop(name) for name in ("final_dryness", "lowest_moisture_ratio", "highest_moisture_ratio")
    )
    return _search(U, YankeeInput(**words, moisture_ratio=1.0), dryness, low, high)


@derived(
    EQUATIONS + SHELL + "\n    u(end) = 1/final_dryness - 1, by air_temperature",
    gives=Found._fields,
    kind="march",
    where="false position on ln(u/u_wanted) over hood air temperature",
)
def air_temperature_for_dryness(
    final_dryness: float,
    lowest_air_temperature: float,
    highest_air_temperature: float,
    segments_at: Callable[[float], Array],
    *,
    moisture_ratio: float,
    sheet_temperature: float,
    grammage: float,
    yankee_speed: float,
    contact_coefficient_dry: float,
    contact_coefficient_wet: float,
    moisture_scale: float,
    steps: Num,
    pressure: float,
    fibre_heat_capacity: float,
    isotherm: float,
    tolerance: float,
    steam_temperature: float,
    condensate_coefficient: float,
    shell_resistance: float,
    yankee_diameter: float,
    bare_coefficient: float,
    room_temperature: float,
    shell_load: float,
) -> Found:
    """Lowest hood air temperature that gives the dryness wanted. For one case.

    Picture: turn the burner down until the sheet just comes off right. Use for: a hood whose jet humidity is
    known; `segments_at` gives the stretches at a temperature. Not for: cases in arrays. In print: nowhere.
    Made from: the balance. Status 1: dry enough even at the lowest temperature; -1: too wet even at the
    highest.
    """
    words = dict(locals())
    ends = [words.pop(name) for name in ("final_dryness", "highest_air_temperature", "lowest_air_temperature")]
    segments_at = words.pop("segments_at")
    given = YankeeInput(**words, segments=segments_at(float(ends[1])))
    return _by_air_temperature(given, segments_at, *ends)


def _by_air_temperature(
    given: YankeeInput, segments_at: Callable[[float], Array], final_dryness: float, hottest: float, coolest: float
) -> Found:
    """False position on ln(u/u_wanted) between the hottest and the coolest air."""
    wanted = (1.0 - final_dryness) / final_dryness
    close = max(1e-7, 10.0 * given.tolerance)
    evaluations = 0

    def excess(temperature: float) -> float:
        nonlocal evaluations
        evaluations += 1
        return float(np.log(balanced(replace(given, segments=segments_at(temperature))).moisture_ratio / wanted))

    a, b = float(hottest), float(coolest)
    fa = excess(a)
    if fa > 0.0:
        return Found(a, -1, evaluations)
    fb = excess(b)
    if fb <= 0.0:
        return Found(b, 1, evaluations)
    x = b
    for _ in range(60):
        x = between(a, fa, b, fb)
        fx = excess(x)
        if abs(fx) <= close or abs(b - a) <= 1e-12 * abs(b):
            break
        a, fa, b, fb = narrow(a, fa, b, fb, x, fx)
    return Found(x, 0, evaluations)
