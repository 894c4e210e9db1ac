"""`thinstock drift ROUND... --machine MACHINE`: the constants of a machine over many rounds."""

from __future__ import annotations

import json
from pathlib import Path

import click

from thinstock.words.phrase import phrase


@click.command("drift", short_help=phrase("cli.cli.constants_over_many_rounds"))
@click.argument("tables", metavar="ROUND...", nargs=-1, required=True)
@click.option("--machine", required=True, metavar="MACHINE", help=phrase("cli.survey.bundled_machine_or_machine_file"))
@click.option("--without", multiple=True, metavar="READING", help=phrase("cli.drift.without"))
@click.option("--despite-failed-test", is_flag=True, help=phrase("cli.calibrate.fit_readings_that_do_not"))
@click.option("--set", "changes", multiple=True, metavar="ADDRESS=VALUE",
              help=phrase("cli.calibrate.change_value_machine_with_its"))  # fmt: skip
@click.option("--svg", metavar="FILE", type=click.Path(dir_okay=False, path_type=Path), help=phrase("cli.drift.svg"))
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.calibrate.print_one_json_object_in"))
def command(
    tables: tuple[str, ...],
    machine: str,
    without: tuple[str, ...],
    despite_failed_test: bool,
    changes: tuple[str, ...],
    svg: Path | None,
    as_json: bool,
) -> None:
    """Say how the constants of MACHINE moved over three ROUNDs or more, each a survey table with its date.

    Each round is calibrated by itself; a constant drifts, stands still within what a round can tell, or neither can be
    said. `thinstock history --out DIR` writes such rounds from a historian's signals.
    """
    from thinstock.case.overrides import machine_from
    from thinstock.survey.drift import drift_of
    from thinstock.survey.round import read_round

    made = machine_from(machine, changes)
    rounds = [read_round(table, made) for table in tables]
    found = drift_of(rounds, without=without, despite_failed_test=despite_failed_test)
    if svg is not None:
        from thinstock.cli.options import write_out
        from thinstock.drawing.history_charts import drifts_svg

        write_out(drifts_svg(found), svg)
    if as_json:
        from thinstock.tell.drift import drifts_record

        click.echo(json.dumps(drifts_record(found), indent=1, allow_nan=False))
        return
    from thinstock.tell.drift import drifts_told
    from thinstock.tell.terminal import page

    page(drifts_told(found, made)).show()
