"""`thinstock survey TABLE [AFTER] --machine MACHINE`: do the readings agree, and what follows from them."""

from __future__ import annotations

import json
from pathlib import Path

import click

SET = click.option(
    "--set",
    "changes",
    multiple=True,
    metavar="ADDRESS=VALUE",
    help='Change a value of the machine, with its unit: --set "yankee.speed=1800 m/min". May be given several times.',
)


@click.command("survey", short_help="Reconcile a table of readings with a machine's balances.")
@click.argument("table", metavar="TABLE")
@click.argument("after", metavar="[AFTER]", required=False)
@click.option("--machine", required=True, metavar="MACHINE", help="A bundled machine or a machine file.")
@SET
@click.option(
    "--without",
    multiple=True,
    metavar="READING",
    help='Set a reading aside, by its number or as "jet flow". May be given several times.',
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object in base SI.")
@click.option("--out", "folder", metavar="DIR", type=click.Path(path_type=Path), help="Write tables and charts there.")
@click.option("--notes", "all_notes", is_flag=True, help="Print all notes.")
def command(
    table: str,
    after: str | None,
    machine: str,
    changes: tuple[str, ...],
    without: tuple[str, ...],
    as_json: bool,
    folder: Path | None,
    all_notes: bool,
) -> None:
    """Reconcile the readings of TABLE (a CSV or XLSX file, or a bundled survey) on MACHINE.

    With AFTER, a second round on the same machine, also what changed between the two. `thinstock survey-form MACHINE`
    writes an empty table with all the points that can be read.
    """
    from thinstock.cli.overrides import machine_from
    from thinstock.survey.change import changes as changed
    from thinstock.survey.findings import findings_of
    from thinstock.survey.round import read_round

    made = machine_from(machine, changes)
    first = findings_of(read_round(table, made), without=without)
    second = findings_of(read_round(after, made), without=without) if after is not None else None
    moved = changed(first, second) if second is not None else ()
    rounds = [first] if second is None else [first, second]
    if folder is not None:
        from thinstock.cli.survey_out import write_out

        for place in write_out(rounds, moved, folder):
            click.echo(str(place), err=True)
    if as_json:
        from thinstock.tell.survey_record import survey_record

        click.echo(json.dumps(survey_record(rounds, moved), indent=1, allow_nan=False))
    elif folder is None:
        from thinstock.tell.survey import told
        from thinstock.tell.terminal import page

        page(told(rounds, moved, all_notes=all_notes)).show()
