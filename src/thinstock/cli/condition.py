"""`thinstock condition MACHINE --reading "..." --out FILE`: what a few known figures leave open of a machine."""

from __future__ import annotations

from pathlib import Path

import click

from thinstock.cli.options import machine_argument
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase


@click.command("condition", short_help=phrase("cli.cli.few_figures_known"))
@machine_argument
@click.option(
    "--reading", "texts", multiple=True, required=True, metavar="READING", help=phrase("cli.condition.reading")
)
@click.option(
    "--out", required=True, metavar="FILE", type=click.Path(dir_okay=False, path_type=Path),
    help=phrase("cli.condition.out"),
)  # fmt: skip
@click.option(
    "--draws", type=click.IntRange(200, 20000), default=1000, show_default=True, help=phrase("cli.calibrate.draws")
)
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.calibrate.print_one_json_object_in"))
def command(
    machine: str, changes: tuple[str, ...], texts: tuple[str, ...], out: Path, draws: int, as_json: bool
) -> None:
    """Take one to five figures that are known of MACHINE into what is believed of it, without a survey.

    The machine file written to --out has the evidence beside it, from which every later range is drawn.
    """
    import json
    import os
    from dataclasses import replace

    from thinstock.case import dumps, loads
    from thinstock.case.overrides import machine_from
    from thinstock.cli.study import progress
    from thinstock.errors import Refused
    from thinstock.evidence.file import write_evidence
    from thinstock.files.write import put
    from thinstock.survey.conditioned import condition, said
    from thinstock.survey.surer import evidence_name
    from thinstock.tell.condition import record, told
    from thinstock.tell.terminal import page

    if os.path.lexists(out):
        raise Refused(fault_in("files.there_already", str(out)))
    made = machine_from(machine, changes)
    survey = said(made, texts)
    with progress(phrase("cli.calibrate.draws_made")) as tell:
        found = condition(made, survey, draws=draws, tell=tell)
    text = dumps(made.with_({"evidence": evidence_name(out)}))
    write_evidence(replace(found, machine=loads(text, out.name)), out.with_name(evidence_name(out)))
    put(out, text, new=True)
    if as_json:
        click.echo(json.dumps(record(made, found, str(out)), indent=1, allow_nan=False))
        return
    page(told(made, found)).show()
    click.echo(phrase("cli.calibrate.evidence_beside", name=evidence_name(out)))
