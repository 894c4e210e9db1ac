"""`thinstock rebuild BEFORE AFTER --prices FILE`: what a rebuild gains in money, as ranges, counted once."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import click

from thinstock.cli.options import units_option
from thinstock.words.figures import grouped

if TYPE_CHECKING:
    from thinstock.cli.text import Edge, Page
    from thinstock.studies.rebuild import Range, Rebuild, Way
    from thinstock.words.units import UnitSet


@click.command("rebuild", short_help="What a rebuild gains in money.")
@click.argument("before", metavar="BEFORE")
@click.argument("after", metavar="AFTER")
@click.option("--prices", "file", required=True, metavar="FILE", help='A prices file, or "example" (invented prices).')
@click.option("--draws", default=2000, show_default=True, help="Draws of uncertain inputs and prices.")
@click.option("--seed", default=1, show_default=True, help="Number that begins the draws.")
@click.option("--set", "changes", multiple=True, metavar="ADDRESS=VALUE", help="Change a value on both machines.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object in base SI.")
@units_option
def command(
    before: str,
    after: str,
    file: str,
    draws: int,
    seed: int,
    changes: tuple[str, ...],
    as_json: bool,
    unit_set: UnitSet,
) -> None:
    """Reckon the rebuild of machine BEFORE into machine AFTER: energy or tonnes, carbon dioxide, saving, payback."""
    from thinstock.cli.overrides import machine_from
    from thinstock.studies.prices import load_prices
    from thinstock.studies.rebuild import rebuild

    prices = load_prices(file)
    old, new = machine_from(before, changes), machine_from(after, changes)
    found = rebuild(old, new, prices, draws=draws, seed=seed)
    if as_json:
        from thinstock.tell.record import dumped

        click.echo(dumped(found))
        return
    from thinstock.cli.text import Edge

    show(found, Edge(unit_set=unit_set, air=float(old.site.atmospheric_pressure())))


def show(found: Rebuild, edge: Edge) -> None:
    """Print the account."""
    from thinstock.cli.text import Page, page_width, wrapped

    width, page = page_width(), Page()
    money = f"{found.prices.currency} of {found.prices.year}"
    page.add(f"before  {found.before}", f"after   {found.after}")
    page.add(*wrapped(f"{found.prices.title or found.prices.file}. {found.prices.note}", width=width, first="prices  "))
    page.add(
        "",
        f"Dryness out of the press {_percent(found.dryness_before)} → {_percent(found.dryness_after)} (95 % of draws).",
    )
    page.add(*wrapped(_physics(found), width=width), "")
    page.heading("Same tonnes", "Or more speed")
    page.add(*_table(found.ways, found, edge, money))
    said = "Saved is what a tonne takes less, times all tonnes; a tonne more counts at the energy a tonne takes now."
    page.add(*wrapped(said, width=width), "")
    if found.without_assumed:
        old, new = (1e3 * r for r in found.rewet)
        head = f"If the assumed gain in rewet ({old:.2g} → {new:.2g} g/m²) is nothing"
        page.heading(head)
        page.add(head, *_short(found.without_assumed), "")
    _even(page, found)
    head = "What went in"
    page.heading(head)
    page.add(head, *_factors(found), "")
    for note in found.notes:
        page.add(*wrapped(f"{note}.".replace("..", "."), width=width, first="*  ", then="   "))
    page.show()


def _physics(found: Rebuild) -> str:
    heat = found.heat_per_water
    said = f"By the water alone the same drying would carry {100 * found.speed_by_water:.1f} % more speed"
    if math.isfinite(heat):
        said += f"; the two runs give {heat / 1e6:.2f} MJ of steam and gas saved per kilogram of water less"
    return f"{said}. The second way is held by: {found.held_speed}."


def _table(ways: Sequence[Way], found: Rebuild, edge: Edge, money: str) -> list[str]:
    """Both ways side by side, every number with its interval."""
    from thinstock.cli.text import table

    speed = edge.unit("speed")
    rows: list[list[str]] = []

    def row(label: str, unit: str, pick: Callable[[Way], Range | None], scale: float = 1.0, digits: int = 3) -> None:
        cells = [label, unit]
        for way in ways:
            one = pick(way)
            cells += ["–", ""] if one is None else _cells(one, scale, digits)
        rows.append(cells)

    row("speed", speed, lambda w: w.speed, edge.number("speed", 1.0), 4)
    row("paper in a year", "t", lambda w: w.tonnes, 1e-3)
    for name in [line.name for line in ways[0].lines]:
        unit = next(line.unit for line in ways[0].lines if line.name == name)
        said, scale = {"J": ("MWh", 1 / 3.6e9), "kg": ("t", 1e-3), "money": ("", 1.0)}[unit]
        if said and name != "tonnes more":
            row(f"  {name}, saved", said, lambda w, n=name: _line(w, n).amount, scale)  # type: ignore[misc]
        row(f"  {name}, money" if said else f"  {name}", "", lambda w, n=name: _line(w, n).money)  # type: ignore[misc]
    row("saving in a year", "", lambda w: w.yearly_saving)
    row("outlay with the stop", "", lambda w: w.outlay)
    years = f"{found.prices.years} a, {found.prices.rate.text}"
    row(f"present value ({years})", "", lambda w: w.net_present_value)
    row("rate of return", "% a year", lambda w: w.rate_of_return, 100.0)
    row("payback", "years", lambda w: w.payback, 1.0, 2)
    row("payback with interest", "years", lambda w: w.payback_discounted, 1.0, 2)
    row("carbon dioxide saved, in all", "t", lambda w: w.carbon, 1e-3)
    rows.append(["pays, share of draws", "%", *(c for w in ways for c in (f"{100 * w.pays:.0f}", ""))])
    heads = [["", money, "Same tonnes", "", "Or more speed", ""]]
    return table(heads, rows, texts=(0, 1, 3, 5), ends=(2, 4))


def _line(way: Way, name: str) -> Any:
    return next(line for line in way.lines if line.name == name)


def _short(ways: Sequence[Way]) -> list[str]:
    from thinstock.cli.text import table

    rows = []
    for label, pick, scale, digits in (
        ("saving in a year", "yearly_saving", 1.0, 3),
        ("present value", "net_present_value", 1.0, 3),
        ("payback, years", "payback", 1.0, 2),
        ("payback with interest, years", "payback_discounted", 1.0, 2),
    ):
        rows.append([f"  {label}", *(c for way in ways for c in _cells(getattr(way, pick), scale, digits))])
    return table([["", "Same tonnes", "", "Or more speed", ""]], rows, texts=(0, 2, 4), ends=(1, 3))


def _cells(one: Range, scale: float, digits: int) -> list[str]:
    """A number, and the interval in brackets unless it is a point."""
    value = grouped(one.value * scale, digits)
    if one.low == one.high:
        return [value, ""]
    return [value, f"({grouped(one.low * scale, digits)} to {grouped(one.high * scale, digits)})"]


def _percent(one: Range) -> str:
    return f"{100 * one.value:.1f} % ({100 * one.low:.1f} to {100 * one.high:.1f})"


def _even(page: Page, found: Rebuild) -> None:
    """Prices at which it neither gains nor loses."""
    head = "Neither gain nor loss at (one at a time, the rest as it stands)"
    page.heading(head)
    page.add(head)
    units = {
        "price": ("money/MWh", 3.6e9),
        "rebuild.contribution": ("money/t", 1e3),
        "rebuild.investment": ("money", 1.0),
    }
    for way in found.ways:
        texts = []
        for name, value in way.break_even.items():
            unit, scale = units.get(name, units["price"])
            text = f"{grouped(value * scale, 3)} {unit.replace('money', found.prices.currency)}"
            if value < 0:
                text = "any"
            texts.append(f"{name.rpartition('.')[2]} {text}")
        page.add(f"  {way.name}: {'; '.join(texts)}.")
    page.add("")


def _factors(found: Rebuild) -> list[str]:
    from thinstock.cli.text import table

    rows = []
    for one in found.factors:
        amount = found.prices.amounts.get(one.name)
        ends = ""
        if amount is not None and amount.low is not None and amount.high is not None and amount.value:
            ends = f"{100 * (amount.low / amount.value - 1):+.0f} / {100 * (amount.high / amount.value - 1):+.0f} %"
            ends = ends.replace("-", "−")
        rows.append([f"  {one.name}", one.text, ends, one.source])
    return table([["", "likeliest", "range", "from"]], rows, texts=(0, 3), ends=(1, 2))
