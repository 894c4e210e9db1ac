"""The machine a command works on: a bundled one or a file, with the values that `--set` changes.

A change is written as in the machine file, ADDRESS=VALUE with its unit; all that is wrong is refused together.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from thinstock.case import load, values
from thinstock.case.library import machine_names
from thinstock.case.shapes import Shape, shapes
from thinstock.errors import Fault, Refused
from thinstock.library import grade_names
from thinstock.machine.line import Machine
from thinstock.words import address
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Fields

AIR_FIRST = ("site.altitude", "site.air_pressure")
"""Values that decide how a gauge pressure is read."""


def machine_from(name: str, changes: Sequence[str]) -> Machine:
    """The machine of this name or file with the changes made."""
    return changed(load(name), changes)


def machine_or_grade(name: str) -> str:
    """The name of a machine or file; what is neither that nor a grade is refused with the nearest of both."""
    known = machine_names()
    grades = address.nearest(name, grade_names())
    if name in known or not grades or Path(name).suffix or Path(name).exists():
        return name
    near = [*grades, *address.nearest(name, known)][:4]
    raise Refused(
        fault_in("cli.overrides.machine_or_grade", "machine or grade", name, near=', '.join(near))
    )  # fmt: skip


def changed(machine: Machine, changes: Sequence[str]) -> Machine:
    """The machine with values changed as texts say."""
    if not changes:
        return machine
    asked, faults = _asked(machine, changes)
    ready: dict[str, Any] = {}
    for first in (True, False):
        air = _air(machine, ready)
        for where, text in asked.items():
            if (where in AIR_FIRST) is not first:
                continue
            try:
                ready[where] = _value(machine, where, text, air)
            except values.Unread as wrong:
                faults.append(Fault(field=where, value=wrong.value, bound=wrong.bound, remedy=_spoken(where, wrong)))
    try:
        new = machine.with_(ready)
    except Refused as refused:
        faults += refused.faults
    if faults:
        raise Refused(faults)
    return new


def _asked(machine: Machine, changes: Sequence[str]) -> tuple[dict[str, str], list[Fault]]:
    """Texts by full address; what cannot be found, is no value, or is said twice, is a fault."""
    asked: dict[str, str] = {}
    faults: list[Fault] = []
    for change in changes:
        name, sign, text = change.partition("=")
        if not sign or not name.strip():
            faults.append(
                fault_in("cli.overrides.set", "--set", repr(change))
            )  # fmt: skip
            continue
        try:
            where = address.join(address.find(machine, name.strip()))
            _shape(machine, where)
        except Refused as refused:
            faults += refused.faults
            continue
        if where in asked:
            faults.append(fault_in("cli.overrides.set_twice", where))
        asked[where] = text.strip()
    return asked, faults


def _shape(machine: Machine, where: str) -> Shape:
    """What may stand at an address; a part or a list of parts is refused."""
    *owner_path, last = address.split(where)
    owner = address.get(machine, address.join(owner_path)) if owner_path else machine
    shape = shapes(type(owner)).get(last) if isinstance(owner, Fields) else None
    if shape is None or shape.sort in ("part", "parts"):
        node = address.get(machine, where)
        inside = [name for name, _ in address.listing(node)][:3] if isinstance(node, Fields | tuple) else []
        remedy = (
            phrase("cli.overrides.set_value_in_it_such", where=where, inside=inside[0])
            if inside
            else phrase("cli.overrides.change_machine_file")
        )
        raise Refused(Fault(field=where, bound=phrase("cli.overrides.part_machine_not_value"), remedy=remedy))
    return shape


def _air(machine: Machine, ready: dict[str, Any]) -> float:
    """Air pressure of the site, as far as its own changes can be made."""
    try:
        return float((machine.with_(ready) if ready else machine).site.atmospheric_pressure())
    except Refused:
        return float(machine.site.atmospheric_pressure())


def _value(machine: Machine, where: str, text: str, air: float) -> Any:
    shape = _shape(machine, where)
    raw: Any = text
    if shape.sort == "flag" and text.lower() in ("true", "false"):
        raw = text.lower() == "true"
    return values.read(shape, raw, air)[0]


def _spoken(where: str, wrong: values.Unread) -> str:
    """A remedy of the machine file as one types it on the command line."""
    last = address.split(where)[-1]
    return wrong.remedy.replace(f'{last} = "', f'--set "{where}=').replace(f"{last} = ", f"--set {where}=")


def value_at(machine: Machine, where: str, text: str) -> Any:
    """The value that a text means at an address of a machine; `Unread` where it is none of its kind."""
    return _value(machine, where, text, _air(machine, {}))
