"""The library's formers as their files hold them, and the path of their fabrics for drawings.

One file per former, named by its key. Elements, window and slots are turned into sections elsewhere; only the path is
read here.
"""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib.resources import files
from typing import Any, NamedTuple

from thinstock.errors import Fault, Refused
from thinstock.words import units
from thinstock.words.address import nearest

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

PLACE = ("path", "closing")
"""What a former's file holds beside the fields of [forming]."""


class Piece(NamedTuple):
    """One piece of a path: a straight of a length, or an arc of a radius through a turn (to the left positive)."""

    name: str
    length: float
    """Along the path, m."""
    radius: float | None
    """m; None for a straight."""
    turn: float
    """rad."""
    element: str | None
    """The forming element on it, if any."""


class FormerPath(NamedTuple):
    """The way of the sheet's fabric through a former, m and rad; sizes are assumed."""

    start_angle: float
    """Heading at the start, anticlockwise from machine direction."""
    pieces: tuple[Piece, ...]
    rolls: tuple[tuple[str, float, str], ...]
    """Rolls beside the path: name, radius, place in words."""
    jet: dict[str, Any]
    """How the jet comes: lengths and angles in SI, and the place in words."""


def key_of(name: str) -> str:
    """The key of a former, given its key or its words."""
    words = {_file(key)["former"]: key for key in KEYS}
    if name in KEYS:
        return name
    if name in words:
        return words[name]
    near = nearest(str(name), [*KEYS, *words])
    remedy = f"Nearest: {', '.join(near)}." if near else f"Known: {', '.join(KEYS)}."
    raise Refused(Fault(field="former", value=repr(name), bound="the library has no such former", remedy=remedy))


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


@lru_cache(maxsize=16)
def former_path(name: str) -> FormerPath:
    """The path of a former's fabric."""
    data = former_file(name)["path"]
    return FormerPath(
        start_angle=units.parse(data["start_angle"], "angle"),
        pieces=tuple(_piece(row) for row in data["pieces"]),
        rolls=tuple((r["name"], units.parse(r["radius"], "length"), r["place"]) for r in data["rolls"]),
        jet={name: _plain(text) for name, text in data.get("jet", data.get("pond", {})).items()},
    )


def _piece(row: dict[str, Any]) -> Piece:
    element = row.get("element")
    if "radius" not in row:
        return Piece(row["name"], units.parse(row["length"], "length"), None, 0.0, element)
    radius, turn = units.parse(row["radius"], "length"), units.parse(row["turn"], "angle")
    return Piece(row["name"], radius * abs(turn), radius, turn, element)


def _plain(text: str) -> Any:
    """A length or an angle in SI; anything else is words."""
    for kind in ("length", "angle"):
        try:
            return units.parse(text, kind)
        except units.UnitError:
            continue
    return text
