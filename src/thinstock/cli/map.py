"""`thinstock map MACHINE --x ... --y ... --result ...`: a result over two inputs, as text, CSV or picture."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from thinstock.cli.options import machine_argument, units_option
from thinstock.words.phrase import phrase

if TYPE_CHECKING:
    from thinstock.words.units import UnitSet


@click.command("map", short_help=phrase("cli.map.one_result_over_two_inputs"))
@machine_argument
@click.option("--x", required=True, metavar="ADDRESS=RANGE", help='"headbox.consistency=0.12 %..0.30 % x 40"')
@click.option("--y", required=True, metavar="ADDRESS=RANGE", help=phrase("cli.map.yankee_speed_m_min_x"))
@click.option("--result", required=True, metavar="NAME", help=phrase("cli.map.result_to_map"))
@click.option(
    "--csv", "table", metavar="FILE", type=click.Path(path_type=Path), help=phrase("cli.map.write_every_case_as_csv")
)
@click.option("--svg", metavar="FILE", type=click.Path(path_type=Path), help=phrase("cli.map.write_picture_as_svg"))
@click.option(
    "--vega", metavar="FILE", type=click.Path(path_type=Path), help=phrase("cli.map.write_picture_as_vega_lite")
)
@click.option("--json", "as_json", is_flag=True, help=phrase("cli.map.print_one_json_object_in"))
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
    from thinstock.case.overrides import machine_from
    from thinstock.studies.machine_axes import varied
    from thinstock.studies.machine_sweep import machine_map

    made = machine_from(machine, changes)
    across, up = varied(made, [x, y])
    found = machine_map(made, across, up, result)
    if table is not None:
        from thinstock.tell.map import Laid
        from thinstock.tell.tables import csv_text

        _written(table, csv_text(Laid(made, found, unit_set).cases()))
    if svg is not None:
        from thinstock.drawing.study_charts import map_svg

        _written(svg, map_svg(made, found, unit_set=unit_set))
    if vega is not None:
        from thinstock.drawing.study_charts import map_full

        _written(vega, json.dumps(map_full(made, found, unit_set=unit_set), indent=1, allow_nan=False))
    if as_json:
        from thinstock.tell.record import dumped

        click.echo(dumped(found, machine=made.title))
        return
    from thinstock.tell.map import told
    from thinstock.tell.terminal import page

    page(told(made, found, unit_set)).show()


def _written(place: Path, content: str) -> None:
    from thinstock.files.write import put

    click.echo(str(put(place, content)), err=True)
