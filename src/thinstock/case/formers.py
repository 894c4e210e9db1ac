"""A former of the library as a part of a machine, and a machine with another former in place of its own.

The former brings its elements, window and transfers and the wire-side slots that close it; everything else of the
machine stays as it is.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from thinstock import library
from thinstock.case.read import _as_rows, _Reader
from thinstock.case.text import origin_of_text
from thinstock.errors import Refused
from thinstock.machine import Given, Machine
from thinstock.quantity import Part
from thinstock.sections.forming import Forming
from thinstock.sections.vacuum import Slot, VacuumSection


def former(name: str) -> Forming:
    """A former by its key ("wire_felt_c") or its words ("wire and felt, C-wrap")."""
    return _former(library.key_of(name))[0]


def closing(name: str) -> tuple[Slot, ...]:
    """The slots under the wire behind a former, as [vacuum] lists them; none where the sheet leaves on a felt."""
    return _former(library.key_of(name))[1]


@lru_cache(maxsize=16)
def _former(key: str) -> tuple[Forming, tuple[Slot, ...], Mapping[str, Given]]:
    data = library.former_file(key)
    fields = {k: v for k, v in data.items() if k not in (*library.PLACE, "wire", "description")}
    given: dict[str, Given] = {}
    forming = _read(Forming, fields, ("forming",), key, given)
    slots = [{"carrier": "wire", **slot} for slot in data.get("closing", [])]
    vacuum = _read(VacuumSection, {"slot": slots}, ("vacuum",), key, given)
    assert isinstance(forming, Forming) and isinstance(vacuum, VacuumSection)
    return forming, vacuum.slot, MappingProxyType(given)


def _read(cls: type[Part], fields: dict[str, Any], at: tuple[str, ...], key: str, given: dict[str, Given]) -> Part:
    """A part from library fields; a fault in them would be one of the library."""
    reader = _Reader(origin_of_text("", f"{key}.toml"), {})
    made = reader.part(cls, _as_rows(fields), at, ())
    if made is None or reader.faults:
        raise Refused([*reader.faults, *reader.rules])
    given.update(reader.given)
    return made


def with_former(machine: Machine, name: str) -> Machine:
    """The machine with a library former in place of its own, on the same wire; wire-side slots go with the former."""
    forming, slots, given = _former(library.key_of(name))
    own = machine.forming
    swapped = dataclasses.replace(forming, wire=own.wire, wire_draw=own.wire_draw)
    others = tuple(slot for slot in machine.vacuum.slot if slot.carrier != "wire")
    vacuum = dataclasses.replace(machine.vacuum, slot=(*slots, *others))
    kept = {
        address: one for address, one in machine.given.items()
        if not address.startswith(("forming.element", "forming.window", "vacuum.slot"))
    }  # fmt: skip
    kept |= {a: g for a, g in machine.given.items() if any(a.startswith(f"vacuum.slot.{_name(s)}.") for s in others)}
    kept |= {a: g for a, g in given.items() if not a.startswith("forming.wire")}
    return dataclasses.replace(machine, forming=swapped, vacuum=vacuum, given=MappingProxyType(kept))


def _name(slot: Slot) -> str:
    return slot.name.replace(" ", "_")
