"""The circuits at work: what is given of the run, the closed balance, its heat, and the numbers told of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from thinstock.formula.label import merged, worksheet
from thinstock.formula.traced import constant, convention, found, named, picked
from thinstock.machine.nodes import dry_air
from thinstock.machine.part import Done
from thinstock.machine.told import Stream
from thinstock.relations import circuits, circulation
from thinstock.relations.circuits import NODES, TissueCircuit
from thinstock.words.constants import ice_point
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Num

if TYPE_CHECKING:
    from thinstock.machine.circuit import WaterCircuits
    from thinstock.machine.notes import Notes
    from thinstock.machine.web import Around, Web

AT = {name: number for number, name in enumerate(NODES)}
PARTS = ("long", "fines", "ash")
"""Components, in their order."""
FILTRATE = (0.1, 0.6)
"""Cloudy share of the filtrate that a save-all usually makes (assumed)."""
SHOWERS_FRESH = ("wire_shower_fresh", "felt_shower_fresh", "pit_shower_fresh")
TEMPERATURES = {
    "loop_temperature": "silo", "pit_temperature": "pit", "felt_water_temperature": "felt",
    "chest_temperature": "chest",
}  # fmt: skip
"""Temperatures that are told, while the jet is held, and their nodes."""
WARM = (298.15, 333.15)
"""Temperatures of a loop that are usual."""


class Passed(NamedTuple):
    """What the parts before did, as far as the circuits ask."""

    streams: Mapping[str, Stream]
    """By id; of several of one id their sum."""
    air: Num
    """Dry air that the vacuum takes, kg/(s m)."""
    vacuum_power: Num
    """W/m."""
    production: Num
    """At the reel without broke, kg/(s m)."""


def passed_of(circuit: WaterCircuits, around: Around) -> Passed:
    """From the streams and the air of the parts before."""
    streams: dict[str, Stream] = {}
    air: Num = 0.0
    power: Num = 0.0
    for done in around.passed:
        for stream in done.streams():
            streams[stream.id] = _together(streams.get(stream.id), stream)
        for drawn in done.air():
            air, power = air + dry_air(drawn, around), power + drawn.power
    net = around.passed[-1].values()["production"] / around.passed[-1].out.width * (1.0 - circuit.broke_share)
    return Passed(streams, air, power, named("mass_flow_per_width", net))


def _together(first: Stream | None, other: Stream) -> Stream:
    if first is None:
        return other
    return Stream(
        id=other.id, source=other.source, sink=other.sink, fibre=first.fibre + other.fibre,
        fines=first.fines + other.fines, water=first.water + other.water, air=first.air + other.air,
        heat=first.heat + other.heat, temperature=other.temperature,
    )  # fmt: skip


def _dry(stream: Stream) -> Num:
    """Dryness of a stream; nan where there is none, as behind a former that gave no sheet."""
    with np.errstate(invalid="ignore"):
        return stream.fibre / (stream.fibre + stream.water)


def _beside(*values: Num) -> Num:
    """Components side by side, remembered."""
    plain = np.stack(np.broadcast_arrays(*(np.asarray(value, dtype=float) for value in values)), axis=-1)
    return merged(plain, values)


def _shower(circuit: WaterCircuits, name: str, flow: Num) -> tuple[Num, Num, Num, Num]:
    """Fresh, clear, cloudy and white water of a shower."""
    parts = [flow * circuit.from_other(name, water) for water in ("clear", "cloudy", "white")]
    return (flow - parts[0] - parts[1] - parts[2], parts[0], parts[1], parts[2])


def record_of(circuit: WaterCircuits, around: Around, passed: Passed) -> TissueCircuit:
    """The circuits' input from the file and the run."""
    assert around.loop is not None
    streams, stock, loop, saveall = passed.streams, around.stock, around.loop, circuit.saveall
    web, made = streams["web_pressed"], passed.production
    rest = 1.0 - circuit.ash_share
    kept = (loop.retained.long, loop.retained.fines, circuit.retention_ash)
    lost = (circuit.press_loss_long, circuit.press_loss_fines, circuit.press_loss_fines)
    fine = 0.0 if saveall is None else saveall.recovery_fines
    fields: dict[str, Num] = {
        "web_solids": web.fibre,
        "fresh_shares": _beside(rest * (1.0 - stock.fines_share), rest * stock.fines_share, circuit.ash_share),
        "retention": _beside(*kept),
        "jet_consistency": _dry(streams["jet"]),
        "thick_consistency": stock.thick_consistency,
        "forming_dryness": _dry(streams.get("web_formed", streams["web_vacuum"])),
        "vacuum_dryness": _dry(streams["web_vacuum"]),
        "press_dryness": _dry(web),
        "reel_dryness": around.demand.reel_dryness,
        "reject_share": loop.reject_share,
        "press_loss": _beside(*lost),
        "wire_shower": _shower(circuit, "wire", loop.wire_shower),
        "felt_shower": _shower(circuit, "felt", streams["felt_shower"].water),
        "pit_shower": _shower(circuit, "pit", circuit.pit_shower),
        "seal_water": circuit.seal_water * made,
        "chemical_water": circuit.chemical_water * made,
        "saveall": saveall is not None,
        "recovery": _beside(0.0 if saveall is None else saveall.recovery, fine, fine),
        "recovered_consistency": 0.035 if saveall is None else saveall.recovered_consistency,
        "cloudy_ratio": 1.0 if saveall is None else saveall.cloudy_ratio,
    }
    for name in TissueCircuit.order():
        fields.setdefault(name, getattr(circuit, name, None))
    record = TissueCircuit(**fields)
    numbers = tuple(value for value in fields.values() if not isinstance(value, str | bool | tuple))
    return merged(record, numbers)  # type: ignore[no-any-return]


def closed(circuit: WaterCircuits, web: Web, around: Around) -> Closed:
    """The circuits of this machine."""
    passed = passed_of(circuit, around)
    record = record_of(circuit, around, passed)
    balance = circuits.tissue_circuit(given=record)
    return Closed(into=web, out=web, around=around, part=circuit, passed=passed, balance=balance)


@dataclass(frozen=True, kw_only=True, eq=False)
class Warmth:
    """Heat through the nodes, W/m from 0 °C, free and while the jet is held."""

    flow: Mapping[str, Num]
    """Heat that what leaves a node carries per kelvin, W/(K m)."""
    free_heat: Mapping[str, Num]
    held_heat: Mapping[str, Num]
    free: Mapping[str, Num]
    """Temperatures without heating, K."""
    held: Mapping[str, Num]
    to_hold: Num
    """Heat into the silo, W/m; negative: it would have to be cooled."""
    air: Num
    """Heat that moved air takes while the jet is held, W/m."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Closed(Done):
    """The circuits at work."""

    part: WaterCircuits
    passed: Passed
    balance: circuits.Circuit

    @cached_property
    def _by_name(self) -> dict[str, circuits.CircuitStream]:
        return {stream.name: stream for stream in self.balance.streams}

    def flow(self, word: str, *names: str, water: bool = False) -> Num:
        """Streams of these names together as this word, kg/(s m); 0 for one that does not flow."""
        parts = [self._by_name[name] for name in names if name in self._by_name]
        return self._known(word, sum(((one.water if water else one.flow) for one in parts), 0.0))

    def _known(self, word: str, value: Num) -> Num:
        return picked(word, value, self.balance.streams)

    def dry(self, word: str, name: str, component: int | None = None) -> Num:
        """Solids of a stream, of all components or of one; 0 where it does not flow."""
        if name not in self._by_name:
            return self._known(word, 0.0)
        solids = self._by_name[name].solids
        return self._known(word, np.sum(solids, axis=-1) if component is None else solids[..., component])

    def dirt(self, name: str) -> Num:
        """Dissolved matter per water of a stream."""
        stream = self._by_name[name]
        return self._known("dissolved_load", stream.dissolved) / self._known("water_flow_per_width", stream.water)

    def solids(self, name: str) -> Num:
        """Consistency of a stream; 0 where it does not flow."""
        flow = self.flow("mass_flow_per_width", name)
        return self.dry("fibre_flow_per_width", name) / np.where(flow == 0, 1.0, flow) if np.any(flow == 0) else (
            self.dry("fibre_flow_per_width", name) / flow
        )  # fmt: skip

    @property
    def drained_seal(self) -> Num:
        """Seal water that does not come back."""
        return self.part.seal_water * self.passed.production * (1.0 - self.part.seal_recovered)

    @property
    def fresh(self) -> Num:
        """Fresh water of all uses, kg/(s m)."""
        names = ("wire_shower_fresh", "felt_shower_fresh", "pit_shower_fresh", "dilution_fresh", "chemicals")
        return named("fresh_water", self.flow("fresh_water", *names, "seal_water") + self.drained_seal)

    @property
    def effluent(self) -> Num:
        """Waste water: the balance round the machine."""
        return circuits.effluent_flow_balance(
            self.fresh, self.flow("pulp_water", "pulp", water=True),
            convention(0.0, phrase("machine.circuit.no_condensate")), self.flow("evaporation", "vapour"),
            self.flow("reel_water", "reel", water=True), self.flow("reject_water", "reject", water=True),
        )  # fmt: skip

    @cached_property
    def warmth(self) -> Warmth:
        """Temperatures of the circuits; found without being recorded."""
        with worksheet(False):
            return warmth_of(self)

    def temperature(self, node: str, warmth: Mapping[str, Num]) -> Num:
        """Temperature of a node from the heat through it."""
        heat = found(phrase("machine.circuit.heat_through", node=node), warmth[node])
        flow = found(phrase("machine.circuit.capacity_of", node=node), self.warmth.flow[node])
        loss = self.part.pit_loss if node == "pit" else convention(0.0, phrase("machine.circuit.no_loss"))
        return circuits.node_temperature(heat, flow, loss, self.around.site.room_temperature, constant("ice_point"))

    def values(self) -> Mapping[str, Num]:
        """Water, fibre, what is dissolved, temperatures."""
        made, per = self.passed.production, circulation.specific_water
        loop = self.around.loop
        assert loop is not None
        seal = named("seal_water", self.flow("seal_water", "seal_water") + self.drained_seal)
        wire = self.flow("shower_flow", "wire_shower_fresh")
        felt = self.flow("felt_shower_water", "felt_shower_fresh")
        felt_warm = self.passed.streams["felt_shower"].temperature
        warmed = wire * (loop.wire_shower_temperature - self._cold) + felt * (felt_warm - self._cold)
        to_hold = found(phrase("machine.circuit.heat_found"), self.warmth.to_hold)
        fed = self.flow("mass_flow_per_width", "pulp") * self.part.pulp_dryness
        return {
            "fresh_water_per_product": per(self.fresh, made),
            "effluent_per_product": per(self.effluent, made),
            "shower_water_per_product": per(self.flow("shower_flow", *SHOWERS_FRESH), made),
            "seal_water_per_product": per(seal, made),
            "chemical_water_per_product": per(self.flow("chemical_water", "chemicals"), made),
            "shower_heat_per_product": constant("water_heat_capacity_sheet") * warmed / made,
            "fibre_loss": 1.0 - self.dry("fibre_flow_per_width", "reel") / fed,
            "white_water_dissolved": self.dirt("white_water"),
            "white_water_solids": self.solids("white_water"),
            "clear_water_solids": self.solids("clear"),
            "circuit_fines_share": self.dry("fines_flow_per_width", "web_pressed", 1)
            / self.dry("fibre_flow_per_width", "web_pressed"),
            "broke_share_of_thick": self.dry("broke_flow_per_width", "broke")
            / self.dry("fibre_flow_per_width", "thick"),
            "temperature_free": self.temperature("forming", self.warmth.free_heat),
            "heat_to_hold": to_hold / made,
            **{name: self.temperature(node, self.warmth.held_heat) for name, node in TEMPERATURES.items()},
        }

    @property
    def _cold(self) -> Num:
        return self.around.site.fresh_water_temperature

    def notes(self, notes: Notes) -> None:
        """Water that is lacking, nozzles, a filter out of its range, temperatures, what is assumed."""
        part = self.part
        notes.when(self.flow("mass_flow_per_width", "pit_make_up") > 0, "circuit", "unusual", "pit_make_up")
        self._nozzle_notes(notes)
        if part.saveall is not None:
            cloudy, clear = (np.asarray(self.flow("mass_flow_per_width", name)) for name in ("cloudy", "clear"))
            filtrate = cloudy + clear
            share = np.asarray(cloudy / np.where(filtrate == 0, 1.0, filtrate))
            outside = (share < FILTRATE[0]) | (share > FILTRATE[1])
            said = f"{float(np.max(np.where(outside, share, -np.inf))) * 100:.0f}" if np.any(outside) else ""
            notes.when(outside, "circuit", "unusual", "filtrate_split", share=said)
        free = np.asarray(self.warmth.free["silo"])
        notes.when(free < WARM[0], "circuit", "unusual", "loop_cold", temperature=f"{float(np.min(free)) - 273.15:.0f}")
        notes.when(free > WARM[1], "circuit", "unusual", "loop_hot", temperature=f"{float(np.max(free)) - 273.15:.0f}")
        notes.when("steam_box" in self.passed.streams, "circuit", "information", "circuit_steam")
        notes.when(True, "circuit", "assumed", "circuit_assumed")
        notes.when(True, "circuit", "blind spot", "circuit_blind")

    def _nozzle_notes(self, notes: Notes) -> None:
        for shower, limit in (("wire", self.part.wire_nozzle_limit), ("felt", self.part.felt_nozzle_limit)):
            for water, stream in (("clear", "clear"), ("cloudy", "cloudy"), ("white", "overflow")):
                used = np.asarray(self.part.from_other(shower, water)) > 0
                solids = np.asarray(self.solids(stream))
                slots = {"shower": shower, "water": water, "solids": f"{float(np.max(solids)) * 1e6:.0f}"}
                if limit is None:
                    notes.when(used, "circuit", "limit", f"nozzle_not_known_{shower}", **slots)
                else:
                    slots["limit"] = f"{float(np.min(limit)) * 1e6:.0f}"
                    notes.when(used & (solids > np.asarray(limit)), "circuit", "limit", f"nozzle_{shower}", **slots)


def temperatures_of(done: Closed) -> tuple[dict[str, Num], dict[str, Num]]:
    """Temperatures of what comes from outside, and the power put into each node, W/m."""
    part, loop = done.part, done.around.loop
    assert loop is not None
    gross = done.around.stock.refining_gross()
    temperatures = {
        "fresh": done.around.site.fresh_water_temperature, "pulp": part.pulp_temperature,
        "dry_broke": part.broke_temperature, "wire_shower_fresh": loop.wire_shower_temperature,
        "felt_shower_fresh": done.passed.streams["felt_shower"].temperature,
    }  # fmt: skip
    powers = {
        "mixing": done.passed.streams["fan_power"].heat,
        "chest": part.chest_energy * done.passed.production
        if gross is None
        else gross * done.passed.streams["thick"].fibre,
        "pit": part.seal_heat_share * done.passed.vacuum_power * part.seal_recovered,
    }
    return temperatures, powers


def warmth_of(done: Closed) -> Warmth:
    """Temperatures without heating, and the heat that holds the jet; moved air takes its heat at the silo."""
    from thinstock.words.constants import value

    capacity = value("fibre_heat_capacity_dry"), value("water_heat_capacity_sheet")
    part, site = done.part, done.around.site
    temperatures, powers = temperatures_of(done)
    share, feed, flow, _ = circuits.circuit_heat(
        done.balance, temperatures, powers, site.room_temperature, part.pit_loss, *capacity
    )
    one = np.zeros_like(feed)
    one[..., AT["silo"]] = 1.0
    base, gain = circuits.circuit_loads(share, feed), circuits.circuit_loads(share, one)
    silo, jet = AT["silo"], AT["forming"]

    def taken(temperature: Num) -> Num:
        return circuits.heat_to_moved_air(
            done.passed.air, temperature, part.air_saturation, site.room_temperature, site.room_humidity,
            done.around.atmospheric_pressure,
        )  # fmt: skip

    def misfit(temperature: Num) -> Num:
        carried = base[..., silo] - gain[..., silo] * taken(temperature)
        return ice_point + carried / flow[..., silo] - temperature

    free = base - gain * np.asarray(taken(_root(misfit, np.shape(base[..., silo]))))[..., None]
    wanted = np.asarray(done.around.stock.temperature, dtype=float)
    lost = np.asarray(taken(wanted))
    without = base[..., jet] - gain[..., jet] * lost
    to_hold = (flow[..., jet] * (wanted - ice_point) - without) / gain[..., jet]
    held = base + gain * (to_hold - lost)[..., None]
    none = flow == 0
    lossy = np.zeros(len(NODES))
    lossy[AT["pit"]] = 1.0
    loss = lossy * np.asarray(part.pit_loss, dtype=float)[..., None]

    def by_node(values: Num) -> dict[str, Num]:
        return {name: values[..., number][()] for name, number in AT.items() if not np.all(none[..., number])}

    per, hall = np.where(none, 1.0, flow), loss * np.asarray(site.room_temperature - ice_point)[..., None]
    return Warmth(
        flow=by_node(flow - loss), free_heat=by_node(free - hall), held_heat=by_node(held - hall),
        free=by_node(ice_point + free / per), held=by_node(ice_point + held / per), to_hold=to_hold[()], air=lost[()],
    )  # fmt: skip


def _root(misfit: Callable[[Num], Num], shape: tuple[int, ...]) -> Num:
    """The temperature of the silo at which air leaves as warm as the water."""
    least, most = 250.0, 372.0
    if not shape:
        from scipy.optimize import brentq

        return brentq(lambda t: float(misfit(t)), least, most, xtol=1e-10)
    low, high = np.full(shape, least), np.full(shape, most)
    for _ in range(45):
        middle = 0.5 * (low + high)
        warmer = np.asarray(misfit(middle)) > 0
        low, high = np.where(warmer, middle, low), np.where(warmer, high, middle)
    return 0.5 * (low + high)


def streams_told(done: Closed) -> Iterable[circuits.CircuitStream]:
    """The streams of the circuits, those from outside first."""
    return sorted(done.balance.streams, key=lambda s: (s.source != "outside", AT.get(s.source, -1)))
