"""`thinstock new FILE`: a machine file of twelve numbers to start from.

The numbers are an invented example unless given as options; what is not among the twelve is assumed and marked so.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click

from thinstock.words.fault import fault_in
from thinstock.words.phrase import capital, phrase

TWELVE: dict[str, tuple[str, str]] = {
    "reel_grammage": ("15.5 g/m2", phrase("cli.new.grammage_as_sold_with_its")),
    "crepe": ("17 %", phrase("cli.new.crepe_on_yankee_speed")),
    "reel_dryness": ("95 %", phrase("cli.new.dryness_at_reel")),
    "yankee_speed": ("1800 m/min", "Yankee speed"),
    "width": ("5.4 m", phrase("cli.new.width_sheet")),
    "freeness": ("520 mL CSF", phrase("cli.new.freeness_thick_stock")),
    "stock_temperature": ("40 degC", phrase("cli.new.temperature_at_jet")),
    "consistency": ("0.19 %", "headbox consistency"),
    "former": (phrase("cli.new.wire_felt_c_wrap"), phrase("cli.new.former_as_library_calls_it")),
    "press": ("roll", phrase("cli.new.roll_or_shoe")),
    "line_load": ("90 kN/m", phrase("cli.new.line_load_press")),
    "steam_pressure": ("7.5 bar(a)", phrase("cli.new.steam_pressure_in_yankee")),
    "hood_temperature": ("450 degC", phrase("cli.new.temperature_hood_air")),
}
"""What the short form asks for: an example of each and what it is. Former and press count as one with its load."""

HEAD = phrase("cli.new.numbers_below_make_machine_those")


def _options(function: Any) -> Any:
    """One option for each of the twelve."""
    for name, (example, meaning) in reversed(TWELVE.items()):
        option = "--" + name.replace("_", "-")
        function = click.option(option, name, metavar="VALUE", default=None, help=f"{capital(meaning)} ({example}).")(
            function
        )
    return function


@click.command("new", short_help=phrase("cli.new.write_machine_file_to_start"))
@click.argument("file", type=click.Path(path_type=Path))
@_options
@click.option("--yankee-diameter", metavar="VALUE", help=phrase("cli.new.yankee_diameter"))
@click.option("--like", metavar="MACHINE", help=phrase("cli.new.like"))
def command(file: Path, yankee_diameter: str | None, like: str | None, **given: str | None) -> None:
    """Write FILE, a short machine file to fill in; a file that is there is never overwritten.

    Of twelve numbers a machine with a Yankee is made. Others, newsprint or board for one, begin as a copy of a bundled
    machine: `thinstock new mine.toml --like newsprint-two-shoes`; `thinstock machines` lists them.
    """
    from thinstock.case import library
    from thinstock.case.short import new
    from thinstock.case.write import dumps
    from thinstock.errors import Refused
    from thinstock.files.write import put
    from thinstock.tell.terminal import page_width, wrapped

    if os.path.lexists(file):
        raise Refused(fault_in("files.there_already", str(file)))
    if like is not None:
        numbers = [f"--{name.replace('_', '-')}" for name, value in given.items() if value is not None]
        if numbers or yankee_diameter:
            raise Refused(fault_in("cli.new.like_alone", "--like", ", ".join(numbers)))
        known = list(library.machine_names())
        if like not in known:
            raise Refused(fault_in("cli.new.not_bundled", "--like", like, near=library.near(like, known)))
        content = library.machine_text(like)
    else:
        asked = {name: value if value is not None else TWELVE[name][0] for name, value in given.items()}
        made = new(title=file.stem, yankee_diameter=yankee_diameter, **asked)  # type: ignore[arg-type]
        first, rest = dumps(made).split("\n", 1)
        content = f"{first}\n{HEAD.format(file=file.name)}\n{rest}"
    put(file, content, new=True)
    click.echo(phrase("cli.new.put_your_own_numbers_in", file=file))
    if like is None and yankee_diameter is None:
        assert made.yankee is not None
        said = phrase("cli.new.diameter_assumed", diameter=f"{float(made.yankee.diameter):.3g} m")
        click.echo("\n".join(wrapped(said, width=page_width())))
