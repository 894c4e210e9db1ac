"""`thinstock sweep MACHINE --vary ... --out DIR`: very many cases into Parquet parts; stop and go on at will."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from thinstock.cli.options import machine_argument, population_option
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.studies.sweep import SweepReport
    from thinstock.studies.sweep_folder import Checked


class Sweeps(click.Group):
    """A group whose first word may be a machine: then it is run."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        if not args or (args[0] not in self.commands and args[0] not in ctx.help_option_names):
            args = ["run", *args]
        return super().parse_args(ctx, args)


@click.group("sweep", cls=Sweeps, short_help=phrase("cli.sweep.very_many_cases_into_files"))
def command() -> None:
    """Run a machine at many cases (`sweep MACHINE ...` is short for `sweep run MACHINE ...`), and look after them.

    A sweep goes on where it was stopped. On a cluster each task works out its share with --part K of N, into one folder
    or into folders that `merge` puts together.
    """


@command.command("check", short_help=phrase("cli.sweep.check_short"))
@click.argument("folder", metavar="FOLDER", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.sweep.print_one_json_object"))
def check_parts(folder: Path, as_json: bool) -> None:
    """Hold every part of the sweep in FOLDER against the checksum it was written with."""
    from thinstock.studies.sweep_folder import check

    _told(check(folder), as_json)


@command.command("merge", short_help=phrase("cli.sweep.merge_short"))
@click.argument("folders", metavar="FOLDER...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--out", required=True, metavar="DIR", type=click.Path(path_type=Path), help=phrase("cli.sweep.merge_out")
)
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.sweep.print_one_json_object"))
def merge_parts(folders: tuple[Path, ...], out: Path, as_json: bool) -> None:
    """Put the parts of one sweep from several FOLDERs into one; each is held against its checksum."""
    from thinstock.studies.sweep_folder import merge

    _told(merge(folders, out), as_json)


def _told(found: Checked, as_json: bool) -> None:
    """What a folder holds; damaged and missing parts are refused."""
    from thinstock.studies.sweep_folder import must_be_whole, part_of

    if as_json:
        names = {key: [part_of(found.folder, n).name for n in getattr(found, key)] for key in ("damaged", "missing")}
        click.echo(json.dumps({"folder": str(found.folder), "parts": found.parts, "whole": len(found.whole), **names}))
    else:
        said = phrase("cli.sweep.whole", whole=len(found.whole), parts=found.parts, folder=found.folder)
        click.echo(said)
    must_be_whole(found)


@command.command("run", short_help=phrase("cli.sweep.very_many_cases_into_files"))
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
@click.option(
    "--part", "share", type=(int, click.Choice(["of"]), int), metavar="K of N", help=phrase("cli.sweep.only_share")
)
@population_option
@click.option("--scheduler", metavar="ADDRESS", help=phrase("cli.sweep.scheduler_dask_distributed_with_shared"))
def run_cases(
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
    share: tuple[int, str, int] | None,
    which: str | None,
    draws: int,
    scheduler: str | None,
) -> None:
    """Run MACHINE at many cases. The same command goes on where it was stopped.

    With --population every case is also one draw of the machine (its number in column `draw`, what it holds in
    population.csv); on a grid every setting meets every draw, and bands.csv has median, 5 and 95 % of each setting.
    """
    from thinstock.case.overrides import machine_from
    from thinstock.cli.study import progress
    from thinstock.evidence.chosen import wished
    from thinstock.studies.machine_axes import plan_of, varied
    from thinstock.studies.machine_sweep import Running, machine_sweep, results_of
    from thinstock.studies.plan import chunk_count
    from thinstock.studies.sweep_draws import drawn_plan
    from thinstock.tell.sweep_words import columns

    made = machine_from(machine, changes)
    drawn = None if which is None else wished(made, which, draws=draws, seed=seed)
    plan = plan_of(varied(made, varies), kind, cases, seed)
    plan = plan if drawn is None else drawn_plan(plan, drawn.draws)
    names = results_of(made, results)
    mine = (share[0], share[2]) if share is not None else (1, 1)
    whole = chunk_count(plan, size)
    parts = max(1, len(range(mine[0] - 1, whole, max(1, mine[1]))))
    done = [0, 0]
    try:
        with executor(workers, scheduler) as pool, progress("sweep") as tell:

            def told(account: Mapping[str, Any]) -> None:
                done[0] += 1
                done[1] += int(account["rows"])
                if tell is not None:
                    tell(done[0] / parts, f"{done[1]} of {plan.cases} cases")

            beside = {"columns.json": json.dumps(columns(made, plan, names, limits), indent=1)}
            running = Running(size=size, executor=pool, told=told, beside=beside, share=mine, drawn=drawn)
            found = machine_sweep(made, plan, names, folder=folder, limits=limits, running=running)
    except KeyboardInterrupt:
        there = len(list(folder.glob("part-*.parquet")))
        click.echo(phrase("cli.sweep.stopped_parts_there_same_command", list=there, parts=whole), err=True)
        raise
    _done(found, mine if share is not None else None)


def _done(found: SweepReport, share: tuple[int, int] | None) -> None:
    """What a sweep, or a share of one, wrote and kept."""
    from thinstock.tell.sweep_words import counts

    told = {name: getattr(found, name) for name in ("rows", "parts", "folder", "written", "skipped")}
    click.echo(phrase("cli.sweep.cases_in_parts_in_written", **told))
    if found.mended:
        click.echo(phrase("cli.sweep.mended", count=found.mended))
    if share is not None:
        click.echo(phrase("cli.sweep.share_done", part=share[0], of=share[1], parts=found.of))
        return
    if (found.folder / "bands.csv").exists():
        click.echo(phrase("cli.sweep.bands", folder=found.folder))
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
