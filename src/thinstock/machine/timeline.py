"""The net of tanks between two events, and the lines that are read off it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from thinstock.machine.circuit_closed import AT, Closed
from thinstock.relations import circuits, refining, transients
from thinstock.relations.circuits import NODES, Circuit
from thinstock.words.constants import ice_point, value
from thinstock.words.num import Array

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.machine.over_time import Setting

WET = 0.02
"""Points of moisture above what is wanted at which the reel counts as too wet, as a share."""
FULL = 2.0


class Net(NamedTuple):
    """Shares, feeds and flows of one setting: three components of solids, dissolved matter, heat."""

    held: tuple[int, ...]
    names: tuple[str, ...]
    mass: Array
    """(kinds, tanks): what a tank holds, or its heat capacity."""
    share: Array
    """(kinds, nodes, nodes)"""
    feed: Array
    """(kinds, nodes)"""
    outflow: Array
    """(kinds, nodes): all that leaves, or the heat per kelvin."""
    reduced: Array
    """(kinds, tanks, tanks)"""
    fed: Array
    balance: Circuit

    @classmethod
    def of(cls, balance: Circuit, masses: Mapping[str, float], done: Closed) -> Net:
        """The net of a circuit with these tanks; heated as the machine was."""
        names = tuple(masses)
        held = tuple(AT[name] for name in names)
        solids, wet = balance.shares["solids"], balance.shares["dissolved"]
        flow, water = np.zeros(len(NODES)), np.zeros(len(NODES))
        for stream in balance.streams:
            if stream.source != "outside":
                flow[AT[stream.source]] += max(float(stream.flow), 0.0)
                water[AT[stream.source]] += max(float(stream.water), 0.0)
        heat_share, heat_feed, capacity = heat_of(balance, done)
        share = np.stack([*solids, wet, heat_share])
        feed = np.stack([*balance.feeds["solids"], balance.feeds["dissolved"], heat_feed])
        outflow = np.stack([*([flow] * len(solids)), flow, capacity])
        tank = np.array([masses[name] for name in names])
        cp = value("water_heat_capacity_sheet")
        mass = np.stack([*([tank] * (len(solids) + 1)), tank * cp])
        reduced, fed = circuits.prompt_reduction(share, feed, list(held))
        return cls(held, names, mass, share, feed, outflow, np.asarray(reduced), np.asarray(fed), balance)

    def steady(self) -> Array:
        """What the tanks hold per flow when nothing changes any more: (kinds, tanks)."""
        loads = circuits.circuit_loads(self.reduced, self.fed)
        return np.asarray(loads) / self.outflow[:, self.held]

    def step(self, seconds: float) -> Array:
        """Matrices that carry the tanks over a step: (kinds, tanks + 1, tanks + 1)."""
        from scipy.linalg import expm

        count = len(self.held)
        out = self.outflow[:, self.held]
        transfer = self.reduced * out[:, None, :]
        exchange = transfer - out[:, :, None] * np.eye(count)
        augmented = np.zeros((len(out), count + 1, count + 1))
        augmented[:, :count, :count] = exchange / self.mass[:, :, None]
        augmented[:, :count, count] = self.fed / self.mass
        made: Array = expm(augmented * seconds)
        return made

    def through(self, contents: Array) -> Array:
        """Loads through all nodes at each time: contents (times, kinds, tanks) to (times, kinds, nodes)."""
        held = contents * self.outflow[:, self.held]
        loads = np.zeros((*contents.shape[:2], len(NODES)))
        loads[..., self.held] = held
        prompt = [n for n in range(len(NODES)) if n not in self.held]
        rest = circuits.prompt_loads(self.share, self.feed, list(self.held), held)
        loads[..., prompt] = rest
        return loads

    def ledger(self, start: Array, end: Array, seconds: float) -> float:
        """Largest relative error of the mass of the solids: what the tanks gained against what came and left."""
        worst = 0.0
        out = self.outflow[:, self.held]
        for kind in range(len(self.balance.shares["solids"])):
            if np.sum(self.fed[kind]) <= 0:
                continue
            transfer = self.reduced[kind] * out[kind][None, :]
            gone = transients.tank_network_integral(
                self.mass[kind], transfer, out[kind], self.fed[kind], start[kind], seconds
            )
            left = float(np.sum((out[kind] - np.sum(transfer, axis=0)) * gone))
            came = float(np.sum(self.fed[kind])) * seconds
            gained = float(np.sum(self.mass[kind] * (end[kind] - start[kind])))
            worst = max(worst, abs(gained - came + left) / max(came, 1e-30))
        return worst


def heat_of(balance: Circuit, done: Closed) -> tuple[Array, Array, Array]:
    """Shares, feeds and capacity flows of heat; the silo heated as it was while the jet was held."""
    from thinstock.machine.circuit_closed import temperatures_of

    temperatures, powers = temperatures_of(done)
    site = done.around.site
    powers = {**powers, "silo": done.warmth.to_hold - done.warmth.air}
    capacity = value("fibre_heat_capacity_dry"), value("water_heat_capacity_sheet")
    share, feed, flow, _ = circuits.circuit_heat(
        balance, temperatures, powers, site.room_temperature, done.part.pit_loss, *capacity
    )
    return share, feed, flow


class Found(NamedTuple):
    """All intervals put together."""

    time: Array
    lines: dict[str, Array]
    steady: dict[str, float]
    new_share: Array
    """Share of the web's fibre that is the last furnish fed."""
    which: Array
    """Number of the setting at each time."""
    mass_error: float
    broke_made: float
    """Dry broke of breaks above that of running, kg of the whole machine."""


@dataclass(kw_only=True, eq=False)
class Course:
    """The tanks as they go through the settings."""

    net: Net
    contents: Array
    """(kinds, tanks)"""
    traced: Array
    """Long fibre of the last furnish in the tanks, per flow."""
    furnish: float
    web: float
    time: list[Array] = field(default_factory=list)
    parts: list[dict[str, Array]] = field(default_factory=list)
    which: list[Array] = field(default_factory=list)
    new_share: list[Array] = field(default_factory=list)
    levels: dict[str, float] = field(default_factory=dict)
    now: float = 0.0
    mass_error: float = 0.0
    broke_made: float = 0.0
    steady: dict[str, float] = field(default_factory=dict)
    first: dict[str, float] = field(default_factory=dict)
    """Lines of the steady circuit at the start."""

    @classmethod
    def start(cls, net: Net, setting: Setting) -> Course:
        """In steady running."""
        contents = net.steady()
        web = float(np.sum(net.balance.loads["solids"][:, AT["dryer"]]))
        course = cls(net=net, contents=contents, traced=contents[0].copy(), furnish=setting.furnish, web=web)
        width = float(setting.machine.width)
        course.first = {
            name: float(line[0]) for name, line in lines_of(net, net.through(contents[None]), setting, web).items()
        }
        course.levels = {name: float(net.mass[0][k]) * width for k, name in enumerate(net.names)}
        return course

    def through(self, net: Net, setting: Setting, until: float, step: float) -> None:
        """One setting until the next."""
        contents = self._onto(net)
        if setting.restart:
            contents = self._emptied(net, contents, setting)
        if setting.furnish != self.furnish:
            self.traced, self.furnish = np.zeros(len(net.held)), setting.furnish
        count = max(1, round((until - self.now) / step))
        seconds = (until - self.now) / count
        matrix = net.step(seconds)
        states = np.ones((count + 1, len(contents), len(net.held) + 1))
        states[0, :, :-1] = contents
        trace = np.ones((count + 1, len(net.held) + 1))
        trace[0, :-1] = self.traced
        for k in range(count):
            states[k + 1] = (matrix @ states[k][..., None])[..., 0]
            trace[k + 1] = matrix[0] @ trace[k]
        self.mass_error = max(self.mass_error, net.ledger(contents, states[-1, :, :-1], until - self.now))
        time: Array = self.now + seconds * np.arange(count + 1, dtype=float)
        self._keep(net, setting, time, states[..., :-1], trace[:, :-1])
        self.net, self.contents, self.traced, self.now = net, states[-1, :, :-1], trace[-1, :-1], until

    def _onto(self, net: Net) -> Array:
        """The contents for the tanks of another net; a tank that was not there holds what it settles at."""
        fresh = net.steady()
        old = {name: k for k, name in enumerate(self.net.names)}
        for k, name in enumerate(net.names):
            if name in old:
                fresh[:, k] = self.contents[:, old[name]]
        if net.names != self.net.names:
            traced = fresh[0].copy()
            for k, name in enumerate(net.names):
                if name in old:
                    traced[k] = self.traced[old[name]]
            self.traced = traced
        return fresh

    @staticmethod
    def _emptied(net: Net, contents: Array, setting: Setting) -> Array:
        """Start-up: silo, pit and filtrate tanks full of fresh water."""
        made = contents.copy()
        cold = float(setting.machine.site.fresh_water_temperature) - ice_point
        for k, name in enumerate(net.names):
            if name in ("silo", "pit", "cloudy", "clear"):
                made[:-2, k] = 0.0
                made[-2, k] = float(setting.given.fresh_dissolved)
                made[-1, k] = cold
        return made

    def _keep(self, net: Net, setting: Setting, time: Array, states: Array, trace: Array) -> None:
        loads = net.through(states)
        lines = lines_of(net, loads, setting, self.web)
        lines |= self._levels(net, setting, time - time[0])
        self.steady = {
            name: float(line[0])
            for name, line in lines_of(net, net.through(net.steady()[None]), setting, self.web).items()
        }
        fresh = net.through(np.concatenate([trace[:, None, :], states[:, 1:, :]], axis=1))[:, 0, AT["dryer"]]
        web = np.maximum(loads[:, 0, AT["dryer"]], 1e-30)
        self.time.append(time)
        self.parts.append(lines)
        self.new_share.append(np.clip(fresh / web, 0.0, 1.0))
        self.which.append(np.full(len(time), len(self.which)))

    def _levels(self, net: Net, setting: Setting, elapsed: Array) -> dict[str, Array]:
        """Contents of pit, broke and clear tank while more is asked than comes."""
        width = float(setting.machine.width)
        balance = net.balance
        rise = dict.fromkeys(("pit", "broke", "clear"), 0.0)
        effluent = float(balance.stream("effluent").flow)
        if effluent < 0:
            rise["clear" if setting.given.saveall else "pit"] += effluent * width
        if setting.broken:
            dry = setting.given.press_dryness if setting.place == "press" else setting.given.reel_dryness
            web = float(np.sum(balance.loads["solids"][:, AT["dryer"]]))
            pit = balance.stream("overflow")
            consistency = float(np.sum(pit.solids) / pit.flow) if float(pit.flow) > 0 else 0.0
            draw = float(transients.break_water_draw(web, float(dry), setting.given.broke_consistency, consistency))
            usual = sum(float(s.flow) for s in balance.streams if s.name in ("broke_dilution", "dry_broke"))
            rise["broke"] += (web / float(dry) + draw - usual) * width
            rise["pit"] -= max(draw - max(effluent, 0.0), 0.0) * width
            made = web - float(np.sum(balance.stream("broke").solids))
            self.broke_made += made * width * float(elapsed[-1])
        found = {}
        for name, rate in rise.items():
            if name not in self.levels:
                continue
            line = np.maximum(self.levels[name] + rate * elapsed, 0.0)
            found[f"{name}_level"] = line
            self.levels[name] = float(line[-1])
        return found

    def gathered(self) -> Found:
        """All of it."""
        names = self.parts[0].keys()
        lines = {name: np.concatenate([part[name] for part in self.parts if name in part]) for name in names}
        return Found(
            np.concatenate(self.time), lines, self.steady, np.concatenate(self.new_share), np.concatenate(self.which),
            self.mass_error, self.broke_made,
        )  # fmt: skip


def lines_of(net: Net, loads: Array, setting: Setting, web_before: float) -> dict[str, Array]:
    """Web, jet, white water, fines, temperature and what is dissolved, from the loads (times, kinds, nodes)."""
    balance = net.balance
    web = np.sum(loads[:, :-2, AT["dryer"]], axis=1)
    silo = net.outflow[0, AT["silo"]]
    jet = np.sum(loads[:, :-2, AT["screens"]], axis=1) / net.outflow[0, AT["screens"]]
    of_water = 1.0 - float(np.sum(balance.loads["solids"][:, AT["silo"]])) / silo
    return {
        "web": web / web_before,
        "jet_consistency": jet,
        "white_water": np.sum(loads[:, :-2, AT["silo"]], axis=1) / silo,
        "web_fines": loads[:, 1, AT["dryer"]] / np.maximum(web, 1e-30),
        "temperature": ice_point + loads[:, -1, AT["forming"]] / net.outflow[-1, AT["forming"]],
        "dissolved": loads[:, -2, AT["silo"]] / silo / of_water,
    }


def moisture_over(found: Found, first: Setting, settings: Sequence[Setting], knots: int) -> tuple[Array, Array]:
    """Grammage and moisture at the reel: the machine run at some moments, hood and steam held where they were."""
    grammage, moisture = np.zeros_like(found.time), np.zeros_like(found.time)
    for number, setting in enumerate(settings):
        mine = np.flatnonzero(found.which == number)
        web = found.lines["web"][mine] * float(np.sum(first.balance.loads["solids"][:, AT["dryer"]]))
        per_set = web / float(np.sum(setting.result.parts.circuit.balance.loads["solids"][:, AT["dryer"]]))
        grammage[mine] = float(setting.machine.grade.reel_grammage) * per_set
        count = min(max(3, round(knots * len(mine) / len(found.time))), len(mine))
        at = np.unique(np.linspace(0, len(mine) - 1, count).astype(int))
        moisture[mine] = np.interp(
            mine, mine[at], _moist(found, first, setting, mine[at], per_set[at], [first, *settings])
        )
    broken = np.isin(found.which, [k for k, one in enumerate(settings) if one.broken])
    grammage = np.where(broken, 0.0, grammage)
    return grammage, moisture


def _moist(
    found: Found, first: Setting, setting: Setting, at: Array, heavier: Array, settings: Sequence[Setting]
) -> Array:
    machine, lines = held_machine(setting.machine, first), found.lines
    own = setting.result.parts.circuit.balance
    jet, own_fines = own.stream("jet"), float(np.asarray(own.web_shares)[1])
    own_jet = float(np.sum(jet.solids)) / float(jet.flow)
    share = np.asarray(lines["web_fines"][at]) / max(own_fines, 1e-30)
    changes: dict[str, object] = {
        "grade.reel_grammage": float(machine.grade.reel_grammage) * heavier,
        "headbox.consistency": float(machine.headbox.consistency) * lines["jet_consistency"][at] / own_jet,
        "stock.fines_share": np.minimum(float(machine.stock.fines_share) * share, 0.8),
        "stock.temperature": np.asarray(lines["temperature"][at]),
    }
    alpha = _resistance(found, setting, settings, at)
    if alpha is not None:
        changes |= {"stock.freeness": None, "stock.drainability": None, "stock.resistance_coefficient": alpha}
    values = machine.with_(changes).run().values
    moist: Array = np.broadcast_to(np.asarray(values["reel_moisture"], dtype=float), at.shape)
    return moist


def _resistance(found: Found, setting: Setting, settings: Sequence[Setting], at: Array) -> Array | None:
    """Resistance of the furnish in the web while the new one comes through the chest; None where it does not change."""
    before = [one for one in settings if one.furnish == setting.furnish - 1.0]
    if setting.furnish <= 0 or not before:
        return None
    old, new = (float(one.machine.stock.specific_resistance()) for one in (before[-1], setting))
    share = found.new_share[at]
    made: Array = refining.blend_resistance_surface(
        np.stack([1.0 - share, share], axis=-1), np.broadcast_to([old, new], (*share.shape, 2))
    )
    return made


def held_machine(machine: Machine, first: Setting) -> Machine:
    """The machine with hood and steam where they were."""
    import dataclasses

    values = first.result.values
    changes = {}
    if machine.yankee is not None and machine.hold_reel_dryness_by in ("hood temperature", "steam pressure"):
        if values.get("air_temperature") is not None:
            changes["hood.air_temperature"] = float(values["air_temperature"])
        if values.get("steam_pressure") is not None:
            changes["yankee.steam_pressure"] = float(values["steam_pressure"])
    made = machine.with_(changes) if changes else machine
    return dataclasses.replace(made, hold_reel_dryness_by="nothing")


def limits_passed(time: Array, lines: Mapping[str, Array], settings: Sequence[Setting]) -> Iterator[tuple[str, float]]:
    """What was passed, and when first."""
    wanted = float(1.0 - settings[-1].machine.grade.reel_dryness)
    tests = {
        "too_wet": lines["moisture"] > wanted + WET,
        "pit_empty": lines.get("pit_level", np.ones(1)) <= 0,
        "clear_empty": lines.get("clear_level", np.ones(1)) <= 0,
    }
    if "broke_level" in lines:
        tests["broke_full"] = lines["broke_level"] > FULL * float(lines["broke_level"][0])
    for name, passed in tests.items():
        if np.any(passed):
            yield name, float(time[int(np.argmax(passed))])
    for setting in settings:
        limit = setting.machine.headbox.headbox_flow_limit_high
        flow = setting.result.values.get("flow_per_width")
        if limit is not None and flow is not None and float(flow) > float(limit):
            yield "headbox_flow", setting.at
            return
