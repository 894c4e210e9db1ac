"""`thinstock circuits MACHINE`: fresh water, effluent, fibre loss, and how warm and dirty every circuit is."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import machine_argument, units_option
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.words.units import UnitSet


@click.command("circuits", short_help=phrase("cli.circuits.short"))
@machine_argument
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.circuits.json"))
@units_option
def command(machine: str, changes: tuple[str, ...], as_json: bool, unit_set: UnitSet) -> None:
    """Close the water circuits of MACHINE, as its file gives them, and tell every stream."""
    from thinstock.case.overrides import machine_from
    from thinstock.tell import circuits
    from thinstock.words.figures import Edge

    result = machine_from(machine, changes).run()
    if as_json:
        click.echo(json.dumps({"format": 1, "circuits": circuits.record(result)}, indent=1, allow_nan=False))
        return
    from thinstock.tell.blocks import Head
    from thinstock.tell.terminal import page

    edge = Edge(unit_set=unit_set, air=float(result.machine.site.atmospheric_pressure()))
    page([Head(text=result.machine.title), *circuits.told(result, edge)]).show()
