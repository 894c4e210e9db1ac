"""`thinstock map MACHINE --x ... --y ... --result ...`: a result over two inputs, as text, CSV or picture."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import machine_argument, units_option

if TYPE_CHECKING:
    from thinstock.machine.line import Machine
    from thinstock.studies.machine_sweep import MachineMap
    from thinstock.words.units import UnitSet

MARKS = {"beyond a limit": "!", "too wet": "~", "no sheet": "·", "impossible": "×"}
"""How a case that does not run is printed."""
ACROSS, DOWN = 9, 15


@click.command("map", short_help="One result over two inputs.")
@machine_argument
@click.option("--x", required=True, metavar="ADDRESS=RANGE", help='"headbox.consistency=0.12 %..0.30 % x 40"')
@click.option("--y", required=True, metavar="ADDRESS=RANGE", help='"yankee.speed=1200..2000 m/min x 40"')
@click.option("--result", required=True, metavar="NAME", help="The result to map.")
@click.option("--csv", "table", metavar="FILE", type=click.Path(path_type=Path), help="Write every case as CSV.")
@click.option("--svg", metavar="FILE", type=click.Path(path_type=Path), help="Write the picture as SVG.")
@click.option("--vega", metavar="FILE", type=click.Path(path_type=Path), help="Write the picture as a Vega-Lite file.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object in base SI.")
@units_option
def command(
    machine: str,
    changes: tuple[str, ...],
    x: str,
    y: str,
    result: str,
    table: Path | None,
    svg: Path | None,
    vega: Path | None,
    as_json: bool,
    unit_set: UnitSet,
) -> None:
    """Map a result of MACHINE over two inputs, with the region in which it runs inside all limits entered."""
    from thinstock.cli.overrides import machine_from
    from thinstock.studies.machine_axes import varied
    from thinstock.studies.machine_sweep import machine_map

    made = machine_from(machine, changes)
    across, up = varied(made, [x, y])
    found = machine_map(made, across, up, result)
    if table is not None:
        _write(table, rows_csv(made, found, unit_set))
    if svg is not None:
        from thinstock.drawing.study_charts import map_svg

        _write(svg, map_svg(made, found, unit_set=unit_set))
    if vega is not None:
        from thinstock.drawing.study_charts import map_full

        _write(vega, json.dumps(map_full(made, found, unit_set=unit_set), indent=1, allow_nan=False))
    if as_json:
        from thinstock.tell.record import dumped

        click.echo(dumped(found, machine=made.title))
        return
    show(made, found, unit_set)


def _write(place: Path, content: str) -> None:
    place.write_text(content, encoding="utf-8", newline="")
    click.echo(str(place), err=True)


def rows_csv(machine: Machine, found: MachineMap, unit_set: UnitSet) -> str:
    """Every case: both inputs, the result, the state."""
    from thinstock.drawing.study_charts import axis_of, result_of

    air = float(machine.site.atmospheric_pressure())
    _, x_unit, x_of = axis_of(machine, found.x, unit_set)
    _, y_unit, y_of = axis_of(machine, found.y, unit_set)
    _, unit, of = result_of(found.result, air, unit_set)
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([f"{found.x} [{x_unit}]", f"{found.y} [{y_unit}]", f"{found.result} [{unit}]", "state"])
    for j, y_value in enumerate(found.y_values):
        for i, x_value in enumerate(found.x_values):
            value = found.value[j, i]
            shown = "" if value != value else repr(float(of(value)))
            writer.writerow([repr(float(x_of(x_value))), repr(float(y_of(y_value))), shown, found.state[j, i]])
    return stream.getvalue()


def show(machine: Machine, found: MachineMap, unit_set: UnitSet) -> None:
    """Print some of the cases as a table, the highest y on top."""
    import numpy as np

    from thinstock.cli.text import Page, figure, page_width, table, wrapped
    from thinstock.drawing.study_charts import axis_of, map_alt, result_of

    width, page = page_width(), Page()
    air = float(machine.site.atmospheric_pressure())
    x_said, x_unit, x_of = axis_of(machine, found.x, unit_set)
    y_said, y_unit, y_of = axis_of(machine, found.y, unit_set)
    said, unit, of = result_of(found.result, air, unit_set)
    page.add(machine.title)
    page.add(*wrapped(map_alt(machine, found, unit_set), width=width), "")
    across = np.unique(np.linspace(0, len(found.x_values) - 1, min(ACROSS, len(found.x_values))).round().astype(int))
    up = np.unique(np.linspace(0, len(found.y_values) - 1, min(DOWN, len(found.y_values))).round().astype(int))
    rows = []
    for j in up[::-1]:
        cells = [MARKS.get(str(found.state[j, i]), "") or figure(float(of(found.value[j, i])), 3) for i in across]
        rows.append([figure(float(y_of(found.y_values[j])), 4), *cells])
    head = f"{said}, {unit}" if unit != "1" else said
    page.heading(head)
    heads = [[y_unit, *(figure(float(x_of(found.x_values[i])), 3) for i in across)]]
    page.add(head, f"{y_said} down, {x_said} across ({x_unit})")
    page.add(*table(heads, rows, texts=(), ends=range(len(across) + 1)), "")
    seen = {str(state) for state in np.unique(found.state)}
    key = [f"{mark} {state}" for state, mark in MARKS.items() if state in seen]
    if key:
        page.add("; ".join(key) + ".")
    if found.beyond:
        parts = sorted(found.beyond.items(), key=lambda item: -item[1])
        page.add(
            *wrapped("Beyond: " + ", ".join(f"{part} in {count}" for part, count in parts) + " cases.", width=width)
        )
    page.add("A limit nobody entered is not known, not unlimited.")
    page.show()
