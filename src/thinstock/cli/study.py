"""`thinstock study ...`: how sure the numbers are, which input matters, the best setting inside all limits."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import machine_argument, population_option, units_option
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.studies.wet_end_costs import WetEndCosts
    from thinstock.tell.blocks import Block
    from thinstock.words.figures import Edge
    from thinstock.words.units import UnitSet


@click.group("study", short_help=phrase("cli.study.how_sure_what_matters_best"))
def command() -> None:
    """Studies of a machine over its uncertain inputs and over ranges of its settings."""


_SEED = click.option("--seed", default=1, show_default=True, help=phrase("cli.study.number_that_begins_draws"))
_JSON = click.option("--json", "as_json", is_flag=True, help=phrase("cli.study.print_one_json_object_in"))
_RESULT = click.option(
    "--result", "results", multiple=True, metavar="NAME", help=phrase("cli.study.result_may_be_given_several")
)
_LINK = click.option(
    "--correlate",
    "links",
    multiple=True,
    metavar="A,B=R",
    help=phrase("cli.study.two_inputs_go_together_stock"),
)


@command.command("uncertainty")
@machine_argument
@click.argument("other", metavar="[OTHER]", required=False)
@click.option("--draws", type=int, help=phrase("cli.study.so_many_draws_without_it"))
@click.option(
    "--digits",
    type=click.IntRange(1, 2),
    default=1,
    show_default=True,
    help=phrase("cli.study.digits_that_must_stand_firm"),
)
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
    from thinstock.case.overrides import machine_from
    from thinstock.studies.machine_uncertainty import Sampling, monte_carlo

    first = machine_from(machine, changes)
    second = None if other is None else machine_from(other, changes)
    with progress("draws") as tell:
        found = monte_carlo(
            first, second, names=results or None, sampling=Sampling(draws=draws, digits=digits, seed=seed),
            correlation=correlations(first, links, joined=second is not None), tell=tell,
        )  # fmt: skip
    if as_json:
        from thinstock.tell.record import dumped

        click.echo(dumped(found, machine=first.title, other=None if second is None else second.title))
        return
    from thinstock.tell.study import edge_of, sure
    from thinstock.tell.terminal import page

    page(sure(first, second, found, edge_of(first, unit_set))).show()


@command.command("matters")
@machine_argument
@click.option("--base", type=int, default=512, show_default=True, help=phrase("cli.study.points_per_input_power_two"))
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
    from thinstock.case.overrides import machine_from
    from thinstock.studies.matters import matters

    made = machine_from(machine, changes)
    found = matters(made, results or None, base=base, seed=seed, correlation=correlations(made, links))
    if as_json:
        from thinstock.tell.record import dumped

        click.echo(dumped(found, machine=made.title))
        return
    from thinstock.tell.study import edge_of
    from thinstock.tell.study import matters as told
    from thinstock.tell.terminal import page

    page(told(made, found, edge_of(made, unit_set))).show()


@command.command("vacuum")
@machine_argument
@_JSON
@units_option
def vacuum(machine: str, changes: tuple[str, ...], as_json: bool, unit_set: UnitSet) -> None:
    """What can be switched off: each slot, box and suction roll, what it takes and what its loss does at the reel."""
    from thinstock.case.overrides import machine_from
    from thinstock.studies.wet_end_costs import switched_off
    from thinstock.tell.wet_end_costs import told

    _show_costs(switched_off(machine_from(machine, changes)), told, as_json, unit_set)


@command.command("freeness")
@machine_argument
@click.option("--drop", default=50.0, show_default=True, help=phrase("cli.study.freeness_lower_by"))
@_JSON
@units_option
def freeness(machine: str, changes: tuple[str, ...], drop: float, as_json: bool, unit_set: UnitSet) -> None:
    """What a lower freeness costs behind the refiner, station by station, by fines alone and by swelling."""
    from thinstock.case.overrides import machine_from
    from thinstock.studies.refining_cost import refining_cost
    from thinstock.studies.wet_end_costs import freeness_cost
    from thinstock.tell.record import plain
    from thinstock.tell.refining_cost import told as refined_told
    from thinstock.tell.wet_end_costs import card

    lower = drop * 1e-6
    made = machine_from(machine, changes)
    found, refined = freeness_cost(made, lower), refining_cost(made, lower)
    _show_costs(
        found, lambda costs, edge: (*refined_told(refined, edge), *card(costs, edge, lower)), as_json, unit_set,
        refining=[plain(case) for case in refined.cases],
    )  # fmt: skip


@command.command("dryness")
@machine_argument
@_JSON
@units_option
def dryness(machine: str, changes: tuple[str, ...], as_json: bool, unit_set: UnitSet) -> None:
    """What a point of dryness into the dryer saves there: heat, fuel and money, with the heat per point."""
    from thinstock.case.overrides import machine_from
    from thinstock.studies.point_worth import point_worth
    from thinstock.tell.point_worth import told
    from thinstock.tell.study import edge_of
    from thinstock.tell.terminal import page

    found = point_worth(machine_from(machine, changes))
    if as_json:
        from thinstock.tell.record import dumped

        click.echo(dumped(found, ("machine",), title=found.machine.title))
        return
    page(told(found, edge_of(found.machine, unit_set))).show()


@command.command("evenness")
@machine_argument
@_JSON
@units_option
def evenness(machine: str, changes: tuple[str, ...], as_json: bool, unit_set: UnitSet) -> None:
    """What a better headbox or half the consistency saves at the dryer, by what is assumed of headbox and wire."""
    from thinstock.case.overrides import machine_from
    from thinstock.studies.formation_worth import formation_worth
    from thinstock.tell.study import edge_of
    from thinstock.tell.terminal import page
    from thinstock.tell.wet_end_costs import asked

    made = machine_from(machine, changes)
    if as_json:
        worth = [one.record() for one in formation_worth(made)]
        click.echo(json.dumps({"format": 1, "name": made.title, "worth": worth}, indent=1, allow_nan=False))
        return
    page(asked("evenness", made, edge_of(made, unit_set))).show()


def _show_costs(
    found: WetEndCosts, told: Callable[[WetEndCosts, Edge], Iterable[Block]], as_json: bool, unit_set: UnitSet,
    **more: object,
) -> None:  # fmt: skip
    if as_json:
        from thinstock.tell.record import dumped

        click.echo(dumped(found, ("machine",), title=found.machine.title, **more))
        return
    from thinstock.tell.study import edge_of
    from thinstock.tell.terminal import page

    page(told(found, edge_of(found.machine, unit_set))).show()


@command.command("best")
@machine_argument
@click.option(
    "--vary",
    "varies",
    multiple=True,
    required=True,
    metavar="ADDRESS=LOW..HIGH",
    help=phrase("cli.study.range_to_search"),
)
@click.option("--minimise", "least", metavar="RESULT", help=phrase("cli.study.result_wanted_low"))
@click.option("--maximise", "most", metavar="RESULT", help=phrase("cli.study.result_wanted_high"))
@click.option(
    "--keep", "kept", multiple=True, metavar="'RESULT <= VALUE'", help=phrase("cli.study.what_must_hold_as_well")
)
@click.option("--points", type=int, default=4096, show_default=True, help=phrase("cli.study.points_first_round"))
@_SEED
@population_option
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
    which: str | None,
    draws: int,
    as_json: bool,
    unit_set: UnitSet,
) -> None:
    """The setting inside the ranges, and inside every limit entered, with the least or the most of a result.

    With a population every draw of the machine has its own best setting; told are their median and central 90 %, and
    in how many draws the one setting that was found stays inside all limits.
    """
    from thinstock.case.overrides import machine_from
    from thinstock.evidence.chosen import wished
    from thinstock.studies.best import best, constraint
    from thinstock.studies.best_draws import best_drawn
    from thinstock.studies.machine_axes import varied

    if (least is None) == (most is None):
        raise click.UsageError(phrase("cli.study.give_either_minimise_or_maximise"))
    made = machine_from(machine, changes)
    ranges, keep = varied(made, varies), [constraint(made, text) for text in kept]
    found = best(made, ranges, least or most or "", most=most is not None, keep=keep, points=points, seed=seed)
    drawn = wished(made, which, draws=draws, seed=seed)
    over = None if drawn is None else best_drawn(made, ranges, found, drawn, keep=keep)
    if as_json:
        from thinstock.tell.record import dumped, plain

        click.echo(dumped(found, leave=("machine",), **({} if over is None else {"drawn": plain(over)})))
        return
    from thinstock.tell.study import best as told
    from thinstock.tell.study import edge_of
    from thinstock.tell.terminal import page

    page(told(made, found, edge_of(made, unit_set), over)).show()


# -- what the options mean ---------------------------------------------------------------------------------------------


def correlations(
    machine: Machine, texts: Sequence[str], *, joined: bool = False
) -> dict[tuple[str, str], float] | None:
    """Correlations as one writes them; of two machines, names may begin with `before:` or `after:`."""
    from thinstock.errors import Refused
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
                fault_in("cli.study.correlate", "--correlate", repr(text))
            )  # fmt: skip
        if not joined:
            names = [address.resolve(machine, name) for name in names]
        found[(names[0], names[1])] = r
    return found or None


@contextmanager
def progress(what: str) -> Iterator[Callable[[float, str], None] | None]:
    """A bar with the time left on the error stream, where that is a terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    from thinstock.tell.terminal import console

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn(elapsed_when_finished=True))
    with Progress(*columns, console=console(sys.stderr), transient=True) as bar:
        task = bar.add_task(what, total=1.0)
        yield lambda share, said: bar.update(task, completed=share, description=said)
