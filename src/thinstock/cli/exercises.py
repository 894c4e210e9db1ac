"""`thinstock exercises MACHINE`: a class sheet of problems around a machine, or its key with full working."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import machine_argument, out_option, paper_option, units_option, write_out
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.words.units import UnitSet


@click.command("exercises", short_help=phrase("cli.exercises.set_problems_around_machine"))
@machine_argument
@click.option(
    "--level", "levels", default="1-3", show_default=True, metavar="LEVELS", help='Levels: "2", "1-3", "1,3".'
)
@click.option("--seed", default=1, show_default=True, help=phrase("cli.exercises.same_seed_makes_same_sheet"))
@click.option("--count", default=8, show_default=True, help=phrase("cli.exercises.number_problems"))
@click.option(
    "--kind", "kinds", multiple=True, metavar="KIND", help=phrase("cli.exercises.only_problems_this_kind_several")
)
@click.option("--key", is_flag=True, help=phrase("cli.exercises.write_key_with_full_working"))
@units_option
@paper_option
@out_option
def command(
    machine: str,
    changes: tuple[str, ...],
    levels: str,
    seed: int,
    count: int,
    kinds: tuple[str, ...],
    key: bool,
    unit_set: UnitSet,
    paper: str,
    out: Path | None,
) -> None:
    """Set problems whose numbers lie near those of MACHINE; print them, or write a .pdf, .html or .txt file."""
    from thinstock.case.overrides import machine_from
    from thinstock.tell.exercises import exercises, order
    from thinstock.tell.terminal import page_width

    what = order(levels, count, seed, kinds)
    ends = {".pdf": "pdf", ".html": "html", ".htm": "html"}
    form = ends.get(out.suffix.lower(), "text") if out is not None else "text"
    made = machine_from(machine, changes)
    write_out(exercises(made, form, what, unit_set, key=key, paper=paper, width=min(page_width(), 100)), out)
