"""What the machine page needs of a run beside what is told: values that the form shows as found, the press by name."""

from __future__ import annotations

from thinstock.app.words import say
from thinstock.machine.line import Machine
from thinstock.tell.run import Run

FOUND = {"air_temperature": "hood.air_temperature", "steam_pressure": "yankee.steam_pressure"}
"""Address of the value that the run finds itself."""


def found(run: Run) -> dict[str, str]:
    """Values of the form that the run finds itself, by address."""
    name = run.held()
    if not name:
        return {}
    where = run.machine.speed_address if name == "speed" else FOUND[name]
    return {where: say("machine.found", text=run.text(name))}


def press_in_words(machine: Machine) -> str:
    """The press of a machine by the names of its nips."""
    return ", ".join(nip.name for nip in machine.press.nip)
