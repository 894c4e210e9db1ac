"""A former of the library as a part of a machine: its elements, window and transfers, and the slots that close it.

Reads the library through the reader of machine files, so that units, ranges and rules are the same.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from thinstock import library
from thinstock.case.read import _as_rows, _Reader
from thinstock.case.text import origin_of_text
from thinstock.errors import Refused
from thinstock.machine.forming import Forming
from thinstock.machine.vacuum import Slot, VacuumSection
from thinstock.words.quantity import Fields


def former(name: str) -> Forming:
    """A former by its key ("wire_felt_c") or its words ("wire and felt, C-wrap")."""
    return _former(library.key_of(name))[0]


def closing(name: str) -> tuple[Slot, ...]:
    """The slots under the wire behind a former, as [vacuum] lists them; none where the sheet leaves on a felt."""
    return _former(library.key_of(name))[1]


@lru_cache(maxsize=16)
def _former(key: str) -> tuple[Forming, tuple[Slot, ...]]:
    data = library.former_file(key)
    fields = {k: v for k, v in data.items() if k not in (*library.PLACE, "wire", "description")}
    forming = _read(Forming, fields, ("forming",), key)
    slots = [{"carrier": "wire", **slot} for slot in data.get("closing", [])]
    vacuum = _read(VacuumSection, {"slot": slots}, ("vacuum",), key)
    assert isinstance(forming, Forming) and isinstance(vacuum, VacuumSection)
    return forming, vacuum.slot


def _read(cls: type[Fields], fields: dict[str, Any], at: tuple[str, ...], key: str) -> Fields:
    """A part from library fields; a fault in them would be one of the library."""
    reader = _Reader(origin_of_text("", f"{key}.toml"), {})
    made = reader.part(cls, _as_rows(fields), at, ())
    if made is None or reader.faults:
        raise Refused([*reader.faults, *reader.rules])
    return made
