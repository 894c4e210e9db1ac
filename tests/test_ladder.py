"""The ladder of formers: reference values, the order that drainage gives and the one it does not, and plain answers."""

from __future__ import annotations

import itertools
import json
import math
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest

import thinstock
from thinstock import library
from thinstock.case.formers import former
from thinstock.errors import Refused
from thinstock.machine.elements import KINDS
from thinstock.machine.forming import Fabric, Forming
from thinstock.machine.headbox import Headbox
from thinstock.machine.stock import Fibre, Stock
from thinstock.studies import trials
from thinstock.studies.ladder import BAND, formers, words

REFERENCE = tomllib.loads((Path(__file__).parent / "checks/ladder.toml").read_text(encoding="utf-8"))["former"]
FIBRE = Fibre(name="any", fibre_length=2.2e-3, fibre_width=30e-6, coarseness=1.5e-7)


def sheet(resistance: float = 1.1e9) -> trials.Sheet:
    return trials.Sheet(
        grammage=0.012464, retention=0.8, consistency=2e-3, density=992.0, viscosity=0.653e-3, resistance=resistance,
        stock=Stock(furnish=(FIBRE,), resistance_coefficient=resistance, resistance_exponent=0.4),
        wire=Fabric(), headbox=Headbox(consistency=2e-3, velocity_coefficient=1.0),
    )  # fmt: skip


def forming(row: dict) -> Forming:
    made = []
    for element in row["elements"]:
        fields = {k: v for k, v in element.items() if k != "kind"}
        fields |= {k: math.radians(fields[k]) for k in ("impact_angle", "wrap") if k in fields}
        made.append(KINDS[element["kind"]](**fields))
    return Forming(element=tuple(made))


@pytest.mark.parametrize("row", REFERENCE, ids=lambda r: r["name"])
def test_the_reference_formers_come_out(row):
    made, factor = forming(row), float(row.get("factor", 1))
    speed = np.array([5.0, 25.0])
    lowest = trials.lowest_consistency(sheet(), made, speed, np.full(2, factor))
    for got, told in zip(lowest, row["lowest"], strict=True):
        if told == "below":
            assert got == trials.THINNEST
        else:
            digit = 0.5 * 10.0 ** -len(str(told).split(".")[1])
            assert 100 * got == pytest.approx(told, rel=0.01, abs=digit)
    flow = 0.012464 * 25 / (0.8 * lowest[1] * 992)
    power = flow * 0.5 * 992 * 25.0**2 / 1e3
    assert power == pytest.approx(row["jet_power"], rel=0.01, abs=0.5)
    (intervals,) = trials.speed_intervals(sheet(), made, 2e-3, (factor,))
    if row["highest"] == "no limit":
        assert intervals[-1][1] == trials.FASTEST
    else:
        assert intervals[-1][1] * 60 == pytest.approx(row["highest"], rel=0.01)


@pytest.mark.parametrize("resistance", [7.1e8, 2.4e9], ids=["free", "slow"])
def test_drainage_alone_gives_part_of_the_history(resistance):
    speed = np.array([300.0, 800.0, 1500.0, 2000.0]) / 60
    rows = {r["name"]: forming(r) for r in REFERENCE}
    one = np.ones(4)
    lowest = [
        trials.lowest_consistency(sheet(resistance), rows[name], speed, one)
        for name in (
            "S-wrap, back open",
            "roll, C-wrap, one side",
            "inclined wire",
            "suction breast roll without a table",
        )
    ]
    for thinner, thicker in itertools.pairwise(lowest):
        assert np.all(thinner <= thicker)
        assert np.all(thinner[1:] < thicker[1:])


def test_drainage_alone_does_not_put_the_open_breast_roll_far_before_the_table():
    speed = np.array([300.0, 600.0, 1000.0, 1500.0]) / 60
    rows = {r["name"]: forming(r) for r in REFERENCE}
    table = Forming(element=rows["open breast roll and the table of 14 rolls without a board"].element[1:])
    bare = trials.lowest_consistency(sheet(), table, speed, np.ones(4))
    open_roll = trials.lowest_consistency(
        sheet(), rows["open breast roll and the table of 14 rolls without a board"], speed, np.ones(4)
    )
    gain = 1 - open_roll / bare
    assert np.all(gain > 0.005) and np.all(gain < 0.13)


def test_foils_drain_on_paper_as_much_as_a_suction_breast_roll():
    found = formers("facial", keys=["flat_wire_foils", "suction_breast_roll"], speeds=[5.0, 25.0])
    for v in (5.0, 25.0):
        foils, roll = (found[k].at(v).lowest.drainage for k in ("flat_wire_foils", "suction_breast_roll"))
        assert foils < 1.1 * roll


def test_a_second_open_side_of_a_fast_roll_brings_far_less_than_four_times():
    speed = np.array([800.0, 1200.0, 1600.0, 2000.0]) / 60
    one = trials.lowest_consistency(sheet(), former("twin_wire_c"), speed, np.ones(4))
    two = trials.lowest_consistency(sheet(), former("twin_wire_open_roll"), speed, np.ones(4))
    gain = 1 - two / one
    assert np.all(gain > 0.12) and np.all(gain < 0.57)


@pytest.fixture(scope="module")
def ladder():
    return formers(thinstock.load("facial-roll"), speeds=[5.0, 15.0, 25.0, 35.0])


def test_the_machines_own_former_stands_first_and_the_nine_follow_in_the_order_of_the_history(ladder):
    assert [r.key for r in ladder.rungs] == ["own", *library.NINE]
    assert ladder.rungs[-1].branch == "side branch"
    assert ladder["own"].at(25.0).lowest.drainage == pytest.approx(ladder["wire_felt_c"].at(25.0).lowest.drainage)


def test_what_the_machine_can_supply_comes_before_bare_drainage(ladder):
    answer = ladder["wire_felt_c"].at(25.0)
    assert answer.lowest.first == "fan pump, flow"
    assert answer.lowest.consistency > 2 * answer.lowest.drainage
    machine = thinstock.load("facial-roll").with_(
        {"yankee.speed": 25.0, "headbox.consistency": answer.lowest.consistency}
    )
    result = machine.run()
    fan = result.wet.delivery.fan_flow_per_width * machine.width
    assert float(fan) == pytest.approx(float(machine.headbox.fan_pump_flow_limit), rel=5e-3)


def test_at_the_lowest_consistency_by_drainage_forming_ends_where_the_former_does(ladder):
    rung = ladder["flat_wire_foils"]
    answer = rung.at(25.0)
    run = trials.trial(
        sheet_of_machine(), former("flat_wire_foils"), np.array([25.0]), answer.lowest.drainage * 1.0001, 1.0
    )
    assert float(run.drained.dry_line[0]) == pytest.approx(rung.length, rel=2e-2)


def sheet_of_machine() -> trials.Sheet:
    return trials.sheet_of(thinstock.load("facial-roll"))


def test_a_mat_that_resists_more_needs_thicker_stock_and_slower_speed(ladder):
    for rung in ladder.rungs:
        for answer in rung.answers:
            low, slow = answer.lowest.drainage, answer.lowest_slow.drainage
            assert slow is None or low <= slow
        fast, slow = rung.speeds.drainage, rung.speeds.drainage_slow
        assert slow is None or slow <= fast


def test_the_closed_form_stands_within_a_third(ladder):
    for rung in ladder.rungs:
        for answer in rung.answers:
            if answer.closed_form is not None:
                assert answer.closed_form == pytest.approx(answer.lowest.drainage, rel=0.34)


def test_a_slow_jet_does_not_enter_the_gap_of_a_roll(ladder):
    for key in ("twin_wire_c", "wire_felt_c"):
        (low, high), *_ = ladder[key].speeds.intervals
        assert 3.5 < low < 4.5 and high == trials.FASTEST
    slow = formers(thinstock.load("facial-roll"), speeds=[3.0], keys=["twin_wire_c"])["twin_wire_c"].at(3.0)
    assert not slow.jet_enters and slow.lowest.first == "jet entry" and slow.lowest.consistency is None


def test_practice_and_capacity_are_kept_apart(ladder):
    flat = ladder["flat_wire"]
    assert flat.speeds.practice_binds and flat.speeds.window_high == pytest.approx(400 / 60)
    assert flat.speeds.highest > flat.speeds.window_high
    assert flat.at(25.0).practice == "faster than practice runs it"
    assert flat.at(25.0).lowest.drainage is not None


def test_nothing_is_said_to_be_unlimited_bare(ladder):
    record = ladder.record()
    text = json.dumps(record, allow_nan=False)
    assert not re.search(r"(?<![\d.])3000(?!\d)", text)
    rung = next(r for r in record["rungs"] if r["key"] == "wire_felt_c")
    assert rung["speeds"]["drainage"] == "no limit"
    assert rung["window"]["source"] is None
    assert {"finding", "uncalibrated"} <= set(record["words"])


def test_the_words_say_what_drainage_does_not_explain():
    said = words()["finding"]
    for part in ("do not come out", "indicators, not limits", "A statement in print is missed", "springs back"):
        assert part in said


def test_a_power_cap_counts_as_a_limit_of_the_supply():
    machine = thinstock.load("facial-roll")
    found = formers(machine, speeds=[25.0], keys=["wire_felt_c"], power_limit=80e3)["wire_felt_c"].at(25.0)
    assert found.lowest.first == "pump power"
    assert found.at_lowest.fan_power == pytest.approx(80e3, rel=1e-6)


def test_a_limit_nobody_gave_is_named_as_not_known():
    found = formers("facial-flat-wire", speeds=[5.0], keys=["flat_wire"])
    assert {"headbox, flow", "screens"} <= set(found.unknown)


def test_a_calibrated_machine_has_no_band():
    text = (Path(thinstock.__file__).parent / "library/machines/facial-roll.toml").read_text(encoding="utf-8")
    text = text.replace(
        "thick_consistency", 'resistance_factor = { value = 2.0, status = "calibrated" }\nthick_consistency'
    )
    found = formers(thinstock.loads(text), speeds=[25.0], keys=["wire_felt_c"])
    assert found.resistance_factors == (2.0, 2.0)
    assert formers("facial-roll", speeds=[25.0], keys=["wire_felt_c"]).resistance_factors == BAND


def test_water_shares_add_up_and_more_dilute_stock_is_deeper(ladder):
    for rung in ladder.rungs:
        for answer in rung.answers:
            assert sum(share for _, share in answer.at_given.water) == pytest.approx(1.0)
            if answer.at_lowest is not None and answer.at_lowest.consistency < ladder.consistency:
                assert answer.at_lowest.stock_depth > answer.at_given.stock_depth


def test_wrong_questions_are_refused_by_name():
    for fields, name in (
        ({"keys": ["flat_wir"]}, "former"),
        ({"speeds": [0.0]}, "speeds"),
        ({"resistance_factor": (5.0, 1.0)}, "resistance_factor"),
        ({"power_limit": -1.0}, "power_limit"),
    ):
        with pytest.raises(Refused) as refused:
            formers("facial-roll", **fields)
        assert refused.value.faults[0].field == name
