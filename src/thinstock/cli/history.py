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
    from thinstock.survey.historian import Series
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
    svg: Path | None,
    as_json: bool,
) -> None:
    """Read the signals of a mill's historian from FILE (CSV or Parquet, long or wide) and find where they stand steady.

    With --tags, a file that says which signal is which reading, and --out, every steady window becomes a round that
    `thinstock survey` and `thinstock calibrate` read. With --before and --after, two windows are compared.
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
        series, zone = signals(files, None if tags is None else tags_of(tags, made), asked)
        _compare(series, before, after, zone, as_json)
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


def _compare(
    series: Mapping[str, Series], before: tuple[str, str], after: tuple[str, str], zone: str | None, as_json: bool
) -> None:
    from thinstock.survey import clock
    from thinstock.survey.window_change import compare_windows
    from thinstock.tell.history import compared_record, compared_told
    from thinstock.tell.terminal import page

    spans = [
        (clock.seconds(pair[0], zone, name), clock.seconds(pair[1], zone, name))
        for name, pair in (("--before", before), ("--after", after))
    ]
    found = compare_windows(series, spans[0], spans[1])
    first, last = ((clock.written(a, zone), clock.written(b, zone)) for a, b in spans)
    if as_json:
        click.echo(json.dumps(compared_record(found, first, last), indent=1, allow_nan=False))
        return
    page(compared_told(found, first, last)).show()
