"""The streams of a run, built in kilograms between the nodes of the machine, per metre of width.

Bookkeeping of what the sections found: differences and shares only. Heat is counted from liquid water, dry air and
fibre at 0 °C.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from thinstock.machine.result import OUTSIDE, Stream
from thinstock.relations import circulation, humid_air
from thinstock.words.constants import fibre_heat_capacity_dry as C_FIBRE
from thinstock.words.constants import ice_point, vaporisation_enthalpy_ice_point
from thinstock.words.constants import water_heat_capacity_sheet as C_WATER
from thinstock.words.quantity import Num


def wet_heat(fibre: Num, water: Num, temperature: Num) -> Num:
    """Heat of fibre and water, W/m."""
    return (fibre * C_FIBRE + water * C_WATER) * (temperature - ice_point)


def temperature_of(heat: Num, fibre: Num, water: Num) -> Num:
    """Temperature of fibre and water that hold this heat, K."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return ice_point + heat / (fibre * C_FIBRE + water * C_WATER)


def _wet(name: str, source: str, sink: str, fibre: Num, fines: Num, water: Num, temperature: Num) -> Stream:
    return Stream(
        name=name, source=source, sink=sink, fibre=fibre, fines=fines, water=water,
        heat=wet_heat(fibre, water, temperature), temperature=temperature,
    )  # fmt: skip


def _by_heat(name: str, source: str, sink: str, fibre: Num, fines: Num, water: Num, heat: Num) -> Stream:
    return Stream(
        name=name, source=source, sink=sink, fibre=fibre, fines=fines, water=water, heat=heat,
        temperature=temperature_of(heat, fibre, water),
    )  # fmt: skip


def _air(name: str, source: str, sink: str, dry: Num, humidity: Num, temperature: Num) -> Stream:
    return Stream(
        name=name, source=source, sink=sink, water=dry * humidity, air=dry,
        heat=dry * humid_air.enthalpy_mixture(temperature, humidity), temperature=temperature,
    )  # fmt: skip


def forming_streams(machine: Any, wet: Any) -> list[Stream]:
    """From the thick stock to the formed web."""
    jet_temperature = machine.stock.temperature
    reject = machine.loop.reject_share
    kept = wet.retention_parts
    web = wet.grammage_wire * wet.wire_speed
    web_fines = wet.web_fines_share * web
    jet_fines = web_fines / kept.fines
    jet_fibre = (web - web_fines) / kept.long + jet_fines
    jet_water = jet_fibre / machine.headbox.consistency - jet_fibre
    scale = 1 / (1 - reject)
    fan = _wet("fan", "mixing", "screens", jet_fibre * scale, jet_fines * scale, jet_water * scale, jet_temperature)
    rejected = _wet(
        "reject", "screens", OUTSIDE, fan.fibre - jet_fibre, fan.fines - jet_fines, fan.water - jet_water,
        jet_temperature,
    )  # fmt: skip
    accept = _wet("accept", "screens", "headbox", jet_fibre, jet_fines, jet_water, jet_temperature)
    jet = _wet("jet", "headbox", "forming", jet_fibre, jet_fines, jet_water, jet_temperature)
    shower = _wet(
        "wire_shower",
        OUTSIDE,
        "forming",
        0.0,
        0.0,
        machine.loop.wire_shower,
        machine.loop.wire_shower_temperature,
    )
    formed = wet.formed
    streams = [fan, rejected, accept, jet, shower]
    is_formed = np.asarray(formed.formed)
    # what leaves the former: the web, and (where it is not formed) the stock that was not drained
    leaving = _leaving(wet, web, web_fines, jet_fibre, jet_fines, jet_water)
    web_fibre, web_f, web_water = (np.where(is_formed, v, 0.0)[()] for v in leaving)
    lost_fibre, lost_f, lost_water = (np.where(is_formed, 0.0, v)[()] for v in leaving)
    web_stream = _wet("web_formed", "forming", "vacuum", web_fibre, web_f, web_water, jet_temperature)
    drained_fibre = jet_fibre - web_fibre - lost_fibre
    drained_fines = jet_fines - web_f - lost_f
    drained_water = jet_water - web_water - lost_water
    taken = formed.water_to_felt
    felt = _wet(
        "felt_uptake", "forming", "felt", taken * drained_fibre, taken * drained_fines, taken * drained_water,
        jet_temperature,
    )  # fmt: skip
    undrained = _wet("not drained", "forming", OUTSIDE, lost_fibre, lost_f, lost_water, jet_temperature)
    fibre = drained_fibre - felt.fibre
    fines = drained_fines - felt.fines
    water = drained_water - felt.water + machine.loop.wire_shower
    heat = jet.heat + shower.heat - web_stream.heat - felt.heat - undrained.heat
    if np.any(is_formed):
        streams.append(web_stream)
    if np.any(np.asarray(taken) > 0):
        streams.append(felt)
    if not np.all(is_formed):
        streams.append(undrained)
    names = [*formed.names, "boxes behind the former"]
    shares_w, shares_f = np.asarray(formed.shares_water), np.asarray(formed.shares_fibre)
    for i in range(shares_w.shape[-1]):
        part_w, part_f = shares_w[..., i], shares_f[..., i]
        if not np.any(part_w > 0):
            continue
        streams.append(
            _by_heat(
                f"forming_water: {names[i]}", "forming", "silo", (part_f * fibre)[()], (part_f * fines)[()],
                (part_w * water)[()], (part_w * heat)[()],
            )
        )  # fmt: skip
    white_flow = circulation.white_water_flow_dilution(
        fan.fibre + fan.water,
        machine.headbox.consistency,
        machine.stock.thick_consistency,
        fibre / (fibre + water),
    )
    back = white_flow / (fibre + water)
    white = _by_heat("white_water", "silo", "mixing", back * fibre, back * fines, back * water, back * heat)
    left = (fibre - white.fibre, fines - white.fines, water - white.water, heat - white.heat)
    short = np.asarray(back) > 1
    overflow = _by_heat("overflow", "silo", OUTSIDE, *(np.where(short, 0.0, v)[()] for v in left))
    borrowed = _by_heat("borrowed_white_water", OUTSIDE, "silo", *(np.where(short, -v, 0.0)[()] for v in left))
    power = Stream(name="fan_power", source=OUTSIDE, sink="mixing", heat=wet.delivery.fan_power)
    thick = _by_heat(
        "thick", OUTSIDE, "mixing", fan.fibre - white.fibre, fan.fines - white.fines, fan.water - white.water,
        fan.heat - white.heat - power.heat,
    )  # fmt: skip
    if np.any(short):
        streams.append(borrowed)
    return [thick, power, white, *streams, overflow]


def _leaving(wet: Any, web: Num, web_fines: Num, jet_fibre: Num, jet_fines: Num, jet_water: Num) -> tuple[Num, ...]:
    """Fibre, fines and water that leave the former on the wire, formed or not."""
    formed = wet.formed
    water = formed.moisture_ratio * web
    if np.all(formed.formed):
        return web, web_fines, water
    rest = formed.depth_leaving / wet.delivery.stock_depth
    drained_fibre = formed.drained.deposited
    drained_fibre = drained_fibre[0] if np.ndim(formed.formed) == 0 else drained_fibre
    on_wire = drained_fibre * wet.wire_speed
    free = np.maximum(jet_fibre * (1 - drained_fibre / wet.grammage_wire), 0.0)
    share = np.where(web > 0, web_fines / web, 0.0)
    fibre = np.where(formed.formed, web, on_wire + free)
    fines = np.where(formed.formed, web_fines, on_wire * share + free * jet_fines / jet_fibre)
    return fibre, fines, np.where(formed.formed, water, rest * jet_water)


def press_streams(machine: Any, wet: Any) -> list[Stream]:
    """From the formed web to the pressed web, with the felt's water."""
    temperature = machine.stock.temperature
    web = wet.grammage_felt * wet.felt_speed
    fines = wet.web_fines_share * web
    streams = []
    previous = wet.moisture_into_vacuum
    for slot in wet.slots:
        streams.append(
            _wet(f"vacuum_water: {slot.name}", "vacuum", OUTSIDE, 0.0, 0.0,
                 previous * web - slot.moisture_ratio_out * web, temperature)
        )  # fmt: skip
        previous = slot.moisture_ratio_out
    streams.append(_wet("web_vacuum", "vacuum", "press", web, fines, previous * web, temperature))
    if wet.steamed is not None:
        steam = wet.steamed.condensate * wet.felt_speed
        enthalpy = machine.press.steam_box.steam_enthalpy
        streams.append(Stream(name="steam_box", source=OUTSIDE, sink="press", water=steam, heat=steam * enthalpy))
        previous = wet.steamed.moisture_ratio
    warm = wet.temperature_pressed
    nip_water: Num = 0.0
    for nip in wet.nips:
        out = previous * web - nip.moisture_ratio_out * web
        streams.append(_wet(f"nip_water: {nip.name}", "press", "felt", 0.0, 0.0, out, warm))
        nip_water = nip_water + out
        previous = nip.moisture_ratio_out
    streams.append(_wet("web_pressed", "press", "yankee", web, fines, previous * web, warm))
    felt = machine.press.felt
    showers = felt.shower * wet.felt_speed * len(wet.nips)
    shower = _wet("felt_shower", OUTSIDE, "felt", 0.0, 0.0, showers, felt.shower_temperature)
    streams.append(shower)
    return streams


def felt_water(streams: list[Stream]) -> Stream:
    """What leaves the felt: all that came into it."""
    into = [s for s in streams if s.sink == "felt"]
    fibre: Num = sum(s.fibre for s in into)
    fines: Num = sum(s.fines for s in into)
    water: Num = sum(s.water for s in into)
    heat: Num = sum(s.heat for s in into)
    return _by_heat("felt_water", "felt", OUTSIDE, fibre, fines, water, heat)


def vacuum_air_streams(machine: Any, wet: Any) -> list[Stream]:
    """Air through the vacuum pumps, with a node of its own."""
    site = machine.site
    flows: list[tuple[str, Num, Num, Num]] = [
        (s.name, s.suction_flow, spec.vacuum, s.power) for s, spec in zip(wet.slots, machine.vacuum.slot, strict=True)
    ]
    for nip, part in zip(wet.nips, machine.press.nip, strict=True):
        surface = part.surface
        if hasattr(surface, "vacuum"):
            flows.append((nip.name, nip.suction_flow, surface.vacuum, nip.suction_power))
        flows.append((f"{nip.name}, felt boxes", nip.box_air_flow, machine.press.felt.boxes.vacuum, nip.box_power))
    streams = []
    total_air: Num = 0.0
    heat: Num = 0.0
    power: Num = 0.0
    for name, flow, vacuum, shaft in flows:
        density = humid_air.density_mixture(
            site.room_temperature, site.room_humidity, wet.atmospheric_pressure - vacuum
        )
        dry = flow * density / (1 + site.room_humidity)
        one = _air(f"vacuum_air: {name}", OUTSIDE, "vacuum pumps", dry, site.room_humidity, site.room_temperature)
        streams.append(one)
        total_air, heat, power = total_air + one.air, heat + one.heat, power + shaft
    if not streams:
        return []
    streams.append(Stream(name="vacuum_power", source=OUTSIDE, sink="vacuum pumps", heat=power))
    streams.append(
        Stream(
            name="vacuum_exhaust", source="vacuum pumps", sink=OUTSIDE, air=total_air,
            water=total_air * site.room_humidity, heat=heat + power,
        )
    )  # fmt: skip
    return streams


def dry_streams(machine: Any, wet: Any, dry: Any) -> list[Stream]:
    """From the pressed web to the reel, with the hood's air."""
    web = wet.grammage_yankee * machine.speed
    fines = wet.web_fines_share * web
    reel = _wet("reel", "yankee", OUTSIDE, web, fines, dry.moisture_ratio_out * web, dry.sheet_temperature)
    if dry.dried is None:
        pressed = wet.moisture_pressed * web
        vapour = pressed - reel.water
        heat_in = wet_heat(web, pressed, wet.temperature_pressed)
        vapour_heat = heat_in + dry.steam_heat - reel.heat
        return [
            Stream(name="dryer_heat", source=OUTSIDE, sink="yankee", heat=dry.steam_heat),
            Stream(name="vapour", source="yankee", sink=OUTSIDE, water=vapour, heat=vapour_heat),
            reel,
        ]
    d, site, hood = dry.dried, machine.site, machine.hood
    return [
        Stream(name="contact_heat", source=OUTSIDE, sink="yankee", heat=d.contact_heat),
        Stream(name="sheet_heat", source="hood", sink="yankee", heat=d.sheet_heat),
        Stream(name="vapour", source="yankee", sink="hood", water=d.evaporation, heat=d.vapour_enthalpy_flow),
        Stream(name="bound_water", source="yankee", sink=OUTSIDE, heat=d.desorption_heat),
        reel,
        _air("make_up", OUTSIDE, "hood", d.make_up, site.room_humidity, hood.make_up_temperature),
        _air("leak", OUTSIDE, "hood", d.leak, site.room_humidity, site.room_temperature),
        Stream(
            name="combustion", source=OUTSIDE, sink="hood", water=d.combustion_water,
            heat=d.gas_power + d.combustion_water * vaporisation_enthalpy_ice_point,
        ),
        Stream(name="hood_fans", source=OUTSIDE, sink="hood", heat=d.fan_heat),
        _air("exhaust", "hood", OUTSIDE, d.exhaust, d.exhaust_humidity, d.return_temperature),
        Stream(name="hood_loss", source="hood", sink=OUTSIDE, heat=d.hood_loss),
    ]  # fmt: skip


def all_streams(machine: Any, wet: Any, dry: Any) -> tuple[Stream, ...]:
    """Every stream of a run in machine order."""
    streams = forming_streams(machine, wet)
    if dry is None:
        return tuple(streams)
    streams += press_streams(machine, wet)
    streams.append(felt_water(streams))
    streams += vacuum_air_streams(machine, wet)
    streams += dry_streams(machine, wet, dry)
    return tuple(streams)


BEFORE = frozenset({"mixing", "screens", "headbox", "forming", "silo"})
"""Nodes that work whether or not a sheet is formed."""


def without_sheet(streams: tuple[Stream, ...], formed: Any) -> tuple[Stream, ...]:
    """Streams of a run over cases: behind a former that gave no sheet there is nothing (nan)."""
    if np.all(formed):
        return streams
    kept = []
    for stream in streams:
        if stream.source in BEFORE or stream.sink in BEFORE:
            kept.append(stream)
            continue
        amounts: dict[str, Any] = {
            name: np.where(formed, getattr(stream, name), np.nan) for name in ("fibre", "fines", "water", "air", "heat")
        }
        kept.append(replace(stream, **amounts))
    return tuple(kept)
