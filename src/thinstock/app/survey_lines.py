"""The table of a survey as the page shows it: a line for every row of the form and of the table, and what became of it.

A line is nine texts as in the table's columns and whether it is set aside. Reading and balancing are the survey's.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from thinstock.errors import Fault
from thinstock.machine.line import Machine
from thinstock.survey.edge import ALLOWED, edge_unit
from thinstock.survey.findings import Findings, Row
from thinstock.survey.form import FormRow, form_heading, form_rows
from thinstock.survey.network import kind_of, part_of
from thinstock.survey.round import shown
from thinstock.survey.table import COLUMNS, Reading, as_written
from thinstock.tell.survey import WEBS, Names
from thinstock.words import units
from thinstock.words.figures import plus_minus
from thinstock.words.phrase import phrase

Cells = tuple[str, ...]
OFFERED = {
    "flow": ("kg/s", "t/h", "m³/h", "m³/min", "L/min"), "solids": ("kg/s", "t/h", "t/d"),
    "temperature": ("degC", "degF"), "power": ("MW", "kW"), "humidity": ("kg/kg", "g/kg"),
    "position": ("deg", "m", "mm"),
}  # fmt: skip
"""Units a line offers beside its own; of shares always per cent."""
SHOWN_AS = {"degC": "°C", "degF": "°F", "deg": "°", "m3/h": "m³/h", "m3/min": "m³/min"}
MEANS = ("dryness", "moisture", "consistency")
SPAN = 4.0
"""Half width of the mark of a line, in standard uncertainties."""
PLACES = {
    "thick": "headbox", "white_water": "headbox", "fan": "headbox", "overflow": "headbox", "reject": "headbox",
    "accept": "headbox", "jet": "headbox", "reel": "reel", "vapour": "hood", "exhaust": "hood", "gas": "hood",
    "make_up": "hood", "hood_air": "hood", "steam": "Yankee", "shell": "Yankee",
}  # fmt: skip
"""The part of the drawing a point is read at or behind, where it is not the part of its own name."""


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line of the table on the page."""

    cells: Cells
    aside: bool = False
    form: FormRow | None = None

    @property
    def given(self) -> dict[str, str]:
        """By column."""
        return dict(zip(COLUMNS, self.cells, strict=True))

    @property
    def filled(self) -> bool:
        return self.cells[COLUMNS.index("value")].strip() != ""

    @property
    def name(self) -> str:
        """As the trade calls it."""
        return TRADE.reading(self.cells[0], self.cells[1])

    @property
    def units(self) -> tuple[str, ...]:
        """Units it may be read in."""
        base = self.cells[1].partition(":")[0]
        own = self.cells[COLUMNS.index("unit")]
        named = (
            [u for u in OFFERED.get(base, ("%",)) if not isinstance(edge_unit(u, base), str)] if base in ALLOWED else []
        )
        if base == "position" and own == "deg":
            named = ["deg"]
        return tuple(dict.fromkeys([own, *named]))

    def unit_shown(self, unit: str) -> str:
        """A unit with its proper signs."""
        return SHOWN_AS.get(unit, unit)

    @property
    def heading(self) -> str:
        return self.form.heading if self.form is not None else ""


class Trade(Names):
    """Names of the trade in place of the table's."""

    def __init__(self, flow: str = "kg/s", heading: Mapping[str, str] | None = None) -> None:
        self.flow, self.heading = flow, heading or {}

    def stream(self, stream: str) -> str:
        """A stream."""
        said, part = phrase(f"survey.stream.{kind_of(stream)}"), part_of(stream)
        return phrase("survey.trade.part", stream=said, part=part) if part else said

    def node(self, nodes: str) -> str:
        """The nodes a balance is drawn around."""
        return ", ".join(phrase(f"survey.node.{one}") for one in nodes.split(", "))

    def component(self, component: str) -> str:
        """What a balance is of."""
        return phrase(f"survey.trade.{component}")

    def reading(self, stream: str, quantity: str) -> str:
        """A reading as one calls it."""
        base, _, name = quantity.partition(":")
        if kind_of(stream) == "end_of_forming":
            return self.stream(stream)
        if base == "consistency" and kind_of(stream) in WEBS:
            base, name = "dryness", ""
        if base == "consistency" and name not in ("", "fibre"):
            base = "named_consistency"
        said = phrase(f"survey.quantity.{base}", name=name) if base in ("share", "named_consistency") else ""
        return phrase(
            "survey.trade.reading", stream=self.stream(stream), quantity=said or phrase(f"survey.quantity.{base}")
        )

    def shown(self, value: float, quantity: str, reading: Reading | None = None) -> tuple[float, str]:
        """A value in the unit of its reading; a flow that nobody read in that of most."""
        if reading is not None and reading.given:
            return as_written(value, reading.given, self.heading), SHOWN_AS.get(
                reading.given["unit"], reading.given["unit"]
            )
        if quantity == "flow" and self.flow != "kg/s":
            row = {"quantity": "flow", "unit": self.flow}
            return as_written(value, row, self.heading), SHOWN_AS.get(self.flow, self.flow)
        return shown(value, quantity)


TRADE = Trade()


def trade_of(findings: Findings) -> Trade:
    """The names, with the unit in which most flows of the round were read."""
    read = [r.given["unit"] for r in findings.round.survey.readings if r.quantity == "flow" and r.given]
    return Trade(max(set(read), key=read.count) if read else "kg/s", findings.round.survey.heading)


# -- the lines ---------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=8)
def _form(machine: Machine) -> tuple[FormRow, ...]:
    return form_rows(machine)


def lines_of(machine: Machine, rows: Sequence[Mapping[str, str]] = (), aside: Iterable[int] = ()) -> list[Line]:
    """The rows of a table at their places in the form, and the rest of the form empty."""
    out = set(aside)
    left = [(number, tuple(row[c] for c in COLUMNS)) for number, row in enumerate(rows, start=1)]
    made = []
    for form in _form(machine):
        here = [(n, cells) for n, cells in left if _same(cells, form)]
        left = [one for one in left if one not in here]
        made += [Line(cells=cells, aside=n in out, form=form) for n, cells in here]
        if not here and (form.default or not rows):
            made.append(Line(cells=form.cells(), form=form))
    return made + [Line(cells=cells, aside=n in out) for n, cells in left]


def _same(cells: Cells, form: FormRow) -> bool:
    means = cells[1] in MEANS and form.quantity in MEANS
    return cells[0] == form.stream and (means or cells[1] == form.quantity)


def table_text(machine: Machine, lines: Sequence[Line], heading: Mapping[str, str]) -> str:
    """The filled lines as a table."""
    stream = io.StringIO()
    stream.writelines(f"# {key}: {value}\n" for key, value in (dict(heading) or form_heading(machine)).items())
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows([[cell.replace("\n", " ") for cell in line.cells] for line in lines if line.filled])
    return stream.getvalue()


def in_unit(line: Line, unit: str, heading: Mapping[str, str]) -> Line:
    """The same reading in another unit."""
    given = line.given
    base = given["quantity"].partition(":")[0]
    was, will = edge_unit(given["unit"], base), edge_unit(unit, base)
    if isinstance(was, str) or isinstance(will, str):
        return line
    new = {**given, "unit": unit}

    def moved(text: str, *, difference: bool) -> str:
        try:
            number = float(units.with_point(text))
        except ValueError:
            return text
        zero = as_written(0.0, new, heading) - as_written(0.0, given, heading) * _ratio(given, new, heading)
        made = number * _ratio(given, new, heading) + (0.0 if difference else zero)
        return units.number_text(made, 5)

    new["value"], new["uncertainty"] = (
        moved(given["value"], difference=False),
        moved(given["uncertainty"], difference=True),
    )
    return replace(line, cells=tuple(new[c] for c in COLUMNS))


def _ratio(given: Mapping[str, str], new: Mapping[str, str], heading: Mapping[str, str]) -> float:
    one = [as_written(1.0, g, heading) - as_written(0.0, g, heading) for g in (given, new)]
    return one[1] / one[0]


# -- what became of them -----------------------------------------------------------------------------------------------


def outcome(lines: Sequence[Line], findings: Findings | None) -> list[dict[str, Any]]:
    """For each line: its number among the readings, the balanced value, how far it moved, whether it is doubtful."""
    rows = {row.number: row for row in findings.rows} if findings is not None else {}
    made, number = [], 0
    for line in lines:
        number += line.filled
        row = rows.get(number) if line.filled and not line.aside else None
        one: dict[str, Any] = {"number": number if line.filled else 0, "doubtful": bool(row and row.doubtful)}
        one["balanced"], one["moved"] = _balanced(line, row, findings), None
        if row is not None and math.isfinite(row.adjustment):
            one["moved"] = round(max(-SPAN, min(SPAN, row.adjustment)), 2)
            one["beyond"] = abs(row.adjustment) > SPAN
            one["checked"] = row.redundancy > 1e-10
            one["said"] = f"{row.adjustment:+.1f}".replace("-", "−")
        made.append(one)
    return made


def _balanced(line: Line, row: Row | None, findings: Findings | None) -> str:
    if findings is None:
        return ""
    heading = findings.round.survey.heading
    if row is not None:
        value, spread = row.value, row.standard_uncertainty
    else:
        base = line.cells[1]
        key = (line.cells[0], "consistency" if base in MEANS else base)
        found = findings.reconciliation
        if key not in found.value and base in MEANS:
            key = (key[0], f"consistency:{found.network.components[0]}" if len(found.network.solids) == 1 else "")
        value, spread = found.value.get(key, math.nan), found.standard_uncertainty.get(key, math.nan)
    if not (math.isfinite(value) and math.isfinite(spread)):
        return ""
    near, far = (as_written(v, line.given, heading) for v in (value, value + spread))
    return plus_minus(near, abs(far - near), 4) if math.isfinite(near) else ""


def faults_at(faults: Iterable[Fault], lines: Sequence[Line], text: str) -> list[dict[str, Any]]:
    """Each fault with the line and column it belongs to; without them where it is of the whole."""
    first = next((i for i, row in enumerate(text.splitlines(), start=1) if not row.startswith("#")), 1) + 1
    filled = [i for i, line in enumerate(lines) if line.filled]
    made = []
    for fault in faults:
        named = re.search(r"\breading (\d+)\b", fault.field)
        place = int(named[1]) - 1 if named else fault.line - first if fault.line is not None else -1
        value = f"{fault.value}: " if fault.value else ""
        said = f"{value}{fault.bound}. {fault.remedy}".strip().rstrip(".") + "."
        made.append({
            "line": filled[place] if 0 <= place < len(filled) else None,
            "column": fault.field if fault.field in COLUMNS else "value",
            "text": said[:1].upper() + said[1:],
        })  # fmt: skip
    return made


def place_of(stream: str) -> str:
    """The part of the drawing where a stream is read."""
    return part_of(stream) or PLACES.get(kind_of(stream), "")
