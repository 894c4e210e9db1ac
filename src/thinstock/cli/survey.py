"""`thinstock survey TABLE [AFTER] --machine MACHINE`: do the readings agree, and what follows from them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import paper_option
from thinstock.cli.options import write_out as write_file
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.evidence.population import Population
    from thinstock.studies.worth_of_change import WorthOfChange
    from thinstock.survey.change import Change
    from thinstock.survey.findings import Findings
    from thinstock.tell.blocks import Block

SET = click.option(
    "--set",
    "changes",
    multiple=True,
    metavar="ADDRESS=VALUE",
    help=phrase("cli.survey.change_value_machine_with_its"),
)


@click.command("survey", short_help=phrase("cli.survey.reconcile_table_readings_with_machine"))
@click.argument("table", metavar="TABLE")
@click.argument("after", metavar="[AFTER]", required=False)
@click.option("--machine", required=True, metavar="MACHINE", help=phrase("cli.survey.bundled_machine_or_machine_file"))
@SET
@click.option(
    "--without",
    multiple=True,
    metavar="READING",
    help=phrase("cli.survey.set_reading_aside_by_its"),
)
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.survey.print_one_json_object_in"))
@click.option(
    "--out",
    "folder",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help=phrase("cli.survey.write_tables_charts_there"),
)
@click.option(
    "--report", metavar="FILE", type=click.Path(dir_okay=False, path_type=Path), help=phrase("cli.survey.report")
)
@click.option(
    "--evidence", metavar="FILE", type=click.Path(dir_okay=False, path_type=Path), help=phrase("cli.survey.evidence")
)
@click.option("--for", "target", metavar="RESULT", help=phrase("cli.survey.target"))
@click.option("--prices", metavar="FILE", help=phrase("cli.survey.prices"))
@paper_option
@click.option("--notes", "all_notes", is_flag=True, help=phrase("cli.survey.print_all_notes"))
def command(
    table: str,
    after: str | None,
    machine: str,
    changes: tuple[str, ...],
    without: tuple[str, ...],
    as_json: bool,
    folder: Path | None,
    report: Path | None,
    evidence: Path | None,
    target: str | None,
    prices: str | None,
    paper: str,
    all_notes: bool,
) -> None:
    """Reconcile the readings of TABLE (a CSV or XLSX file, or a bundled survey) on MACHINE.

    With AFTER, a second round on the same machine, also what changed between the two, and with --prices what that is
    worth in a year. `thinstock survey-form MACHINE` writes an empty table with all the points that can be read.
    """
    from thinstock.case.overrides import machine_from
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
    if report is not None:
        _report(rounds, moved, report, paper, (evidence, target))
    worth = None if prices is None else _worth(rounds, prices, without)
    if as_json:
        from thinstock.tell.record import plain
        from thinstock.tell.survey_record import survey_record

        more = {} if worth is None else {"worth": plain(worth)}
        click.echo(json.dumps(survey_record(rounds, moved) | more, indent=1, allow_nan=False))
    elif folder is None and report is None:
        from thinstock.tell.survey import told
        from thinstock.tell.terminal import page

        page(told(rounds, moved, all_notes=all_notes)).show()
    if worth is not None and not as_json:
        from thinstock.tell.study import edge_of
        from thinstock.tell.terminal import page
        from thinstock.tell.worth_of_change import told as priced

        page(priced(worth, edge_of(made, "mill"))).show()


def _report(
    rounds: list[Findings], moved: tuple[Change, ...], report: Path, paper: str, of: tuple[Path | None, str | None]
) -> None:
    """The report to hand over, with the plan for one answer where that is asked."""
    from thinstock.evidence import population_of, read_evidence
    from thinstock.tell.survey_report import survey_report

    evidence, target = of
    form = "html" if report.suffix.lower() in (".html", ".htm") else "pdf"
    stood = rounds[-1].round.machine
    drawn = population_of(stood) if evidence is None else read_evidence(evidence, stood)
    plan = () if target is None else _plan(target, rounds[-1], drawn)
    write_file(survey_report(rounds, moved, form, paper=paper, plan=plan, population=drawn), report)


def _worth(rounds: list[Findings], prices: str, without: tuple[str, ...]) -> WorthOfChange:
    """What changed between two rounds, as results and as money."""
    from thinstock.cli.study import progress
    from thinstock.errors import Refused
    from thinstock.studies.prices import load_prices
    from thinstock.studies.worth_of_change import worth_of_change

    if len(rounds) < 2:
        raise Refused(fault_in("cli.survey.prices_need", "--prices", prices))
    first, second = (one.round for one in rounds)
    with progress(phrase("cli.calibrate.draws_made")) as tell:
        return worth_of_change(first, second, load_prices(prices), without=without, tell=tell)


def _plan(target: str, last: Findings, drawn: Population) -> list[Block]:
    """What to read next for one answer, on the machine as it stood in the round."""
    from thinstock.studies.measuring import measuring_plan
    from thinstock.studies.measuring_table import candidates_of_form
    from thinstock.tell.measuring import plan_told
    from thinstock.words.figures import Edge

    machine = last.round.machine
    found = measuring_plan(machine, target, candidates_of_form(machine), population=drawn)
    return plan_told(found, Edge(unit_set="mill", air=float(machine.site.atmospheric_pressure())))
