"""The same machine with another former of the library, or another press: what fits is carried over, the rest is said.

Sizes the machine file gives for a part of the same kind go along; the lie of the new part (wraps, lengths, how many) is
its own. No line load is ever raised here. A certificate's limit goes along only to a nip of the same kind: for another
kind, or for two nips on one Yankee, it is not known until someone has asked for it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from thinstock import library
from thinstock.case import formers as formers_of_library
from thinstock.case import new
from thinstock.case.library import former_names, machines
from thinstock.errors import Refused
from thinstock.machine.line import CLEARANCE, Given, Machine
from thinstock.machine.nips import Nip, RollNip, ShoeNip
from thinstock.machine.surfaces import BlindDrilled, Grooved, SuctionDrilled
from thinstock.relations.nip import angle_clear_rolls
from thinstock.words import address
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Fields, Q, declared, show

LIE = frozenset({"name", "wrap", "inner_wrap", "outer", "roll", "number", "length", "pitch", "slope", "vacuum"})
"""Fields of a forming element that make the former what it is; they are not carried over."""


@dataclass(frozen=True, kw_only=True)
class Exchanged:
    """A machine with another part, and in words what went along and what was left."""

    machine: Machine
    taken: tuple[str, ...]
    left: tuple[str, ...]


def formers() -> list[str]:
    """The formers of the library."""
    return former_names()


def presses() -> list[str]:
    """The presses that can be chosen."""
    return list(_PRESSES)


# -- formers -------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=64)
def _with(former: str) -> Machine:
    """Any machine with this former, to take the former from."""
    return new(
        reel_grammage="16 g/m2", crepe="15 %", reel_dryness="95 %", yankee_speed="1500 m/min", width="5 m",
        stock_temperature="40 degC", consistency="0.2 %", former=former, press="roll", line_load="80 kN/m",
        steam_pressure="7 bar(a)", hood_temperature="400 degC", freeness="500 mL CSF",
    )  # fmt: skip


def with_former(machine: Machine, former: str) -> Exchanged:
    """The machine with a former of the library in place of its own."""
    source = _with(former)
    taken: list[str] = []
    left: list[str] = []
    elements, given = _elements(machine, source, taken, left)
    slots, slot_given = _slots(machine, source, former, left)
    forming = dataclasses.replace(
        source.forming, element=elements, wire=machine.forming.wire, wire_draw=machine.forming.wire_draw
    )
    taken.insert(0, f"forming fabric ({machine.forming.wire.name})")
    kept = {
        where: one
        for where, one in machine.given.items()
        if not where.startswith(("forming.", "vacuum.slot."))
        or where.startswith("forming.wire.")
        or where == "forming.wire_draw"
    }
    new_given = {
        where: _bare(one)
        for where, one in source.given.items()
        if where.startswith("forming.") and not where.startswith(("forming.wire.", "forming.wire_draw"))
    }
    changed = dataclasses.replace(
        machine,
        forming=forming,
        vacuum=dataclasses.replace(machine.vacuum, slot=slots),
        given=MappingProxyType({**kept, **new_given, **given, **slot_given}),
    )
    return Exchanged(machine=_named(changed, machine), taken=tuple(taken), left=tuple(left))


def _named(changed: Machine, old: Machine) -> Machine:
    """The changed machine under a title that is true: what it is takes the place of, or stands behind, the old one.

    A bundled machine's title begins with what it makes and goes on with former and press; another's is left whole.
    """
    bundled = {m.title for m in machines()}
    first, sign, rest = old.title.partition(": " if old.title.endswith(old.description) else ",")
    own = old.title.removesuffix(phrase("machine.line.now", title="", description=old.description))
    if sign and rest and (old.title in bundled or rest == old.description):
        title = phrase("machine.line.retitled", first=first, description=changed.description)
    else:
        title = phrase("machine.line.now", title=own, description=changed.description) if own else own
    return dataclasses.replace(changed, title=title)


def _elements(
    machine: Machine, source: Machine, taken: list[str], left: list[str]
) -> tuple[tuple[Any, ...], dict[str, Given]]:
    """The new former's elements with the sizes the machine's own elements of the same kind give."""
    waiting = list(zip(address.item_names(machine.forming.element), machine.forming.element, strict=True))
    given: dict[str, Given] = {}
    made = []
    for name, element in zip(address.item_names(source.forming.element), source.forming.element, strict=True):
        mate = next((one for one in waiting if type(one[1]) is type(element)), None)
        if mate is None:
            made.append(element)
            continue
        waiting.remove(mate)
        carried = _sizes(machine, f"forming.element.{mate[0]}", mate[1], left)
        for field, value in carried.items():
            given[f"forming.element.{name}.{field}"] = _bare(machine.given[f"forming.element.{mate[0]}.{field}"])
            taken.append(
                phrase(
                    "studies.exchange.of_the",
                    what=_said(field),
                    name=f"{mate[1].name} ({_shown(mate[1], field, value)})",
                )
            )
        made.append(dataclasses.replace(element, **carried))
    left += [phrase("studies.exchange.new_former_has_none", name=one.name) for _, one in waiting]
    return tuple(made), given


def _sizes(machine: Machine, where: str, element: Fields, left: list[str]) -> dict[str, Any]:
    """What the file gives of an element, less what is the former's own lie."""
    found = {}
    for field in declared(type(element)):
        one = machine.given.get(f"{where}.{field.name}")
        value = getattr(element, field.name)
        if one is None or one.status in ("assumed", "") or not isinstance(field.about, Q) or value is None:
            continue
        if field.name in LIE:
            left.append(
                phrase("studies.exchange.of_the", what=_said(field.name), name=getattr(element, "name", "element"))
            )
        else:
            found[field.name] = value
    return found


def _slots(machine: Machine, source: Machine, former: str, left: list[str]) -> tuple[tuple[Any, ...], dict[str, Given]]:
    """Suction ahead of the press: slots under the wire need a wire on which the sheet leaves."""
    on_wire = source.forming.carrier == "wire"
    mine = list(zip(address.item_names(machine.vacuum.slot), machine.vacuum.slot, strict=True))
    kept = [(name, slot) for name, slot in mine if on_wire or slot.carrier == "felt"]
    left += [
        phrase("studies.exchange.sheet_leaves_on_felt", name=slot.name)
        for name, slot in mine
        if (name, slot) not in kept
    ]
    given = {
        where: one
        for where, one in machine.given.items()
        if any(where.startswith(f"vacuum.slot.{name}.") for name, _ in kept)
    }
    slots = [slot for _, slot in kept]
    if on_wire and not any(slot.carrier == "wire" for slot in slots):
        closing = formers_of_library.closing(former)
        slots = [*closing, *slots]
        if closing:
            names = ", ".join(slot.name for slot in closing)
            left.append(phrase("studies.exchange.added_from_library_since_machine", names=names))
        given |= _library_given(former, closing)
    return tuple(slots), given


def _library_given(former: str, closing: tuple[Any, ...]) -> dict[str, Given]:
    """Provenance of the library's slots."""
    rows = library.former_file(library.key_of(former)).get("closing", [])
    found = {}
    for name, row in zip(address.item_names(closing), rows, strict=True):
        for field, value in row.items():
            if isinstance(value, dict):
                found[f"vacuum.slot.{name}.{field}"] = Given(
                    text=str(value["value"]), status=value.get("status", "assumed"), source=value.get("source", ""),
                    note=value.get("note", ""),
                )  # fmt: skip
    return found


# -- presses -------------------------------------------------------------------------------------------------------

ALWAYS = ("line_load", "on_yankee", "nip_angle", "felted_sides")
"""Fields that go along to any nip."""
CERTIFIED = ("line_load_limit", "certificate")
"""What the certificate says of one nip of this kind."""
OF_ROLLS = ("roll_diameter", "mating_diameter", "nip_width", "cover_thickness", "cover_modulus", "rewet")
"""Fields that go from roll to roll."""
_COVER: dict[str, Any] = {"cover_thickness": 0.020, "cover_modulus": 26.64e6}
"""A usual cover, where the machine's own nip has none (assumed)."""


def _roll(name: str, surface: Any) -> Callable[[Nip], Nip]:
    def make(old: Nip) -> Nip:
        fields = {field: getattr(old, field) for field in ALWAYS}
        fields |= {field: getattr(old, field) for field in OF_ROLLS} if isinstance(old, RollNip) else _COVER
        if isinstance(old, RollNip) and type(old.surface) is type(surface):
            return RollNip(name=name, surface=old.surface, **fields)
        return RollNip(name=name, surface=surface, **fields)

    return make


def _shoe(old: Nip) -> Nip:
    if isinstance(old, ShoeNip):
        return old
    return ShoeNip(name="shoe press", surface=Grooved(), **{field: getattr(old, field) for field in ALWAYS})


_PRESSES: dict[str, tuple[Callable[[Nip], Nip], ...]] = {
    "suction pressure roll": (_roll(phrase("studies.exchange.suction_pressure_roll"), SuctionDrilled()),),
    "grooved pressure roll": (_roll(phrase("studies.exchange.grooved_pressure_roll"), Grooved()),),
    "blind-drilled pressure roll": (_roll(phrase("studies.exchange.blind_drilled_pressure_roll"), BlindDrilled()),),
    "shoe press": (_shoe,),
    "two pressure rolls": (
        _roll(phrase("studies.exchange.suction_pressure_roll"), SuctionDrilled()),
        _roll(phrase("studies.exchange.blind_drilled_pressure_roll"), BlindDrilled()),
    ),
}


def _apart(machine: Machine, nips: tuple[Nip, ...]) -> tuple[Nip, ...]:
    """Rolls on one Yankee so far apart that they do not overlap; the first stays where it is."""
    if machine.yankee is None:
        return nips
    placed = nips[:1]
    for one in nips[1:]:
        last = placed[-1]
        least = angle_clear_rolls(machine.yankee.diameter, last.roll_diameter, one.roll_diameter, CLEARANCE)
        placed = (*placed, one.changed(nip_angle=last.nip_angle + 1.02 * least))
    return placed


def with_press(machine: Machine, press: str) -> Exchanged:
    """The machine with another press; the line load and its limit go along as they are."""
    if press not in _PRESSES:
        raise Refused(fault_in("studies.exchange.press", "press", repr(press), presses=", ".join(_PRESSES)))
    old_name = address.item_names(machine.press.nip)[0]
    old = machine.press.nip[0]
    nips = _apart(machine, tuple(make(old) for make in _PRESSES[press]))
    certified = len(nips) == 1 and type(nips[0]) is type(old)
    if certified:
        nips = (dataclasses.replace(nips[0], **{field: getattr(old, field) for field in CERTIFIED}),)
    prefix = f"press.nip.{old_name}."
    given = {where: one for where, one in machine.given.items() if not where.startswith("press.nip.")}
    always = (*ALWAYS, *CERTIFIED) if certified else ALWAYS
    for name, nip in zip(address.item_names(nips), nips, strict=True):
        same = type(nip) is type(old)
        for where, one in machine.given.items():
            field = where.removeprefix(prefix)
            if field == "nip_angle" and nip.nip_angle != old.nip_angle:
                continue
            if where.startswith(prefix) and (field in always or (same and (field in OF_ROLLS or nip is old))):
                given[f"press.nip.{name}.{field}"] = _bare(one)
    taken = [phrase("studies.exchange.line_load", load=_shown(old, "line_load", old.line_load))]
    left = [phrase("studies.exchange.only_one_nip_carried_over", name=nip.name) for nip in machine.press.nip[1:]]
    if old.line_load_limit is not None:
        limit = phrase("studies.exchange.limit", shown=_shown(old, "line_load_limit", old.line_load_limit))
        if certified:
            taken.append(phrase("studies.exchange.as_entered", limit=limit))
        else:
            left.append(phrase("studies.exchange.it_was_entered_for_another", limit=limit))
    if all(type(nip) is not type(old) for nip in nips):
        what = phrase(f"studies.exchange.{'roll_and_cover' if isinstance(old, RollNip) else 'shoe'}")
        left.append(phrase("studies.exchange.of_the", what=what, name=old.name))
    if any(isinstance(nip, RollNip) for nip in nips) and not isinstance(old, RollNip):
        left.append(phrase("studies.exchange.cover_roll_mm_usual_hardness"))
    changed = dataclasses.replace(
        machine, press=dataclasses.replace(machine.press, nip=nips), given=MappingProxyType(given)
    )
    return Exchanged(machine=_named(changed, machine), taken=tuple(taken), left=tuple(dict.fromkeys(left)))


# -- words ---------------------------------------------------------------------------------------------------------


def _bare(one: Given) -> Given:
    """Provenance without the place in a file it no longer stands at."""
    return Given(text=one.text, status=one.status, source=one.source, where=one.where, note=one.note,
                 uncertainty=one.uncertainty)  # fmt: skip


def _said(field: str) -> str:
    return field.replace("_", " ")


def _shown(part: Fields, field: str, value: Any) -> str:
    about = next(d.about for d in declared(type(part)) if d.name == field)
    return show(value, about) if isinstance(about, Q) else str(value)
