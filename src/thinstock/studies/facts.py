"""Numbers of one machine that a run does not list by name: what benchmarks and checks ask for besides."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from thinstock.formula.label import worksheet
from thinstock.machine.numbers import number, numbers
from thinstock.machine.result import Result
from thinstock.relations import circulation_steps, transients
from thinstock.words import nomenclature
from thinstock.words.phrase import known, phrase


class Fact(NamedTuple):
    """A number with its word and its usual range, base SI; no number where the machine has none."""

    name: str
    label: str
    word: str
    value: float | None
    usual: tuple[float, float] | None


def fact(result: Result, name: str) -> Fact:
    """A result of the run by its name, or a further fact."""
    if name in numbers():
        about = number(name)
        found = result.values.get(name)
        value = None if found is None or not np.isfinite(float(found)) else float(found)
        return Fact(name, about.label, about.word, value, _usual(about.word))
    word, of = FURTHER.get(name, ("", None))
    with worksheet(False):
        value = of(result) if of is not None else None
    label = phrase(f"facts.{name}") if known(f"facts.{name}") else name.replace("_", " ")
    return Fact(name, label, word, value, _usual(word))


def _usual(word: str) -> tuple[float, float] | None:
    return nomenclature.word(word).usual if word else None


def _evenness(name: str) -> Callable[[Result], float | None]:
    def of(result: Result) -> float | None:
        if not result.values.get("formed", True):
            return None
        value = result.evenness().values().get(name)
        return float(value) if isinstance(value, float) else None

    return of


def _jet_ratio(result: Result) -> float | None:
    wire = result.parts.loop.around.demand.wire.speed
    return float(result.values["jet_speed"]) / float(wire)


def _silo(result: Result, of: str) -> float | None:
    mass = result.machine.loop.silo_mass
    if mass is None:
        return None
    drained = [s for s in result.streams if s.id == "forming_water"]
    flow = sum(float(s.fibre + s.water) for s in drained) * float(result.machine.width)
    if of == "hold_up":
        return float(mass) / flow
    retention, back = float(result.values["retention_fines"]), float(result.values["return_share"])
    return float(circulation_steps.silo_time_constant(mass, flow, back, retention, result.machine.loop.reject_share))


def _dissolved_time(result: Result) -> float | None:
    if "circuit" not in result.parts:
        return None
    done, machine = result.parts.circuit, result.machine
    part, silo = done.part, machine.loop.silo_mass
    tanks = [part.chest_mass, part.pit_mass, part.broke_mass, 0.0 if silo is None else silo]
    tanks += [part.clear_mass, part.cloudy_mass] if part.saveall is not None else []
    rejects = done.flow("reject_water", "reject", water=True)
    leaving = done.effluent + rejects + done.flow("reel_water", "reel", water=True)
    held = sum(float(tank) for tank in tanks) / float(machine.width)
    return float(transients.dissolved_time_constant(held, float(leaving)))


def _circuit(of: Callable[[Result], float | None]) -> Callable[[Result], float | None]:
    return lambda result: of(result) if result.machine.circuit is not None else None


def _recovery(result: Result) -> float | None:
    circuit = result.machine.circuit
    return None if circuit is None or circuit.saveall is None else float(circuit.saveall.recovery)


def _vacuum(result: Result) -> float | None:
    users = [c for c in result.energy if c.stage == "vacuum" or c.id in ("roll_vacuum", "felt_boxes")]
    return sum(float(c.per_mass) for c in users) if result.values.get("formed", True) else None


def _box(of: str) -> Callable[[Result], float | None]:
    def found(result: Result) -> float | None:
        if "press" not in result.parts:
            return None
        boxes, nip = result.machine.press.felt.boxes, result.parts.press.nips[0]
        if of == "velocity":
            return float(nip.box_air_flow) / float(boxes.slot_width)
        return float(boxes.slot_width) / float(result.parts.press.out.speed)

    return found


def _evaporated(result: Result) -> float | None:
    evaporation, made = result.values.get("evaporation"), result.values.get("production")
    if evaporation is None or made is None:
        return None
    return float(evaporation) * float(result.machine.width) / float(made)


FURTHER: dict[str, tuple[str, Callable[[Result], float | None] | None]] = {
    "crowding_number": ("crowding_number", _evenness("crowding_number")),
    "holes_per_area": ("holes_per_area", _evenness("holes_per_area")),
    "jet_ratio": ("jet_ratio", _jet_ratio),
    "felt_openness": ("felt_openness", lambda result: float(result.machine.press.felt.felt_openness)),
    "press_loss": ("press_loss", _circuit(lambda result: float(result.machine.circuit.press_loss_fines))),  # type: ignore[union-attr]
    "saveall_recovery": ("saveall_recovery", _recovery),
    "silo_hold_up": ("time_constant", lambda result: _silo(result, "hold_up")),
    "silo_time_constant": ("time_constant", lambda result: _silo(result, "time_constant")),
    "dissolved_time_constant": ("chest_time_constant", _dissolved_time),
    "evaporation_per_product": ("evaporation_per_product", _evaporated),
    "vacuum_electricity_per_product": ("specific_energy", _vacuum),
    "felt_box_face_velocity": ("face_velocity", _box("velocity")),
    "felt_box_dwell": ("dwell", _box("dwell")),
}
"""Word and function of each further fact."""
