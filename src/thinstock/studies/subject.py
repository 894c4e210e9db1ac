"""Whose sheet a ladder is about: a machine of one case, a bundled machine by its name, or a grade."""

from __future__ import annotations

from thinstock import library
from thinstock.case import load
from thinstock.errors import Refused
from thinstock.machine.line import Machine
from thinstock.words.fault import fault_in

_LIMITS_OF_A_MACHINE = (
    "headbox.headbox_flow_limit_high",
    "headbox.headbox_pressure_limit",
    "headbox.fan_pump_flow_limit",
    "headbox.fan_pump_head_limit",
    "loop.screen_flow_limit",
    "loop.silo_flow_limit",
)


def subject(given: Machine | str) -> tuple[Machine, float, str, bool]:
    """The machine, the consistency it is asked at, a title, and whether the machine's own former and limits count."""
    if isinstance(given, Machine):
        if given.cases() is not None:
            raise Refused(fault_in("studies.ladder.machine", "machine", "arrays"))
        return given, float(given.headbox.consistency), given.title, True
    if given in library.grade_names():
        grade = library.grade(given)
        machine = load(grade.machine).with_(
            {
                "grade.reel_grammage": grade.reel_grammage_of_fibre,
                "grade.reel_dryness": grade.reel_dryness,
                "grade.crepe": grade.crepe,
                **dict.fromkeys(_LIMITS_OF_A_MACHINE),
            }
        )
        return machine, grade.consistency, f"{given}, {grade.description}", False
    machine = load(given)
    return machine, float(machine.headbox.consistency), machine.title, True
