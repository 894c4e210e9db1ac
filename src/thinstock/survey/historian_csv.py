"""Blocks of a CSV file of signals: read by typed columns where a block is plain, cell by cell where something is odd.

A block is never larger than some megabytes, so a file of any size is read in little memory. What is no number is left
out and counted by whoever gathers; what is no time, or a number that could mean two things, is a fault with its line.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thinstock.errors import needs
from thinstock.survey.faults import refuse
from thinstock.survey.historian_head import Faults, Head
from thinstock.words.phrase import phrase

BLOCK = 12_000_000
"""Bytes read at a time."""
LONGEST = 1_000_000
"""Bytes of the longest line."""
NO_NUMBER = ("", "---", "--", "-", "NaN", "nan", "null", "NULL", "N/A", "n/a", "Bad", "bad", "BAD")
"""What stands where there is no number; the file's own words are added as they are met."""
MOST_WORDS = 60

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_NUMBER = {
    False: re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII),
    True: re.compile(r"[+-]?(\d+,?\d*|,\d+)([eE][+-]?\d+)?", re.ASCII),
}
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:[.,' \u00a0\u202f]\d{3})+(?:[.,]\d+)?", re.ASCII)


@dataclass(frozen=True)
class Coded:
    """A column of words: the words, and which of them stands in each row."""

    words: tuple[str, ...]
    code: NDArray[np.int32]


@dataclass(frozen=True, kw_only=True)
class Block:
    """Some rows of a file."""

    lines: Whole | int
    """The line of each row, or of the first of rows without gaps."""
    time: Whole
    """Microseconds since 1970, in UTC or in the clock of the file."""
    numbers: dict[int, Floats]
    """By column; nan where no number stands."""
    words: dict[int, Coded]
    """Tags, units, qualities by column."""

    def line(self, row: int) -> int | None:
        """The line of a row in the file; None where a file has no lines."""
        if isinstance(self.lines, int):
            return self.lines + row if self.lines else None
        return int(self.lines[row])


@dataclass(eq=False)
class Reader:
    """A CSV file being read block by block."""

    path: Path
    head: Head
    faults: Faults
    comma: bool | None = None
    comma_line: int = 0
    empty: list[str] = field(default_factory=lambda: list(NO_NUMBER))

    def __post_init__(self) -> None:
        self.comma, self.comma_line = self.head.comma, self.head.comma_line
        self.csv = needs("pyarrow.csv", "tables")
        self.arrow = needs("pyarrow", "tables")

    def blocks(self) -> Iterator[Block]:
        """Every block of rows; a block with a fault is left out."""
        line = self.head.line
        for data in _raw(self.path, self.head.start):
            count = data.count(b"\n")
            if data.strip():
                block = self._plain(data, line) or self._odd(data, line)
                if block is not None:
                    yield block
            line += count
            if self.faults.more > 1000:
                return

    def _table(self, data: bytes, types: dict[str, Any], **more: Any) -> Any:
        head, csv = self.head, self.csv
        names = [str(i) for i in range(len(head.names))]
        columns = [str(i) for i in head.layout.columns]
        return csv.read_csv(
            self.arrow.BufferReader(data),
            read_options=csv.ReadOptions(column_names=names, block_size=4_000_000, use_threads="handler" not in more),
            parse_options=csv.ParseOptions(delimiter=head.separator, invalid_row_handler=more.get("handler")),
            convert_options=csv.ConvertOptions(
                column_types=types,
                include_columns=columns,
                null_values=self.empty,
                decimal_point="," if self.comma else ".",
                timestamp_parsers=[csv.ISO8601],
            ),
        )

    def _plain(self, data: bytes, line: int) -> Block | None:
        """The block by typed columns; None where anything in it is not as the head of the file says."""
        pa, head = self.arrow, self.head
        words = head.layout.words
        types = {str(c): pa.float64() for c in head.layout.numbers}
        types |= {str(c): pa.dictionary(pa.int32(), pa.string()) for c in words}
        types[str(head.layout.time)] = (
            pa.timestamp("us", "UTC" if head.stamps.offset else None)
            if head.stamps.iso
            else pa.dictionary(pa.int32(), pa.string())
        )
        try:
            table = self._table(data, types)
        except (pa.ArrowInvalid, UnicodeDecodeError):
            return None
        if table.num_rows != data.count(b"\n") + (not data.endswith(b"\n")):
            return None
        time = self._plain_times(table[str(head.layout.time)])
        if time is None:
            return None
        numbers = {c: _floats(table[str(c)]) for c in head.layout.numbers}
        if self.comma is None:
            self._notice(numbers, line)
        return Block(lines=line, time=time, numbers=numbers, words={c: _coded(table[str(c)]) for c in words})

    def _plain_times(self, column: Any) -> Whole | None:
        """Times of a column that holds nothing else; None where it does."""
        if self.head.stamps.iso:
            return None if column.null_count else microseconds(column, self.arrow)
        texts = _coded(column)
        found = [self.head.stamps.microseconds(w) for w in texts.words]
        if None in found:
            return None
        return np.asarray(np.array(found, dtype=np.int64)[texts.code])

    def _notice(self, numbers: dict[int, Floats], line: int) -> None:
        """Numbers that are not whole were read with a point."""
        for values in numbers.values():
            broken = np.flatnonzero(np.isfinite(values) & (values != np.floor(values)))
            if broken.size:
                self.comma, self.comma_line = False, line + int(broken[0])
                return

    def _odd(self, data: bytes, line: int) -> Block | None:
        """The block cell by cell, with what is wrong in it."""
        pa, head = self.arrow, self.head
        before = len(self.faults.kept) + self.faults.more
        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError as wrong:
            where = line + data.count(b"\n", 0, wrong.start)
            bound, remedy = phrase("survey.cells.not_utf"), phrase("survey.cells.save_file_as_csv_utf")
            self.faults.add(where, "encoding", "", bound, remedy)
            return None
        filled = [line + i for i, row in enumerate(text.split("\n")) if row.strip()]
        wrong_rows: list[int] = []

        def handler(row: Any) -> str:
            wrong_rows.append(int(row.number))
            return "skip"

        types = {str(c): pa.string() for c in head.layout.columns}
        try:
            table = self._table("\n".join(r for r in text.split("\n") if r.strip()).encode(), types, handler=handler)
        except pa.ArrowInvalid as wrong:
            self.faults.add(line, "rows", "", phrase("survey.historian.no_rows", why=str(wrong).splitlines()[0]))
            return None
        gone = {n - 1 for n in wrong_rows}
        for n in sorted(gone):
            self._width_fault(filled[n])
        lines = np.array([f for i, f in enumerate(filled) if i not in gone], dtype=np.int64)
        texts = {c: _coded(table[str(c)].dictionary_encode()) for c in head.layout.columns}
        time = self._times(texts[head.layout.time], lines)
        numbers = {c: self._numbers(texts[c], c, lines) for c in head.layout.numbers}
        if len(self.faults.kept) + self.faults.more > before:
            return None
        words = {c: t for c, t in texts.items() if c not in numbers and c != head.layout.time}
        return Block(lines=lines, time=time, numbers=numbers, words=words)

    def _width_fault(self, line: int) -> None:
        width = len(self.head.names)
        remedy = phrase("survey.historian.comma_in_comma") if self.head.separator == "," else ""
        self.faults.add(line, "columns", "", phrase("survey.historian.wrong_width", width=width), remedy)

    def _times(self, texts: Coded, lines: Whole) -> Whole:
        """Times of all rows; a word that is none is a fault for each of its rows."""
        found = [self.head.stamps.microseconds(w) for w in texts.words]
        for code, told in enumerate(found):
            if told is None:
                for row in np.flatnonzero(texts.code == code)[:30]:
                    self._time_fault(int(lines[row]), texts.words[code])
        known = np.array([0 if t is None else t for t in found], dtype=np.int64)
        return np.asarray(known[texts.code] if known.size else np.zeros(0, dtype=np.int64))

    def _time_fault(self, line: int, text: str) -> None:
        from thinstock.survey.historian_head import read_stamp

        told = read_stamp(text, self.head.stamps.day_first)
        if told is None:
            bound, remedy = phrase("survey.historian.no_time"), phrase("survey.historian.write_time")
        else:
            key = "offset_here" if told[1] else "no_offset_here"
            bound, remedy = phrase(f"survey.historian.{key}"), phrase("survey.historian.all_or_none")
        self.faults.add(line, "time", text, bound, remedy)

    def _numbers(self, texts: Coded, column: int, lines: Whole) -> Floats:
        """Numbers of all rows, nan where a word stands; what could mean two numbers is a fault."""
        values = np.full(max(len(texts.words), 1), np.nan)
        for code, word in enumerate(texts.words):
            number = self._number(word.strip(), texts, code, column, lines)
            values[code] = np.nan if number is None else number
        return np.asarray(values[texts.code])

    def _number(self, text: str, texts: Coded, code: int, column: int, lines: Whole) -> float | None:
        if self.comma is None and ("," in text or "." in text):
            either = [mark for mark, form in _NUMBER.items() if form.fullmatch(text)]
            if either:
                self.comma = either[0]
                self.comma_line = int(lines[int(np.flatnonzero(texts.code == code)[0])])
        mark = bool(self.comma)
        if _NUMBER[mark].fullmatch(text):
            return float(text.replace(",", ".") if mark else text)
        other, grouped = _NUMBER[not mark].fullmatch(text), _GROUPED.fullmatch(text)
        if not other and not grouped:
            if len(self.empty) < MOST_WORDS and text not in self.empty and 0 < len(text) < 40:
                self.empty.append(text)
            return None
        for row in np.flatnonzero(texts.code == code)[:30]:
            line, name = int(lines[row]), self.head.names[column]
            if other and self.comma_line:
                bound = phrase("survey.historian.both_marks", line=self.comma_line)
                self.faults.add(line, name, text, bound, phrase("survey.historian.one_mark"))
            else:
                bound, remedy = phrase("survey.historian.thousands"), phrase("survey.historian.no_thousands")
                self.faults.add(line, name, text, bound, remedy)
        return None


def _raw(path: Path, start: int) -> Iterator[bytes]:
    """The rows from a byte on, in blocks of whole lines."""
    with path.open("rb") as stream:
        stream.seek(start)
        rest = b""
        while chunk := stream.read(BLOCK):
            cut = chunk.rfind(b"\n") + 1
            if not cut and len(rest) > LONGEST:
                remedy = phrase("survey.historian.save_as_csv")
                raise refuse(path.name, bound=phrase("survey.historian.no_lines"), remedy=remedy)
            if cut:
                yield rest + chunk[:cut]
                rest = b""
            rest += chunk[cut:]
        if rest:
            yield rest


def _floats(column: Any) -> Floats:
    return np.asarray(column.to_numpy(), dtype=np.float64)


def microseconds(column: Any, pa: Any) -> Whole:
    whole = column.cast(pa.timestamp("us", column.type.tz)).cast(pa.int64())
    return np.asarray(whole.to_numpy(), dtype=np.int64)


def _coded(column: Any) -> Coded:
    """A column of words with one list of words for all its pieces; nothing there is an empty word."""
    one = column.unify_dictionaries().combine_chunks()
    if hasattr(one, "num_chunks"):
        one = one.chunk(0) if one.num_chunks else None
    if one is None:
        return Coded((), np.zeros(0, dtype=np.int32))
    words = tuple("" if w is None else str(w) for w in one.dictionary.to_pylist())
    if one.indices.null_count or one.null_count:
        code = np.asarray(one.indices.fill_null(len(words)).to_numpy(zero_copy_only=False), dtype=np.int32)
        return Coded((*words, ""), code)
    return Coded(words, np.asarray(one.indices.to_numpy(zero_copy_only=False), dtype=np.int32))


def words_of(column: Any, pa: Any) -> Coded:
    """A column of any type as words."""
    if not pa.types.is_dictionary(column.type):
        column = column.cast(pa.string()).dictionary_encode()
    elif column.type.value_type != pa.string():
        column = column.cast(column.type.value_type).cast(pa.string()).dictionary_encode()
    return _coded(column if hasattr(column, "unify_dictionaries") else pa.chunked_array([column]))
