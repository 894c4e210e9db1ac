"""From windows to rounds: which signal is which reading, and a survey table for every steady window.

The file of tags says it, with what each meter may be off; the scatter of the window is added to that as squares. A tag
may also be a setting of the machine: it stands in the heading of the round.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from thinstock.errors import Fault
from thinstock.survey.cells import Cells, read_cells
from thinstock.survey.faults import SurveyError, nearest
from thinstock.survey.historian import Series
from thinstock.survey.table import COLUMNS, Survey, reading_of
from thinstock.survey.windows import Held, Window, Windows
from thinstock.words import units
from thinstock.words.phrase import phrase

TAGS = ("tag", "stream", "quantity", "unit", "uncertainty", "coverage_factor", "group")
SETTING = "setting"
"""Quantity of a tag that is a value of the machine: its address stands in the column `stream`."""


@dataclass(frozen=True, kw_only=True)
class Tag:
    """One row of the file of tags."""

    tag: str
    stream: str
    quantity: str
    unit: str
    uncertainty: str
    coverage_factor: str
    group: str
    line: int

    @property
    def setting(self) -> bool:
        """Whether it is a value of the machine rather than a reading of a stream."""
        return self.quantity == SETTING


@dataclass(frozen=True, kw_only=True, eq=False)
class Tags:
    """The file of tags."""

    rows: tuple[Tag, ...]
    cells: Cells

    @property
    def names(self) -> tuple[str, ...]:
        """Tags, each once."""
        return tuple(dict.fromkeys(r.tag for r in self.rows))


def read_tags(path: Path, streams: Iterable[str] | None = None) -> Tags:
    """The file that says which signal is which reading (CSV or XLSX, sheet `tags`).

    Source: the file. With `streams` another stream is refused; all faults come in one `SurveyError`.
    """
    cells = read_cells(path, TAGS, "tags", "survey")
    known = None if streams is None else tuple(streams)
    rows = []
    for line, row in cells.rows:
        tag = Tag(**dict(zip(TAGS, row, strict=True)), line=line)
        _check(tag, known, cells)
        rows.append(tag)
    if not rows and not cells.faults:
        cells.fault(None, "rows", "", phrase("history.no_tags"), phrase("history.one_tag_a_line"))
    _end(cells)
    return Tags(rows=tuple(rows), cells=cells)


def _check(tag: Tag, streams: tuple[str, ...] | None, cells: Cells) -> None:
    if not tag.tag:
        cells.fault(tag.line, "tag", "", phrase("history.is_empty"), phrase("history.name_tag_as_in_file"))
    if tag.setting:
        for column in ("uncertainty", "coverage_factor", "group"):
            if getattr(tag, column):
                cells.fault(tag.line, column, getattr(tag, column), phrase("history.not_of_setting"))
        if "." not in tag.stream:
            cells.fault(
                tag.line, "stream", tag.stream, phrase("history.no_address"), phrase("history.address_of_setting")
            )
        return
    if streams is not None and tag.stream and tag.stream not in streams:
        bound = phrase("survey.table.no_stream_network")
        cells.fault(tag.line, "stream", tag.stream, bound, nearest(tag.stream, streams))
    given = dict.fromkeys(COLUMNS, "")
    given |= {column: getattr(tag, column) for column in TAGS if column != "tag"} | {"value": "0.5"}
    if not tag.unit:
        given["unit"] = _usual(tag.quantity)
    reading_of(given, cells, tag.line)


def _usual(quantity: str) -> str:
    """A unit of a quantity, where the file of signals is to say the unit."""
    return {"flow": "kg/s", "solids": "kg/s", "temperature": "degC", "power": "W", "humidity": "kg/kg",
            "position": "m"}.get(quantity.partition(":")[0], "%")  # fmt: skip


def check_units(tags: Tags, series: Mapping[str, Series]) -> None:
    """Refuse tags whose unit is stated nowhere, or otherwise than in the file of signals."""
    cells = Cells(tags.cells.file)
    for row in tags.rows:
        given = series[row.tag].unit
        if not row.unit and not given:
            cells.fault(row.line, "unit", "", phrase("history.no_unit", tag=row.tag), phrase("history.state_unit"))
        elif row.unit and given and not _same(row.unit, given):
            bound = phrase("history.other_unit", tag=row.tag, unit=given)
            cells.fault(row.line, "unit", row.unit, bound, phrase("history.unit_of_file"))
    _end(cells)


def _same(one: str, other: str) -> bool:
    a, b = units.find(one), units.find(other)
    return one == other or (a is not None and b is not None and a == b)


def _end(cells: Cells) -> None:
    if cells.faults:
        raise SurveyError(sorted(cells.faults, key=lambda f: f.line or 0))


def round_of_window(
    tags: Tags, window: Window, series: Mapping[str, Series], *, told: Callable[[float], str], source: str
) -> Survey:
    """One window as a round of readings: means with what the meter may be off and what the window scatters.

    Parameters
    ----------
    tags : Tags
        Which signal is which reading.
    window : Window
        Means of every signal.
    series : mapping of str to Series
        For the units.
    told : callable
        Writes a time.
    source : str
        What the signals were read from.

    Returns
    -------
    Survey
        Ready for `write_survey` and `read_round`; signals without a value in the window are left out.

    Raises
    ------
    Refused
        A mean that cannot be such a reading, with the tag's line.

    Source: DERIVED. Status: derived (squares of meter and mean added).
    """
    cells = Cells(tags.cells.file, heading=dict(tags.cells.heading))
    heading = {
        "survey": phrase("history.round_title", begin=told(window.start), end=told(window.end)),
        **tags.cells.heading,
        "from": told(window.start),
        "to": told(window.end),
        "source": source,
        "steady": phrase("history.round_steady" if window.steady else "history.round_not_steady"),
    }
    readings = []
    for row in tags.rows:
        held, unit = window.held[row.tag], row.unit or series[row.tag].unit
        if not held.count:
            continue
        if row.setting:
            heading[row.stream] = f"{held.mean:.6g} {unit}"
            continue
        made = reading_of(_given(row, held, unit), cells, row.line)
        if made is not None:
            readings.append(made)
    _end(cells)
    if not readings:
        raise SurveyError(Fault(file=cells.file, field="rows", bound=phrase("history.no_reading")))
    return Survey(tuple(readings), heading)


def rounds_of(
    tags: Tags,
    found: Windows,
    series: Mapping[str, Series],
    *,
    most: int,
    told: Callable[[float], str],
    source: str,
) -> list[tuple[str, Survey]]:
    """(Name of a file, round) of the steady windows, at most so many, spread evenly over them.

    Where the only window is not steady it is made a round all the same, and its heading says so.
    Source: DERIVED. Status: derived.
    """
    chosen = found.windows if len(found.windows) == 1 else found.steady
    if not chosen:
        raise SurveyError(
            Fault(field="windows", bound=phrase("history.none_steady"), remedy=phrase("history.shorter_or_other"))
        )
    places = np.unique(np.linspace(0, len(chosen) - 1, min(most, len(chosen))).round().astype(int))
    rounds = []
    for place in places:
        window = chosen[int(place)]
        made = round_of_window(tags, window, series, told=told, source=source)
        rounds.append((f"round-{datetime.fromtimestamp(window.start, UTC):%Y%m%dT%H%M%SZ}.csv", made))
    return rounds


def _given(row: Tag, held: Held, unit: str) -> dict[str, Any]:
    """A reading as a surveyor would have written it."""
    uncertainty, method = row.uncertainty, phrase("history.method_few", count=held.count)
    if np.isfinite(held.standard_uncertainty):
        factor = float(row.coverage_factor or 1.0)
        uncertainty = f"{row.uncertainty} + {held.standard_uncertainty * factor:.3g}"
        method = phrase("history.method", count=held.count, independent=f"{held.size:.0f}")
    return {
        "stream": row.stream, "quantity": row.quantity, "value": f"{held.mean:.7g}", "unit": unit,
        "uncertainty": uncertainty, "coverage_factor": row.coverage_factor, "method": method, "group": row.group,
        "note": row.tag,
    }  # fmt: skip
