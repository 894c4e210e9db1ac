"""`thinstock trouble MACHINE SYMPTOM`: what to look at, in order, with this machine's numbers."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import machine_argument, units_option
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.words.units import UnitSet


@click.command("trouble", short_help=phrase("cli.trouble.short"))
@machine_argument
@click.argument("symptom", required=False)
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.trouble.json"))
@units_option
def command(machine: str, symptom: str | None, changes: tuple[str, ...], as_json: bool, unit_set: UnitSet) -> None:
    """Tell what to look at when MACHINE shows SYMPTOM: cautions first, then checks with its numbers.

    Without SYMPTOM the symptoms are listed.
    """
    from thinstock.tell import trouble

    if symptom is None:
        for key, said in trouble.symptoms().items():
            click.echo(f"{key:<18} {said}")
        return
    trouble.row_of(symptom)
    from thinstock.case.overrides import machine_from
    from thinstock.tell.record import blocks
    from thinstock.tell.run import limits_at
    from thinstock.tell.terminal import page
    from thinstock.words.figures import Edge

    made = machine_from(machine, changes)
    result = made.run()
    edge = Edge(unit_set=unit_set, air=float(made.site.atmospheric_pressure()))
    told = list(trouble.told(result, limits_at(made, result), symptom, edge))
    if as_json:
        click.echo(json.dumps({"format": 1, "trouble": blocks(told)}, indent=1, allow_nan=False))
        return
    page(told).show()
