"""Drying on a Yankee told plainly: the same two stages by nested root searches, and a stiff solver as oracle.

One case at a time and slow; it shares no line with the compiled march, only the formulas of the relations.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from thinstock.relations.contact_drying import contact_coefficient_exponential
from thinstock.relations.evaporation import ackermann_factor
from thinstock.relations.sorption import (
    fibre_saturation_tryding,
    heat_of_sorption_heikkila,
    heat_of_sorption_tryding,
    water_activity_heikkila,
    water_activity_tryding,
)
from thinstock.relations.steam import latent_heat_fit, saturation_pressure_if97
from thinstock.words.constants import gas_constant_molar, molar_mass_water, stefan_boltzmann

WATER = 4190.0
ZERO = 273.15


def held(u: float, t: float, isotherm: int) -> tuple[float, float]:
    """Water activity and heat of sorption, with the same bounds inside the formulas as the march has."""
    if isotherm == 0:
        return (1.0, 0.0) if u > 1.2 else (water_activity_heikkila(u, t), heat_of_sorption_heikkila(u, t))
    t = min(max(t, 250.0), 450.0)
    if u >= 0.999 * fibre_saturation_tryding(t):
        return 1.0, 0.0
    return water_activity_tryding(u, t), heat_of_sorption_tryding(u, t)


def latent_heat(t: float) -> float:
    return float(latent_heat_fit(min(t, 513.0)))


def boiling_pressure(t: float) -> float:
    return float(saturation_pressure_if97(min(max(t, 230.0), 620.0)))


class Sheet:
    """One case: the sheet's own numbers and the shell."""

    def __init__(self, case: dict[str, Any], surface_temperature: float) -> None:
        self.c = case
        self.wall = surface_temperature

    def heats(self, u: float, t: float, m: float, stretch: Sequence[float]) -> tuple[float, float, float]:
        """Contact, convective and radiative heat into the sheet, W/m²."""
        _, h, _, t_air, _, t_plate, emissivity, cp = stretch
        h_c = contact_coefficient_exponential(
            u, self.c["contact_coefficient_dry"], self.c["contact_coefficient_wet"], self.c["moisture_scale"]
        )
        convective = h * ackermann_factor(m * cp / h) * (t_air - t)
        return h_c * (self.wall - t), convective, emissivity * stefan_boltzmann * (t_plate**4 - t**4)

    def stage(self, u0: float, t0: float, a: float, stretch: Sequence[float]) -> tuple[float, float, float]:
        """Evaporation flux, moisture and temperature of an implicit stage of length a."""
        _, _, beta, t_air, p_v, _, _, _ = stretch
        c, p = self.c, self.c["pressure"]
        grammage = c["grammage"]
        k = grammage * (c["fibre_heat_capacity"] + u0 * WATER) / a

        def temperature(m: float) -> float:
            u = u0 - a * m / grammage

            def surplus(t: float) -> float:
                heat = sum(self.heats(u, t, m, stretch))
                return heat - m * (latent_heat(t) + held(u, t, c["isotherm"])[1]) - k * (t - t0)

            return float(brentq(surplus, 100.0, 2000.0, xtol=1e-12, rtol=1e-14))

        def lack(m: float) -> float:
            t = temperature(m)
            u = u0 - a * m / grammage
            conductance = beta * molar_mass_water * p / (gas_constant_molar * 0.5 * (t + t_air))
            p_s = held(u, t, c["isotherm"])[0] * boiling_pressure(t)
            return float(p_s - p + (p - p_v) * np.exp(-m / conductance))

        most = min(grammage * u0 / a * (1.0 - 1e-12), 1.0)
        low, high = -1e-6, min(1e-6, most)
        while lack(low) < 0.0:
            low *= 2.0
        while high < most and lack(high) > 0.0:
            low, high = high, min(1.3 * high, most)
        m = float(brentq(lack, low, high, xtol=1e-14, rtol=1e-13))
        return m, u0 - a * m / grammage, temperature(m)


def march(case: dict[str, Any], surface_temperature: float, segments: Any, steps: Sequence[int]) -> dict[str, float]:
    """The scheme of the compiled march, step by step."""
    sheet = Sheet(case, surface_temperature)
    gamma = 1.0 - 1.0 / 2.0**0.5
    grammage, c_f = case["grammage"], case["fibre_heat_capacity"]
    u, t = case["moisture_ratio"], case["sheet_temperature"]
    total = dict.fromkeys(("contact", "convective", "radiative", "evaporation", "vapour", "desorption"), 0.0)

    def book(m: float, u: float, t: float, stretch: Sequence[float], ds: float) -> tuple[float, float]:
        """Add a stage to the totals; returns what it takes from moisture and gives to energy per length."""
        heats = sheet.heats(u, t, m, stretch)
        latent, sorbed = WATER * (t - ZERO) + latent_heat(t), held(u, t, case["isotherm"])[1]
        for name, heat in zip(("contact", "convective", "radiative"), heats, strict=True):
            total[name] += heat * ds
        total["evaporation"] += m * ds
        total["vapour"] += m * latent * ds
        total["desorption"] += m * sorbed * ds
        per = grammage * case["yankee_speed"]
        return m / per, (sum(heats) - m * (latent + sorbed)) / per

    for stretch, n in zip(segments, steps, strict=True):
        z = np.arange(n + 1) / n
        nodes = stretch[0] * (z - np.sin(2.0 * np.pi * z) / (4.0 * np.pi))
        for ds in np.diff(nodes):
            dt = ds / case["yankee_speed"]
            energy = (c_f + u * WATER) * (t - ZERO)
            m1, u1, t1 = sheet.stage(u, t, gamma * dt, stretch)
            if u - (1.0 - gamma) * dt * m1 / grammage < 0.1 * u:
                m1, u1, t1 = sheet.stage(u, t, dt, stretch)
                water, heat = book(m1, u1, t1, stretch, ds)
                u, energy = u - water * ds, energy + heat * ds
            else:
                part = (1.0 - gamma) * ds
                water, heat = book(m1, u1, t1, stretch, part)
                u_star, e_star = u - water * part, energy + heat * part
                t_star = ZERO + e_star / (c_f + u_star * WATER)
                m2, u2, t2 = sheet.stage(u_star, t_star, gamma * dt, stretch)
                water, heat = book(m2, u2, t2, stretch, gamma * ds)
                u, energy = u_star - water * gamma * ds, e_star + heat * gamma * ds
            t = ZERO + energy / (c_f + u * WATER)
    return {"moisture_ratio": u, "sheet_temperature": t, **total}


def oracle(case: dict[str, Any], surface_temperature: float, segments: Any) -> tuple[float, float]:
    """Moisture ratio and temperature at the doctor, by a general stiff solver on the equations."""
    sheet = Sheet(case, surface_temperature)
    grammage, c_f, speed = case["grammage"], case["fibre_heat_capacity"], case["yankee_speed"]
    p = case["pressure"]

    def rates(_: float, y: Any, stretch: Sequence[float]) -> list[float]:
        u, t = float(y[0]), float(y[1])
        activity, sorbed = held(u, t, case["isotherm"])
        p_s = activity * boiling_pressure(t)
        conductance = stretch[2] * molar_mass_water * p / (gas_constant_molar * 0.5 * (t + stretch[3]))
        m = conductance * np.log((p - stretch[4]) / (p - p_s))
        heat = sum(sheet.heats(u, t, m, stretch)) - m * (latent_heat(t) + sorbed)
        return [-m / (grammage * speed), heat / (grammage * speed * (c_f + u * WATER))]

    y = [case["moisture_ratio"], case["sheet_temperature"]]
    for stretch in segments:
        solved = solve_ivp(rates, (0.0, stretch[0]), y, method="Radau", args=(stretch,), rtol=1e-9, atol=1e-11)
        assert solved.success
        y = solved.y[:, -1]
    return float(y[0]), float(y[1])
