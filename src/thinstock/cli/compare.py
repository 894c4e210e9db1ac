"""`thinstock compare A B [C D]`: machines side by side at equal reel dryness, and the change card from the first."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import units_option
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.words.units import UnitSet


@click.command("compare", short_help=phrase("cli.compare.machines_side_by_side"))
@click.argument("machines", nargs=-1, required=True, metavar="A B [C D]")
@click.option("--card/--no-card", default=None, help=phrase("cli.compare.print_change_card_from_printed"))
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.compare.print_one_json_object_in"))
@units_option
def command(machines: tuple[str, ...], card: bool | None, as_json: bool, unit_set: UnitSet) -> None:
    """Set machines side by side: bundled ones (see `thinstock machines`) or machine files."""
    from thinstock.case import load
    from thinstock.studies.compare import compare

    found = compare(*(load(name) for name in machines))
    if as_json:
        click.echo(json.dumps(found.record(), indent=1, allow_nan=False))
        return
    from thinstock.tell.compare import told
    from thinstock.tell.terminal import page
    from thinstock.words.figures import Edge

    edge = Edge(unit_set=unit_set, air=float(found.machines[0].site.atmospheric_pressure()))
    page(told(found, edge, card=len(machines) == 2 if card is None else card)).show()
