"""How each value of a machine is known: by its file, by what someone changed, or by the default of its field.

The statuses are those of the machine file; what nobody gave and no source stands behind is "assumed" and is counted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.machine.line import Machine
from thinstock.words import address
from thinstock.words.quantity import Fields, Q, declared, show

ASSUMED = "assumed"


@dataclass(frozen=True, kw_only=True)
class Known:
    """One numeric value of a machine and how it is known."""

    address: str
    value: Any
    """Base SI; None for a limit that is not given."""
    about: Q
    status: str
    source: str

    @property
    def unusual(self) -> bool:
        """True where it lies outside its usual range (in any case of an array)."""
        if self.value is None or self.about.usual is None:
            return False
        low, high = self.about.usual
        array = np.asarray(self.value)
        return bool(np.any((array < low) | (array > high)))


def usual_range(known: Known) -> str:
    """The usual range of a value as a person writes it."""
    if known.about.usual is None:
        return ""
    return " to ".join(show(end, known.about) for end in known.about.usual)


def known_values(machine: Machine) -> list[Known]:
    """Every numeric value of a machine in the order of its parts, with its status and source."""
    abouts: dict[type, dict[str, Any]] = {}
    found = []
    for where, owner, last, value in address.owned(machine):
        if not isinstance(owner, Fields):
            continue
        cls: type = type(owner)
        if cls not in abouts:
            abouts[cls] = {d.name: d.about for d in declared(cls)}
        about = abouts[cls].get(last)
        if not isinstance(about, Q):
            continue
        given = machine.given.get(where)
        found.append(
            Known(
                address=where,
                value=value,
                about=about,
                status=(given.status if given is not None else about.status) or ASSUMED,
                source=given.source if given is not None else about.source,
            )
        )
    return found


def assumed(machine: Machine) -> list[Known]:
    """The values that are assumed; a limit that is not given is not a value."""
    return [k for k in known_values(machine) if k.status == ASSUMED and k.value is not None]


def parted(machine: Machine, where: str) -> tuple[str, str]:
    """What an address is and the part it is of, as a person says it; a value of the machine itself has no part."""
    *owners, last = address.split(where)
    return last.replace("_", " "), owners[-1].replace("_", " ") if owners else ""


def in_words(machine: Machine, where: str) -> str:
    """An address as a person says it: "fabric tension (forming roll)"."""
    said, part = parted(machine, where)
    return said if part in said else f"{said} ({part})"
