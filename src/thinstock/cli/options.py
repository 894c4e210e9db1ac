"""What several commands ask for alike. Light: help must not wait for the numerical libraries."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase


def machine_argument(function: Callable[..., Any]) -> Callable[..., Any]:
    """The MACHINE argument and the `--set` option."""
    function = click.option(
        "--set",
        "changes",
        multiple=True,
        metavar="ADDRESS=VALUE",
        help=phrase("cli.options.change_value_with_its_unit"),
    )(function)
    return click.argument("machine", metavar="MACHINE")(function)


def units_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """The `--units` option."""
    return click.option(
        "--units",
        "unit_set",
        type=click.Choice(["si", "mill", "us"]),
        default="mill",
        show_default=True,
        help=phrase("cli.options.set_units_to_print_in"),
    )(function)


def population_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """The `--population` and `--draws` options."""
    function = click.option(
        "--draws", type=click.IntRange(50, 20000), default=400, show_default=True, help=phrase("cli.options.draws")
    )(function)
    return click.option(
        "--population",
        "which",
        type=click.Choice(["own", "believed", "runs", "read", "none"]),
        help=phrase("cli.options.population"),
    )(function)


def out_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """The `--out` option."""
    return click.option(
        "--out",
        metavar="FILE",
        type=click.Path(dir_okay=False, path_type=Path),
        help=phrase("cli.options.write_into_file"),
    )(function)


def paper_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """The `--paper` option."""
    return click.option(
        "--paper",
        type=click.Choice(["a4", "letter"]),
        default="a4",
        show_default=True,
        help=phrase("cli.options.size_paper_pdf"),
    )(function)


def write_out(made: str | bytes, out: Path | None) -> None:
    """Print what was made, or write it into a file that is whole or not there at all; a PDF is never printed."""
    from thinstock.errors import Refused

    if out is None:
        if isinstance(made, bytes):
            raise Refused(fault_in("cli.options.out", "--out", "nothing"))
        click.echo(made)
        return
    from thinstock.files.write import put

    click.echo(str(put(out, made)), err=True)


def read_value(text: str, kind: str, option: str) -> float:
    """The SI value of an option given with its unit."""
    from thinstock.errors import Fault, Refused
    from thinstock.words import units

    try:
        return units.parse(text, kind, field=option)
    except units.UnitError as wrong:
        raise Refused(Fault(field=option, value=repr(text), bound=wrong.reason, remedy=wrong.remedy)) from None
