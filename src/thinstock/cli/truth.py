"""`thinstock truth [POINT]`: what print says, what thinstock answers, and whether it passes; misses first."""

from __future__ import annotations

import json

import click

from thinstock.words.phrase import phrase


@click.command("truth", short_help=phrase("cli.truth.short"))
@click.argument("point", required=False)
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.truth.print_json"))
def command(point: str | None, as_json: bool) -> None:
    """Judge thinstock against published figures, or against the one called POINT, by running it now."""
    from thinstock.studies.truth import judge, truth
    from thinstock.tell.truth import record, told

    found = truth() if point is None else (judge(point),)
    if as_json:
        click.echo(json.dumps(record(found), indent=1, allow_nan=False))
        return
    from thinstock.tell.terminal import page

    page(told(found)).show()
