"""`thinstock run MACHINE`: one run of one machine, on a screen, as JSON or as CSV files."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import machine_argument, units_option
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.machine.result import Result
    from thinstock.words.units import UnitSet


@click.command("run", short_help="Run a machine.")
@machine_argument
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.run.print_one_json_object_in"))
@click.option(
    "--csv", "folder", metavar="DIR", type=click.Path(path_type=Path), help=phrase("cli.run.write_tables_into_folder")
)
@units_option
@click.option("--notes", "all_notes", is_flag=True, help=phrase("cli.run.print_all_notes"))
@click.option("--cautions", is_flag=True, help=phrase("cli.run.print_what_can_hurt_part"))
def command(
    machine: str,
    changes: tuple[str, ...],
    as_json: bool,
    folder: Path | None,
    unit_set: UnitSet,
    all_notes: bool,
    cautions: bool,
) -> None:
    """Run MACHINE, a bundled machine (see `thinstock machines`) or a machine file."""
    from thinstock.case.overrides import machine_from

    made = machine_from(machine, changes)
    result = made.run()
    if folder is not None:
        write_tables(result, folder, unit_set)
    if as_json:
        from thinstock.tell.export import run_record

        click.echo(json.dumps(run_record(result), indent=1, allow_nan=False))
    elif folder is None:
        from thinstock.tell.run import told
        from thinstock.tell.terminal import page

        page(told(made, unit_set, result=result).screen(all_notes=all_notes, cautions=cautions)).show()


def write_tables(result: Result, folder: Path, unit_set: UnitSet) -> None:
    """Write the tables of a run, each whole or not at all."""
    from thinstock.files.write import put_all
    from thinstock.tell.export import tables

    for place in put_all(tables(result, unit_set), folder):
        click.echo(str(place), err=True)
