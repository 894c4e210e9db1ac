"""`thinstock schema`: the JSON schema of a machine file."""

from __future__ import annotations

import json

import click

from thinstock.words.phrase import phrase


@click.command("schema", short_help=phrase("cli.schema.json_schema_machine_file"))
def command() -> None:
    """Print the JSON schema of a machine file, for editors that complete and check as one types."""
    from thinstock.case.json_schema import schema

    click.echo(json.dumps(schema(), indent=1, allow_nan=False, ensure_ascii=True))
