"""`thinstock compare A B [C D]`: machines side by side at equal reel dryness, and the change card from the first."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

import click

from thinstock.cli.options import units_option

if TYPE_CHECKING:
    from thinstock.cli.text import Edge
    from thinstock.machine.line import Machine
    from thinstock.studies.compare import Comparison, Difference
    from thinstock.words.units import UnitSet

LETTERS = "ABCD"


@click.command("compare", short_help="Machines side by side.")
@click.argument("machines", nargs=-1, required=True, metavar="A B [C D]")
@click.option("--card/--no-card", default=None, help="Print the change card from A (printed for two machines).")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object in base SI.")
@units_option
def command(machines: tuple[str, ...], card: bool | None, as_json: bool, unit_set: UnitSet) -> None:
    """Set machines side by side: bundled ones (see `thinstock machines`) or machine files."""
    from thinstock.case import load
    from thinstock.studies.compare import compare

    found = compare(*(load(name) for name in machines))
    if as_json:
        click.echo(json.dumps(found.record(), indent=1, allow_nan=False))
        return
    from thinstock.cli.text import Edge

    edge = Edge(unit_set=unit_set, air=float(found.machines[0].site.atmospheric_pressure()))
    show(found, edge, card=len(machines) == 2 if card is None else card)


def show(found: Comparison, edge: Edge, *, card: bool) -> None:
    """Print the comparison."""
    from thinstock.cli.text import Page, beside, page_width, wrapped

    width, page = page_width(), Page()
    for letter, machine, lim in zip(LETTERS, found.machines, found.limits, strict=False):
        first = lim.binding
        gives = "nothing known gives out below 3000 m/min" if first is None else f"gives out first: {first.part}"
        if first is not None and first.speed is not None:
            gives += f" at {edge.text('speed', first.speed, 4)}"
        page.add(*wrapped(f"{letter}  {machine.title}; {gives}; reel held by {_holder(machine)}",
                          width=width, then="   "))  # fmt: skip
    for note in found.notes:
        page.add(*wrapped(note, width=width, first="*  "))
    page.heading("Headline", "The sheet: dryness", "Highest speed of the parts", "Energy, of the parts computed",
                 "Where a change of press comes from")  # fmt: skip
    page.add("", *_headline(found, edge), "")
    page.add(*beside(_sheet(found, edge), [*_parts(found, edge), "", *_energy(found, edge)], width=width))
    for i, split in enumerate(found.splits, start=1):
        if split:
            page.add("", *_split(found, i, edge, width))
    if card:
        for i in range(1, len(found.machines)):
            page.add("")
            for line in found.card(i).lines():
                page.add(*wrapped(line, width=width, then="   "))
    page.show()


def _holder(machine: Machine) -> str:
    return "its dryer, by definition" if machine.yankee is None else machine.hold_reel_dryness_by


def _difference(word: str, first: float, one: Difference | None, edge: Edge, digits: int) -> str:
    """A difference with its uncertainty, in the unit of its value."""
    from thinstock.cli.text import NONE, plus_minus

    if one is None:
        return NONE
    step = edge.number(word, first + one.value) - edge.number(word, first)
    if step == 0 and one.standard_uncertainty == 0:
        return "0"
    spread = abs(edge.number(word, first + one.standard_uncertainty) - edge.number(word, first))
    text = plus_minus(step, spread, digits)
    return text if text.startswith("−") else f"+{text}"


def _headline(found: Comparison, edge: Edge) -> list[str]:
    """The numbers of the first lines of a run, with differences; those of three or four machines in a table below."""
    from thinstock.cli.text import NONE, table
    from thinstock.machine.numbers import told_in

    count = len(found.machines)
    values, differences, labels = [], [], []
    rows_by_name = {row.name: row for row in found.numbers}
    for about in told_in("compare", rows_by_name):
        row, word, digits = rows_by_name[about.name], about.word, about.digits
        first = row.values[0]
        labels.append([f"  {about.short}", edge.unit(word)])
        values.append([_figure(word, value, edge, digits) for value in row.values])
        differences.append(
            [NONE if first is None else _difference(word, first, row.differences[i], edge, 2) for i in range(1, count)]
        )
    from_a = [f"{letter} − A" for letter in LETTERS[1:count]]
    if count == 2:
        rows = [[*label, *cells, *less] for label, cells, less in zip(labels, values, differences, strict=True)]
        return table([["Headline", "", "A", "B", *from_a]], rows, texts=(0, 1))
    return [
        *table(
            [["Headline", "", *LETTERS[:count]]],
            [[*label, *cells] for label, cells in zip(labels, values, strict=True)],
            texts=(0, 1),
        ),
        "",
        *table(
            [["Differences", "", *from_a]],
            [[*label, *less] for label, less in zip(labels, differences, strict=True)],
            texts=(0, 1),
        ),
    ]


def _figure(word: str, value: float | None, edge: Edge, digits: int) -> str:
    from thinstock.cli.text import NONE

    return NONE if value is None else edge.figure(word, value, digits)


def _sheet(found: Comparison, edge: Edge) -> list[str]:
    """Dryness and water per fibre at the places every machine has; what each stage takes and at what price."""
    from thinstock.cli.text import table

    rows = [
        [f"  {place}", edge.unit("dryness"), *[_figure("dryness", v, edge, 3) for v in dryness]]
        for place, dryness, _ in found.stations
    ]
    heads = ["The sheet: dryness", "", *LETTERS[: len(found.machines)]]
    lines = table([heads], rows, texts=(0, 1))
    taken = [
        [f"  {stage} takes", edge.unit("water_per_fibre"), *[_figure("water_per_fibre", v, edge, 3) for v in water]]
        for stage, water, _ in found.water
    ]
    price = [
        [f"  {stage}, energy", edge.unit("heat_per_water"), *[_figure("heat_per_water", v, edge, 2) for v in energy]]
        for stage, _, energy in found.water
    ]
    return [*lines, *table([["Water", "", *LETTERS[: len(found.machines)]]], [*taken, *price], texts=(0, 1))]


def _parts(found: Comparison, edge: Edge) -> list[str]:
    """Highest speed of every part that has one."""
    from thinstock.cli.text import NONE, table

    rows = []
    for part, speeds in found.parts:
        cells = []
        for speed, lim in zip(speeds, found.limits, strict=True):
            first = lim.binding
            mark = " ←" if first is not None and first.part == part else ""
            cells.append(NONE if speed is None else f"{edge.figure('speed', speed, 4)}{mark}")
        rows.append([f"  {part}", edge.unit("speed"), *cells])
    heads = ["Highest speed of the parts", "", *LETTERS[: len(found.machines)]]
    return table([heads], rows, texts=(0, 1, *range(2, 2 + len(found.machines))))


def _energy(found: Comparison, edge: Edge) -> list[str]:
    """Every consumer per product."""
    from thinstock.cli.text import table

    rows = [
        [f"  {name}", edge.unit("specific_energy"), *[_figure("specific_energy", v, edge, 3) for v in values]]
        for name, _, values in found.consumers
    ]
    return table([["Energy, of the parts computed", "", *LETTERS[: len(found.machines)]]], rows, texts=(0, 1))


_SPLIT_WORDS = {
    "dryness_press": ("dryness after the press, points", ""),
    "evaporation": ("water to evaporate", "evaporation"),
    "steam_per_product": ("steam per product", "specific_energy"),
    "gas_per_product": ("gas per product", "specific_energy"),
    "drying_speed": ("speed at which drying gives out", "speed"),
}


def _split(found: Comparison, index: int, edge: Edge, width: int) -> list[str]:
    """From load, from the assumed rewet, from the rest."""
    from thinstock.cli.text import figure, table, wrapped

    def shown(word: str, value: float) -> str:
        number: Any = 100 * value if not word else edge.number(word, value)
        if not math.isfinite(number) or abs(number) < 1e-9:
            return "0"
        return figure(number, 2)

    rows = []
    for one in found.splits[index - 1]:
        label, word = _SPLIT_WORDS[one.name]
        values = (one.total, one.load, one.rewet, one.rest)
        rows.append([f"  {label}", edge.unit(word) if word else "", *[shown(word, v) for v in values]])
    letter = LETTERS[index]
    heads = [["Where a change of press comes from", "", f"{letter} − A", "from load", "from assumed rewet", "the rest"]]
    lines = table(heads, rows, texts=(0, 1))
    text = (
        f"From load: A with the press of {letter} but its own rewet. From rewet: the same with the rewet of {letter}, "
        "which is assumed until trials told."
    )
    return [*lines, *wrapped(text, width=width, first="  ")]
