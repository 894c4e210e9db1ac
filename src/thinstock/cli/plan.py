"""`thinstock plan MACHINE --for RESULT`: which reading makes one answer surer, and for how much money."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import machine_argument, units_option
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.words.units import UnitSet

FILE = click.Path(dir_okay=False, path_type=Path)


@click.command("plan", short_help=phrase("cli.cli.which_reading_makes_answer_surer"))
@machine_argument
@click.option("--for", "target", required=True, metavar="RESULT", help=phrase("cli.plan.target"))
@click.option("--at", "said", default="", metavar="SETTINGS", help=phrase("cli.plan.at"))
@click.option("--readings", metavar="FILE", type=FILE, help=phrase("cli.plan.readings"))
@click.option("--evidence", metavar="FILE", type=FILE, help=phrase("cli.plan.evidence"))
@click.option("--seed", default=1, show_default=True, help=phrase("cli.study.number_that_begins_draws"))
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.study.print_one_json_object_in"))
@units_option
def command(
    machine: str,
    changes: tuple[str, ...],
    target: str,
    said: str,
    readings: Path | None,
    evidence: Path | None,
    seed: int,
    as_json: bool,
    unit_set: UnitSet,
) -> None:
    """Say which reading on MACHINE makes RESULT surer, best first, and by money where the table of readings says costs.

    The table has the columns stream, quantity, unit, uncertainty, coverage_factor, at, repeats, cost. Without one the
    readings of the machine's form are taken, with their usual uncertainties.
    """
    from thinstock.case.overrides import machine_from
    from thinstock.evidence import population_of, read_evidence
    from thinstock.evidence.apply import population
    from thinstock.studies.measuring import measuring_plan
    from thinstock.studies.measuring_table import candidates_of_form, read_plan, settings_in
    from thinstock.survey.cells import Cells
    from thinstock.survey.faults import SurveyError
    from thinstock.words.figures import Edge

    made = machine_from(machine, changes)
    cells = Cells("--at")
    at = settings_in(said, made, cells, None)
    if cells.faults:
        raise SurveyError(cells.faults)
    candidates = candidates_of_form(made) if readings is None else read_plan(readings, made)
    if evidence is None:
        drawn = population(made, seed=seed)
    else:
        drawn = population_of(made, seed=seed, evidence=read_evidence(evidence, made))
    found = measuring_plan(made, target, candidates, at=at, said=said, population=drawn)
    if as_json:
        from thinstock.tell.measuring import plan_record

        click.echo(json.dumps(plan_record(found), indent=1, allow_nan=False))
        return
    from thinstock.tell.measuring import plan_told
    from thinstock.tell.terminal import page

    edge = Edge(unit_set=unit_set, air=float(made.site.atmospheric_pressure()))
    page(plan_told(found, edge)).show()
