"""`thinstock check MACHINE`: reads a machine and says what is unusual, assumed or not given, without running it."""

from __future__ import annotations

import json

import click

from thinstock.cli.options import machine_argument
from thinstock.words.phrase import phrase


@click.command("check", short_help=phrase("cli.check.say_what_wrong_or_unusual"))
@machine_argument
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.check.print_one_json_object"))
@click.option("--all", "everything", is_flag=True, help=phrase("cli.check.print_every_value_with_its"))
def command(machine: str, changes: tuple[str, ...], as_json: bool, everything: bool) -> None:
    """Read MACHINE; what cannot be is refused with all its faults, what is unusual or assumed is listed."""
    from thinstock.case.overrides import machine_from
    from thinstock.evidence.beliefs import belief
    from thinstock.evidence.uncertain import uncertain_inputs
    from thinstock.machine.provenance import known_values, usual_range
    from thinstock.words.quantity import show

    made = machine_from(machine, changes)
    known = [k for k in known_values(made) if k.value is not None or k.about.limit]
    odd = [(k.address, show(k.value, k.about), usual_range(k)) for k in known if k.unusual]
    if as_json:
        spreads = {one.address: one for one in uncertain_inputs(made)}
        record = {
            "title": made.title,
            "unusual": [{"address": a, "value": v, "usual": u} for a, v, u in odd],
            "not_given": [k.address for k in known if k.value is None],
            "values": [
                {"address": k.address, "value": show(k.value, k.about), "status": k.status, "source": k.source}
                for k in known
            ],
            "uncertainties": [
                {
                    "address": k.address,
                    "standard_uncertainty": spreads[k.address].standard_uncertainty,
                    "status": spreads[k.address].status,
                    "source": "" if (row := belief(k.about)) is None else row.source,
                }
                for k in known
                if k.address in spreads
            ],
        }
        click.echo(json.dumps(record, indent=1, allow_nan=False))
        return
    from thinstock.tell.check import told
    from thinstock.tell.terminal import page

    page(told(made.title, known, odd, everything=everything)).show()
