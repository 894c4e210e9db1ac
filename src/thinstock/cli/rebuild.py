"""`thinstock rebuild BEFORE AFTER --prices FILE`: what a rebuild gains in money, as ranges, counted once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from thinstock.cli.options import units_option

if TYPE_CHECKING:
    from thinstock.words.units import UnitSet


@click.command("rebuild", short_help="What a rebuild gains in money.")
@click.argument("before", metavar="BEFORE")
@click.argument("after", metavar="AFTER")
@click.option("--prices", "file", required=True, metavar="FILE", help='A prices file, or "example" (invented prices).')
@click.option("--draws", default=2000, show_default=True, help="Draws of uncertain inputs and prices.")
@click.option("--seed", default=1, show_default=True, help="Number that begins the draws.")
@click.option("--set", "changes", multiple=True, metavar="ADDRESS=VALUE", help="Change a value on both machines.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object in base SI.")
@units_option
def command(
    before: str,
    after: str,
    file: str,
    draws: int,
    seed: int,
    changes: tuple[str, ...],
    as_json: bool,
    unit_set: UnitSet,
) -> None:
    """Reckon the rebuild of machine BEFORE into machine AFTER: energy or tonnes, carbon dioxide, saving, payback."""
    from thinstock.cli.overrides import machine_from
    from thinstock.studies.prices import load_prices
    from thinstock.studies.rebuild import rebuild

    prices = load_prices(file)
    old, new = machine_from(before, changes), machine_from(after, changes)
    found = rebuild(old, new, prices, draws=draws, seed=seed)
    if as_json:
        from thinstock.tell.record import dumped

        click.echo(dumped(found))
        return
    from thinstock.tell.rebuild import told
    from thinstock.tell.study import edge_of
    from thinstock.tell.terminal import page

    page(told(found, edge_of(old, unit_set))).show()
