"""`thinstock calibrate TABLE --machine MACHINE --out FILE`: the constants of a machine from its surveys."""

from __future__ import annotations

import json
import os
from pathlib import Path

import click


@click.command("calibrate", short_help="Fit a machine's constants to a survey.")
@click.argument("tables", metavar="TABLE...", nargs=-1, required=True)
@click.option("--machine", required=True, metavar="MACHINE", help="A bundled machine or a machine file.")
@click.option("--out", metavar="FILE", type=click.Path(dir_okay=False, path_type=Path), help="Write the machine there.")
@click.option(
    "--fit",
    "wanted",
    multiple=True,
    metavar="CONSTANT",
    help="Fit only this one, and refuse if it cannot be told. May be given several times.",
)
@click.option(
    "--without",
    multiple=True,
    metavar="READING",
    help='Set a reading aside, by its number or as "jet flow". May be given several times.',
)
@click.option("--despite-failed-test", is_flag=True, help="Fit readings that do not agree with each other.")
@click.option(
    "--set",
    "changes",
    multiple=True,
    metavar="ADDRESS=VALUE",
    help='Change a value of the machine, with its unit: --set "yankee.speed=1800 m/min".',
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object in base SI.")
@click.option("--notes", "all_notes", is_flag=True, help="Print every reading before and after.")
def command(
    tables: tuple[str, ...],
    machine: str,
    out: Path | None,
    wanted: tuple[str, ...],
    without: tuple[str, ...],
    despite_failed_test: bool,
    changes: tuple[str, ...],
    as_json: bool,
    all_notes: bool,
) -> None:
    """Fit the constants of MACHINE to the readings of one TABLE or more (rounds at other settings or grades).

    What the readings cannot tell apart is named, with the reading that would. The machine file written to --out says
    of each constant its uncertainty and that it was measured, and stands at the settings of the first round.
    """
    from thinstock.case import dumps
    from thinstock.cli.overrides import machine_from
    from thinstock.errors import Fault, Refused
    from thinstock.survey.machine_calibration import calibrate
    from thinstock.survey.round import read_round

    if out is not None and out.exists():
        raise Refused(Fault(field=str(out), bound="is there already", remedy="Choose another name, or move it away."))
    made = machine_from(machine, changes)
    rounds = [read_round(table, made) for table in tables]
    found = calibrate(rounds, wanted=wanted, without=without, despite_failed_test=despite_failed_test)
    if out is not None:
        half = out.with_name(f".{out.name}.part")
        half.write_text(dumps(found.machine), encoding="utf-8", newline="\n")
        os.replace(half, out)
    if as_json:
        from thinstock.tell.survey_record import calibration_record

        click.echo(json.dumps(calibration_record(found), indent=1, allow_nan=False))
        return
    from thinstock.tell.calibration import told
    from thinstock.tell.terminal import page

    page(told(found, all_readings=all_notes)).show()
    if out is not None:
        click.echo(f"\nwritten, as surveyed: {out}")
