"""`thinstock history FILE...`: what a historian's signals hold, where they stand steady, and rounds made from that."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.studies.worth_of_change import WorthOfChange
    from thinstock.survey.historian import Series
    from thinstock.survey.signals import Tags
    from thinstock.survey.windows import Windows

FILE = click.Path(dir_okay=False, path_type=Path)


@click.command("history", short_help=phrase("cli.cli.signals_over_time_steady_windows"))
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=FILE)
@click.option("--zone", metavar="ZONE", help=phrase("cli.history.zone"))
@click.option("--good", metavar="WORD", multiple=True, help=phrase("cli.history.good"))
@click.option("--tags", metavar="FILE", type=FILE, help=phrase("cli.history.tags"))
@click.option("--machine", metavar="MACHINE", help=phrase("cli.history.machine"))
@click.option("--from", "begin", metavar="TIME", help=phrase("cli.history.begin"))
@click.option("--to", "end", metavar="TIME", help=phrase("cli.history.end"))
@click.option("--find", "length", metavar="LENGTH", help=phrase("cli.history.find"))
@click.option("--before", nargs=2, metavar="FROM TO", help=phrase("cli.history.before"))
@click.option("--after", nargs=2, metavar="FROM TO", help=phrase("cli.history.after"))
@click.option(
    "--out", "folder", metavar="DIR", type=click.Path(file_okay=False, path_type=Path), help=phrase("cli.history.out")
)
@click.option(
    "--most", metavar="N", type=click.IntRange(min=1), default=12, show_default=True, help=phrase("cli.history.most")
)
@click.option("--prices", metavar="FILE", help=phrase("cli.history.prices"))
@click.option("--without", multiple=True, metavar="READING", help=phrase("cli.drift.without"))
@click.option("--despite-failed-test", is_flag=True, help=phrase("cli.calibrate.fit_readings_that_do_not"))
@click.option("--svg", metavar="FILE", type=FILE, help=phrase("cli.history.svg"))
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.history.json"))
def command(
    files: tuple[Path, ...],
    zone: str | None,
    good: tuple[str, ...],
    tags: Path | None,
    machine: str | None,
    begin: str | None,
    end: str | None,
    length: str | None,
    before: tuple[str, str] | None,
    after: tuple[str, str] | None,
    folder: Path | None,
    most: int,
    prices: str | None,
    without: tuple[str, ...],
    despite_failed_test: bool,
    svg: Path | None,
    as_json: bool,
) -> None:
    """Read the signals of a mill's historian from FILE (CSV or Parquet, long or wide) and find where they stand steady.

    With --tags, a file that says which signal is which reading, and --out, every steady window becomes a round that
    `thinstock survey` and `thinstock calibrate` read. With --before and --after, two windows are compared;
    with --tags, --machine and --prices also as money, by draws of the machine that both windows leave.
    """
    from thinstock.cli.history_out import write_rounds
    from thinstock.errors import Refused
    from thinstock.survey.looked import Asked, look, signals, tags_of

    if folder is not None and tags is None:
        raise Refused(fault_in("cli.history.rounds_need_tags", "--out", str(folder)))
    if (before is None) != (after is None):
        raise Refused(fault_in("cli.history.both", "--before, --after"))
    made = _machine(machine)
    asked = Asked(zone=zone, good=good, begin=begin or "", end=end or "", length=length or "", most=most)
    if before is not None and after is not None:
        known = None if tags is None else tags_of(tags, made)
        series, zone = signals(files, known, asked)
        spans = (_span(before, zone, "--before"), _span(after, zone, "--after"))
        worth = None
        if prices is not None:
            if made is None or known is None:
                raise Refused(fault_in("cli.history.prices_need", "--prices", prices))
            worth = _worth((made, known, series), spans, prices, zone, (without, despite_failed_test))
        _compare(series, spans, zone, worth, as_json)
        return
    found = look(files, tags, asked, machine=made, rounds=folder is not None)
    rounds: list[Path] = []
    if folder is not None:
        rounds = write_rounds(found.rounds, folder, machine)
    if svg is not None:
        from thinstock.cli.options import write_out
        from thinstock.drawing.history_charts import signals_svg

        write_out(signals_svg(found.series, found.windows), svg)
    _show(found.windows, found.told, rounds, as_json)


def _machine(name: str | None) -> Machine | None:
    if name is None:
        return None
    from thinstock.case.overrides import machine_from

    return machine_from(name, ())


def _show(found: Windows, told: Callable[[float], str], rounds: Sequence[Path], as_json: bool) -> None:
    if as_json:
        from thinstock.tell.history import windows_record

        click.echo(json.dumps(windows_record(found, list(map(str, rounds))), indent=1, allow_nan=False))
        return
    from thinstock.tell.history import windows_told
    from thinstock.tell.terminal import page

    page(windows_told(found, told, list(map(str, rounds)))).show()


Span = tuple[float, float]


def _span(pair: tuple[str, str], zone: str | None, name: str) -> Span:
    from thinstock.survey import clock

    return clock.seconds(pair[0], zone, name), clock.seconds(pair[1], zone, name)


def _worth(
    known: tuple[Machine, Tags, Mapping[str, Series]], spans: tuple[Span, Span], prices: str, zone: str | None,
    how: tuple[tuple[str, ...], bool],
) -> tuple[Machine, WorthOfChange]:  # fmt: skip
    """What changed between two windows as results and as money."""
    from functools import partial

    from thinstock.cli.study import progress
    from thinstock.studies.prices import load_prices
    from thinstock.studies.worth_of_change import rounds_of_windows, worth_of_change
    from thinstock.survey import clock
    from thinstock.survey.windows import one_window

    machine, tags, series = known
    windows = [one_window(series, *span) for span in spans]
    one, two = rounds_of_windows(machine, tags, series, windows, partial(clock.written, zone=zone))
    with progress(phrase("cli.calibrate.draws_made")) as tell:
        return machine, worth_of_change(
            one, two, load_prices(prices), without=how[0], despite_failed_test=how[1], tell=tell
        )


def _compare(
    series: Mapping[str, Series], spans: tuple[Span, Span], zone: str | None,
    worth: tuple[Machine, WorthOfChange] | None, as_json: bool,
) -> None:  # fmt: skip
    from thinstock.survey import clock
    from thinstock.survey.window_change import compare_windows
    from thinstock.tell.history import compared_record, compared_told
    from thinstock.tell.record import plain
    from thinstock.tell.terminal import page

    found = compare_windows(series, spans[0], spans[1])
    first, last = ((clock.written(a, zone), clock.written(b, zone)) for a, b in spans)
    if as_json:
        more = {} if worth is None else {"worth": plain(worth[1])}
        click.echo(json.dumps(compared_record(found, first, last) | more, indent=1, allow_nan=False))
        return
    blocks = compared_told(found, first, last)
    if worth is not None:
        from thinstock.tell.study import edge_of
        from thinstock.tell.worth_of_change import told

        blocks += told(worth[1], edge_of(worth[0], "mill"))
    page(blocks).show()
