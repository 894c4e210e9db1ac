"""The marches of drainage and dryer with their plain way for many cases: tables turned so that cases are the last axis.

Where no machine code is at hand some hundred draws of a machine are reckoned so, some ten times as fast as one by one.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from thinstock.formula.label import Array, Num
from thinstock.kernels.abreast_numbers import LEAST, begin
from thinstock.kernels.compiled import can_compile, in_all, over_arrays
from thinstock.kernels.drainage_core import _case
from thinstock.kernels.drainage_core import march as march
from thinstock.kernels.drainage_steps import ROW, ROWS, STUFF
from thinstock.kernels.dryer_search import Way, dry_case, nodes_of, of_one_kind
from thinstock.kernels.dryer_search import dry_cases as dry_cases

BLOCK = 4096
"""Cases in one table at a time: more do not stay near the processor."""
MANY = 2000
"""Beyond so many cases machine code is worth its making, where it can be made: the next such work has it at hand."""


def _suits(cases: int) -> bool:
    return cases >= LEAST and (in_all(cases) <= MANY or not can_compile())


def _blocks(first: int, stop: int) -> list[slice]:
    """Cases in blocks of even size."""
    edges = np.linspace(first, stop, -(-(stop - first) // BLOCK) + 1).astype(int)
    return [slice(int(a), int(b)) for a, b in pairwise(edges)]


@march.abreast(lambda _table, _materials, first, stop, *_: _suits(int(stop - first)))
def march_abreast(
    table: Num, materials: Array, first: int, stop: int, single: Array, by_element: Array, impulses: Array
) -> None:
    """All cases from `first` to `stop`, as `march`."""
    case = over_arrays(_case)
    for rows in _blocks(first, stop):
        count = rows.stop - rows.start
        begin(count)
        elements = np.repeat(table.base[..., None], count, axis=-1)
        for element, number, column in table.slots:
            elements[element, number] = table.columns[column, rows]
        p = np.zeros((ROWS, ROW, count))
        p[STUFF, : materials.shape[1]] = materials[rows].T
        made = [np.zeros((*one.shape[1:], count)) for one in (single, by_element, impulses)]
        case(True, p, elements, table.opened, *made)
        for one, found in zip((single, by_element, impulses), made, strict=True):
            one[rows] = np.moveaxis(found, -1, 0)


@dry_cases.abreast(lambda rows, way, *_: _suits(len(rows)) and not way.chained and of_one_kind(rows))
def dry_abreast(rows: Array, way: Way, start: Array, out: Array) -> None:
    """Every row of a table of cases that are of one kind, as `dry_cases`."""
    case = over_arrays(dry_case)
    for some in _blocks(0, len(rows)):
        count = some.stop - some.start
        begin(count)
        given, begun = rows[some].T.copy(), start[some].T.copy()
        found = np.zeros((out.shape[1], count))
        case(True, given, way, np.zeros((3, 8, count)), np.zeros((nodes_of(way), 9, count)), begun, found)
        start[some], out[some] = begun.T, found.T
