"""Puts the changes of a machine into the text it was read from, and leaves every other character as it was.

Only fields whose value or provenance differs are touched. What cannot be put in its place so (another list of elements,
another kind of nip) is written anew at that place.
"""

from __future__ import annotations

from collections.abc import MutableMapping
from typing import Any

import tomlkit
from tomlkit.items import AoT, InlineTable, Item, Table

from thinstock.case.entries import entry, literal, same
from thinstock.case.shapes import Shape, shapes
from thinstock.machine.line import Given, Machine
from thinstock.words import address
from thinstock.words.quantity import Fields

Names = tuple[str, ...]


def edited(content: str, old: Machine, new: Machine) -> str:
    """The text of the old machine with the values of the new one."""
    document = tomlkit.parse(content)
    editor = _Editor(old, new)
    editor.tray(document)
    editor.former(document)
    editor.part(document, old, new, ())
    return tomlkit.dumps(document)


class _Editor:
    """One rewrite."""

    def __init__(self, old: Machine, new: Machine) -> None:
        self.old, self.new = old, new
        self.pressure = float(new.site.atmospheric_pressure())
        self.forced: set[str] = set()

    def tray(self, document: MutableMapping[str, Any]) -> None:
        """A tray consistency in the file stands for retention; it goes where it no longer says the same."""
        box = document.get("headbox", {})
        before, after = self.old, self.new
        kept = same(before.headbox.consistency, after.headbox.consistency)
        kept = kept and same(before.stock.retention, after.stock.retention)
        if "tray_consistency" in box and not kept:
            del box["tray_consistency"]
            self.forced.add("stock.retention")

    def former(self, document: MutableMapping[str, Any]) -> None:
        """A former taken from the library is written out once one of its elements differs."""
        box = document.get("forming", {})
        if "element" not in box and self._differs(
            self.old.forming.element, self.new.forming.element, ("forming", "element")
        ):
            shape = shapes(type(self.new.forming))["element"]
            box["element"] = self._list(shape, self.new.forming.element, ("forming", "element"), inline=False)

    def part(self, box: MutableMapping[str, Any], old: Fields, new: Fields, at: Names) -> None:
        """Bring one table up to date."""
        for name, shape in shapes(type(new)).items():
            a, b, here = getattr(old, name), getattr(new, name), (*at, name)
            if shape.sort not in ("part", "parts"):
                self._value(box, shape, a, b, here)
            elif self._differs(a, b, here):
                if shape.sort == "parts":
                    self._parts(box, shape, a, b, here)
                else:
                    self._one(box, shape, a, b, here)

    def _value(self, box: MutableMapping[str, Any], shape: Shape, a: Any, b: Any, at: Names) -> None:
        where = address.join(at)
        if not self._changed(a, b, where):
            return
        found = entry(shape, b, self.new.given.get(where), self.pressure)
        if found is None:
            if shape.name in box:
                del box[shape.name]
            return
        _put(box, shape.name, _item(found))

    def _changed(self, a: Any, b: Any, where: str) -> bool:
        if where in self.forced or not same(a, b):
            return True
        before, after = self.old.given.get(where), self.new.given.get(where)
        if after is None or after.status == "what-if":
            return False
        return before is None or _essence(before) != _essence(after)

    def _differs(self, a: Any, b: Any, at: Names) -> bool:
        """Whether anything in a part or list is to be written."""
        if isinstance(a, tuple) and isinstance(b, tuple):
            if len(a) != len(b):
                return True
            names = zip(a, b, address.item_names(b), strict=True)
            return any(self._differs(x, y, (*at, name)) for x, y, name in names)
        if isinstance(a, Fields) and isinstance(b, Fields):
            if type(a) is not type(b):
                return True
            return any(self._differs(getattr(a, n), getattr(b, n), (*at, n)) for n in shapes(type(b)))
        return self._changed(a, b, address.join(at))

    def _one(self, box: MutableMapping[str, Any], shape: Shape, a: Any, b: Any, at: Names) -> None:
        held = box.get(shape.name)
        if type(a) is type(b) and isinstance(held, MutableMapping):
            self.part(held, a, b, at)
            if isinstance(held, InlineTable):
                box[shape.name] = _item(held.unwrap())
        elif b is None:
            if shape.name in box:
                del box[shape.name]
        else:
            inline = isinstance(box, InlineTable)
            fresh = self._table(shape, b, at, inline=inline, old=a if held is None and type(a) is type(b) else None)
            _put(box, shape.name, fresh)

    def _parts(self, box: MutableMapping[str, Any], shape: Shape, a: Any, b: Any, at: Names) -> None:
        held = box.get(shape.name)
        alike = held is not None and len(held) == len(b) and [type(p) for p in a] == [type(p) for p in b]
        if alike and held is not None:
            for number, (x, y, name) in enumerate(zip(a, b, address.item_names(b), strict=True)):
                if not self._differs(x, y, (*at, name)):
                    continue
                if isinstance(held[number], MutableMapping):
                    self.part(held[number], x, y, (*at, name))
                    if isinstance(held[number], InlineTable):
                        held[number] = _item(held[number].unwrap())
                else:
                    held[number] = self._table(shape, y, (*at, name), inline=True)
            return
        inline = isinstance(box, InlineTable) or (held is not None and not isinstance(held, AoT))
        _put(box, shape.name, self._list(shape, b, at, inline=inline))

    def _list(self, shape: Shape, parts: tuple[Fields, ...], at: Names, *, inline: bool) -> Item:
        made = [
            self._table(shape, part, (*at, name), inline=inline)
            for name, part in zip(address.item_names(parts), parts, strict=True)
        ]
        if not inline:
            many = tomlkit.aot()
            for table in made:
                assert isinstance(table, Table)
                many.append(table)
            return many
        array = tomlkit.array().multiline(True)
        array.extend(made)
        return array

    def _table(self, shape: Shape, part: Fields, at: Names, *, inline: bool, old: Fields | None = None) -> Item:
        """A part as a new table; with `old`, only what differs from that."""
        table: Any = tomlkit.inline_table() if inline else tomlkit.table()
        kind = shape.kind_of(part)
        if kind:
            table["kind"] = kind
        if old is not None:
            self.part(table, old, part, at)
            return table  # type: ignore[no-any-return]
        for name, inner in shapes(type(part)).items():
            value, here = getattr(part, name), (*at, name)
            if inner.sort == "parts":
                if value:
                    table[name] = self._list(inner, value, here, inline=inline)
            elif inner.sort == "part":
                if value is not None:
                    table[name] = self._table(inner, value, here, inline=inline)
            else:
                found = entry(inner, value, self.new.given.get(address.join(here)), self.pressure)
                if found is not None:
                    table[name] = _item(found)
        return table  # type: ignore[no-any-return]


def _essence(given: Given) -> tuple[Any, ...]:
    return given.status, given.source, given.where, given.note, given.uncertainty, given.ends, given.hard, given.group


def _item(found: Any) -> Item:
    """An entry as it is written on one line."""
    return tomlkit.parse(f"x = {literal(found)}\n")["x"]  # type: ignore[no-any-return]


def _put(box: MutableMapping[str, Any], name: str, item: Item) -> None:
    """Set a key; a new one goes below the last value of its own table, above the blank line that ends it."""
    if isinstance(item, Table) and not isinstance(box.get(name), Table):
        item.add(tomlkit.nl())
    if name in box or not isinstance(box, Table) or isinstance(item, Table | AoT):
        box[name] = item
        return
    plain = [key for key, value in box.items() if not isinstance(value, Table | AoT)]
    if plain:
        box.value._insert_after(plain[-1], name, item)
        dict.__setitem__(box, name, item)
    else:
        box[name] = item
