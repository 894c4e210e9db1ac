"""Running a plan of very many cases in chunks: restartable, on any executor, always the same bytes.

Each chunk becomes one Parquet part with its checksum (`sweep_folder`), whole or not there. What was done before and is
whole is skipped. Nothing is ever read back at once.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from thinstock.errors import Refused, needs
from thinstock.files.read import foreign
from thinstock.files.write import clock, folder_of, tidy
from thinstock.studies.plan import Plan as Plan
from thinstock.studies.plan import chunk_count as chunk_count
from thinstock.studies.plan import chunk_inputs as chunk_inputs
from thinstock.studies.plan import grid_plan as grid_plan
from thinstock.studies.plan import random_plan as random_plan
from thinstock.studies.plan import sobol_plan as sobol_plan
from thinstock.studies.sweep_folder import MANIFEST as MANIFEST
from thinstock.studies.sweep_folder import MOST_CHUNKS, claim, keep, mark_of, part_of, parts_in, whole
from thinstock.words.fault import fault_in

CASE = "case"
"""Column of the case number."""


@dataclass(frozen=True, kw_only=True)
class SweepReport:
    """What a call of `run_sweep` found and did."""

    rows: int
    parts: int
    written: int
    skipped: int
    folder: Path
    mended: int = 0
    """Of those written: parts that were there and damaged."""
    of: int = 0
    """Parts of the whole sweep."""


def identity_of(plan: Plan, function: Callable[..., Any], size: int) -> dict[str, Any]:
    """What makes a sweep this one."""
    return {
        "key": plan.key(),
        "size": size,
        "cases": plan.cases,
        "function": f"{getattr(function, '__module__', '')}.{getattr(function, '__qualname__', repr(function))}",
        "program": f"thinstock {program_version()}",
        "plan": plan.described(),
    }


def run_chunk(
    plan: Plan, function: Callable[..., Any], number: int, size: int, folder: str | os.PathLike[str]
) -> dict[str, Any]:
    """Work out one chunk and write its part, unless it is there and whole; the small account of it, never data.

    The function takes the inputs by name as arrays and gives a mapping of columns. A chunk that raises leaves nothing.
    """
    start = time.perf_counter()
    place = part_of(Path(folder), number)
    rows = min(size, plan.cases - number * size)
    there = place.exists()
    skipped = there and whole(place)
    if not skipped:
        inputs = chunk_inputs(plan, number, size)
        table = _table(inputs, function(**inputs), number * size, rows)
        keep(place, table, mark_of(identity_of(plan, function, size)))
    account = {"number": number, "rows": rows, "skipped": skipped, "mended": there and not skipped}
    return {**account, "seconds": time.perf_counter() - start}


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


def run_sweep(
    plan: Plan,
    function: Callable[..., Any],
    *,
    folder: str | os.PathLike[str],
    size: int,
    executor: Executor | None = None,
    told: Callable[[Mapping[str, Any]], None] | None = None,
    beside: Mapping[str, str] | None = None,
    share: tuple[int, int] = (1, 1),
) -> SweepReport:
    """Run all chunks of a plan that are not whole in the folder yet, through one `executor.map` (None: in turn).

    A thread pool serves compiled kernels; on a cluster `Client.get_executor(pure=False)` of dask.distributed takes the
    same call with a shared folder. A folder that holds another sweep is refused. `told` hears the account of every
    chunk in turn; `beside` are texts to be put next to the manifest, by file name. With `share` (K, N) only every N-th
    chunk is run, from the K-th on, so that N computers which know nothing of each other do it all.
    """
    place = Path(folder)
    chunks = chunk_count(plan, size)
    if chunks > MOST_CHUNKS:
        raise Refused(fault_in("studies.sweep.size", "size", str(size), chunks=chunks, most_chunks=MOST_CHUNKS))
    first, of = share
    if not 1 <= first <= of:
        raise Refused(fault_in("studies.sweep.part", "--part", f"{first} of {of}"))
    folder_of(place)
    begun = clock(place)
    claim(place, identity_of(plan, function, size), beside or {})
    numbers = range(first - 1, chunks, of)
    count = len(numbers)
    work = ([plan] * count, [function] * count, numbers, [size] * count, [place.resolve()] * count)
    done = map(run_chunk, *work) if executor is None else executor.map(run_chunk, *(list(w) for w in work))
    rows = skipped = mended = 0
    for account in done:
        rows += account["rows"]
        skipped += account["skipped"]
        mended += account["mended"]
        if told is not None:
            told(account)
    tidy(place, begun)
    return SweepReport(
        rows=rows, parts=count, written=count - skipped, skipped=skipped, folder=place, mended=mended, of=chunks
    )


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

    for place in parts_in(Path(folder)):
        with foreign(place.name):
            table = pq.read_table(place, columns=None if columns is None else list(columns), use_threads=False)
        yield {name: table.column(name).to_numpy() for name in table.column_names}
