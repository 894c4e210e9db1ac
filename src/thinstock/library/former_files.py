"""The library's formers as their files hold them: one file per former, named by its key.

Elements, window and slots are turned into parts elsewhere.
"""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib.resources import files
from typing import Any

from thinstock.errors import Fault, Refused
from thinstock.words.address import nearest
from thinstock.words.phrase import phrase

KEYS = (
    "flat_wire_open",
    "flat_wire",
    "flat_wire_foils",
    "open_breast_roll",
    "suction_breast_roll",
    "twin_wire_c",
    "twin_wire_open_roll",
    "twin_wire_suction_roll",
    "twin_wire_s",
    "wire_felt_c",
    "wire_felt_s",
    "inclined_wire",
)
"""In the order of the history, variants beside their parent; the inclined wire, a side branch, comes last."""

NINE = tuple(key for key in KEYS if key not in ("flat_wire_open", "twin_wire_open_roll", "twin_wire_suction_roll"))
"""The formers of the trade; the others are shown for comparison."""

PLACE = ("closing",)
"""What a former's file holds beside the fields of [forming]."""


def key_of(name: str) -> str:
    """The key of a former, given its key or its words."""
    words = {_file(key)["former"]: key for key in KEYS}
    if name in KEYS:
        return name
    if name in words:
        return words[name]
    near = nearest(str(name), [*KEYS, *words])
    remedy = f"Nearest: {', '.join(near)}." if near else f"Known: {', '.join(KEYS)}."
    raise Refused(
        Fault(
            field="former",
            value=repr(name),
            bound=phrase("library.former_files.library_has_no_such_former"),
            remedy=remedy,
        )
    )


@lru_cache(maxsize=32)
def library_file(*path: str) -> dict[str, Any]:
    """A file of the library as it stands, with sources and status; the last name without its ".toml"."""
    *folders, name = path
    text = files("thinstock.library").joinpath(*folders, f"{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _file(key: str) -> dict[str, Any]:
    return library_file("formers", key)


def former_file(name: str) -> dict[str, Any]:
    """A former's file as it stands."""
    return _file(key_of(name))


@lru_cache(maxsize=1)
def former_rows() -> dict[str, dict[str, Any]]:
    """What [forming] takes of every former, by its words; with its key and description."""
    return {
        _file(key)["former"]: {"key": key} | {k: v for k, v in _file(key).items() if k not in PLACE} for key in KEYS
    }
