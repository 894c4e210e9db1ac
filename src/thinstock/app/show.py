"""What the machine page needs of a run beside what is told: values that the form shows as found, the press by name."""

from __future__ import annotations

from thinstock.app.words import say
from thinstock.machine.line import Machine
from thinstock.tell.run import Run


def found(run: Run) -> dict[str, str]:
    """Values of the form that the run finds itself, by address."""
    held, speed = run.held(), run.machine.speed_address
    if not held.number:
        return {}
    where = speed if speed in held.addresses else held.addresses[0]
    return {where: say("machine.found", text=run.text(held.number))}


def press_in_words(machine: Machine) -> str:
    """The press of a machine by the names of its nips."""
    return ", ".join(nip.name for nip in machine.press.nip)
