"""Puts a run's result together: stations, consumers, the price of water, headline numbers and notes.

Every headline number is handed on verbatim from the section or relation that made it, so that its working can be
followed back to the machine file.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from thinstock.formula.traced import convention
from thinstock.machine.remarks import remarks
from thinstock.machine.result import Consumer, Result, Station, WaterPrice
from thinstock.machine.streams import all_streams, without_sheet
from thinstock.relations import (
    balance,
    circulation,
    creping,
    joints,
    pressing,
    pumping,
)
from thinstock.words.quantity import Num

STAGES = ("forming", "vacuum", "press", "evaporation", "drives")


def stations_of(machine: Any, wet: Any, dry: Any) -> tuple[Station, ...]:
    """Headbox to reel."""
    temperature = machine.stock.temperature
    consistency = machine.headbox.consistency
    first = Station(
        name="headbox", dryness=consistency, moisture_ratio=balance.water_per_fibre_stock(consistency),
        grammage=wet.grammage_wire, temperature=temperature, speed=wet.delivery.jet_speed,
    )  # fmt: skip
    formed = wet.formed
    rows = [
        first,
        Station(
            name="end of the former", dryness=formed.dryness, moisture_ratio=formed.moisture_ratio,
            grammage=wet.grammage_wire, temperature=temperature, speed=wet.wire_speed,
        ),
    ]  # fmt: skip
    if dry is None:
        names = [s.name for s in machine.vacuum.slot] + [n.name for n in machine.press.nip] + ["reel"]
        return (*rows, *(Station(name=n, dryness=None, moisture_ratio=None, grammage=None, temperature=None,
                                 speed=None) for n in names))  # fmt: skip
    for slot in wet.slots:
        rows.append(
            Station(
                name=slot.name, dryness=pressing.dryness_from_moisture_ratio(slot.moisture_ratio_out),
                moisture_ratio=slot.moisture_ratio_out, grammage=wet.grammage_felt, temperature=temperature,
                speed=wet.felt_speed,
            )
        )  # fmt: skip
    for nip in wet.nips:
        rows.append(
            Station(
                name=nip.name, dryness=nip.dryness, moisture_ratio=nip.moisture_ratio_out,
                grammage=wet.grammage_felt, temperature=wet.temperature_pressed, speed=wet.felt_speed,
            )
        )  # fmt: skip
    place = "crepe doctor" if machine.yankee is not None else "dryer exit"
    rows.append(
        Station(
            name=place, dryness=dry.dryness_out, moisture_ratio=dry.moisture_ratio_out,
            grammage=wet.grammage_yankee, temperature=dry.sheet_temperature, speed=machine.speed,
        )
    )  # fmt: skip
    reel_fibre = joints.grammage_at_speed(wet.grammage_yankee, machine.speed, wet.reel_speed)
    rows.append(
        Station(
            name="reel", dryness=dry.dryness_out, moisture_ratio=dry.moisture_ratio_out, grammage=reel_fibre,
            temperature=dry.sheet_temperature, speed=wet.reel_speed,
        )
    )  # fmt: skip
    return tuple(rows)


def consumers_of(machine: Any, wet: Any, dry: Any, production: Num) -> tuple[Consumer, ...]:
    """Every computed user of electricity, steam and gas."""

    def user(name: str, stage: str, kind: str, power: Num) -> Consumer:
        return Consumer(
            name=name,
            stage=stage,
            kind=kind,
            power=power,
            per_mass=balance.energy_per_mass(power, production),
        )

    rows = [user("fan pump", "forming", "electricity", wet.delivery.electricity)]
    if dry is None:
        return tuple(rows)
    for slot in wet.slots:
        rows.append(user(f"vacuum, {slot.name}", "vacuum", "electricity", slot.electricity))
    if wet.steamed is not None:
        box = machine.press.steam_box
        flow = balance.water_flow_from_area(box.steam_dose, wet.felt_speed)
        rows.append(user("steam box", "press", "steam", joints.power_of_steam(flow, box.steam_enthalpy)))
    for nip, part in zip(wet.nips, machine.press.nip, strict=True):
        if hasattr(part.surface, "vacuum"):
            rows.append(user(f"vacuum, {nip.name}", "press", "electricity", nip.suction_electricity))
        rows.append(user(f"vacuum, felt boxes of {nip.name}", "press", "electricity", nip.box_electricity))
        rows.append(user(f"felt drag, {nip.name}", "press", "electricity", nip.box_drag_electricity))
    if dry.dried is None:
        rows.append(user("dryer heat", "evaporation", "steam", dry.steam_heat))
        return tuple(rows)
    yankee, hood = machine.yankee, machine.hood
    rows.append(user("Yankee steam", "evaporation", "steam", dry.steam_heat))
    heat_kind = "gas" if hood.heating == "gas" else "steam"
    rows.append(user("hood heat" if heat_kind == "steam" else "hood gas", "evaporation", heat_kind,
                     dry.dried.gas_power))  # fmt: skip
    fans = pumping.motor_input_power(dry.dried.fan_power, hood.motor_efficiency)
    rows.append(user("hood fans", "evaporation", "electricity", fans))
    force = pumping.doctor_force(yankee.doctor_friction, yankee.doctor_load, convention(1.0, "per metre"))
    blade = pumping.motor_input_power(pumping.drive_power(force, yankee.speed), yankee.motor_efficiency)
    rows.append(user("crepe blade", "drives", "electricity", blade))
    return tuple(rows)


def _sum(parts: list[Num]) -> Num:
    if len(parts) == 1:
        return parts[0]
    return balance.sum_of(joints.stacked(*parts))


def total_of(energy: tuple[Consumer, ...], kind: str) -> Num:
    """Energy of one kind per mass of product, J/kg."""
    parts = [c.per_mass for c in energy if c.kind == kind]
    return _sum(parts) if parts else convention(0.0, f"no {kind} is used")


def prices_of(
    machine: Any, wet: Any, dry: Any, energy: tuple[Consumer, ...], production: Num
) -> tuple[WaterPrice, ...]:
    """What each stage takes, and its price: energy over water, money per product."""
    if dry is None:
        return ()
    jet_water = balance.water_per_fibre_stock(machine.headbox.consistency)
    after_vacuum = wet.moisture_into_press
    taken = {
        "forming": balance.difference(jet_water, wet.moisture_into_vacuum),
        "vacuum": balance.difference(wet.moisture_into_vacuum, after_vacuum),
        "press": balance.difference(after_vacuum, wet.moisture_pressed),
        "evaporation": balance.difference(wet.moisture_pressed, dry.moisture_ratio_out),
    }
    fibre = balance.fibre_flow(wet.grammage_wire, wet.wire_speed)
    money = {
        "electricity": machine.prices.electricity,
        "steam": machine.prices.steam,
        "gas": machine.prices.gas,
    }
    rows = []
    for stage, water in taken.items():
        users = [c for c in energy if c.stage == stage]
        power: Num = sum(c.power for c in users) if users else 0.0
        flow = water * fibre
        with np.errstate(invalid="ignore", divide="ignore"):
            per_water = np.where(np.asarray(flow) > 0, power / flow, np.nan)[()]
        known = all(money[c.kind] is not None for c in users)
        cost: Num = sum(c.per_mass * money[c.kind] for c in users) if users and known else None
        rows.append(
            WaterPrice(
                stage=stage, water_per_fibre=water, share=balance.share_of(water, jet_water),
                energy_per_water=per_water, money_per_mass=cost,
            )
        )  # fmt: skip
    return tuple(rows)


def headline_values(machine: Any, wet: Any, dry: Any, energy: tuple[Consumer, ...], production: Num) -> dict[str, Any]:
    """Named numbers, SI, each the very object its relation returned."""
    delivery, formed, grade = wet.delivery, wet.formed, machine.grade
    values: dict[str, Any] = {
        "speed": machine.speed,
        "reel_grammage": grade.reel_grammage,
        "consistency": machine.headbox.consistency,
        "flow_per_width": delivery.flow_per_width,
        "headbox_flow": balance.machine_flow(delivery.flow_per_width, machine.width),
        "water_per_fibre": balance.water_per_fibre_stock(machine.headbox.consistency),
        "end_of_forming": formed.dry_line_share,
        "end_of_forming_wrap": formed.dry_line_wrap,
        "end_of_forming_slow": None if formed.resistance_high is None else formed.resistance_high[1],
        "formed": formed.formed,
        "retention": wet.retention,
        "retention_fines": wet.retention_parts.fines,
        "web_fines_share": wet.web_fines_share,
        "return_share": wet.return_share,
        "grammage_on_wire": wet.grammage_wire,
        "dryness_formed": formed.dryness,
        "drainage_impulse": formed.drainage_impulse,
        "slice_opening": delivery.slice_opening,
        "jet_thickness": delivery.jet_thickness,
        "headbox_head": delivery.headbox_head,
        "stock_depth": delivery.stock_depth,
        "jet_speed": delivery.jet_speed,
        "jet_power": delivery.jet_power,
        "fan_power": delivery.electricity,
        "depth_not_drained": formed.depth_leaving,
    }
    if dry is None:
        return values | BEHIND_FORMING | ({} if machine.yankee is None else ON_YANKEE)
    last = wet.nips[-1]
    showers = balance.sum_of_two(
        machine.loop.wire_shower, balance.water_flow_from_area(machine.press.felt.shower, wet.felt_speed)
    )
    values |= {
        "production": balance.machine_flow(production, machine.width),
        "production_average": creping.production_reel(
            grade.reel_grammage, wet.reel_speed, machine.reel.trim_width, machine.reel.efficiency
        ),
        "reel_moisture": joints.moisture_from_dryness(dry.dryness_out),
        "reel_moisture_wanted": joints.moisture_from_dryness(grade.reel_dryness),
        "reel_dryness_reached": dry.dryness_out,
        "hold_status": dry.status,
        "dryness_into_press": pressing.dryness_from_moisture_ratio(wet.moisture_into_press),
        "dryness_press": last.dryness,
        "press_impulse": last.press_impulse,
        "nip_pressure": last.nip_pressure,
        "nip_saturation": last.nip_saturation,
        "share_flow": last.share_flow,
        "share_rewet": last.share_rewet,
        "evaporation": dry.evaporation,
        "steam_per_product": total_of(energy, "steam"),
        "gas_per_product": total_of(energy, "gas"),
        "electricity_per_product": total_of(energy, "electricity"),
        "fresh_water_per_product": circulation.specific_water(showers, production),
    }
    if dry.dried is not None:
        d = dry.dried
        values |= {
            "air_temperature": d.air_temperature,
            "steam_pressure": d.steam_pressure,
            "surface_temperature": d.surface_temperature,
            "drying_rate": creping.drying_rate_wrapped(dry.evaporation, machine.yankee.diameter, machine.yankee.wrap),
            "jet_humidity": d.jet_humidity,
            "exhaust_humidity": d.exhaust_humidity,
            "exhaust": d.exhaust,
            "gas_power": balance.machine_power(d.gas_power, machine.width),
            "steam_flow": pumping_steam(dry),
        }
    return values


def pumping_steam(dry: Any) -> Num:
    """Steam condensed in the Yankee, kg/(s m)."""
    from thinstock.relations import steam

    return steam.steam_flow_condensing(dry.steam_heat, dry.latent_heat)


def assemble(machine: Any, running: Any, wet: Any, dry: Any, sheet: Any, watch: Any, speed_status: Any) -> Result:
    """The result of one run (`running` is the machine at the speed that was found, if speed was the holder)."""
    single = sheet is not None
    whole = creping.production_reel(
        running.grade.reel_grammage,
        wet.reel_speed,
        running.reel.trim_width,
        convention(1.0, "while running"),
    )
    production = balance.flow_shared_over_width(whole, running.width)
    energy = consumers_of(running, wet, dry, production)
    values = headline_values(running, wet, dry, energy, production)
    if speed_status is not None:
        values["hold_status"] = speed_status
    streams = all_streams(running, wet, dry)
    if not single:
        streams = without_sheet(streams, np.asarray(wet.formed.formed))
    thick = next(s for s in streams if s.name == "thick")
    values["thick_temperature"] = thick.temperature
    if not single:
        values = _masked(values, np.asarray(wet.formed.formed))
    notes = remarks(running, wet, dry, values, sheet, watch)
    return Result(
        machine=running, single=single, values=values, stations=stations_of(running, wet, dry), streams=streams,
        energy=energy, water_prices=prices_of(running, wet, dry, energy, production), notes=notes,
        worksheet=sheet,
        wet=wet, dry=dry, held_by=machine.hold_reel_dryness_by, asked=machine, watch=watch,
    )  # fmt: skip


BEFORE_FORMING = frozenset(
    {"speed", "reel_grammage", "consistency", "flow_per_width", "headbox_flow", "water_per_fibre", "end_of_forming",
     "end_of_forming_wrap", "formed", "retention", "retention_fines", "web_fines_share", "return_share",
     "grammage_on_wire", "dryness_formed", "drainage_impulse", "slice_opening", "jet_thickness", "headbox_head",
     "stock_depth", "jet_speed", "jet_power", "fan_power", "depth_not_drained", "reel_moisture_wanted"}
)  # fmt: skip
"""Numbers that exist whether or not a sheet was formed."""

BEHIND_FORMING = dict.fromkeys(
    ("production", "production_average", "reel_moisture", "reel_moisture_wanted", "reel_dryness_reached", "hold_status",
     "dryness_into_press", "dryness_press", "press_impulse", "nip_pressure", "nip_saturation", "share_flow",
     "share_rewet", "evaporation", "steam_per_product", "gas_per_product", "electricity_per_product",
     "fresh_water_per_product")
)  # fmt: skip
"""Numbers that need a sheet; none where none was formed."""

ON_YANKEE = dict.fromkeys(
    ("air_temperature", "steam_pressure", "surface_temperature", "drying_rate", "jet_humidity", "exhaust_humidity",
     "exhaust", "gas_power", "steam_flow")
)  # fmt: skip
"""Those of a Yankee with its hood."""


def _masked(values: dict[str, Any], formed: Any) -> dict[str, Any]:
    """No sheet, no number: cases that did not form carry nan behind the former."""
    if np.all(formed):
        return values
    masked: dict[str, Any] = {}
    for name, value in values.items():
        if name in BEFORE_FORMING or value is None or isinstance(value, str):
            masked[name] = value
        elif np.asarray(value).dtype.kind in "fi" and name != "hold_status":
            masked[name] = np.where(formed, value, np.nan)
        else:
            masked[name] = value
    return masked
