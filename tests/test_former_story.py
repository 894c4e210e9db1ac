"""The story of the formers: both ends of the mat, each in its own time, what comes out and what does not."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import thinstock
from test_ladder import sheet
from thinstock import library
from thinstock.case.formers import former
from thinstock.machine.elements import InclinedBoxes, JetImpact
from thinstock.machine.forming import Forming
from thinstock.studies import trials
from thinstock.studies.ladder import formers
from thinstock.tell.formers import why
from thinstock.words.figures import Edge

EDGE = Edge(unit_set="mill", air=101325.0)
BOXES = Forming(element=(InclinedBoxes(),))
SPRINGY, PACKED = 0.0, 1.0


def lowest(made: Forming, speeds: list[float], memory: float, factor: float = 1.0) -> list[float]:
    speed = np.array(speeds) / 60
    factors, memories = np.full(speed.shape, factor), np.full(speed.shape, memory)
    return list(100 * trials.lowest_consistency(sheet(), made, speed, factors, memories))


@pytest.fixture(scope="module")
def story():
    return formers("facial", era=True, supply=False, speeds=[5.0, 800 / 60])


# -- both ends of the mat ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "springy", "packed"),
    [
        ("flat_wire", (0.0138, 0.0346, 0.0638, 0.145), (0.0659, 0.174, 0.325, 0.707)),
        ("suction_breast_roll", (0.0184, 0.0284, 0.0387, 0.0610), (0.0189, 0.0289, 0.0394, 0.0621)),
        ("wire_felt_c", (0.0060, 0.0090, 0.0120, 0.0181), (0.0060, 0.0090, 0.0120, 0.0181)),
    ],
)
def test_the_lowest_consistencies_worked_apart_come_out_at_both_ends(key, springy, packed):
    for told, memory in ((springy, SPRINGY), (packed, PACKED)):
        assert lowest(former(key), [300, 450, 600, 900], memory) == pytest.approx(told, rel=4e-3, abs=5e-5)


def test_a_packed_mat_brings_out_the_order_of_the_history_but_for_the_open_breast_roll():
    made = [former("flat_wire"), former("flat_wire_foils"), former("suction_breast_roll"), BOXES, former("wire_felt_c")]
    rows = np.array([lowest(one, [150, 300, 450, 600, 900], PACKED) for one in made])
    assert np.all(rows[:-1, 2:] > rows[1:, 2:])
    assert np.all(rows[0] > rows[2]) and np.all(rows[2] > rows[3]) and np.all(rows[3] > rows[4])


def test_foils_pass_the_suction_breast_roll_only_as_long_as_the_mat_springs_back():
    at = [300.0, 600.0, 900.0]
    foils, roll = former("flat_wire_foils"), former("suction_breast_roll")
    assert np.all(np.array(lowest(foils, at, SPRINGY)) < lowest(roll, at, SPRINGY))
    assert lowest(foils, [600.0], PACKED) > lowest(roll, [600.0], PACKED)


def test_the_first_step_does_not_come_out():
    """An open breast roll gains a little if the mat springs back and loses where it stays as packed."""
    at = [450.0, 600.0, 900.0]
    table, breast = former("flat_wire"), former("open_breast_roll")
    gain = 1 - np.array(lowest(breast, at, SPRINGY)) / lowest(table, at, SPRINGY)
    assert np.all((gain > 0.0) & (gain < 0.13))
    assert np.all(np.array(lowest(breast, at, PACKED)) > lowest(table, at, PACKED))


@pytest.mark.parametrize(
    ("share", "told"),
    [
        (0.0, (0.0122, 0.0578, 0.1332)),
        (0.1, (0.0119, 0.0551, 0.1191)),
        (0.25, (0.0117, 0.0496, 0.0878)),
        (0.5, (0.0112, 0.0394, 0.0544)),
        (1.0, (0.0102, 0.0254, 0.0293)),
    ],
)
def test_it_comes_out_where_the_nip_behind_the_breast_roll_sucks(share, told):
    impact, *rest = former("open_breast_roll").element
    assert isinstance(impact, JetImpact)
    made = Forming(element=(dataclasses.replace(impact, outgoing_share=share), *rest))
    assert lowest(made, [300, 600, 900], SPRINGY) == pytest.approx(told, rel=5e-3, abs=5e-5)


# -- each in its own time ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "told"),
    [
        ("flat_wire", (0.0074, 0.154, 0.0333)),
        ("suction_breast_roll", (0.0612, 0.229, 0.0624)),
        ("twin_wire_c", (0.0245, 0.100, 0.0245)),
        ("wire_felt_c", (0.0333, 0.135, 0.0333)),
    ],
)
def test_each_drains_its_own_stock_at_its_own_speed(key, told):
    era = library.era(key)
    own = dataclasses.replace(sheet(), grammage=0.012464 * era.reel_grammage / 0.016)
    speed, factor, memory = np.full(3, era.speed_usual), np.array([1.0, 5.0, 1.0]), np.array([0.0, 0.0, 1.0])
    found = 100 * trials.lowest_consistency(own, former(key), speed, factor, memory)
    assert list(found) == pytest.approx(told, rel=1e-2)
    assert found[0] < 100 * era.consistency_usual


def test_what_each_new_former_bought_was_speed(story):
    ladder = [r.own_time for r in story.rungs if r.branch == "ladder"]
    speeds = [o.era.speed_usual for o in ladder]
    assert speeds[0] == min(speeds) and speeds[-1] == max(speeds)
    stock = [o.era.consistency_usual for o in ladder]
    assert max(stock) / min(stock) < 2 < max(speeds) / min(speeds)


def test_no_row_is_empty_or_like_another_without_a_word_why(story):
    rows: dict[tuple, str] = {}
    for rung in story.rungs:
        own, common = rung.own_time, rung.at(800 / 60)
        assert own.usual.lowest.drainage is not None and own.usual.lowest_packed.drainage is not None
        assert common.lowest.drainage is not None
        told = why(rung, EDGE)
        assert own.reasons.first is not None or "No surface is free" in told
        row = tuple(getattr(common, end).drainage for end in ("lowest", "lowest_slow", "lowest_packed"))
        if row in rows:
            assert rung.same_as == rows[row] and rung.changed in told
        rows.setdefault(row, rung.name)
    assert len({why(r, EDGE) for r in story.rungs}) == len(story.rungs)


def test_ratios_to_the_first_rung_hold_better_than_bands(story):
    v = 800 / 60
    for key in ("open_breast_roll", "flat_wire_foils", "twin_wire_c"):
        springy, slow, _ = story.ratios(story[key], v)
        answer = story[key].at(v)
        assert max(springy, slow) / min(springy, slow) < 1.5 < answer.lowest_slow.drainage / answer.lowest.drainage
    assert story.ratios(story.first, v) == (1.0, 1.0, 1.0)


def test_a_former_alone_is_never_stopped_by_a_pump():
    machine = thinstock.load("facial-roll")
    alone = formers(machine, supply=False, speeds=[20.0], keys=["twin_wire_c", "flat_wire_foils"])
    supplied = formers(machine, speeds=[20.0], keys=["twin_wire_c", "flat_wire_foils"])
    assert not alone.supplied and not alone.unknown
    for rung in alone.rungs:
        assert rung.at(20.0).lowest.first == "drainage"
        assert rung.at(20.0).lowest.consistency == rung.at(20.0).lowest.drainage
    assert supplied["twin_wire_c"].at(20.0).lowest.first != "drainage"


def test_a_record_tells_both_ends_eras_indicators_and_ratios(story):
    row = next(r for r in story.record()["rungs"] if r["key"] == "flat_wire")
    assert row["own_time"]["era"]["years"] == "1900–1950" and row["ratios"][0]["lowest"] == 1.0
    assert row["answers"][0]["lowest_packed"]["drainage"] > row["answers"][0]["lowest"]["drainage"]
    assert {i["status"] for i in row["indicators"]} >= {"published", "derived", "from memory"}
    assert row["reasons"]["first"]["name"] == "rim"


# -- a machine past a yardstick ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("bath-open-breast-roll", ("as high as it is deep", "baffles")),
        ("facial-flat-wire", ("baffles",)),
        ("napkin-flat-wire-foils", ()),
        ("tea-bag-inclined-wire", ()),
        ("facial-suction-breast-roll", ()),
        ("facial-roll", ()),
    ],
)
def test_a_machine_past_a_yardstick_is_told_which_and_what_the_trade_did(name, told):
    notes = [n for n in thinstock.load(name).run().notes if n.id == "past_yardstick"]
    assert len(notes) == len(told) and all(n.level == "information" for n in notes)
    for part, note in zip(told, notes, strict=True):
        assert part in note.text and "not a limit" in note.text and "What the trade did:" in note.text
