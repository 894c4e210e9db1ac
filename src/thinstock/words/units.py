"""Text with a unit to base SI and back: "1800 m/min" <-> 30.0. Used only at the edges, never inside formulas.

The spellings are a closed table (units.toml), sorted by kind, so that a length cannot be given in kilopascals
nor a steam pressure in bare bar. What cannot be read is refused with two spellings that would work.
"""

from __future__ import annotations

import math
import re
import tomllib
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any, Final, Literal

from thinstock.errors import ThinstockError
from thinstock.words import nomenclature

STANDARD_ATMOSPHERE: Final = 101325.0
NATURAL_GAS_HEATING_VALUE_RATIO: Final = 1.108
"""Higher / lower heating value of natural gas (from memory); other fuels need their own."""

BARE: Final = ("number", "fraction", "drainability", "money")
"""Kinds whose values may be written without a unit."""

UnitSet = Literal["si", "mill", "us"]
UNIT_SETS: Final = ("si", "mill", "us")

_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_COMMA = re.compile(r"[+-]?\d+(?:,\d+)+(?:\.\d+)?")
_SPACED = re.compile(r"[+-]?\d{1,3}(?:[ '_]\d{3})+(?![\d])")


class UnitError(ThinstockError, ValueError):
    """A value at the edge that cannot be read; names the field, what was given and what would work."""

    def __init__(self, field: str, given: str, reason: str, remedy: str) -> None:
        self.field, self.given, self.reason, self.remedy = field, given, reason, remedy
        super().__init__(f"{field or 'value'} = {given!r}: {reason}. {remedy}")

    def __reduce__(self) -> tuple[type[UnitError], tuple[str, str, str, str]]:
        return (type(self), (self.field, self.given, self.reason, self.remedy))


@dataclass(frozen=True, kw_only=True)
class Unit:
    """One spelling: SI value = number * factor + offset (+ the pressure of the air for a gauge pressure)."""

    name: str
    kinds: tuple[str, ...]
    factor: float
    offset: float = 0.0
    gauge: bool = False
    higher: bool = False
    """Told with the higher heating value of a fuel."""


@dataclass(frozen=True)
class _Refusal:
    why: str
    write: tuple[str, ...]
    only: str | None
    """The kind for which the spelling is refused; None for every kind."""


@dataclass(frozen=True)
class _Table:
    units: dict[str, Unit]
    """By the spelling with all marks smoothed and the kind: `key|kind`."""
    kinds: dict[str, tuple[str, ...]]
    refused: dict[str, _Refusal]


@lru_cache(maxsize=1024)
def _key(spelling: str) -> str:
    """A spelling with superscripts, dots, spaces and brackets under the stroke smoothed away."""
    text = unicodedata.normalize("NFKC", spelling).replace("⁄", "/").replace("μ", "µ").replace("**", "^")
    text = text.replace("^", "").replace("·", " ").replace("⋅", " ").replace("∙", " ").replace("*", " ").strip()
    over = re.fullmatch(r"([^/]+)/\s*\(([^()]*)\)(.*)", text)
    if over:
        text = f"{over[1]}/{'/'.join(over[2].split())}{over[3]}"
    return re.sub(r"\s+", "", text)


@lru_cache(maxsize=1)
def _table() -> _Table:
    raw = tomllib.loads(files("thinstock.words").joinpath("units.toml").read_text(encoding="utf-8"))
    refused = {
        _key(name): _Refusal(row["why"], tuple(row["write"]), row.get("only"))
        for name, row in raw.pop("refused").items()
    }
    units: dict[str, Unit] = {}
    for kind, rows in raw.items():
        for name, row in rows.items():
            unit = Unit(
                name=name,
                kinds=tuple(k for k, r in raw.items() if name in r),
                factor=float(row["factor"]),
                offset=float(row.get("offset", 0.0)),
                gauge=bool(row.get("gauge", False)),
                higher=bool(row.get("higher", False)),
            )
            for spelling in (name, *row.get("also", ())):
                units[f"{_key(spelling)}|{kind}"] = unit
    return _Table(units, {kind: tuple(rows) for kind, rows in raw.items()}, refused)


def kinds() -> tuple[str, ...]:
    """All kinds of unit."""
    return tuple(_table().kinds)


def units_of(kind: str) -> tuple[str, ...]:
    """The spellings of a kind, base SI first."""
    return _table().kinds[kind]


def kinds_of(unit: str) -> tuple[str, ...]:
    """Every kind a spelling belongs to (kg/m² is one of grammage only, kg/kg of several)."""
    key = _key(unit)
    return tuple(kind for kind in _table().kinds if f"{key}|{kind}" in _table().units)


def kind_of(unit: str) -> str:
    """The first kind a spelling belongs to."""
    found = kinds_of(unit)
    if not found:
        raise UnitError("", unit, "unknown unit", _near(unit))
    return found[0]


def find(unit: str, kind: str | None = None) -> Unit | None:
    """The unit of a spelling (of this kind), or None."""
    table, key = _table(), _key(unit)
    for name in (kind,) if kind is not None else table.kinds:
        found = table.units.get(f"{key}|{name}")
        if found is not None:
            return found
    return None


def _unit(unit: str, kind: str | None) -> Unit:
    found = find(unit, kind)
    if found is None:
        raise UnitError("", unit, "unknown unit" if kind is None else f"no unit of {kind}", _remedy(kind, "1"))
    return found


def to_si(
    number: Any,
    unit: str,
    kind: str | None = None,
    *,
    atmospheric_pressure: float = STANDARD_ATMOSPHERE,
    heating_value_ratio: float = NATURAL_GAS_HEATING_VALUE_RATIO,
) -> Any:
    """A number (or array) in a unit as base SI."""
    found = _unit(unit, kind)
    value = number * found.factor + found.offset
    if found.gauge:
        value = value + atmospheric_pressure
    return value / heating_value_ratio if found.higher else value


def from_si(
    value: Any,
    unit: str,
    kind: str | None = None,
    *,
    atmospheric_pressure: float = STANDARD_ATMOSPHERE,
    heating_value_ratio: float = NATURAL_GAS_HEATING_VALUE_RATIO,
) -> Any:
    """A base SI value (or array) as a number in a unit."""
    found = _unit(unit, kind)
    if found.higher:
        value = value * heating_value_ratio
    if found.gauge:
        value = value - atmospheric_pressure
    return (value - found.offset) / found.factor


def parse(
    text: Any,
    kind: str | None = None,
    *,
    field: str = "",
    atmospheric_pressure: float = STANDARD_ATMOSPHERE,
    heating_value_ratio: float = NATURAL_GAS_HEATING_VALUE_RATIO,
) -> float:
    """The SI value of a text such as "1800 m/min"; refused with a `UnitError` if it is not of this kind."""
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise UnitError(field, str(text), "not a number with a unit", _remedy(kind, "1"))
    if not isinstance(text, str):
        return _bare(float(text), repr(text), kind, field)
    number, unit = _split(text, kind, field)
    if not unit:
        return _bare(number, text, kind, field)
    found = find(unit, kind)
    if found is None:
        raise _fault(field, text, number, unit, kind)
    return float(
        to_si(
            number,
            found.name,
            kind,
            atmospheric_pressure=atmospheric_pressure,
            heating_value_ratio=heating_value_ratio,
        )
    )


def write(
    value: float,
    unit: str,
    digits: int = 4,
    *,
    kind: str | None = None,
    atmospheric_pressure: float = STANDARD_ATMOSPHERE,
    heating_value_ratio: float = NATURAL_GAS_HEATING_VALUE_RATIO,
) -> str:
    """A base SI value as text in a unit, with so many significant digits.

    The kind matters only for °C and °F, which are taken for temperatures unless it says a difference.
    """
    return _written(float(value), unit, digits, kind, atmospheric_pressure, heating_value_ratio)


@lru_cache(maxsize=4096)
def _written(
    value: float, unit: str, digits: int, kind: str | None, atmospheric_pressure: float, heating_value_ratio: float
) -> str:
    number = from_si(
        value, unit, kind, atmospheric_pressure=atmospheric_pressure, heating_value_ratio=heating_value_ratio
    )
    return f"{number_text(number, digits)} {unit}" if unit != "1" else number_text(number, digits)


def number_text(number: float, digits: int = 4) -> str:
    """A number with so many significant digits: without a power of ten where it can be read without one."""
    if not math.isfinite(number):
        return "not known" if math.isnan(number) else ("-" if number < 0 else "") + "unlimited"
    rounded = float(f"{number:.{digits - 1}e}")
    if rounded == 0.0:
        return "0"
    if 1e-4 <= abs(rounded) < 1e7:
        places = max(digits - 1 - math.floor(math.log10(abs(rounded))), 0)
        text = f"{rounded:.{places}f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    mantissa, exponent = f"{rounded:.{digits - 1}e}".split("e")
    mantissa = mantissa.rstrip("0").rstrip(".") if "." in mantissa else mantissa
    return f"{mantissa}e{int(exponent)}"


def edge_unit(name: str, unit_set: UnitSet = "mill") -> str:
    """The unit in which a word is read and written in a set of units."""
    return nomenclature.word(name).edge.get(unit_set, "1")


def write_word(
    name: str,
    value: float,
    unit_set: UnitSet = "mill",
    digits: int = 4,
    *,
    atmospheric_pressure: float = STANDARD_ATMOSPHERE,
) -> str:
    """A word's value as text in its edge unit."""
    kind = nomenclature.word(name).kind
    known = None if kind in nomenclature.PLAIN_KINDS else kind
    unit = edge_unit(name, unit_set)
    return write(value, unit, digits, kind=known, atmospheric_pressure=atmospheric_pressure)


def with_point(text: str) -> str:
    """A text whose comma can only be a decimal one, with a point; where it may stand between thousands, as it is."""
    comma = _COMMA.match(text.strip().replace("\u2212", "-"))
    if comma is None or comma[0].count(",") > 1 or "." in comma[0]:
        return text
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", comma[0]):
        return text
    return text.replace(",", ".", 1)


def _split(text: str, kind: str | None, field: str) -> tuple[float, str]:
    """The number at the head of a text and the unit behind it."""
    plain = re.sub(r"[\u00a0\u2007\u2009\u202f]", " ", text).replace("\u2212", "-").strip()
    comma = _COMMA.match(plain)
    if comma:
        given = comma[0]
        grouped = re.fullmatch(r"[+-]?\d{1,3}(?:,\d{3})+(?:\.\d+)?", given)
        parts = [given.replace(",", "")] if grouped else []
        parts += [given.replace(",", ".")] if given.count(",") == 1 and "." not in given else []
        works = " or ".join(f'"{part}{plain[comma.end() :]}"' for part in parts) or "no comma"
        raise UnitError(
            field,
            text,
            "a number has no comma",
            f"Write {works}: a point before decimals, nothing between thousands",
        )
    spaced = _SPACED.match(plain)
    if spaced:
        joined = re.sub(r"[ '_]", "", spaced[0])
        raise UnitError(field, text, "nothing stands between thousands", f'Write "{joined}{plain[spaced.end() :]}"')
    head = _NUMBER.match(plain)
    if head is None:
        raise UnitError(field, text, "does not begin with a number", _remedy(kind, "1"))
    number = float(head[0])
    if not math.isfinite(number):
        raise UnitError(field, text, "the number is too large", _remedy(kind, "1"))
    return number, plain[head.end() :].strip()


def _bare(number: float, given: str, kind: str | None, field: str) -> float:
    if not math.isfinite(number):
        raise UnitError(field, given, "not a finite number", _remedy(kind, "1"))
    if kind is None or kind in BARE:
        return number
    raise UnitError(field, given, f"{_article(kind)} needs a unit", _remedy(kind, _trim(number)))


def _fault(field: str, text: str, number: float, unit: str, kind: str | None) -> UnitError:
    """Why a unit cannot be read as this kind, and what to write."""
    refused = _table().refused.get(_key(unit))
    if refused is not None and refused.only in (None, kind):
        fit = [name for name in refused.write if kind is None or find(name, kind) is not None]
        return UnitError(field, text, refused.why, _remedy(kind, _trim(number), fit))
    found = kinds_of(unit)
    why = f"{unit} is a unit of {found[0]}, not of {kind}" if found else f"unknown unit {unit!r}"
    return UnitError(field, text, why, _remedy(kind, _trim(number)) if kind else _near(unit))


def _remedy(kind: str | None, number: str, first: Sequence[str] = ()) -> str:
    """Two spellings that would work."""
    names = list(first)
    if kind is not None:
        known = _table().kinds.get(kind, ())
        names += ["bar(a)", "bar(g)"] if kind == "pressure" else [*known[1:], *known[:1]]
    if not names:
        return 'Write a number and its unit, for example "1800 m/min" or "14 g/m²"'
    shown = [number if name == "1" else f"{number} {name}" for name in dict.fromkeys(names)]
    return "Write " + " or ".join(f'"{text}"' for text in shown[:2])


def in_unit_of_field(error: UnitError, unit: str) -> str:
    """What would work, in the unit the field itself is given in: a length may be metres or micrometres."""
    if unit in ("", "1") or find(unit, "length") is None:
        return error.remedy
    return re.sub(r'^Write "([^" ]+) [^"]+" or "[^"]+"', rf'Write "\1 {unit}"', error.remedy)


def _near(unit: str) -> str:
    import difflib

    names = sorted({name for rows in _table().kinds.values() for name in rows})
    near = difflib.get_close_matches(unit, names, n=2, cutoff=0.4)
    return "Nearest: " + " or ".join(near) if near else 'Write for example "1800 m/min" or "14 g/m²"'


def _trim(number: float) -> str:
    return f"{number:.12g}"


def _article(kind: str) -> str:
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"
