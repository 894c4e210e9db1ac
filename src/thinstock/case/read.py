"""Reads a machine file into a `Machine`, and refuses everything that is wrong with it in one go.

Order of the faults: fields first, then the rules of parts whose fields passed, then those of the machine. The parse
is plain code over the sections' own declarations, not a validation library: each value needs its line, provenance,
unit and the site's air pressure, faults need the trade's words, and reading must not cost an import of its own.
"""

from __future__ import annotations

import dataclasses
import difflib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from thinstock.case import formats, library, text, values
from thinstock.case.lines import Key, lines_of
from thinstock.case.shapes import RETIRED, Shape, shapes
from thinstock.case.text import Origin
from thinstock.case.values import FileGiven, Placed, Row, Unread
from thinstock.errors import Fault, Refused
from thinstock.files.read import foreign
from thinstock.machine.headbox import Headbox
from thinstock.machine.line import RETIRED as RETIRED_STATUS
from thinstock.machine.line import Given, Machine
from thinstock.machine.stock import Stock
from thinstock.relations import retention
from thinstock.words import address
from thinstock.words.phrase import phrase
from thinstock.words.quantity import Fields, _one
from thinstock.words.units import STANDARD_ATMOSPHERE

Names = tuple[str, ...]

MANY = 20
"""Unknown fields of one table that are told one by one."""


def load(name_or_path: str | Path) -> Machine:
    """A machine by the name of a bundled one ("facial-roll") or by the path of its file.

    Parameters
    ----------
    name_or_path : str or Path
        What `thinstock.machines` lists, or a machine file (TOML, values with their units).

    Returns
    -------
    Machine
        All values in base SI, each with where it came from (`machine.given`).

    Raises
    ------
    Refused
        All faults of the file at once, each with its line; or no such machine, with the nearest names.

    Source: the file itself. What it leaves out is a default, and is named as assumed.
    """
    name = str(name_or_path)
    known = library.machine_names()
    if isinstance(name_or_path, str) and name in known:
        found = library.machine_text(name)
        return read(Origin(f"{name}.toml", None, found, text.digest(found.encode())))
    return read(text.origin_of_file(name, known))


def loads(content: str, file: str = "text") -> Machine:
    """A machine from the text of a file.

    Parameters
    ----------
    content : str
        The text of a machine file (TOML, values with their units).
    file : str
        What faults call it.

    Returns
    -------
    Machine
        All values in base SI.

    Raises
    ------
    Refused
        All faults of the text at once, each with its line.

    Source: the text itself. What it leaves out is a default, and is named as assumed.
    """
    return read(text.origin_of_text(content, file))


def read(origin: Origin) -> Machine:
    """The machine of a text."""
    with foreign(origin.file):
        data, mended, faults = text.parsed(origin.text, origin.file)
        places = lines_of(mended)
        data, wrong = formats.current(data, origin.file, places.get(("format",)))
        reader = _Reader(origin, places)
        reader.faults += faults
        if wrong:
            raise Refused([*faults, *wrong])
        return reader.machine(data)


class _Reader:
    """One reading: what was found so far."""

    def __init__(self, origin: Origin, places: dict[Key, int]) -> None:
        self.origin, self.places = origin, places
        self.faults: list[Fault] = []
        self.rules: list[Fault] = []
        self.given: dict[str, Given] = {}
        self.lines: dict[str, int] = {}
        self.pressure = STANDARD_ATMOSPHERE

    def machine(self, data: dict[str, Any]) -> Machine:
        """The whole machine, or everything that is wrong."""
        self._site_first(data)
        data = self._dryer(self._former(self._tray(data)))
        made = self.part(Machine, data, (), (), replace_given=True)
        if made is None or self.faults:
            raise Refused([*self.faults, *self.rules])
        assert isinstance(made, Machine)
        return made

    # -- places ---------------------------------------------------------------------------------------------

    def _line(self, key: Key) -> int | None:
        while key:
            if key in self.places:
                return self.places[key]
            key = key[:-1]
        return None

    def _fault(self, at: Names, key: Key, value: str, bound: str, remedy: str = "") -> None:
        self.faults.append(
            Fault(
                field=address.join(at) or "machine",
                value=value,
                bound=bound,
                remedy=remedy,
                file=self.origin.file,
                line=self._line(key),
            )
        )

    # -- one part -------------------------------------------------------------------------------------------

    def part(self, cls: type[Fields], data: Any, at: Names, key: Key, *, replace_given: bool = False) -> Fields | None:
        """A part from its table; None where something in it or below it is wrong."""
        if not isinstance(data, dict):
            self._fault(
                at, key, values._text(data, quote=True), phrase("case.read.must_be_table"), f"Write [{'.'.join(at)}]."
            )
            return None
        before = len(self.faults), len(self.rules)
        if (line := self._line(key)) is not None:
            self.lines[address.join(at)] = line
        known = shapes(cls)
        data = self._without_retired(cls, data, at, key)
        unknown = [name for name in data if name not in known]
        for name in unknown[:MANY]:
            self._fault((*at, name), (*key, name), "", phrase("case.read.there_no_such_field"), _near(name, cls))
        if len(unknown) > MANY:
            self._fault(at, key, f"{len(unknown) - MANY} more", phrase("case.read.there_no_such_fields"))
        made: dict[str, Any] = {}
        for name, shape in known.items():
            if name in data or shape.required or _asks(shape):
                made[name] = self._field(shape, data.get(name, _ABSENT), (*at, name), (*key, name))
        if (len(self.faults), len(self.rules)) != before:
            return None
        if replace_given:
            made["given"] = MappingProxyType(self.given)
        try:
            return cls(**made)
        except Refused as refused:
            self.rules += [self._rule(fault, at) for fault in refused.faults]
            return None

    def _without_retired(self, cls: type[Fields], data: dict[str, Any], at: Names, key: Key) -> dict[str, Any]:
        """The table without what older files still say and nothing uses any more; each is told with its successor."""
        kept = dict(data)
        for name in [name for name in data if (cls, name) in RETIRED]:
            del kept[name]
            line, note = self._line((*key, name)), phrase(f"retired.{RETIRED[cls, name]}")
            self.given[address.join((*at, name))] = Given(status=RETIRED_STATUS, line=line, note=note)
        return kept

    def _rule(self, fault: Fault, at: Names) -> Fault:
        """A fault of a rule, with its full address and the nearest line."""
        field = address.join((*at, *address.split(fault.field)))
        path = address.split(field)
        while path and address.join(path) not in self.lines:
            path = path[:-1]
        line = self.lines.get(address.join(path)) if path else None
        return replace(fault, field=field, file=self.origin.file, line=line)

    def _field(self, shape: Shape, raw: Any, at: Names, key: Key) -> Any:
        if shape.sort == "part":
            return self._one_part(shape, {} if raw is _ABSENT else raw, at, key)
        if shape.sort == "parts":
            return self._list(shape, [] if raw is _ABSENT else raw, at, key)
        if raw is _ABSENT:
            self._fault(at, key, "nothing", "is needed", f"Add {values.example(shape)}.")
            return None
        return self._value(shape, raw, at, key)

    def _value(self, shape: Shape, raw: Any, at: Names, key: Key) -> Any:
        """A single value, checked against its possible range."""
        try:
            value, given = values.read(shape, raw, self.pressure)
        except Unread as wrong:
            self._fault(at, key, wrong.value, wrong.bound, wrong.remedy)
            return None
        where = address.join(at)
        line = self._line(key)
        self.given[where] = FileGiven(
            **{f.name: getattr(given, f.name) for f in dataclasses.fields(Given)} | {"line": line},
            origin=self.origin,
            key=() if isinstance(raw, Row) else key,
        )
        if line is not None:
            self.lines[where] = line
        if shape.sort != "quantity":
            return value
        value, fault = _one(shape.name, value, shape.q)
        if fault is not None:
            shown = f'"{given.text}"' if isinstance(_inner(raw), str) else given.text
            remedy = fault.remedy or phrase("case.read.give_value_in_this_range")
            self._fault(at, key, shown, fault.bound, remedy)
        return value

    def _one_part(self, shape: Shape, raw: Any, at: Names, key: Key) -> Fields | None:
        if shape.lookup is not None:
            raw = self._looked_up(shape, raw, at, key)
        elif isinstance(raw, str) and "" not in shape.kinds:
            raw = {"kind": raw}
        cls = self._class(shape, raw, at, key)
        return None if cls is None else self.part(cls, _without_kind(raw), at, key)

    def _list(self, shape: Shape, raw: Any, at: Names, key: Key) -> tuple[Fields, ...] | None:
        if not isinstance(raw, list):
            self._fault(
                at, key, values._text(raw, quote=True), phrase("case.read.must_be_list"), f"Write [[{'.'.join(at)}]]."
            )
            return None
        if not raw and shape.required:
            self._fault(at, key, "nothing", phrase("case.read.at_least_one_needed"), f"Add [[{'.'.join(at)}]].")
            return None
        found: list[tuple[type[Fields] | None, Any]] = []
        keys = [item.key if isinstance(item, Placed) else (*key, number) for number, item in enumerate(raw)]
        for number, item in enumerate(raw):
            where = (*at, str(number + 1))
            if shape.lookup is not None:
                item = self._looked_up(shape, item, where, keys[number])
                if isinstance(item, dict) and len(raw) == 1 and shape.name == "furnish":
                    item.setdefault("share", Row(value="100 %", status="derived", note=phrase("case.read.only_fibre")))
            found.append((self._class(shape, item, where, keys[number]), item))
        names = address.item_names(tuple({"name": _name_of(cls, item)} for cls, item in found))
        made = [
            None if cls is None else self.part(cls, _without_kind(item), (*at, name), keys[number])
            for number, (name, (cls, item)) in enumerate(zip(names, found, strict=True))
        ]
        return None if any(part is None for part in made) else tuple(p for p in made if p is not None)

    def _class(self, shape: Shape, raw: Any, at: Names, key: Key) -> type[Fields] | None:
        """The class that the table's `kind` names."""
        if "" in shape.kinds:
            if isinstance(raw, dict) and "kind" in raw:
                bound, remedy = phrase("case.read.there_only_one_kind_here"), phrase("case.read.leave_kind_out")
                self._fault((*at, "kind"), (*key, "kind"), "", bound, remedy)
            return shape.kinds[""]
        options = list(shape.kinds)
        if not isinstance(raw, dict):
            self._fault(
                at,
                key,
                values._text(raw, quote=True),
                phrase("case.read.must_be_table"),
                f'Write {{ kind = "{options[0]}" }}.',
            )
            return None
        kind = raw.get("kind", options[0] if len(options) == 1 else None)
        if isinstance(kind, str) and kind in shape.kinds:
            return shape.kinds[kind]
        shown = "nothing" if kind is None else values._text(kind, quote=True)
        remedy = library.near(str(kind), options) if kind is not None else f'Add kind = "{options[0]}".'
        self._fault(
            (*at, "kind"), (*key, "kind"), shown, phrase("case.read.must_be_one", options=", ".join(options)), remedy
        )
        return None

    # -- the library ----------------------------------------------------------------------------------------

    def _looked_up(self, shape: Shape, raw: Any, at: Names, key: Key) -> Any:
        """A table filled up from the library row it names."""
        lookup = shape.lookup
        assert lookup is not None
        if isinstance(raw, str):
            raw = {lookup.key: raw}
        if not isinstance(raw, dict) or lookup.key not in raw:
            return dict(raw) if isinstance(raw, dict) else raw
        own = {name: value for name, value in raw.items() if name != lookup.key}
        name, known = raw[lookup.key], library.named(lookup.table, lookup.needs)
        if not isinstance(name, str) or name not in known:
            remedy = library.near(str(name), known)
            bound = phrase("case.read.library_has_no_such_give", key_=lookup.key)
            self._fault((*at, lookup.key), (*key, lookup.key), values._text(name, quote=True), bound, remedy)
            return {**_silenced(shape), **own, "name": own.get("name", str(name))}
        (cls,) = shape.kinds.values()
        row = library.table(lookup.table)[name]
        filled = {field: Row(row[field]) for field in shapes(cls) if isinstance(row.get(field), dict)}
        filled |= {f: Row(value=row[f], status="assumed") for f in shapes(cls) if isinstance(row.get(f), str)}
        if "name" in shapes(cls):
            filled["name"] = Row(value=name)
        return {**filled, **own}

    def _site_first(self, data: dict[str, Any]) -> None:
        """The pressure of the air, for gauge pressures anywhere in the file."""
        aside = _Reader(self.origin, self.places)
        site = aside.part(shapes(Machine)["site"].kinds[""], data.get("site", {}), (), ())
        if site is not None:
            self.pressure = float(site.atmospheric_pressure())  # type: ignore[attr-defined]

    def _former(self, data: dict[str, Any]) -> dict[str, Any]:
        """A former of the library, with what the file says beside it.

        `library` names it by key or words; so does `former` where no elements are listed. Elements without a `kind`
        change those of the library that have their name; a list with kinds takes the place of the library's.
        """
        forming = data.get("forming")
        if not isinstance(forming, dict):
            return data
        own = {name: value for name, value in forming.items() if name != "library"}
        asked = "library" if "library" in forming else "former"
        if asked == "former" and ("element" in own or not isinstance(own.get("former"), str)):
            return data
        rows, name = library.table("formers"), forming[asked]
        row = next((r for words, r in rows.items() if name in (words, r["key"])), None)
        at = ("forming", asked)
        if row is None:
            bound = phrase("case.read.library_has_no_such_former") + (
                "" if asked == "library" else phrase("case.read.no_elements_listed")
            )
            known = [r["key"] for r in rows.values()] if asked == "library" else library.former_names()
            self._fault(at, at, values._text(name, quote=True), bound, library.near(str(name), known))
            return {**data, "forming": {**own, "element": [{"kind": "gravity table"}]}}
        filled = _as_rows({k: v for k, v in row.items() if k not in ("key", "description", "wire", "element")})
        filled |= {"wire": row["wire"], "element": _as_rows(row["element"])}
        listed = own.get("element")
        if isinstance(listed, list) and listed and not any(isinstance(e, dict) and "kind" in e for e in listed):
            own["element"] = self._elements(filled["element"], listed)
        return {**data, "forming": {**filled, **own}}

    def _elements(self, elements: list[Any], changes: list[Any]) -> list[Any]:
        """The library's elements with the changes of those that are named."""
        names = [_inner(e["name"]) for e in elements]
        made = [Placed(e, ("forming", "library")) for e in elements]
        for number, change in enumerate(changes):
            key: Key = ("forming", "element", number)
            name = _inner(change.get("name")) if isinstance(change, dict) else None
            if name not in names:
                bound = phrase("case.read.names_no_element_this_former")
                remedy = library.near(str(name), names)
                self._fault(("forming", "element", "name"), key, values._text(name, quote=True), bound, remedy)
                continue
            made[names.index(name)] = Placed({**elements[names.index(name)], **change}, key)
        return list(made)

    def _dryer(self, data: dict[str, Any]) -> dict[str, Any]:
        """A machine without dryer is told at once."""
        if "yankee" not in data and "dryer" not in data:
            remedy = phrase("case.read.add_yankee_with_hood_or")
            self._fault(("yankee",), (), "nothing", phrase("case.read.machine_dries_on_yankee_or"), remedy)
        if "yankee" in data and "hood" not in data:
            data = {**data, "hood": {}}
        return data

    def _tray(self, data: dict[str, Any]) -> dict[str, Any]:
        """Retention from the consistencies of headbox and tray, where the file gives those."""
        box = data.get("headbox")
        if not isinstance(box, dict) or "tray_consistency" not in box:
            return data
        box = dict(box)
        raw = box.pop("tray_consistency")
        data = {**data, "headbox": box}
        at, key = ("headbox", "tray_consistency"), ("headbox", "tray_consistency")
        shape = shapes(Headbox)["consistency"]
        stock = data.get("stock", {})
        if not isinstance(stock, dict):
            return data
        if "retention" in stock:
            remedy = phrase("case.read.leave_out_tray_consistency_or")
            self._fault(
                at, key, values._text(_inner(raw), quote=True), phrase("case.read.retention_given_twice"), remedy
            )
            return data
        try:
            tray, given = values.read(shape, raw, self.pressure)
        except Unread as wrong:
            self._fault(at, key, wrong.value, wrong.bound, wrong.remedy)
            return data
        try:
            head, _ = values.read(shape, box.get("consistency"), self.pressure)
        except Unread:
            return data
        low, high = shapes(Stock)["retention"].q.possible
        kept = float(retention.retention_first_pass(head, tray)) if head else 0.0
        if not low <= kept <= high:
            bound = phrase("case.read.must_lie_between_headbox_consistency", value=f"{1 - low:.0%}")
            self._fault(at, key, f'"{given.text}"', bound, phrase("case.read.tray_water_tissue_holds_to"))
            return data
        note = phrase("case.read.from_headbox_tray_consistency_in", text=given.text)
        derived = Row(value=repr(kept), status="derived", where="retention.retention_first_pass", note=note)
        self.places.setdefault(("stock", "retention"), self._line(key) or 1)
        return {**data, "stock": {**stock, "retention": derived}}


_ABSENT: Any = object()


def _asks(shape: Shape) -> bool:
    """A part with a default that nevertheless holds something a file must say."""
    if shape.sort != "part" or shape.optional or "" not in shape.kinds:
        return False
    return any(s.required for s in shapes(shape.kinds[""]).values())


def _without_kind(raw: Any) -> Any:
    return {k: v for k, v in raw.items() if k != "kind"} if isinstance(raw, dict) else raw


def _inner(raw: Any) -> Any:
    return raw.get("value") if isinstance(raw, dict) else raw


def _name_of(cls: type[Fields] | None, raw: Any) -> str | None:
    """The name by which an item of a list goes."""
    given = _inner(raw.get("name")) if isinstance(raw, dict) else None
    if isinstance(given, str) and given:
        return given
    if cls is None or "name" not in shapes(cls):
        return None
    return shapes(cls)["name"].field.default or None


def _silenced(shape: Shape) -> dict[str, Any]:
    """Stand-ins for what an unknown library row would have given, so that it is one fault and not many."""
    (cls,) = shape.kinds.values()
    stand_in = {}
    for name, inner in shapes(cls).items():
        if inner.sort == "quantity" and inner.field.required:
            low, high = inner.q.usual or inner.q.possible
            unit = values.kind_of(inner.q)
            stand_in[name] = Row(value=values.exact(low if low > 0 else high, values.unit_of(inner.q), unit))
    return stand_in


def _as_rows(data: Any) -> Any:
    """A library former with its values marked as the library's."""
    if isinstance(data, dict):
        if "value" in data:
            return Row(data)
        return {k: v if k == "kind" else _as_rows(v) for k, v in data.items()}
    if isinstance(data, list):
        return [_as_rows(item) for item in data]
    return Row(value=data, status="assumed")


def _near(name: str, cls: type[Fields]) -> str:
    """The nearest field of this part, else where such a field belongs."""
    close = difflib.get_close_matches(name, shapes(cls), n=2, cutoff=0.6)
    if close:
        return f"Nearest: {' or '.join(close)}."
    homes = _homes()
    if name in homes:
        return phrase("case.read.it_belongs_in", homes=" or ".join(homes[name][:3]))
    elsewhere = difflib.get_close_matches(name, homes, n=1, cutoff=0.75)
    if elsewhere:
        return f"Nearest: {elsewhere[0]} in {homes[elsewhere[0]][0]}."
    return f"Known here: {', '.join(shapes(cls))}."


def _homes() -> Mapping[str, list[str]]:
    """The sections in which each field name occurs."""
    found: dict[str, list[str]] = {}

    def walk(cls: type[Fields], place: str) -> None:
        for shape in shapes(cls).values():
            home = place or phrase("case.read.top_file")
            if home not in found.setdefault(shape.name, []):
                found[shape.name].append(home)
            for inner in shape.kinds.values():
                inside = f"{place[1:-1]}.{shape.name}".strip(".[]")
                walk(inner, f"[{inside}]" if shape.sort == "part" else f"[[{inside}]]")

    walk(Machine, "")
    return found
