"""Published ranges beside a machine, and what to look at when something shows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import thinstock
from thinstock import library
from thinstock.errors import Refused
from thinstock.machine.limits import Limits, limits
from thinstock.machine.result import Result
from thinstock.studies.benchmarks import benchmarks
from thinstock.tell import trouble
from thinstock.tell.benchmarks import told as ranges_told
from thinstock.tell.blocks import Caution, Table
from thinstock.words.cautions import all_cautions
from thinstock.words.figures import Edge

EXAMPLE = Path(__file__).parent.parent / "examples" / "water-circuits.toml"
EDGE = Edge(unit_set="mill", air=1e5)


@pytest.fixture(scope="module")
def known() -> tuple[Result, Limits]:
    machine = thinstock.load(EXAMPLE)
    return machine.run(), limits(machine)


def test_a_range_is_compared_only_where_its_boundary_is_the_machine_s() -> None:
    rows = {row.id: row for row in benchmarks(thinstock.load(EXAMPLE))}
    assert len(rows) == 30
    assert rows["fresh_tissue_modern"].verdict == "inside" and rows["fresh_tissue_modern"].value == pytest.approx(
        7.96, abs=0.02
    )
    assert (
        rows["electricity_machine"].verdict == "not compared" and "whole machine" in rows["electricity_machine"].differs
    )
    assert rows["hood_gas"].verdict == "above" and rows["first_pass_all"].verdict == "inside"
    assert all(row.source and row.scope and row.held for row in rows.values())


def test_without_circuits_the_water_of_the_showers_is_not_compared() -> None:
    rows = {row.id: row for row in benchmarks(thinstock.load("facial-roll"))}
    assert rows["fresh_tissue_modern"].verdict == "not compared"


def test_a_measured_value_stands_in_the_place_of_the_computed_one() -> None:
    rows = {row.id: row for row in benchmarks(thinstock.load(EXAMPLE), {"fresh_water_per_product": 18.0})}
    assert rows["fresh_tissue_modern"].measured and rows["fresh_tissue_modern"].verdict == "above"
    assert "best" not in " ".join(str(block) for block in ranges_told(tuple(rows.values()))).lower().split()


@pytest.mark.parametrize("symptom", trouble.symptoms())
def test_every_symptom_tells_cautions_first_then_checks_with_numbers(
    known: tuple[Result, Limits], symptom: str
) -> None:
    told = list(trouble.told(*known, symptom, EDGE))
    kinds = [type(block) for block in told]
    assert Caution in kinds and kinds.index(Caution) < kinds.index(Table)
    table = next(block for block in told if isinstance(block, Table))
    row: dict[str, Any] = library.table("trouble")[symptom]
    assert len(table.rows) == len(row["checks"])
    assert set(row["cautions"]) <= set(all_cautions())
    readings = [k for k, check in enumerate(row["checks"]) if check["look"] == "reading"]
    assert all(table.rows[k][2] == trouble.LINE for k in readings)


def test_a_limit_has_its_margin_and_a_bound_of_the_file_is_told(known: tuple[Result, Limits]) -> None:
    crushing = next(b for b in trouble.told(*known, "crushing", EDGE) if isinstance(b, Table))
    assert any("margin" in str(row[3]) for row in crushing.rows)
    plugged = next(b for b in trouble.told(*known, "nozzles plug", EDGE) if isinstance(b, Table))
    assert "at most" in str(plugged.rows[0][3])


def test_an_unknown_symptom_is_refused_with_the_nearest() -> None:
    with pytest.raises(Refused, match="crushing"):
        trouble.row_of("crushed")


def test_all_numbers_that_checks_ask_for_are_known_or_told_as_a_reading(known: tuple[Result, Limits]) -> None:
    bare = thinstock.load("facial-flat-wire")
    result, found = bare.run(), limits(bare)
    for block in trouble.all_told(result, found, EDGE):
        assert "nan" not in str(block)
