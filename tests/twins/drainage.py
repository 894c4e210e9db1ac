"""The drainage march told plainly, in time, with a general solver of differential equations and root
searches.

One case at a time and slow; it shares no line with the compiled march, only the formulas as the text
states them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

GRAVITY = 9.80665


def flux(law: Any, pressure: float, fibre: float, stuff: dict[str, float], kept: float = 0.0) -> float:
    """Flux through mat and fabric by root search, capped; nothing flows without pressure."""
    if pressure <= 0.0:
        return 0.0
    free = brentq(lambda u: drop(law, u, fibre, stuff, kept) - pressure, 0.0, _bound(law, pressure, stuff), xtol=1e-15)
    return min(float(free), law.flux_cap)


def _bound(law: Any, pressure: float, stuff: dict[str, float]) -> float:
    """A flux that the bare fabric alone cannot exceed."""
    viscous = stuff["viscosity"] * law.fabric_resistance
    inertial = 0.5 * stuff["density"] * law.fabric_inertia
    bounds = [pressure / viscous] if viscous > 0.0 else []
    bounds += [(pressure / inertial) ** 0.5] if inertial > 0.0 else []
    return 1.01 * min(bounds)


def drop(law: Any, u: float, fibre: float, stuff: dict[str, float], kept: float = 0.0) -> float:
    """Pressure drop of mat, viscous and inertial fabric at a flux; the mat as dense as `kept` has packed it."""
    packed = resistance(stuff) * kept ** stuff["resistance_exponent"] * max(fibre, 0.0) * u if kept > 0.0 else 0.0
    mat = max(mat_drop(u, fibre, stuff), packed)
    fabric = stuff["viscosity"] * law.fabric_resistance * u + 0.5 * stuff["density"] * law.fabric_inertia * u**2
    return float(mat + fabric)


def resistance(stuff: dict[str, float]) -> float:
    """Resistance per fibre and viscosity under 1 Pa."""
    alpha = stuff["resistance_factor"] * stuff["resistance_coefficient"]
    return stuff["viscosity"] * alpha * 1000.0 ** -stuff["resistance_exponent"]


def mat_drop(u: float, fibre: float, stuff: dict[str, float]) -> float:
    """Drop of a mat that springs back."""
    return (resistance(stuff) * max(fibre, 0.0) * u) ** (1.0 / (1.0 - stuff["resistance_exponent"]))


def mat_consistency(pressure: float, stuff: dict[str, float]) -> float:
    load = max(pressure, stuff["mat_pressure_floor"]) / 1000.0
    return float(stuff["mat_coefficient"] * load ** stuff["mat_exponent"])


class March:
    """State of one sheet on its way: filtrate, fibre and impulse of both sides."""

    def __init__(self, stuff: dict[str, float]) -> None:
        self.stuff = stuff
        self.kappa = stuff["retention"] * stuff["consistency"] * stuff["density"]
        self.depth_in = stuff["grammage"] / self.kappa
        self.state = np.zeros(6)
        self.kept = np.zeros(2)
        """Largest drop that each mat has borne."""
        self.formed = False
        self.stalled = False

    def pressure(self, element: Any, law: Any, time: float, state: Any) -> float:
        speed, density = self.stuff["speed"], self.stuff["density"]
        depth = self.depth_in - state[0] - state[1]
        share = min(1.0, time * speed / element.length) if element.length > 0.0 else 0.0
        carried = density * depth * (law.gravity * GRAVITY - law.curvature * speed**2)
        return float(law.load + law.head * (1.0 - share) + carried)

    def rates(self, element: Any, active: list[bool], time: float, state: Any) -> Any:
        out = np.zeros(6)
        for side, law in enumerate((element.wire_side, element.back_side)):
            if not active[side]:
                continue
            pressure = self.pressure(element, law, time, state)
            kept = self.stuff.get("mat_memory", 0.0) * self.kept[side]
            u = flux(law, pressure, state[2 + side], self.stuff, kept)
            out[side] = u
            out[2 + side] = self.kappa / (1.0 - self.kappa / mat_consistency(pressure, self.stuff)) * u
            out[4 + side] = min(pressure, drop(law, u, state[2 + side], self.stuff, kept)) if u > 0.0 else 0.0
        return out

    def active(self, element: Any) -> list[bool]:
        return [
            law is not None and self.state[side] < law.uptake * (1.0 - 1e-12)
            for side, law in enumerate((element.wire_side, element.back_side))
        ]

    def pack(self, flows: Any, state: Any) -> None:
        """Remember what the mats bear at these flows."""
        for side in range(2):
            self.kept[side] = max(self.kept[side], mat_drop(flows[side], state[2 + side], self.stuff))

    def look_for_stall(self, element: Any) -> None:
        for side, law in enumerate((element.wire_side, element.back_side)):
            if self.active(element)[side] and self.pressure(element, law, 0.0, self.state) < 0.0:
                self.stalled = True

    def stretch(self, element: Any) -> float:
        """Through one element, or to the dry line; gives the time spent."""
        grammage = self.stuff["grammage"]
        time, end = 0.0, element.length / self.stuff["speed"]
        while time < end and not self.formed:
            active = self.active(element)

            def formed(_t: float, s: Any) -> float:
                return float(s[2] + s[3] - grammage)

            events: list[Any] = [formed]
            for side, law in enumerate((element.wire_side, element.back_side)):
                if active[side] and np.isfinite(law.uptake):
                    events.append(lambda _t, s, side=side, room=law.uptake: s[side] - room)
            for event in events:
                event.terminal, event.direction = True, 1.0
            found = solve_ivp(
                lambda t, s, active=active: self.rates(element, active, t, s),
                (time, end),
                self.state,
                method="LSODA",
                rtol=1e-9,
                atol=1e-13,
                events=events,
            )
            for t, state in zip(found.t, found.y.T, strict=True):
                self.pack(self.rates(element, active, float(t), state), state)
            time, self.state = float(found.t[-1]), found.y[:, -1].copy()
            self.formed = bool(len(found.t_events[0]))
        return time

    def pulse(self, element: Any) -> None:
        """A table roll: filtrate and dwell from the flux at entry."""
        speed = self.stuff["speed"]
        before = self.rates(element, self.active(element), 0.0, self.state)
        u = before[:2]
        self.pack(u, self.state)
        filtrate = 2.0 * element.nip_radius * (u / speed) ** 2
        fibre = np.divide(before[2:4], u, out=np.zeros(2), where=u > 0.0) * filtrate
        room = self.stuff["grammage"] - self.state[2] - self.state[3]
        part = min(1.0, room / fibre.sum()) if fibre.sum() > 0.0 else 1.0
        self.state[:2] += part * filtrate
        self.state[2:4] += part * fibre
        after = self.rates(element, self.active(element), 0.0, self.state)
        self.state[4:] += 0.5 * (before[4:] + after[4:]) * 2.0 * element.nip_radius * u / speed**2
        self.formed = part < 1.0

    def close(self, element: Any, time: float) -> None:
        """The formed mat gives way to the largest pressure of a side that can take water."""
        sides = [
            (self.pressure(element, law, time, self.state), side, law)
            for side, law in enumerate((element.wire_side, element.back_side))
            if law is not None and self.state[side] < law.uptake
        ]
        if not sides:
            return
        pressure, side, law = max(sides, key=lambda s: s[0])
        if pressure <= 0.0:
            return
        depth = self.depth_in - self.state[0] - self.state[1]
        leaving = depth - self.stuff["grammage"] / mat_consistency(pressure, self.stuff)
        self.state[side] += max(0.0, min(leaving, law.uptake - self.state[side]))


def drain(elements: Sequence[Any], **stuff: float) -> dict[str, Any]:
    """The same result as the compiled march, for one case, under the same names."""
    march = March(stuff)
    place, dry_line, dry_element = 0.0, np.nan, -1
    water, impulse = np.zeros((len(elements), 2)), np.zeros((len(elements), 2))
    for number, element in enumerate(elements):
        start = march.state.copy()
        if march.formed:
            march.close(element, 0.0)
        else:
            march.look_for_stall(element)
            time = 0.0
            if element.nip_radius > 0.0:
                march.pulse(element)
            else:
                time = march.stretch(element)
            if march.formed:
                dry_line, dry_element = place + time * stuff["speed"], number
                march.close(element, time)
        water[number] = march.state[:2] - start[:2]
        impulse[number] = march.state[4:] - start[4:]
        place += 0.0 if element.nip_radius > 0.0 else element.length
    fibre = march.state[2] + march.state[3]
    depth = march.depth_in - march.state[0] - march.state[1]
    free = 0.0 if march.formed else march.depth_in - fibre / march.kappa
    mass = fibre + stuff["consistency"] * stuff["density"] * free
    wall = mass * stuff["density"] / stuff["wall_density"]
    return {
        "drained": march.state[0] + march.state[1],
        "drained_side": march.state[:2],
        "deposited_side": march.state[2:4],
        "dry_line": dry_line,
        "dry_line_element": dry_element,
        "white_water": water,
        "drainage_impulse": impulse,
        "stalled": march.stalled,
        "dryness_leaving": mass / (mass + stuff["density"] * depth - wall),
    }
