"""The state of a page is its address: a machine (bundled or a file of the workspace), changes as texts, units.

Reads an address, makes the machine it stands for, and writes the address back in one fixed form. Keeps nothing: the
same address always gives the same machine, as long as the file stays the same.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, TypeVar
from urllib.parse import parse_qsl, quote, urlencode

from thinstock import loads
from thinstock.case import library
from thinstock.case.read import read as read_machine
from thinstock.case.shapes import Shape, shapes
from thinstock.case.text import origin_beside
from thinstock.case.values import Unread, read
from thinstock.errors import Fault, Refused
from thinstock.machine.line import Machine
from thinstock.studies.exchange import with_former, with_press
from thinstock.words import address, units
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Fields, Q
from thinstock.work.workspace import Content, Workspace

FIRST = "facial-roll"
"""The bundled machine shown when the address names none."""
AIR_FIRST = ("site.altitude", "site.air_pressure")
"""Changes that decide how a gauge pressure is read."""
MOST_CHANGES = 400
OWN = ("machine", "file", "former", "press", "set", "units")


@dataclass(frozen=True, kw_only=True)
class State:
    """What an address says."""

    machine: str = ""
    """A bundled machine ..."""
    file: str = ""
    """... or a file of the workspace."""
    former: str = ""
    """Another former of the library in place of the machine's own."""
    press: str = ""
    """Another press in place of the machine's own."""
    changes: tuple[tuple[str, str], ...] = ()
    unit_set: units.UnitSet = "mill"
    more: tuple[tuple[str, str], ...] = ()
    """What a page adds for itself."""

    def query(self, **other: str) -> str:
        """The address behind the question mark; with other values where given."""
        here = replace(self, **other) if other else self  # type: ignore[arg-type]
        rows: list[tuple[str, str]] = []
        rows.append(("file", here.file) if here.file else ("machine", here.machine or FIRST))
        rows += [(name, getattr(here, name)) for name in ("former", "press") if getattr(here, name)]
        rows += [("set", f"{where}={text}") for where, text in here.changes]
        if here.unit_set != "mill":
            rows.append(("units", here.unit_set))
        return urlencode([*rows, *here.more], quote_via=quote, safe="=/ ,").replace(" ", "+")

    def own(self, name: str, default: str = "") -> str:
        """A value the page added."""
        return next((value for key, value in self.more if key == name), default)

    def own_all(self, name: str) -> list[str]:
        """Every value of one name the page added."""
        return [value for key, value in self.more if key == name]

    def without_more(self) -> State:
        """The machine alone."""
        return replace(self, more=())


def parse(query: str) -> State:
    """The state of an address; what is no part of one is refused."""
    try:
        rows = parse_qsl(query, keep_blank_values=True, max_num_fields=MOST_CHANGES + 100)
    except ValueError:
        raise Refused(fault_in("app.state.address", "address")) from None
    found: dict[str, str] = {}
    changes: dict[str, str] = {}
    more: list[tuple[str, str]] = []
    for name, value in rows:
        if name == "set":
            where, sign, text = value.partition("=")
            if not sign or not where:
                raise Refused(fault_in("app.state.must_be_address_value", "set", repr(value)))
            changes[where.strip()] = text.strip()
        elif name in OWN:
            found[name] = value
        else:
            more.append((name, value))
    unit_set = found.get("units", "mill")
    if unit_set not in units.UNIT_SETS:
        raise Refused(fault_in("app.state.units", "units", repr(unit_set), unit_sets=", ".join(units.UNIT_SETS)))
    return State(
        machine="" if found.get("file") else found.get("machine", ""),
        file=found.get("file", ""),
        former=found.get("former", ""),
        press=found.get("press", ""),
        changes=tuple(changes.items()),
        unit_set=unit_set,  # type: ignore[arg-type]
        more=tuple(more),
    )


@dataclass(frozen=True, kw_only=True)
class Opened:
    """The machine of a state."""

    state: State
    """With every change in its fixed form."""
    base: Machine
    """As the file has it, with the former and press of the address."""
    machine: Machine
    content: Content
    bundled: bool
    said: tuple[str, ...] = ()
    """What another former or press could not take over."""
    taken: tuple[str, ...] = ()
    """What it took over."""
    dropped: tuple[str, ...] = ()
    """Changes to parts that another former or press took away."""


@lru_cache(maxsize=64)
def _machine_of(text: str, name: str, folder: str) -> Machine:
    """The machine of a text; `folder` where it is a file of the workspace."""
    return read_machine(origin_beside(text, name, folder)) if folder else loads(text, name)


def content_of(state: State, workspace: Workspace) -> Content:
    """The text the state starts from."""
    if state.file:
        return workspace.read(state.file)
    name = state.machine or FIRST
    known = library.machine_names()
    if name not in known:
        remedy = library.near(name, list(known))
        raise Refused(
            Fault(
                field="machine",
                value=repr(name),
                bound=phrase("app.state.there_no_such_bundled_machine"),
                remedy=remedy,
            )
        )
    return Content(name=f"{name}.toml", text=library.machine_text(name), digest="")


def open_state(state: State, workspace: Workspace) -> Opened:
    """The machine a state stands for; everything that is wrong with its changes is refused together."""
    content = content_of(state, workspace)
    base = _machine_of(content.text, content.name, str(workspace.folder) if state.file else "")
    taken: list[str] = []
    said: list[str] = []
    for word, exchange in (("former", with_former), ("press", with_press)):
        wanted = getattr(state, word)
        if wanted:
            swapped = exchange(base, wanted)
            base = swapped.machine
            taken += swapped.taken
            said += swapped.left
    changes, dropped = _still_there(base, state)
    fixed, machine = changed(base, changes, state.unit_set)
    return Opened(
        state=replace(state, changes=tuple(fixed.items())),
        base=base,
        machine=machine,
        content=content,
        bundled=not state.file,
        said=tuple(said),
        taken=tuple(taken),
        dropped=dropped,
    )


def _still_there(base: Machine, state: State) -> tuple[dict[str, str], tuple[str, ...]]:
    """The changes less those of parts that the address itself has exchanged."""
    kept: dict[str, str] = {}
    dropped: list[str] = []
    gone = ["forming.element.", "vacuum.slot."] if state.former else []
    gone += ["press.nip."] if state.press else []
    for where, text in state.changes:
        try:
            address.resolve(base, where)
        except Refused:
            if where.startswith(tuple(gone)):
                dropped.append(where)
                continue
        kept[where] = text
    return kept, tuple(dropped)


def changed(
    machine: Machine, changes: Mapping[str, str], unit_set: units.UnitSet = "mill"
) -> tuple[dict[str, str], Machine]:
    """The changes in their fixed form (full address, text with unit) and the machine with them."""
    if len(changes) > MOST_CHANGES:
        raise Refused(fault_in("app.state.set", "set", f"{len(changes)} changes", most_changes=MOST_CHANGES))
    faults: list[Fault] = []
    asked: dict[str, tuple[Shape, str]] = {}
    for name, text in changes.items():
        try:
            where = address.resolve(machine, name)
            asked[where] = (shape_at(machine, where), text)
        except Refused as refused:
            faults += refused.faults
    ready: dict[str, Any] = {}
    fixed: dict[str, str] = {}
    for first in (True, False):
        air = _air(machine, ready)
        for where, (shape, text) in asked.items():
            if (where in AIR_FIRST) is not first:
                continue
            fixed[where] = with_unit(shape, text, unit_set)
            raw: Any = fixed[where]
            if shape.sort == "flag" and raw in ("true", "false"):
                raw = raw == "true"
            try:
                ready[where] = read(shape, raw, air)[0]
            except Unread as wrong:
                faults.append(Fault(field=where, value=wrong.value, bound=wrong.bound, remedy=_plain(shape, wrong)))
    try:
        new = machine.with_(ready) if ready else machine
    except Refused as refused:
        faults += refused.faults
    if faults:
        raise Refused(faults)
    return {where: fixed[where] for where in asked}, new


def shape_at(machine: Machine, where: str) -> Shape:
    """What may stand at an address; a part is no value."""
    *owner_path, last = address.split(where)
    owner = address.get(machine, address.join(owner_path)) if owner_path else machine
    shape = shapes(type(owner)).get(last) if isinstance(owner, Fields) else None
    if shape is None or shape.sort in ("part", "parts"):
        raise Refused(fault_in("app.state.part_machine_not_value", where))
    return shape


def edge_unit_of(q: Q, unit_set: units.UnitSet) -> str:
    """The unit in which a field is read and written on the page; "" for a plain number."""
    unit = q.unit if unit_set == "mill" and q.unit else units.edge_unit(q.word, unit_set)
    found = units.find(unit)
    return "" if unit == "1" else unit if found is None else found.name


def with_unit(shape: Shape, text: str, unit_set: units.UnitSet) -> str:
    """A number typed without its unit is meant in the unit shown beside the box; a decimal comma is a point."""
    if shape.sort != "quantity":
        return text
    unit = edge_unit_of(shape.q, unit_set)
    text = units.with_point(text)
    try:
        float(text)
    except ValueError:
        return text
    return f"{text} {unit}" if unit else text


def _air(machine: Machine, ready: Mapping[str, Any]) -> float:
    try:
        return float((machine.with_(ready) if ready else machine).site.atmospheric_pressure())
    except Refused:
        return float(machine.site.atmospheric_pressure())


def _plain(shape: Shape, wrong: Unread) -> str:
    """A remedy of the machine file, said for a box: the value alone."""
    return wrong.remedy.replace(f"{shape.name} = ", "").replace(f'"{shape.name}"', "this value")


Made = TypeVar("Made")


def made_of(make: Callable[[State], Made], state: State, *, more: bool = False) -> tuple[Made, list[dict[str, str]]]:
    """What is made of an address; where that is refused, of its machine without changes, and the faults.

    With `more`, what an address says of its page counts as a change as well.
    """
    try:
        return make(state), []
    except Refused as refused:
        if not state.changes and not (more and state.more):
            raise
        return make(State(machine=state.machine, file=state.file, unit_set=state.unit_set)), fault_rows(refused.faults)


def fault_rows(faults: Iterable[Fault]) -> list[dict[str, str]]:
    """Faults for the page: by address, in words."""
    rows = []
    for fault in faults:
        text = fault.bound[:1].upper() + fault.bound[1:] if fault.bound else "Not possible"
        said = f"{fault.value}: {fault.bound}" if fault.value else text
        place = f"Line {fault.line}, {fault.field}: " if fault.line is not None else ""
        remedy = _ADDRESS.sub(lambda found: found[0].replace(".", " ").replace("_", " "), fault.remedy)
        rows.append({"field": fault.field, "text": f"{place}{said}. {remedy}".strip().rstrip(".") + "."})
    return rows


_ADDRESS = re.compile(r"\b[a-z]\w*(?:\.[a-z_]\w*)+\b(?<!\.toml)(?<!\.csv)")
"""An address of the machine in a remedy; the page says it in words."""
