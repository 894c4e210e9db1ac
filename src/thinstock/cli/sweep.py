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
from thinstock.words.phrase import phrase


@click.command("sweep", short_help=phrase("cli.sweep.very_many_cases_into_files"))
@machine_argument
@click.option(
    "--vary",
    "varies",
    multiple=True,
    required=True,
    metavar="ADDRESS=RANGE",
    help=phrase("cli.sweep.headbox_consistency_x_range_without"),
)
@click.option(
    "--out",
    "folder",
    required=True,
    metavar="DIR",
    type=click.Path(path_type=Path),
    help=phrase("cli.sweep.folder_for_parts"),
)
@click.option("--result", "results", multiple=True, metavar="NAME", help=phrase("cli.sweep.result_to_keep_without_any"))
@click.option("--cases", type=int, help=phrase("cli.sweep.how_many_random_sobol"))
@click.option("--kind", type=click.Choice(["grid", "random", "sobol"]), help=phrase("cli.sweep.how_cases_laid_out"))
@click.option("--seed", default=1, show_default=True, help=phrase("cli.sweep.number_that_begins_draws"))
@click.option("--size", type=int, default=50_000, show_default=True, help=phrase("cli.sweep.cases_in_part"))
@click.option("--limits", is_flag=True, help=phrase("cli.sweep.also_speed_limit_every_case"))
@click.option("--workers", type=int, help="Threads; without it one per core.")
@click.option("--scheduler", metavar="ADDRESS", help=phrase("cli.sweep.scheduler_dask_distributed_with_shared"))
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
    from thinstock.case.overrides import machine_from
    from thinstock.cli.study import progress
    from thinstock.studies.machine_axes import plan_of, varied
    from thinstock.studies.machine_sweep import Running, machine_sweep, results_of
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

            beside = {"columns.json": json.dumps(columns(made, plan, names, limits), indent=1)}
            running = Running(size=size, executor=pool, told=told, beside=beside)
            found = machine_sweep(made, plan, names, folder=folder, limits=limits, running=running)
    except KeyboardInterrupt:
        click.echo(
            phrase(
                "cli.sweep.stopped_parts_there_same_command", list=len(list(folder.glob("part-*.parquet"))), parts=parts
            ),
            err=True,
        )
        raise
    click.echo(
        phrase(
            "cli.sweep.cases_in_parts_in_written",
            rows=found.rows,
            parts=found.parts,
            folder=found.folder,
            written=found.written,
            skipped=found.skipped,
        )
    )
    click.echo(phrase("cli.sweep.what_columns_mean_columns_json"))
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
