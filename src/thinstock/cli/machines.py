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
    from thinstock.tell.blocks import Column, Table, words
    from thinstock.tell.terminal import page
    from thinstock.words.phrase import phrase

    heads = ("name", "grade", "former", "press")
    columns = tuple(Column(head=phrase(f"machines.{head}"), sort="word") for head in heads)
    rows = tuple((m.name, m.grade, m.former, m.press) for m in found)
    page([Table(columns=columns, rows=rows, indented=False), words(phrase("machines.invented"))]).show()
