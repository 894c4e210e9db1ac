"""`thinstock calibrate TABLE --machine MACHINE --out FILE`: the constants of a machine from its surveys."""

from __future__ import annotations

import json
import os
from pathlib import Path

import click

from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase


@click.command("calibrate", short_help=phrase("cli.calibrate.fit_machine_s_constants_to"))
@click.argument("tables", metavar="TABLE...", nargs=-1, required=True)
@click.option(
    "--machine", required=True, metavar="MACHINE", help=phrase("cli.calibrate.bundled_machine_or_machine_file")
)
@click.option(
    "--out",
    metavar="FILE",
    type=click.Path(dir_okay=False, path_type=Path),
    help=phrase("cli.calibrate.write_machine_there"),
)
@click.option(
    "--fit",
    "wanted",
    multiple=True,
    metavar="CONSTANT",
    help=phrase("cli.calibrate.fit_only_this_one_refuse"),
)
@click.option(
    "--without",
    multiple=True,
    metavar="READING",
    help=phrase("cli.calibrate.set_reading_aside_by_its"),
)
@click.option("--despite-failed-test", is_flag=True, help=phrase("cli.calibrate.fit_readings_that_do_not"))
@click.option(
    "--set",
    "changes",
    multiple=True,
    metavar="ADDRESS=VALUE",
    help=phrase("cli.calibrate.change_value_machine_with_its"),
)
@click.option(
    "--draws", type=click.IntRange(200, 20000), default=1000, show_default=True, help=phrase("cli.calibrate.draws")
)
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.calibrate.print_one_json_object_in"))
@click.option("--notes", "all_notes", is_flag=True, help=phrase("cli.calibrate.print_every_reading_before_after"))
def command(
    tables: tuple[str, ...],
    machine: str,
    out: Path | None,
    wanted: tuple[str, ...],
    without: tuple[str, ...],
    despite_failed_test: bool,
    changes: tuple[str, ...],
    draws: int,
    as_json: bool,
    all_notes: bool,
) -> None:
    """Fit the constants of MACHINE to the readings of one TABLE or more (rounds at other settings or grades).

    What the readings cannot tell apart is named, with the reading that would. The machine file written to --out says
    of each constant its uncertainty and that it was measured, and stands at the settings of the first round. Beside it
    the evidence is kept: what the readings leave open of all inputs together, from which every later range is drawn.
    """
    from thinstock.case import dumps
    from thinstock.case.overrides import machine_from
    from thinstock.cli.study import progress
    from thinstock.errors import Refused
    from thinstock.files.write import put
    from thinstock.survey.machine_calibration import calibrate
    from thinstock.survey.round import read_round
    from thinstock.survey.surer import evidence_name, keep

    if out is not None and os.path.lexists(out):
        raise Refused(fault_in("files.there_already", str(out)))
    made = machine_from(machine, changes)
    rounds = [read_round(table, made) for table in tables]
    with progress(phrase("cli.calibrate.draws_made")) as tell:
        found = calibrate(
            rounds, wanted=wanted, without=without, despite_failed_test=despite_failed_test, draws=draws, tell=tell
        )
    if out is not None:
        text = dumps(found.machine.with_({"evidence": evidence_name(out)}))
        keep(found, text, out)
        put(out, text, new=True)
    if as_json:
        from thinstock.tell.survey_record import calibration_record

        click.echo(json.dumps(calibration_record(found), indent=1, allow_nan=False))
        return
    from thinstock.tell.calibration import told
    from thinstock.tell.terminal import page

    page(told(found, all_readings=all_notes)).show()
    if out is not None:
        click.echo(phrase("cli.calibrate.written_as_surveyed", out=out))
        click.echo(phrase("cli.calibrate.evidence_beside", name=evidence_name(out)))
