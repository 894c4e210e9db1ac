"""An empty table for one machine: every point it can be read at, with usual uncertainties to be replaced by one's own.

The uncertainties offered are judgement of the trade and say so in each row. Rows that nobody fills in are left out when
the table is read back.
"""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

from thinstock.errors import needs
from thinstock.machine.line import Machine
from thinstock.survey.cells import escaped
from thinstock.survey.faults import refuse
from thinstock.survey.machine_network import network_of_machine
from thinstock.survey.network import kind_of, part_of
from thinstock.survey.round import points_of
from thinstock.survey.table import COLUMNS
from thinstock.survey.typical import Typical, typical_uncertainties
from thinstock.words.phrase import phrase
from thinstock.words.quantity import show

JUDGEMENT = phrase("survey.form.usual_uncertainty_judgement_put_your")


@dataclass(frozen=True, kw_only=True)
class FormRow:
    """One row of the form, and how to take its reading."""

    heading: str
    stream: str
    said: str
    quantity: str
    unit: str
    uncertainty: str
    """Offered; the wider end of what is usual."""
    usual: str
    """The whole usual range in words."""
    method: str
    how: str
    caution: str
    default: bool
    """False: a reading that is better left to another (see `how`)."""

    def cells(self) -> tuple[str, ...]:
        """As a row of the table, without a value."""
        return (self.stream, self.quantity, "", self.unit, self.uncertainty, "1", self.method, "", JUDGEMENT)


@lru_cache(maxsize=1)
def _points() -> Mapping[str, Any]:
    return tomllib.loads(files("thinstock.survey").joinpath("points.toml").read_text(encoding="utf-8"))


def form_rows(machine: Machine) -> tuple[FormRow, ...]:
    """Every row that makes sense on this machine, in the order of the sheet."""
    points = _points()
    streams = points_of(machine, network_of_machine(machine))
    order = list(points["headings"])
    rows = []
    for stream in sorted(streams, key=lambda s: list(points).index(kind_of(s)) if kind_of(s) in points else 99):
        point = points.get(kind_of(stream))
        if point is None:
            continue
        sampled = not (stream == "web_pressed" and machine.yankee is not None)
        name = part_of(stream)
        said = f"{point['said']}: {name}" if name else str(point["said"])
        for row in point["rows"]:
            usual = _usual(*row["typical"])
            rows.append(
                FormRow(
                    heading=points["headings"][point["heading"]],
                    stream=stream,
                    said=said,
                    quantity=row["quantity"],
                    unit=_unit(row, machine),
                    uncertainty=_offered(row, usual, machine),
                    usual=_words(usual),
                    method=usual.method,
                    how=point["how"] if sampled else point["yankee"],
                    caution=point["caution"],
                    default=sampled,
                )
            )
    return tuple(sorted(rows, key=lambda r: order.index(_heading(r.heading))))


def _heading(title: str) -> str:
    return str(next(k for k, v in _points()["headings"].items() if v == title))


def _usual(reading: str, method: str) -> Typical:
    return next(t for t in typical_uncertainties() if (t.reading, t.method) == (reading, method))


def _roll_former(machine: Machine) -> bool:
    return hasattr(machine.forming.element[0], "wrap")


def _unit(row: Mapping[str, Any], machine: Machine) -> str:
    if row["quantity"] == "position" and not _roll_former(machine):
        return "m"
    return str(row["unit"])


def _offered(row: Mapping[str, Any], usual: Typical, machine: Machine) -> str:
    if row["quantity"] == "position" and not _roll_former(machine):
        return "10 % of value"
    return usual.high


def _words(usual: Typical) -> str:
    low, high = usual.low, usual.high
    unit = f" {usual.unit}" if usual.unit and "+" not in high else ""
    span = f"{high}{unit}" if low == high else f"{low.removesuffix(' % of value')} to {high}{unit}"
    return f"{span}; {usual.remark}" if usual.remark else span


def form_heading(machine: Machine) -> dict[str, str]:
    """The key/value lines above the table; keys with a dot state a setting of the machine in the round."""
    speed = machine.declaration(machine.speed_address).about
    return {
        "survey": phrase("survey.form.name_date_round"),
        "machine": machine.title,
        "water_density": "990 kg/m3",
        machine.speed_address: show(float(machine.speed), speed),  # type: ignore[arg-type]
    }


ABOUT = phrase("survey.form.one_row_per_reading_rows")


def form_csv(machine: Machine) -> str:
    """The form as CSV, with the how-to as heading lines."""
    stream = io.StringIO()
    for key, value in form_heading(machine).items():
        stream.write(f"# {key}: {value}\n")
    stream.write(f"# about this table: {ABOUT}\n")
    told: set[str] = set()
    rows = form_rows(machine)
    for row in rows:
        if row.stream not in told:
            told.add(row.stream)
            stream.write(f"# reading {row.stream.replace(': ', ' ')}: {row.how} CAUTION: {row.caution}\n")
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows([[escaped(cell) for cell in row.cells()] for row in rows if row.default])
    return stream.getvalue()


def form_workbook(machine: Machine) -> bytes:
    """The form as a workbook: readings to fill in, one sheet per heading on how to take them."""
    xlsxwriter = needs("xlsxwriter", "tables")

    rows = form_rows(machine)
    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream, {"in_memory": True})
    bold = book.add_format({"bold": True, "bottom": 1})
    fill = book.add_format({"bg_color": "#eef3f9", "border": 1, "border_color": "#b9c4d3"})
    wrap = book.add_format({"text_wrap": True, "valign": "top"})
    sheet = book.add_worksheet("readings")
    _head(sheet, COLUMNS, bold, (30, 14, 12, 8, 24, 8, 40, 16, 44))
    number = 0
    for row in rows:
        if not row.default:
            continue
        number += 1
        for j, cell in enumerate(row.cells()):
            if COLUMNS[j] == "value":
                sheet.write_blank(number, j, None, fill)
            elif COLUMNS[j] == "coverage_factor":
                sheet.write_number(number, j, float(cell))
            else:
                sheet.write_string(number, j, escaped(cell))
    head = book.add_worksheet("survey")
    head.set_column(0, 0, 18)
    head.set_column(1, 1, 60)
    for i, (key, value) in enumerate(form_heading(machine).items()):
        head.write_string(i, 0, key)
        head.write_string(i, 1, escaped(value))
    for title in dict.fromkeys(r.heading for r in rows):
        page = book.add_worksheet(title)
        _head(page, HOW, bold, (28, 34, 14, 26, 44, 70, 50))
        for i, row in enumerate([r for r in rows if r.heading == title], start=1):
            cells = (row.stream, row.said, row.quantity, row.method, row.usual, row.how, row.caution)
            for j, cell in enumerate(cells):
                page.write_string(i, j, escaped(cell), wrap)
    about = book.add_worksheet("about")
    about.set_column(0, 0, 110, wrap)
    about.write_string(0, 0, escaped(ABOUT), wrap)
    book.close()
    return stream.getvalue()


HOW = (
    "stream",
    phrase("survey.form.what_it"),
    "quantity",
    "method",
    phrase("survey.form.usual_standard_uncertainty_judgement"),
    phrase("survey.form.how_to_read_it"),
    "caution",
)


def _head(sheet: Any, names: tuple[str, ...], bold: Any, widths: tuple[int, ...]) -> None:
    sheet.freeze_panes(1, 0)
    for j, (name, width) in enumerate(zip(names, widths, strict=True)):
        sheet.set_column(j, j, width)
        sheet.write_string(0, j, name, bold)


def form_file(machine: Machine, name: str) -> bytes:
    """The form in the kind of file that a name asks for."""
    ending = name.rpartition(".")[2].lower()
    if ending == "csv":
        return form_csv(machine).encode("utf-8")
    if ending == "xlsx":
        return form_workbook(machine)
    raise refuse(
        "--out", name, phrase("survey.form.must_end_in_csv_or"), phrase("survey.form.for_example_readings_xlsx")
    )
