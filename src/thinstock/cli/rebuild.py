"""`thinstock rebuild BEFORE AFTER --prices FILE`: what a rebuild gains in money, as ranges, counted once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import units_option
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.words.units import UnitSet


@click.command("rebuild", short_help=phrase("cli.rebuild.what_rebuild_gains_in_money"))
@click.argument("before", metavar="BEFORE")
@click.argument("after", metavar="AFTER")
@click.option(
    "--prices", "file", required=True, metavar="FILE", help=phrase("cli.rebuild.prices_file_or_example_invented")
)
@click.option("--draws", default=2000, show_default=True, help=phrase("cli.rebuild.draws_uncertain_inputs_prices"))
@click.option("--seed", default=1, show_default=True, help=phrase("cli.rebuild.number_that_begins_draws"))
@click.option(
    "--set", "changes", multiple=True, metavar="ADDRESS=VALUE", help=phrase("cli.rebuild.change_value_on_both_machines")
)
@click.option(
    "--sheet",
    metavar="FILE",
    type=click.Path(dir_okay=False, path_type=Path),
    help=phrase("cli.rebuild.sheet"),
)
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.rebuild.print_one_json_object_in"))
@units_option
def command(
    before: str,
    after: str,
    file: str,
    draws: int,
    seed: int,
    changes: tuple[str, ...],
    sheet: Path | None,
    as_json: bool,
    unit_set: UnitSet,
) -> None:
    """Reckon the rebuild of machine BEFORE into machine AFTER: energy or tonnes, carbon dioxide, saving, payback."""
    from thinstock.case.overrides import machine_from
    from thinstock.studies.prices import load_prices
    from thinstock.studies.rebuild import rebuild

    prices = load_prices(file)
    old, new = machine_from(before, changes), machine_from(after, changes)
    found = rebuild(old, new, prices, draws=draws, seed=seed)
    if sheet is not None:
        from thinstock.cli.options import write_out
        from thinstock.tell.decision_sheet import sheet as on_paper
        from thinstock.tell.study import edge_of

        write_out(on_paper(found, edge_of(old, unit_set)), sheet)
    if as_json:
        from thinstock.tell.record import dumped

        click.echo(dumped(found))
        return
    from thinstock.tell.rebuild import told
    from thinstock.tell.study import edge_of
    from thinstock.tell.terminal import page

    page(told(found, edge_of(old, unit_set))).show()
