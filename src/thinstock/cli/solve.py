"""`thinstock solve MACHINE --for ADDRESS --so-that "RESULT = VALUE"`: the value of one setting that gives a result."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import machine_argument, population_option, units_option
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.words.units import UnitSet


@click.command("solve", short_help=phrase("cli.solve.value_that_gives_wanted_result"))
@machine_argument
@click.option("--for", "unknown", required=True, metavar="ADDRESS", help=phrase("cli.solve.value_to_find_such_as"))
@click.option(
    "--so-that", "aim", required=True, metavar='"RESULT = VALUE"', help=phrase("cli.solve.such_as_dryness_press")
)
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.solve.print_one_json_object_in"))
@population_option
@click.option("--seed", default=1, show_default=True, help=phrase("cli.study.number_that_begins_draws"))
@units_option
def command(
    machine: str, changes: tuple[str, ...], unknown: str, aim: str, as_json: bool, which: str | None, draws: int,
    seed: int, unit_set: UnitSet,
) -> None:  # fmt: skip
    """Find the value at ADDRESS with which a result of MACHINE becomes what is wanted.

    The unknown never passes a limit entered for it; limits of other parts that are passed at the answer are named.
    Where a limit that protects people or a vessel is not given, nothing is searched. The names of results are those
    of `thinstock run MACHINE --json`. With a population every draw of the machine has its own answer; told are their
    median, the central 90 % and the share of draws in which no value gives the result.
    """
    from thinstock.case.overrides import machine_from
    from thinstock.evidence.chosen import wished
    from thinstock.studies.solve import solve
    from thinstock.studies.solve_draws import answers

    made = machine_from(machine, changes)
    found = solve(made, unknown, aim)
    drawn = wished(made, which, draws=draws, seed=seed)
    open_to = None if drawn is None else answers(found, drawn)
    if as_json:
        from thinstock.tell.record import plain

        more = {} if open_to is None else {"drawn": plain(open_to, ("values",))}
        click.echo(json.dumps(found.record() | more, indent=1, allow_nan=False))
        return
    from thinstock.tell.solve import told
    from thinstock.tell.terminal import page
    from thinstock.words.figures import Edge

    edge = Edge(unit_set=unit_set, air=float(made.site.atmospheric_pressure()))
    page(told(found, made.title, edge, open_to)).show()
