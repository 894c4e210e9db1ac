"""`thinstock formers MACHINE_OR_GRADE`: the ladder of formers for one sheet, as a table, as words, or as JSON."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import read_value, units_option

if TYPE_CHECKING:
    from thinstock.cli.text import Edge
    from thinstock.machine.line import Machine
    from thinstock.studies.ladder import Answer, Ladder, Lowest, Rung
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
    from thinstock.cli.text import Edge

    show(found, subject, Edge(unit_set=unit_set, air=units.STANDARD_ATMOSPHERE), all_words=all_words)


def show(found: Ladder, subject: str, edge: Edge, *, all_words: bool) -> None:
    """Print the ladder."""
    from thinstock.cli.text import Page, page_width, wrapped
    from thinstock.studies.ladder import words

    width, said, page = page_width(), words(), Page()
    head = (
        f"{found.title}: {edge.text('grammage', found.grammage, 3)} of fibre on the wire, retention "
        f"{edge.text('retention', found.retention, 2)}"
    )
    own = next((rung.name for rung in found.rungs if rung.branch == "own"), None)
    page.add(*wrapped(f"{head}; as it is: {own}" if own else head, width=width), "")
    page.heading(head, *_TITLES)
    page.add(_TITLES[0], *_lowest(found, edge, supplied=True), *_supply(found, edge, width), "")
    page.add(_TITLES[1], *_lowest(found, edge, supplied=False), "")
    page.add(f"{_TITLES[2]}, {edge.text('consistency', found.consistency, 3)}", *_speeds(found, edge), "")
    if len(found.rungs) <= 2:
        lines = _detail(found, found.rungs[-1], edge)
        page.heading(lines[0])
        page.add(*lines, "")
    page.add(*wrapped(_legend(found), width=width))
    page.add(*_deeper(found, edge, width))
    page.add(*wrapped(said["uncalibrated"], width=width))
    if all_words:
        page.add("", _TITLES[3])
        for name in ("demand", "finding", "four", "centrifugal", "power", "felt", "second_bend", "side_branch"):
            page.add(*wrapped(said[name], width=width), "")
        for rung in found.rungs:
            if rung.gave_out:
                page.add(*wrapped(f"{rung.name}. Changed: {rung.changed}. Gave out: {rung.gave_out}.", width=width))
    else:
        page.add("What gave out, and what drainage does not explain: --words. All about one former: --former KEY.")
    _grade_line(subject, page, width)
    page.show()


_TITLES = (
    "Lowest consistency that the machine can supply and drain",
    "Lowest consistency by drainage alone",
    "Highest speed at the given consistency",
    "What the numbers say and what they do not",
)


def _grade_line(subject: str, page: object, width: int) -> None:
    """What the lowest figure quoted for a grade would mean."""
    from thinstock import library
    from thinstock.cli.text import Page, wrapped

    if subject in library.grade_names():
        from thinstock.studies.grades import what_it_means

        assert isinstance(page, Page)
        page.add("", *wrapped(f"Lowest quoted (common practice, no source): {what_it_means(subject).sentence()}",
                              width=width))  # fmt: skip


def _band(low: Lowest, high: Lowest, edge: Edge, *, supplied: bool) -> str:
    """Lowest consistency, mat as in the tester to most resisting; a star where the supply stops it, not drainage."""
    from thinstock.cli.text import NONE

    def one(lowest: Lowest) -> str:
        value = lowest.consistency if supplied else lowest.drainage
        if value is None:
            return "cannot"
        shown = edge.figure("consistency", value, 2)
        if supplied:
            return f"{shown}*" if lowest.first != "drainage" else shown
        return f"<{shown}" if lowest.below else shown

    a, b = one(low), one(high)
    return a if a == b else f"{a} {NONE} {b}"


def _name(rung: Rung) -> str:
    if rung.branch == "own":
        return "as it is"
    return f"{rung.name} ¹" if rung.branch == "side branch" else rung.name


def _lowest(found: Ladder, edge: Edge, *, supplied: bool) -> list[str]:
    """One row per former, one column per speed; in brackets where practice does not run it."""
    from thinstock.cli.text import table

    heads = [
        [
            edge.unit("consistency"),
            *[edge.text("speed", v, 3) for v in found.speeds],
            *([] if supplied else ["transfers"]),
        ],
    ]
    rows = []
    for rung in found.rungs:
        cells = []
        for answer in rung.answers:
            cell = (
                "no entry"
                if not answer.jet_enters
                else _band(answer.lowest, answer.lowest_slow, edge, supplied=supplied)
            )
            cells.append(cell if answer.practice == "inside" else f"({cell})")
        rows.append([f"  {_name(rung)}", *cells, *([] if supplied else [str(rung.transfers)])])
    return table(heads, rows, texts=range(1 + len(found.speeds)))


def _supply(found: Ladder, edge: Edge, width: int) -> list[str]:
    """Where pumps, headbox and slice stop, whatever the former."""
    from thinstock.cli.text import wrapped

    stops = []
    for v, (name, least) in zip(found.speeds, found.supply, strict=True):
        speed = edge.text("speed", v, 3)
        stops.append(
            f"at {speed} nothing, {name}" if least is None
            else f"at {speed} {edge.text('consistency', least, 2)} ({name})"
        )  # fmt: skip
    lines = wrapped(f"* Supply stops: {'; '.join(stops)}.", width=width, first="  ", then="  ") if stops else []
    if found.unknown:
        lines += wrapped(f"Not known: limits of {', '.join(found.unknown)}.", width=width, first="  ", then="  ")
    return lines


def _speeds(found: Ladder, edge: Edge) -> list[str]:
    """Highest speeds: by drainage as a band, by practice, and what gives out first."""
    from thinstock.cli.text import table

    at = min(found.speeds, key=lambda v: abs(v - found.speed))
    heads = [
        ["", "drainage", "practice", "ends at", "gives out first"],
        ["", edge.unit("speed"), edge.unit("speed"), "% ²", edge.unit("speed")],
    ]
    rows = []
    for rung in found.rungs:
        s, given = rung.speeds, rung.at(at).at_given
        window = "–"
        if s.window_high is not None:
            window = f"{edge.figure('speed', rung.window.speed_low, 2)} to {_speed(s.window_high, edge)}"
        first = (
            f"{_speed(s.window_high, edge)} practice" if s.practice_binds else f"{_speed(s.highest, edge)} {s.first}"
        )
        if s.slow_binds:
            first += f"; {_speed(s.highest_slow, edge)} if slow"
        ends = _end(given.end, given.end_slow)
        rows.append([f"  {_name(rung)}", _speed_band(s.drainage, s.drainage_slow, edge), window, ends, first])
    return table(heads, rows, texts=range(5))


def _speed(value: float | None, edge: Edge) -> str:
    if value is None:
        return "none"
    return "no limit below 3000 m/min:" if value == float("inf") else edge.figure("speed", value, 3)


def _speed_band(low: float | None, high: float | None, edge: Edge) -> str:
    """From the mat that resists most to the mat as in the tester."""

    def one(value: float | None) -> str:
        if value is None:
            return "none"
        return "does not limit" if value == float("inf") else edge.figure("speed", value, 3)

    a, b = one(high), one(low)
    return a if a == b else f"{a} – {b}"


def _end(low: float | None, high: float | None) -> str:
    def one(value: float | None) -> str:
        return "not" if value is None else f"{100 * value:.0f}"

    a, b = one(low), one(high)
    return a if a == b else f"{a} – {b}"


def _detail(found: Ladder, rung: Rung, edge: Edge) -> list[str]:
    """Everything about one former at its lowest consistency, speed by speed."""
    from thinstock.cli.text import NONE, table

    def row(name: str, cells: list[str]) -> list[str]:
        return [f"  {name}", *cells]

    def numbers(name: str, word: str, field: str, digits: int = 3) -> list[str]:
        cells = [NONE if a.at_lowest is None else edge.figure(word, getattr(a.at_lowest, field), digits)
                 for a in rung.answers]  # fmt: skip
        return row(f"{name}, {edge.unit(word)}", cells)

    answers = rung.answers
    rows = [
        row("lowest, supplied and drained, %", [_percent(a.lowest.consistency) for a in answers]),
        row("  stopped by", [a.lowest.first.replace("fan pump, flow", "pump flow") for a in answers]),
        row("lowest by drainage alone, %", [_percent(a.lowest.drainage) for a in answers]),
        row("  by the closed form (±30 %), %", [_percent(a.closed_form) for a in answers]),
        numbers("flow", "flow_per_width", "flow_per_width"),
        numbers("depth of the stock", "stock_depth", "stock_depth"),
        numbers("thickness of the jet", "jet_thickness", "jet_thickness"),
        row("power in the jet, kW/m", [NONE if a.at_lowest is None else _figure(a.at_lowest.jet_power / 1e3)
                                       for a in answers]),
        row("fan-pump shaft, kW/m", [NONE if a.at_lowest is None else _figure(a.at_lowest.fan_power / 1e3)
                                     for a in answers]),
        row("time in the former, ms", [NONE if a.at_lowest is None else _figure(a.at_lowest.time_available * 1e3)
                                       for a in answers]),
        row("drainage impulse, Pa s", [NONE if a.at_lowest is None else _figure(a.at_lowest.drainage_impulse)
                                       for a in answers]),
        row("forming ends at, % of its length", [NONE if a.at_lowest is None else
                                                 _end(a.at_lowest.end, a.at_lowest.end_slow) for a in answers]),
        *_wrap_row(answers),
        numbers("dryness leaving", "dryness", "dryness_leaving"),
    ]  # fmt: skip
    for k, (name, _) in enumerate(answers[0].at_given.water):
        cells = [NONE if a.at_lowest is None else f"{100 * a.at_lowest.water[k][1]:.0f}" for a in answers]
        rows.append(row(f"water through {name}, %", cells))
    title = f"{rung.name}: at the lowest consistency that the machine can supply and drain"
    heads = [["", *[edge.text("speed", v, 4) for v in found.speeds]]]
    return [title, *table(heads, rows)]


def _wrap_row(answers: tuple[Answer, ...]) -> list[list[str]]:
    """End of forming as degrees of wrap, where the former begins with a roll."""
    from thinstock.cli.text import NONE

    def told(wrap: float | None) -> str:
        return "not" if wrap is None else f"{math.degrees(wrap):.0f}"

    if all(a.at_given.wrap is None for a in answers):
        return []
    states = [a.at_lowest for a in answers]
    cells = [NONE if s is None else f"{told(s.wrap)} – {told(s.wrap_slow)}" for s in states]
    return [["  end of forming, degrees of wrap", *cells]]


def _percent(value: float | None) -> str:
    from thinstock.cli.text import NONE

    return NONE if value is None else _figure(100 * value, 2)


def _figure(value: float, digits: int = 3) -> str:
    from thinstock.cli.text import figure

    return figure(value, digits)


def _deeper(found: Ladder, edge: Edge, width: int) -> list[str]:
    """Where the stock is deeper than the tension of the fabric can turn: a note, never a refusal."""
    from thinstock.cli.text import wrapped

    deep = []
    for rung in found.rungs:
        at = [edge.text("speed", a.speed, 4) for a in rung.answers if a.at_given.deeper_than_held]
        if at:
            deep.append(f"{_name(rung)} at {', '.join(at)}")
    if not deep:
        return []
    text = (
        "At the given consistency the stock is deeper than the tension of the fabric can turn, so that the roll's "
        f"side starts unloaded (derived, not verified by measurement): {'; '.join(deep)}."
    )
    return wrapped(text, width=width)


def _legend(found: Ladder) -> str:
    at = min(found.speeds, key=lambda v: abs(v - found.speed)) * 60
    low, high = found.resistance_factors
    band = f"each pair: the mat as in a tester – {high:g} times as resisting" if high != low else "calibrated"
    return (
        f"{band[0].upper()}{band[1:]}. In brackets: outside the speeds at which practice runs that former (no source, "
        "at least ±30 %), which is not computed. If slow: where the mat resists most. ¹ A side "
        "branch. ² Forming ends at this share of the former at "
        f"{at:.0f} m/min and the given consistency; not: the stock is not drained."
    )
