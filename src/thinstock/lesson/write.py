"""Changes a lesson's text and leaves every other character of it: comments, order, blank lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.items import AoT, Table

from thinstock.errors import Refused
from thinstock.lesson.model import FORMAT, MOST_SCENES
from thinstock.words.fault import fault_in

WORDS = ("title", "say", "practice", "unknown", "notes")
"""What the editor changes of a scene."""


def new(title: str, machine: str) -> str:
    """The text of a lesson to start from."""
    document = tomlkit.document()
    document.add("format", tomlkit.item(FORMAT))
    document.add("title", tomlkit.item(title))
    document.add("about", tomlkit.item(""))
    document.add("minutes", tomlkit.item(30))
    text = with_scene(tomlkit.dumps(document) + "\n", {
        "name": "the-machine", "title": "The machine", "machine": machine, "show": "machine",
        "numbers": ["water_per_fibre", "speed", "dryness_press"], "say": "One idea, in a sentence or two.",
        "notes": "What only you see.",
    })  # fmt: skip
    return text


def with_scene(text: str, scene: Mapping[str, Any], at: int | None = None) -> str:
    """The text with a scene more, at a place or at the end; its name is made one that no other has."""
    document = tomlkit.parse(text)
    rows = _rows(document)
    if len(rows) >= MOST_SCENES:
        raise Refused(fault_in("lesson.fault.scenes", "scene", str(len(rows) + 1), most=MOST_SCENES))
    names = {str(row.get("name", "")) for row in rows}
    table = tomlkit.table()
    for name, value in {**scene, "name": _free(str(scene.get("name", "scene")), names)}.items():
        if value in ("", (), [], {}, None):
            continue
        table.add(name, _item(value))
    table.add(tomlkit.nl())
    if at is None or at >= len(rows):
        rows.append(table)
    else:
        rows.insert(max(at, 0), table)
    if "scene" not in document:
        document.add("scene", rows)
    return tomlkit.dumps(document)


def moved(text: str, old: int, new_place: int) -> str:
    """The text with a scene at another place."""
    document = tomlkit.parse(text)
    rows = list(_rows(document))
    if not (0 <= old < len(rows) and 0 <= new_place < len(rows)):
        return text
    rows.insert(new_place, rows.pop(old))
    return _with_rows(document, rows)


def without(text: str, which: int) -> str:
    """The text without a scene; the last one stays."""
    document = tomlkit.parse(text)
    rows = list(_rows(document))
    if len(rows) < 2 or not 0 <= which < len(rows):
        return text
    del rows[which]
    return _with_rows(document, rows)


def worded(text: str, which: int, words: Mapping[str, str]) -> str:
    """The text with other words in a scene; empty ones are taken out."""
    document = tomlkit.parse(text)
    row = _rows(document)[which]
    for name in WORDS:
        if name not in words or str(row.get(name, "")) == words[name]:
            continue
        if words[name].strip():
            row[name] = _item(words[name])
        elif name in row and name != "title":
            del row[name]
    return tomlkit.dumps(document)


def headed(text: str, title: str) -> str:
    """The text under another title."""
    document = tomlkit.parse(text)
    if title.strip():
        document["title"] = title.strip()
    return tomlkit.dumps(document)


def _with_rows(document: tomlkit.TOMLDocument, rows: Sequence[Table]) -> str:
    made = tomlkit.aot()
    for row in rows:
        made.append(row)
    document["scene"] = made
    return tomlkit.dumps(document)


def _rows(document: tomlkit.TOMLDocument) -> AoT:
    found = document.get("scene")
    return found if isinstance(found, AoT) else tomlkit.aot()


def _free(name: str, taken: set[str]) -> str:
    plain = "-".join(name.lower().split()) or "scene"
    if plain not in taken:
        return plain
    return next(f"{plain}-{n}" for n in range(2, 1000) if f"{plain}-{n}" not in taken)


def _item(value: Any) -> Any:
    if isinstance(value, Mapping):
        table = tomlkit.inline_table()
        for name, one in value.items():
            table.append(name, one if not isinstance(one, Mapping) else _item(one))
        return table
    if isinstance(value, str) and "\n" in value:
        return tomlkit.string("\n" + value.strip("\n"), multiline=True)
    return tomlkit.item(list(value) if isinstance(value, tuple) else value)
