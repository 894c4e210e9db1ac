"""The chain from jet to reel as an engineer writes it on an afternoon: one case, scipy's solvers, no compiler.

Drainage on one forming roll by `solve_ivp`, vacuum and press in closed form, Yankee and hood by `solve_ivp` inside
`fsolve` for shell temperature, jet humidity, make-up air and the hood temperature that holds the reel moisture. Told
how uneven the sheet is, it dries every spot of a gamma law apart. A yardstick of speed and a second opinion for
machines with one forming roll, one felt slot and one nip; it shares no march with the package.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, fsolve
from scipy.stats import gamma, norm

from thinstock.machine.dryer import YankeeDryer
from thinstock.relations import (
    drainage,
    gas_side,
    hood,
    humid_air,
    impingement,
    pumping,
    steam,
)
from thinstock.words import constants

WATER, ICE, SIGMA, VAPOUR_GAS = 4190.0, 273.15, constants.value("stefan_boltzmann"), 461.526
FIBRE = constants.value("fibre_heat_capacity_dry")


SCORES = np.linspace(-3.6, 3.6, 19)
"""Standard normal scores of the spots: the plain sum over them is the integral to rounding where drying is smooth."""


def as_plain(machine: Any, heat_recovery: float | None = None) -> Any:
    """The machine as this chain knows it: the isotherm of three numbers, make-up air at 200 °C or from an exchanger."""
    given = None if heat_recovery is not None else 473.15
    hood = replace(machine.hood, heat_recovery=heat_recovery, make_up_temperature=given)
    return replace(machine, hood=hood, yankee=replace(machine.yankee, isotherm="Heikkilä"))


@contextmanager
def dried_as_even() -> Iterator[None]:
    """Runs inside dry the mean sheet alone: this chain knows no spots."""
    uneven = YankeeDryer._uneven
    YankeeDryer._uneven = lambda self, web, around, wanted: 0.0  # type: ignore[method-assign]
    try:
        yield
    finally:
        YankeeDryer._uneven = uneven  # type: ignore[method-assign]


@dataclass(frozen=True)
class Plain:
    """What the plain chain finds."""

    dry_line: float
    moisture_formed: float
    moisture_into_press: float
    moisture_pressed: float
    moisture_reel: float
    air_temperature: float
    gas_power: float


def saturation(t: float) -> float:
    """Boiling pressure of water, Pa."""
    theta = t - 0.23855557567849 / (t - 650.17534844798)
    a = theta * theta + 1167.0521452767 * theta - 724213.16703206
    b = -17.073846940092 * theta * theta + 12020.824702470 * theta - 3232555.0322333
    c = 14.915108613530 * theta * theta - 4823.2657361591 * theta + 405113.40542057
    return 1e6 * (2.0 * c / (math.sqrt(b * b - 4.0 * a * c) - b)) ** 4


def latent(t: float) -> float:
    """Latent heat, J/kg."""
    z = (t - ICE) / 100.0
    return 2500969.0 + z * (-238004.2 + z * (6476.198 + z * (-13093.55 + z * (661.9179 - z * 532.219))))


def drained(machine: Any, wet: Any) -> tuple[float, float]:
    """End of forming (m from the first contact) and the moisture ratio that the roll's pressure leaves."""
    roll, stock = machine.forming.element[0], machine.stock
    around, speed = wet.formed.arriving, float(wet.wire_speed)
    density, mu = float(around.density), float(stock.water().viscosity)
    kappa = float(wet.retention) * float(machine.headbox.consistency) * density
    grammage = float(wet.grammage_wire)
    pressure = float(
        drainage.pressure_forming_roll(roll.fabric_tension, around.fabric_mass, speed, float(roll.roll_diameter) / 2)
    )
    load = max(pressure, float(stock.mat_pressure_floor)) / 1000.0
    in_mat = furnish(machine, wet)[1] * load ** float(stock.mat_exponent)
    n = float(stock.resistance_exponent)
    alpha = float(stock.resistance_factor * wet.resistance) * 1000.0**-n
    viscous, inertia = float(around.fabric_resistance), float(around.fabric_inertia)

    def flux(fibre: float) -> float:
        def lack(u: float) -> float:
            through_mat = (mu * alpha * max(fibre, 0.0) * u) ** (1.0 / (1.0 - n))
            return through_mat + mu * viscous * u + 0.5 * density * inertia * u * u - pressure

        return float(brentq(lack, 0.0, 1.01 * math.sqrt(pressure / (0.5 * density * inertia))))

    def rates(_: float, y: Any) -> list[float]:
        u = flux(float(y[1]))
        return [u, kappa / (1.0 - kappa / in_mat) * u]

    def all_fibre(_: float, y: Any) -> float:
        return float(y[1]) - grammage

    all_fibre.terminal = True  # type: ignore[attr-defined]
    end = float(roll.wrap) * float(roll.roll_diameter) / 2 / speed
    found = solve_ivp(rates, (0.0, end), [0.0, 0.0], method="LSODA", events=all_fibre, rtol=1e-7, atol=1e-12)
    time = float(found.t_events[0][0])
    water_in_mat = density / in_mat - density / float(stock.wall_density)
    return time * speed, water_in_mat


def furnish(machine: Any, wet: Any) -> tuple[float, float, float]:
    """Water retention value, mat coefficient and press permeability of a chemical furnish, by plain arithmetic."""
    stock, model = machine.stock, machine.press.dewatering
    retention = 1.3 + 0.33 * math.log(float(wet.resistance) / 1.05e9)
    wall, density = 1 / float(stock.wall_density), float(stock.water().density)
    volumes = (wall + 1.3 / density) / (wall + retention / density)
    n, least = float(model.permeability_exponent), float(model.equilibrium_share) * 1.3 * 24.0**-0.2
    before, after = 1 / 0.15 - 1 - least, 1 / 0.395 - 1 - 0.005 / 0.015 - least
    anchored = (after**-n - before**-n) * 0.658e-6 * 0.015**2 / (n * 3000.0)
    return retention, float(stock.mat_coefficient) * volumes, anchored * (1.3 / retention) ** (n + 1)


def sucked(machine: Any, wet: Any, moisture: float, known: tuple[float, float, float]) -> float:
    """Moisture ratio behind the one slot through the felt."""
    slot, stock, section = machine.vacuum.slot[0], machine.stock, machine.vacuum
    water, p, n = stock.water(), float(slot.vacuum), float(machine.press.dewatering.permeability_exponent)
    in_mat = known[1] * (p / 1000.0) ** float(stock.mat_exponent)
    full = float(water.density) * (1 / in_mat - 1 / float(stock.wall_density))
    alpha = float(wet.resistance) * (p / 1000.0) ** float(stock.resistance_exponent)
    room = 1 - (1 / float(stock.wall_density) + known[0] / float(water.density)) * in_mat
    entry = float(section.entry_factor) * 0.0696 * math.sqrt(room * alpha * in_mat)
    wall = min(full, float(machine.press.dewatering.equilibrium_share) * known[0] * (p / 1e5) ** -0.2)
    floor = wall + (full - wall) * min(1.0, entry / p) ** float(section.pore_index)
    if moisture <= floor:
        return moisture
    grammage = float(wet.grammage_felt)
    impulse = p * float(slot.slot_width) / float(wet.felt_speed)
    lost = n * known[2] * impulse / (float(water.kinematic_viscosity) * grammage**2)
    return min(moisture, floor + ((moisture - floor) ** -n + lost) ** (-1 / n) + float(slot.rewet) / grammage)


def pressed(machine: Any, wet: Any, moisture: float) -> tuple[float, float]:
    """Moisture ratio into and out of the press: web and felt by a search, the felt's loop by going round."""
    known = furnish(machine, wet)
    into = sucked(machine, wet, moisture, known)
    one, model, own = machine.press.nip[0], machine.press.dewatering, machine.press.felt
    speed, w, n = float(wet.felt_speed), float(wet.grammage_felt), float(model.permeability_exponent)
    nu, density = float(machine.stock.water().kinematic_viscosity), float(machine.stock.water().density)
    width = float(one.width(machine.yankee.diameter))
    weighted = float(one.pressure_weighted(float(one.line_load) / width, width))
    least = float(model.equilibrium_share) * known[0] * (weighted / 1e5) ** -0.2
    impulse = float(one.line_load) / speed
    rest = float(one.contact_time(width, speed)) / float(one.contact_time_reference)
    back = float(one.rewet) * (0.4 + 0.6 * math.sqrt(rest))
    f, x_full = float(own.felt_grammage), density / 1140.0 * (1 / float(own.solidity) - 1)
    x_free = density / 1140.0 * (1 / float(own.free_solidity) - 1)
    new = 124.5 * float(own.viscous_share) / (1.82e-5 * float(own.air_permeability))
    aged = new / float(own.felt_openness)
    s, s0 = float(own.solidity), float(own.free_solidity)
    squeezed = aged * math.sqrt(s / s0) * (1 + 56 * s**3) / (1 + 56 * s0**3)
    uptake = float(wet.parts.press.around.felt.uptake)
    x = 0.42
    for _ in range(200):
        room = f * max(x_full - x, 0.0)

        def misfit(m: float, room: float = room) -> float:
            water = w * (into - m)
            held = min(water, room)
            in_felt = nu * squeezed * (held**2 / (2 * room) + water - held if room else water)
            return nu * w**2 / (n * known[2]) * ((m - least) ** -n - (into - least) ** -n) + in_felt - impulse

        driest = float(brentq(misfit, least + 1e-6, into, xtol=1e-14))
        rewet = back * min(x + w * (into - driest) / f, x_full) / float(own.felt_moisture_reference)
        x = min(x + w * (into - driest) / f, x_full) - rewet / f + float(own.shower) / f
        for slot in (own.boxes, machine.vacuum.slot[0]):
            p = float(slot.vacuum)
            end = min(x_free, float(own.felt_end_reference) * (45e3 / p) ** float(own.retention_exponent))
            tau = float(own.time_constant) * 45e3 / p * 0.6 / float(own.felt_openness)
            x = min(x, end + (x - end) * math.exp(-float(slot.slot_width) / speed / tau))
            if slot is own.boxes:
                x += uptake / f
    return into, driest + rewet / w


class Dryer:
    """Yankee and hood of one machine with a pressed sheet."""

    def __init__(self, machine: Any, wet: Any, moisture: float, uneven_variance: float = 0.0) -> None:
        self.machine, self.moisture = machine, moisture
        self.spots = spots(uneven_variance)
        self.fine = 1e-6 if len(self.spots) == 1 else 1e-9
        self.hood, self.yankee = machine.hood, machine.yankee
        self.pressure = float(wet.atmospheric_pressure)
        self.grammage, self.speed = float(wet.grammage_yankee), float(self.yankee.speed)
        self.dry, self.wet = (float(v) for v in self.yankee.contact())
        turn = math.pi * float(self.yankee.diameter)
        before, covered = float(self.hood.start) * turn, float(self.hood.covered) * turn
        arc = float(self.yankee.wrap) * float(self.yankee.diameter) / 2
        self.lengths, self.turn = (before, covered, arc - before - covered), turn
        self.steam_temperature = float(steam.saturation_temperature_if97(self.yankee.steam_pressure))

    def sides(self, air: float, humidity: float) -> list[tuple[float, ...]]:
        """Per stretch: h, beta, air temperature, vapour pressure, plate, emissivity, heat capacity of vapour."""
        h, film, p = self.hood, self.hood.film_sheet_temperature, self.pressure
        still = gas_side.gas_side_given(h.open_coefficient, h.open_temperature, h.open_humidity, film, p)
        jets = gas_side.gas_side_hole_array(
            air, humidity, h.jet_velocity, h.nozzle_diameter, h.jet_open_area, h.nozzle_gap, h.contraction,
            h.hood_factor, film, p,
        )  # fmt: skip
        room = float(h.open_temperature)
        open_side = (*(float(v) for v in still[:2]), room, float(still[2]), room, 0.0, float(still[3]))
        plate = air - float(h.plate_offset)
        under = (*(float(v) for v in jets[:2]), air, float(jets[2]), plate, float(h.emissivity), float(jets[3]))
        return [open_side, under, open_side]

    def march(self, wall: float, air: float, humidity: float) -> Any:
        """Means over the area: water per fibre, temperature, contact heat, heat from the air, evaporation, vapour's."""
        ends = np.array([self.dried(g, wall, air, humidity) for g, _ in self.spots])
        grammage, share = np.array(self.spots).T
        return np.append((share * grammage) @ ends[:, :1], share @ ends[:, 1:])

    def dried(self, grammage: float, wall: float, air: float, humidity: float) -> Any:
        """The same of one spot, of this share of the mean grammage."""
        y = [self.moisture, float(self.machine.stock.temperature), 0.0, 0.0, 0.0, 0.0]
        per = grammage * self.grammage * self.speed
        for length, side in zip(self.lengths, self.sides(air, humidity), strict=True):
            h, beta, t_air, p_v, plate, grey, cp = side

            def rates(_: float, y: Any, h=h, beta=beta, t_air=t_air, p_v=p_v, plate=plate, grey=grey, cp=cp) -> Any:
                u, t = max(float(y[0]), 1e-6), float(y[1])
                activity, sorbed = 1.0, 0.0
                if u <= 1.2:
                    low = u**1.0585
                    x = 47.58 * u**1.877 + 0.10085 * (t - ICE) * low
                    activity = -math.expm1(-x)
                    sorbed = 0.10085 * low * VAPOUR_GAS * t * t * math.exp(-x) / activity
                p_s = min(activity * saturation(t), 0.999999 * self.pressure)
                conductance = beta * self.pressure / (VAPOUR_GAS * 0.5 * (t + t_air))
                m = conductance * math.log((self.pressure - p_v) / (self.pressure - p_s))
                phi = m * cp / h
                blown = phi / math.expm1(phi) if abs(phi) > 1e-6 else 1.0 - 0.5 * phi
                contact = (
                    self.dry + (self.wet - self.dry) * (1.0 - math.exp(-u / float(self.yankee.moisture_scale)))
                ) * (wall - t)
                gas = h * blown * (t_air - t) + grey * SIGMA * (plate**4 - t**4)
                vapour = latent(t)
                rise = (contact + gas - m * (vapour + sorbed)) / (per * (FIBRE + u * WATER))
                return [-m / per, rise, contact, gas, m, m * (WATER * (t - ICE) + vapour)]

            y = solve_ivp(rates, (0.0, length), y, method="LSODA", rtol=self.fine, atol=0.01 * self.fine).y[:, -1]
        return y

    def warmed(self, ring: Any) -> float:
        """Make-up air behind the exchanger, K."""
        h, site = self.hood, self.machine.site
        out, room = float(ring.return_temperature), float(site.room_temperature)
        kinds = (humid_air.heat_capacity_dry_air, humid_air.heat_capacity_steam)
        hot, cold = (
            float(flow) * (float(kinds[0](t)) + x * float(kinds[1](t)))
            for flow, t, x in ((ring.exhaust, out, h.exhaust_humidity), (ring.make_up, room, site.room_humidity))
        )
        return room + float(h.heat_recovery) * min(hot, cold) / cold * (out - room)

    def balance(self, end: Any, air: float, humidity: float, make_up: float) -> Any:
        """The hood's air, water and heat."""
        h, site = self.hood, self.machine.site
        density = humid_air.density_mixture(air, humidity, self.pressure)
        jets = hood.jet_dry_air(density, h.jet_velocity, h.jet_open_area, h.contraction, self.lengths[1], humidity)
        volume = impingement.jet_mass_flux(1.0, h.jet_velocity, h.jet_open_area, h.contraction) * self.lengths[1]
        fan = pumping.fan_power(volume, h.fan_pressure, h.fan_efficiency)
        duty = hood.HoodDuty(
            end[4], end[5], end[3], jets, air, h.exhaust_humidity, h.leakage, make_up, site.room_humidity,
            site.room_temperature, site.room_humidity, h.hood_loss_share * end[3], h.fan_heat_share * fan,
            h.lower_heating_value, h.combustion_water_ratio,
        )  # fmt: skip
        return hood.solve_exhaust_humidity(duty)

    def solve(self, wanted: float) -> tuple[float, float, float]:
        """Hood temperature that dries to the wanted moisture; moisture reached; gas power, W/m."""
        resistance = 1.0 / float(self.yankee.condensate_coefficient) + float(self.yankee.shell_resistance())
        covered = sum(self.lengths)

        given = self.hood.make_up_temperature

        def state(unknown: Any) -> tuple[float, float, float, float]:
            make_up = 400.0 + 50.0 * unknown[3] if given is None else float(given)
            return 400.0 + 10.0 * unknown[0], 700.0 + 50.0 * unknown[2], 0.1 * unknown[1], make_up

        def lack(unknown: Any) -> list[float]:
            wall, air, humidity, make_up = state(unknown)
            end = self.march(wall, air, humidity)
            bare = float(self.yankee.bare_coefficient) * (wall - float(self.machine.site.room_temperature))
            flux = (end[2] + bare * (self.turn - covered)) / self.turn
            ring = self.balance(end, air, humidity, make_up)
            gaps = [
                (self.steam_temperature - flux * resistance - wall) / 10.0,
                (float(ring.jet_humidity) - humidity) / 0.1,
                math.log(max(float(end[0]), 1e-6) / wanted),
            ]
            return gaps if given is not None else [*gaps, (self.warmed(ring) - make_up) / 50.0]

        start = [0.5, 3.0, 0.0] if given is not None else [0.5, 3.0, 0.0, 1.0]
        found = state(fsolve(lack, start, xtol=1e-7, factor=1.0))
        end = self.march(*found[:3])
        return found[1], float(end[0]), float(self.balance(end, found[1], *found[2:]).gas_power)


def spots(uneven_variance: float) -> list[tuple[float, float]]:
    """Relative grammage of the spots and their share of the area, by a gamma law; one spot of an even sheet."""
    if uneven_variance == 0.0:
        return [(1.0, 1.0)]
    grammage = gamma.ppf(norm.cdf(SCORES), 1 / uneven_variance, scale=uneven_variance)
    share = norm.pdf(SCORES) / norm.pdf(SCORES).sum()
    return list(zip(grammage / (share @ grammage), share, strict=True))


def plain_chain(machine: Any, wet: Any, uneven_variance: float = 0.0) -> Plain:
    """The whole chain of one machine; `wet` lends the flows of the white-water loop."""
    line, moisture = drained(machine, wet)
    into, out = pressed(machine, wet, moisture)
    dryer = Dryer(machine, wet, out, uneven_variance)
    air, reel, gas = dryer.solve(1.0 / float(machine.grade.reel_dryness) - 1.0)
    return Plain(line, moisture, into, out, reel, air, gas)


def differences(plain: Plain, result: Any) -> dict[str, float]:
    """Largest relative differences to a run of the package."""
    values = result.values
    wet = result.wet
    pairs = {
        "end of forming": (plain.dry_line, float(wet.formed.dry_line)),
        "moisture into the press": (plain.moisture_into_press, float(wet.moisture_into_press)),
        "moisture out of the press": (plain.moisture_pressed, float(wet.moisture_pressed)),
        "hood temperature above 0 °C": (plain.air_temperature - ICE, float(values["air_temperature"]) - ICE),
        "gas": (plain.gas_power * float(result.machine.width), float(values["gas_power"])),
    }
    return {name: abs(a / b - 1.0) for name, (a, b) in pairs.items()}
