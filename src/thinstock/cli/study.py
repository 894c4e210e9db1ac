"""`thinstock study ...`: how sure the numbers are, which input matters, the best setting inside all limits."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from thinstock.cli.options import machine_argument, units_option

if TYPE_CHECKING:
    from thinstock.cli.text import Edge
    from thinstock.machine.line import Machine
    from thinstock.studies.best import Best
    from thinstock.studies.machine_uncertainty import Spread, Uncertainty
    from thinstock.studies.matters import Matters
    from thinstock.words.units import UnitSet


@click.group("study", short_help="How sure, what matters, the best setting.")
def command() -> None:
    """Studies of a machine over its uncertain inputs and over ranges of its settings."""


_SEED = click.option("--seed", default=1, show_default=True, help="Number that begins the draws.")
_JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object in base SI.")
_RESULT = click.option(
    "--result", "results", multiple=True, metavar="NAME", help="A result; may be given several times."
)
_LINK = click.option(
    "--correlate",
    "links",
    multiple=True,
    metavar="A,B=R",
    help='Two inputs go together: "stock.freeness,grade.crepe=0.5".',
)


@command.command("uncertainty")
@machine_argument
@click.argument("other", metavar="[OTHER]", required=False)
@click.option("--draws", type=int, help="So many draws; without it as many as the digits need.")
@click.option("--digits", type=click.IntRange(1, 2), default=1, show_default=True, help="Digits that must stand firm.")
@_SEED
@_RESULT
@_LINK
@_JSON
@units_option
def uncertainty(
    machine: str,
    other: str | None,
    changes: tuple[str, ...],
    draws: int | None,
    digits: int,
    seed: int,
    results: tuple[str, ...],
    links: tuple[str, ...],
    as_json: bool,
    unit_set: UnitSet,
) -> None:
    """How sure the numbers of MACHINE are, or the differences OTHER − MACHINE, by Monte Carlo and by slopes."""
    from thinstock.cli.overrides import machine_from
    from thinstock.studies.machine_uncertainty import monte_carlo

    first = machine_from(machine, changes)
    second = None if other is None else machine_from(other, changes)
    with progress("draws") as tell:
        found = monte_carlo(
            first, second, names=results or None, draws=draws, digits=digits, seed=seed,
            correlation=correlations(first, links, joined=second is not None), tell=tell,
        )  # fmt: skip
    if as_json:
        from thinstock.tell.record import dumped

        click.echo(dumped(found, machine=first.title, other=None if second is None else second.title))
        return
    show_uncertainty(first, second, found, _edge(first, unit_set))


@command.command("matters")
@machine_argument
@click.option("--base", type=int, default=512, show_default=True, help="Points per input (a power of two).")
@_SEED
@_RESULT
@_LINK
@_JSON
@units_option
def what_matters(
    machine: str,
    changes: tuple[str, ...],
    base: int,
    seed: int,
    results: tuple[str, ...],
    links: tuple[str, ...],
    as_json: bool,
    unit_set: UnitSet,
) -> None:
    """What to measure better first: the inputs that make the uncertainty of each result."""
    from thinstock.cli.overrides import machine_from
    from thinstock.studies.matters import matters

    made = machine_from(machine, changes)
    found = matters(made, results or None, base=base, seed=seed, correlation=correlations(made, links))
    if as_json:
        from thinstock.tell.record import dumped

        click.echo(dumped(found, machine=made.title))
        return
    show_matters(made, found, _edge(made, unit_set))


@command.command("best")
@machine_argument
@click.option("--vary", "varies", multiple=True, required=True, metavar="ADDRESS=LOW..HIGH", help="A range to search.")
@click.option("--minimise", "least", metavar="RESULT", help="The result wanted low.")
@click.option("--maximise", "most", metavar="RESULT", help="The result wanted high.")
@click.option("--keep", "kept", multiple=True, metavar="'RESULT <= VALUE'", help="What must hold as well.")
@click.option("--points", type=int, default=4096, show_default=True, help="Points of the first round.")
@_SEED
@_JSON
@units_option
def best_setting(
    machine: str,
    changes: tuple[str, ...],
    varies: tuple[str, ...],
    least: str | None,
    most: str | None,
    kept: tuple[str, ...],
    points: int,
    seed: int,
    as_json: bool,
    unit_set: UnitSet,
) -> None:
    """The setting inside the ranges, and inside every limit entered, with the least or the most of a result."""
    from thinstock.cli.overrides import machine_from
    from thinstock.studies.best import best, constraint
    from thinstock.studies.machine_axes import varied

    if (least is None) == (most is None):
        raise click.UsageError("Give either --minimise or --maximise.")
    made = machine_from(machine, changes)
    found = best(
        made, varied(made, varies), least or most or "", most=most is not None,
        keep=[constraint(made, text) for text in kept], points=points, seed=seed,
    )  # fmt: skip
    if as_json:
        from thinstock.tell.record import dumped

        click.echo(dumped(found, leave=("machine",)))
        return
    show_best(made, found, _edge(made, unit_set))


# -- what the options mean ---------------------------------------------------------------------------------------------


def correlations(
    machine: Machine, texts: Sequence[str], *, joined: bool = False
) -> dict[tuple[str, str], float] | None:
    """Correlations as one writes them; of two machines, names may begin with `before:` or `after:`."""
    from thinstock.errors import Fault, Refused
    from thinstock.words import address

    found = {}
    for text in texts:
        pair, sign, number = text.rpartition("=")
        names = [name.strip() for name in pair.split(",")]
        try:
            r = float(number)
        except ValueError:
            sign = ""
        if not sign or len(names) != 2:
            raise Refused(
                Fault(field="--correlate", value=repr(text), bound="must be A,B=R with R from -1 to 1",
                      remedy='For example "stock.freeness,headbox.consistency=0.4".')
            )  # fmt: skip
        if not joined:
            names = [address.resolve(machine, name) for name in names]
        found[(names[0], names[1])] = r
    return found or None


def _edge(machine: Machine, unit_set: UnitSet) -> Edge:
    from thinstock.cli.text import Edge

    return Edge(unit_set=unit_set, air=float(machine.site.atmospheric_pressure()))


@contextmanager
def progress(what: str) -> Iterator[Callable[[float, str], None] | None]:
    """A bar with the time left on the error stream, where that is a terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn(elapsed_when_finished=True))
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=1.0)
        yield lambda share, said: bar.update(task, completed=share, description=said)


# -- screens -----------------------------------------------------------------------------------------------------------


def show_uncertainty(first: Machine, second: Machine | None, found: Uncertainty, edge: Edge) -> None:
    """Print values with their intervals."""
    from thinstock.cli.text import Page, page_width, table, wrapped

    width, page = page_width(), Page()
    if second is None:
        page.add(first.title)
    else:
        page.add(f"B − A   A: {first.title}", f"        B: {second.title}")
        page.add(f"{found.common} of {len(found.inputs)} uncertain inputs are common to both and cancel.")
    page.add("")
    head = f"{100 * found.share:.0f} % of draws"
    page.heading(head)
    rows = [_spread_row(row, edge, difference=second is not None) for row in found.rows]
    page.add(*table([["", "", "value", "u", head, "u by slopes"]], rows, texts=(0, 1), ends=(2, 3, 4, 5)), "")
    settled = "the digits stand firm" if found.settled else "not all digits stand firm"
    page.add(f"{found.draws} draws of {len(found.inputs)} inputs; {settled}; seed {found.seed}.")
    for note in found.notes:
        page.add(*wrapped(f"{note}.", width=width, first="*  ", then="   "))
    page.show()


def _spread_row(row: Spread, edge: Edge, *, difference: bool) -> list[str]:
    """One result in its unit; a difference in the unit of its value, from zero."""
    from thinstock.cli.text import figure
    from thinstock.machine.numbers import number as told_of
    from thinstock.studies.outputs import label

    word = told_of(row.name).word

    def number(value: float) -> float:
        if not difference:
            return edge.number(word, value)
        return edge.number(word, value + 1.0) - edge.number(word, 1.0) if value else 0.0

    spread = abs(edge.number(word, row.mean + row.standard_uncertainty) - edge.number(word, row.mean))
    slopes = abs(edge.number(word, row.mean + row.first_order) - edge.number(word, row.mean))
    if row.draws == 0 or row.mean != row.mean:
        return [f"  {label(row.name)}", edge.unit(word), figure(number(row.value), 4), "–", "too few draws", "–"]
    ends = f"{figure(number(row.shortest[0]), 3)} to {figure(number(row.shortest[1]), 3)}"
    return [f"  {label(row.name)}", edge.unit(word), figure(number(row.value), 4), figure(spread, 2), ends,
            figure(slopes, 2)]  # fmt: skip


def show_matters(machine: Machine, found: Matters, edge: Edge) -> None:
    """Print what to measure better, then the shares."""
    from thinstock.cli.text import Page, bar, figure, page_width, table, wrapped
    from thinstock.machine.numbers import number as told_of
    from thinstock.studies.outputs import label

    width, page = page_width(), Page()
    page.add(machine.title, "")
    for row in found.rows:
        word = told_of(row.name).word
        page.heading(label(row.name))
        page.add(f"{label(row.name)}: {edge.text(word, row.value, 3, row.standard_deviation)}")
        page.add(*wrapped(f"{row.advice}.", width=width, first="  ", then="  "))
        rows = []
        for m in row.movers[:5]:
            if m.first == m.first and m.total < 0.01:
                continue
            ends = f"{figure(edge.number(word, m.low), 3)} to {figure(edge.number(word, m.high), 3)}"
            share = f"{100 * m.first:.0f}" if m.first == m.first else "–"
            total = f"{100 * m.total:.0f}" if m.total == m.total else "–"
            rows.append([f"    {m.input.address}", bar(m.first, 10), share, total, ends, m.input.status])
        if rows:
            heads = [
                ["    input", "", "own %", "with others %", f"from its 5 to 95 % point, {edge.unit(word)}", "from"]
            ]
            page.add(*table(heads, rows, texts=(0, 1, 5), ends=(2, 3, 4)))
        page.add("")
    page.add(f"{found.evaluations} runs over {found.inputs} inputs; seed {found.seed}.")
    for note in found.notes:
        page.add(*wrapped(f"{note}.", width=width, first="*  ", then="   "))
    page.show()


def show_best(machine: Machine, found: Best, edge: Edge) -> None:
    """Print the setting, what it gives, what it leans on and what it is blind to."""
    from thinstock.cli.text import Page, page_width, table, wrapped
    from thinstock.machine.numbers import number as told_of
    from thinstock.studies.outputs import label
    from thinstock.words.quantity import Q, show

    width, page = page_width(), Page()
    page.add(machine.title, "")
    rows: list[Any] = []
    for where, value in found.setting.items():
        about = machine.declaration(where).about
        assert isinstance(about, Q)
        there = "does not matter" if where in found.idle else show(value, about)
        rows.append([f"  {where}", show(float(machine.get(where)), about), there])
    page.add(
        *table([["setting", "now", f"for the {found.sought} {label(found.result)}"]], rows, texts=(0,), ends=(1, 2)), ""
    )
    rows = []
    for name, (before, after) in {found.result: (found.before, found.value), **found.others}.items():
        word = told_of(name).word
        rows.append([f"  {label(name)}", edge.text(word, before, 3), edge.text(word, after, 3)])
    page.add(*table([["gives", "now", "there"]], rows, texts=(0,), ends=(1, 2)), "")
    for head, texts in (
        ("Leans on", found.leans_on),
        ("Held back of the first points", [f"{what}: {count}" for what, count in found.held_back.items()]),
        ("Blind spots and what is assumed", found.blind_spots),
    ):
        if texts:
            page.heading(head)
            page.add(head)
            for text in texts:
                page.add(*wrapped(text, width=width, first="*  ", then="   "))
            page.add("")
    page.add(f"{found.cases} cases run; {found.feasible} of the first round inside all limits.")
    page.add("A limit nobody entered is not known, not unlimited.")
    page.show()
