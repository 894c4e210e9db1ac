"""What happens on the way of a march, as a table beside its step of a working."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from thinstock.formula.label import Step
from thinstock.machine.result import Result
from thinstock.words.figures import Edge
from thinstock.words.phrase import phrase


@dataclass(frozen=True, kw_only=True)
class Table:
    """What happens on the way of a march."""

    caption: str
    heads: tuple[tuple[str, str], ...]
    """Words and unit of each column."""
    rows: tuple[tuple[str, ...], ...]


ROWS = 13
"""Rows of a table on the way, at most."""


def table_of(result: Result, step: Step, edge: Edge) -> Table | None:
    """The profile of a march, where there is one to read."""
    if step.label.name == "drainage.drain" and not bool(result.wet.boxes_formed):
        return _former_table(result, edge)
    if step.label.name == "dryer.dry":
        return _yankee_table(result, edge)
    return None


def _heads(edge: Edge, first: str, columns: tuple[tuple[str, str], ...]) -> tuple[tuple[str, str], ...]:
    return ((first, ""), *((said, edge.unit(word)) for said, word in columns))


def _former_table(result: Result, edge: Edge) -> Table:
    from thinstock.machine.along import along_former

    found = along_former(result.parts.forming)
    end = found.dry_line if np.isfinite(found.dry_line) else found.length
    wanted = np.append(np.linspace(0.0, end, ROWS - 1), found.length)
    keep = list(dict.fromkeys(int(np.argmin(np.abs(found.place - place))) for place in wanted))
    columns = ((phrase("tell.ways.from_jet"), "dry_line"), ("time", "dwell"), ("pressure drop", "pressure_drop"),
               ("drained", "drained"), (phrase("tell.ways.fibre_laid_down"), "deposited"))  # fmt: skip
    time = found.place / float(result.wet.wire_speed)
    values = (found.place, time, found.pressure[:, 0], found.drained, found.deposited)
    said = phrase("tell.ways.forming_ends_from_first_element", text=edge.text("dry_line", found.dry_line, 3))
    if not np.isfinite(found.dry_line):
        said = phrase("tell.ways.forming_does_not_end_in")
    return Table(
        caption=phrase("tell.ways.on_way", said=said),
        heads=_heads(edge, "element", columns),
        rows=tuple((found.element[i], *_figures(edge, columns, values, i)) for i in keep),
    )


def _yankee_table(result: Result, edge: Edge) -> Table:
    from thinstock.machine.along import STEPS, along_yankee

    found = along_yankee(result.parts.yankee)
    keep = sorted({round(i * (len(found.position) - 1) / (ROWS - 1)) for i in range(ROWS)})
    names = (phrase("tell.ways.before_hood"), phrase("tell.ways.under_hood"), phrase("tell.ways.behind_hood"))
    stretch = [name for name, count in zip(names, STEPS, strict=True) for _ in range(count)]
    columns = (
        (phrase("tell.ways.from_nip"), "dry_line"),
        (phrase("tell.ways.water_per_fibre"), "moisture_ratio"),
        ("sheet", "sheet_temperature"),
        (phrase("tell.ways.evaporated_so_far"), "evaporation"),
        (phrase("tell.ways.heat_from_shell"), "contact_heat"),
        (phrase("tell.ways.heat_from_air"), "convective_heat"),
    )
    air = found.convective_heat + found.radiative_heat
    values = (found.position, found.moisture_ratio, found.sheet_temperature, found.evaporation, found.contact_heat, air)
    return Table(
        caption=phrase("tell.ways.on_way_from_nip_to"),
        heads=_heads(edge, "stretch", columns),
        rows=tuple((stretch[max(i - 1, 0)], *_figures(edge, columns, values, i)) for i in keep),
    )


def _figures(edge: Edge, columns: tuple[tuple[str, str], ...], values: tuple[Any, ...], i: int) -> Iterator[str]:
    for (_, word), value in zip(columns, values, strict=True):
        yield edge.figure(word, value[i], 3)
