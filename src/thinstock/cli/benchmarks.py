"""`thinstock benchmarks MACHINE`: the machine's own figures beside published ranges."""

from __future__ import annotations

import json

import click

from thinstock.cli.options import machine_argument
from thinstock.words.phrase import phrase


@click.command("benchmarks", short_help=phrase("cli.benchmarks.short"))
@machine_argument
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.benchmarks.json"))
def command(machine: str, changes: tuple[str, ...], as_json: bool) -> None:
    """Put the figures of MACHINE beside published ranges; what counts something else is named and not compared."""
    from thinstock.case.overrides import machine_from
    from thinstock.studies.benchmarks import benchmarks
    from thinstock.tell.benchmarks import told
    from thinstock.tell.record import plain
    from thinstock.tell.terminal import page

    found = benchmarks(machine_from(machine, changes))
    if as_json:
        rows = [{**plain(row), "verdict": row.verdict} for row in found]
        click.echo(json.dumps({"format": 1, "benchmarks": rows}, indent=1, allow_nan=False))
        return
    page(told(found)).show()
