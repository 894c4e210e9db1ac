"""What several commands ask for alike. Light: help must not wait for the numerical libraries."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click


def machine_argument(function: Callable[..., Any]) -> Callable[..., Any]:
    """The MACHINE argument and the `--set` option."""
    function = click.option(
        "--set",
        "changes",
        multiple=True,
        metavar="ADDRESS=VALUE",
        help='Change a value, with its unit: --set "yankee.speed=1800 m/min". May be given several times.',
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
        help="Set of units to print in.",
    )(function)
