"""One value of a machine file: text with a unit, a plain number where there is no dimension, or a table that also says
how sure it is and where it comes from. Turns it into base SI with its provenance; knows nothing of the file around it.
"""

from __future__ import annotations

import dataclasses
import difflib
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from thinstock.case.shapes import Shape
from thinstock.case.text import Origin
from thinstock.errors import ThinstockError
from thinstock.machine.line import Given
from thinstock.words import nomenclature, units
from thinstock.words.phrase import phrase
from thinstock.words.quantity import NOT_GIVEN, Choice, Q, Words

STATUSES = (
    "given",
    "measured",
    "nameplate",
    "certificate",
    "judged",
    "required",
    "published",
    "from memory",
    "derived",
    "common practice",
    "calibrated",
    "assumed",
    "what-if",
)
"""How a value is known: a closed list. A value of a machine file that says nothing is "given"."""

TABLE_KEYS = ("value", "uncertainty", "low", "high", "ends", "group", "source", "where", "status", "note")
LIBRARY_KEYS = (*TABLE_KEYS, "description")
HARD = "limits"
"""What `ends` says where low and high cannot be passed; without it they are 5 and 95 %."""
_GROUP = re.compile(r"^\s*[^@;]+@\s*-?(?:\d+\.?\d*|\.\d+)\s*(?:;\s*[^@;]+@\s*-?(?:\d+\.?\d*|\.\d+)\s*)*$")

_RELATIVE = re.compile(r"^(.*?)\s*%\s*of\s+(?:the\s+)?value$", re.IGNORECASE)
_POINTS = re.compile(r"^(.*?)\s*(?:percentage\s+|%\s*)?points?$", re.IGNORECASE)
_PERCENT = re.compile(r"^(.*?)\s*(?:%|percent)$", re.IGNORECASE)
_UNIT = re.compile(r"^\s*[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?\s*(.*)$", re.DOTALL)


class Row(dict[str, Any]):
    """A value as a library file holds it; it is not in the machine file itself."""


class Placed(dict[str, Any]):
    """An item of a list that stands elsewhere in the file than its number says."""

    def __init__(self, fields: Mapping[str, Any], key: tuple[str | int, ...]) -> None:
        super().__init__(fields)
        self.key = key


@dataclass(frozen=True, kw_only=True)
class FileGiven(Given):
    """A value that a machine file gives: it also knows the text it stands in, so that a rewrite keeps the rest."""

    origin: Origin = field(repr=False, compare=False)
    key: tuple[str | int, ...] = ()
    """Path of the value in the file; empty for a value the library supplied."""


class Unread(ThinstockError):
    """A value that cannot be read: what was given, what would be allowed, what to do."""

    def __init__(self, value: str, bound: str, remedy: str = "") -> None:
        super().__init__(bound)
        self.value, self.bound, self.remedy = value, bound, remedy


def kind_of(q: Q) -> str:
    """Kind of unit of a quantity."""
    return nomenclature.word(q.word).kind


def unit_of(q: Q) -> str:
    """The unit in which a quantity is written."""
    return q.unit or units.edge_unit(q.word) or "1"


def spread_kind(kind: str) -> str:
    """Kind of unit of a difference of two values."""
    return {"temperature": "temperature difference", "pressure": "pressure difference"}.get(kind, kind)


def read(shape: Shape, raw: Any, atmospheric_pressure: float) -> tuple[Any, Given]:
    """The value of a field with its provenance (still without line and origin)."""
    table: Mapping[str, Any] = {}
    if isinstance(raw, dict):
        table = raw
        allowed = LIBRARY_KEYS if isinstance(raw, Row) else TABLE_KEYS
        for name in table:
            if name not in allowed:
                raise Unread(name, phrase("case.values.no_part_value"), _near(name, TABLE_KEYS))
        if "value" not in table:
            raise Unread(
                ", ".join(table) or phrase("case.values.empty_table"),
                phrase("case.values.table_lacks_its_value"),
                "Add value = ...",
            )
        raw = table["value"]
    value = _plain(shape, raw, atmospheric_pressure)
    source, where, note = (_words(name, table.get(name, "")) for name in ("source", "where", "note"))
    status = _status(table.get("status", "given"))
    given = Given(text=_text(raw), status=status, source=source, where=where, note=note)
    if "uncertainty" in table:
        if shape.sort != "quantity" or value is None:
            raise Unread(
                _text(table["uncertainty"]),
                phrase("case.values.only_value_can_be_uncertain"),
                phrase("case.values.leave_it_out"),
            )
        sigma = uncertainty(table["uncertainty"], value, shape, atmospheric_pressure)
        given = dataclasses.replace(given, uncertainty=sigma)
    return value, given if isinstance(table, Row) else _believed(shape, value, table, given, atmospheric_pressure)


def _believed(shape: Shape, value: Any, table: Mapping[str, Any], given: Given, air: float) -> Given:
    """The value with its ends and groups, where the table states them."""
    named = [name for name in ("low", "high", "ends", "group") if name in table]
    if not named:
        return given
    told = _text(table[named[0]])
    if shape.sort != "quantity" or value is None:
        raise Unread(told, phrase("case.values.only_value_can_be_uncertain"), phrase("case.values.leave_it_out"))
    group = _words("group", table.get("group", ""))
    if group and not _GROUP.match(group):
        raise Unread(f'"{group}"', phrase("case.values.no_group"), phrase("case.values.write_group"))
    given = dataclasses.replace(given, group=group)
    if not {"low", "high", "ends"} & set(table):
        return given
    if "low" not in table or "high" not in table:
        raise Unread(told, phrase("case.values.both_ends"), phrase("case.values.write_ends"))
    if given.uncertainty is not None:
        raise Unread(told, phrase("case.values.ends_or_uncertainty"), phrase("case.values.leave_it_out"))
    how = table.get("ends", "")
    if how not in ("", HARD):
        raise Unread(_text(how, quote=True), phrase("case.values.no_kind_of_ends"), phrase("case.values.write_limits"))
    low, high = (float(_plain(shape, table[name], air)) for name in ("low", "high"))
    if not low <= value <= high or not low < high:
        raise Unread(told, phrase("case.values.ends_about_value"), phrase("case.values.write_ends"))
    return dataclasses.replace(given, ends=(low, high), hard=how == HARD)


def _plain(shape: Shape, raw: Any, atmospheric_pressure: float) -> Any:
    """The value alone."""
    if shape.sort == "flag":
        if isinstance(raw, bool):
            return raw
        raise Unread(
            _text(raw),
            phrase("case.values.must_be_true_or_false"),
            phrase("case.values.write_true_or_false", name=shape.name),
        )
    if shape.sort == "quantity":
        return _quantity(shape, raw, atmospheric_pressure)
    about = shape.field.about
    if isinstance(about, Words) and about.several and isinstance(raw, list) and all(isinstance(r, str) for r in raw):
        return ", ".join(raw)
    if not isinstance(raw, str):
        raise Unread(_text(raw), phrase("case.values.must_be_text_in_quotes"), f'Write {shape.name} = "...".')
    if shape.sort == "choice":
        choice = shape.field.about
        assert isinstance(choice, Choice)
        if raw not in choice.options:
            options = ", ".join(f'"{o}"' for o in choice.options)
            raise Unread(f'"{raw}"', phrase("case.values.must_be_one", options=options), _near(raw, choice.options))
    return raw


def _quantity(shape: Shape, raw: Any, atmospheric_pressure: float) -> float | int | None:
    """A number in base SI, or None for a limit that is not given."""
    q, kind = shape.q, kind_of(shape.q)
    if isinstance(raw, str) and raw.strip().lower() == NOT_GIVEN:
        if shape.optional:
            return None
        raise Unread(f'"{raw}"', phrase("case.values.value_needed_only_limit_may"), _write(shape, None))
    if isinstance(raw, bool) or not isinstance(raw, str | int | float):
        raise Unread(_text(raw), phrase("case.values.must_be_number_with_its"), _write(shape, None))
    if not isinstance(raw, str):
        if not _finite(raw):
            raise Unread(_text(raw), phrase("case.values.must_be_finite_number"), _write(shape, None))
        if kind not in units.BARE:
            raise Unread(_text(raw), phrase("case.values.lacks_its_unit"), _write(shape, raw))
    elif kind == "pressure" and q.word == "atmospheric_pressure" and _is_gauge(raw):
        raise Unread(f'"{raw}"', phrase("case.values.pressure_air_absolute"), phrase("case.values.write_it_as_kpa"))
    try:
        value = units.parse(raw, kind, field=shape.name, atmospheric_pressure=atmospheric_pressure)
    except units.UnitError as error:
        told = units.in_unit_of_field(error, q.unit or units.edge_unit(q.word, "mill"))
        remedy = re.sub(r'"([^"]*)"', rf'{shape.name} = "\1"', told, count=1)
        raise Unread(_text(raw, quote=True), error.reason, f"{remedy.rstrip('.')}.") from None
    if q.integer:
        if value != round(value):
            raise Unread(
                _text(raw, quote=True),
                phrase("case.values.must_be_whole_number"),
                f"Write {shape.name} = {round(value)}.",
            )
        return round(value)
    return value


def uncertainty(raw: Any, value: float, shape: Shape, atmospheric_pressure: float) -> float:
    """A standard uncertainty in base SI: in the unit of the value, in points, or as "3 % of value"."""
    sigma = _spread(raw, value, shape)
    if not math.isfinite(sigma) or sigma < 0:
        raise Unread(_text(raw, quote=True), phrase("case.values.uncertainty_standard_deviation_zero_or"))
    return sigma


def _spread(raw: Any, value: float, shape: Shape) -> float:
    kind, given = kind_of(shape.q), _text(raw, quote=True)
    if isinstance(raw, bool) or not isinstance(raw, str | int | float):
        raise Unread(given, phrase("case.values.uncertainty_number_with_its_unit"))
    if not isinstance(raw, str):
        if kind in units.BARE:
            return float(raw)
        raise _no_unit(given, raw, shape)
    relative = _RELATIVE.match(raw.strip())
    if relative:
        if kind == "temperature":
            raise Unread(given, phrase("case.values.share_temperature_has_no_meaning"), 'Write uncertainty = "2 K".')
        return abs(value) * _number(relative[1], given) / 100
    points = _POINTS.match(raw.strip())
    if points:
        if kind != "fraction":
            raise Unread(given, phrase("case.values.points_value_in_per_cent"), f'Write "... {unit_of(shape.q)}".')
        return _number(points[1], given) / 100
    percent = _PERCENT.match(raw.strip())
    if percent:
        if kind == "fraction":
            number = percent[1].strip()
            raise Unread(
                given,
                phrase("case.values.could_be_share_value_or"),
                phrase("case.values.write_uncertainty_value_or_points", number=number),
            )
        return _spread(f"{percent[1]} % of value", value, shape)
    number, unit = _number(raw, given), _unit_part(raw)
    if not unit and kind in units.BARE:
        return number
    if not unit:
        raise _no_unit(given, raw.strip(), shape)
    for name in (spread_kind(kind), kind):
        found = units.find(unit, name)
        if found is not None:
            return number * found.factor
    remedy = phrase(
        "case.values.write_for_example_uncertainty", number=f"{number:g}", spread_unit=_spread_unit(shape.q)
    )
    raise Unread(given, phrase("case.values.must_be_in_unit_as", spread_kind=spread_kind(kind)), remedy)


def _no_unit(given: str, number: object, shape: Shape) -> Unread:
    remedy = f'Write uncertainty = "{number} {_spread_unit(shape.q)}".'
    return Unread(given, phrase("case.values.uncertainty_lacks_its_unit"), remedy)


def _spread_unit(q: Q) -> str:
    kind = kind_of(q)
    return units.units_of(spread_kind(kind))[0] if kind != spread_kind(kind) else unit_of(q)


def spread_text(sigma: float, q: Q) -> str:
    """A standard uncertainty as a file holds it."""
    kind = kind_of(q)
    if kind == "fraction":
        return exact(sigma, "%", "fraction").replace(" %", " points")
    return exact(sigma, _spread_unit(q), spread_kind(kind), scale_only=True)


def exact(value: float, unit: str, kind: str, *, scale_only: bool = False) -> str:
    """The shortest text that reads back as exactly this number: in the unit, else in base SI."""
    base = units.units_of(kind)[0]
    for name, most in ((unit, 10), (base, 10), (unit, 17)):
        found = units.find(name, kind)
        if found is None or found.gauge or found.higher:
            continue
        number = value / found.factor if scale_only else (value - found.offset) / found.factor
        for digits in range(2, most + 1):
            text = _digits(number, digits)
            back = float(text) * found.factor + (0.0 if scale_only else found.offset)
            if back == value:
                return text if name == "1" else f"{text} {name}"
    text = repr(float(value))
    return text if base == "1" else f"{text} {base}"


def _digits(number: float, digits: int) -> str:
    text = f"{number:.{digits}g}"
    if "e" in text and 1e-4 <= abs(number) < 1e9:
        places = max(digits - 1 - math.floor(math.log10(abs(number))), 0)
        return f"{float(text):.{places}f}"
    return text.replace("e-0", "e-").replace("e+0", "e").replace("e+", "e")


def _number(text: str, given: str) -> float:
    found = re.match(r"^\s*([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)", text)
    if found is None:
        raise Unread(given, phrase("case.values.does_not_begin_with_number"))
    return float(found[1])


def _unit_part(text: str) -> str:
    found = _UNIT.match(text)
    return found[1].strip() if found else ""


def _is_gauge(text: str) -> bool:
    found = units.find(_unit_part(text), "pressure") if _unit_part(text) else None
    return found is not None and found.gauge


def _finite(number: float | int) -> bool:
    try:
        return math.isfinite(number)
    except OverflowError:
        return False


def _write(shape: Shape, number: float | int | None) -> str:
    return f"Write {example(shape, number)}."


def example(shape: Shape, number: float | int | None = None) -> str:
    """How the field is written, with this number; without one no value is suggested."""
    if shape.sort != "quantity":
        return f'{shape.name} = "..."'
    q = shape.q
    unit = unit_of(q)
    if number is not None:
        shown = f"{number:.12g}" if abs(number) < 1e12 else "..."
        return f'{shape.name} = "{shown} {unit}"'
    return f'{shape.name} = "... {unit}"' if unit != "1" else f"{shape.name} = ..."


def _status(raw: Any) -> str:
    if raw not in STATUSES:
        raise Unread(
            f"status {_text(raw, quote=True)}",
            phrase("case.values.must_be_one_2", statuses=", ".join(STATUSES)),
            _near(raw, STATUSES),
        )
    return str(raw)


def _words(name: str, raw: Any) -> str:
    if not isinstance(raw, str):
        raise Unread(f"{name} {_text(raw)}", phrase("case.values.must_be_text_in_quotes"), f'Write {name} = "...".')
    return raw


def _text(raw: Any, *, quote: bool = False) -> str:
    """A raw value as a person wrote it, cut where it is endless."""
    if isinstance(raw, bool):
        return "true" if raw else "false"
    if isinstance(raw, dict):
        return "a table"
    if isinstance(raw, list):
        return "a list"
    try:
        text = str(raw)
    except ValueError:
        return phrase("case.values.endless_number")
    text = text if len(text) <= 120 else text[:117] + "..."
    return f'"{text}"' if quote and isinstance(raw, str) else text


def _near(name: Any, known: Iterable[str]) -> str:
    close = difflib.get_close_matches(str(name), list(known), n=2, cutoff=0.5)
    return f"Nearest: {' or '.join(close)}." if close else ""
