"""The top of a file of signals over time: separator, columns, row of units, zone, how stamps and decimals are written.

Everything is read off the file; what the file leaves open is refused with what would settle it, never guessed.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from thinstock.errors import Fault
from thinstock.survey.faults import SurveyError, refuse
from thinstock.words.phrase import phrase

LOOK = 262_144
"""Bytes at the top, and at the end, from which the form of a file is told."""
TIMES = ("time", "timestamp")
QUALITY = " quality"
"""What stands behind a tag in the heading of the column with its quality."""
KEPT = 25
"""Faults told one by one; the rest are counted."""
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

_SECOND = r"(?::(?P<second>\d{2})(?:[.,](?P<part>\d{1,9}))?)?"
_CLOCK = rf"(?:[ T](?P<hour>\d{{1,2}}):(?P<minute>\d{{2}}){_SECOND}(?P<half> ?[AaPp][Mm])?)?"
_OFFSET = r"(?: ?(?P<offset>Z|[+-]\d{2}:?\d{2}))?"
_FORMS = {
    "year": re.compile(rf"(?P<year>\d{{4}})[-/](?P<month>\d{{1,2}})[-/](?P<day>\d{{1,2}}){_CLOCK}{_OFFSET}", re.ASCII),
    "dots": re.compile(rf"(?P<day>\d{{1,2}})\.(?P<month>\d{{1,2}})\.(?P<year>\d{{4}}){_CLOCK}{_OFFSET}", re.ASCII),
    "strokes": re.compile(rf"(?P<a>\d{{1,2}})/(?P<b>\d{{1,2}})/(?P<year>\d{{4}}){_CLOCK}{_OFFSET}", re.ASCII),
}
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}(?:[ T]\d{2}:\d{2}(?::\d{2}(?:\.\d{1,6})?)?)?", re.ASCII)
_COMMA = re.compile(r"\s*[+-]?\d*,\d+(?:[eE][+-]?\d+)?\s*", re.ASCII)
_POINT = re.compile(r"\s*[+-]?\d*\.\d+(?:[eE][+-]?\d+)?\s*", re.ASCII)


@dataclass(frozen=True)
class Signal:
    """One signal of a wide file: its columns."""

    tag: str
    value: int
    quality: int | None
    unit: str


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Which column holds what: a long file has `tag` and `value`, a wide one `signals`."""

    time: int
    tag: int | None = None
    value: int | None = None
    unit: int | None = None
    quality: int | None = None
    signals: tuple[Signal, ...] = ()

    @property
    def columns(self) -> tuple[int, ...]:
        """All columns that are read."""
        long = (self.time, self.tag, self.value, self.unit, self.quality)
        wide = [c for s in self.signals for c in (s.value, s.quality)]
        return tuple(c for c in (*long, *wide) if c is not None)

    @property
    def numbers(self) -> tuple[int, ...]:
        """Columns of numbers."""
        return tuple([self.value] if self.value is not None else [s.value for s in self.signals])

    @property
    def words(self) -> tuple[int, ...]:
        """Columns of words: tags, units, qualities."""
        others = {self.time, *self.numbers}
        return tuple(c for c in self.columns if c not in others)


@dataclass(frozen=True, kw_only=True)
class Stamps:
    """How the file writes its times."""

    offset: bool = False
    """Whether every time states its offset from UTC."""
    day_first: bool = True
    """Of 03/04/2026."""
    iso: bool = True
    """Written as 2026-03-29 01:59:00, nothing else."""

    def microseconds(self, text: str) -> int | None:
        """Microseconds since 1970 in UTC, or in the clock of the file where it states no offset; None: no time."""
        told = read_stamp(text, self.day_first)
        return None if told is None or told[1] is not self.offset else told[0]


@dataclass(eq=False)
class Faults:
    """What is wrong with a file: the first faults one by one, the rest counted."""

    file: str
    kept: list[Fault] = field(default_factory=list)
    more: int = 0

    def add(self, line: int | None, column: str, value: object = "", bound: str = "", remedy: str = "") -> None:
        """Keep one fault and go on."""
        if len(self.kept) >= KEPT:
            self.more += 1
            return
        shown = str(value)
        shown = shown if len(shown) <= 60 else f"{shown[:57]}..."
        self.kept.append(Fault(file=self.file, line=line, field=column, value=shown, bound=bound, remedy=remedy))

    def end(self) -> None:
        """Refuse the file if anything is wrong with it."""
        if not self.kept:
            return
        told = sorted(self.kept, key=lambda f: f.line or 0)
        if self.more:
            told.append(Fault(file=self.file, field="rows", bound=phrase("survey.historian.and_more", count=self.more)))
        raise SurveyError(told)


@dataclass(frozen=True, kw_only=True)
class Head:
    """What the top of a CSV file says."""

    separator: str
    names: tuple[str, ...]
    start: int
    """Byte at which the first row of values begins."""
    line: int
    """Its line."""
    unit: str
    """Of all values of a long file that has a row of units."""
    zone: str | None
    layout: Layout
    stamps: Stamps
    comma: bool | None
    """Whether decimals are written with a comma; None where the rows looked at have none."""
    comma_line: int = 0
    """The row that told it."""


def read_stamp(text: str, day_first: bool) -> tuple[int, bool] | None:
    """(Microseconds since 1970 by its own clock or in UTC, whether it states an offset) of a written time."""
    for found in (form.fullmatch(text.strip()) for form in _FORMS.values()):
        if found is None:
            continue
        part = found.groupdict()
        a, b = part.get("a"), part.get("b")
        day, month = (part["day"], part["month"]) if a is None else ((a, b) if day_first else (b, a))
        hour, half = int(part["hour"] or 0), (part["half"] or "").strip().lower()
        if half:
            if not 1 <= hour <= 12:
                return None
            hour = hour % 12 + (12 if half == "pm" else 0)
        try:
            clock = datetime(
                int(part["year"]), int(month or 0), int(day or 0), hour, int(part["minute"] or 0), tzinfo=UTC
            )
        except ValueError:
            return None
        second = int(part["second"] or 0)
        if second > 59:
            return None
        whole = (clock - EPOCH) // timedelta(microseconds=1) + 1_000_000 * second
        whole += int((part["part"] or "0").ljust(6, "0")[:6])
        offset = part["offset"]
        if offset and offset != "Z":
            digits = offset[1:].replace(":", "")
            away = 60_000_000 * (60 * int(digits[:2]) + int(digits[2:]))
            whole -= away if offset[0] == "+" else -away
        return whole, bool(offset)
    return None


def layout_of(names: Sequence[str], units: Mapping[int, str], faults: Faults, line: int | None = None) -> Layout | None:
    """What the columns hold by their headings; None after a fault."""
    low = [n.strip().lower() for n in names]
    often = Counter(low)
    twice = sorted({n for n in names if n.strip() and often[n.strip().lower()] > 1})
    if twice:
        faults.add(line, "columns", ", ".join(twice), phrase("survey.historian.column_twice"))
        return None
    time = next((low.index(n) for n in TIMES if n in low), None)
    if time is None:
        shown = ", ".join(names)
        faults.add(
            line, "columns", shown, phrase("survey.historian.no_time_column"), phrase("survey.historian.columns_wanted")
        )
        return None
    place = {n: i for i, n in enumerate(low)}
    if "tag" in place and "value" in place:
        return Layout(
            time=time, tag=place["tag"], value=place["value"], unit=place.get("unit"), quality=place.get("quality")
        )
    signals = []
    for i, name in enumerate(names):
        tag = name.strip()
        owner = low[i].removesuffix(QUALITY) if low[i].endswith(QUALITY) else None
        if i == time or not tag or (owner is not None and owner in place):
            continue
        signals.append(Signal(tag, i, place.get(f"{low[i]}{QUALITY}"), units.get(i, "")))
    if not signals:
        faults.add(
            line,
            "columns",
            ", ".join(names),
            phrase("survey.historian.no_signal"),
            phrase("survey.historian.columns_wanted"),
        )
        return None
    return Layout(time=time, signals=tuple(signals))


def read_head(path: Path, zone: str | None) -> Head:
    """The form of a CSV file, from its top and its end."""
    with path.open("rb") as stream:
        top = stream.read(LOOK)
        stream.seek(max(path.stat().st_size - LOOK, 0))
        end = stream.read(LOOK)
    rows, start, line, heading = _top_rows(path.name, top)
    faults = Faults(path.name)
    separator = next((s for s in (";", "\t") if s in rows[0]), ",")
    names = _cells(rows[0], separator)
    units: dict[int, str] = {}
    where = layout_of(names, {}, faults, line)
    faults.end()
    assert where is not None
    used = 1
    if len(rows) > 1:
        second = _cells(rows[1], separator)
        if len(second) == len(names) and not _is_time(second[where.time]):
            units = dict(enumerate(second))
            used = 2
            where = layout_of(names, units, faults, line) or where
    sample = [(line + used + i, _cells(r, separator)) for i, r in enumerate(rows[used:])]
    last = [(0, _cells(r, separator)) for r in end.decode("utf-8", "replace").splitlines()[1:]]
    stamps = _stamps([c for _, c in (*sample, *last) if len(c) == len(names)], where.time, sample, faults)
    stated = _zone(heading.get("zone"), zone, stamps, faults)
    faults.end()
    comma, comma_line = _comma(sample, where.numbers, separator)
    return Head(
        separator=separator,
        names=tuple(n.strip() for n in names),
        start=start + sum(len(r.encode()) for r in rows[:used]),
        line=line + used,
        unit=units.get(where.value, "") if where.value is not None else "",
        zone=stated,
        layout=where,
        stamps=stamps,
        comma=comma,
        comma_line=comma_line,
    )


def _top_rows(file: str, top: bytes) -> tuple[list[str], int, int, dict[str, str]]:
    """(Rows from the line of headings on, with their ends; its byte and line; the keys above it)."""
    if not top.strip():
        raise refuse(file, bound=phrase("survey.historian.empty"))
    if top[:2] in (b"PK", b"\x1f\x8b") or top[:4] == b"\xd0\xcf\x11\xe0":
        raise refuse(file, bound=phrase("survey.historian.packed"), remedy=phrase("survey.historian.save_as_csv"))
    mark = 3 if top.startswith(b"\xef\xbb\xbf") else 0
    whole = top if len(top) < LOOK else top[: top.rfind(b"\n") + 1]
    try:
        text = whole[mark:].decode("utf-8")
    except UnicodeDecodeError as wrong:
        raise _not_utf8(file, whole.count(b"\n", 0, wrong.start + mark) + 1) from None
    if "\0" in text:
        raise _not_utf8(file, 1)
    if not text:
        raise refuse(file, bound=phrase("survey.historian.no_lines"), remedy=phrase("survey.historian.save_as_csv"))
    heading: dict[str, str] = {}
    rows = list(io.StringIO(text, newline="\n"))
    if "\r" in rows[0].rstrip("\r\n"):
        raise refuse(file, bound=phrase("survey.historian.no_lines"), remedy=phrase("survey.historian.save_as_csv"))
    start = mark
    for number, row in enumerate(rows):
        content = row.strip()
        if content and not content.startswith("#"):
            return rows[number:], start, number + 1, heading
        key, colon, value = content[1:].partition(":")
        if colon:
            heading[key.strip().lower()] = value.strip()
        start += len(row.encode())
    raise refuse(file, bound=phrase("survey.historian.empty"))


def _not_utf8(file: str, line: int) -> SurveyError:
    bound, remedy = phrase("survey.cells.not_utf"), phrase("survey.cells.save_file_as_csv_utf")
    return SurveyError(Fault(file=file, line=line, field="encoding", bound=bound, remedy=remedy))


def _cells(row: str, separator: str) -> list[str]:
    return next(csv.reader([row.rstrip("\r\n")], delimiter=separator), [])


def _is_time(text: str) -> bool:
    return read_stamp(text, True) is not None or read_stamp(text, False) is not None


def _stamps(rows: list[list[str]], time: int, sample: list[tuple[int, list[str]]], faults: Faults) -> Stamps:
    """How times are written, from the rows that hold one."""
    texts = [t for t in dict.fromkeys(c[time].strip() for c in rows) if _is_time(t)]
    if not texts:
        first = sample[0] if sample else (None, [])
        shown = first[1][time] if len(first[1]) > time else ""
        faults.add(first[0], "time", shown, phrase("survey.historian.no_time"), phrase("survey.historian.write_time"))
        return Stamps()
    told = [t for t in (read_stamp(t, True) or read_stamp(t, False) for t in texts) if t is not None]
    strokes = [f for f in (_FORMS["strokes"].fullmatch(t) for t in texts) if f is not None]
    day_first = True
    if strokes:
        day, month = any(int(f["a"]) > 12 for f in strokes), any(int(f["b"]) > 12 for f in strokes)
        if day is month:
            bound, remedy = phrase("survey.historian.day_or_month"), phrase("survey.historian.year_first")
            faults.add(None, "time", texts[0], bound, remedy)
        day_first = day
    plain = [_ISO.fullmatch(re.sub(r"(?:Z|[+-]\d{2}:?\d{2})$", "", t)) for t in texts]
    return Stamps(offset=told[0][1], day_first=day_first, iso=all(plain))


def _zone(stated: str | None, given: str | None, stamps: Stamps, faults: Faults) -> str | None:
    """The zone of times without offset."""
    if stated and given and stated != given:
        bound = phrase("survey.historian.two_zones", stated=stated)
        faults.add(None, "zone", given, bound, phrase("survey.historian.one_zone"))
    zone = given or stated
    if zone is None and not stamps.offset:
        faults.add(None, "time", "", phrase("survey.historian.no_zone"), phrase("survey.historian.state_zone"))
    return zone


def _comma(sample: list[tuple[int, list[str]]], numbers: Sequence[int], separator: str) -> tuple[bool | None, int]:
    """Whether the first number with a decimal mark has a comma, and the line it stands on."""
    for line, cells in sample:
        for column in numbers:
            text = cells[column] if column < len(cells) else ""
            if _COMMA.fullmatch(text):
                return True, line
            if _POINT.fullmatch(text):
                return False, line
    return None, 0
