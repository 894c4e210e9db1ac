"""Cells of a table as text, from a CSV file, an XLSX workbook or a Parquet file, with all that could mislead refused.

Sizes are limited before anything is read or unpacked; formulas, numbers formatted as per cent, dates and
truth values are refused with their cell. It knows nothing of what the columns mean, and it never writes to
the file it reads.
"""

from __future__ import annotations

import csv
import io
import re
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any
from xml.etree import ElementTree

import numpy as np

from thinstock.errors import Fault, needs
from thinstock.files.read import content, foreign
from thinstock.survey.faults import SurveyError, refuse
from thinstock.words.phrase import phrase

LARGEST_FILE = 5_000_000
"""Bytes of a file that is read at all (a survey of a thousand readings has about 100 kB)."""
LARGEST_UNPACKED = 20_000_000
"""Bytes of a workbook after unpacking."""
MOST_ROWS = 10_000
FARTHEST_COLUMN = 200
LONGEST_CELL = 10_000
"""Letters of a cell of a Parquet file, where one text may stand in very many rows and take no room."""
NOT_HEADING = (b"ARROW:schema", b"pandas")
"""Keys that programs write into a Parquet file for themselves."""
ESCAPED = ("=", "+", "-", "@", "\t", "\r")
"""A text that begins so could be run by a spreadsheet; it is written with a leading apostrophe."""

UTF_16 = (b"\xff\xfe", b"\xfe\xff")
"""What a part begins with in which a document type could hide from a search for its letters."""

_DECIMAL = re.compile(r"(?<![\w.,])(\d+),(\d+)(?![\w.,])")
"""A number with a comma, alone in its cell or before a unit."""
_SHEET = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}"
_PACKAGE = "{http://schemas.openxmlformats.org/package/2006/relationships}"


@dataclass(eq=False)
class Cells:
    """A table as read: heading keys, and rows of texts with the line they stand on."""

    file: str
    heading: dict[str, str] = field(default_factory=dict)
    rows: list[tuple[int, list[str]]] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    def fault(self, line: int | None, column: str, value: object = "", bound: str = "", remedy: str = "") -> None:
        """Keep one fault and go on reading."""
        self.faults.append(Fault(file=self.file, line=line, field=column, value=str(value), bound=bound, remedy=remedy))


def read_cells(path: Path, columns: Sequence[str], sheet: str, heading_sheet: str) -> Cells:
    """The cells below the line of column names, whatever kind of file it is."""
    data = content(path, LARGEST_FILE, file=path.name, kind=SurveyError)
    cells = Cells(path.name)
    with foreign(path.name, SurveyError):
        _read_any(cells, data, columns, sheet, heading_sheet)
    for line, row in cells.rows:
        for column, cell in zip(columns, row, strict=False):
            if cell.startswith("="):
                remedy = phrase("survey.cells.write_value_itself_formula_may")
                cells.fault(line, column, cell, "begins with =", remedy)
    cells.rows = [(line, [_unescaped(c) for c in row]) for line, row in cells.rows]
    return cells


def _read_any(cells: Cells, data: bytes, columns: Sequence[str], sheet: str, heading_sheet: str) -> None:
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise refuse(
            cells.file,
            bound=phrase("survey.cells.old_or_locked_workbook"),
            remedy=phrase("survey.cells.save_it_as_xlsx_without"),
        )
    if data.startswith(b"PK"):
        _read_workbook(cells, data, columns, sheet, heading_sheet)
    elif data.startswith(b"PAR1"):
        _take_rows(cells, _parquet_rows(cells, data), columns)
    else:
        _read_text(cells, data, columns)


def escaped(text: str) -> str:
    """A text that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(ESCAPED) else text


def _unescaped(text: str) -> str:
    return text[1:] if text.startswith("'") and text[1:].startswith(ESCAPED) else text


def _read_text(cells: Cells, data: bytes, columns: Sequence[str]) -> None:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        remedy = phrase("survey.cells.save_file_as_csv_utf")
        raise SurveyError(
            Fault(file=cells.file, line=line, field="encoding", bound=phrase("survey.cells.not_utf"), remedy=remedy)
        ) from None
    if "\0" in text:
        raise refuse(
            "encoding", cells.file, phrase("survey.cells.not_utf"), phrase("survey.cells.save_file_as_csv_utf")
        )
    lines = text.splitlines(keepends=True)
    start = 0
    for start, row in enumerate(lines):
        content = row.strip()
        if content.startswith("#"):
            key, colon, value = content[1:].partition(":")
            if colon:
                _head(cells, start + 1, key.strip(), value.strip())
        elif content:
            break
    else:
        raise refuse(
            "columns",
            cells.file,
            phrase("survey.cells.has_no_table"),
            phrase("survey.cells.line_column_names", columns=",".join(columns)),
        )
    separator = ";" if lines[start].count(";") > lines[start].count(",") else ","
    reader = csv.reader(io.StringIO("".join(lines[start:])), delimiter=separator, strict=True)
    _take_rows(cells, _csv_rows(cells, reader, start), columns)
    if separator == ";":  # such a table writes its decimals with a comma
        cells.rows = [(line, [_DECIMAL.sub(r"\1.\2", cell) for cell in row]) for line, row in cells.rows]


def _csv_rows(cells: Cells, reader: Any, start: int) -> Iterator[tuple[int, list[str]]]:
    line = start + 1
    try:
        for row in reader:
            yield line, [cell.strip() for cell in row]
            line = start + 1 + reader.line_num
    except csv.Error as error:
        cells.fault(
            line,
            "row",
            bound=phrase("survey.cells.cannot_be_split_into_cells", error=error),
            remedy=phrase("survey.cells.look_for_lost_quotation_mark"),
        )


def _head(cells: Cells, line: int, key: str, value: str) -> None:
    if key in cells.heading:
        cells.fault(
            line, key, value, phrase("survey.cells.given_twice_in_heading"), phrase("survey.cells.keep_one_them")
        )
    cells.heading[key] = value


def _take_rows(cells: Cells, rows: Iterator[tuple[int, list[str]]], columns: Sequence[str]) -> None:
    line, names = next(((n, r) for n, r in rows if any(r)), (1, []))
    if names != list(columns):
        remedy = phrase("survey.cells.columns_exactly_in_this_order", columns=", ".join(columns))
        given = ", ".join(names)
        raise SurveyError(
            [*cells.faults, Fault(file=cells.file, line=line, field="columns", value=given, remedy=remedy)]
        )
    for line, row in rows:
        if not any(row):
            continue
        if len(row) != len(columns):
            remedy = phrase("survey.cells.comma_in_cell_decimal_comma")
            cells.fault(
                line, "row", f"{len(row)} cells", phrase("survey.cells.must_have", columns=len(columns)), remedy
            )
            continue
        if len(cells.rows) >= MOST_ROWS:
            raise refuse("rows", cells.file, phrase("survey.cells.more_than_rows", most_rows=MOST_ROWS))
        cells.rows.append((line, row))


def _read_workbook(cells: Cells, data: bytes, columns: Sequence[str], sheet: str, heading_sheet: str) -> None:
    calamine = needs("python_calamine", "tables")

    parts = _unpacked(cells, data)
    try:
        places = _sheet_places(parts)
        styles = _per_cent_styles(parts)
        book = calamine.CalamineWorkbook.from_filelike(_packed(parts))
        names = book.sheet_names
    except (calamine.CalamineError, ElementTree.ParseError, KeyError, ValueError) as error:
        raise refuse(
            cells.file,
            bound=phrase("survey.cells.no_readable_workbook"),
            remedy=phrase("survey.cells.save_it_anew_as_xlsx"),
        ) from error
    if sheet not in names:
        raise refuse(
            "sheet",
            ", ".join(names),
            phrase("survey.cells.no_sheet_called", sheet=sheet),
            phrase("survey.cells.name_sheet", sheet=sheet),
        )
    for name in (sheet, heading_sheet):
        if name in places:
            _look_for_traps(cells, parts[places[name]], styles, name)
    if heading_sheet in names:
        for line, row in _sheet_rows(cells, book.get_sheet_by_name(heading_sheet)):
            if any(row):
                _head(cells, line, row[0], row[1] if len(row) > 1 else "")
    _take_rows(cells, _padded(_sheet_rows(cells, book.get_sheet_by_name(sheet)), len(columns)), columns)


def _parquet_rows(cells: Cells, data: bytes) -> Iterator[tuple[int, list[str]]]:
    """The column names and rows of a Parquet file, counted like the lines of a CSV file; its keys are the heading."""
    pa, parquet = needs("pyarrow", "tables"), needs("pyarrow.parquet", "tables")
    file = parquet.ParquetFile(pa.BufferReader(data))
    told, schema = file.metadata, file.schema_arrow
    if told.num_rows > MOST_ROWS:
        raise refuse("rows", cells.file, phrase("survey.cells.more_than_rows", most_rows=MOST_ROWS))
    unpacked = sum(told.row_group(k).total_byte_size for k in range(told.num_row_groups))
    if unpacked > LARGEST_UNPACKED:
        said = phrase("survey.cells.unpacks_to_more_than_bytes", largest_unpacked=LARGEST_UNPACKED)
        raise refuse(cells.file, bound=said)
    if len(schema) > FARTHEST_COLUMN:
        raise refuse("columns", cells.file, phrase("survey.cells.more_than_columns", most=FARTHEST_COLUMN))
    for key, value in (schema.metadata or {}).items():
        if key not in NOT_HEADING:
            _head(cells, 1, key.decode().strip(), value.decode().strip())
    yield 1, [name.strip() for name in schema.names]
    for one in schema:
        if not _holds_cells(one.type, pa.types):
            said = phrase("survey.cells.column_type", kind=one.type)
            raise refuse("columns", one.name, said, phrase("survey.cells.column_of_text_or_numbers"))
    texts = [one.name for one in schema if pa.types.is_string(one.type) or pa.types.is_large_string(one.type)]
    line = 1
    for batch in parquet.ParquetFile(pa.BufferReader(data), read_dictionary=texts).iter_batches(batch_size=1000):
        for row in zip(*(_column_texts(cells, column, pa) for column in batch.columns), strict=True):
            line += 1
            yield line, list(row)


def _holds_cells(kind: Any, types: Any) -> bool:
    kind = kind.value_type if types.is_dictionary(kind) else kind
    holds = types.is_string, types.is_large_string, types.is_integer, types.is_floating, types.is_decimal, types.is_null
    return any(is_one(kind) for is_one in holds)


def _column_texts(cells: Cells, column: Any, pa: Any) -> list[str]:
    """The cells of one column; nothing, and no number, is an empty cell, as tables of other programs have it."""
    if pa.types.is_dictionary(column.type):
        words = [_word(cells, word) for word in column.dictionary.to_pylist()]
        return ["" if k is None else words[k] for k in column.indices.to_pylist()]
    short = pa.types.is_floating(column.type) and column.type != pa.float64()
    found = np.asarray(column.to_numpy(zero_copy_only=False)) if short else column.to_pylist()
    return [_word(cells, str(one)) if one is not None and one == one else "" for one in found]


def _word(cells: Cells, word: Any) -> str:
    text = "" if word is None else str(word).strip()
    if len(text) > LONGEST_CELL:
        raise refuse(cells.file, f"{text[:40]}...", phrase("survey.cells.cell_longer_than", most=LONGEST_CELL))
    return text


def _unpacked(cells: Cells, data: bytes) -> dict[str, bytes]:
    """Every part of the workbook, read by us and counted while it unpacks; what the file says of itself is
    not trusted.
    """
    parts: dict[str, bytes] = {}
    left = LARGEST_UNPACKED
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for entry in archive.infolist():
                if not entry.filename.endswith((".xml", ".rels")):
                    continue
                with archive.open(entry) as stream:
                    read = stream.read(left + 1)
                left -= len(read)
                if left < 0:
                    raise refuse(
                        cells.file,
                        bound=phrase("survey.cells.unpacks_to_more_than_bytes", largest_unpacked=LARGEST_UNPACKED),
                    )
                if b"<!DOCTYPE" in read or b"<!ENTITY" in read or read[:2] in UTF_16:
                    raise refuse(cells.file, bound=phrase("survey.cells.holds_document_type_which_no"))
                parts[entry.filename] = read
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError, OSError) as error:
        if isinstance(error, SurveyError):
            raise
        raise refuse(
            cells.file,
            bound=phrase("survey.cells.no_readable_workbook"),
            remedy=phrase("survey.cells.save_it_anew_as_xlsx"),
        ) from error
    return parts


def _packed(parts: dict[str, bytes]) -> io.BytesIO:
    """The counted parts as a plain archive, so that nothing uncounted reaches the reader."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as archive:
        for name, part in parts.items():
            archive.writestr(name, part)
    stream.seek(0)
    return stream


def _sheet_places(parts: dict[str, bytes]) -> dict[str, str]:
    """Name of a sheet -> name of its part."""
    targets: dict[str, str] = {}
    for relation in ElementTree.fromstring(parts["xl/_rels/workbook.xml.rels"]).iter(f"{_PACKAGE}Relationship"):
        target = relation.get("Target", "")
        targets[relation.get("Id", "")] = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
    places = {}
    for node in ElementTree.fromstring(parts["xl/workbook.xml"]).iter(f"{_SHEET}sheet"):
        place = str(PurePosixPath(targets.get(node.get(f"{_RELATION}id", ""), "")))
        if place in parts:
            places[node.get("name", "")] = place
    return places


def _per_cent_styles(parts: dict[str, bytes]) -> frozenset[str]:
    """Numbers of the cell styles that show a number as per cent."""
    if "xl/styles.xml" not in parts:
        return frozenset()
    root = ElementTree.fromstring(parts["xl/styles.xml"])
    per_cent = {"9", "10"}
    per_cent |= {n.get("numFmtId", "") for n in root.iter(f"{_SHEET}numFmt") if "%" in n.get("formatCode", "")}
    formats = root.find(f"{_SHEET}cellXfs")
    return frozenset(
        str(i) for i, n in enumerate(formats if formats is not None else ()) if n.get("numFmtId") in per_cent
    )


def _look_for_traps(cells: Cells, part: bytes, styles: frozenset[str], sheet: str) -> None:
    for node in ElementTree.fromstring(part).iter(f"{_SHEET}c"):
        place = node.get("r", "")
        line, column = _row_and_column(place)
        if (line or 0) > 2 * MOST_ROWS or column > FARTHEST_COLUMN:
            remedy = phrase("survey.cells.delete_what_stands_far_off")
            raise refuse(
                cells.file, f"cell {place} of {sheet}", phrase("survey.cells.lies_far_outside_any_table"), remedy
            )
        formula = node.find(f"{_SHEET}f")
        if formula is not None:
            remedy = phrase("survey.cells.paste_values_not_formulas")
            cells.fault(
                line, f"cell {place} of {sheet}", f"={formula.text or ''}", phrase("survey.cells.is_formula"), remedy
            )
        elif node.get("s") in styles and node.get("t", "n") == "n" and node.find(f"{_SHEET}v") is not None:
            shown = f"{float(node.findtext(f'{_SHEET}v') or 0.0) * 100:g} %"
            remedy = phrase("survey.cells.format_cell_as_text_write", shown=shown)
            cells.fault(
                line, f"cell {place} of {sheet}", shown, phrase("survey.cells.number_formatted_as_per_cent"), remedy
            )


def _row_and_column(place: str) -> tuple[int | None, int]:
    letters, digits = place.rstrip("0123456789"), place.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    column = 0
    for letter in letters:
        column = 26 * column + ord(letter) - 64
    return int(digits) if digits.isascii() and digits.isdigit() else None, column


def _sheet_rows(cells: Cells, sheet: Any) -> Iterator[tuple[int, list[str]]]:
    for line, row in enumerate(sheet.to_python(skip_empty_area=False), start=1):
        yield line, [_cell_text(cells, line, cell) for cell in row]


def _cell_text(cells: Cells, line: int, cell: Any) -> str:
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, bool) or not isinstance(cell, int | float):
        cells.fault(
            line,
            "cell",
            cell,
            phrase("survey.cells.date_or_truth_value"),
            phrase("survey.cells.format_cell_as_text_or"),
        )
        return ""
    return repr(cell)


def _padded(rows: Iterator[tuple[int, list[str]]], width: int) -> Iterator[tuple[int, list[str]]]:
    for line, row in rows:
        cut = row[:width] if not any(row[width:]) else row
        yield line, cut + [""] * (width - len(cut))
