"""`thinstock plan MACHINE --for RESULT`: which reading makes one answer surer, and for how much money."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import machine_argument, units_option
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from collections.abc import Sequence

    from thinstock.machine.line import Machine
    from thinstock.studies.measuring import Candidate
    from thinstock.words.units import UnitSet

FILE = click.Path(dir_okay=False, path_type=Path)


@click.command("plan", short_help=phrase("cli.cli.which_reading_makes_answer_surer"))
@machine_argument
@click.option("--for", "target", required=True, metavar="RESULT", help=phrase("cli.plan.target"))
@click.option("--at", "said", default="", metavar="SETTINGS", help=phrase("cli.plan.at"))
@click.option("--readings", metavar="FILE", type=FILE, help=phrase("cli.plan.readings"))
@click.option("--evidence", metavar="FILE", type=FILE, help=phrase("cli.plan.evidence"))
@click.option("--after", metavar="MACHINE", help=phrase("cli.plan.after"))
@click.option("--prices", metavar="FILE", help=phrase("cli.plan.prices"))
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
    after: str | None,
    prices: str | None,
    seed: int,
    as_json: bool,
    unit_set: UnitSet,
) -> None:
    """Say which reading on MACHINE makes RESULT surer, best first, and by money where the table of readings says costs.

    The table has the columns stream, quantity, unit, uncertainty, coverage_factor, at, repeats, cost. Without one the
    readings of the machine's form are taken, with their usual uncertainties. With --after and --prices RESULT may be
    an answer of that rebuild (payback, present_value, yearly_saving, dryness_gained); a reading then also has a worth.
    """
    from thinstock.case.overrides import machine_from
    from thinstock.evidence import population_of, read_evidence
    from thinstock.evidence.apply import population
    from thinstock.studies.decision_plan import DECISIONS
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
    if target in DECISIONS:
        _decided((made, after, prices), target, candidates, seed, as_json)
        return
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


def _decided(
    of: tuple[Machine, str | None, str | None], target: str, candidates: Sequence[Candidate], seed: int, as_json: bool
) -> None:
    """A plan for an answer of a rebuild."""
    from thinstock.case.overrides import machine_from
    from thinstock.errors import Refused
    from thinstock.studies.decision_plan import decision_plan
    from thinstock.studies.prices import load_prices
    from thinstock.tell.decision_plan import record, told
    from thinstock.tell.terminal import page

    before, after, prices = of
    if after is None or prices is None:
        raise Refused(fault_in("cli.plan.needs_after", "--for", target))
    found = decision_plan(before, machine_from(after, ()), load_prices(prices), target, candidates, seed=seed)
    if as_json:
        click.echo(json.dumps(record(found), indent=1, allow_nan=False))
        return
    page(told(found)).show()
