"""A measuring plan: what each reading does for one answer, by money where costs are known, under other settings too."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from test_survey_commands import ran, refused
from thinstock.case import load
from thinstock.errors import Refused
from thinstock.evidence import population_of
from thinstock.evidence.cases import run_cases
from thinstock.studies import uncertainty_after
from thinstock.studies.measuring import Candidate, Measuring, measuring_plan
from thinstock.studies.measuring_table import candidates_of_form, read_plan
from thinstock.survey import SurveyError
from thinstock.survey.machine_model import MachineModel

HEAD = "stream,quantity,unit,uncertainty,coverage_factor,at,repeats,cost\n"
STEAM = Candidate(stream="steam", quantity="flow", share=0.02)
WORST = Candidate(stream="steam", quantity="flow", share=1e6)
GAS = Candidate(stream="gas", quantity="power", share=0.01)
WEB = Candidate(stream="web_vacuum", quantity="consistency", share=0.04)
NOTHING = Candidate(stream="wire_shower", quantity="flow", share=0.02)


@pytest.fixture(scope="module")
def machine():
    return load("facial-roll")


@pytest.fixture(scope="module")
def population(machine):
    return population_of(machine, draws=400, seed=3)


@pytest.fixture(scope="module")
def plan(machine, population) -> Measuring:
    return measuring_plan(machine, "dryness_press", [WEB, GAS, STEAM, WORST, NOTHING], population=population)


def narrowing(plan: Measuring, one: Candidate) -> float:
    return next(r.narrowing for r in plan.ranked if r.candidate is one)


def test_what_a_reading_brings_is_what_its_draws_say_of_the_answer(machine, population, plan):
    values = population.values()
    cases = run_cases(machine, values, ("dryness_press",))
    steam = MachineModel(machine, [("steam", "flow")]).readings(values)[:, 0]
    good = cases.usable & np.isfinite(steam)
    aim, read = cases["dryness_press"][good], steam[good]
    after = uncertainty_after(aim, read, 0.02 * np.median(read))
    assert_allclose(narrowing(plan, STEAM), 1.0 - after / aim.std(ddof=1), rtol=1e-9)
    assert plan.origin == "as believed" and plan.draws == int(cases.usable.sum())
    assert plan.low < plan.middle < plan.high


def test_a_reading_without_bearing_or_worth_brings_nothing_and_none_makes_it_worse(plan):
    assert narrowing(plan, WORST) < 1e-6 and narrowing(plan, NOTHING) < 0.02
    assert all(r.narrowing >= 0.0 and r.after <= plan.before * (1 + 1e-9) for r in plan.ranked)
    assert [r.narrowing for r in plan.ranked] == sorted((r.narrowing for r in plan.ranked), reverse=True)
    assert WORST not in [r.candidate for r in plan.telling]


def test_two_readings_together_bring_more_than_the_best_alone(plan):
    assert plan.pair is not None
    assert plan.pair_after < 0.9 * min(r.after for r in plan.ranked)


def test_repeats_narrow_a_reading_and_money_decides_the_order_where_all_costs_are_known(machine, population):
    dear = Candidate(stream="steam", quantity="flow", share=0.02, cost=1000.0)
    often = Candidate(stream="gas", quantity="power", share=0.01, cost=10.0, repeats=4)
    found = measuring_plan(machine, "dryness_press", [dear, often], population=population)
    assert found.by_cost and found.ranked[0].candidate is often
    assert found.ranked[0].narrowing < found.ranked[1].narrowing
    assert often.uncertainty(2.0) == pytest.approx(0.01) and STEAM.uncertainty(100.0) == 2.0


def test_a_run_at_another_setting_is_a_reading_of_its_own(machine, population):
    at = {"yankee.speed": 0.9 * float(machine.get("yankee.speed"))}
    here = Candidate(stream="reel", quantity="consistency", share=0.003)
    there = Candidate(stream="reel", quantity="consistency", share=0.003, at=at, said="slower")
    found = measuring_plan(machine, "dryness_press", [here, there], population=population)
    by = {r.candidate.said: r for r in found.ranked}
    assert by["slower"].predicted > by[""].predicted


def test_an_answer_that_cannot_be_planned_for_is_refused(machine, population):
    with pytest.raises(Refused, match="no_such"):
        measuring_plan(machine, "no_such_result", [STEAM], population=population)
    with pytest.raises(Refused, match="does not move"):
        known = replace(population, scores=np.zeros_like(population.scores))
        measuring_plan(machine, "dryness_press", [STEAM], population=known)


def test_the_form_gives_every_reading_that_can_be_sampled_with_its_usual_uncertainty(machine):
    found = {(c.stream, c.quantity, c.said): c for c in candidates_of_form(machine)}
    assert found["steam", "flow", ""].share == pytest.approx(0.03)
    assert ("web_pressed", "consistency", "") not in found, "no sheet is sampled before a running Yankee"
    assert any(said for _, _, said in found)
    water = found["white_water", "consistency", ""]
    assert water.points == pytest.approx(5e-6) and water.share == pytest.approx(0.1)


@pytest.mark.slow
def test_a_table_says_settings_repeats_and_costs_and_its_faults_come_with_their_lines(machine, tmp_path):
    place = tmp_path / "plan.csv"
    place.write_text(
        HEAD + "steam,flow,t/h,2 % of value,1,,,1000\n"
        "reel,moisture,%,0.4,2,yankee.speed = 0.9 x; grade.reel_grammage = 17 g/m2,3,250\n",
        encoding="utf-8",
    )
    steam, reel = read_plan(place, machine)
    assert (steam.share, steam.points, steam.cost, steam.repeats) == (0.02, 0.0, 1000.0, 1)
    assert reel.points == pytest.approx(0.002) and reel.repeats == 3
    assert reel.at["grade.reel_grammage"] == pytest.approx(0.017)
    said = ran("plan", "facial-roll", "--for", "dryness_press", "--readings", str(place))
    assert "for the money" in said and "3 times" in said and max(map(len, said.splitlines())) <= 104
    place.write_text(
        HEAD + "steem,flow,t/h,2 % of value,1,,,\nreel,moisture,%,0.4,2,speed = fast,0,-1\n", encoding="utf-8"
    )
    with pytest.raises(SurveyError) as wrong:
        read_plan(place, machine)
    told = [str(f) for f in wrong.value.faults]
    assert [t.split(": ")[1].split(" = ")[0] for t in told] == ["stream", "at", "repeats", "cost"]
    assert "line 2" in told[0] and all("line 3" in t for t in told[1:])


@pytest.mark.slow
def test_the_command_answers_in_words_and_as_data():
    data = json.loads(ran("plan", "facial-roll", "--for", "end_of_forming", "--json"))
    assert data["readings"][0]["stream"] == "end_of_forming" and data["population"] == "as believed"
    assert "no_such" in refused("plan", "facial-roll", "--for", "no_such_result")
    assert "speeed" in refused("plan", "facial-roll", "--for", "dryness_press", "--at", "yankee.speeed = 0.9 x")
