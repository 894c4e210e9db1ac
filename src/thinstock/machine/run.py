"""The order in which a machine's sections are run, once, from the demand at the reel down to the reel.

Only order and bookkeeping: every number comes from a section or a labelled relation. A search (what holds the reel
dryness) runs muted and the chain is then run once more at its answer.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.errors import Fault, Refused
from thinstock.formula.label import range_watch, same, worksheet
from thinstock.formula.traced import constant, convention, found
from thinstock.kernels import dryer as dryer_kernel
from thinstock.machine.remember import remembering
from thinstock.relations import (
    balance,
    contact_drying,
    creping,
    jet,
    joints,
    pressing,
    steam,
    wet_end,
)
from thinstock.relations.hood import UNREACHABLE
from thinstock.words.quantity import Num

SPEEDS_TRIED = (0.5, 60.0)
_HOLD = {"nothing": 0, "hood temperature": 1, "steam pressure": 2, "speed": 0}


@dataclass(frozen=True, kw_only=True, eq=False)
class WetEnd:
    """Everything up to the press exit."""

    wire_speed: Num
    felt_speed: Num
    reel_speed: Num
    grammage_wire: Num
    grammage_felt: Num
    grammage_yankee: Num
    atmospheric_pressure: Num
    resistance: Num
    water: Any
    retention_parts: Any
    return_share: Num
    web_fines_share: Num
    retention: Num
    delivery: Any
    formed: Any
    boxes_formed: Any
    """True where only the wire boxes behind the former finished the forming."""
    moisture_into_vacuum: Num
    slots: tuple[Any, ...]
    moisture_into_press: Num
    nips: tuple[Any, ...]
    moisture_pressed: Num
    steamed: Any
    """What a steam box did, or None."""
    temperature_pressed: Num


def run_wet_end(machine: Any, *, single: bool, band: bool) -> WetEnd:
    """Demand upwards, then stock, headbox, former, vacuum and press downwards."""
    speed = machine.speed
    grade, stock, loop = machine.grade, machine.stock, machine.loop
    reel_speed = grade.reel_speed(speed)
    wire_speed = joints.speed_before_draw(speed, machine.forming.wire_draw)
    felt_speed = joints.speed_before_draw(speed, machine.press.felt_draw)
    on_wire = jet.grammage_on_wire(grade.reel_grammage, grade.reel_dryness, reel_speed, wire_speed)
    on_felt = jet.grammage_on_wire(grade.reel_grammage, grade.reel_dryness, reel_speed, felt_speed)
    width_ratio = convention(1.0, "equal widths of Yankee and reel")
    on_yankee = creping.grammage_yankee(grade.reel_grammage, grade.reel_dryness, grade.crepe, width_ratio)
    pressure = machine.site.atmospheric_pressure()
    resistance = stock.specific_resistance()
    water = stock.water()
    kept = stock.retention_of(on_wire)
    shower = balance.share_of(loop.wire_shower, balance.fibre_flow(on_wire, wire_speed))

    def upstream(dryness: Num) -> tuple[Num, Num, Num, Any]:
        back = wet_end.return_share_loop(
            stock.fines_share, kept.long, kept.fines, machine.headbox.consistency, stock.thick_consistency,
            loop.reject_share, dryness, shower,
        )  # fmt: skip
        share = wet_end.fines_share_of_web(stock.fines_share, kept.long, kept.fines, back, loop.reject_share)
        total = wet_end.retention_total_of_web(share, kept.long, kept.fines)
        delivered = machine.headbox.run(
            grammage=on_wire, wire_speed=wire_speed, retention=total, density=water.density,
            reject_share=loop.reject_share,
        )  # fmt: skip
        return back, share, total, delivered

    def form(total: Num, delivered: Any, further: tuple[Any, ...] = (), with_band: bool = False) -> Any:
        return machine.forming.run(
            grammage=on_wire, speed=wire_speed, consistency=machine.headbox.consistency, retention=total,
            viscosity=water.viscosity, density=water.density, stock=stock, delivery=delivered,
            resistance=resistance, single=single, band=with_band, further=further,
        )  # fmt: skip

    with worksheet(False):
        _, _, total, delivered = upstream(np.float64(0.12))
        first = form(total, delivered)
        dryness_first = np.maximum(np.where(first.formed, first.dryness, 0.12), 0.02)[()]
    dryness_first = found("dryness leaving the former, for the white-water loop", dryness_first)
    return_share, web_share, total, delivered = upstream(dryness_first)
    formed = form(total, delivered, with_band=band)
    late: Any = np.zeros_like(np.asarray(formed.formed))
    wire_slots = [s for s in machine.vacuum.slot if s.carrier == "wire"]
    if wire_slots and not np.all(formed.formed):
        boxed = form(total, delivered, machine.vacuum.forming_boxes(formed.around), with_band=band)
        late = np.logical_and(~np.asarray(formed.formed), boxed.formed)
        formed = boxed if single else _merged_formed(formed, boxed, ~np.asarray(formed.formed))
    moisture = formed.moisture_ratio
    if not single:
        moisture = np.where(formed.formed, moisture, 6.0)
    slots: tuple[Any, ...] = ()
    nips: tuple[Any, ...] = ()
    into_press, pressed = moisture, moisture
    steamed: Any = None
    if not single or formed.formed:
        slots = machine.vacuum.run(
            moisture_ratio=moisture, grammage=on_felt, speed=felt_speed, density=water.density, stock=stock,
            resistance=resistance, fabric_resistance=formed.fabric_resistance, atmospheric_pressure=pressure,
        )  # fmt: skip
        into_press = slots[-1].moisture_ratio_out if slots else moisture
        felt_slots = [s for s in machine.vacuum.slot if s.carrier == "felt"]
        uptake = joints.felt_uptake(formed.water_to_felt, delivered.stock_depth, formed.depth_leaving, water.density)
        nips, steamed = machine.press.run(
            moisture_ratio=into_press, grammage=on_felt, speed=felt_speed, temperature=stock.temperature,
            yankee_diameter=machine.yankee.diameter if machine.yankee is not None else None,
            atmospheric_pressure=pressure, uptake=uptake, felt_vacuum=felt_slots[-1] if felt_slots else None,
        )  # fmt: skip
        pressed = nips[-1].moisture_ratio_out
    return WetEnd(
        wire_speed=wire_speed, felt_speed=felt_speed, reel_speed=reel_speed, grammage_wire=on_wire,
        grammage_felt=on_felt, grammage_yankee=on_yankee, atmospheric_pressure=pressure, resistance=resistance,
        water=water, retention_parts=kept, return_share=return_share, web_fines_share=web_share, retention=total,
        delivery=delivered, formed=formed, boxes_formed=late, moisture_into_vacuum=moisture, slots=slots,
        moisture_into_press=into_press, nips=nips, moisture_pressed=pressed,
        steamed=steamed,
        temperature_pressed=stock.temperature if steamed is None else steamed.temperature,
    )  # fmt: skip


def _merged_formed(plain: Any, boxed: Any, use_boxed: Any) -> Any:
    """Case by case, the former alone or the former with the wire boxes behind it."""
    fields: dict[str, Any] = {}
    for name in plain._fields:
        a, b = getattr(plain, name), getattr(boxed, name)
        if name in ("shares_water", "shares_fibre"):
            a = np.concatenate([a, np.zeros((len(a), 1))], axis=1)
            fields[name] = np.where(use_boxed[:, None], b, a)
        elif isinstance(a, np.ndarray) and a.ndim == 1 and a.shape == use_boxed.shape:
            fields[name] = np.where(use_boxed, b, a)
        else:
            fields[name] = a
    return type(plain)(**fields)


@dataclass(frozen=True, kw_only=True, eq=False)
class DryEnd:
    """What Yankee and hood did; `dried` is the kernel's own record (None without a Yankee)."""

    dried: Any
    moisture_ratio_out: Num
    sheet_temperature: Num
    dryness_out: Num
    evaporation: Num
    shell_load: Num
    steam_heat: Num
    latent_heat: Num
    final_moisture_ratio: Num
    status: Num


def _dry(**given: Any) -> Any:
    """The dryer kernel, its refusal in the machine's own words."""
    try:
        return dryer_kernel.dry(**given)
    except ValueError as error:
        raise Refused(
            Fault(
                field="hood.exhaust_humidity",
                value=f"{float(np.max(given['exhaust_humidity'])):.4g} kg/kg",
                bound=str(error),
                remedy="Lower hood.exhaust_humidity, raise hood.jet_velocity or hood.leakage, or dry more water.",
            )
        ) from error


def run_dry_end(machine: Any, wet: WetEnd, *, single: bool, fast: bool, hold: int) -> DryEnd:
    """Yankee and hood (or a dryer of stated specific energy) on the pressed web."""
    wanted = pressing.moisture_ratio_from_dryness(machine.grade.reel_dryness)
    if machine.yankee is None:
        evaporation = creping.evaporation_mass_balance(
            wet.grammage_yankee,
            machine.speed,
            moisture_ratio_in=wet.moisture_pressed,
            moisture_ratio_out=wanted,
        )
        heat = balance.part_of(machine.dryer.heat_per_water, evaporation)
        return DryEnd(
            dried=None, moisture_ratio_out=wanted, sheet_temperature=convention(373.15, "dried sheet at 100 °C"),
            dryness_out=machine.grade.reel_dryness, evaporation=evaporation, shell_load=convention(0.0, "none"),
            steam_heat=heat, latent_heat=machine.dryer.heat_per_water, final_moisture_ratio=wanted,
            status=np.zeros(np.shape(evaporation), dtype=int)[()],
        )  # fmt: skip
    yankee, hood, site = machine.yankee, machine.hood, machine.site
    dry, wet_side = yankee.contact()
    load = contact_drying.shell_load_coating(
        yankee.coating_water, yankee.speed, yankee.coating_temperature,
        constant("water_heat_capacity_sheet"), steam.latent_heat_fit(convention(373.15, "boiling water")),
    )  # fmt: skip
    steps = convention([2, 8, 2] if fast else [4, 40, 4], "steps of the drying march")
    turn = joints.circumference(yankee.diameter)
    before = balance.part_of(hood.start, turn)
    covered = balance.part_of(hood.covered, turn)
    arc = contact_drying.arc_length(yankee.diameter, yankee.wrap)
    after = joints.rest_of_wrap(arc, before, covered)
    limit = yankee.steam_pressure_limit
    if hold == 1:
        lowest = hood.air_temperature_lowest
        highest = (
            hood.air_temperature_limit
            if hood.air_temperature_limit is not None
            else convention(783.15, "hottest hood air a search tries where no limit is given")
        )
    else:
        lowest = joints.least_steam_pressure(wet.atmospheric_pressure)
        highest = limit if limit is not None else yankee.steam_pressure
    dried = _dry(
        moisture_ratio=wet.moisture_pressed,
        sheet_temperature=wet.temperature_pressed,
        grammage=wet.grammage_yankee,
        yankee_speed=yankee.speed,
        contact_coefficient_dry=dry,
        contact_coefficient_wet=wet_side,
        moisture_scale=yankee.moisture_scale,
        fibre_heat_capacity=constant("fibre_heat_capacity_dry"),
        isotherm=0 if yankee.isotherm == "Heikkilä" else 1,
        steam_pressure=yankee.steam_pressure,
        condensate_coefficient=yankee.condensate_coefficient,
        shell_resistance=yankee.shell_resistance(),
        yankee_diameter=yankee.diameter,
        bare_coefficient=yankee.bare_coefficient,
        room_temperature=site.room_temperature,
        shell_load=load,
        atmospheric_pressure=wet.atmospheric_pressure,
        open_length_before=before,
        hood_length=covered,
        open_length_after=after,
        open_heat_transfer_coefficient=hood.open_coefficient,
        open_air_temperature=hood.open_temperature,
        open_humidity=hood.open_humidity,
        jet_velocity=hood.jet_velocity,
        nozzle_diameter=hood.nozzle_diameter,
        jet_open_area=hood.jet_open_area,
        nozzle_gap=hood.nozzle_gap,
        contraction=hood.contraction,
        hood_factor=hood.hood_factor,
        plate_offset=hood.plate_offset,
        emissivity=hood.emissivity,
        film_sheet_temperature=hood.film_sheet_temperature,
        air_temperature=hood.air_temperature,
        exhaust_humidity=hood.exhaust_humidity,
        leakage=hood.leakage,
        make_up_temperature=hood.make_up_temperature,
        make_up_humidity=site.room_humidity,
        room_humidity=site.room_humidity,
        hood_loss_share=hood.hood_loss_share,
        fan_pressure_rise=hood.fan_pressure,
        fan_efficiency=hood.fan_efficiency,
        fan_heat_share=hood.fan_heat_share,
        lower_heating_value=hood.lower_heating_value,
        combustion_water_ratio=hood.combustion_water_ratio,
        gas_fired=convention(hood.heating == "gas", "hood heated by gas: 1, by steam: 0"),
        steps=steps,
        tolerance=convention(1e-5 if fast else 1e-8, "tolerance of a drying step"),
        hold=hold,
        final_moisture_ratio=wanted,
        lowest=lowest,
        highest=highest,
    )
    if single:
        dried = type(dried)(*[same(v[0], v) if np.ndim(v) else v for v in dried])
    latent = steam.latent_heat_fit(dried.steam_temperature)
    return DryEnd(
        dried=dried,
        moisture_ratio_out=dried.moisture_ratio,
        sheet_temperature=dried.sheet_temperature,
        dryness_out=pressing.dryness_from_moisture_ratio(dried.moisture_ratio),
        evaporation=dried.evaporation,
        shell_load=load,
        steam_heat=joints.steam_heat_yankee(dried.contact_heat, dried.bare_heat, load, yankee.head_loss_share),
        latent_heat=latent,
        final_moisture_ratio=wanted,
        status=dried.status,
    )


def held_by_speed(machine: Any, *, fast: bool) -> tuple[Any, Any]:
    """The machine at the speed that gives the reel dryness with hood and steam as set, and a status (0 found)."""
    cases = machine.cases()
    aim = np.broadcast_to(machine.grade.reel_dryness, (cases or 1,)).astype(float)
    quiet = dataclasses.replace(machine, hold_reel_dryness_by="nothing")
    highest = machine.yankee.speed_limit if machine.yankee.speed_limit is not None else SPEEDS_TRIED[1]
    low = np.full(aim.shape, SPEEDS_TRIED[0])
    high = np.broadcast_to(highest, aim.shape).astype(float).copy()
    columns = {name: v for name, v in quiet.addresses() if isinstance(v, np.ndarray) and v.ndim == 1}
    close = 1e-5 if fast else 1e-7

    def gap(speed: Any, rows: Any) -> Any:
        trial = quiet.with_({**{name: v[rows] for name, v in columns.items()}, machine.speed_address: speed[rows]})
        with worksheet(False):
            wet = run_wet_end(trial, single=False, band=False)
            dry = run_dry_end(trial, wet, single=False, fast=fast, hold=0)
        ok = np.asarray(wet.formed.formed) & np.isfinite(dry.moisture_ratio_out)
        wetness = np.log(np.maximum(dry.moisture_ratio_out, 1e-9) / (1 / aim[rows] - 1))
        return np.where(ok, wetness, 50.0)

    everything = np.arange(len(aim))
    g_low, g_high = gap(low, everything), gap(high, everything)
    status = np.where(g_high <= 0, 1, np.where(g_low > 0, -1, 0))
    found_speed = high.copy()
    rows = np.flatnonzero(status == 0)
    for _ in range(60):
        if not rows.size:
            break
        a, b, g_a, g_b = low[rows], high[rows], g_low[rows], g_high[rows]
        middle = np.where(
            np.isfinite(g_b) & (np.abs(g_b) < 40),
            a - g_a * (b - a) / np.where(g_b == g_a, 1.0, g_b - g_a),
            0.5 * (a + b),
        )
        found_speed[rows] = np.clip(middle, a + 1e-3 * (b - a), b - 1e-3 * (b - a))
        g = gap(found_speed, rows)
        wet_side = g > 0
        low[rows] = np.where(wet_side, a, found_speed[rows])
        g_low[rows] = np.where(wet_side, g_a * 0.5, g)
        high[rows] = np.where(wet_side, found_speed[rows], b)
        g_high[rows] = np.where(wet_side, g, g_b * np.where(np.abs(g_b) < 40, 0.5, 1.0))
        rows = rows[(np.abs(g) >= close) & (high[rows] - low[rows] >= 1e-9)]
    speed = np.where(status == 1, highest, np.where(status == -1, SPEEDS_TRIED[0], found_speed))
    value = np.float64(speed[0]) if cases is None else speed
    code = int(status[0]) if cases is None else status
    return quiet.with_({machine.speed_address: value}), code


def _dried_or_refused(machine: Any, wet: WetEnd, *, fast: bool, hold: int) -> DryEnd:
    """The dry end of one case; a hood whose air cannot be as damp as wanted is refused in the machine's own words."""
    try:
        return run_dry_end(machine, wet, single=True, fast=fast, hold=hold)
    except ValueError as error:
        if str(error) != UNREACHABLE:
            raise
        raise Refused(
            Fault(
                field="hood.exhaust_humidity",
                value=f"{float(machine.hood.exhaust_humidity):.3g} kg/kg",
                bound="cannot be reached: the sheet gives too little water for these jets and this make-up air",
                remedy="Lower the exhaust humidity or the jet velocity.",
            )
        ) from error


def run_chain(machine: Any, *, fast: bool = False) -> Any:
    """Run the machine and put its result together."""
    from thinstock.machine.assemble import assemble

    cases = machine.cases()
    single = cases is None
    speed_status: Any = None
    running = machine
    if machine.hold_reel_dryness_by == "speed" and machine.yankee is not None:
        running, speed_status = held_by_speed(machine, fast=fast)
    hold = _HOLD[machine.hold_reel_dryness_by]
    if not single:
        with range_watch() as watch:
            wet = run_wet_end(running, single=False, band=False)
            dry = run_dry_end(running, wet, single=False, fast=fast, hold=hold)
            return assemble(machine, running, wet, dry, None, watch, speed_status)
    with worksheet() as sheet:
        known = remembering(running, sheet)
        wet = run_wet_end(known, single=True, band=True)
        after: DryEnd | None = None
        if wet.formed.formed:
            after = _dried_or_refused(known, wet, fast=fast, hold=hold)
        result = assemble(machine, known, wet, after, sheet, None, speed_status)
        return dataclasses.replace(result, machine=running)
