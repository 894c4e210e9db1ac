"""`thinstock handout MACHINE`: what a machine does with its water, on paper or on a page, to hand out in class."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import machine_argument, out_option, paper_option, units_option, write_out
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.words.units import UnitSet


@click.command("handout", short_help=phrase("cli.handout.make_handout_on_machine"))
@machine_argument
@click.option(
    "--with", "chosen", metavar="CHAPTERS", multiple=True,
    help=phrase("cli.handout.chapters_to_take_in_this"),
)  # fmt: skip
@click.option("--list", "listing", is_flag=True, help=phrase("cli.handout.list_chapters_make_nothing"))
@units_option
@paper_option
@out_option
def command(
    machine: str,
    changes: tuple[str, ...],
    chosen: tuple[str, ...],
    listing: bool,
    unit_set: UnitSet,
    paper: str,
    out: Path | None,
) -> None:
    """Make a handout on MACHINE: a PDF, or one page of HTML where the name of the file says so."""
    from thinstock.tell.chapters import CHAPTERS
    from thinstock.tell.handout import handout
    from thinstock.words.phrase import phrase

    if listing:
        click.echo("\n".join(f"{key:<12}{phrase(f'handout.about.{key}')}" for key in CHAPTERS))
        return
    from thinstock.case.overrides import machine_from

    keys = [key.strip() for text in chosen for key in text.split(",") if key.strip()]
    target = out if out is not None else Path(f"handout-{Path(machine).stem}.pdf")
    form = "html" if target.suffix.lower() in (".html", ".htm") else "pdf"
    write_out(handout(machine_from(machine, changes), form, keys, unit_set, paper=paper), target)
