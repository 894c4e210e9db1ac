"""`thinstock formers MACHINE_OR_GRADE`: the ladder of formers for one sheet, as a table, as words, or as JSON."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import read_value, units_option
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.words.units import UnitSet

SHOWN = tuple(v / 60 for v in (300, 800, 1500, 2000))
"""Speeds shown when none are asked for, m/s."""


@click.command("formers", short_help=phrase("cli.formers.formers_side_by_side_for"))
@click.argument("subject", metavar="MACHINE_OR_GRADE")
@click.option(
    "--set", "changes", multiple=True, metavar="ADDRESS=VALUE", help=phrase("cli.formers.change_value_machine")
)
@click.option("--speed", "speeds", multiple=True, metavar="SPEED", help=phrase("cli.formers.speed_to_show_m_min"))
@click.option(
    "--former", "keys", multiple=True, metavar="KEY", help=phrase("cli.formers.former_library_to_show_several")
)
@click.option("--power", metavar="POWER", help=phrase("cli.formers.most_pump_power_per_metre"))
@click.option("--alone", is_flag=True, help=phrase("cli.formers.leave_out_supply"))
@click.option("--words", "all_words", is_flag=True, help=phrase("cli.formers.also_say_what_gave_out"))
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.formers.print_one_json_object_in"))
@units_option
def command(
    subject: str,
    changes: tuple[str, ...],
    speeds: tuple[str, ...],
    keys: tuple[str, ...],
    power: str | None,
    alone: bool,
    all_words: bool,
    as_json: bool,
    unit_set: UnitSet,
) -> None:
    """Set the formers side by side for the sheet of a machine or of a grade ("facial", "tea-bag type")."""
    from thinstock import library
    from thinstock.case.overrides import machine_from, machine_or_grade
    from thinstock.errors import Refused
    from thinstock.studies.ladder import formers
    from thinstock.words import units

    if subject in library.grade_names():
        if changes:
            raise Refused(fault_in("cli.formers.set", "--set", changes[0]))
        asked: Machine | str = subject
    else:
        asked = machine_from(machine_or_grade(subject), changes)
    found = formers(
        asked,
        speeds=[read_value(s, "speed", "--speed") for s in speeds] or SHOWN,
        keys=keys or None,
        power_limit=None if power is None else read_value(power, phrase("cli.formers.power_per_width"), "--power"),
        supply=not alone,
        era=True,
    )
    if as_json:
        click.echo(json.dumps(found.record(), indent=1, allow_nan=False))
        return
    from thinstock.tell.formers import told
    from thinstock.tell.terminal import page
    from thinstock.words.figures import Edge

    edge = Edge(unit_set=unit_set, air=units.STANDARD_ATMOSPHERE)
    page(told(found, subject, edge, all_words=all_words)).show()
