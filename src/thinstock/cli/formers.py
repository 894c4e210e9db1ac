"""`thinstock formers MACHINE_OR_GRADE`: the ladder of formers for one sheet, as a table, as words, or as JSON."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import read_value, units_option

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.words.units import UnitSet

SHOWN = tuple(v / 60 for v in (300, 800, 1500, 2000))
"""Speeds shown when none are asked for, m/s."""


@click.command("formers", short_help="Formers side by side for one sheet.")
@click.argument("subject", metavar="MACHINE_OR_GRADE")
@click.option("--set", "changes", multiple=True, metavar="ADDRESS=VALUE", help="Change a value of the machine.")
@click.option("--speed", "speeds", multiple=True, metavar="SPEED", help='Speed to show: "1500 m/min"; several times.')
@click.option("--former", "keys", multiple=True, metavar="KEY", help="Former of the library to show; several times.")
@click.option("--power", metavar="POWER", help='Most pump power per metre of width: "300 kW/m".')
@click.option("--words", "all_words", is_flag=True, help="Also say what gave out, and what the numbers do not explain.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object in base SI.")
@units_option
def command(
    subject: str,
    changes: tuple[str, ...],
    speeds: tuple[str, ...],
    keys: tuple[str, ...],
    power: str | None,
    all_words: bool,
    as_json: bool,
    unit_set: UnitSet,
) -> None:
    """Set the formers side by side for the sheet of a machine or of a grade ("facial", "tea-bag type")."""
    from thinstock import library
    from thinstock.cli.overrides import machine_from, machine_or_grade
    from thinstock.errors import Fault, Refused
    from thinstock.studies.ladder import formers
    from thinstock.words import units

    if subject in library.grade_names():
        if changes:
            raise Refused(Fault(field="--set", value=changes[0], bound="changes a machine; a grade has none",
                                remedy="Name a machine."))  # fmt: skip
        asked: Machine | str = subject
    else:
        asked = machine_from(machine_or_grade(subject), changes)
    found = formers(
        asked,
        speeds=[read_value(s, "speed", "--speed") for s in speeds] or SHOWN,
        keys=keys or None,
        power_limit=None if power is None else read_value(power, "power per width", "--power"),
    )
    if as_json:
        click.echo(json.dumps(found.record(), indent=1, allow_nan=False))
        return
    from thinstock.tell.formers import told
    from thinstock.tell.terminal import page
    from thinstock.words.figures import Edge

    edge = Edge(unit_set=unit_set, air=units.STANDARD_ATMOSPHERE)
    page(told(found, subject, edge, all_words=all_words)).show()
