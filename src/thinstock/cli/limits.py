"""`thinstock limits MACHINE`: the speed limit of every part, what it does now and may do."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import machine_argument, units_option

if TYPE_CHECKING:
    from thinstock.cli.text import Edge
    from thinstock.machine.limits import Limit, Limits
    from thinstock.words.units import UnitSet


@click.command("limits", short_help="Speed limits of every part.")
@machine_argument
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object in base SI.")
@units_option
def command(machine: str, changes: tuple[str, ...], as_json: bool, unit_set: UnitSet) -> None:
    """Find the highest speed each part of MACHINE can take."""
    from thinstock.cli.overrides import machine_from
    from thinstock.machine.limits import limits

    made = machine_from(machine, changes)
    found = limits(made)
    if as_json:
        from thinstock.tell.export import limits_record

        click.echo(json.dumps(limits_record(found), indent=1, allow_nan=False))
        return
    from thinstock.cli.text import Edge

    edge = Edge(unit_set=unit_set, air=float(made.site.atmospheric_pressure()))
    show(made.title, found, edge)


def show(title: str, found: Limits, edge: Edge) -> None:
    """Print the table."""
    from thinstock.cli.screen import first_out
    from thinstock.cli.text import Page, page_width, wrapped

    width = page_width()
    page = Page()
    page.heading(title, "Gives out first")
    page.add(title, *wrapped(f"{found.head[0].upper()}{found.head[1:]}.", width=width), "")
    page.add(f"Gives out first: {first_out(found, edge)}.", "")
    page.add(*_bounded(found, edge))
    other = _unbounded(found, edge)
    if other:
        page.add("", "No limit below 3000 m/min, or not known", *other)
    page.add("", "What is asked of each part")
    for row in found.rows:
        said = "; ".join(text for text in (row.duty, _own_note(row)) if text)
        page.add(*wrapped(f"{row.part}: {said}.", width=width, first="  ", then="    "))
    page.heading("No limit below 3000 m/min, or not known", "What is asked of each part")
    page.show()


def _own_note(row: Limit) -> str:
    """The note without what the table says already."""
    if row.remark in ("no_limit", "no_limit_but"):
        return row.reason
    return "" if row.remark == "lowest" else row.note


def _bounded(found: Limits, edge: Edge) -> list[str]:
    """Parts with a speed limit, the lowest first; lowest speeds below."""
    from thinstock.cli.screen import speed_and_margin
    from thinstock.cli.text import bar, table

    heads = [["", "speed", "margin", "", "", ""], ["", edge.unit("speed"), "%", "used", "now / limit", "known from"]]
    rows = []
    for row in _ordered(found):
        if row.speed is None:
            continue
        speed, margin = speed_and_margin(row, edge)
        lowest = row.scope == "lowest"
        if row.speed > 0:
            used = row.speed / found.speed if lowest else found.speed / row.speed
        else:
            used = 1.0
        part = f"{'→ ' if row.binding else '  '}{row.part}{' (at least)' if lowest else ''}"
        rows.append([part, speed, margin, bar(used, 8), _now_and_limit(row, edge), row.status])
    return table(heads, rows, texts=(0, 3, 5), ends=(4,)) if rows else []


def _unbounded(found: Limits, edge: Edge) -> list[str]:
    """Parts without one: what they do now and may do."""
    from thinstock.cli.text import table

    rows = [[f"  {row.part}", _now_and_limit(row, edge), row.status] for row in found.rows if row.speed is None]
    heads = [["", "now / limit", "known from"]]
    return table(heads, rows, texts=(0, 2), ends=(1,)) if rows else []


def _ordered(found: Limits) -> list[Limit]:
    order = {"highest": 0, "window": 0, "lowest": 1, "none": 2, "not known": 3}
    return sorted(found.rows, key=lambda r: (order[r.scope], r.speed if r.speed is not None else math.inf))


def _now_and_limit(row: Limit, edge: Edge) -> str:
    if not row.word:
        return ""
    now = edge.figure(row.word, row.value, 3) if row.value is not None else "no sheet"
    bound = edge.figure(row.word, row.bound, 3) if row.bound is not None else "not known"
    if row.value is None and row.bound is None:
        return bound
    return f"{now} / {bound} {edge.unit(row.word)}".strip()
