"""`thinstock limits MACHINE`: the speed limit of every part, what it does now and may do."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import machine_argument, units_option
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.words.units import UnitSet


@click.command("limits", short_help=phrase("cli.limits.speed_limits_every_part"))
@machine_argument
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.limits.print_one_json_object_in"))
@units_option
def command(machine: str, changes: tuple[str, ...], as_json: bool, unit_set: UnitSet) -> None:
    """Find the highest speed each part of MACHINE can take."""
    from thinstock.case.overrides import machine_from
    from thinstock.machine.limits import limits

    made = machine_from(machine, changes)
    found = limits(made)
    if as_json:
        from thinstock.tell.export import limits_record

        click.echo(json.dumps(limits_record(found), indent=1, allow_nan=False))
        return
    from thinstock.tell import limits as speeds
    from thinstock.tell.terminal import page
    from thinstock.words.figures import Edge
    from thinstock.words.phrase import phrase

    edge = Edge(unit_set=unit_set, air=float(made.site.atmospheric_pressure()))
    shown = page(speeds.screen(made.title, found, edge))
    shown.heading(phrase("speeds.first.head"))
    shown.show()
