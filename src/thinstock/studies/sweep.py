"""Running a plan of very many cases in chunks: restartable, on any executor, always the same bytes.

Each chunk becomes one Parquet part, written under another name and moved into place, so that a part is whole or not
there. What was done before is skipped. Nothing is ever read back at once.
"""

from __future__ import annotations

import io
import json
import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from thinstock.errors import Fault, Refused, needs
from thinstock.files.write import clock, folder_of, put, tidy
from thinstock.studies.plan import Plan as Plan
from thinstock.studies.plan import chunk_count as chunk_count
from thinstock.studies.plan import chunk_inputs as chunk_inputs
from thinstock.studies.plan import grid_plan as grid_plan
from thinstock.studies.plan import random_plan as random_plan
from thinstock.studies.plan import sobol_plan as sobol_plan
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

CASE = "case"
"""Column of the case number."""
MANIFEST = "sweep.json"
MOST_CHUNKS = 1_000_000


@dataclass(frozen=True, kw_only=True)
class SweepReport:
    """What a call of `run_sweep` found and did."""

    rows: int
    parts: int
    written: int
    skipped: int
    folder: Path


def _part(folder: Path, number: int) -> Path:
    return folder / f"part-{number:06d}.parquet"


def run_chunk(
    plan: Plan, function: Callable[..., Any], number: int, size: int, folder: str | os.PathLike[str]
) -> dict[str, Any]:
    """Work out one chunk and write its part, unless it is there already; the small account of it, never data.

    The function takes the inputs by name as arrays and gives a mapping of columns. A chunk that raises leaves nothing.
    """
    start = time.perf_counter()
    place = _part(Path(folder), number)
    rows = min(size, plan.cases - number * size)
    skipped = place.exists()
    if not skipped:
        inputs = chunk_inputs(plan, number, size)
        _write(place, _table(inputs, function(**inputs), number * size, rows))
    return {"number": number, "rows": rows, "skipped": skipped, "seconds": time.perf_counter() - start}


def _table(inputs: Mapping[str, Any], outputs: Any, first: int, rows: int) -> Any:
    pa = needs("pyarrow", "tables")

    if not isinstance(outputs, Mapping):
        raise Refused(fault_in("studies.sweep.function", "function", type(outputs).__name__))
    columns: dict[str, Any] = {CASE: np.arange(first, first + rows, dtype=np.int64)}
    for name, values in (*inputs.items(), *outputs.items()):
        column = np.asarray(values)
        if name in columns:
            raise Refused(fault_in("studies.sweep.there_twice", f"column {name}"))
        if column.shape not in ((), (rows,)):
            raise Refused(
                fault_in("studies.sweep.must_have_values_one_per", f"column {name}", str(column.shape), rows=rows)
            )
        columns[name] = np.ascontiguousarray(np.broadcast_to(column, (rows,)))
    return pa.table({name: pa.array(column) for name, column in columns.items()})


def _write(place: Path, table: Any) -> None:
    pq = needs("pyarrow.parquet", "tables")

    held = io.BytesIO()
    pq.write_table(table, held, compression="zstd", row_group_size=max(table.num_rows, 1))
    put(place, held.getvalue())


def run_sweep(
    plan: Plan,
    function: Callable[..., Any],
    *,
    folder: str | os.PathLike[str],
    size: int,
    executor: Executor | None = None,
    told: Callable[[Mapping[str, Any]], None] | None = None,
    beside: Mapping[str, str] | None = None,
) -> SweepReport:
    """Run all chunks of a plan that are not in the folder yet, through one `executor.map` (None: one after another).

    A thread pool serves compiled kernels; on a cluster `Client.get_executor(pure=False)` of dask.distributed takes the
    same call with a shared folder. A folder that holds another sweep is refused. `told` hears the account of every
    chunk in turn; `beside` are texts to be put next to the manifest, by file name.
    """
    place = Path(folder)
    chunks = chunk_count(plan, size)
    if chunks > MOST_CHUNKS:
        raise Refused(fault_in("studies.sweep.size", "size", str(size), chunks=chunks, most_chunks=MOST_CHUNKS))
    folder_of(place)
    begun = clock(place)
    _claim(place, plan, function, size)
    for name, text in (beside or {}).items():
        put(place / name, text)
    work = ([plan] * chunks, [function] * chunks, range(chunks), [size] * chunks, [place.resolve()] * chunks)
    done = map(run_chunk, *work) if executor is None else executor.map(run_chunk, *(list(w) for w in work))
    rows = skipped = 0
    for account in done:
        rows += account["rows"]
        skipped += account["skipped"]
        if told is not None:
            told(account)
    tidy(place, begun)
    return SweepReport(rows=rows, parts=chunks, written=chunks - skipped, skipped=skipped, folder=place)


def _claim(place: Path, plan: Plan, function: Callable[..., Any], size: int) -> None:
    """Write what this folder holds, or refuse if it holds something else."""
    ours = {
        "key": plan.key(),
        "size": size,
        "cases": plan.cases,
        "function": f"{getattr(function, '__module__', '')}.{getattr(function, '__qualname__', repr(function))}",
        "program": f"thinstock {program_version()}",
        "plan": plan.described(),
    }
    manifest = place / MANIFEST
    if manifest.exists():
        try:
            theirs = json.loads(manifest.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            raise Refused(fault_in("studies.sweep.folder", "folder", place.name, manifest=MANIFEST)) from None
        differ = [name for name in ours if theirs.get(name) != ours[name]]
        if differ:
            bound = phrase("studies.sweep.holds_another_sweep_different", differ=", ".join(differ))
            raise Refused(
                Fault(field="folder", value=place.name, bound=bound, remedy=phrase("studies.sweep.choose_empty_folder"))
            )
        return
    if any(place.glob("part-*.parquet")):
        bound = phrase("studies.sweep.holds_parts_without", manifest=MANIFEST)
        raise Refused(
            Fault(field="folder", value=place.name, bound=bound, remedy=phrase("studies.sweep.choose_empty_folder"))
        )
    put(manifest, json.dumps(ours, indent=1))


@lru_cache(maxsize=1)
def program_version() -> str:
    """The installed version, or that it runs from a source folder."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("thinstock")
    except PackageNotFoundError:
        return "from source"


def sweep_parts(
    folder: str | os.PathLike[str], columns: Sequence[str] | None = None
) -> Iterator[dict[str, np.ndarray[Any, Any]]]:
    """The parts of a sweep one after another as columns, in the order of cases; never all at once."""
    pq = needs("pyarrow.parquet", "tables")

    for place in sorted(Path(folder).glob("part-*.parquet")):
        table = pq.read_table(place, columns=None if columns is None else list(columns), use_threads=False)
        yield {name: table.column(name).to_numpy() for name in table.column_names}
