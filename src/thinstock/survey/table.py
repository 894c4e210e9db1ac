"""The surveyor's table: readings with stated uncertainties, read once into SI and written back as it came.

Every reading keeps what was written beside what it means. Nothing is averaged, filled in or guessed here, and
whether the readings agree with each other is not this file's business.
"""

from __future__ import annotations

import csv
import io
import math
import os
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from thinstock.errors import needs
from thinstock.files.write import put
from thinstock.formula.label import Array
from thinstock.survey.cells import Cells, escaped, read_cells
from thinstock.survey.edge import FRACTIONS, SPELLINGS, EdgeUnit, density, edge_unit
from thinstock.survey.faults import SurveyError, nearest, refuse
from thinstock.words.phrase import phrase
from thinstock.words.units import with_point

COLUMNS = ("stream", "quantity", "value", "unit", "uncertainty", "coverage_factor", "method", "group", "note")
QUANTITIES = (
    "flow",
    "consistency",
    "dryness",
    "moisture",
    "consistency:NAME",
    "share:NAME",
    "solids",
    "temperature",
    "power",
    "humidity",
    "position",
)
PLAIN = ("flow", "consistency", "dryness", "moisture", "solids", "temperature", "power", "humidity", "position")
"""Quantities that take no name behind a colon."""
POSITIONS = {"length": "position", "angle": "position:angle", "fraction": "position:share"}
"""What a position is kept as, by the kind of its unit."""
SI_UNITS = {
    "flow": "kg/s",
    "solids": "kg/s",
    "temperature": "K",
    "power": "W",
    "humidity": "kg/kg",
    "position": "m",
    "position:angle": "rad",
}

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_PART = re.compile(r"(?P<number>\S+?)\s*(?P<per_cent>%\s*(?P<of_value>of\s+value)?)?", re.ASCII)
_PLUS = re.compile(r"(?<![eE])\+")


@dataclass(frozen=True)
class Reading:
    """One number read at one stream, in SI."""

    stream: str
    quantity: str
    """`flow`, `consistency` (also for dryness and moisture), `consistency:NAME`, `share:NAME`, `solids`,
    `temperature`; beside the balance `power`, `humidity`, `position` (m), `position:angle`, `position:share`.
    """
    value: float
    standard_uncertainty: float
    method: str = ""
    group: tuple[tuple[str, float], ...] = ()
    """Names with the share of the variance held in common with all other readings of that name."""
    note: str = ""
    given: Mapping[str, str] = field(default_factory=dict, compare=False, hash=False)
    """The row as it was written, by column."""


@dataclass(frozen=True)
class Survey:
    """A round of readings."""

    readings: tuple[Reading, ...]
    heading: Mapping[str, str] = field(default_factory=dict)
    origin: Path | None = field(default=None, compare=False)
    """The file it was read from, which is never written to."""
    shared: Mapping[tuple[int, int], float] = field(default_factory=dict, compare=False)
    """Further covariance of pairs of readings by their numbers: what a reading worked out from others has with them."""

    def covariance(self) -> Array:
        """Covariance of the readings in their order.

        Two readings of one group share sqrt(|s_i s_j|) u_i u_j with the sign of s_i s_j, added over common
        names. Positive semi-definite by construction. Source: DERIVED. Status: derived.
        """
        u = np.array([r.standard_uncertainty for r in self.readings])
        common = np.zeros((u.size, u.size))
        for name in sorted({name for r in self.readings for name, _ in r.group}):
            share = np.array([dict(r.group).get(name, 0.0) for r in self.readings])
            root = np.sign(share) * np.sqrt(np.abs(share)) * u
            common += np.outer(root, root)
        np.fill_diagonal(common, u**2)
        for (i, j), covariance in self.shared.items():
            common[i, j] += covariance
            common[j, i] += covariance
        return common


def read_survey(
    path: str | os.PathLike[str], *, streams: Iterable[str] | None = None, skip_blank: bool = False
) -> Survey:
    """The table of readings in a CSV file, an XLSX workbook (sheet `readings`, optional sheet `survey`) or a Parquet
    file (its keys are the heading).

    With `streams` a stream of another name is refused too; with `skip_blank` rows without a value are left out, as in
    a form that was not filled in to the end. All faults of the file come in one `SurveyError`.
    """
    place = Path(path)
    cells = read_cells(place, COLUMNS, "readings", "survey")
    known = None if streams is None else tuple(streams)
    densities = _densities(cells)
    readings = []
    for line, row in cells.rows:
        found = len(cells.faults)
        given = dict(zip(COLUMNS, row, strict=True))
        if skip_blank and not given["value"]:
            continue
        reading = _reading(given, densities, lambda *what, line=line: cells.fault(line, *what))
        if known is not None and given["stream"] and given["stream"] not in known:
            cells.fault(
                line,
                "stream",
                given["stream"],
                phrase("survey.table.no_stream_network"),
                nearest(given["stream"], known),
            )
        if reading is not None and len(cells.faults) == found:
            readings.append(reading)
    if not readings and not cells.faults:
        cells.fault(
            None,
            "rows",
            "",
            phrase("survey.table.no_reading_in_table"),
            phrase("survey.table.write_one_reading_per_line"),
        )
    if cells.faults:
        raise SurveyError(sorted(cells.faults, key=lambda f: f.line or 0))
    return Survey(tuple(readings), cells.heading, place.resolve())


DENSITIES = {"volume flow": ("water_density", "990 kg/m3"), "gas flow": ("gas_density", "0.75 kg/m3")}
"""Heading key that turns such a flow into mass, with an example (of a gas: kg per normal m3)."""


def _densities(cells: Cells) -> dict[str, float]:
    found = {}
    for kind, (key, _) in DENSITIES.items():
        text = cells.heading.get(key)
        if text is None:
            continue
        try:
            found[kind] = density(text)
        except ValueError as error:
            cells.fault(None, "heading", str(error))
    return found


Report = Callable[..., None]


def reading_of(given: Mapping[str, str], cells: Cells, line: int) -> Reading | None:
    """One row of a table, in SI; what is wrong with it is kept in `cells` with its line."""
    found = len(cells.faults)
    made = _reading(given, _densities(cells), lambda *what: cells.fault(line, *what))
    return made if len(cells.faults) == found else None


def _reading(given: Mapping[str, str], densities: Mapping[str, float], report: Report) -> Reading | None:
    """A row in SI; what is wrong with it goes to `report(column, value, bound, remedy)`."""
    if not given["stream"]:
        report("stream", "", "is empty", phrase("survey.table.name_stream_as_in_network"))
    base = _base_quantity(given["quantity"], report)
    unit = None if base is None else _unit(given["unit"], base, report)
    number = _number(given["value"], "value", report)
    factor = _coverage_factor(given["coverage_factor"], report)
    group = _group(given["group"], report)
    stated = _uncertainty(given["uncertainty"], number, base in FRACTIONS, report)
    if base is None or unit is None or number is None:
        return None
    scale = unit.scale
    if unit.kind in DENSITIES:
        key, example = DENSITIES[unit.kind]
        if unit.kind not in densities:
            remedy = phrase("survey.table.add_heading_line_or_give", key_=key, example=example)
            report("unit", given["unit"], phrase("survey.table.volume_heading_has_no", key_=key), remedy)
            return None
        scale *= densities[unit.kind]
    value = scale * number + unit.offset
    if base == "moisture":
        value = 1.0 - value
    _check_range(base, value, given, report)
    if factor is None or stated is None or group is None:
        return None
    quantity = "consistency" if base in ("dryness", "moisture") else given["quantity"]
    if base == "position":
        quantity = POSITIONS[unit.kind]
    uncertainty = stated * scale / factor
    return Reading(given["stream"], quantity, value, uncertainty, given["method"], group, given["note"], dict(given))


def _base_quantity(text: str, report: Report) -> str | None:
    base, colon, name = text.partition(":")
    plain = base in PLAIN and not colon
    named = base in ("consistency", "share") and bool(name.strip())
    if plain or named:
        return base
    remedy = phrase("survey.table.name_component_network_as_in", nearest=nearest(text, QUANTITIES))
    report("quantity", text, phrase("survey.table.no_quantity_survey"), remedy)
    return None


def _unit(text: str, base: str, report: Report) -> EdgeUnit | None:
    unit = edge_unit(text, base) if text else "is empty"
    if isinstance(unit, str):
        report("unit", text, unit, f"Write {SPELLINGS[base]}.")
        return None
    return unit


def _number(text: str, column: str, report: Report) -> float | None:
    text = with_point(text)
    if _NUMBER.fullmatch(text):
        number = float(text)
        if math.isfinite(number):
            return number
        report(column, text, phrase("survey.table.too_large"))
    elif not text:
        report(column, "", "is empty", phrase("survey.table.give_number_with_decimal_point"))
    elif _NUMBER.fullmatch(text.replace(",", ".", 1)):
        point, none = text.replace(",", "."), text.replace(",", "")
        report(column, text, phrase("survey.table.comma_unclear"), phrase("survey.table.write_either", a=point, b=none))
    elif not text.startswith("="):
        report(column, text, phrase("survey.table.no_number"), phrase("survey.table.digits_decimal_point_only_no"))
    return None


def _coverage_factor(text: str, report: Report) -> float | None:
    if not text:
        remedy = phrase("survey.table.write_if_uncertainty_one_standard")
        report("coverage_factor", "", "is empty", remedy)
        return None
    factor = _number(text, "coverage_factor", report)
    if factor is not None and factor <= 0.0:
        report("coverage_factor", text, phrase("survey.table.must_be_above"), phrase("survey.table.or_usual"))
        return None
    return factor


def _uncertainty(text: str, value: float | None, fraction: bool, report: Report) -> float | None:
    """The stated uncertainty in the unit of the value: parts joined by + are added as squares."""
    if not text:
        remedy = phrase("survey.table.write_for_example_value_or")
        report("uncertainty", "", phrase("survey.table.empty_reading_without_uncertainty_says"), remedy)
        return None
    squares = 0.0
    for part in _PLUS.split(text):
        found = _PART.fullmatch(part.strip())
        number = _number(found["number"] if found else part.strip(), "uncertainty", report)
        if number is None or found is None:
            return None
        if number < 0.0:
            report("uncertainty", text, "is negative", phrase("survey.table.give_size_uncertainty"))
            return None
        if found["per_cent"] and not found["of_value"] and fraction:
            remedy = phrase("survey.table.write_value_or_if_you", number=f"{number:g}")
            report("uncertainty", text, phrase("survey.table.ambiguous_per_cent_value_or"), remedy)
            return None
        if found["per_cent"] and value is None:
            return None
        part_of = number / 100.0 * (value or 0.0) if found["per_cent"] else number
        squares += part_of * part_of
    if not 0.0 < squares < math.inf:
        report(
            "uncertainty",
            text,
            phrase("survey.table.zero_no_reading_exact"),
            phrase("survey.table.give_what_second_reading_would"),
        )
        return None
    return math.sqrt(squares)


def _group(text: str, report: Report) -> tuple[tuple[str, float], ...] | None:
    shares: dict[str, float] = {}
    for part in filter(None, (p.strip() for p in text.split(";"))):
        name, at, share = (p.strip() for p in part.partition("@"))
        if not at or not name or not _NUMBER.fullmatch(share):
            remedy = phrase("survey.table.write_name_s_with_s")
            report("group", part, phrase("survey.table.names_no_share"), remedy)
            return None
        if name in shares:
            report("group", text, f"names {name} twice", phrase("survey.table.once_enough"))
            return None
        shares[name] = float(share)
    if sum(map(abs, shares.values())) > 1.0 + 1e-12:
        report(
            "group",
            text,
            phrase("survey.table.shares_more_than_all_variance"),
            phrase("survey.table.sizes_all_shares_add_up"),
        )
        return None
    return tuple(shares.items())


def _check_range(base: str, value: float, given: Mapping[str, str], report: Report) -> None:
    shown = f"{given['value']} {given['unit']}"
    if base in FRACTIONS and not 0.0 <= value <= 1.0:
        report("value", shown, phrase("survey.table.lies_outside_to_to"), phrase("survey.table.check_value_unit"))
    elif base in ("power", "humidity", "position") and value < 0.0:
        report("value", shown, "is negative", phrase("survey.table.check_sign"))
    elif base in ("flow", "solids") and value < 0.0:
        remedy = phrase("survey.table.stream_that_runs_other_way")
        report("value", shown, phrase("survey.table.negative_flow"), remedy)
    elif base == "temperature" and value <= 0.0:
        report("value", shown, phrase("survey.table.below_absolute_zero"), phrase("survey.table.check_value_unit"))


def _row(reading: Reading, densities: Mapping[str, float]) -> dict[str, str]:
    """The row as it was written, if it still says what the reading says; else the reading in SI."""
    faults: list[Any] = []
    given = {column: str(reading.given.get(column, "")) for column in COLUMNS}
    if reading.given and _reading(given, densities, lambda *what: faults.append(what)) == reading:
        return given
    base = reading.quantity.partition(":")[0]
    return {
        "stream": reading.stream,
        "quantity": base if base == "position" else reading.quantity,
        "value": repr(float(reading.value)),
        "unit": SI_UNITS.get(reading.quantity, "1"),
        "uncertainty": repr(float(reading.standard_uncertainty)),
        "coverage_factor": "1",
        "method": reading.method,
        "group": "; ".join(f"{name} @ {share!r}" for name, share in reading.group),
        "note": reading.note,
    }


def as_written(value: float, given: Mapping[str, str], heading: Mapping[str, str]) -> float:
    """A value in SI as it would stand in a row: in the row's unit, of a volume by the heading's density."""
    base = given["quantity"].partition(":")[0]
    unit = edge_unit(given["unit"], base)
    if isinstance(unit, str):
        return math.nan
    scale = unit.scale
    if unit.kind in DENSITIES:
        key, example = DENSITIES[unit.kind]
        scale *= density(heading.get(key, example))
    return ((1.0 - value if base == "moisture" else value) - unit.offset) / scale


def write_survey(survey: Survey, path: str | os.PathLike[str]) -> None:
    """Write the table as CSV or, for a path that ends in .xlsx, as a workbook; `read_survey` gives it back
    equal.
    """
    place = Path(path)
    if survey.origin is not None and place.resolve() == survey.origin:
        raise refuse(
            "path", place.name, phrase("survey.table.surveyor_s_own_file"), phrase("survey.table.write_to_another_name")
        )
    stated = {kind: survey.heading[key] for kind, (key, _) in DENSITIES.items() if key in survey.heading}
    densities = {kind: density(text) for kind, text in stated.items()}
    rows = [_row(reading, densities) for reading in survey.readings]
    data = _workbook(survey, rows) if place.suffix.lower() == ".xlsx" else _text(survey, rows)
    put(place, data)


def _text(survey: Survey, rows: list[dict[str, str]]) -> bytes:
    stream = io.StringIO()
    for key, value in survey.heading.items():
        stream.write(f"# {key}: {value}\n")
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows([[cell if _NUMBER.fullmatch(cell) else escaped(cell) for cell in row.values()] for row in rows])
    return stream.getvalue().encode()


def _workbook(survey: Survey, rows: list[dict[str, str]]) -> bytes:
    xlsxwriter = needs("xlsxwriter", "tables")

    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream, {"in_memory": True})
    sheet = book.add_worksheet("readings")
    for j, column in enumerate(COLUMNS):
        sheet.write_string(0, j, column)
    for i, row in enumerate(rows, start=1):
        for j, (column, cell) in enumerate(row.items()):
            if column in ("value", "coverage_factor"):
                sheet.write_number(i, j, float(cell))
            elif cell:
                sheet.write_string(i, j, escaped(cell))
    head = book.add_worksheet("survey")
    for i, (key, value) in enumerate(survey.heading.items()):
        head.write_string(i, 0, key)
        head.write_string(i, 1, escaped(value))
    book.close()
    return stream.getvalue()
