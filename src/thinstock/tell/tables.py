"""Tables as files for a spreadsheet: CSV and XLSX. Numbers stay numbers, whole; no text can become a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from thinstock.errors import needs, visible
from thinstock.tell.blocks import Bar, Cell, Number, Table

Row = Sequence[Any]
"""Texts, numbers and empty cells."""


def escaped(value: Any) -> Any:
    """Text that a spreadsheet would take for a formula is put in its place; numbers stay numbers."""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") and not isinstance(read(value), float):
        return "'" + visible(value)
    return "" if value is None else visible(value) if isinstance(value, str) else value


def csv_text(rows: Iterable[Row], end: str = "\n") -> str:
    """Rows as CSV."""
    out = io.StringIO()
    csv.writer(out, lineterminator=end).writerows([[escaped(v) for v in row] for row in rows])
    return out.getvalue()


def table_rows(one: Table) -> list[list[Any]]:
    """A table with its heads as rows; bars are left out."""
    kept = [k for k in range(len(one.columns)) if not any(isinstance(row[k], Bar) for row in one.rows)]
    heads = [(one.columns[k].head, one.columns[k].unit) for k in kept]
    return [
        [f"{head} ({unit})" if unit and head else head or unit for head, unit in heads],
        *([_value(row[k]) for k in kept] for row in one.rows),
    ]


def csv_of(told: Iterable[Table]) -> str:
    """Tables one below the other as CSV, each with its caption above."""
    rows: list[Row] = []
    for one in told:
        rows += [*([[]] if rows else []), *([[one.caption or one.title]] if one.caption or one.title else [])]
        rows += table_rows(one)
    return csv_text(rows)


def _value(cell: Cell) -> Any:
    if isinstance(cell, Number) and cell.value is not None:
        return cell.value
    return read(plain_text(cell))


def plain_text(cell: Cell) -> str:
    """A cell with its number as a computer writes it."""
    return str(cell).replace("−", "-").replace("\u202f", "").replace("\u00a0", " ")


def read(text: str) -> float | str:
    """A text as the number it is, else as it stands."""
    try:
        return float(text)
    except ValueError:
        return text


def workbook(sheets: Mapping[str, Iterable[Row]]) -> bytes:
    """Rows by the name of their sheet as an XLSX workbook; the first row is the head."""
    xlsxwriter = needs("xlsxwriter", "tables")

    held = io.BytesIO()
    book = xlsxwriter.Workbook(held, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    bold = book.add_format({"bold": True})
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name.removesuffix(".csv")[:31])
        sheet.freeze_panes(1, 0)
        for r, row in enumerate(rows):
            for c, cell in enumerate(row):
                number = _number(cell)
                if number is not None:
                    sheet.write_number(r, c, number)
                elif cell not in ("", None):
                    sheet.write_string(r, c, str(escaped(cell)), bold if r == 0 else None)
        sheet.autofit()
    book.close()
    return held.getvalue()


def _number(cell: Any) -> float | None:
    if cell is None or isinstance(cell, bool):
        return None
    try:
        found = float(cell)
    except ValueError:
        return None
    return found if abs(found) < float("inf") else None
