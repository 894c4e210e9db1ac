"""What a lower freeness costs with the refiner: its energy by the joined page, direction, ends of the range, money."""

from __future__ import annotations

import pytest

import thinstock
from thinstock.errors import Refused
from thinstock.studies.refining_cost import RefiningCost, refining_cost
from thinstock.tell.refining_cost import told
from thinstock.words.figures import Edge

KWH = 3600.0


@pytest.fixture(scope="module")
def roll() -> RefiningCost:
    return refining_cost(thinstock.load("facial-roll"), 5e-5)


def test_fifty_millilitres_cost_what_the_joined_chain_worked_out(roll: RefiningCost) -> None:
    middle = roll.cases[1]
    heat = middle.changes["steam_per_product"] + middle.changes["gas_per_product"]
    assert 100 * middle.changes["dryness_press"] == pytest.approx(-1.05, abs=0.03)
    assert heat / KWH == pytest.approx(101, abs=2)


def test_the_refiner_s_energy_is_that_of_the_fibres_by_mass(roll: RefiningCost) -> None:
    assert roll.cases[1].net / KWH == pytest.approx((0.7 * 100 + 0.3 * 125) * 0.198, rel=0.01)
    assert roll.cases[1].gross == pytest.approx(roll.cases[1].net / 0.6)


def test_more_of_everything_towards_the_high_end_and_always_dearer(roll: RefiningCost) -> None:
    for name in ("net", "gross", "water_retention", "fines_share"):
        ends = [getattr(case, name) for case in roll.cases]
        assert ends == sorted(ends) and ends[0] < ends[2]
    for case in roll.cases:
        assert case.refiner_money is not None and case.refiner_money > 0
        assert case.heat_money is not None and case.heat_money > 0
        assert case.speed is not None and roll.speed is not None and case.speed < roll.speed


def test_a_trial_replaces_the_assumed_energy_and_no_load_share(roll: RefiningCost) -> None:
    machine = thinstock.load("facial-roll").with_(
        {"stock.furnish.eucalyptus_kraft.energy_scale": 50 * KWH,
         "stock.furnish.northern_softwood_kraft.energy_scale": 50 * KWH, "stock.no_load_share": 0.0}
    )  # fmt: skip
    case = refining_cost(machine, 5e-5).cases
    assert case[0].net == pytest.approx(case[2].net) and case[1].gross == pytest.approx(case[1].net)
    assert case[1].net < roll.cases[1].net


def test_without_a_freeness_it_is_refused_and_the_card_says_what_it_leaves_out(roll: RefiningCost) -> None:
    machine = thinstock.load("facial-roll")
    bare = machine.with_({"stock.freeness": None, "stock.resistance_coefficient": 1.2e9})
    with pytest.raises(Refused, match="freeness"):
        refining_cost(bare)
    said = " ".join(str(getattr(block, "text", "")) for block in told(roll, Edge(unit_set="mill", air=1e5)))
    assert "Strength gained is not priced" in said and "fixed pumps would not save it" in said


def test_refiners_are_users_of_electricity_where_their_energy_is_given() -> None:
    machine = thinstock.load("facial-roll")
    plain, refined = machine.run(), machine.with_({"stock.refining_energy": 40 * KWH, "stock.no_load_share": 0.5}).run()
    added = float(refined["electricity_per_product"]) - float(plain["electricity_per_product"])
    thick = next(float(s.fibre) for s in plain.streams if s.id == "thick")
    wanted = 80 * KWH * thick * float(machine.width) / float(plain["production"])
    assert added == pytest.approx(wanted, rel=1e-9)
    assert not any(c.id == "refining" for c in plain.energy) and any(c.id == "refining" for c in refined.energy)
