"""Blocks of a Parquet file of signals, as those of a CSV file; types say what a CSV file has to be asked for."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from thinstock.errors import needs
from thinstock.survey.faults import refuse
from thinstock.survey.historian_csv import Block, Floats, Whole, microseconds, words_of
from thinstock.survey.historian_head import Faults, Layout, layout_of, read_stamp
from thinstock.words.phrase import phrase

ROWS, VALUES = 500_000, 20_000_000
"""Rows, and values of all columns, read at a time: a small file may hold very many."""


def parquet_file(path: Path, faults: Faults, zone: str | None) -> tuple[Layout, Iterator[Block], bool, str]:
    """(Columns, blocks, whether times state no offset, unit of all values) of a Parquet file.

    Units are read from the metadata of a column, key `unit`.
    """
    pa, parquet = needs("pyarrow", "tables"), needs("pyarrow.parquet", "tables")
    try:
        file = parquet.ParquetFile(path)
    except (pa.ArrowInvalid, OSError) as wrong:
        why = str(wrong).splitlines()[0]
        raise refuse(path.name, bound=phrase("survey.historian.no_parquet", why=why)) from None
    schema = file.schema_arrow
    units = {i: (f.metadata or {}).get(b"unit", b"").decode() for i, f in enumerate(schema)}
    layout = layout_of(schema.names, units, faults)
    faults.end()
    assert layout is not None
    kind = schema.field(layout.time).type
    kind = kind.value_type if pa.types.is_dictionary(kind) else kind
    local = pa.types.is_date(kind) or (pa.types.is_timestamp(kind) and kind.tz is None)
    if pa.types.is_string(kind) or pa.types.is_large_string(kind):
        first = next(iter(file.iter_batches(batch_size=1, columns=[schema.names[layout.time]])), None)
        told = None if first is None or not len(first) else read_stamp(str(first.column(0)[0]), True)
        local = told is None or not told[1]
    elif not (local or pa.types.is_timestamp(kind)):
        bound = phrase("survey.historian.time_type", kind=kind)
        faults.add(None, schema.names[layout.time], "", bound, phrase("survey.historian.write_time"))
    for column in layout.numbers:
        held = schema.field(column).type
        if not (pa.types.is_integer(held) or pa.types.is_floating(held) or pa.types.is_decimal(held)
                or pa.types.is_boolean(held) or pa.types.is_null(held)):  # fmt: skip
            bound, remedy = phrase("survey.historian.value_type", kind=held), phrase("survey.historian.as_numbers")
            faults.add(None, schema.names[column], "", bound, remedy)
    if local and zone is None:
        faults.add(None, "time", "", phrase("survey.historian.no_zone"), phrase("survey.historian.state_zone"))
    faults.end()
    unit = units.get(layout.value, "") if layout.value is not None else ""
    return layout, _blocks(file, layout, faults, local), local, unit


def _blocks(file: Any, layout: Layout, faults: Faults, local: bool) -> Iterator[Block]:
    pa = needs("pyarrow", "tables")
    names = file.schema_arrow.names
    words = layout.words
    row = 1
    rows = max(1, min(ROWS, VALUES // len(layout.columns)))
    for batch in file.iter_batches(batch_size=rows, columns=[names[c] for c in layout.columns]):
        time = _times(batch[names[layout.time]], row, faults, local)
        if time is not None:
            yield Block(
                lines=0,
                time=time,
                numbers={c: _numbers(batch[names[c]], pa) for c in layout.numbers},
                words={c: words_of(batch[names[c]], pa) for c in words},
            )
        row += batch.num_rows


def _times(column: Any, row: int, faults: Faults, local: bool) -> Whole | None:
    pa = needs("pyarrow", "tables")
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    if column.null_count:
        first = int(np.flatnonzero(column.is_null().to_numpy(zero_copy_only=False))[0])
        where = phrase("survey.historian.row", row=row + first)
        faults.add(None, where, "", phrase("survey.historian.no_time"), phrase("survey.historian.write_time"))
        return None
    if pa.types.is_timestamp(column.type) or pa.types.is_date(column.type):
        zone = getattr(column.type, "tz", None)
        return microseconds(column.cast(pa.timestamp("us", zone), safe=False), pa)
    texts = words_of(column, pa)
    found = [read_stamp(w, True) for w in texts.words]
    wrong = [w for w, t in zip(texts.words, found, strict=True) if t is None or t[1] is local or "/" in w[:5]]
    for word in wrong[:30]:
        where = phrase("survey.historian.row", row=row + int(np.flatnonzero(texts.code == texts.words.index(word))[0]))
        faults.add(None, where, word, phrase("survey.historian.no_time"), phrase("survey.historian.write_time"))
    if wrong:
        return None
    return np.asarray(np.array([t[0] for t in found if t is not None], dtype=np.int64)[texts.code])


def _numbers(column: Any, pa: Any) -> Floats:
    if pa.types.is_boolean(column.type):
        column = column.cast(pa.int8())
    return np.asarray(column.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False), dtype=np.float64)
