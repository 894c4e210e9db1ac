"""Grades of the library: what lies on the wire follows from what is sold; the trade's order, its extremes in water."""

from __future__ import annotations

import numpy as np
import pytest

import thinstock
from thinstock import library
from thinstock.errors import Refused
from thinstock.sheet.dilution import consistency_for_formation
from thinstock.sheet.formation import formation
from thinstock.sheet.furnish import Furnish
from thinstock.studies.grades import machine_of, what_it_means
from thinstock.studies.ladder import formers

NAMES = ("board ply", "newsprint", "cigarette", "facial", "tea-bag type", "bath", "napkin", "towel")
ORDER = ("board ply", "newsprint", "cigarette", "facial", "tea-bag type")
"""From thick to dilute, as the trade quotes them (common practice, no source)."""


def furnish(name: str) -> Furnish:
    row = library.grade(name)
    rows = library.table("furnishes")
    from thinstock.words import units

    columns = {
        word: tuple(units.parse(rows[fibre][word]["value"]) for fibre, _ in row.furnish)
        for word in ("fibre_length", "fibre_width", "coarseness")
    }
    return Furnish(name=name, share=tuple(share for _, share in row.furnish), **columns)


def test_the_grades_are_all_there():
    assert set(library.grade_names()) == set(NAMES)
    with pytest.raises(Refused, match="tea-bag type"):
        library.grade("tea-bag typ")


@pytest.mark.parametrize("name", NAMES)
def test_what_lies_on_the_wire_follows_from_what_is_sold(name):
    row = library.grade(name)
    on_wire = row.reel_grammage * row.reel_dryness * (1 - row.crepe) * (1 - row.filler_share)
    assert on_wire == pytest.approx(row.wire_grammage, rel=5e-3)
    assert row.lowest_quoted <= row.usual[0] <= row.consistency <= row.usual[1]
    assert row.crepe == 0 if name in ("board ply", "newsprint", "cigarette", "tea-bag type") else row.crepe > 0.1


@pytest.mark.parametrize("name", NAMES)
def test_every_grade_has_a_machine_that_runs_it_as_it_is_usually_run(name):
    row = library.grade(name)
    machine = machine_of(row)
    assert (machine.yankee is None) == (row.crepe == 0)
    assert what_it_means(name, consistency=row.consistency).possible
    result = machine.with_({"headbox.consistency": row.consistency}).run()
    assert bool(result["formed"]) and max(result.closure().values()) <= 1e-12


@pytest.mark.parametrize("name", NAMES)
def test_the_lowest_figure_quoted_runs_and_is_told_in_water(name):
    row = library.grade(name)
    machine = machine_of(row).with_({"headbox.consistency": row.lowest_quoted})
    result = machine.run()
    assert max(result.closure().values()) <= 1e-12
    assert all(np.isfinite(float(s.water)) for s in result.streams)
    meaning = what_it_means(name)
    text = meaning.sentence()
    assert "m³/min" in text and "kg of water per kg of fibre" in text
    if not meaning.possible:
        assert "cannot" in text


def test_the_extremes_are_said_to_be_beyond_every_machine():
    tea = what_it_means("tea-bag type", speed=100 / 60)
    assert tea.flow_per_width * 60 == pytest.approx(1400, rel=0.1)
    assert tea.stock_depth > 10 and not tea.possible
    facial = what_it_means("facial", speed=30.0)
    assert facial.flow_per_width * 60 == pytest.approx(290, rel=0.1)
    assert not facial.possible and facial.exceeded[0][1] > 5


def test_equal_evenness_asks_the_grades_for_dilution_in_the_order_of_the_trade():
    asked = [
        consistency_for_formation(
            furnish(name), library.grade(name).wire_grammage, 0.20, cv=0.12, zone=1e-3
        ).consistency
        for name in ORDER
    ]
    assert asked == sorted(asked, reverse=True) and len(set(asked)) == len(asked)


def test_crowding_falls_in_the_order_of_the_trade_at_its_own_figures():
    crowding = []
    for name in ORDER:
        row = library.grade(name)
        found = formation(furnish(name), row.wire_grammage, row.trade_rule, 0.20, zone=1e-3)
        crowding.append(float(found.crowding_number))
    assert crowding == sorted(crowding, reverse=True)


@pytest.mark.parametrize("name", NAMES)
def test_a_grade_has_a_ladder(name):
    ladder = formers(name, speeds=[5.0], keys=["inclined_wire", "wire_felt_c"])
    assert ladder.grammage == pytest.approx(library.grade(name).wire_grammage, rel=5e-3)
    assert ladder.consistency == library.grade(name).consistency
    assert all(name in ("slice", "nothing") for name, _ in ladder.supply)


def test_every_former_and_press_has_an_invented_machine():
    listed = thinstock.machines()
    machines = [thinstock.load(one.name) for one in listed]
    known = {library.former_file(key)["former"] for key in library.NINE} - {"wire and felt, C-wrap"}
    assert known <= {m.forming.former for m in machines}
    kinds = {type(nip.surface).__name__ for m in machines for nip in m.press.nip}
    assert {"Grooved", "BlindDrilled", "SuctionDrilled"} <= kinds
    assert any(len(m.press.nip) == 2 and m.yankee is not None for m in machines)
    assert any(len(m.press.nip) == 3 for m in machines)
    assert all(m.scenario.startswith("Invented") for m in machines)
    for m in machines:
        if m.dryer is not None:
            assert float(m.grade.crepe) == 0
