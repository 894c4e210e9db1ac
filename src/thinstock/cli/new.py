"""`thinstock new FILE`: a machine file of twelve numbers to start from.

The numbers are an invented example unless given as options; what is not among the twelve is assumed and marked so.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

TWELVE: dict[str, tuple[str, str]] = {
    "reel_grammage": ("15.5 g/m2", "grammage as sold, with its moisture"),
    "crepe": ("17 %", "crepe on Yankee speed"),
    "reel_dryness": ("95 %", "dryness at the reel"),
    "yankee_speed": ("1800 m/min", "Yankee speed"),
    "width": ("5.4 m", "width of the sheet"),
    "freeness": ("520 mL CSF", "freeness of the thick stock"),
    "stock_temperature": ("40 degC", "temperature at the jet"),
    "consistency": ("0.19 %", "headbox consistency"),
    "former": ("wire and felt, C-wrap", "former, as the library calls it"),
    "press": ("roll", "roll or shoe"),
    "line_load": ("90 kN/m", "line load of the press"),
    "steam_pressure": ("7.5 bar(a)", "steam pressure in the Yankee"),
    "hood_temperature": ("450 degC", "temperature of the hood air"),
}
"""What the short form asks for: an example of each and what it is. Former and press count as one with its load."""

HEAD = """
# The numbers below make a machine; those you did not give are an invented example: put your own in their place.
# `thinstock check {file}` says what is wrong or unusual, `thinstock run {file}` runs it."""


def _options(function: Any) -> Any:
    """One option for each of the twelve."""
    for name, (example, meaning) in reversed(TWELVE.items()):
        option = "--" + name.replace("_", "-")
        function = click.option(option, name, metavar="VALUE", default=None, help=f"{meaning} ({example})")(function)
    return function


@click.command("new", short_help="Write a machine file to start from.")
@click.argument("file", type=click.Path(path_type=Path))
@_options
def command(file: Path, **given: str | None) -> None:
    """Write FILE, a short machine file to fill in; a file that is there is never overwritten."""
    from thinstock.case.short import new
    from thinstock.case.write import dumps
    from thinstock.errors import Fault, Refused

    taken = Fault(field=str(file), bound="is there already", remedy="Choose another name, or move it away.")
    if file.exists():
        raise Refused(taken)
    asked = {name: value if value is not None else TWELVE[name][0] for name, value in given.items()}
    first, rest = dumps(new(title=file.stem, **asked)).split("\n", 1)  # type: ignore[arg-type]
    content = f"{first}\n{HEAD.format(file=file.name)}\n{rest}"
    try:
        with file.open("x", encoding="utf-8", newline="\n") as out:
            out.write(content)
    except FileExistsError:
        raise Refused(taken) from None
    click.echo(f"{file}: put your own numbers in, then: thinstock run {file}")
