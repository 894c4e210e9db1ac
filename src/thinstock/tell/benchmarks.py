"""The machine beside published ranges, told: compared where the boundary is the same, named where it differs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from thinstock.tell.blocks import Block, Column, Table, Words, words
from thinstock.words.figures import NONE, figure
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.studies.benchmarks import Beside


def told(found: Sequence[Beside]) -> Iterator[Block]:
    """Two tables: what may be compared, and what may not and why."""
    may = [row for row in found if not row.differs]
    heads = ("figure", "unit", "own", "range", "stands", "inside_head", "source")
    columns = tuple(
        Column(head=phrase(f"benchmarks.{key}"), sort="word" if key not in ("own",) else "number",
               grows=key in ("inside_head", "source")) for key in heads
    )  # fmt: skip
    rows = tuple(
        (row.label, row.unit, NONE if row.value is None else figure(row.value, 3), _span(row),
         phrase(f"benchmarks.{row.verdict.replace(' ', '_')}"), row.scope, _known(row)) for row in may
    )  # fmt: skip
    yield Table(columns=columns, rows=rows, caption=phrase("benchmarks.compared"), key="benchmarks")
    others = tuple((Words(_named(row)), _span(row), row.unit, row.differs, _known(row)) for row in found if row.differs)
    named = tuple(
        Column(head=phrase(f"benchmarks.{key}"), sort="word", grows=key in ("differs", "source"))
        for key in ("figure", "range", "unit", "differs", "source")
    )
    yield Table(columns=named, rows=others, caption=phrase("benchmarks.not_compared_caption"), key="benchmarks-other")
    yield words(phrase("benchmarks.no_mark"))


def _named(row: Beside) -> str:
    return row.label or row.id.replace("_", " ")


def _span(row: Beside) -> str:
    if row.low is None:
        return phrase("benchmarks.up_to", high=f"{row.high:g}")
    if row.high is None:
        return phrase("benchmarks.from_on", low=f"{row.low:g}")
    return (
        f"{row.low:g}" if row.low == row.high else phrase("benchmarks.span", low=f"{row.low:g}", high=f"{row.high:g}")
    )


def _known(row: Beside) -> str:
    return f"{row.source} ({row.status}; {phrase(f'benchmarks.held_{row.held}')})"
