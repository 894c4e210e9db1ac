"""`thinstock machines`: the bundled machines, one a line."""

from __future__ import annotations

import json

import click

from thinstock.words.phrase import phrase


@click.command("machines", short_help=phrase("cli.machines.bundled_machines"))
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.machines.print_json_list"))
def command(as_json: bool) -> None:
    """List the bundled machines; each can be run by its name."""
    from thinstock.case import machines

    found = machines()
    if as_json:
        click.echo(json.dumps([m._asdict() for m in found], indent=1, allow_nan=False))
        return
    from thinstock.tell.blocks import Column, Table, words
    from thinstock.tell.terminal import list_width, page
    from thinstock.words.phrase import phrase

    columns = tuple(Column(head=phrase(f"lists.{name}"), sort="word") for name in ("name", "grade", "former", "press"))
    rows = tuple((m.name, m.grade, m.former, m.press) for m in found)
    page([Table(columns=columns, rows=rows, indented=False), words(phrase("lists.invented"))], list_width()).show()
