"""`thinstock machines`: the bundled machines, one a line."""

from __future__ import annotations

import json

import click


@click.command("machines", short_help="The bundled machines.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON list.")
def command(as_json: bool) -> None:
    """List the bundled machines; each can be run by its name."""
    from thinstock.case import machines

    found = machines()
    if as_json:
        click.echo(json.dumps([m._asdict() for m in found], indent=1, allow_nan=False))
        return
    from thinstock.cli.text import Page, table

    page = Page()
    rows = [[m.name, m.grade, m.former, m.press] for m in found]
    page.add(*table([["name", "grade", "former", "press"]], rows, texts=(0, 1, 2, 3)))
    page.add("", "All are invented. Run one with: thinstock run NAME")
    page.show()
