"""`thinstock watch MACHINE --change EVENT`: what happens for the next half hour."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import out_option, units_option, write_out
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.words.units import UnitSet


@click.command("watch", short_help=phrase("cli.watch.short"))
@click.argument("machine")
@click.option("--change", "events", multiple=True, required=True, metavar="EVENT", help=phrase("cli.watch.change"))
@click.option("--minutes", default=30.0, show_default=True, help=phrase("cli.watch.minutes"))
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.watch.json"))
@units_option
@out_option
def command(
    machine: str, events: tuple[str, ...], minutes: float, as_json: bool, unit_set: UnitSet, out: Path | None
) -> None:
    """Show what happens on MACHINE while things change: lines, when they are there, what passes a limit.

    An EVENT is "thick=+5 %", "break=doctor for 20 min @ 2", "start-up", "fresh=off for 20 min", or a value of the
    machine such as "headbox.consistency=0.2 %" or "yankee.speed=1750 m/min over 2 min @ 5"; @ says the minute. With
    --out the picture is written as SVG.
    """
    from thinstock.case.overrides import machine_from
    from thinstock.tell import watch
    from thinstock.words.figures import Edge

    made = machine_from(machine, ())
    found = made.over_time(events, minutes)
    edge = Edge(unit_set=unit_set, air=float(made.site.atmospheric_pressure()))
    if out is not None:
        from thinstock.drawing.over_time import picture

        write_out(picture(found, edge), out)
    if as_json:
        click.echo(json.dumps({"format": 1, **watch.record(found)}, allow_nan=False))
        return
    from thinstock.tell.blocks import Head
    from thinstock.tell.terminal import page

    page([Head(text=made.title), *watch.told(found, edge)]).show()
