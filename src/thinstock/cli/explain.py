"""`thinstock explain MACHINE NUMBER`: the working of one number of a run, in the terminal, on a page or on paper."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import machine_argument, out_option, paper_option, units_option, write_out
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.words.units import UnitSet

FORMATS = ("text", "html", "pdf", "json")
WIDE = 110
"""Columns of a working, at most."""


@click.command("explain", short_help=phrase("cli.explain.show_working_number"))
@machine_argument
@click.argument("number", metavar="[NUMBER]", required=False)
@click.option("--format", "form", type=click.Choice(FORMATS), help=phrase("cli.explain.how_it_written_text_unless"))
@click.option("--short", is_flag=True, help=phrase("cli.explain.three_lines"))
@units_option
@paper_option
@out_option
def command(
    machine: str,
    number: str | None,
    changes: tuple[str, ...],
    form: str | None,
    short: bool,
    unit_set: UnitSet,
    paper: str,
    out: Path | None,
) -> None:
    """Show how NUMBER of MACHINE comes about: every formula in symbols and in numbers, with source and status.

    Without NUMBER the names of the numbers that can be shown are listed.
    """
    from thinstock.case.overrides import machine_from
    from thinstock.tell import explained
    from thinstock.tell.terminal import list_width, page_width, wrapped
    from thinstock.tell.worked import about, names_of, worked

    result = machine_from(machine, changes).run()
    if number is None:
        for name in names_of(result):
            click.echo(
                "\n".join(wrapped(about(name).label, width=list_width(), first=f"{name} ".ljust(42), then=" " * 42))
            )
        return
    width = min(page_width(), WIDE)
    if short:
        write_out(explained.short(worked(result, number, unit_set), width), out)
        return
    chosen = form or _by_name(out) or "text"
    if chosen == "pdf" and out is None:
        write_out(b"", None)
    if chosen == "text":
        write_out(explained.plain(worked(result, number, unit_set), width), out)
        return
    write_out(explained.explain(result, number, chosen, unit_set, paper=paper), out)


def _by_name(out: Path | None) -> str | None:
    """The form that the end of a file name asks for."""
    ends = {".html": "html", ".htm": "html", ".pdf": "pdf", ".json": "json", ".txt": "text"}
    return None if out is None else ends.get(out.suffix.lower())
