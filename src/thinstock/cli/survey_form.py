"""`thinstock survey-form MACHINE --out FILE`: an empty table of readings for a machine, with how to take them."""

from __future__ import annotations

from pathlib import Path

import click

from thinstock.cli.options import machine_argument
from thinstock.words.phrase import phrase


@click.command("survey-form", short_help=phrase("cli.survey_form.write_empty_table_readings_for"))
@machine_argument
@click.option(
    "--out",
    required=True,
    metavar="FILE",
    type=click.Path(dir_okay=False, path_type=Path),
    help=phrase("cli.survey_form.file_xlsx_or_file_csv"),
)
def command(machine: str, changes: tuple[str, ...], out: Path) -> None:
    """Write an empty table with every point of MACHINE that can be read; a file that is there is never overwritten.

    Each row carries the usual uncertainty of its method, a judgement to be replaced by your own. A workbook has a sheet
    per heading on how to take the readings and what can hurt.
    """
    from thinstock.case.overrides import machine_from
    from thinstock.files.write import put
    from thinstock.survey.form import form_file, form_rows

    made = machine_from(machine, changes)
    put(out, form_file(made, out.name), new=True)
    count = sum(1 for row in form_rows(made) if row.default)
    click.echo(phrase("cli.survey_form.readings_to_fill_in_as", out=out, count=count, machine=machine))
