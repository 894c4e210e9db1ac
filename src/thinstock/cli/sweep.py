"""`thinstock sweep MACHINE --vary ... --out DIR`: very many cases into Parquet parts; stop and go on at will."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from thinstock.cli.options import machine_argument


@click.command("sweep", short_help="Very many cases into files.")
@machine_argument
@click.option(
    "--vary",
    "varies",
    multiple=True,
    required=True,
    metavar="ADDRESS=RANGE",
    help='"headbox.consistency=0.12 %..0.30 % x 40", a range without count, a list, or "uncertain".',
)
@click.option(
    "--out", "folder", required=True, metavar="DIR", type=click.Path(path_type=Path), help="Folder for the parts."
)
@click.option(
    "--result", "results", multiple=True, metavar="NAME", help="A result to keep; without any, the usual ones."
)
@click.option("--cases", type=int, help="How many (random and Sobol).")
@click.option("--kind", type=click.Choice(["grid", "random", "sobol"]), help="How cases are laid out.")
@click.option("--seed", default=1, show_default=True, help="Number that begins the draws.")
@click.option("--size", type=int, default=50_000, show_default=True, help="Cases in a part.")
@click.option("--limits", is_flag=True, help="Also the speed limit of every case (slow: some 50 ms a case).")
@click.option("--workers", type=int, help="Threads; without it one per core.")
@click.option("--scheduler", metavar="ADDRESS", help="A scheduler of dask.distributed with a shared folder.")
def command(
    machine: str,
    changes: tuple[str, ...],
    varies: tuple[str, ...],
    folder: Path,
    results: tuple[str, ...],
    cases: int | None,
    kind: str | None,
    seed: int,
    size: int,
    limits: bool,
    workers: int | None,
    scheduler: str | None,
) -> None:
    """Run MACHINE at many cases. The same command goes on where it was stopped."""
    from thinstock.cli.overrides import machine_from
    from thinstock.cli.study import progress
    from thinstock.studies.machine_axes import plan_of, varied
    from thinstock.studies.machine_sweep import machine_sweep, results_of
    from thinstock.studies.plan import chunk_count
    from thinstock.tell.sweep_words import columns, counts

    made = machine_from(machine, changes)
    plan = plan_of(varied(made, varies), kind, cases, seed)
    names = results_of(made, results)
    parts = chunk_count(plan, size)
    done = [0, 0]
    try:
        with executor(workers, scheduler) as pool, progress("sweep") as tell:

            def told(account: Mapping[str, Any]) -> None:
                done[0] += 1
                done[1] += int(account["rows"])
                if tell is not None:
                    tell(done[0] / parts, f"{done[1]} of {plan.cases} cases")

            found = machine_sweep(
                made, plan, names, folder=folder, size=size, limits=limits, executor=pool, told=told,
                beside={"columns.json": json.dumps(columns(made, plan, names, limits), indent=1)},
            )  # fmt: skip
    except KeyboardInterrupt:
        click.echo(f"stopped; {len(list(folder.glob('part-*.parquet')))} of {parts} parts are there. The same command "
                   "goes on from here.", err=True)  # fmt: skip
        raise
    click.echo(
        f"{found.rows} cases in {found.parts} parts in {found.folder}: {found.written} written, {found.skipped} kept."
    )
    click.echo("What the columns mean: columns.json; the machine as swept: machine.toml.")
    click.echo(counts(found.folder))


@contextmanager
def executor(workers: int | None, scheduler: str | None) -> Iterator[Executor | None]:
    """Threads here, or the workers of a scheduler. Stopping waits for the parts under way, not for the rest."""
    if scheduler is not None:
        from thinstock.studies.machine_sweep import cluster

        with cluster(scheduler) as pool:
            yield pool
        return
    count = workers or os.cpu_count() or 1
    if count == 1:
        yield None
        return
    threads = ThreadPoolExecutor(count)
    try:
        yield threads
    finally:
        threads.shutdown(wait=True, cancel_futures=True)
