"""`thinstock solve MACHINE --for ADDRESS --so-that "RESULT = VALUE"`: the value of one setting that gives a result."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import machine_argument, units_option
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
@units_option
def command(machine: str, changes: tuple[str, ...], unknown: str, aim: str, as_json: bool, unit_set: UnitSet) -> None:
    """Find the value at ADDRESS with which a result of MACHINE becomes what is wanted.

    The unknown never passes a limit entered for it; limits of other parts that are passed at the answer are named.
    Where a limit that protects people or a vessel is not given, nothing is searched. The names of results are those
    of `thinstock run MACHINE --json`.
    """
    from thinstock.case.overrides import machine_from
    from thinstock.studies.solve import solve

    made = machine_from(machine, changes)
    found = solve(made, unknown, aim)
    if as_json:
        click.echo(json.dumps(found.record(), indent=1, allow_nan=False))
        return
    from thinstock.tell.solve import told
    from thinstock.tell.terminal import page
    from thinstock.words.figures import Edge

    page(told(found, made.title, Edge(unit_set=unit_set, air=float(made.site.atmospheric_pressure())))).show()
