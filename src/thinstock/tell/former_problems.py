"""Problems about formers: what disturbs a sheet, pulses, rolls that throw, gaps, ponds. Chosen by what the machine has.

Part of `problems`: one function for every kind, its words under the same name in problems.toml.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from thinstock.machine.elements import (
    Foils,
    FormingElement,
    FormingRoll,
    InclinedBoxes,
    JetImpact,
    SuctionBreastRoll,
    TableRolls,
)
from thinstock.relations import disturbance, drainage, jet, mat, vacuum

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.tell.maker import Answers, Maker

GRAM_PER_TONNE = 1e-6
YARDSTICK = 24.0
BOILS = 9.5e4
"""Suction at which warm water boils, Pa: no roll sucks more."""


def _own(m: Maker, kind: type[FormingElement]) -> Any:
    """The machine's element of a kind; a usual one where it is asked for and the machine has none."""
    return next((e for e in m.machine.forming.element if isinstance(e, kind)), None) or kind()  # type: ignore[call-arg]


def _slow(m: Maker) -> Any:
    """A speed of tables, whatever the machine."""
    return m.between("speed", 100 / 60, 600 / 60)


def _pulse(m: Maker) -> Answers:
    cap = m.given("suction_cap", BOILS, 2)
    return [("vacuum", drainage.suction_table_roll_taylor(m.density(), _slow(m), cap))]


def _pulse_in_layers(m: Maker) -> Answers:
    density = m.density()
    pulse = drainage.suction_table_roll_taylor(density, _slow(m), m.given("suction_cap", BOILS, 2))
    depth = m.between("stock_depth", 3e-3, 6e-3)
    return [("vacuum", pulse), ("pulse_in_layers", disturbance.pulse_in_layers(pulse, density, depth))]


def _depth(m: Maker) -> Answers:
    weight, speed, kept, density = m.near("grammage", m.wet.grammage_wire, 0.2, 3), m.speed(), m.kept(), m.density()

    def depth(thin: Any) -> Any:
        return jet.stock_depth(jet.flow_per_width(weight, speed, thin, kept, density), speed)

    return [("stock_depth", depth(m.thin())), ("stock_depth", depth(m.given("consistency", GRAM_PER_TONNE, 1, "gram")))]


def _pulse_rate(m: Maker) -> Answers:
    pitch = _own(m, TableRolls if _has(m.machine, TableRolls) else Foils).pitch
    return [("pulse_rate", disturbance.pulse_rate(m.speed(), m.near("pitch", pitch, 0.2, 3)))]


def _rim(m: Maker) -> Answers:
    radius = m.between("roll_radius", 0.08, 0.2)
    large, told = m.between("roll_radius", 0.4, 0.55, 2, "breast_radius"), m.given("rim_acceleration", YARDSTICK, 2)
    return [
        ("rim_acceleration", disturbance.rim_acceleration(_slow(m), radius)),
        ("speed", disturbance.speed_rim(told, radius)),
        ("speed", disturbance.speed_rim(told, large)),
    ]


def _kick(m: Maker) -> Answers:
    density, radius = m.density(), m.between("roll_radius", 0.08, 0.18)
    speed = m.between("speed", 250 / 60, 500 / 60)
    depth, mass = m.between("stock_depth", 3e-3, 6e-3), m.given("fabric_mass", 0.4, 2)
    load = disturbance.line_load_table_roll(density, speed, radius, m.between("flux", 0.3, 0.9))
    kink = disturbance.kink_angle(load, m.between("fabric_tension", 3e3, 6e3), mass, density, depth, speed)
    kick = disturbance.kick_speed(speed, kink)
    ratio = disturbance.kick_height_ratio(kick, depth)
    return [("line_load", load), ("kink_angle", kink), ("kick_speed", kick), ("kick_height_ratio", ratio)]


def _bare_foil(m: Maker) -> Answers:
    density, speed, none = m.density(), m.between("speed", 5.0, 12.0), m.plain("nothing", 0.0)
    flux = m.given("flux", float(speed) * np.tan(np.radians(1.0 + 3.0 * m.dice.random())), 2)
    drop = drainage.pressure_drop_mat_fabric(
        flux, m.given("deposited", 0.0, 1), m.given("viscosity", m.wet.water.viscosity, 2), density,
        m.given("resistance_coefficient", 1e9, 1), none, m.given("fabric_resistance", 0.0, 1),
        m.near("fabric_inertia", 8.2, 0.2),
    )  # fmt: skip
    most = drainage.suction_table_roll_taylor(density, speed, m.given("suction_cap", BOILS, 2))
    return [("pressure_drop", drop), ("vacuum", most), ("share", drop / most)]


def _thrown(m: Maker) -> Answers:
    roll, none = _own(m, SuctionBreastRoll), m.given("stock_depth", 0.0, 1)
    density, radius = m.density(), m.near("roll_radius", roll.roll_diameter / 2, 0.15)
    shell = disturbance.shell_depth_filled(
        m.between("drained", 4e-3, 8e-3), m.near("roll_open_area", roll.roll_open_area, 0.15)
    )
    high = m.near("vacuum", roll.vacuum or 2e4, 0.15, name="high")
    low = m.given("vacuum", float(high) / 2, 2, "low")
    return [
        ("shell_depth", shell),
        ("speed", disturbance.speed_throw(density, none, shell, radius, high)),
        ("speed", disturbance.speed_throw(density, none, shell, radius, low)),
    ]


def _gap(m: Maker) -> Answers:
    roll = _own(m, FormingRoll)
    pull, mass, density = m.near("fabric_tension", roll.fabric_tension), m.given("fabric_mass", 0.4, 2), m.density()
    radius = m.near("roll_radius", roll.roll_diameter / 2, 0.1)
    pressed = drainage.pressure_forming_roll(pull, mass, m.speed(), radius)
    wave = disturbance.wave_speed_wire(pull, mass, density, m.between("stock_depth", 4e-3, 8e-3))
    return [
        ("pressure_drop", pressed),
        ("jet_speed", jet.jet_speed_lowest_into_pressure(pressed, density)),
        ("speed", wave),
    ]


def _pond(m: Maker) -> Answers:
    boxes = _own(m, InclinedBoxes)
    head = m.near("pond_head", boxes.pond_head or 0.25)
    length = m.near("pond_length", boxes.length * boxes.number)
    return [
        ("speed", disturbance.speed_pond(head)),
        ("pond_time", disturbance.pond_time(head, length, m.between("flow_per_width", 0.08, 0.2))),
        ("pond_drag", disturbance.pond_drag(m.between("stock_depth", 0.03, 0.08), head)),
    ]


def _packed(m: Maker) -> Answers:
    first = m.given("resistance_coefficient", m.wet.resistance, 2)
    exponent = m.plain("resistance_exponent", float(m.machine.stock.resistance_exponent))
    kept, now = m.between("pressure_kept", 2e3, 3e3), m.between("pressure_drop", 40.0, 80.0)
    packed, sprung = (mat.specific_filtration_resistance_power(p, first, exponent) for p in (kept, now))
    return [
        ("specific_filtration_resistance", packed),
        ("specific_filtration_resistance", sprung),
        ("resistance_factor", packed / sprung),
    ]


def _table_time(m: Maker) -> Answers:
    return [("dwell", vacuum.dwell_slot(m.between("length", 6.0, 12.0), _slow(m)))]


KINDS: dict[str, Callable[[Maker], Answers]] = {
    "pulse of a table roll": _pulse,
    "depth on the wire": _depth,
    "time on a table": _table_time,
    "pulses in a second": _pulse_rate,
    "pulse in layers": _pulse_in_layers,
    "rim of a roll": _rim,
    "packed mat": _packed,
    "foil under a bare wire": _bare_foil,
    "suction breast roll": _thrown,
    "into the gap": _gap,
    "pond": _pond,
    "kick of a table roll": _kick,
}
PULSED = (TableRolls, Foils)
TABLE = (*PULSED, JetImpact)
FOR: Mapping[str, tuple[type[FormingElement], ...]] = {
    "pulse of a table roll": (TableRolls,),
    "time on a table": TABLE,
    "pulses in a second": PULSED,
    "pulse in layers": (TableRolls,),
    "rim of a roll": (TableRolls, JetImpact),
    "packed mat": PULSED,
    "foil under a bare wire": (Foils,),
    "suction breast roll": (SuctionBreastRoll,),
    "into the gap": (FormingRoll,),
    "pond": (InclinedBoxes,),
    "kick of a table roll": (TableRolls,),
}
"""What a machine must have one of for a kind to be set; any machine where it is not here."""


def suits(machine: Machine, kind: str) -> bool:
    """Whether the machine has what a kind is about."""
    return kind not in FOR or _has(machine, *FOR[kind])


def _has(machine: Machine, *kinds: type[FormingElement]) -> bool:
    return any(isinstance(e, kinds) for e in machine.forming.element)
